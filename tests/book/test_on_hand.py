"""Spares aboard as the jobs see them: what is the wanted part and what is not, at what price, and the spare unit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import pytest

from repairecon.after_the_job.job import decide
from repairecon.book.spares_book import open_book
from repairecon.book.stock import on_hand, read_case_aboard
from repairecon.compare_quotes.job import compare_quotes
from repairecon.read.boat import BOOK
from repairecon.read.case_folder import read_case
from repairecon.read.case_out import keep_findings
from repairecon.read.closed import read_closed
from repairecon.read.starter import new_boat
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.records import Case, Range, ReceiveLine, RepaireconError

# invented figures
CASE = """[unit]
name = "raw water pump"
[three_numbers]
price_new = 520
wait_days = 9
[owner]
cost_lost_day = 25
"""
PARTS = (
    "part,quantity,needed,price_likely,lead_days_likely,standard_size,material\n"
    "shaft seal,1,always,12,6,20x35x7,NBR\nbearing,2,always,20,6,6004-2RS,\ncover gasket,1,always,4,6,,\n"
    "shaft,1,damage,140,12,,\n"
)
EVENTS = "event,outcome,chance,seen_at,parts\nshaft,sound,0.7,strip,\nshaft,grooved,0.3,strip,1 shaft\n"
SUPPLIERS = "supplier,carriage_likely\nstockist,9\n"
QUOTES = (
    "item,supplier,quoted_likely,lead_days_likely\n"
    "shaft seal,stockist,11,4\nbearing,stockist,18,4\ncover gasket,stockist,3,4\n"
)


def boat_with(place: Path, cards: Mapping[str, dict[str, object]], bought: Mapping[str, tuple[int, float]]) -> Path:
    """A boat with one pump's job; cards of her book, and what was bought of each at what price."""
    new_boat(place)
    job = place / "jobs" / "pump"
    job.mkdir()
    texts = {"parts.csv": PARTS, "events.csv": EVENTS, "suppliers.csv": SUPPLIERS, "quotes.csv": QUOTES}
    for name, text in {"case.toml": CASE, **texts}.items():
        (job / name).write_text(text)
    with open_book(place / BOOK, create=True) as book:
        book.add_locker("bow")
        book.add_unit("raw water pump")
        for name, card in cards.items():
            book.add_item(name, **card)
        for name, (count, price) in bought.items():
            book.receive([ReceiveLine(name, count, "stockist", price, locker="bow")], "2026-05-01")
    return job


def aboard(case: Case) -> dict[str, tuple[str, bool]]:
    """Item and whether it is all that is wanted, by part."""
    return {x.part: (x.item, x.at_once) for x in case.from_stock}


PUMP = {"units": ("raw water pump",)}
CARDS: Mapping[str, dict[str, object]] = {
    "seal, shaft, raw water pump": {**PUMP, "designation": "20x35x7", "material": "NBR"},
    "bearing, front": {"designation": "6004-2RS"},
    "cover gasket, raw water pump": PUMP,
    "pump, raw water, complete": PUMP,
}
BOUGHT = {
    "seal, shaft, raw water pump": (1, 9.5), "bearing, front": (1, 15.0), "cover gasket, raw water pump": (3, 3.5),
    "pump, raw water, complete": (1, 480.0),
}  # fmt: skip


def test_what_is_aboard_is_taken_at_its_price_and_at_once(tmp_path: Path) -> None:
    job = boat_with(tmp_path / "b", CARDS, BOUGHT)
    case = read_case_aboard(job)
    assert aboard(case) == {
        "shaft seal": ("seal, shaft, raw water pump", True),
        "bearing": ("bearing, front", False),  # one of two
        "cover gasket": ("cover gasket, raw water pump", True),
        "raw water pump": ("pump, raw water, complete", True),
    }
    seal = next(p for p in case.parts if p.part == "shaft seal")
    assert seal.price == Range(9.5, 9.5, 9.5, source=seal.source)
    assert seal.lead_days == Range(0.0, 0.0, 0.0, source=seal.source)
    assert {q.item for q in case.quotes} == {"bearing"}
    way = next(w for w in case.ways if w.kind == "own spare")
    assert way.price == Range(480.0, 480.0, 480.0, source=way.price.source if way.price else seal.source)
    alone = read_case(job)
    assert (alone.from_stock, len(alone.quotes)) == ((), 3)


