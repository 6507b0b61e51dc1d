"""Lives: stated ones are not cut, wide ranges are followed, warranty pays, old units do not live as long."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from reference_case import HERE, way
from scipy import integrate
from small_case import small, sure

from repairecon import rebuild_or_buy
from repairecon.rebuild_or_buy.lives import clocks_of, failures, median_life, under_warranty
from repairecon.records import Case, Range, Unit, Way, Years

LN2 = np.log(2.0)


def lived(made: Way, **changes: object) -> Case:
    return replace(small(ways=(made, way("new", "new", sure(500)))), **changes)  # type: ignore[arg-type]


def of(made: Way, **changes: object) -> object:
    case = lived(made, **changes)
    return clocks_of(case, made)


OLD = Unit(name="pump", kind="pump", age_years=23.0)


def test_a_stated_life_is_not_cut_by_age() -> None:
    stated = way("rebuild", "rebuild", life_years=Range(5, 5, 5, source=HERE), wear_kept=0.5)
    clocks = of(stated, unit=OLD)
    assert median_life(clocks, Years(horizon_years=10)) == pytest.approx(5.0)


def test_a_rebuilt_old_unit_does_not_live_as_long_as_a_new_one() -> None:
    """A kind's life of 22 years, half of the wear of 23 years kept: shape 2, so that (11.5 + t)^2 - 11.5^2 = 22^2."""
    assumed = way("rebuild", "rebuild", life_years=sure(22), wear_kept=0.5)
    left = median_life(of(assumed, unit=OLD), Years(horizon_years=30))
    assert left == pytest.approx(np.hypot(11.5, 22) - 11.5, rel=1e-6)
    assert left < 14.0


def renewals(shape: float, far: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Failures expected of units of a median life of 1 up to each time: M(t) = F(t) + integral of M(t - x) dF(x)."""
    steps = 3000
    t = np.linspace(0.0, far, steps + 1)
    cdf = 1.0 - np.exp(-LN2 * t**shape)
    df, m, between = np.diff(cdf), cdf.copy(), np.zeros(steps + 1)
    for k in range(1, steps + 1):  # trapezoid, the first step in M(t) itself; between: of M at both ends of a step
        m[k] = (cdf[k] + between[k - 1 : 0 : -1] @ df[1:k] + df[0] * m[k - 1] / 2) / (1 - df[0] / 2)
        between[k] = (m[k - 1] + m[k]) / 2
    return t, m


@pytest.mark.parametrize("r", [Range(2, 6, 40), Range(1, 8, 30), Range(2, 6, 20, "lognormal")], ids=str)
@pytest.mark.parametrize("shape", [1.0, 2.0])
def test_expected_failures_of_a_wide_range_against_a_fine_mean(r: Range, shape: float) -> None:
    """800 quantiles of the median, each by the renewal integral: eight steps were 1 % to 10 % short."""
    from repairecon.formulas import ranges

    made = way("rebuild", "rebuild", life_years=replace(r, source=HERE), life_shape=shape)
    ours = failures(of(made), Years(horizon_years=15.0)).expected
    medians = ranges.quantile((np.arange(800) + 0.5) / 800, r.low, r.likely, r.high, r.shape)
    lives = 15.0 / medians  # what fails depends on time in median lives alone
    fine = np.interp(lives, *renewals(shape, lives.max())).mean()
    assert ours == pytest.approx(fine, rel=1.5e-3)


def test_both_clocks_share_the_step_through_the_median() -> None:
    made = way(
        "rebuild", "rebuild", life_years=Range(4, 8, 12, source=HERE), life_hours=Range(400, 800, 1200, source=HERE)
    )
    clocks = of(made)
    assert clocks.life_hours == pytest.approx(100.0 * clocks.life_years)


def test_warranty_pays_for_failures_within_it() -> None:
    """Units that fail at a steady rate: of m failures a year each has run less than w with chance 1 - exp(-r w)."""
    median, months, h = 3.0, 18.0, 12.0
    made = way("rebuild", "rebuild", life_years=Range(median, median, median, source=HERE), life_shape=1.0)
    rate, w = LN2 / median, months / 12.0

    # the first unit and every later one, fitted at x: fails within its warranty and before the horizon
    def within(x: float) -> float:
        return 1.0 - np.exp(-rate * min(w, h - x))

    wanted = within(0.0) + integrate.quad(lambda x: rate * within(x), 0.0, h, points=[h - w])[0]
    assert under_warranty(of(made), Years(horizon_years=h), months) == pytest.approx(wanted, rel=2e-3)


def test_warranty_takes_the_money_and_not_the_hours_and_days_off_the_years() -> None:
    made = way(
        "new", "new", sure(500), lead_days=sure(3), fitting_hours=sure(6), life_years=Range(3, 3, 3, source=HERE)
    )
    years = Years(horizon_years=12.0)
    found = []
    for months in (None, 24.0):
        answer = rebuild_or_buy(replace(small(ways=(replace(made, warranty_months=months),)), years=years), 200)
        found.append(answer.horizon.ledger.present[0])
    clocks = of(made)
    assert found[0] - found[1] == pytest.approx(500 * under_warranty(clocks, years, 24.0), rel=1e-9)
    assert found[1] < found[0]


def test_characteristic_life_is_that_of_the_median() -> None:
    made = way("rebuild", "rebuild", life_years=Range(5, 5, 5, source=HERE), life_shape=2.0)
    assert of(made).life_years == pytest.approx(np.full(16, 5.0 / np.log(2.0) ** 0.5))
