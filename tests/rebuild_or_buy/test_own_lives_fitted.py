"""Lives fitted to those the owner knows: against published data and a reference library."""

from __future__ import annotations

from dataclasses import replace
from math import isnan, log

import numpy as np
import pytest
from lived_small import lives
from numpy.testing import assert_allclose
from scipy import stats
from small_case import small, sure

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.learned import LifeFit, with_own_lives
from repairecon.rebuild_or_buy.lives import clocks_of
from repairecon.records import Case, OwnLife, Range, Source

# published worksheet (trust: published): hours to failure of a pump's shaft seal, pump running
RUNNING = (14400, 19800, 21300, 23600, 24300, 28100, 29600, 29600, 34200, 38000)
# same published worksheet: the same seal in the standby pump
STANDBY = (2200, 3800, 4600, 5000, 6700, 7500, 7800, 8000, 11000, 12900)
ROW = Source("lives.csv", 2)
TYPED = Range(6.0, 10.0, 16.0, source=Source("ways.csv", 2))


def ran(way: str, *hours: float, failed: bool = True) -> tuple[OwnLife, ...]:
    return tuple(OwnLife(way=way, years=None, hours=h, failed=failed, source=ROW) for h in hours)


def stood(way: str, *years: float, failed: bool = True) -> tuple[OwnLife, ...]:
    return tuple(OwnLife(way=way, years=y, hours=None, failed=failed, source=ROW) for y in years)


def known(*own: OwnLife) -> Case:
    """The small case with both pairs; every life in it typed by the owner."""
    ways = tuple(replace(w, life_years=TYPED) for w in lives(shape=2.0))
    return small(ways=ways, own_lives=own)


def only(*own: OwnLife) -> LifeFit:
    (fit,) = with_own_lives(known(*own))[1]
    return fit


def characteristic(fit: LifeFit) -> float:
    """The age by which 63.2 % fail."""
    return fit.median / log(2.0) ** (1.0 / fit.shape)


# computed here from the published worksheet by maximum likelihood: shape 4.43 and 28,860 h; 2.42 and 7,858 h
@pytest.mark.parametrize(
    ("hours", "shape", "life", "half_digit"), [(RUNNING, 4.43, 28860, 5.0), (STANDBY, 2.42, 7858, 0.5)]
)
def test_shaft_seals(hours: tuple[float, ...], shape: float, life: float, half_digit: float) -> None:
    case, (fit,) = with_own_lives(known(*ran("new", *hours)))
    assert (fit.way, fit.clock, fit.failures, fit.survivors, fit.refused) == ("new", "hours", 10, 0, "")
    assert fit.shape == pytest.approx(shape, abs=0.005)
    assert characteristic(fit) == pytest.approx(life, abs=half_digit)
    theirs, _, scale = stats.weibull_min.fit(hours, floc=0)
    assert_allclose([fit.shape, fit.median], [theirs, stats.weibull_min.median(theirs, scale=scale)], rtol=1e-3)
    new = case.way("new")
    assert new.life_hours is not None
    r = new.life_hours
    below = ranges.cdf(np.array([fit.median_low, fit.median_high]), r.low, r.likely, r.high, r.shape)
    assert r.likely == fit.median
    assert_allclose(below, [0.05, 0.95], atol=0.02)  # a 90 % interval, and not the ends of what may be
    assert fit.median_low < fit.median < fit.median_high
    assert fit.shape_low < fit.shape < fit.shape_high
    assert new.life_hours.source == Source("lives.csv", note="fit of 10 failures and 0 survivors")
    assert (new.life_shape, new.life_years) == (fit.shape, TYPED)
    assert case.way("rebuild") == known().way("rebuild")


def test_ways_are_not_pooled() -> None:
    """Both pumps in one list hide the wear: shape 1.52, 18,473 h, computed here from the published worksheet."""
    _, (rebuilt, new) = with_own_lives(known(*ran("new", *RUNNING), *ran("rebuild", *STANDBY)))
    assert (rebuilt.way, new.way) == ("rebuild", "new")
    pooled = only(*ran("new", *RUNNING, *STANDBY))
    assert pooled.shape == pytest.approx(1.52, abs=0.005)
    assert characteristic(pooled) == pytest.approx(18473, abs=0.5)
    assert pooled.shape < rebuilt.shape < new.shape


