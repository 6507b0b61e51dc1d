"""Drawn courses of failures against their exact means, and drawn lives against their distribution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from lived_case import lived
from numpy.testing import assert_array_equal
from reference_case import span

from repairecon.rebuild_or_buy.draws import failure_times
from repairecon.rebuild_or_buy.lives import Clocks, clocks_of, failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes, sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.rebuild_or_buy.years import Ledger, cost_over_years, over_the_years
from repairecon.records import Case, Years

KS_1_PERCENT = 1.6276  # Kolmogorov's limit law stays below it in 99 of 100 cases; critical value times sqrt(n)


def reckoned(case: Case, seed: int = 3) -> tuple[Ledger, Outcomes]:
    model = Model(case, grow(case), {})
    outcomes = sample(model, 4_000, seed)
    return Ledger(model, case.years, outcomes.mean[:, 3]), outcomes


@pytest.fixture(scope="module")
def made() -> tuple[Ledger, Outcomes]:
    return reckoned(lived())


@pytest.fixture(scope="module")
def fan(made: tuple[Ledger, Outcomes]) -> pd.DataFrame:
    return cost_over_years(*made, seed=3)


def test_sampled_mean_is_the_exact_mean_within_its_error(fan):
    for way, rows in fan.groupby("way"):
        assert len(rows) == 13
        off = (rows["sampled_mean"] - rows["mean"]).abs() / rows["mean_se"]
        assert off.max() < 4.0, way


def test_dear_failures_away_come_as_often_as_they_should():
    """Where they outweigh all else, a chance of one away that were a tenth off would show."""
    case = lived(p_away=0.5, cost_away=span(15_000, 20_000, 25_000))
    rows = cost_over_years(*reckoned(case), seed=3)
    assert ((rows["sampled_mean"] - rows["mean"]).abs() < 4 * rows["mean_se"]).all()


def test_the_error_is_one_and_not_wide(fan):
    """A standard error of a few thousand courses is small beside the cost, and 0 nowhere."""
    assert (fan["mean_se"] > 0).all()
    assert (fan["mean_se"] < 0.02 * fan["mean"]).all()


def test_last_year_is_the_present_cost(made, fan):
    """What a spare fetches comes off at the end, and is not in the fan."""
    ledger, _ = made
    last = fan[fan["year"] == 12.0].set_index("way")["mean"]
    for i, r in enumerate(over_the_years(ledger).itertuples()):
        assert last[r.way] == pytest.approx(r.present_cost + ledger.resale(i), rel=1e-9)


def test_costs_pile_up_and_the_ends_lie_apart(fan):
    assert (fan["p10"] <= fan["p90"]).all()
    for _, rows in fan.groupby("way"):
        assert rows["year"].is_monotonic_increasing
        for column in ("mean", "sampled_mean", "p10", "p90"):
            assert rows[column].is_monotonic_increasing, column
        assert rows["mean"].iloc[-1] > rows["mean"].iloc[0]


def test_same_seed_same_fan(made, fan):
    pd.testing.assert_frame_equal(cost_over_years(*made, seed=3), fan, check_exact=True)
    other = cost_over_years(*made, seed=4)
    assert not np.allclose(other["p90"], fan["p90"], rtol=1e-9)
    assert_array_equal(other["mean"], fan["mean"])


def test_a_way_keeps_its_fan_when_another_is_left_out(fan):
    case = lived()
    fewer = replace(case, ways=tuple(w for w in case.ways if not w.bought and w.way != "second-hand"))
    rows = cost_over_years(*reckoned(fewer), seed=3)
    # a new one never looks at the others; a rebuild that ends does
    kept = fan[fan["way"] == "new"].reset_index(drop=True)
    # which inputs are drawn most evenly hangs on all ways: the sampled total, not the failures, moves a little
    pd.testing.assert_frame_equal(rows[rows["way"] == "new"].reset_index(drop=True), kept, rtol=1e-2)


LIVES_YEARS, LIVES_HOURS = np.array([4.0, 8.0, 15.0]), np.array([500.0, np.inf, 900.0])
SHAPE, AGE, EARLY, HOURS = 1.7, 2.0, 0.06, 80.0


def fails_by(t, years: bool = True, hours: bool = True, age: float = AGE):
    """The distribution that the lives are drawn from, each step of the range alike."""
    hazard = np.zeros((len(t), 3))
    for runs, life in ((years, LIVES_YEARS), (hours, LIVES_HOURS / HOURS)):
        if runs:
            hazard += ((age + t[:, None]) / life) ** SHAPE - (age / life) ** SHAPE
    return 1.0 - (1.0 - EARLY) * np.exp(-hazard).mean(axis=1)


def distance(lives, cdf) -> float:
    """Largest gap between the drawn shares and the cdf, on both sides of each step; nought is a step of its own."""
    x, n = np.sort(lives[np.isfinite(lives)]), len(lives)
    first = int((x == 0.0).sum())
    f = cdf(x[first:])
    rank = np.arange(first, len(x))
    at_0 = abs(first / n - cdf(np.zeros(1))[0])
    return max(at_0, float(np.abs((rank + 1) / n - f).max()), float(np.abs(rank / n - f).max()))


CLOCKS = Clocks(LIVES_YEARS, LIVES_HOURS, SHAPE, AGE, EARLY, 0.0, np.full(3, 1 / 3))
USE = Years(horizon_years=150.0, hours_a_year=HOURS)


@pytest.mark.parametrize("clocks", ["both", "years", "hours"])
def test_failure_times_follow_their_distribution(clocks):
    """The first life and the second, of the same unknown median and yet each a draw of the mixture."""
    n, years, hours = 4_000, clocks != "hours", clocks != "years"
    life_years, life_hours = (x if on else np.full(3, np.inf) for x, on in ((LIVES_YEARS, years), (LIVES_HOURS, hours)))
    times = failure_times(replace(CLOCKS, life_years=life_years, life_hours=life_hours), USE, n, 5, "way")
    if clocks == "hours":  # one step of the three never fails by hours
        finite = times[0][np.isfinite(times[0])]
        assert abs(len(finite) / n - (2 + EARLY) / 3) < 4 * np.sqrt(0.22 / n)
    second = times[1] - times[0] if clocks != "hours" else times[0]
    for lives in (times[0], second):
        assert distance(lives, lambda t: fails_by(t, years, hours)) < KS_1_PERCENT / np.sqrt(n)


def test_the_lives_of_a_course_share_their_median():
    """With medians far apart, a first life that was long foretells a second that is long."""
    wide = np.array([1.0, 30.0])
    times = failure_times(
        Clocks(wide, wide + np.inf, 3.0, 0.0, 0.0, 0.0, wide), Years(horizon_years=400.0), 3_000, 5, "way"
    )
    first, second = times[0], times[1] - times[0]
    # of the long-lived, 1 - exp(-(2.5 / 30)**3) = 0.0006 fail sooner
    assert np.mean(first[second > 5] > 2.5) > 1 - 0.0006 - 4 * np.sqrt(0.0006 / 1_500)
    assert np.mean(first > 5) == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(3_000))


def test_failure_times_end_at_the_horizon_and_go_up():
    times = failure_times(CLOCKS, replace(USE, horizon_years=9.0), 1_000, 5, "way")
    finite = np.isfinite(times)
    assert times[finite].max() <= 9.0
    assert (finite[:-1] | ~finite[1:]).all()
    with np.errstate(invalid="ignore"):
        gaps = np.diff(times, axis=0)
    assert (gaps[finite[1:]] >= 0.0).all()
    again = failure_times(CLOCKS, replace(USE, horizon_years=9.0), 1_000, 5, "way")
    assert_array_equal(again, times)
    other = failure_times(CLOCKS, replace(USE, horizon_years=9.0), 1_000, 5, "other way")
    assert not np.array_equal(other[0], times[0])


def test_wear_adds_up_from_rebuild_to_rebuild():
    """Courses drawn plainly: a rebuild leaves a share of the years run, on both clocks; a stated life is that of the
    unit as it is after the first one, whatever its age."""
    case = lived(age_years=6.0)
    i = [w.way for w in case.ways].index("rebuild here")
    made = replace(case.ways[i], wear_kept=0.4)
    clocks = clocks_of(replace(case, ways=(made, *case.ways[1:])), made)
    drawn = clocks_of(replace(case, ways=(made, *case.ways[1:])), made, drawn=True)
    rng, n = np.random.default_rng(9), 100_000
    step, k = rng.integers(0, len(drawn.life_years), n), made.life_shape
    life_years, life_hours = drawn.life_years[step], drawn.life_hours[step]
    clock, worn, count, away = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n, bool)
    while (clock <= 12.0).any():
        by_years = life_years * ((worn / life_years) ** k + rng.exponential(size=n)) ** (1 / k) - worn
        hours = 90.0 * worn
        by_hours = life_hours * ((hours / life_hours) ** k + rng.exponential(size=n)) ** (1 / k) - hours
        run = np.where(rng.random(n) < 0.05, 0.0, np.minimum(by_years, by_hours / 90.0))
        clock, worn = clock + run, worn + 0.4 * run
        count += clock <= 12.0
        away |= (clock <= 12.0) & (rng.random(n) < 0.4)
    found = failures(clocks, replace(case.years, p_away=0.4))
    for ours, seen in ((found.expected, count), (found.p_away, away)):
        assert abs(ours - seen.mean()) < 4 * seen.std() / np.sqrt(n)
    times = failure_times(drawn, case.years, 20_000, 5, "way")
    seen = np.isfinite(times).sum(axis=0)
    assert abs(found.expected - seen.mean()) < 4 * seen.std() / np.sqrt(len(seen))
