"""Replacing in time against a published optimum, closed forms, quadrature and a search."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize, special

from repairecon.formulas.age_replacement import age_replacement_cost, best_replacement_age


def test_published_optimum() -> None:
    # documentation of the Python package reliability, "Optimal replacement time": planned 1, failure 5,
    # Weibull scale 1000, shape 2.5: 493.19 and 0.0035; running it (0.9.0) gives 493.185 and 0.00346204.
    # It looks on a grid of ages: the cost is tight, the age loose.
    age, cost = best_replacement_age(1, 5, 1000, 2.5)
    assert age == pytest.approx(493.19, abs=0.2)
    assert cost == pytest.approx(0.0035, abs=0.00005)
    assert cost == pytest.approx(0.00346204, abs=5e-9)


@pytest.mark.parametrize("shape", [0.6, 1.0, 2.5, 6.0])
def test_cost_rate_against_the_closed_form(shape: float) -> None:
    ages = np.array([0.5, 3.0, 8.0, 25.0, 400.0])
    x = (ages / 8.0) ** shape
    lasting = 8.0 * math.gamma(1 + 1 / shape) * special.gammainc(1 / shape, x)
    wanted = (100 * np.exp(-x) + 700 * -np.expm1(-x)) / lasting
    assert age_replacement_cost(ages, 100, 700, 8.0, shape) == pytest.approx(wanted, rel=1e-8)
    # only when it fails: one failure a mean life
    forever = 700 / (8.0 * math.gamma(1 + 1 / shape))
    assert age_replacement_cost(np.inf, 100, 700, 8.0, shape) == pytest.approx(forever, rel=1e-8)


@pytest.mark.parametrize("age", [2.0, 7.0, 30.0])
def test_discounted_cost_against_the_sum_of_cycles(age: float) -> None:
    force, life, shape = math.log(1.08), 8.0, 2.2

    def density(t: float) -> float:
        return shape / life * (t / life) ** (shape - 1) * math.exp(-((t / life) ** shape))

    fails, _ = integrate.quad(lambda t: math.exp(-force * t) * density(t), 0, age, epsabs=1e-13)
    lasts = math.exp(-force * age - (age / life) ** shape)
    # present cost c of all cycles: c = planned lasts + failure fails + (lasts + fails) c
    present = (100 * lasts + 700 * fails) / (1 - lasts - fails)
    assert age_replacement_cost(age, 100, 700, life, shape, 0.08) == pytest.approx(force * present, rel=1e-9)


@pytest.mark.parametrize("rate", [0.0, 0.05, 0.2])
@pytest.mark.parametrize("shape", [1.5, 3.0, 7.0])
def test_best_age_against_a_search(shape: float, rate: float) -> None:
    best, cost = best_replacement_age(100, 700, 8.0, shape, rate)
    ages = np.linspace(0.1, 40, 400)
    near = ages[np.argmin(age_replacement_cost(ages, 100, 700, 8.0, shape, rate))]
    found = optimize.minimize_scalar(
        lambda t: float(age_replacement_cost(t, 100, 700, 8.0, shape, rate)),
        bounds=(near - 0.2, near + 0.2),
        method="bounded",
    )
    assert cost == pytest.approx(found.fun, rel=1e-9)
    assert best == pytest.approx(found.x, rel=1e-3)


def test_waiting_for_the_failure_is_best() -> None:
    for case in ((100, 700, 8.0, 1.0), (100, 700, 8.0, 0.7), (100, 100, 8.0, 3.0), (100, 101, 8.0, 1.2)):
        age, cost = best_replacement_age(*case)
        assert age == math.inf
        # a failure costs case[1] and comes once a mean life
        assert cost == pytest.approx(case[1] / (8.0 * math.gamma(1 + 1 / case[3])), rel=1e-8)


def test_replacing_all_the_time_costs_no_end() -> None:
    assert age_replacement_cost([0.0, 1.0], 1, 5, 10.0, 2.0)[0] == math.inf


def test_what_cannot_be_is_refused() -> None:
    for arguments, word in [
        ((1.0, -1, 5, 10, 2), "costs of 0"),
        ((1.0, 1, 5, 0, 2), "above 0"),
        ((1.0, 1, 5, 10, 2, 5), "0.05 for 5 %"),
        ((-1.0, 1, 5, 10, 2), "age of 0"),
    ]:
        with pytest.raises(ValueError, match=word):
            age_replacement_cost(*arguments)
    with pytest.raises(ValueError, match="a cost above 0"):
        best_replacement_age(0, 5, 10, 2)
