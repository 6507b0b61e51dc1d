"""Spares aboard held against published accounts and tables, and against plain re-computations."""

from __future__ import annotations

import csv
import datetime
import itertools
import json
import math
from decimal import Decimal

import numpy as np
import pytest
from aboard_makers import DEMO, TODAY, empty_book, openstax_book, passage, small_answer
from book_makers import corrected, fitted_to
from scipy import stats

from repairecon.book.spares_book import book_at
from repairecon.read.case_folder import read_case
from repairecon.read.starter import new_case
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.records import Passage, Range, ReceiveLine, RepaireconError, SpareWish
from repairecon.spares_aboard.command import as_json
from repairecon.spares_aboard.job import SparesAnswer, spares_aboard
from repairecon.spares_aboard.screen import below_table, full

YEAR = 365.25


def sure(x: float) -> Range:
    return Range(x, x, x)


def row(answer: SparesAnswer, item: str):
    return answer.carry.set_index("item").loc[item]


@pytest.fixture(scope="module")
def demo() -> SparesAnswer:
    return spares_aboard(DEMO, Passage(today="2026-06-01"), budget=400)


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> SparesAnswer:
    return small_answer(tmp_path_factory.mktemp("small"))


def test_the_same_figures_in_any_order_of_asking(tmp_path, small):
    names = ["turning", "insurance", "surplus", "budget_curve", "risk", "missing", "worth", "shelf", "carry", "assumed"]
    other = small_answer(tmp_path)
    for name in names:
        getattr(other, name)
    assert json.dumps(as_json(other)) == json.dumps(as_json(small))
    looked_at = (small.assumed, small.turning, small.missing, small.surplus, small.budget_curve, small.expiring)
    assert min(map(len, looked_at)) > 0


# OpenStax, Principles of Accounting, vol. 1 (Financial), chapter 10
def test_value_is_that_of_a_published_account(tmp_path):
    with openstax_book(tmp_path) as book:
        answer = spares_aboard(book, passage())
    # module m67891 (perpetual) and m67890 (periodic): closing inventory first in first out 8,955
    assert answer.worth.fifo == pytest.approx(8955, abs=1e-9)
    # worked by hand: 30 left at 21, 225 at 27: average 6705/255; 75 left, 210 at 33
    assert answer.worth.average == pytest.approx(75 * 6705 / 255 + 210 * 33, abs=1e-6)
    assert answer.by_locker.loc["A1", "fifo"] == pytest.approx(8955)
    assert answer.by_date["value"].tolist() == [8955.0]
    assert answer.receipts[["left", "cost_unit"]].to_numpy().tolist() == [[75.0, 27.0], [210.0, 33.0]]


