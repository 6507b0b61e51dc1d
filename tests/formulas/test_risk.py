"""Risk aversion against textbook numbers, closed forms, quadrature and limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from repairecon.formulas import risk

costs_lists = st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=12)


def test_textbook_gamble() -> None:
    # R. T. Clemen, Making Hard Decisions, 2nd ed., ch. 13, exponential utility with risk tolerance 900: win
    # 2000, 1000 or 500 with chances 0.4, 0.4, 0.2: expected utility 0.7102, certainty equivalent 1114.71
    # (worked out from the rounded utility). FROM MEMORY.
    worth = -risk.certainty_equivalent([-2000, -1000, -500], 900.0, [0.4, 0.4, 0.2])
    assert 1 - math.exp(-worth / 900) == pytest.approx(0.7102, abs=0.00005)
    assert worth == pytest.approx(1114.71, abs=900 * 0.00005 / (1 - 0.7102))


def test_exercise_on_indifference() -> None:
    # S. Russell, P. Norvig, Artificial Intelligence: A Modern Approach, 3rd ed., ch. 16, exercise on the
    # exponential utility of money: at which R is a sure 100 as good as an even chance of 500 or nothing
    # (to 3 significant digits: 152, solution FROM MEMORY). With z = exp(-100 / R) it is z^5 - 2 z + 1 = 0.
    z = min(r.real for r in np.roots([1, 0, 0, 0, -2, 1]) if abs(r.imag) < 1e-12 and 0 < r.real < 1 - 1e-6)
    tolerance = -100 / math.log(z)
    assert tolerance == pytest.approx(152, abs=0.5)
    assert risk.certainty_equivalent([-500, 0], tolerance) == pytest.approx(-100, abs=1e-9)


def test_exercise_on_a_lottery() -> None:
    # The same exercise, first part: R = 500, a sure 500 against 5000 with 60 %, else nothing. The sure 500 has
    # utility -exp(-1) = -0.3679, the lottery -(0.6 exp(-10) + 0.4) = -0.4000: the sure one is taken.
    lottery = risk.certainty_equivalent([-5000, 0], 500.0, [0.6, 0.4])
    assert -math.exp(lottery / 500) == pytest.approx(-0.4000, abs=0.00005)
    assert lottery > -500


@pytest.mark.parametrize("tolerance", [150.0, 400.0, 1000.0, 1e5])
def test_normal_cost(tolerance: float) -> None:
    # Closed form: mean + variance / (2 T).
    z, weights = np.polynomial.hermite_e.hermegauss(80)
    costs = 2000 + 300 * z
    expected = 2000 + 300**2 / (2 * tolerance)
    assert risk.certainty_equivalent(costs, tolerance, weights) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("tolerance", [40.0, 200.0, 5000.0])
def test_gamma_cost(tolerance: float) -> None:
    # Closed form for a gamma cost of shape k and scale s < T: -T k ln(1 - s / T).
    shape, scale = 3.0, 30.0
    x, weights = special.roots_genlaguerre(150, shape - 1)
    expected = -tolerance * shape * math.log1p(-scale / tolerance)
    assert risk.certainty_equivalent(scale * x, tolerance, weights) == pytest.approx(expected, rel=1e-9)


def test_drawn_costs_come_near_the_closed_form() -> None:
    drawn = np.random.default_rng(4).normal(2000, 300, 200_000)
    tolerance = 600.0
    e = np.exp((drawn - 2000) / tolerance)
    se = tolerance * e.std() / e.mean() / math.sqrt(len(drawn))
    assert risk.certainty_equivalent(drawn, tolerance) == pytest.approx(2075, abs=4.5 * se)


@pytest.mark.parametrize("tolerance", [1e-3, 1e-2, 1.0, 30.0, 1e3, 1e6, 1e12, 1e18])
def test_digits_at_any_tolerance(tolerance: float) -> None:
    # By 60-digit arithmetic of the standard library.
    from decimal import Decimal, localcontext

    costs, weights = [1234.5, 1300.25, 2100.0, 1999.75], [0.5, 0.25, 0.125, 0.125]
    with localcontext() as context:
        context.prec = 60
        t = Decimal(tolerance)
        pairs = zip(costs, weights, strict=True)
        total = sum((Decimal(w) * ((Decimal(c) - 2100) / t).exp() for c, w in pairs), Decimal(0))
        expected = float(2100 + t * total.ln())
    assert risk.certainty_equivalent(costs, tolerance, weights) == pytest.approx(expected, rel=1e-13)


@settings(deadline=None)
@given(costs_lists, st.floats(1e-6, 1e9), st.floats(1.0, 1e3))
def test_between_mean_and_worst_and_falling_with_tolerance(costs, tolerance, factor) -> None:
    ours = risk.certainty_equivalent(costs, tolerance)
    room = 1e-9 * max(1.0, *map(abs, costs))
    assert np.mean(costs) - room <= ours <= max(costs) + room
    assert risk.certainty_equivalent(costs, tolerance * factor) <= ours + room


@settings(deadline=None)
@given(costs_lists)
def test_limits(costs) -> None:
    room = 1e-9 * max(1.0, *map(abs, costs))
    assert risk.certainty_equivalent(costs) == pytest.approx(np.mean(costs), abs=room)
    assert risk.certainty_equivalent(costs, 1e16) == pytest.approx(np.mean(costs), abs=1e-6 + room)
    assert risk.certainty_equivalent(costs, 0.0) == max(costs)
    assert risk.certainty_equivalent(costs, 1e-9) == pytest.approx(max(costs), abs=1e-7 + room)


@settings(deadline=None)
@given(costs_lists, costs_lists, st.floats(10.0, 1e6), st.floats(-1e4, 1e4))
def test_adds_up_over_sure_and_independent_costs(one, two, tolerance, sure) -> None:
    both = [a + b + sure for a in one for b in two]
    parts = risk.certainty_equivalent(one, tolerance) + risk.certainty_equivalent(two, tolerance) + sure
    assert risk.certainty_equivalent(both, tolerance) == pytest.approx(parts, abs=1e-6)


def test_what_cannot_happen_does_not_count() -> None:
    assert risk.certainty_equivalent([10.0, 1e300], 1.0, [2.0, 0.0]) == 10.0


@pytest.mark.parametrize("bad", [-1.0, math.nan])
def test_bad_tolerances(bad: float) -> None:
    with pytest.raises(ValueError, match="tolerance"):
        risk.certainty_equivalent([1.0, 2.0], bad)


@pytest.mark.parametrize("weights", [[1.0], [0.0, 0.0], [1.0, -1.0], [math.nan, 1.0]])
def test_bad_weights(weights: list[float]) -> None:
    with pytest.raises(ValueError, match="weight"):
        risk.certainty_equivalent([1.0, 2.0], 1.0, weights)
