"""One season from the outside, by commands alone: after each act every count and every cent against a plain ledger.

All figures are invented. The landed costs are worked out here by hand from what the suppliers' terms say: the stockist
charges carriage once a parcel, tax within; the mail order's goods come over a border, where duty is on goods and
carriage, tax on these and the duty, and handling is charged once a parcel (the rule and its sources stand in
``price_parcel``). Shared charges go by the worth of the goods.
"""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import tomllib
from collections import defaultdict
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from repairecon.__main__ import main

BOAT = """[boat]
name = "Example"
figures = "invented"
today = 2025-03-01
[money]
currency = "EUR"
vat_rate = 0.20
exchange_date = 2025-03-01
[money.exchange]
GBP = 1.25
[owner]
cost_own_hour = 10
cost_lost_day = 5
hours_correlation = 0
[years]
horizon_years = 0
"""
UNITS = (
    "unit,kind,count,critical,price_new_likely\nengine pump,raw water pump,1,yes,520\n"
    "cooling pump,coolant pump,1,yes,260\nbilge pump,bilge pump,1,yes,95\nwindlass,anchor windlass,1,no,1500\n"
)
SUPPLIERS = (
    "supplier,currency,vat,vat_rate,carriage_likely,imported,duty_rate,cost_handling,lead_days_likely\n"
    "stockist,EUR,in,0.20,6,no,,,3\nmail order,GBP,ex,0,4,yes,0.10,5,10\n"
)
CASE = """[unit]
name = "{unit}"
safety = []
[defaults]
tasks = "none"
events = "none"
ways = "none"
looks = "none"
remedies = "none"
[three_numbers]
price_new = 900
price_kit = 40
wait_days = 4
"""
EVENTS = "event,given,outcome,chance,weight,seen_at\nshaft,,good,0.75,4,strip\nshaft,,grooved,0.25,4,strip\n"
TASKS = "task,stage,by,hours_likely\ntake apart,strip,owner,2\nput together,reassembly,owner,3\n"
WAYS = "way,kind,price_likely,lead_days_likely,p_never\nrebuild here,rebuild,,,\nnew,new,900,3,0\n"
PARTS = "part,quantity,needed,standard_size,material\n"
QUOTES = "item,supplier,designation,material,quoted_likely,pack\n"
JOBS = {
    "engine_pump": (
        "shaft seal,2,always,20x35x7,NBR\nbearing,1,always,6203-2RS,\ngasket,1,always,,\n",
        "shaft seal,stockist,20x35x7,NBR,7,1\nbearing,mail order,6203-2RS,,4,1\ngasket,mail order,,,6,2\n",
    ),
    "cooling_pump": (
        "shaft seal,1,always,25x40x7,NBR\nbearing,2,always,6204-2RS,\n",
        "shaft seal,stockist,25x40x7,NBR,9,1\nbearing,stockist,6204-2RS,,6.5,1\n",
    ),
    "bilge_pump": (
        "lip seal,1,always,20x35x7,NBR\ndiaphragm,1,always,,\n",
        "lip seal,stockist,20x35x7,NBR,7,1\ndiaphragm,mail order,,,12,1\n",
    ),
    "windlass": (
        "shaft seal,2,always,30x47x7,NBR\nbearing,3,always,6205-2RS,\n",
        "shaft seal,stockist,30x47x7,NBR,8,1\nbearing,mail order,6205-2RS,,5,1\n",
    ),
}
CENT = 0.005


def by_hand(goods: dict[str, float], imported: bool) -> dict[str, tuple[float, float]]:
    """Landed cost of each line in euro, and the carriage and handling in it, from the goods as quoted."""
    whole, made = sum(goods.values()), {}
    for part, quoted in goods.items():
        share = quoted / whole
        if imported:
            carriage = 1.25 * 4 * share * 1.10 * 1.20 + 5 * share
            made[part] = (1.25 * quoted * 1.10 * 1.20 + carriage, carriage)
        else:
            made[part] = (quoted + 6 * share, 6 * share)
    return made


@dataclass
class Ledger:
    """What should be so: the cost of each piece that lies aboard, the oldest first, and of all that was ever bought and
    not taken back, by item; pieces open by order and part; sheets."""

    lots: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    spent: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    open: dict[tuple[int, str], int] = field(default_factory=dict)
    sheet: dict[tuple[str, str], tuple[float, float, str]] = field(default_factory=dict)
    """Bought, paid and days by job and part; of carriage the paid alone."""

    def came(self, item: str, pieces: int, cost: float) -> None:
        """Pieces at a cost each."""
        self.lots[item] += [cost] * pieces
        self.spent[item] += cost * pieces