def test_demo_value_against_a_plain_loop(demo):
    """First in first out, once more, from the CSV rows: what is undone or corrected is struck out by hand."""
    with (DEMO / "movements.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    struck = {r["undoes"] for r in rows if r["undoes"]} | {r["number"] for r in rows if r["undoes"]}
    heaps: dict[str, list[list[Decimal]]] = {}
    price: dict[str, Decimal] = {}
    order = [r for r in rows if r["number"] not in struck]
    order.sort(key=lambda r: (r["on_date"], int(r["corrects"] or r["number"])))
    uses: list[tuple[str, Decimal]] = []
    for r in order:
        quantity = Decimal(r["quantity"])
        if r["kind"] in ("moved", "lent", "returned") or not quantity:
            continue
        if r["locker_to"]:
            if r["cost_unit"]:
                price[r["item"]] = Decimal(r["cost_unit"])
            heaps.setdefault(r["item"], []).append([quantity, price.get(r["item"], Decimal(0))])
        else:
            uses.append((r["item"], quantity))
    for item, quantity in uses:
        while quantity:
            taken = min(quantity, heaps[item][0][0])
            quantity -= taken
            heaps[item][0][0] -= taken
            if not heaps[item][0][0]:
                heaps[item].pop(0)
    value = sum(q * c for heap in heaps.values() for q, c in heap)
    assert demo.worth.fifo == pytest.approx(float(value), abs=1e-6)
    for frame in (demo.by_locker, demo.by_system):
        assert frame["fifo"].sum() == pytest.approx(demo.worth.fifo)
    assert demo.by_date["value"].sum() == pytest.approx(demo.worth.fifo)
    assert demo.receipts["value"].sum() == pytest.approx(demo.worth.fifo)


def test_what_is_undone_or_corrected_is_valued_as_it_stands(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("belt", locker="A1")
        (first,) = book.receive([ReceiveLine("belt", 4, "x", 10)], "2026-01-01")
        book.use("belt", 1, date="2026-02-01")
        corrected(book, first.movements[0].number, cost_unit=12_000_000)
        gone = book.use("belt", 1, date="2026-03-01")
        book.undo(gone.movements[0].number)
        book.count("A1", {"belt": 5}, date="2026-04-01")
        answer = spares_aboard(book, passage())
    assert answer.worth.fifo == pytest.approx(3 * 12 + 2 * 12)  # more of the same found, at the last price
    assert answer.worth.unknown == 0


def test_found_at_no_known_cost_counts_as_nothing_and_is_said(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("belt", locker="A1")
        book.count("A1", {"belt": 3}, date="2026-01-01")
        book.receive([ReceiveLine("belt", 1, "x", 10)], "2026-02-01")
        answer = spares_aboard(book, passage())
    assert (answer.worth.fifo, answer.worth.unknown, answer.worth.replacement) == (10, 3, 40)
    assert "What 1 item cost is not known" in " ".join(full(answer).split())


def poisson_case(tmp_path, have: int, days: float, **wish: object) -> SparesAnswer:
    with empty_book(tmp_path) as book:
        book.add_item("part", locker="A1")
        if have:
            book.receive([ReceiveLine("part", have, "x", 10)], "2026-01-01")
        wishes = (SpareWish(item="part", cost_without=sure(100.0), **wish),)
        return spares_aboard(book, passage(days=days, items=wishes, running_hours=2160.0))


def test_chance_of_being_short_is_a_published_one(tmp_path):
    # reliability course solution, constant failure rate, item 3 (ii): rate 0.2, time 5, one spare: P(N >= 2) = 0.2642
    answer = poisson_case(tmp_path, 1, 5 * YEAR, failures_per_year=sure(0.2))
    assert row(answer, "part")["p_short_now"] == pytest.approx(0.2642, abs=5e-5)


@pytest.mark.parametrize(("mtbf", "spares"), [(100_000, 3), (200_000, 2), (300_000, 1)])
def test_stock_for_an_assurance_against_a_published_exercise(tmp_path, mtbf, spares):
    """45 units, 2,160 hours, 95 %: a public page on spares from the normal distribution prints 3, 2, 2.

    The exact Poisson gives 3, 2, 1: the third printed value is one too many by its normal approximation.
    """
    answer = poisson_case(tmp_path, 0, 90, failures_per_1000_hours=sure(1000 / mtbf), like_units=45)
    assert row(answer, "part")["for_assurance"] == spares
    assert stats.poisson.ppf(0.95, 45 * 2160 / mtbf) == spares


def test_demand_learns_from_the_books_own_record(tmp_path):
    """Three fitted in two years, with a view worth half a failure in five years: a negative binomial."""
    with empty_book(tmp_path) as book:
        book.add_item("belt", locker="A1", units=("engine",))
        book.receive([ReceiveLine("belt", 5, "x", 10)], "2024-06-01")
        for day in ("2024-09-01", "2025-03-01", "2026-02-01"):
            book.fit("belt", "engine", date=day)
        answer = spares_aboard(book, passage(days=90.0))
    years = (TODAY - datetime.date(2024, 6, 1)).days / YEAR
    ahead = 90 / YEAR
    expected = stats.nbinom(3.5, (years + 5) / (years + 5 + ahead))
    found = row(answer, "belt")
    assert (found["have"], found["seen"]) == (2, 3)
    assert found["p_short_now"] == pytest.approx(expected.sf(2), rel=1e-9)
    assert found["mean_wanted"] == pytest.approx(expected.mean(), rel=1e-9)
    assert {"prior_failures", "prior_years"} <= {a.name for a in answer.assumed}


def test_running_hours_count_for_what_runs_with_the_engine(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_unit("windlass")
        for name, unit in (("impeller", "engine"), ("shear pin", "windlass")):
            book.add_item(name, locker="A1", units=(unit,))
        book.receive([ReceiveLine("impeller", 5), ReceiveLine("shear pin", 5)], "2025-06-01")
        for day, hours, turns in (("2025-06-01", 100, 10), ("2026-05-31", 300, 12)):
            book.fit("impeller", "engine", hours, day)
            book.fit("shear pin", "windlass", turns, day)
        short = spares_aboard(book, passage(running_hours=10.0))
        long = spares_aboard(book, passage(running_hours=200.0))
    assert row(long, "impeller")["mean_wanted"] == pytest.approx(20 * row(short, "impeller")["mean_wanted"])
    assert row(long, "shear pin")["mean_wanted"] == row(short, "shear pin")["mean_wanted"]


def test_shelf_life_is_that_of_the_standard(tmp_path):
    """ISO 2230:2002 as tabled by the trade: NBR 7 years and 3 more after inspection, NR 5 and 2, EPDM 10 and 5."""
    cured = {"NBR": "2019-06-15", "NR": "2021-06-15", "EPDM": "2016-06-15"}
    with empty_book(tmp_path) as book:
        for material, day in cured.items():
            book.add_item(f"ring, {material}", material=material, locker="A1")
            book.receive([ReceiveLine(f"ring, {material}", 1, "x", 5, cure_date=day)], "2025-01-01")
        book.add_item("kit", shelf_group="B", locker="A1")
        book.receive([ReceiveLine("kit", 1, "x", 5)], "2019-07-01")
        book.add_item("bearing", locker="A1")
        book.receive([ReceiveLine("bearing", 1, "x", 5)], "2001-07-01")
        answer = spares_aboard(book, passage(days=20.0))
    shelf = answer.shelf.set_index("item")
    for material, more in (("NBR", 3), ("NR", 2), ("EPDM", 5)):
        found = shelf.loc[f"ring, {material}"]
        assert found["good_until"] == datetime.date(2026, 6, 15)
        assert found["extended_until"] == datetime.date(2026 + more, 6, 15)
        assert (found["state"], found["counted_from"]) == ("runs out", "cure date")
    assert (shelf.loc["kit", "state"], shelf.loc["kit", "counted_from"]) == ("fit", "day bought")
    assert "bearing" not in shelf.index


def test_what_is_out_of_date_is_neither_counted_on_nor_worth_anything(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("ring", material="NBR", locker="A1")
        book.receive([ReceiveLine("ring", 2, "x", 5, cure_date="2010-01-01")], "2015-01-01")
        book.receive([ReceiveLine("ring", 1, "x", 5, cure_date="2018-01-01")], "2019-01-01")
        book.receive([ReceiveLine("ring", 1, "x", 5, cure_date="2025-01-01")], "2025-06-01")
        answer = spares_aboard(book, passage())
        good = spares_aboard(book, passage(items=(SpareWish(item="ring", inspected=True),)))
    assert answer.expiring["state"].tolist() == ["over", "inspect"]
    assert row(answer, "ring")["have"] == 1
    assert row(good, "ring")["have"] == 2
    assert answer.worth.written_down == pytest.approx(10)


def worth_by_hand(mean: float, short: float, left: float, stock: int) -> float:
    """What a stock saves: every course of demands, one by one."""
    p = stats.poisson(mean)
    n = np.arange(200)
    saved = short * np.minimum(n, stock) - left * np.maximum(stock - n, 0)
    return float(p.pmf(n) @ saved)


def test_the_list_for_a_budget_is_the_best_there_is(tmp_path):
    """Every purchase that the budget can pay for, tried one by one."""
    items = {"a": (0.9, 400.0, 35.0), "b": (2.5, 60.0, 20.0), "c": (0.3, 900.0, 55.0)}
    wishes = tuple(
        SpareWish(item=k, cost_without=sure(cost), failures_per_year=sure(mean * YEAR / 30), price=price, most=3)
        for k, (mean, cost, price) in items.items()
    )
    with empty_book(tmp_path) as book:
        for name in items:
            book.add_item(name, locker="A1")
        answer = spares_aboard(book, passage(items=wishes), budget=150)
        weighed = spares_aboard(book, passage(items=wishes), budget=150, weight_kg=1e6)
    lost = 1 - (1 - 0.1) ** (30 / 365)  # a tenth of the price a year, assumed

    def worth(counts: tuple[int, ...]) -> float:
        return sum(worth_by_hand(m, c, lost * p, k) for (m, c, p), k in zip(items.values(), counts, strict=True))

    def spend(counts: tuple[int, ...]) -> float:
        return sum(p * k for (_, _, p), k in zip(items.values(), counts, strict=True))

    best = max((c for c in itertools.product(range(4), repeat=3) if spend(c) <= 150), key=worth)
    for found in (answer, weighed):
        counts = tuple(int(row(found, k)["buy"]) for k in items)
        assert spend(counts) <= 150
        assert found.carry["worth_bought"].sum() == pytest.approx(worth(counts), abs=1e-6)
        assert worth(best) - worth(counts) <= found.most_lost + 1e-6
    assert tuple(int(row(weighed, k)["buy"]) for k in items) == best


def test_fitting_puts_the_item_on_the_list_to_buy_in_one_act(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("belt", locker="A1", units=("engine",), minimum=2, critical=True)
        book.receive([ReceiveLine("belt", 2, "bearing stockist", "7.50")], "2026-01-01")
        assert spares_aboard(book, passage()).below_minimum == ()
        done = book.fit("belt", "engine", 120)
        answer = spares_aboard(book, passage())
        assert [m.item for m in fitted_to(book, "engine")] == ["belt"]
    (line,) = answer.below_minimum
    assert (line.item.name, line.aboard, line.short) == ("belt", 1, 1)
    assert (line.last.person, line.last.cost_unit) == ("bearing stockist", Decimal("7.5"))
    assert done.reorder is not None
    assert done.reorder.item.name == "belt"
    (row,) = below_table(answer).to_dict("records")
    assert list(row.values()) == ["belt (critical)", "1", "2", "1", "bearing stockist", "EUR 7.50", "2026-01-01"]
    assert "Below the minimum" in " ".join(full(answer).split())


def test_walk_of_one_number(tmp_path):
    """The last price of a movement, through the value of the item and its locker, into the summary."""
    with empty_book(tmp_path) as book:
        book.add_item("pump", locker="B2")
        (came,) = book.receive([ReceiveLine("pump", 2, "dealer", "123.45")], "2026-01-01")
        book.use("pump", 1)
        answer = spares_aboard(book, passage())
    number = came.movements[0].number
    receipt = answer.receipts.set_index("movement").loc[number]
    assert (receipt["item"], receipt["left"], receipt["value"]) == ("pump", 1.0, pytest.approx(123.45))
    held = answer.holdings.set_index("item").loc["pump"]
    assert (held["locker"], held["fifo"], held["price_last"]) == ("B2", pytest.approx(123.45), 123.45)
    assert answer.worth.fifo == pytest.approx(123.45)
    assert "EUR 123 at cost" in " ".join(full(answer).split())


@pytest.mark.parametrize("of", ["windlass", "pump"])
def test_a_whole_units_worth_is_that_of_its_own_case(tmp_path, of):
    """One figure in both jobs; the pump's is of what is known of its kind, with remedies."""
    folder = DEMO.parent / "windlass"
    if of == "pump":
        folder = tmp_path / "windlass"
        new_case(folder, kind="fresh water pump", symptom="runs, no or little water", price_new=185.0, price_kit=42.0)
        toml = folder / "case.toml"
        toml.write_text(f"{toml.read_text()}\n[years]\nhorizon_years = 8\np_away = 0.3\ncost_away = 150\n")
        head, *rows = (folder / "ways.csv").read_text().splitlines()
        pair = dict.fromkeys(head.split(","), "") | {"way": "rebuild and carry new", "kind": "rebuild and spare"}
        (folder / "ways.csv").write_text("\n".join([head, ",".join((pair | {"bought": "new"}).values()), *rows]) + "\n")
    with empty_book(tmp_path) as book:
        book.add_item("motor, windlass", locker="A1")
        wish = SpareWish(item="motor, windlass", case=str(folder), price=400.0)
        answer = spares_aboard(book, passage(items=(wish,), days=365.25))
    horizon = rebuild_or_buy(read_case(folder, years=True), draws=300).horizon
    (found,) = answer.cases
    spare = next(c for c in horizon.spares if c.combination == found.combination)
    assert found.worth == pytest.approx(spare.worth, rel=1e-12)
    failures = horizon.ways.loc[found.combination]
    assert found.saved_each * failures["failures_discounted"] == pytest.approx(spare.worth, rel=1e-12)
    line = row(answer, "motor, windlass")
    mean = failures["failures_expected"] / horizon.years.horizon_years
    assert line["cost_without"] == found.saved_each
    assert line["p_short_now"] == pytest.approx(-math.expm1(-mean), rel=1e-9)
    assert "the case windlass puts a spare's worth at" in " ".join(full(answer).split())


def covered(tmp_path, **said: object) -> SparesAnswer:
    with empty_book(tmp_path) as book:
        book.add_item("seal", locker="A1")
        book.add_item("kit", locker="A1", needs="press")
        often = sure(YEAR / 30)
        wishes = (
            SpareWish(item="seal", cost_without=sure(500.0), failures_per_year=often),
            SpareWish(item="kit", cost_without=sure(0.0), failures_per_year=sure(0.0), price=40.0, covers=("seal",),
                      p_useful=0.5, most=1),
        )  # fmt: skip
        return spares_aboard(book, passage(items=wishes, **said))


def test_a_kit_stands_in_for_what_it_covers(tmp_path):
    found = covered(tmp_path)
    assert row(found, "kit")["buy"] == 1
    # one wanted at a mean of 1: with a kit there, a want goes unmet only if two or more come
    assert row(found, "seal")["p_short"] == pytest.approx(stats.poisson(1).sf(1), rel=1e-6)
    assert row(found, "seal")["p_short_now"] == pytest.approx(stats.poisson(1).sf(0), rel=1e-6)


def test_a_kit_is_useless_at_sea_without_its_tools(tmp_path):
    found = covered(tmp_path, tools=())
    assert row(found, "kit")["buy"] == 0
    assert row(found, "kit")["tools_missing"] == ("press",)


def test_weight_is_kept_to(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("pump", locker="A1", weight_kg=6.0)
        wish = SpareWish(item="pump", cost_without=sure(900.0), failures_per_year=sure(YEAR / 30), price=50.0)
        light = spares_aboard(book, passage(items=(wish,)), weight_kg=13)
        free = spares_aboard(book, passage(items=(wish,)))
    assert row(light, "pump")["buy"] == 2
    assert row(free, "pump")["buy"] > 2


def test_room_is_kept_to_beside_weight(tmp_path):
    # by hand: 13 kg at 6 kg each are two, 25 litres at 20 litres each are one
    with empty_book(tmp_path) as book:
        book.add_item("pump", locker="A1", weight_kg=6.0, volume_litres=20.0)
        wish = SpareWish(item="pump", cost_without=sure(900.0), failures_per_year=sure(YEAR / 30), price=50.0)
        tight = spares_aboard(book, passage(items=(wish,)), weight_kg=13, room_litres=25)
        roomy = spares_aboard(book, passage(items=(wish,)), weight_kg=13, room_litres=90)
        alone = spares_aboard(book, passage(items=(wish,)), room_litres=65)
    assert [row(found, "pump")["buy"] for found in (tight, roomy, alone)] == [1, 2, 3]


def test_measured_goods_go_by_what_is_used_at_a_time(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("hose", measure="metre", locker="A1")
        book.receive([ReceiveLine("hose", "2.25", "x", 8)], "2025-01-01")
        for day in ("2025-03-01", "2025-09-01"):
            book.use("hose", "0.5", date=day)
        found = row(spares_aboard(book, passage()), "hose")
    assert (found["at_a_time"], found["have"], found["seen"], found["price"]) == (0.5, 2, 2.0, 4.0)


def test_only_what_is_aboard_is_counted_on(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("belt", locker="A1")
        book.receive([ReceiveLine("belt", 4, "x", 10)], "2026-01-01")
        book.move("belt", "shed", 2)
        book.lend("belt", "the next boat", 1)
        answer = spares_aboard(book, passage())
    assert row(answer, "belt")["have"] == 1
    assert answer.worth.fifo == 40


def test_no_price_no_purchase_but_a_word(small):
    unpriced = small.missing[small.missing["why"] != ""]
    assert unpriced["item"].tolist() == ["bulb"]
    assert row(small, "bulb")["buy"] == 0
    assert small.carry["buy"].sum() > 3


def test_an_empty_book_answers(tmp_path):
    with empty_book(tmp_path) as book:
        answer = spares_aboard(book, passage())
    assert answer.worth.fifo == 0
    assert "0 items" in " ".join(full(answer).split())


@pytest.mark.parametrize(
    "wrong", [{"budget": -1}, {"passage_days": math.nan}, {"resupply_days": 1e9}, {"today": "yesterday"}]
)
def test_wrong_numbers_are_refused(tmp_path, wrong):
    with empty_book(tmp_path) as book, pytest.raises(RepaireconError, match=next(iter(wrong))):
        spares_aboard(book, passage(), **wrong)


def test_the_book_is_as_it_was():
    with book_at(DEMO) as book:
        before = book.ledger.path.read_bytes()
        spares_aboard(book, passage())
        assert book.ledger.path.read_bytes() == before


def test_worth_is_said_with_its_low_and_high(tmp_path):
    with empty_book(tmp_path) as book:
        book.add_item("belt", locker="A1")
        often, cost = sure(YEAR / 30), Range(10.0, 200.0, 900.0)
        wish = SpareWish(item="belt", cost_without=cost, failures_per_year=often, price=20.0, most=1)
        answer = spares_aboard(book, passage(items=(wish,)))
    found = row(answer, "belt")
    lost = 20 * (1 - (1 - 0.1) ** (30 / 365))
    for name, at in (("low", 10.0), ("high", 900.0)):
        assert found[f"worth_bought_{name}"] == pytest.approx(worth_by_hand(1.0, at, lost, 1))
    # mean of a PERT range: a sixth of low, four times likely, high
    assert found["worth_bought"] == pytest.approx(worth_by_hand(1.0, (10 + 4 * 200 + 900) / 6, lost, 1))
    assert "low to high" in " ".join(full(answer).split())
