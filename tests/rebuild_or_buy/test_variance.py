"""Shares of the spread against closed forms of sums and products."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from plain_numbers import mean, quantile
from reference_case import branch, case, task, terms
from scipy import integrate
from small_case import part, small, sure
from test_stages import BARRED, model_of

from repairecon.formulas.shares import variance_shares as closed_form
from repairecon.rebuild_or_buy.variance import FOUND, HOURS, Share, variance_shares
from repairecon.records import Case, Labour, Range


def variance(r: Range) -> float:
    """By quadrature over the quantile."""
    square = integrate.quad(lambda p: (quantile(r, p) - mean(r)) ** 2, 0, 1, limit=200)[0]
    return float(square)


PARTS = {
    "bearings": Range(40, 60, 140),
    "seal": Range(5, 30, 60, "triangular"),
    "shaft": Range(50, 90, 180, "lognormal"),
    "grease": Range(0, 10, 70, "uniform"),
}
CHARGE, OUTSIDE, P_BAD = Range(10, 40, 160), 120.0, 0.3


def additive() -> Case:
    return small(
        parts=tuple(replace(part(name, 1, None), price=r) for name, r in PARTS.items()),
        tasks=(task("hire", "strip", cost=CHARGE),),
        branches=(
            branch("shaft", "good", 1 - P_BAD, "measure"),
            branch("shaft", "bad", P_BAD, "measure", outside_cost=sure(OUTSIDE)),
        ),
    )


def by_name(made: Case, seed: int) -> dict[str, Share]:
    return {s.number: s for s in variance_shares(model_of(made, {}), 0, seed)}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_shares_of_a_sum_against_the_closed_form(seed: int) -> None:
    found = by_name(additive(), seed)
    names = [*(f"price of {p}" for p in PARTS), "cost of hire", FOUND]
    spread = [*map(variance, PARTS.values()), variance(CHARGE), P_BAD * (1 - P_BAD) * OUTSIDE**2]
    _, first, total = closed_form([(1.0, (i,)) for i in range(len(names))], np.zeros(len(names)), spread)
    assert_allclose(first, np.array(spread) / sum(spread))
    for name, f, t in zip(names, first, total, strict=True):
        assert abs(found[name].first - f) < 4 * found[name].first_se, name
        assert abs(found[name].total - t) < 4 * found[name].total_se, name
        assert found[name].first_se < 0.06
    se = float(np.sqrt(sum(found[n].first_se ** 2 for n in names)))
    assert sum(found[n].first for n in names) == pytest.approx(1.0, abs=4 * se)
    assert sum(found[n].total for n in names) == pytest.approx(1.0, abs=0.1)
    rest = [s for n, s in found.items() if n not in names]
    assert all(abs(s.first) < 1e-12 and s.total < 1e-12 for s in rest)  # the price of new, say


@pytest.mark.parametrize("seed", [1, 5])
def test_shares_of_a_product_against_the_closed_form(seed: int) -> None:
    """Hours of the yard at an hour's price, and a kit: two inputs work together."""
    hours, price, kit = Range(1, 4, 16), Range(30, 50, 150), Range(100, 200, 400)
    made = small(
        terms=terms(labour={"yard": Labour("yard", price)}, cost_lost_day=sure(0), hours_correlation=0.0),
        parts=(replace(part("kit", 1, None), price=kit),),
        tasks=(task("press", "measure", "yard", hours),),
        branches=(),
    )
    found = by_name(made, seed)
    names = [HOURS, "an hour of yard", "price of kit"]
    numbers_in = (hours, price, kit)
    _, first, total = closed_form(
        [(1.0, (0, 1)), (1.0, (2,))], [mean(r) for r in numbers_in], [variance(r) for r in numbers_in]
    )
    assert total[0] > first[0] + 0.02
    for name, f, t in zip(names, first, total, strict=True):
        assert abs(found[name].first - f) < 4 * found[name].first_se, name
        assert abs(found[name].total - t) < 4 * found[name].total_se, name


def test_shares_of_the_reference_case() -> None:
    found = variance_shares(model_of(case(), BARRED), 0, 4)
    assert [s.total for s in found] == sorted((s.total for s in found), reverse=True)
    assert 0.85 < sum(s.first for s in found) < 1.15
    assert sum(s.total for s in found) > sum(s.first for s in found) - 0.1
    assert all(s.first <= s.total + 4 * (s.first_se + s.total_se) for s in found)
    assert {FOUND, HOURS} <= {s.number for s in found[:6]}


@pytest.mark.parametrize("k", [0.2, 50.0])
def test_shares_do_not_know_the_currency(k: float) -> None:
    ways = tuple(replace(w, price=w.price and w.price.scaled(k)) for w in additive().ways)
    scaled = replace(
        additive(),
        ways=ways,
        parts=tuple(replace(p, price=p.price and p.price.scaled(k)) for p in additive().parts),
        tasks=tuple(replace(t, cost=t.cost.scaled(k)) for t in additive().tasks),
        branches=tuple(replace(b, outside_cost=b.outside_cost.scaled(k)) for b in additive().branches),
    )
    one, other = by_name(additive(), 3), by_name(scaled, 3)
    assert {n: s.total for n, s in other.items()} == pytest.approx({n: s.total for n, s in one.items()}, rel=1e-6)
