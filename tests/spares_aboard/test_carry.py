"""The carry list by jobs: pieces of a job, sets, units served; proven best, in an order that a brute force confirms."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from aboard_makers import DEMO, empty_book, passage
from plain_carry import choices, joint
from scipy import stats

from repairecon.book.csv_folder import book_from_csv
from repairecon.records import Passage, Range, ReceiveLine, SpareWish
from repairecon.spares_aboard import carry as carry_room
from repairecon.spares_aboard.job import SparesAnswer, spares_aboard
from repairecon.spares_aboard.screen import full, why

YEAR = 365.25


def sure(x: float) -> Range:
    return Range(x, x, x)


def row(answer: SparesAnswer, item: str):
    return answer.carry.set_index("item").loc[item]


def test_pieces_of_a_job_are_learned_from_the_record(tmp_path):
    """Two bearings a job, three jobs, in one act or in two: the fourth needs two again."""
    with empty_book(tmp_path) as book:
        book.add_item("bearing", locker="A1", units=("engine",))
        book.receive([ReceiveLine("bearing", 7, "x", 10)], "2024-06-01")
        for day in ("2024-09-01", "2025-03-01"):
            book.fit("bearing", "engine", date=day, quantity=2)
        for _ in range(2):
            book.fit("bearing", "engine", date="2026-02-01")
        found = row(spares_aboard(book, passage(days=90.0)), "bearing")
        more = spares_aboard(book, passage(days=90.0, items=(SpareWish(item="bearing", cost_without=sure(5000.0)),)))
    assert (found["have"], found["pieces_a_job"], found["seen"]) == (1, 2, 3)
    exposure = 730 / YEAR + 5  # the years of the book, and those that the assumed view is worth
    assert found["p_short_now"] == pytest.approx(stats.nbinom(3.5, exposure / (exposure + 90 / YEAR)).sf(0), rel=1e-9)
    assert row(more, "bearing")["buy"] % 2 == 1  # one lies there: pairs are made whole
    assert "A job takes 2." in " ".join(full(more).split())


def test_an_item_serves_as_many_units_as_its_card_names(tmp_path):
    """The want of six alternators is six times that of one (a rate in units and years; common practice, no source)."""
    often = sure(0.2)
    with empty_book(tmp_path) as book:
        for k in range(6):
            book.add_unit(f"alternator {k}")
        for name, many in (("brush, one", 1), ("brush, six", 6)):
            book.add_item(name, locker="A1", units=[f"alternator {k}" for k in range(many)])
            book.add_item(f"{name}, guessed", locker="A1", units=[f"alternator {k}" for k in range(many)])
        wishes = tuple(SpareWish(item=f"brush, {n}, guessed", failures_per_year=often) for n in ("one", "six"))
        answer = spares_aboard(book, passage(items=wishes))
        said = spares_aboard(book, passage(items=(SpareWish(item="brush, six", like_units=2),)))
    for name in ("", ", guessed"):
        one, six = row(answer, f"brush, one{name}"), row(answer, f"brush, six{name}")
        assert six["mean_wanted"] == pytest.approx(6 * one["mean_wanted"])
        assert six["units"] == 6
    assert row(said, "brush, six")["mean_wanted"] == pytest.approx(2 * row(answer, "brush, one")["mean_wanted"])


SETS = (
    SpareWish(item="bearing", cost_without=sure(400.0), failures_per_year=sure(3.0), price=18.0, at_a_time=2, most=4,
              together=("seal", "gasket")),
    SpareWish(item="seal", cost_without=sure(90.0), failures_per_year=sure(5.0), price=7.0, most=3),
    SpareWish(item="gasket", cost_without=sure(15.0), failures_per_year=sure(4.0), price=2.0, most=3),
    SpareWish(item="pump", cost_without=sure(0.0), failures_per_year=sure(0.0), price=95.0, most=1,
              covers=("bearing", "seal"), p_useful=0.9),
)  # fmt: skip


@cache
def every_list() -> dict[tuple[int, ...], float]:
    """The worth of every list there is, one bearing aboard, written from the meaning."""
    lost = [w.price * (1 - 0.9 ** (30 / 365)) for w in SETS]  # a tenth of the price a year, assumed
    means = [w.failures_per_year.likely * 30 / YEAR for w in SETS[:3]]
    demands = [*(stats.poisson(m).pmf(np.arange(4)).tolist() for m in means), [1.0]]
    modes = [(0, ((0, 2), (1, 1), (2, 1)), 400.0), (1, ((1, 1),), 90.0), (2, ((2, 1),), 15.0), (0, ((3, 1),), 360.0),
             (1, ((3, 1),), 81.0)]  # fmt: skip
    return {b: joint(demands, modes, [1 + b[0], *b[1:]], lost)[0] for b in choices([w.most for w in SETS])}


@pytest.mark.parametrize("budget", [10.0, 40.0, 52.0, 70.0, 110.0, 160.0])
def test_a_set_against_every_choice(tmp_path, budget):
    """Bearings go in by two with a seal and a gasket; a pump ends either want: every list there is, one by one."""
    with empty_book(tmp_path) as book:
        for wish in SETS:
            book.add_item(wish.item, locker="A1")
        book.receive([ReceiveLine("bearing", 1, "x", 18)], "2026-01-01")
        answer = spares_aboard(book, passage(items=SETS), budget=budget)
    prices, worth = [w.price for w in SETS], every_list()
    best = max(w for b, w in worth.items() if sum(n * p for n, p in zip(b, prices, strict=True)) <= budget)
    found = tuple(int(row(answer, w.item)["buy"]) for w in SETS)
    assert sum(n * p for n, p in zip(found, prices, strict=True)) <= budget
    assert worth[found] == pytest.approx(best, abs=0.05)  # the plain sum stops at three of each
    assert answer.most_lost == pytest.approx(0.0, abs=1e-6)


def test_what_a_lead_takes_is_not_wanted_twice(tmp_path):
    with empty_book(tmp_path) as book:
        for name in ("bearing", "seal"):
            book.add_item(name, locker="A1", units=("engine",))
        book.receive([ReceiveLine("bearing", 4, "x", 10), ReceiveLine("seal", 5, "x", 5)], "2024-06-01")
        for day in ("2024-09-01", "2025-03-01"):
            book.fit("bearing", "engine", date=day, quantity=2)
            book.fit("seal", "engine", date=day)
        book.fit("seal", "engine", date="2025-09-01")
        apart = spares_aboard(book, passage())
        together = spares_aboard(book, passage(items=(SpareWish(item="bearing", together=("seal",)),)))
    assert (row(apart, "seal")["seen"], row(together, "seal")["seen"], row(together, "bearing")["seen"]) == (3, 1, 2)
    (bearing,) = [r for r in together.carry.itertuples() if r.item == "bearing"]
    assert "Fitted together with seal: a job needs them all." in why(bearing, "EUR")


def test_the_order_of_buying_falls_and_adds_up(tmp_path):
    """Each step is worth less for its money than the one before, and the sums are those of the stock it leads to."""
    with empty_book(tmp_path) as book:
        for wish in SETS:
            book.add_item(wish.item, locker="A1")
        answer = spares_aboard(book, passage(items=SETS))
    curve = answer.budget_curve
    ratio = (curve["gain"] / curve["spend"].diff())[1:]
    assert (ratio[1:].to_numpy() <= ratio[:-1].to_numpy() + 1e-9).mean() > 0.7  # a set's second part may beat its first
    assert (curve["expected_cost"].diff()[1:] <= 1e-9).all()
    assert curve["item"].str.contains(" + ", regex=False).any()
    assert curve["expected_cost"].iloc[0] == pytest.approx(answer.risk.cost_now, rel=1e-6)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's book, read from its folder once."""
    place = tmp_path_factory.mktemp("demo") / "demo.spares"
    book_from_csv(DEMO, place)
    return place


def test_nothing_is_worked_out_before_it_is_asked_for(demo, monkeypatch):
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("asked for too early")

    monkeypatch.setattr(carry_room.carry_program, "best_carry", fail)
    answer = spares_aboard(demo, Passage(today="2026-06-01"))
    assert answer.worth.fifo > 0
    assert len(answer.expiring) > 0
    with pytest.raises(AssertionError, match="too early"):
        _ = answer.spend