class Season:
    """A boat, and the ledger that is held against her files after each act."""

    def __init__(self, boat: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.boat, self.capsys, self.ledger = boat, capsys, Ledger()

    def run(self, *words: object, code: int = 0) -> str:
        """A command; what it printed."""
        try:
            found = main([str(word) for word in words])
        except SystemExit as stop:
            found = int(stop.code or 0)
        out, err = self.capsys.readouterr()
        assert (found or 0) == code, f"{words}: {out}{err}"
        return out + err

    def act(self, *words: object, code: int = 0) -> str:
        """An act on her book."""
        return self.run("spares-aboard", self.boat, *words, code=code)

    def job(self, name: str) -> Path:
        """The folder of a job."""
        return self.boat / "jobs" / name

    def day(self, day: str) -> None:
        """The calendar of the boat."""
        path = self.boat / "boat.toml"
        path.write_text(re.sub("today = .*", f"today = {day}", path.read_text()))

    def receive(self, order: int, *words: object, date: str, code: int = 0) -> str:
        """A delivery of an order on record."""
        return self.act("receive", "--order", order, *words, "--locker", "A1", "--date", date, code=code)

    def write(self, job: str, cells: dict[str, dict[str, str]]) -> None:
        """The owner's hand in the sheet of a job: cells by the name of the row."""
        path = self.job(job) / "actual.csv"
        rows = list(csv.DictReader(io.StringIO(path.read_text())))
        for row in rows:
            row |= cells.get(row["name"] or row["kind"], {})
        with path.open("w", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)

    def agrees(self) -> None:
        """Counts, open pieces, the money of what lies aboard, and the sheets are those of the ledger."""
        book = f"file:{self.boat / 'spares.book'}?mode=ro"
        with closing(sqlite3.connect(book, uri=True)) as link:
            stock = dict(link.execute(
                "SELECT i.name, sum(s.quantity) / 1000 FROM stock s JOIN current_items i ON i.item = s.item GROUP BY 1"
            ))  # fmt: skip
            ordered = link.execute(
                "SELECT l.order_number, l.part, l.pieces / 1000 - coalesce((SELECT sum(CASE WHEN m.locker_to IS NULL "
                "THEN -m.quantity ELSE m.quantity END) FROM movements m WHERE m.order_line = l.line), 0) / 1000 "
                "FROM order_lines l"
            ).fetchall()
            spent = dict(link.execute(
                "SELECT i.name, sum(CASE WHEN m.undoes IS NULL OR m.locker_to IS NOT NULL THEN 1.0 ELSE -1.0 END * "
                "m.quantity * m.cost_unit) / 1e9 FROM movements m JOIN current_items i ON i.item = m.item "
                "WHERE m.cost_unit IS NOT NULL GROUP BY 1"
            ))  # fmt: skip
        assert stock == {item: len(lots) for item, lots in self.ledger.lots.items() if lots}
        assert spent == {item: pytest.approx(cost, abs=CENT) for item, cost in self.ledger.spent.items()}
        still = {key: left for key, left in self.ledger.open.items() if left}
        assert {(number, part): left for number, part, left in ordered if left} == still
        told = re.findall(r"^order (\d+),", self.act("orders"), re.MULTILINE)
        assert {int(n) for n in told} == {number for number, _ in still}
        for (job, name), wanted in self.ledger.sheet.items():
            rows = csv.DictReader(io.StringIO((self.job(job) / "actual.csv").read_text()))
            row = next(r for r in rows if (r["kind"], r["name"]) in (("part", name), (name, "all")))
            assert float(row["bought"] or 0) == wanted[0], (job, name)
            assert float(row["paid"] or 0) == pytest.approx(wanted[1], abs=1e-9), (job, name)
            assert row["days"] == wanted[2], (job, name)

    def worth(self) -> float:
        """What all that lies aboard cost, by the answer of the job."""
        answer = json.loads(self.act("--json"))
        return float(answer["value"]["fifo"])


@pytest.fixture
def season(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Season:
    """A boat with four jobs, an empty locker and her units in the book."""
    made = Season(tmp_path / "example", capsys)
    made.run("new-boat", made.boat, "--currency", "EUR")
    for name, text in (("boat.toml", BOAT), ("units.csv", UNITS), ("suppliers.csv", SUPPLIERS)):
        (made.boat / name).write_text(text)
    for job, (parts, quotes) in JOBS.items():
        made.job(job).mkdir()
        files = {"case.toml": CASE.format(unit=job.replace("_", " ")), "events.csv": EVENTS, "tasks.csv": TASKS,
                 "ways.csv": WAYS, "parts.csv": PARTS + parts, "quotes.csv": QUOTES + quotes}  # fmt: skip
        for name, text in files.items():
            (made.job(job) / name).write_text(text)
        made.act("unit", job.replace("_", " "))
    made.act("locker", "A1")
    return made


def ordered_and_received(s: Season) -> None:
    """The engine pump: two orders on record, a part delivery, the decision, the rest, an undoing and its undoing."""
    job, ledger = s.job("engine_pump"), s.ledger
    assert "Nothing was written" in s.run("compare-quotes", job, "--order")
    s.agrees()
    s.run("compare-quotes", job, "--order", "--write")
    assert {p.name for p in (job / "orders" / "1").glob("*.csv")} == {"order_stockist.csv", "order_mail_order.csv"}
    ledger.open |= {(1, "shaft seal"): 2, (2, "bearing"): 1, (2, "gasket"): 2}
    s.agrees()
    assert "order 1 of 2025-03-01" in s.run("compare-quotes", job, "--order", "--write", code=2)
    s.agrees()
    seal = by_hand({"shaft seal": 14}, imported=False)["shaft seal"][0] / 2
    assert seal == 10.0
    s.receive(1, "1=1", date="2025-03-04")
    ledger.came("shaft seal", 1, seal)
    ledger.open[1, "shaft seal"] = 1
    s.agrees()
    assert s.worth() == pytest.approx(10.0, abs=CENT)
    s.run("found", job, "shaft=good")
    s.run("after-the-job", job, "--decide", "rebuild here", "--on", "2025-03-05")
    assert "found,shaft,good" in (job / "actual.csv").read_text()
    ledger.sheet |= {("engine_pump", "shaft seal"): (1, 7.0, "3"), ("engine_pump", "carriage"): (0, 3.0, "")}
    s.agrees()
    s.receive(1, date="2025-03-06")
    ledger.came("shaft seal", 1, seal)
    ledger.open[1, "shaft seal"] = 0
    ledger.sheet |= {("engine_pump", "shaft seal"): (2, 14.0, "5"), ("engine_pump", "carriage"): (0, 6.0, "")}
    s.agrees()


def charged_and_undone(s: Season) -> None:
    """The second order as it was charged, 29.99 in all where 28.10 was expected; one movement undone and again."""
    ledger, hand = s.ledger, by_hand({"bearing": 4, "gasket": 6}, imported=True)
    assert sum(cost for cost, _ in hand.values()) == pytest.approx(28.10)
    before = dict(ledger.sheet)
    s.receive(2, "--paid", "29.99", date="2025-03-12")
    paid = {part: round(29.99 * cost / 28.10, 2) for part, (cost, _) in hand.items()}  # 12.00 and 17.99
    assert sum(paid.values()) == pytest.approx(29.99)
    goods = {part: round(paid[part] * (1 - carriage / cost), 2) for part, (cost, carriage) in hand.items()}
    ledger.came("bearing", 1, paid["bearing"])
    ledger.came("gasket", 2, paid["gasket"] / 2)
    ledger.open |= {(2, "bearing"): 0, (2, "gasket"): 0}
    without = 6.0 + paid["gasket"] - goods["gasket"]
    ledger.sheet |= {("engine_pump", "bearing"): (1, goods["bearing"], "11"),
                     ("engine_pump", "gasket"): (2, goods["gasket"], "11"),
                     ("engine_pump", "carriage"): (0, round(6.0 + 29.99 - sum(goods.values()), 2), "")}  # fmt: skip
    s.agrees()
    assert s.worth() == pytest.approx(20.0 + 29.99, abs=CENT)
    after = dict(ledger.sheet)
    s.act("undo", 3)  # the bearing
    ledger.open[2, "bearing"], lots, ledger.spent["bearing"] = 1, ledger.lots.pop("bearing"), 0.0
    ledger.sheet |= {("engine_pump", "bearing"): (0, 0.0, ""), ("engine_pump", "carriage"): (0, round(without, 2), "")}
    s.agrees()
    assert before != ledger.sheet
    s.act("undo", 5)  # the undoing
    ledger.open[2, "bearing"], ledger.lots["bearing"], ledger.sheet = 0, lots, after
    ledger.spent["bearing"] = paid["bearing"]
    s.agrees()


def closed_and_learned(s: Season) -> None:
    """One of two seals fitted and one of two gaskets: the others are left over. Closed once, logged once."""
    job, ledger = s.job("engine_pump"), s.ledger
    s.write("engine_pump", {
        "shaft seal": {"quantity": "1"}, "bearing": {"quantity": "1"}, "gasket": {"quantity": "1"},
        "take apart": {"hours": "2.5"}, "put together": {"hours": "4"}, "rebuild here": {"days": "12"},
    })  # fmt: skip
    s.run("after-the-job", job, "--book")
    s.agrees()
    s.run("after-the-job", job, "--book", "--write")
    for item in ("shaft seal", "bearing", "gasket"):
        ledger.lots[item].pop(0)
    s.agrees()
    assert s.worth() == pytest.approx(10.0 + 17.99 / 2, abs=CENT)
    assert "already" in s.run("after-the-job", job, "--book", "--write", code=2)
    s.agrees()
    s.run("after-the-job", job, "--add-to-log")
    log = s.boat / "log"
    assert tomllib.loads((log / "learned.toml").read_text())["learned"]["jobs"] == 1
    assert (log / "job_log.csv").is_file()


def closed_before_received(s: Season) -> None:
    """The cooling pump: closed while the order is open, taken back, received after all, closed again."""
    job, ledger = s.job("cooling_pump"), s.ledger
    s.day("2025-04-01")
    s.run("compare-quotes", job, "--order", "--write")
    both = {(3, "shaft seal"): 1, (3, "bearing"): 2}
    ledger.open |= both
    s.run("after-the-job", job, "--decide", "rebuild here", "--on", "2025-04-02")
    s.write("cooling_pump", {"shaft seal": {"quantity": "1", "paid": "9"}, "bearing": {"quantity": "2", "paid": "13"},
                             "all": {"paid": "6"}, "take apart": {"hours": "2"}})  # fmt: skip
    typed = {("cooling_pump", "shaft seal"): (0, 9.0, ""), ("cooling_pump", "bearing"): (0, 13.0, ""),
             ("cooling_pump", "carriage"): (0, 6.0, "")}  # fmt: skip
    ledger.sheet |= typed
    s.agrees()
    into = ("after-the-job", job, "--book", "--write", "--new-cards", "--locker", "A1")
    cost = {part: landed for part, (landed, _) in by_hand({"shaft seal": 9, "bearing": 13}, imported=False).items()}
    ledger.spent |= {f"{part}, cooling pump": landed for part, landed in cost.items()}
    s.run(*into)  # cards of their own: another seal and another bearing are called so already
    ledger.open |= dict.fromkeys(both, 0)
    s.agrees()
    assert "nothing of it is open" in s.receive(3, date="2025-04-04", code=2)
    s.agrees()
    back = ((13, "bearing", False), (12, "shaft seal", False), (11, "bearing", True), (10, "shaft seal", True))
    for movement, part, bought in back:
        pieces = both[3, part]
        s.act("undo", movement)
        if bought:
            ledger.lots.pop(f"{part}, cooling pump")
            ledger.spent[f"{part}, cooling pump"] = 0.0
            ledger.open[3, part] = pieces
        else:
            ledger.lots[f"{part}, cooling pump"] = [cost[part] / pieces] * pieces
        s.agrees()
    assert s.receive(3, date="2025-04-04").count("stays as you wrote it") == 2
    for (_, part), pieces in both.items():
        ledger.came(f"{part}, cooling pump", pieces, cost[part] / pieces)
    ledger.open |= dict.fromkeys(both, 0)
    s.agrees()
    assert s.worth() == pytest.approx(10.0 + 17.99 / 2 + 28.0, abs=CENT)
    s.run(*into)
    for _, part in both:
        ledger.lots.pop(f"{part}, cooling pump")
    s.agrees()
    s.run("after-the-job", job, "--add-to-log")
    assert tomllib.loads((s.boat / "log" / "learned.toml").read_text())["learned"]["jobs"] == 2


def from_what_was_left(s: Season) -> None:
    """The bilge pump, which takes the seal that was left over: only the diaphragm is ordered; and it has learned."""
    job, ledger = s.job("bilge_pump"), s.ledger
    s.day("2025-05-01")
    assert "lip seal" not in s.run("compare-quotes", job, "--order", "--write")
    ledger.open[4, "diaphragm"] = 1
    s.agrees()
    assert "learned from 2 jobs" in s.run("rebuild-or-buy", job, "--part", "assumed")
    s.run("after-the-job", job, "--decide", "rebuild here", "--on", "2025-05-02")
    s.receive(4, "diaphragm=1", date="2025-05-12")
    cost, carriage = by_hand({"diaphragm": 12}, imported=True)["diaphragm"]
    ledger.came("diaphragm", 1, cost)
    ledger.open[4, "diaphragm"] = 0
    ledger.sheet |= {("bilge_pump", "diaphragm"): (1, round(cost - carriage, 2), "11"),
                     ("bilge_pump", "carriage"): (0, round(carriage, 2), "")}  # fmt: skip
    s.agrees()
    s.write("bilge_pump", {"lip seal": {"quantity": "1", "from_spares": "yes"}, "diaphragm": {"quantity": "1"}})
    s.run("after-the-job", job, "--book", "--write")
    ledger.lots["shaft seal"].pop(0)
    ledger.lots["diaphragm"].pop(0)
    s.agrees()


def part_received_then_closed(s: Season) -> None:
    """The windlass: two of three bearings received, the rest and the seals booked when the job is closed."""
    job, ledger = s.job("windlass"), s.ledger
    s.day("2025-06-01")
    s.run("compare-quotes", job, "--order", "--write")
    ledger.open |= {(5, "shaft seal"): 2, (6, "bearing"): 3}
    s.run("after-the-job", job, "--decide", "rebuild here", "--on", "2025-06-02")
    cost, carriage = by_hand({"bearing": 15}, imported=True)["bearing"]
    s.receive(6, "bearing=2", date="2025-06-15")
    ledger.came("bearing, windlass", 2, cost / 3)
    ledger.open[6, "bearing"] = 1
    paid = round((cost - carriage) / 3 * 2, 2)
    rest = round(cost / 3 * 2, 2) - paid
    ledger.sheet |= {("windlass", "bearing"): (2, paid, "14"), ("windlass", "carriage"): (0, round(rest, 2), "")}
    s.agrees()
    s.day("2025-06-20")
    late = json.loads(s.run("whole-boat", s.boat, "--json"))["boats"][0]["spares"]["on_order"]
    assert [(x["part"], x["pieces"], x["job"], x["expected_on"], x["late_days"]) for x in late] == [
        ("shaft seal", 2, "windlass", "2025-06-04", 16), ("bearing", 1, "windlass", "2025-06-11", 9),
    ]  # fmt: skip
    assert "expected 2025-06-04: 16 days late" in s.act("orders")
    s.write("windlass", {"shaft seal": {"quantity": "1", "bought": "2", "paid": "16"},
                         "bearing": {"quantity": "3", "bought": "3", "paid": "24.75"},
                         "all": {"paid": "17.60"}})  # fmt: skip
    s.run("after-the-job", job, "--book", "--write", "--new-cards", "--locker", "A1")
    ledger.open |= {(5, "shaft seal"): 0, (6, "bearing"): 0}
    ledger.lots.pop("bearing, windlass")
    # all that came for the job is what was paid for it: what had not come before shares what is left by its price
    left = 16 + 24.75 + 17.60 - 2 * cost / 3
    seals = left * 16 / (16 + 24.75 / 3)
    ledger.spent |= {"shaft seal, windlass": seals, "bearing, windlass": 16 + 24.75 + 17.60 - seals}
    ledger.lots["shaft seal, windlass"] = [seals / 2]
    ledger.sheet |= {("windlass", "bearing"): (3, 24.75, "14"), ("windlass", "shaft seal"): (2, 16.0, ""),
                     ("windlass", "carriage"): (0, 17.60, "")}  # fmt: skip
    s.agrees()
    s.receive(6, date="2025-06-21", code=2)
    s.agrees()


def test_a_season(season: Season) -> None:
    """Three pumps and a windlass over two suppliers in two currencies."""
    for act in (ordered_and_received, charged_and_undone, closed_and_learned, closed_before_received,
                from_what_was_left, part_received_then_closed):  # fmt: skip
        act(season)
    lying = {item: costs for item, costs in season.ledger.lots.items() if costs}
    assert set(lying) == {"gasket", "shaft seal, windlass"}
    answer = json.loads(season.act("--json"))
    assert {x["item"]: x["quantity"] for x in answer["holdings"]} == {i: len(c) for i, c in lying.items()}
    assert answer["value"]["fifo"] == pytest.approx(sum(map(sum, lying.values())), abs=CENT)
    carried = {x["item"]: x["have"] for x in answer["carry"]}
    assert {item: have for item, have in carried.items() if have} == {i: len(c) for i, c in lying.items()}
    assert season.act("check").strip() == "Sound."