def test_survivors_lengthen_the_median() -> None:
    """As a reference library has it with the survivors censored."""
    still = (30000, 41000, 41000)
    alone, fit = only(*ran("new", *RUNNING)), only(*ran("new", *RUNNING), *ran("new", *still, failed=False))
    assert (fit.failures, fit.survivors) == (10, 3)
    assert fit.median > alone.median
    data = stats.CensoredData.right_censored(
        np.array(RUNNING + still, dtype=float), np.array(10 * [False] + 3 * [True])
    )
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert_allclose([fit.shape, fit.median], [shape, stats.weibull_min.median(shape, scale=scale)], rtol=1e-3)


@pytest.mark.parametrize(
    ("own", "word"),
    [
        (stood("new", 7, 12), "2 failures among 2 units cannot tell"),
        (stood("new", 7), "two failures at different ages"),
        (stood("new", 7, 8, 9, failed=False), "two failures at different ages"),
    ],
)
def test_too_few_failures_are_refused(own: tuple[OwnLife, ...], word: str) -> None:
    """The way stays as it was, and the reason is told."""
    case, (fit,) = with_own_lives(known(*own))
    assert word in fit.refused
    assert (fit.failures, fit.survivors) == (sum(x.failed for x in own), sum(not x.failed for x in own))
    assert isnan(fit.median)
    assert isnan(fit.shape)
    assert case == known(*own)


def test_both_clocks_are_said_and_the_years_are_used() -> None:
    """Ten units with years and hours; years a thousandth of the standby hours, in their own order."""
    own = tuple(
        OwnLife(way="new", years=s / 1000, hours=r, failed=True, source=ROW)
        for r, s in zip(RUNNING, STANDBY, strict=True)
    )
    case, (years, hours) = with_own_lives(known(*own))
    new = case.way("new")
    assert (years.clock, hours.clock) == ("years", "hours")
    assert new.life_years is not None
    assert new.life_hours is None  # a failure must not be counted by both clocks
    # computed here from the published worksheet, as above: the shapes of the two clocks, and the one in use
    assert_allclose([years.shape, hours.shape, new.life_shape], [2.42, 4.43, 2.42], atol=0.005)
    assert 1000 * new.life_years.likely == pytest.approx(stats.weibull_min.median(2.42, scale=7858), rel=1e-3)
    assert hours.median == pytest.approx(stats.weibull_min.median(4.43, scale=28860), rel=1e-3)


def test_a_fitted_life_holds_its_wear_and_early_failures_already() -> None:
    base = known(*stood("new", *(s / 1000 for s in STANDBY)))
    worn = replace(base, ways=tuple(replace(w, wear_kept=0.3, p_early=0.1) for w in base.ways))
    case, _ = with_own_lives(worn)
    assert (case.way("new").wear_kept, case.way("new").p_early) == (0.0, 0.0)


def test_lives_too_alike_are_refused() -> None:
    case, (fit,) = with_own_lives(known(*stood("new", 10.0, 10.001, 10.002, 9.999)))
    assert "too alike" in fit.refused
    assert case.way("new") == known().way("new")


def test_one_clock_refused_leaves_the_other() -> None:
    case, (years, hours) = with_own_lives(known(*stood("new", 7), *ran("new", *RUNNING)))
    assert years.refused
    assert not hours.refused
    new = case.way("new")
    assert (new.life_years, new.life_shape) == (TYPED, hours.shape)


def test_no_assumed_years_beside_known_hours() -> None:
    """As with hours that are typed: years are assumed only where nothing is known."""
    case = known(*ran("new", *RUNNING))
    assumed = replace(case, ways=tuple(replace(w, life_years=sure(8)) for w in case.ways))
    ways = with_own_lives(assumed)[0]
    assert ways.way("new").life_years is None
    assert ways.way("rebuild").life_years == sure(8)


def test_a_pair_has_the_life_of_what_it_puts_in_service() -> None:
    """Unless it was given its own."""
    case, (fit,) = with_own_lives(known(*stood("rebuild", *(h / 1000 for h in STANDBY))))
    carry = case.way("rebuild and carry")
    assert carry.life_years is not None
    assert (carry.life_years.likely, carry.life_shape) == (fit.median, fit.shape)
    assert_allclose(clocks_of(case, carry).life_years, clocks_of(case, case.way("rebuild")).life_years)
    assert case.way("buy and rebuild") == known().way("buy and rebuild")
    own = Range(3.0, 4.0, 5.0, source=Source("ways.csv", 5))
    said = known(*stood("rebuild", *STANDBY))
    said = replace(said, ways=tuple(replace(w, life_years=own) if w.bought else w for w in said.ways))
    assert with_own_lives(said)[0].way("rebuild and carry") == said.way("rebuild and carry")


def test_a_case_without_lives_is_as_it_was() -> None:
    assert with_own_lives(known()) == (known(), ())
