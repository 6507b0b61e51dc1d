"""Renewals against a published table, closed forms, quadrature and a seeded simulation."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, signal, special

from repairecon.formulas import lives
from repairecon.formulas import renewal as r

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


def half_steps(horizon: float, steps: int = 200) -> np.ndarray:
    return np.linspace(0.0, horizon, 2 * steps + 1)


def renewals(cdf: np.ndarray, p_goes_on: float = 1.0) -> np.ndarray:
    """Those of one life."""
    return r.renewals(cdf[:, np.newaxis], p_goes_on)[:, 0]


def rebuilds(horizon: float, life: float, shape: float, *more: float, goes_on: float = 1.0, steps: int = 200):
    """Those of one life and one kind; `more`: age, wear kept, chance of an early failure."""
    age, kept, early = (*more, 0.0, 0.0, 0.0)[:3]
    return r.rebuilds(horizon, [life], shape, age, kept, early, [goes_on], steps)[0, :, 0]


def p_marked(cdf: np.ndarray, p: float) -> float:
    """Chance of one failure or more of a kind that each failure is of by chance."""
    return float(p * renewals(cdf, 1 - p)[-1])


def over_horizon(cdf: np.ndarray, years: float, rate: float = 0.0) -> tuple[float, ...]:
    """Failures to expect, their discounted number, and the chance of any."""
    count = renewals(cdf)
    return count[-1], r.discounted_renewals(count, years, rate), cdf[-1]


def exponential(horizon: float, mean: float, steps: int = 200) -> np.ndarray:
    return lives.cdf(half_steps(horizon, steps), mean, 1.0)


@pytest.mark.parametrize("cv2", TIJMS)
def test_published_table(cv2: float) -> None:
    shape = optimize.brentq(lambda k: math.gamma(1 + 2 / k) / math.gamma(1 + 1 / k) ** 2 - 1 - cv2, 0.3, 9)
    life = 1 / math.gamma(1 + 1 / shape)
    for t, printed in TIJMS[cv2].items():
        cdf = lives.cdf(half_steps(t, 2000), life, shape)
        assert renewals(cdf)[-1] == pytest.approx(printed, abs=0.0001 if printed < 1 else 0.0005), t


@pytest.mark.parametrize("steps", [200, 201, 2000])
def test_chance_alone(steps: int) -> None:
    # M(t) = t / mean; discounted: (1 - (1 + d)**-t) / (mean ln(1 + d))
    cdf = exponential(10, 4.0, steps)
    assert renewals(cdf) == pytest.approx(np.linspace(0, 2.5, steps + 1), abs=2e-5 * (200 / steps) ** 2)
    expected, discounted, p_any = over_horizon(cdf, 10, 0.05)
    assert expected == pytest.approx(2.5, abs=2e-5)
    assert discounted == pytest.approx((1 - 1.05**-10) / (4 * math.log(1.05)), abs=2e-5)
    assert p_any == pytest.approx(1 - math.exp(-2.5), rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "steps", "error"), [(0.5, 2000, 1e-4), (0.7, 200, 6e-4), (1.0, 200, 2e-4), (10.0, 200, 2e-4)]
)
def test_error_is_as_stated(shape: float, steps: int, error: float) -> None:
    # against eight times as many steps, the sums undone by a filter of the signal library; a mean life of a fifth
    # of the horizon
    life = 2.0 / math.gamma(1 + 1 / shape)
    coarse, fine = (lives.cdf(half_steps(10.0, n), life, shape) for n in (steps, 8 * steps))
    filtered = signal.lfilter([1.0], 1.0 - fine[1::2], fine[2::2])
    assert renewals(coarse)[-1] == pytest.approx(filtered.sum(), abs=error)


def test_two_stages() -> None:
    # Erlang-2 lives with stages of mean 1: M(t) = t / 2 - 1/4 + exp(-2 t) / 4
    t = half_steps(6.0, 200)
    cdf = 1 - np.exp(-t) * (1 + t)
    whole = t[::2]
    assert renewals(cdf) == pytest.approx(whole / 2 - 0.25 + np.exp(-2 * whole) / 4, abs=1e-4)
    assert renewals(cdf)[-1] == pytest.approx(2.75, abs=5e-5)


def test_dead_on_arrival() -> None:
    # every unit dead with chance 0.1, else exponential: (0.1 + t / mean) / 0.9
    t = half_steps(10.0)
    cdf = 0.1 + 0.9 * lives.cdf(t, 5.0, 1.0)
    assert renewals(cdf) == pytest.approx((0.1 + t[::2] / 5) / 0.9, abs=1e-4)
    # those do not make the steps too coarse: 0.3 + 0.7 x 0.25 fail by the end of the first half step
    short = 0.3 + 0.7 * exponential(10.0, 0.025 / -math.log(0.75))
    assert renewals(short)[-1] > 100
    found = rebuilds(10.0, 0.025 / -math.log(0.72), 1.0, 0.0, 0.0, 0.3)
    assert found[-1] > 100
    # what fails at once is not discounted
    worth = (0.1 + (1 - 1.05**-10) / (5 * math.log(1.05))) / 0.9
    assert over_horizon(cdf, 10.0, 0.05)[1] == pytest.approx(worth, abs=1e-4)


@pytest.mark.parametrize("p_mark", [0.0, 0.3, 1.0])
def test_marked_failures_by_chance_alone(p_mark: float) -> None:
    cdf = exponential(10, 4.0)
    assert p_marked(cdf, p_mark) == pytest.approx(1 - math.exp(-2.5 * p_mark), abs=1e-5)


def test_several_lives_at_once_are_each_alone() -> None:
    cdf = lives.cdf(half_steps(9.0)[:, np.newaxis], [4.0, 5.0, 6.0], 1.8)
    for p in (1.0, 0.7):
        together = r.renewals(cdf, p)
        worth = r.discounted_renewals(together, 9.0, 0.04)
        for k in range(3):
            alone = renewals(cdf[:, k], p)
            assert together[:, k] == pytest.approx(alone, rel=1e-10)
            assert worth[k] == pytest.approx(r.discounted_renewals(alone, 9.0, 0.04), rel=1e-10)


@given(st.floats(1.0, 5.0), st.floats(2.0, 20.0), st.floats(1.0, 3.0), st.floats(0.0, 0.2))
@settings(deadline=None, max_examples=40)
def test_a_longer_life_never_costs_more(shape: float, life: float, times: float, rate: float) -> None:
    t = half_steps(10.0, 100)
    short, long = (over_horizon(lives.cdf(t, x, shape), 10.0, rate) for x in (life, life * times))
    for dear, cheap in zip(short, long, strict=True):
        assert cheap <= dear + 1e-9


@given(st.floats(1.0, 5.0), st.floats(2.0, 20.0), st.floats(0.0, 1.0))
@settings(deadline=None, max_examples=40)
def test_bounds_between_the_figures(shape: float, life: float, p_mark: float) -> None:
    cdf = lives.cdf(half_steps(10.0, 100), life, shape)
    expected, undiscounted, p_any = over_horizon(cdf, 10.0)
    assert undiscounted == pytest.approx(expected, rel=1e-12)
    marked = p_marked(cdf, p_mark)
    assert p_mark * p_any - 1e-9 <= marked <= min(p_any, p_mark * expected) + 1e-9
    assert over_horizon(cdf, 10.0, 0.1)[1] <= expected + 1e-12


def test_no_horizon_no_failures() -> None:
    cdf = lives.cdf(half_steps(0.0), 5.0, 2.0)
    assert over_horizon(cdf, 0.0, 0.05) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("cv2", TIJMS)
def test_as_new_each_time_it_is_the_renewal_function(cv2: float) -> None:
    """Tijms, table 8.1.1 (see test_renewal): wear kept 0."""
    shape = optimize.brentq(lambda k: math.gamma(1 + 2 / k) / math.gamma(1 + 1 / k) ** 2 - 1 - cv2, 0.3, 9)
    life = 1 / math.gamma(1 + 1 / shape)
    for t, printed in TIJMS[cv2].items():
        found = rebuilds(t, life, shape, steps=400)[-1]
        assert found == pytest.approx(printed, abs=0.0001 if printed < 1 else 0.0005), t


@pytest.mark.parametrize(("life", "shape", "age"), [(4.0, 1.0, 0.0), (6.0, 1.7, 0.0), (5.0, 2.5, 3.0), (9.0, 4.0, 1.0)])
def test_as_old_as_before_failures_follow_the_power_law(life: float, shape: float, age: float) -> None:
    """Wear kept 1 is a Poisson process of mean ((age + t) / life)^shape - (age / life)^shape at every time."""
    t = np.linspace(0.0, 10.0, 201)
    found = rebuilds(10.0, life, shape, age, 1.0)
    assert found == pytest.approx(((age + t) / life) ** shape - (age / life) ** shape, rel=1e-4, abs=1e-6)


def test_first_failure_away_from_base_of_the_power_law() -> None:
    """Thinned by 0.3 it is a Poisson process too: 1 - exp(-0.3 mean) for at least one."""
    at_home = r.rebuilds(10.0, [6.0, 8.0], 2.2, 0.0, 1.0, 0.0, [1.0, 0.7], 200)[1]
    mean = (10.0 / np.array([6.0, 8.0])) ** 2.2
    assert 0.3 * at_home[-1] == pytest.approx(1 - np.exp(-0.3 * mean), rel=1e-5)


def test_dead_on_arrival_by_chance_alone() -> None:
    """Without wear the share kept does not matter: (0.1 + t / mean) / 0.9."""
    found = rebuilds(10.0, 5.0, 1.0, 4.0, 0.6, 0.1)
    assert found == pytest.approx((0.1 + np.linspace(0, 2, 201)) / 0.9, abs=1e-6)


def simulated_rebuilds(
    n: int, horizon: float, life: float, shape: float, age: float, kept: float, p_early: float
) -> tuple:
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
def test_rebuilds_against_a_simulation(life: float, shape: float, age: float, kept: float, p_early: float) -> None:
    n, horizon, steps = 60_000, 12.0, 200
    both = r.rebuilds(horizon, [life], shape, age, kept, p_early, [1.0, 0.75], steps)[:, :, 0]
    middle = (np.arange(steps) + 0.5) * horizon / steps
    worth = both[0, 0] + (np.diff(both[0]) * 1.06**-middle).sum()
    drawn = simulated_rebuilds(n, horizon, life, shape, age, kept, p_early)
    for ours, seen in zip((both[0, -1], worth, 0.25 * both[1, -1]), drawn, strict=True):
        assert abs(ours - seen.mean()) < 4 * seen.std() / math.sqrt(n)


@pytest.mark.parametrize(("shape", "life"), [(0.5, 2.0), (1.3, 2.0), (2.5, 2.0), (4.0, 4.0), (8.0, 7.0)])
@pytest.mark.parametrize("kept", [0.0, 0.2, 0.7])
def test_error_of_rebuilds_is_as_stated(shape: float, life: float, kept: float) -> None:
    usual, fine = (rebuilds(10.0, life, shape, 1.0, kept, steps=n)[-1] for n in (200, 1600))
    assert usual == pytest.approx(fine, rel=1e-4)


def test_rebuilds_of_several_lives_are_each_alone() -> None:
    together = r.rebuilds(9.0, [3.0, 6.0, np.inf], 2.0, 1.0, 0.4, 0.05, [1.0, 0.5], 60)
    for k, life in enumerate((3.0, 6.0, np.inf)):
        for kind, goes_on in enumerate((1.0, 0.5)):
            alone = rebuilds(9.0, life, 2.0, 1.0, 0.4, 0.05, goes_on=goes_on, steps=60)
            assert together[kind, :, k] == pytest.approx(alone, rel=1e-12)


@given(st.floats(1.0, 4.0), st.floats(6.0, 20.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 5.0))
@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_more_wear_kept_never_means_fewer_failures(shape: float, life: float, a: float, b: float, age: float) -> None:
    less, more = (rebuilds(8.0, life, shape, age, kept, steps=150)[-1] for kept in sorted((a, b)))
    assert less <= more * (1 + 1e-6)


def test_published_optimum_of_replacing_in_time() -> None:
    # documentation of the Python package reliability, "Optimal replacement time": planned 1, failure 5,
    # Weibull scale 1000, shape 2.5: 493.19 and 0.0035; running it (0.9.0) gives 493.185 and 0.00346204.
    # It looks on a grid of ages: the cost is tight, the age loose.
    age, cost = r.best_replacement_age(1, 5, 1000, 2.5, 0.0)
    assert age == pytest.approx(493.19, abs=0.2)
    assert cost == pytest.approx(0.00346204, abs=5e-9)


def cost_of_cycles(age: float, shape: float, rate: float) -> float:
    """Planned 100, failure 700, life 8: present cost of all cycles to come, as an even flow; by quadrature."""

    def density(t: float) -> float:
        return shape / 8.0 * (t / 8.0) ** (shape - 1) * math.exp(-((t / 8.0) ** shape))

    if rate == 0.0:
        x = (age / 8.0) ** shape
        lasting = 8.0 * math.gamma(1 + 1 / shape) * float(special.gammainc(1 / shape, x))
        return (100 * math.exp(-x) + 700 * -math.expm1(-x)) / lasting
    force = math.log1p(rate)
    fails, _ = integrate.quad(lambda t: math.exp(-force * t) * density(t), 0, age, epsabs=1e-13)
    lasts = math.exp(-force * age - (age / 8.0) ** shape)
    # present cost c of all cycles: c = planned lasts + failure fails + (lasts + fails) c
    return force * (100 * lasts + 700 * fails) / (1 - lasts - fails)


@pytest.mark.parametrize("rate", [0.0, 0.05, 0.2])
@pytest.mark.parametrize("shape", [1.5, 3.0, 7.0])
def test_best_age_against_a_search(shape: float, rate: float) -> None:
    best, cost = r.best_replacement_age(100, 700, 8.0, shape, rate)
    ages = np.linspace(0.2, 40, 100)
    near = ages[np.argmin([cost_of_cycles(t, shape, rate) for t in ages])]
    found = optimize.minimize_scalar(
        lambda t: cost_of_cycles(t, shape, rate), bounds=(max(near - 0.5, 0.05), near + 0.5), method="bounded"
    )
    assert cost == pytest.approx(found.fun, rel=1e-8)
    assert best == pytest.approx(found.x, rel=1e-3)


def test_waiting_for_the_failure_is_best() -> None:
    for case in ((100, 700, 8.0, 1.0), (100, 700, 8.0, 0.7), (100, 100, 8.0, 3.0), (100, 101, 8.0, 1.2)):
        age, cost = r.best_replacement_age(*case, 0.0)
        assert age == math.inf
        # a failure costs case[1] and comes once a mean life
        assert cost == pytest.approx(case[1] / (8.0 * math.gamma(1 + 1 / case[3])), rel=1e-8)


def test_an_age_that_hardly_any_unit_reaches_is_no_plan() -> None:
    """Shape 2, life 1: the best age T solves h(T) x mean life - 1 = planned / (failure - planned), by hand."""
    for survive, planned in ((2e-9, True), (6e-10, False)):
        age = math.sqrt(-math.log(survive))
        failure = 1.0 + 1.0 / (2.0 * age * math.gamma(1.5) - 1.0)
        found, _ = r.best_replacement_age(1.0, failure, 1.0, 2.0, 0.0)
        assert found == pytest.approx(age, rel=1e-5) if planned else found == math.inf
