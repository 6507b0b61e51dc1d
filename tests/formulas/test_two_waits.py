"""Two longest waits with waits in common: closed forms, quadrature in two dimensions, a seeded simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from repairecon.formulas import ranges
from repairecon.formulas.two_waits import two_longest

EVEN = (0.0, 5.0, 10.0, "uniform")
NONE = (-math.inf, -math.inf)
# one more number that spreads the sum, as there is in any case: normal, 0.5 days
NOISE = 0.5


def chance(found: tuple[np.ndarray, np.ndarray], x: np.ndarray) -> np.ndarray:
    values, masses = found
    return stats.norm.cdf((x[:, None] - values) / NOISE) @ masses


def spread(cdf, x: np.ndarray, low: float, high: float) -> np.ndarray:
    """The same noise put on a cdf that grows from 0 to 1 between two values: its integral against the normal."""
    t = np.linspace(low, high, 20_001)
    f = cdf(t)
    whole = np.trapezoid(f * stats.norm.pdf((x[:, None] - t) / NOISE) / NOISE, t, axis=1)
    return whole + stats.norm.cdf((x - high) / NOISE)


X = np.linspace(-1.0, 22.0, 60)


def test_all_in_common_is_one_wait_twice() -> None:
    """max(x, y) twice over, both even on 0..10: (t / 20)^2."""
    found = two_longest([], [], [EVEN, EVEN], NONE, (1.0, 1.0))
    wanted = spread(lambda t: (t / 20.0) ** 2, X, 0.0, 20.0)
    np.testing.assert_allclose(chance(found, X), wanted, atol=1e-4)


def test_nothing_in_common_is_a_triangle() -> None:
    found = two_longest([EVEN], [EVEN], [], NONE, (1.0, 1.0))
    wanted = spread(lambda t: np.where(t < 10, t**2 / 200, 1 - (20 - t) ** 2 / 200), X, 0.0, 20.0)
    np.testing.assert_allclose(chance(found, X), wanted, atol=1e-4)


def test_a_floor_stays_where_it_is() -> None:
    """Both never below 4, one wait even on 0..10 in common: 8 with chance 0.4, then even up to 20."""
    values, masses = two_longest([], [], [EVEN], (4.0, 4.0), (1.0, 1.0))
    assert values[0] == pytest.approx(8.0, abs=1e-4)
    assert masses[0] == pytest.approx(0.4, abs=1e-3)
    wanted = 0.4 * stats.norm.cdf((X - 8.0) / NOISE) + 0.6 * spread(lambda t: (t - 8.0) / 12.0, X, 8.0, 20.0)
    np.testing.assert_allclose(chance((values, masses), X), wanted, atol=1e-4)


@pytest.mark.parametrize(("second", "floors"), [(1.0, (3.0, 2.0)), (-1.0, (3.0, 2.0)), (0.5, (0.0, 6.0))])
def test_by_quadrature_over_the_wait_in_common(second: float, floors: tuple[float, float]) -> None:
    """Given c in common, both longest waits are independent: x = max(c, a, floor), y = max(c, b, floor)."""
    a = stats.beta(2.0, 4.0, loc=1.0, scale=9.0)  # PERT 1, 3.25, 10
    b = stats.beta(3.0, 3.0, loc=2.0, scale=6.0)  # PERT 2, 5, 8
    found = two_longest([(1.0, 3.25, 10.0, "pert")], [(2.0, 5.0, 8.0, "pert")], [EVEN], floors, (1.0, second))
    p = (np.arange(200) + 0.5) / 200
    for x in (4.0, 9.0, 14.0):
        given = []
        for c in np.linspace(0.05, 9.95, 100):
            u, v = (np.maximum(wait.ppf(p), max(c, floor)) for wait, floor in zip((a, b), floors, strict=True))
            given.append(float(stats.norm.cdf((x - u[:, None] - second * v) / NOISE).mean()))
        assert chance(found, np.array([x]))[0] == pytest.approx(np.mean(given), abs=1.5e-4)


def test_mean_by_quadrature_and_against_draws() -> None:
    """Waits without end, three in common; the mean of a longest wait is the integral of one less the product."""
    rng, n = np.random.default_rng(8), 1_000_000
    common = [(1.0, 2.0, 5.0, "lognormal"), (4.0, 9.0, 20.0, "lognormal"), (2.0, 3.0, 9.0, "pert")]
    first = [(1.0, 6.0, 12.0, "pert")]
    drawn = [np.asarray(ranges.quantile(rng.random(n), *w)) for w in [*common, *first]]
    y = np.maximum(np.max(drawn[:3], axis=0), 5.0)
    total = np.maximum(y, drawn[3]) + 1.5 * y
    found = two_longest(first, [], common, (5.0, 5.0), (1.0, 1.5))
    means = []
    for waits, floor in (([*common, *first], 5.0), (common, 5.0)):
        above, _ = integrate.quad(
            lambda t, waits=waits: 1 - math.prod(float(ranges.cdf(t, *w)) for w in waits), floor, 3000, limit=2000
        )
        means.append(floor + above)
    assert float(found[0] @ found[1]) == pytest.approx(means[0] + 1.5 * means[1], rel=2e-4)
    at = np.linspace(12.0, 120.0, 80)
    seen = np.searchsorted(np.sort(total + NOISE * rng.standard_normal(n)), at) / n
    assert np.abs(chance(found, at) - seen).max() < math.sqrt(math.log(2 / 1e-5) / (2 * n)) + 1e-4


def test_sure_waits_are_one_number() -> None:
    sure = (3.0, 3.0, 3.0, "pert")
    values, masses = two_longest([sure], [], [sure], (-math.inf, 5.0), (1.0, 2.0))
    assert float(values @ masses) == pytest.approx(13.0)
    assert np.ptp(values[masses > 0]) == pytest.approx(0.0, abs=1e-9)


def test_what_cannot_be_is_refused() -> None:
    for call in (
        lambda: two_longest([], [], [EVEN], NONE, (1.0, 0.0)),
        lambda: two_longest([EVEN], [], [], NONE, (1.0, 1.0)),
    ):
        with pytest.raises(ValueError, match="two orders"):
            call()
