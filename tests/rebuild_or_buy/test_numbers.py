"""Slopes, swings and maps, each against the case with the number written into it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from plain_numbers import quantile
from reference_case import case
from small_case import sure
from test_sensitivity import narrowed, only_taken, times, with_input
from wide_case import wide

from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import Number, lead_of, numbers, swings
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Case, Quote

BARRED = {"second-hand": False}


class Known:
    """Takes the place of a factor: whatever is multiplied by it becomes a number known to be so."""

    def __init__(self, value: float) -> None:
        self.value = value

    def __rmul__(self, _: float) -> float:
        return self.value


def model_of(made: Case, allowed: dict[str, bool] | None = None) -> Model:
    return Model(made, grow(made), BARRED if allowed is None else allowed)


def totals(made: Case, *more: str) -> np.ndarray:
    """Expected totals, ways not allowed at infinity; ``more`` ways are barred too."""
    model = model_of(made, BARRED | dict.fromkeys(more, False))
    total = model.expected() @ [1.0, model.own_hour, model.lost_day]
    return np.where(model.allowed, total, np.inf)


def rewritten(made: Case, number: Number, k: object) -> Case:
    """The case with one number times ``k``, or known to be ``k.value``."""
    if number.name == "worth of an own hour":
        hour = k.value if isinstance(k, Known) else made.terms.cost_own_hour * k  # type: ignore[operator]
        return replace(made, terms=replace(made.terms, cost_own_hour=hour))
    if number.name == "cost of a day out of service":
        day = made.terms.cost_lost_day
        new = sure(k.value) if isinstance(k, Known) else day.scaled(k)  # type: ignore[arg-type]
        return replace(made, terms=replace(made.terms, cost_lost_day=new))
    item, quoted, at = number.name.removeprefix("days to wait for ").partition(" from ")
    if quoted:
        return replace(made, quotes=tuple(_waiting(q, item, at, k) for q in made.quotes))
    return with_input(made, number.name, k)  # type: ignore[arg-type]


def _waiting(q: Quote, item: str, at: str, k: object) -> Quote:
    return replace(q, lead_days=times(q.lead_days, k)) if (q.item, q.supplier) == (item, at) else q  # type: ignore


def settled(made: Case) -> Case:
    """Only the quotes that are taken: the price that a case takes is chosen anew when a quote changes."""
    return replace(made, quotes=tuple(only_taken(made)))


CASES = {"reference": settled(case()), "narrowed": settled(narrowed()), "ordered now": settled(wide("now"))}


@cache
def listed(name: str, *more: str) -> tuple[Model, list[Number]]:
    """The model and its numbers; ``more`` ways are barred too."""
    model = model_of(CASES[name], BARRED | dict.fromkeys(more, False))
    return model, numbers(model)


# ---- slopes -------------------------------------------------------------------------------------
@pytest.mark.parametrize(("name", "more", "far"), [("reference", ("exchange",), True), ("narrowed", (), False)])
def test_slopes_against_differences_of_rewritten_cases(name: str, more: tuple[str, ...], far: bool) -> None:
    """By a small step, or as far as the value that 1 in 10 pass: what is said to be straight is so all the way."""
    model, found = listed(name, *more)
    base, straight = totals(CASES[name], *more)[model.allowed], 0
    for number in found:
        if number.slopes is None:
            continue
        ranged = far and number.range is not None and not number.range.sure
        step = quantile(number.range, 0.9) / number.now - 1 if ranged else 1e-3
        moved = totals(rewritten(CASES[name], number, 1 + step), *more)[model.allowed]
        slope = (moved - base) / (step * number.now)
        assert_allclose(slope, number.slopes[model.allowed], rtol=1e-5, atol=1e-6, err_msg=number.name)
        straight += 1
    assert straight > 12


def test_only_waits_and_the_bench_work_under_them_are_bent() -> None:
    _, found = listed("ordered now")
    bent = {n.name for n in found if n.slopes is None}
    assert {"days to wait for bearing stockist", "hours for strip"} <= bent
    assert not any(n.startswith(("price", "cost", "an hour")) for n in bent)
    for number in found:
        if number.slopes is None and number.name.startswith("days to wait"):
            known = totals(rewritten(CASES["ordered now"], number, Known(number.high)))
            assert_allclose(number.known(number.high), known, rtol=1e-6, err_msg=number.name)


def all_come(made: Case) -> Case:
    """Every way sure to come."""
    ways = tuple(replace(w, p_never=0.0) for w in made.ways)
    return replace(made, ways=ways, quotes=tuple(replace(q, p_never=0.0) for q in made.quotes))


@pytest.mark.parametrize("k", [0.5, 1.7])
def test_totals_follow_the_mean_of_a_number(k: float) -> None:
    made = all_come(CASES["narrowed"])
    for number in numbers(model_of(made)):
        again = totals(rewritten(made, number, k))
        assert_allclose(number.totals(k * number.now), again, rtol=1e-6, err_msg=number.name)


def test_totals_follow_the_price_of_what_is_done_instead() -> None:
    _, found = listed("narrowed")
    number = next(n for n in found if n.name == "price of exchange")
    again = totals(rewritten(CASES["narrowed"], number, 1.7))
    assert_allclose(number.totals(1.7 * number.now), again, rtol=1e-6)


# ---- swings ---------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("name", "more"),
    [("reference", ()), ("reference", ("exchange",)), ("ordered now", ("exchange", "exchange, stripped too"))],
)
def test_swings_against_rewritten_cases(name: str, more: tuple[str, ...]) -> None:
    model, found = listed(name, *more)
    made = CASES[name]
    best = int(totals(made, *more).argmin())
    by_name = {n.name: n for n in found}
    said = swings(model, best, found)
    assert len(said) >= 6
    for swing in said:
        number = by_name[swing.number]
        assert number.range is not None
        ends = [quantile(number.range, p) for p in (0.1, 0.9)]
        assert [swing.value_low, swing.value_high] == pytest.approx(ends, rel=1e-6)
        rows = [totals(rewritten(made, number, Known(x)), *more) for x in ends]
        leads = [lead_of(row, best) for row in rows]
        assert [swing.lead_low, swing.lead_high] == pytest.approx(leads, rel=1e-6, abs=1e-5), swing.number
        assert [swing.best_low, swing.best_high] == [model.ways[int(row.argmin())] for row in rows], swing.number
    widths = [abs(s.lead_high - s.lead_low) for s in said]
    assert widths == sorted(widths, reverse=True)


def test_no_number_left_out_swings_wider() -> None:
    model, found = listed("reference", "exchange")
    made = CASES["reference"]
    best = int(totals(made, "exchange").argmin())
    said = swings(model, best, found)
    least = min(abs(s.lead_high - s.lead_low) for s in said)
    base = totals(made, "exchange")
    for number in found:
        if number.range is None or number.range.sure or number.name in {s.number for s in said}:
            continue
        ends = [quantile(number.range, p) for p in (0.1, 0.9)]
        if number.slopes is None:
            rows = [totals(rewritten(made, number, Known(x)), "exchange") for x in ends]
        else:  # straight: the slopes are held against rewritten cases above
            rows = [base + number.slopes * (x - number.now) for x in ends]
        low, high = (lead_of(row, best) for row in rows)
        assert abs(high - low) <= least + 1e-6, number.name


# ---- which way is best over two numbers -------------------------------------------------------------
