"""Rules of thumb against what their sources say; risk aversion against textbook numbers, closed forms and limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from repairecon.formulas import decision_rules
from repairecon.formulas.decision_rules import certainty_equivalent

PRICE = st.floats(0.0, 1e6)


def test_half_of_new_refuses_the_three_first_shocks() -> None:
    # Common practice, no source: kit against new, 256/270, 270/400, 300/1000 and 550/1000 with the shaft
    # the kit lacks. Half of new would allow only the kit of 300, and not once the shaft is counted.
    kit, new = np.array([256.0, 270.0, 300.0, 550.0]), np.array([270.0, 400.0, 1000.0, 1000.0])
    np.testing.assert_array_equal(kit <= decision_rules.share_of_price(new, 0.5), [False, False, True, False])
    np.testing.assert_allclose(decision_rules.share_of_price(new, 0.5), [135.0, 200.0, 500.0, 500.0])


def test_flat_share_is_85_percent() -> None:
    # US Army TB 43-0154, section I: a one-time repair, overhaul or rebuild of a small engine or
    # outboard is limited to 85 percent of the standard inventory price.
    np.testing.assert_allclose(decision_rules.share_of_price([100.0, 4000.0], 0.85), [85.0, 3400.0])


def test_straight_line_against_a_published_depreciation_table() -> None:
    # Accounting course exercise 57-10, straight-line method: cost 17,000, residual 1,400, 4 years; book
    # value 13,100, 9,200, 5,300, 1,400 after each year (first page of the answer read). The diagonal of US
    # Coast Guard CI 11103.1B, enclosure (3), is such a line with nothing left over, so the residual is added.
    limit = decision_rules.straight_line(17_000.0 - 1_400.0, [1, 2, 3, 4], 4)
    np.testing.assert_allclose(limit + 1_400.0, [13_100.0, 9_200.0, 5_300.0, 1_400.0], atol=0.5)


@settings(deadline=None)
@given(PRICE, st.floats(0.01, 60.0), st.floats(0.0, 3.0))
def test_straight_line_lies_on_the_diagonal(price: float, life: float, share: float) -> None:
    # The graph of enclosure (3): replacement cost on one axis, expected life on the other; nothing past its end.
    limit = float(decision_rules.straight_line(price, share * life, life))
    diagonal = np.interp(share * life, [0.0, life], [price, 0.0])
    assert limit == pytest.approx(float(diagonal), abs=1e-9 * price + 1e-12)


def test_rules_take_arrays_and_single_numbers() -> None:
    assert decision_rules.straight_line(np.array([100.0, 200.0]), 5, np.array([10.0, 20.0])).shape == (2,)
    assert np.ndim(decision_rules.share_of_price(100.0, 0.5)) == 0


def test_a_percentage_is_refused() -> None:
    with pytest.raises(ValueError, match=r"give 0\.50 for 50 %"):
        decision_rules.share_of_price(100.0, 50.0)
    with pytest.raises(ValueError, match="price"):
        decision_rules.share_of_price(-1.0, 0.5)


def test_straight_line_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="life"):
        decision_rules.straight_line(100.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="age"):
        decision_rules.straight_line(100.0, -1.0, 5.0)
    with pytest.raises(ValueError, match="price"):
        decision_rules.straight_line([100.0, -5.0], 1.0, 5.0)


costs_lists = st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=12)


def test_textbook_gamble() -> None:
    # R. T. Clemen, Making Hard Decisions, 2nd ed., ch. 13, exponential utility with risk tolerance 900: win
    # 2000, 1000 or 500 with chances 0.4, 0.4, 0.2: expected utility 0.7102, certainty equivalent 1114.71
    # (worked out from the rounded utility). FROM MEMORY.
    worth = -certainty_equivalent([-2000, -1000, -500], 900.0, [0.4, 0.4, 0.2])
    assert 1 - math.exp(-worth / 900) == pytest.approx(0.7102, abs=0.00005)
    assert worth == pytest.approx(1114.71, abs=900 * 0.00005 / (1 - 0.7102))


def test_exercise_on_indifference() -> None:
    # S. Russell, P. Norvig, Artificial Intelligence: A Modern Approach, 3rd ed., ch. 16, exercise on the
    # exponential utility of money: at which R is a sure 100 as good as an even chance of 500 or nothing
    # (to 3 significant digits: 152, solution FROM MEMORY). With z = exp(-100 / R) it is z^5 - 2 z + 1 = 0.
    z = min(r.real for r in np.roots([1, 0, 0, 0, -2, 1]) if abs(r.imag) < 1e-12 and 0 < r.real < 1 - 1e-6)
    tolerance = -100 / math.log(z)
    assert tolerance == pytest.approx(152, abs=0.5)
    assert certainty_equivalent([-500, 0], tolerance) == pytest.approx(-100, abs=1e-9)


def test_exercise_on_a_lottery() -> None:
    # The same exercise, first part: R = 500, a sure 500 against 5000 with 60 %, else nothing. The sure 500 has
    # utility -exp(-1) = -0.3679, the lottery -(0.6 exp(-10) + 0.4) = -0.4000: the sure one is taken.
    lottery = certainty_equivalent([-5000, 0], 500.0, [0.6, 0.4])
    assert -math.exp(lottery / 500) == pytest.approx(-0.4000, abs=0.00005)
    assert lottery > -500


@pytest.mark.parametrize("tolerance", [150.0, 400.0, 1000.0, 1e5])
def test_normal_cost(tolerance: float) -> None:
    # Closed form: mean + variance / (2 T).
    z, weights = np.polynomial.hermite_e.hermegauss(80)
    costs = 2000 + 300 * z
    expected = 2000 + 300**2 / (2 * tolerance)
    assert certainty_equivalent(costs, tolerance, weights) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("tolerance", [40.0, 200.0, 5000.0])
def test_gamma_cost(tolerance: float) -> None:
    # Closed form for a gamma cost of shape k and scale s < T: -T k ln(1 - s / T).
    shape, scale = 3.0, 30.0
    x, weights = special.roots_genlaguerre(150, shape - 1)
    expected = -tolerance * shape * math.log1p(-scale / tolerance)
    assert certainty_equivalent(scale * x, tolerance, weights) == pytest.approx(expected, rel=1e-9)


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
    assert certainty_equivalent(costs, tolerance, weights) == pytest.approx(expected, rel=1e-13)


@settings(deadline=None)
@given(costs_lists, st.floats(1e-6, 1e9), st.floats(1.0, 1e3))
def test_between_mean_and_worst_and_falling_with_tolerance(costs, tolerance, factor) -> None:
    ours = certainty_equivalent(costs, tolerance)
    room = 1e-9 * max(1.0, *map(abs, costs))
    assert np.mean(costs) - room <= ours <= max(costs) + room
    assert certainty_equivalent(costs, tolerance * factor) <= ours + room


@settings(deadline=None)
@given(costs_lists)
def test_limits(costs) -> None:
    room = 1e-9 * max(1.0, *map(abs, costs))
    assert certainty_equivalent(costs) == pytest.approx(np.mean(costs), abs=room)
    assert certainty_equivalent(costs, 1e16) == pytest.approx(np.mean(costs), abs=1e-6 + room)
    assert certainty_equivalent(costs, 0.0) == max(costs)
    assert certainty_equivalent(costs, 1e-9) == pytest.approx(max(costs), abs=1e-7 + room)


@settings(deadline=None)
@given(costs_lists, costs_lists, st.floats(10.0, 1e6), st.floats(-1e4, 1e4))
def test_adds_up_over_sure_and_independent_costs(one, two, tolerance, sure) -> None:
    both = [a + b + sure for a in one for b in two]
    parts = certainty_equivalent(one, tolerance) + certainty_equivalent(two, tolerance) + sure
    assert certainty_equivalent(both, tolerance) == pytest.approx(parts, abs=1e-6)


def test_what_cannot_happen_does_not_count() -> None:
    assert certainty_equivalent([10.0, 1e300], 1.0, [2.0, 0.0]) == 10.0


@pytest.mark.parametrize("bad", [-1.0, math.nan])
def test_bad_tolerances(bad: float) -> None:
    with pytest.raises(ValueError, match="tolerance"):
        certainty_equivalent([1.0, 2.0], bad)


@pytest.mark.parametrize("weights", [[1.0], [0.0, 0.0], [1.0, -1.0], [math.nan, 1.0]])
def test_bad_weights(weights: list[float]) -> None:
    with pytest.raises(ValueError, match="weight"):
        certainty_equivalent([1.0, 2.0], 1.0, weights)
