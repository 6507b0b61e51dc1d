"""Renewals against a published table, closed forms, quadrature and a seeded simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize

from repairecon.formulas import lives
from repairecon.formulas import renewal as r
from repairecon.formulas.mixed_lives import early_failure_survival

# H. C. Tijms, A First Course in Stochastic Models, table 8.1.1, p. 312: renewal function of Weibull lives
# of mean 1 and squared coefficient of variation 0.25 and 2. Printed to 4 decimals below 1, 3 above; the
# table is itself reckoned on a grid (0.02 and 0.01), so the last digit below 1 is given one whole unit
TIJMS = {
    0.25: {
        0.1: 0.0061, 0.2: 0.0261, 0.4: 0.1087, 0.6: 0.2422, 0.8: 0.4141,
        1.0: 0.6091, 1.2: 0.8143, 1.5: 1.124, 2.0: 1.627, 2.5: 2.125,
    },
    2.0: {
        0.2: 0.3841, 0.5: 0.7785, 1.0: 1.357, 1.5: 1.901, 2.0: 2.428,
        2.5: 2.947, 3.0: 3.46, 3.5: 3.969, 5.0: 5.485, 7.5: 7.995,
    },
}  # fmt: skip


def exponential(horizon: float, mean: float, steps: int = 200) -> np.ndarray:
    return lives.cdf(r.half_steps(horizon, steps), mean, 1.0)


@pytest.mark.parametrize("cv2", TIJMS)
def test_published_table(cv2: float) -> None:
    shape = optimize.brentq(lambda k: math.gamma(1 + 2 / k) / math.gamma(1 + 1 / k) ** 2 - 1 - cv2, 0.3, 9)
    life = 1 / math.gamma(1 + 1 / shape)
    for t, printed in TIJMS[cv2].items():
        cdf = lives.cdf(r.half_steps(t, 2000), life, shape)
        assert r.renewals(cdf, cdf)[-1] == pytest.approx(printed, abs=0.0001 if printed < 1 else 0.0005), t


@pytest.mark.parametrize("steps", [200, 201, 2000])
def test_chance_alone(steps: int) -> None:
    # M(t) = t / mean; discounted: (1 - (1 + d)**-t) / (mean ln(1 + d))
    cdf = exponential(10, 4.0, steps)
    assert r.renewals(cdf, cdf) == pytest.approx(np.linspace(0, 2.5, steps + 1), abs=2e-5 * (200 / steps) ** 2)
    expected, discounted, p_any = r.failures_over_horizon(cdf, cdf, 10, 0.05)
    assert expected == pytest.approx(2.5, abs=2e-5)
    assert discounted == pytest.approx((1 - 1.05**-10) / (4 * math.log(1.05)), abs=2e-5)
    assert p_any == pytest.approx(1 - math.exp(-2.5), rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "steps", "error"), [(0.5, 2000, 1e-4), (0.7, 200, 6e-4), (1.0, 200, 2e-4), (10.0, 200, 2e-4)]
)
def test_error_is_as_stated(shape: float, steps: int, error: float) -> None:
    # against sixteen times as many steps; a mean life of a fifth of the horizon
    life = 2.0 / math.gamma(1 + 1 / shape)
    coarse, fine = (lives.cdf(r.half_steps(10.0, n), life, shape) for n in (steps, 16 * steps))
    assert r.renewals(coarse, coarse)[-1] == pytest.approx(r.renewals(fine, fine)[-1], abs=error)


def test_two_stages() -> None:
    # Erlang-2 lives with stages of mean 1: M(t) = t / 2 - 1/4 + exp(-2 t) / 4
    t = r.half_steps(6.0, 200)
    cdf = 1 - np.exp(-t) * (1 + t)
    whole = t[::2]
    assert r.renewals(cdf, cdf) == pytest.approx(whole / 2 - 0.25 + np.exp(-2 * whole) / 4, abs=1e-4)
    assert r.renewals(cdf, cdf)[-1] == pytest.approx(2.75, abs=5e-5)


def test_a_first_life_of_its_own() -> None:
    # exponential lives after it: M1 = F1(t) + integral of F1 / mean
    first = lives.cdf(r.half_steps(8.0), 6.0, 3.0, age=2.0)
    later = exponential(8.0, 5.0)
    gone, _ = integrate.quad(lambda x: lives.cdf(x, 6.0, 3.0, 2.0), 0, 8)
    assert r.renewals(first, later)[-1] == pytest.approx(first[-1] + gone / 5, abs=1e-5)


def test_dead_on_arrival() -> None:
    # every unit dead with chance 0.1, else exponential: (0.1 + t / mean) / 0.9
    t = r.half_steps(10.0)
    cdf = 1 - early_failure_survival(t, lives.survival(t, 5.0, 1.0), 0.1)
    assert r.renewals(cdf, cdf) == pytest.approx((0.1 + t[::2] / 5) / 0.9, abs=1e-4)
    # the one in place now cannot be: at first none, then as many more as follow each failure
    fresh = r.renewals(lives.cdf(t, 5.0, 1.0), cdf)
    assert fresh == pytest.approx(t[::2] / 5 / 0.9, abs=1e-4)
    # what fails at once is not discounted
    worth = (0.1 + (1 - 1.05**-10) / (5 * math.log(1.05))) / 0.9
    assert r.failures_over_horizon(cdf, cdf, 10.0, 0.05)[1] == pytest.approx(worth, abs=1e-4)
    # first dead at once and then the other's life, or one life after another
    second = 0.1 * (1 - math.exp(-2)) + 0.9 * (1 - 3 * math.exp(-2))
    assert r.p_second_failure(cdf, lives.cdf(t, 5.0, 1.0)) == pytest.approx(second, abs=1e-4)


@pytest.mark.parametrize("p_mark", [0.0, 0.3, 1.0])
def test_marked_failures_by_chance_alone(p_mark: float) -> None:
    cdf = exponential(10, 4.0)
    assert r.p_marked_failure(cdf, cdf, p_mark) == pytest.approx(1 - math.exp(-2.5 * p_mark), abs=1e-5)


def test_one_spare_is_not_enough() -> None:
    # Reliability course solution (constant failure rate, problem 3 (ii)): batteries of rate 0.2, replaced
    # at once, more than one replacement in 5: 0.2642, as for a cold standby of two
    assert r.p_second_failure(exponential(5, 5.0), exponential(5, 5.0)) == pytest.approx(0.2642, abs=0.00005)
    # a spare that may be dead on its shelf: F1 in that case, the above else
    t = r.half_steps(5.0)
    spare = 1 - early_failure_survival(t, lives.survival(t, 5.0, 1.0), 0.2)
    both = 0.2 * (1 - math.exp(-1)) + 0.8 * (1 - 2 * math.exp(-1))
    assert r.p_second_failure(exponential(5, 5.0), spare) == pytest.approx(both, abs=1e-5)


def simulated(n: int, horizon: float, rate: float, p_away: float) -> tuple[np.ndarray, ...]:
    """Failures, discounted failures and away failures of n boats, life by life."""
    rng = np.random.default_rng(7)
    count, worth, away = np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool)
    # a rebuilt unit of virtual age 3 first; then new ones, 4 % of them dead on arrival
    t = 8.0 * ((3.0 / 8.0) ** 2.2 + rng.exponential(size=n)) ** (1 / 2.2) - 3.0
    while np.any(t <= horizon):
        fails = t <= horizon
        count += fails
        worth += np.where(fails, (1 + rate) ** -t, 0.0)
        away |= fails & (rng.random(n) < p_away)
        t = t + np.where(rng.random(n) < 0.04, 0.0, 3.0 * rng.weibull(1.6, n))
    return count, worth, away


def test_against_a_simulation() -> None:
    n, horizon, rate, p_away = 200_000, 12.0, 0.06, 0.25
    t = r.half_steps(horizon, 400)
    first = lives.cdf(t, 8.0, 2.2, age=3.0)
    later = 1 - early_failure_survival(t, lives.survival(t, 3.0, 1.6), 0.04)
    got = [*r.failures_over_horizon(first, later, horizon, rate), r.p_marked_failure(first, later, p_away)]
    count, worth, away = simulated(n, horizon, rate, p_away)
    seen = (count, worth, count > 0, away)
    for name, ours, draws in zip(("count", "discounted", "any", "away"), got, seen, strict=True):
        error = draws.std() / math.sqrt(n)
        assert abs(ours - draws.mean()) < 4 * error, name
    second = r.p_second_failure(first, later)
    assert abs(second - (count > 1).mean()) < 4 * (count > 1).std() / math.sqrt(n)


def test_several_lives_at_once_are_each_alone() -> None:
    t = r.half_steps(9.0)
    first = lives.cdf(t[:, np.newaxis], [3.0, 6.0, 12.0], 2.5)
    shared = lives.cdf(t, 7.0, 1.8)
    own = lives.cdf(t[:, np.newaxis], [4.0, 5.0, 6.0], 1.8)
    for later in (shared, own):
        together = r.failures_over_horizon(first, later, 9.0, 0.04)
        marked = r.p_marked_failure(first, later, [0.1, 0.5, 0.9])
        for k in range(3):
            one = later if later.ndim == 1 else later[:, k]
            alone = r.failures_over_horizon(first[:, k], one, 9.0, 0.04)
            assert [x[k] for x in together] == pytest.approx(alone, rel=1e-10)
            assert marked[k] == pytest.approx(r.p_marked_failure(first[:, k], one, (0.1, 0.5, 0.9)[k]), rel=1e-10)
    assert r.failures_over_horizon(shared, own, 9.0)[2].shape == (3,)


@given(st.floats(1.0, 5.0), st.floats(2.0, 20.0), st.floats(1.0, 3.0), st.floats(0.0, 0.2))
@settings(deadline=None, max_examples=40)
def test_a_longer_life_never_costs_more(shape: float, life: float, times: float, rate: float) -> None:
    t = r.half_steps(10.0, 100)
    short, long = (lives.cdf(t, x, shape) for x in (life, life * times))
    for a, b in (((short, short), (long, short)), ((short, short), (short, long))):
        for dear, cheap in zip(
            r.failures_over_horizon(*a, 10.0, rate), r.failures_over_horizon(*b, 10.0, rate), strict=True
        ):
            assert cheap <= dear + 1e-9


@given(st.floats(1.0, 5.0), st.floats(2.0, 20.0), st.floats(0.0, 1.0))
@settings(deadline=None, max_examples=40)
def test_bounds_between_the_figures(shape: float, life: float, p_mark: float) -> None:
    cdf = lives.cdf(r.half_steps(10.0, 100), life, shape)
    expected, undiscounted, p_any = r.failures_over_horizon(cdf, cdf, 10.0)
    assert undiscounted == pytest.approx(expected, rel=1e-12)
    marked = r.p_marked_failure(cdf, cdf, p_mark)
    assert p_mark * p_any - 1e-9 <= marked <= min(p_any, p_mark * expected) + 1e-9
    assert r.failures_over_horizon(cdf, cdf, 10.0, 0.1)[1] <= expected + 1e-12


def test_no_horizon_no_failures() -> None:
    cdf = lives.cdf(r.half_steps(0.0), 5.0, 2.0)
    assert r.failures_over_horizon(cdf, cdf, 0.0, 0.05) == (0.0, 0.0, 0.0)


def test_what_cannot_be_is_refused() -> None:
    good = exponential(10, 4.0)
    for call, word in [
        (lambda: r.renewals(good, good[:-2]), "same half steps"),
        (lambda: r.renewals(good[:-1], good[:-1]), "odd number"),
        (lambda: r.renewals(good, exponential(10, 0.01)), "too coarse"),
        (lambda: r.renewals(2 * good, good), r"0\.\.1"),
        (lambda: r.renewals(good, np.ones(401)), "never be replaced"),
        (lambda: r.p_marked_failure(good, good, 30), r"0\.\.1"),
        (lambda: r.half_steps(-1.0), "0 years"),
        (lambda: r.half_steps(1.0, 0), "1 step"),
    ]:
        with pytest.raises(ValueError, match=word):
            call()
