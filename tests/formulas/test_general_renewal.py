"""Rebuilds that keep a share of the age: a published table, closed forms, a seeded simulation, a finer grid."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize
from test_renewal import TIJMS

from repairecon.formulas import general_renewal as g


@pytest.mark.parametrize("cv2", TIJMS)
def test_as_new_each_time_it_is_the_renewal_function(cv2: float) -> None:
    """Tijms, table 8.1.1 (see test_renewal): wear kept 0."""
    shape = optimize.brentq(lambda k: math.gamma(1 + 2 / k) / math.gamma(1 + 1 / k) ** 2 - 1 - cv2, 0.3, 9)
    life = 1 / math.gamma(1 + 1 / shape)
    for t, printed in TIJMS[cv2].items():
        found = g.rebuilds(t, [life], shape, steps=400)[-1, 0]
        assert found == pytest.approx(printed, abs=0.0001 if printed < 1 else 0.0005), t


@pytest.mark.parametrize(("life", "shape", "age"), [(4.0, 1.0, 0.0), (6.0, 1.7, 0.0), (5.0, 2.5, 3.0), (9.0, 4.0, 1.0)])
def test_as_old_as_before_failures_follow_the_power_law(life: float, shape: float, age: float) -> None:
    """Wear kept 1 is a Poisson process of mean ((age + t) / life)^shape - (age / life)^shape at every time."""
    t = np.linspace(0.0, 10.0, 201)
    found = g.rebuilds(10.0, [life], shape, age, 1.0)[:, 0]
    assert found == pytest.approx(((age + t) / life) ** shape - (age / life) ** shape, rel=1e-4, abs=1e-6)


def test_first_failure_away_from_base_of_the_power_law() -> None:
    """Thinned by 0.3 it is a Poisson process too: 1 - exp(-0.3 mean) for at least one."""
    at_home = g.rebuilds(10.0, [6.0, 8.0], 2.2, 0.0, 1.0, 0.0, [1.0, 0.7])[1]
    mean = (10.0 / np.array([6.0, 8.0])) ** 2.2
    assert 0.3 * at_home[-1] == pytest.approx(1 - np.exp(-0.3 * mean), rel=1e-5)


def test_dead_on_arrival_by_chance_alone() -> None:
    """Without wear the share kept does not matter: (0.1 + t / mean) / 0.9."""
    found = g.rebuilds(10.0, [5.0], 1.0, 4.0, 0.6, 0.1)[:, 0]
    assert found == pytest.approx((0.1 + np.linspace(0, 2, 201)) / 0.9, abs=1e-6)


def simulated(n: int, horizon: float, life: float, shape: float, age: float, kept: float, p_early: float) -> tuple:
    """Life by life, each rebuild leaving a share of what was run since the one before; some fail at once."""
    rng = np.random.default_rng(11)
    count, worth, away = np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool)
    clock, worn = np.zeros(n), np.full(n, age)
    while (clock <= horizon).any():
        # of units of that age, the share that works on for x is exp(H(worn) - H(worn + x))
        run = life * ((worn / life) ** shape + rng.exponential(size=n)) ** (1 / shape) - worn
        run = np.where(rng.random(n) < p_early, 0.0, run)
        clock, worn = clock + run, worn + kept * run
        fails = clock <= horizon
        count += fails
        worth += np.where(fails, 1.06**-clock, 0.0)
        away |= fails & (rng.random(n) < 0.25)
    return count, worth, away


@pytest.mark.parametrize(
    ("life", "shape", "age", "kept", "p_early"),
    [(4.0, 2.2, 0.0, 0.3, 0.0), (7.0, 1.6, 5.0, 0.6, 0.04), (3.0, 3.0, 1.0, 0.15, 0.02), (2.0, 0.7, 0.5, 0.5, 0.0)],
)
def test_against_a_simulation(life: float, shape: float, age: float, kept: float, p_early: float) -> None:
    n, horizon, steps = 200_000, 12.0, 200
    both = g.rebuilds(horizon, [life], shape, age, kept, p_early, [1.0, 0.75], steps)[:, :, 0]
    middle = (np.arange(steps) + 0.5) * horizon / steps
    worth = both[0, 0] + (np.diff(both[0]) * 1.06**-middle).sum()
    drawn = simulated(n, horizon, life, shape, age, kept, p_early)
    for ours, seen in zip((both[0, -1], worth, 0.25 * both[1, -1]), drawn, strict=True):
        assert abs(ours - seen.mean()) < 4 * seen.std() / math.sqrt(n)


@pytest.mark.parametrize(("shape", "life"), [(0.5, 2.0), (1.3, 2.0), (2.5, 2.0), (4.0, 4.0), (8.0, 7.0)])
@pytest.mark.parametrize("kept", [0.0, 0.2, 0.7])
def test_error_is_as_stated(shape: float, life: float, kept: float) -> None:
    usual, fine = (g.rebuilds(10.0, [life], shape, 1.0, kept, steps=n)[-1, 0] for n in (200, 1600))
    assert usual == pytest.approx(fine, rel=1e-4)


def test_several_lives_at_once_are_each_alone() -> None:
    together = g.rebuilds(9.0, [3.0, 6.0, np.inf], 2.0, 1.0, 0.4, 0.05, [1.0, 0.5], 60)
    for k, life in enumerate((3.0, 6.0, np.inf)):
        for kind, goes_on in enumerate((1.0, 0.5)):
            alone = g.rebuilds(9.0, [life], 2.0, 1.0, 0.4, 0.05, goes_on, 60)
            assert together[kind, :, k] == pytest.approx(alone[:, 0], rel=1e-12)


@given(st.floats(1.0, 4.0), st.floats(6.0, 20.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 5.0))
@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_more_wear_kept_never_means_fewer_failures(shape: float, life: float, a: float, b: float, age: float) -> None:
    less, more = (g.rebuilds(8.0, [life], shape, age, kept, steps=150)[-1, 0] for kept in sorted((a, b)))
    assert less <= more * (1 + 1e-6)


@pytest.mark.parametrize("clocks", [(5.0, 600.0), (np.inf, 600.0), (5.0, np.inf)])
def test_two_clocks_are_one(clocks: tuple[float, float]) -> None:
    """Mean of the earlier of two lives by quadrature of the product of their survivals."""
    years, hours = clocks
    alone, _ = integrate.quad(lambda t: math.exp(-((t / years) ** 1.8) - (90 * t / hours) ** 1.8), 0, 60)
    one = float(g.one_clock(years, hours, 90.0, 1.8))
    assert one * math.gamma(1 + 1 / 1.8) == pytest.approx(alone, rel=1e-9)
    assert g.one_clock(years, hours, 0.0, 1.8) == years


def test_what_cannot_be_is_refused() -> None:
    for call, word in [
        (lambda: g.rebuilds(10.0, [0.01], 2.0), "too coarse"),
        (lambda: g.rebuilds(60.0, [5.0], 4.0, 0.0, 1.0), "too coarse"),
        (lambda: g.rebuilds(10.0, [5.0], 2.0, 0.0, 20.0), r"0\.\.1"),
        (lambda: g.rebuilds(10.0, [5.0], 2.0, 0.0, 0.2, 0.1, 20.0), r"0\.\.1"),
        (lambda: g.rebuilds(10.0, [5.0], 2.0, p_early=1.0), "never be replaced"),
        (lambda: g.rebuilds(10.0, [-5.0], 2.0), "above 0"),
        (lambda: g.one_clock(5.0, 0.0, 1.0, 2.0), "above 0"),
    ]:
        with pytest.raises(ValueError, match=word):
            call()
