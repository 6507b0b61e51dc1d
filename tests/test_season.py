"""One season from the outside, by commands alone: after each act every count and every cent against a plain ledger."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path

import pytest
from plain_season import BOAT, CASE, CENT, EVENTS, JOBS, PARTS, QUOTES, SUPPLIERS, TASKS, UNITS, WAYS, Season, by_hand


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


def _taken_back(s: Season, both: dict[tuple[int, str], int], cost: dict[str, float]) -> None:
    """The closing of the cooling pump, movement by movement: what was booked against the order is open again."""
    ledger = s.ledger
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
    _taken_back(s, both, cost)
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
    assert [(x["part"], x["pieces"]) for x in late] == [("shaft seal", 2), ("bearing", 1)]
    assert {x["job"] for x in late} == {"windlass"}
    for line, quoted in zip(late, ("2025-06-04", "2025-06-11"), strict=True):
        # the days quoted, and at most two more by what the earlier jobs taught of the supplier
        expected = date.fromisoformat(line["expected_on"])
        assert 0 <= (expected - date.fromisoformat(quoted)).days <= 2
        assert line["late_days"] == (date(2025, 6, 20) - expected).days
        assert f"expected {expected}: {line['late_days']} days late" in s.act("orders")
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


def test_what_cannot_be_done_is_said(season: Season) -> None:
    """Exit code 2 and what to write instead; nothing is written."""
    s, job = season, season.job("engine_pump")
    for words, said in (
        (("compare-quotes", job, "--write"), "give that too"),
        (("spares-aboard", s.boat, "receive"), "receive takes one list; or give --order N"),
        (("spares-aboard", s.boat, "receive", "--order", "1"), "there is no order 1: none is on record"),
        (("spares-aboard", s.boat, "receive", "--order", "1", "seal"), "found seal; write LINE=PIECES"),
        (("spares-aboard", s.boat, "receive", "--order", "1", "1=1", "1=2"), "1 twice: add the two up"),
    ):
        assert said in s.run(*words, code=2)
    assert s.act("orders").strip() == "Nothing is on order."
    alone = s.boat.parent / "alone"
    job.rename(alone)
    (alone / "suppliers.csv").write_text(SUPPLIERS)
    with (alone / "case.toml").open("a") as file:
        file.write("[money.exchange]\nGBP = 1.25\n")
    assert "this case is in no boat" in s.run("compare-quotes", alone, "--order", code=2)
    s.run("after-the-job", alone, "--decide", "rebuild here", "--on", "2025-03-05")
    assert "--book: this case is in no boat" in s.run("after-the-job", alone, "--book", code=2)
    s.agrees()