def test_the_answer_moves_as_it_must(tmp_path: Path) -> None:
    """All parts aboard: no wait for them; a whole spare: back at once. By hand: the rest of the days is work."""
    every = {**BOUGHT, "bearing, front": (2, 15.0)}
    job = boat_with(tmp_path / "b", CARDS, every)
    with_spares, without = rebuild_or_buy(read_case_aboard(job), 64), rebuild_or_buy(read_case(job), 64)
    rebuilt = next(w.way for w in without.case.ways if w.kind == "rebuild")
    days = [float(a.table.loc[rebuilt, "days_mean"]) for a in (with_spares, without)]
    assert days[0] < days[1] - 2
    spare = next(w.way for w in with_spares.case.ways if w.kind == "own spare")
    assert spare not in without.table.index
    assert with_spares.table.loc[spare, "days_mean"] < 3


def test_an_order_is_for_what_is_not_there(tmp_path: Path) -> None:
    job = boat_with(tmp_path / "b", CARDS, BOUGHT)
    assert dict(compare_quotes(read_case_aboard(job, order=True)).wanted) == {"bearing": 1}
    keep_findings(job, {"shaft": "grooved"})
    with_shaft = dict(compare_quotes(read_case_aboard(job, order=True)).wanted)
    assert with_shaft == {"bearing": 1, "shaft": 1}  # what was found brings a shaft
    full = boat_with(tmp_path / "c", CARDS, {**BOUGHT, "bearing, front": (2, 15.0)})
    with pytest.raises(RepaireconError, match="lies aboard"):
        compare_quotes(read_case_aboard(full, order=True))


@pytest.mark.parametrize(
    ("card", "fields", "part"),
    [
        ("bearing, raw water pump", {**PUMP, "designation": "6203-2RS"}, "bearing"),  # another size
        ("seal, shaft, raw water pump", {**PUMP, "designation": "20x35x7", "material": "EPDM"}, "shaft seal"),
        ("seal, shaft, raw water pump", {**PUMP, "designation": "20x36x7"}, "shaft seal"),
        ("cover gasket, coolant pump", {"units": ("coolant pump",)}, "cover gasket"),
        ("cover gasket, thick, raw water pump", PUMP, "cover gasket"),
        ("cover gasket, raw water pump", {}, "cover gasket"),  # the card says of no unit that it is for it
    ],
)
def test_another_part_is_never_taken(tmp_path: Path, card: str, fields: dict[str, object], part: str) -> None:
    units = tuple(u for u in fields.get("units", ()) if u != "raw water pump")  # type: ignore[attr-defined]
    job = boat_with(tmp_path / "b", {}, {})
    with open_book(tmp_path / "b" / BOOK) as book:
        for unit in units:
            book.add_unit(unit)
        book.add_item(card, **fields)
        book.receive([ReceiveLine(card, 4, "stockist", 5.0, locker="bow")], "2026-05-01")
    assert part not in aboard(read_case_aboard(job))


def test_rubber_out_of_date_and_what_is_lent_do_not_count(tmp_path: Path) -> None:
    """NBR is of ISO 2230 group B: 7 years from its cure date (values as the tables of this package have them)."""
    job = boat_with(tmp_path / "b", CARDS, {"cover gasket, raw water pump": (1, 3.0)})
    with open_book(tmp_path / "b" / BOOK) as book:
        old = ReceiveLine("seal, shaft, raw water pump", 2, "stockist", 9.0, locker="bow", cure_date="2015-01-01")
        book.receive([old], "2026-05-01")
        book.lend("cover gasket, raw water pump", "a neighbour", 1)
        assert [x.item for x in on_hand(book)] == []
    assert aboard(read_case_aboard(job)) == {}


def test_a_spare_that_lay_long_may_be_dead(tmp_path: Path) -> None:
    """1 - exp(-(t / life)**shape) with the defaults' life and shape, by hand."""
    from repairecon.read.reading import Defaults

    job = boat_with(tmp_path / "b", CARDS, BOUGHT)
    boat = tmp_path / "b" / "boat.toml"
    boat.write_text(boat.read_text().replace("[boat]", "[boat]\ntoday = 2032-05-01", 1))
    way = next(w for w in read_case_aboard(job).ways if w.kind == "own spare")
    life, shape = (float(Defaults().peek(n)) for n in ("shelf_life_years", "shelf_shape"))
    assert way.p_dead == pytest.approx(1 - math.exp(-((6.0 / life) ** shape)), abs=1e-3)


def test_a_decision_keeps_the_spares_it_was_made_with(tmp_path: Path) -> None:
    job = boat_with(tmp_path / "b", CARDS, BOUGHT)
    decide(job, draws=64)
    with open_book(tmp_path / "b" / BOOK) as book:
        book.use("cover gasket, raw water pump", 3)
    frozen = read_closed(job).case
    assert aboard(frozen)["cover gasket"] == ("cover gasket, raw water pump", True)
    assert "cover gasket" not in aboard(read_case_aboard(job))
