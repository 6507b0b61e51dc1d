"""Break-even and median lives, best replacement ages, the worth of a spare by days; what could go wrong there."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from lived_case import lived
from lived_small import UNDELAYED, YEARS, again, combinations, cracked, ledger_of, pert_quantile, rows, simple
from numpy.testing import assert_allclose
from scipy import optimize
from small_case import sure

from repairecon.rebuild_or_buy.lives import clocks_of, median_life
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Finding, grow, with_findings
from repairecon.rebuild_or_buy.years import Ledger, worth_by_days
from repairecon.records import Unit, Years

REFERENCE = ledger_of(lived(age_years=0.0))


@pytest.mark.parametrize("i", range(5))
def test_stretched_to_its_break_even_life_a_way_costs_as_much_as_the_best_other(i):
    found = list(rows(REFERENCE).values())
    r, others = found[i], min(o.present_cost for k, o in enumerate(found) if k != i)
    assert not math.isnan(r.break_even_life)
    made = REFERENCE.case.ways[i]

    def off(factor: float) -> float:
        return median_life(clocks_of(REFERENCE.case, made, factor), REFERENCE.years) - r.break_even_life

    factor = optimize.brentq(off, 0.05, 20.0, xtol=1e-12)
    assert float(REFERENCE.now[i]) + REFERENCE.later(i, factor) - REFERENCE.resale(i) == pytest.approx(others, rel=1e-6)
    # a way that is dearer than the best other needs a longer life, the best one may live shorter
    assert (factor > 1) == (r.present_cost > others)


def test_no_life_makes_a_dear_way_the_cheapest():
    dear = cracked(0.0)
    dear = replace(dear, ways=(dear.ways[0], replace(dear.ways[1], price=sure(50_000))))
    assert rows(ledger_of(dear))["new"].break_even_life is None


@pytest.mark.parametrize("rate", [0.0, 0.06])
def test_best_replacement_age_on_a_fine_grid(rate):
    """(planned S + failure F) / integral of S, each weighted by (1 + rate)^-t, by the trapezoidal rule."""
    r = rows(simple(replace(YEARS, discount_rate=rate, p_away=0.9, cost_away=sure(900)), shape=3.0))["new"]
    planned, failed, life = UNDELAYED["new"], r.cost_failure, 5.0 / math.log(2.0) ** (1 / 3.0)
    t = np.linspace(0.0, 20.0, 200_001)
    alive, worth = np.exp(-((t / life) ** 3)), (1 + rate) ** -t
    ends = failed * worth[1:] * -np.diff(alive)
    lasting = np.cumsum((alive * worth)[1:] + (alive * worth)[:-1]) * (t[1] / 2)
    cost = (planned * (alive * worth)[1:] + np.cumsum(ends)) / lasting
    best = int(cost.argmin())
    assert 0 < best < len(cost) - 1
    assert r.best_replacement_age == pytest.approx(t[1:][best], abs=0.02)
    # out of chance alone, or with a failure no dearer than a planned one, waiting is best
    assert rows(simple())["new"].best_replacement_age == math.inf


@pytest.mark.parametrize("name", ["rebuild here", "exchange", "new", "second-hand"])
def test_median_life_is_that_of_the_mixture(name):
    """Half fail by then: over the whole range of the median (2000 quantiles), both clocks, early failures."""
    case = lived(age_years=5.0)
    made, years = case.way(name), case.years
    found = median_life(clocks_of(case, made), years)
    p, k = (np.arange(2000) + 0.5) / 2000, made.life_shape
    age = 0.0  # a stated life is that of the unit as it goes into service
    hazard = np.zeros(2000)
    for r, pace in ((made.life_years, 1.0), (made.life_hours, years.hours_a_year)):
        if r is not None:
            life = pert_quantile(p, r) / math.log(2.0) ** (1 / k) / pace
            hazard += ((age + found) / life) ** k - (age / life) ** k
    assert (1.0 - made.p_early) * np.exp(-hazard).mean() == pytest.approx(0.5, abs=2e-3)


def test_median_life_of_a_sure_life():
    case = replace(lived(), unit=Unit(name="u", kind="winch", age_years=8.0))
    made = replace(case.way("rebuild here"), life_years=sure(6), life_hours=None, p_early=0.0, wear_kept=0.5)
    # at an age of 4 with shape 1.8: (4^1.8 + 6^1.8)^(1 / 1.8) - 4, as half of the survivors outlive it
    assert median_life(clocks_of(case, made), case.years) == pytest.approx((4**1.8 + 6**1.8) ** (1 / 1.8) - 4)
    still = replace(made, life_years=None)
    assert median_life(clocks_of(case, still), case.years) == math.inf
    assert median_life(clocks_of(case, replace(made, p_early=0.6)), case.years) == 0.0


def test_days_line_of_the_spare_is_that_of_the_days_away():
    """Its point at so many days is the net worth of a case whose days away are just so many."""
    case = cracked(0.0)
    case = replace(case, ways=tuple(replace(w, life_years=sure(9)) if w.way == "new" else w for w in case.ways))
    ledger = ledger_of(case)
    days, net = worth_by_days(ledger).set_index("combination").loc["buy and rebuild"].to_numpy(float).T
    for k in (0, 10, len(days) - 1):
        other = again(ledger, days_away=sure(float(days[k])))
        assert net[k] == pytest.approx(combinations(other)["buy and rebuild"].net, abs=1e-6)


def test_prices_may_rise_faster_than_money_earns():
    r = rows(simple(replace(YEARS, discount_rate=0.0, inflation_rate=0.02), shape=3.0))["new"]
    assert r.failures_discounted > r.failures_expected


@pytest.mark.parametrize(
    ("horizon", "age"),
    [
        (12.0, 10.0),
        (60.0, 0.0),
    ],
)
def test_short_lives_have_a_break_even_too(horizon, age):
    for r in rows(ledger_of(lived(age_years=age, horizon_years=horizon))).values():
        assert math.isfinite(r.present_cost)


def test_a_doubtful_finding_leaves_later_failures_alone():
    """What was seen on this unit tells nothing of the next one."""
    case = lived()
    seen = with_findings(grow(case), [Finding("bearings", "spun in the casing", 0.9)])
    model = Model(case, seen, {})
    ledger = Ledger(model, case.years, model.expected() @ np.array([1.0, model.own_hour, model.lost_day]))
    before = ledger_of(case)
    assert_allclose(ledger.total, before.total, rtol=1e-12)
    assert ledger.now[0] > before.now[0]


def test_no_spare_comes_out_of_a_rebuild_that_always_ends():
    """Every casing is cracked: the new one goes in, the old one is never a spare."""
    found = combinations(ledger_of(cracked(1.0)))
    for name in ("buy and rebuild", "rebuild and carry"):
        assert found[name].worth == pytest.approx(0.0, abs=1e-9)


def test_a_barred_pair_is_no_combination():
    case = cracked(0.0)
    model = Model(case, grow(case), {"buy and rebuild": False})
    ledger = Ledger(model, YEARS, model.expected() @ np.array([1.0, 1.0, 1.0]))
    assert "buy and rebuild" not in combinations(ledger)
    assert "rebuild and carry" in combinations(ledger)


def test_an_old_unit_of_falling_hazard_has_a_median():
    """Shape 0.5 at an age of 40 with a median of 1 when new: (sqrt(40) + 1)^2 - 40 = 13.65 further years."""
    case = replace(lived(), unit=Unit(name="u", kind="winch", age_years=40.0))
    made = replace(case.way("rebuild here"), life_years=sure(1), life_hours=None, p_early=0.0, wear_kept=1.0)
    found = median_life(clocks_of(case, replace(made, life_shape=0.5)), case.years)
    assert found == pytest.approx((math.sqrt(40.0) + 1.0) ** 2 - 40.0)


@pytest.mark.filterwarnings("error")
def test_years_left_as_they_are_give_no_warning():
    case = replace(cracked(0.0), years=Years())
    assert ledger_of(case).works == 1.0
