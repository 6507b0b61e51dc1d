"""A boat with four jobs to be lived with by commands alone, and the plain ledger that is held against her files.

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
        said = re.findall(r"^order (\d+),", self.act("orders"), re.MULTILINE)
        assert {int(n) for n in said} == {number for number, _ in still}
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
