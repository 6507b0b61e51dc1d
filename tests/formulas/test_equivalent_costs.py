"""The sure cost (of tree) against textbooks, closed forms and limits; the level cost a year (of renewal): tables."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from repairecon.formulas.renewal import equivalent_annual_cost
from repairecon.formulas.tree import certainty_equivalent

costs_lists = st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=12)


def even(costs: list[float], tolerance: float) -> float:
    """With equal chances."""
    return certainty_equivalent(costs, tolerance, np.ones(len(costs)))


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
    assert certainty_equivalent([-500, 0], tolerance, [1, 1]) == pytest.approx(-100, abs=1e-9)


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
    ours = even(costs, tolerance)
    room = 1e-9 * max(1.0, *map(abs, costs))
    assert np.mean(costs) - room <= ours <= max(costs) + room
    assert even(costs, tolerance * factor) <= ours + room


@settings(deadline=None)
@given(costs_lists)
def test_limits(costs) -> None:
    room = 1e-9 * max(1.0, *map(abs, costs))
    assert even(costs, math.inf) == pytest.approx(np.mean(costs), abs=room)
    assert even(costs, 1e16) == pytest.approx(np.mean(costs), abs=1e-6 + room)
    assert even(costs, 0.0) == max(costs)
    assert even(costs, 1e-9) == pytest.approx(max(costs), abs=1e-7 + room)


@settings(deadline=None)
@given(costs_lists, costs_lists, st.floats(10.0, 1e6), st.floats(-1e4, 1e4))
def test_adds_up_over_sure_and_independent_costs(one, two, tolerance, sure) -> None:
    both = [a + b + sure for a in one for b in two]
    parts = even(one, tolerance) + even(two, tolerance) + sure
    assert even(both, tolerance) == pytest.approx(parts, abs=1e-6)


def test_what_cannot_happen_does_not_count() -> None:
    assert certainty_equivalent([10.0, 1e300], 1.0, [2.0, 0.0]) == 10.0
    assert certainty_equivalent([1.0, 1e300, 3.0], 1.0, [1.0, 0.0, 1.0]) == even([1.0, 3.0], 1.0)


# OpenStax, Principles of Managerial Accounting, section on NPV and IRR, table "present value of an
# ordinary annuity"; the 5 % cell of year 2 is printed "1,859". Rows: years 1..10.
RATES = np.array([0.01, 0.02, 0.03, 0.05, 0.08])
ANNUITY = np.array(
    [
        [0.99, 0.98, 0.971, 0.952, 0.926],
        [1.97, 1.942, 1.913, 1.859, 1.783],
        [2.941, 2.884, 2.829, 2.723, 2.577],
        [3.902, 3.808, 3.717, 3.546, 3.312],
        [4.853, 4.713, 4.58, 4.329, 3.993],
        [5.795, 5.601, 5.417, 5.076, 4.623],
        [6.728, 6.472, 6.23, 5.786, 5.206],
        [7.652, 7.325, 7.02, 6.463, 5.747],
        [8.566, 8.162, 7.786, 7.108, 6.247],
        [9.471, 8.983, 8.53, 7.722, 6.71],
    ]
)
rates = st.floats(-0.5, 1.0)


def annuity(rate, years):
    """Worth of one unit at each year's end, as tables print it."""
    return 1.0 / equivalent_annual_cost(1.0, rate, years)


def test_annuity_table() -> None:
    got = [[annuity(rate, years) for rate in RATES] for years in range(1, 11)]
    assert np.abs(got - ANNUITY).max() <= 0.0005


def test_factors_of_the_life_cycle_handbook() -> None:
    # NIST Handbook 135, chapter 6, worked factor at a real rate of 3 % (quoted; 15 years and 2 % are
    # inferred, they and 5 years are what reproduces the values)
    assert annuity(0.03, 15) == pytest.approx(11.94, abs=0.005)


def test_life_cycle_cost_of_two_options() -> None:
    # USACE ERDC, EngrEcon report (2024, draft), life-cycle cost analysis, Example 1, and the rate of
    # return example: 77 636, 77 755 and 6 795, printed to the unit (the arithmetic alone; the page
    # compares different rates and lives, which ranks nothing)
    assert 50000 + 1500 * annuity(0.025, 25) == pytest.approx(77636, abs=1)
    assert 48000 + 2000 * annuity(0.03, 20) == pytest.approx(77755, abs=1)
    assert 500 * annuity(0.04, 20) == pytest.approx(6795, abs=1)


def test_unequal_lives() -> None:
    # OpenStax, Principles of Finance, 2e, ch. 16, "Choosing between Projects with Different Lives":
    # 50 000 for 40 000 a year over 3 years or 30 000 a year over 6, at 10 %
    a = 40000 * annuity(0.1, 3) - 50000
    b = 30000 * annuity(0.1, 6) - 50000
    assert a == pytest.approx(49474, abs=1)
    assert b == pytest.approx(80658, abs=1)
    # the replacement chain of two short lives, 86 644.69
    assert a * (1 + 1.1**-3) == pytest.approx(86644.69, abs=1)
    a_year = [equivalent_annual_cost(a, 0.1, 3), equivalent_annual_cost(b, 0.1, 6)]
    assert a_year == pytest.approx([19894, 18520], abs=1)
    # the same for ever, from rounded annuities: 198 940 and 185 200
    assert np.array(a_year) / 0.1 == pytest.approx([198940, 185200], abs=10)


def test_annual_cost_of_a_challenger() -> None:
    # Replacement problem of the Sullivan/Wicks/Koelling kind, published solution sheet: 30 000, 12 years,
    # 2 000 left, 16 000 a year, at 15 %: 21 465.46
    worth = 30000 - 2000 * 1.15**-12
    assert equivalent_annual_cost(worth, 0.15, 12) + 16000 == pytest.approx(21465.46, abs=0.01)


@given(rates, st.integers(1, 40))
@settings(deadline=None)
def test_factors_are_sums_of_years(rate: float, years: int) -> None:
    each = np.arange(1, years + 1)
    plain = sum((1 + rate) ** -float(t) for t in each)
    assert equivalent_annual_cost(1.0, rate, years) * plain == pytest.approx(1.0, rel=1e-9)


def test_rate_zero_adds_up_exactly() -> None:
    assert [equivalent_annual_cost(120.0, 0.0, n) for n in (1, 3, 7)] == [120.0, 40.0, 120.0 / 7]


def test_no_digits_are_lost_near_rate_zero() -> None:
    # second-order expansion n - n (n + 1) d / 2
    assert annuity(1e-9, 10) == pytest.approx(10 - 55e-9, abs=1e-13)
