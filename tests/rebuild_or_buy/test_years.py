"""Costs over the years: small cases by hand, closed forms, an own simulation, properties."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lived_case import lived
from lived_small import (
    AWAY,
    TOTAL,
    UNDELAYED,
    WORKS,
    YEARS,
    again,
    combinations,
    cracked,
    ledger_of,
    lives,
    pert_quantile,
    rows,
    simple,
)
from reference_case import span
from small_case import small, sure

from repairecon.rebuild_or_buy.lives import clocks_of, failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.rebuild_or_buy.years import Ledger, spare_combinations
from repairecon.records import Range, Way, Years

REFERENCE, SMALL = ledger_of(lived(age_years=0.0)), simple()


def test_cost_of_a_later_failure_by_hand():
    found = rows(simple())
    for name in ("rebuild", "new"):
        assert found[name].cost_now == pytest.approx(TOTAL[name])
        assert found[name].cost_failure == pytest.approx(TOTAL[name] + AWAY)
        assert not found[name].with_spare
    # a pair swaps for 2 h at 1, then rebuilds at leisure; if the spare is dead it is as without one
    swapped, without = 2.0 + UNDELAYED["rebuild"], TOTAL["rebuild"] + AWAY
    for name in ("buy and rebuild", "rebuild and carry"):
        assert found[name].cost_failure == pytest.approx(WORKS * swapped + (1 - WORKS) * without)
        assert found[name].with_spare


def test_without_a_cheap_rebuild_the_pair_buys_again():
    dear = cracked(0.0)
    dear = replace(dear, parts=(replace(dear.parts[0], price=sure(900)),))
    without = TOTAL["new"] + AWAY
    expected = WORKS * (2.0 + UNDELAYED["new"]) + (1 - WORKS) * without
    assert rows(ledger_of(dear))["buy and rebuild"].cost_failure == pytest.approx(expected)


def test_resale_by_hand():
    years = replace(YEARS, discount_rate=0.05, inflation_rate=0.02, resale_share=0.2)
    plain, sold = rows(simple(replace(years, resale_share=0.0))), rows(simple(years))
    worth = 0.2 * 500 * (1.05 / 1.02) ** -10
    for name, row in sold.items():
        gain = worth if row.with_spare else 0.0
        assert plain[name].present_cost - row.present_cost == pytest.approx(gain)


def test_spare_and_kit_by_hand():
    """Every way fails ln 2 / 5 times a year here, so 2 ln 2 times in 10 years at no discount."""
    m = 2.0 * math.log(2.0)
    found = combinations(simple())
    base = TOTAL["rebuild"] + m * (TOTAL["rebuild"] + AWAY)
    assert found["no spare"].present_cost == pytest.approx(base, abs=1e-2)
    assert found["kit alone"].worth == pytest.approx(m * 0.5 * AWAY, rel=1e-4)
    assert (found["kit alone"].cost, found["kit alone"].p_works) == (100.0, 0.5)
    pair = found["rebuild and carry"]
    assert pair.worth == pytest.approx(m * WORKS * (TOTAL["rebuild"] + AWAY - 102.0), rel=1e-4)
    assert pair.p_works == pytest.approx(WORKS)
    assert pair.cost == pytest.approx(500, abs=1e-6)
    twice = combinations(simple(replace(YEARS, like_units=2)))
    assert twice["kit alone"].worth == pytest.approx(2 * found["kit alone"].worth)
    assert twice["rebuild and carry"].worth == pytest.approx(2 * pair.worth)
    assert twice["rebuild and carry"].cost == pytest.approx(pair.cost)


def test_a_combination_costs_what_its_way_costs():
    case = lived()
    ledger = ledger_of(case)
    horizon, found = rows(ledger), combinations(ledger)
    name = "buy new, rebuild the old"
    assert found[name].present_cost == pytest.approx(horizon[name].present_cost)
    cheapest = min(r.present_cost for r in horizon.values() if not r.with_spare)
    assert found["no spare"].present_cost == cheapest
    assert found[name].net == pytest.approx(cheapest - horizon[name].present_cost)


def test_a_dear_swap_is_not_done():
    """Where swapping costs more than waiting at base, the spare stays in its locker."""
    found = rows(simple(replace(YEARS, p_away=0.0, swap_hours=sure(500))))
    assert found["rebuild and carry"].cost_failure <= TOTAL["rebuild"] + 1e-9


def test_horizon_0_is_this_job_alone():
    ledger = ledger_of(lived(horizon_years=0.0))
    for i, r in enumerate(rows(ledger).values()):
        assert r.present_cost == r.cost_now == ledger.now[i]
        assert (r.failures_expected, r.failures_discounted, r.p_failure_away) == (0.0, 0.0, 0.0)
        assert math.isnan(r.annual_cost)
        assert r.break_even_life is None


def test_without_discount_it_adds_up():
    ledger = ledger_of(lived(discount_rate=0.0, inflation_rate=0.0, resale_share=0.0))
    for r in rows(ledger).values():
        assert r.failures_discounted == pytest.approx(r.failures_expected, rel=1e-12)
        assert r.present_cost == pytest.approx(r.cost_now + r.failures_expected * r.cost_failure, rel=1e-12)
        assert r.annual_cost == pytest.approx(r.present_cost / 12.0)


@pytest.mark.parametrize(("rate", "p_early"), [(0.0, 0.0), (0.08, 0.0), (0.0, 0.2), (0.08, 0.2)])
def test_exponential_lives_have_closed_forms(rate, p_early):
    """Failures by chance alone, ln 2 / 5 a year; each new unit is followed by p / (1 - p) dead on arrival."""
    years = replace(YEARS, discount_rate=rate)
    r = rows(simple(years, p_early=p_early))["new"]
    a_year, again = math.log(2.0) / 5.0, 1.0 / (1.0 - p_early)
    force = math.log1p(rate)
    span_years = 10.0 if rate == 0 else (1.0 - math.exp(-10.0 * force)) / force
    assert r.failures_expected == pytest.approx(p_early * again + a_year * 10.0 * again, abs=1e-3)
    assert r.failures_discounted == pytest.approx(p_early * again + a_year * span_years * again, abs=1e-3)
    none_at_once = (1.0 - p_early) / (1.0 - 0.75 * p_early)  # before a sound one, none of the dead was away
    to_go = a_year * 10.0 * (1.0 - 0.75 * none_at_once)
    assert r.p_failure_away == pytest.approx(1.0 - none_at_once * math.exp(-to_go), abs=1e-3)
    assert r.median_life == pytest.approx(5.0 * math.log2(2.0 * (1.0 - p_early)))


def simulated(rng, paths: int, years: Years, made: Way):
    """Courses of the rebuild, 0.4 of them cracked, drawn anew: (present cost, failures, any away) of each."""
    p = rng.random(paths)
    k, scale = made.life_shape, math.log(2.0) ** (-1.0 / made.life_shape)
    by_years, by_hours = (scale * pert_quantile(p, r) for r in (made.life_years, made.life_hours))
    real = (1 + years.discount_rate) / (1 + years.inflation_rate)
    t, count, away = np.zeros(paths), np.zeros(paths), np.zeros(paths, bool)
    cost = np.full(paths, 0.6 * 115.0 + 0.4 * 505.0)
    while (t <= years.horizon_years).any():
        life = np.minimum(by_years * rng.weibull(k, paths), by_hours * rng.weibull(k, paths) / years.hours_a_year)
        t = t + np.where(rng.random(paths) < made.p_early, 0.0, life)
        here, off = t <= years.horizon_years, rng.random(paths) < years.p_away
        job = np.where(rng.random(paths) < 0.4, 505.0, 115.0)
        extra = rng.uniform(years.cost_away.low, years.cost_away.high, paths) + rng.integers(3, 6, paths)
        cost += np.where(here, (job + off * extra) * real**-t, 0.0)
        count += here
        away |= here & off
    return cost, count, away


def test_against_an_own_simulation():
    years = replace(
        YEARS, horizon_years=15.0, discount_rate=0.07, inflation_rate=0.02, hours_a_year=100.0, p_away=0.3,
        cost_away=Range(100, 200, 300, "uniform"),
    )  # fmt: skip
    changes = {"life_years": span(3, 6, 12), "life_hours": span(300, 700, 1500), "p_early": 0.08}
    made = replace(lives(shape=1.7)[0], **changes)
    r = rows(ledger_of(small(ways=(made, lives(shape=1.7)[1]), years=years)))["rebuild"]
    drawn = simulated(np.random.default_rng(20), 40_000, years, made)
    for exact, seen in zip((r.present_cost, r.failures_expected, r.p_failure_away), drawn, strict=True):
        assert abs(seen.mean() - exact) < 4 * seen.std() / math.sqrt(len(seen))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 4), st.floats(0.4, 5.0), st.floats(1.02, 2.0), st.floats(0.0, 0.3), st.floats(0.1, 30.0))
def test_a_longer_life_never_costs_more(i, factor, longer, rate, horizon):
    ledger = again(REFERENCE, discount_rate=rate, inflation_rate=0.0, horizon_years=horizon)
    short = float(ledger.now[i]) + ledger.later(i, factor) - ledger.resale(i)
    long = float(ledger.now[i]) + ledger.later(i, factor * longer) - ledger.resale(i)
    assert long <= short + 1e-6 * abs(short)


SOME_YEARS = st.fixed_dictionaries(
    {
        "p_away": st.floats(0.0, 1.0),
        "swap_hours": st.floats(0.0, 60.0).map(sure),
        "shelf_life_years": st.floats(0.5, 100.0),
        "turned_every_years": st.floats(0.1, 20.0),
        "like_units": st.integers(1, 3),
        "horizon_years": st.floats(0.5, 25.0),
        "resale_share": st.floats(0.0, 1.0),
        "p_kit_fits": st.floats(0.0, 1.0),
    }
)


def quick(ledger: Ledger):
    """Combinations without the searches for break-even lives and best ages."""
    return {c.combination: c for c in spare_combinations(ledger, 100.0)}


@settings(max_examples=25, deadline=None)
@given(SOME_YEARS)
def test_a_spare_is_never_worth_less_than_nothing(years):
    for c in quick(again(SMALL, **years)).values():
        assert c.worth >= 0.0
        assert c.net == pytest.approx(c.worth - c.cost)


@settings(max_examples=25, deadline=None)
@given(SOME_YEARS, st.floats(0.0, 1.0))
def test_more_failures_away_never_lower_the_worth(years, other):
    less, more = sorted((years["p_away"], other))
    low, high = (quick(again(SMALL, **{**years, "p_away": p})) for p in (less, more))
    for name in low:
        assert high[name].worth >= low[name].worth - 1e-9


def test_chance_of_a_failure_away_lies_between_the_bounds():
    """At least one in a first life, at most the expected number of them."""
    for i, w in enumerate(REFERENCE.case.ways):
        f = REFERENCE.failures[i]
        clocks = clocks_of(REFERENCE.case, w)
        assert 0.4 * clocks.cdf(np.array([12.0]), 90.0).mean() - 1e-6 <= f.p_away <= 0.4 * f.expected + 1e-6
        assert failures(clocks, replace(REFERENCE.years, p_away=0.0)).p_away == 0.0


def test_an_own_hour_that_is_worth_more_is_worth_more_later_too():
    """By hand 2 h of swapping; a rebuild in other hands costs what it did."""
    case = cracked(0.0)
    dear = Ledger(Model(case, grow(case), {}, -1, 21.0), YEARS, SMALL.now)
    for i, r in rows(SMALL).items():
        more = dear.failure(dear.ways.index(i)) - r.cost_failure
        assert more == pytest.approx(WORKS * 2 * 20.0 if r.with_spare else 0.0)
