"""Present value, internal rate and payback against published worked examples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from repairecon.formulas.discount import escalating_present_value
from repairecon.formulas.flows import discounted_payback, internal_rate, present_value

# OpenStax, Principles of Finance, 2e, ch. 16: one machine over six years, at 9 %
MACHINE = [-16000, 2000, 4000, 5000, 5000, 5000, 5000]


def test_one_machine() -> None:
    # printed: each flow discounted, net present value, profitability index, payback, internal rate
    # (14.10 %, rounded to one decimal)
    discounted = [present_value([f], 0.09, [t]) for t, f in enumerate(MACHINE)]
    printed = [-16000, 1834.86, 3366.72, 3860.92, 3542.13, 3249.66, 2981.34]
    assert discounted == pytest.approx(printed, abs=0.02)
    worth = present_value(MACHINE, 0.09)
    assert worth == pytest.approx(2835.62, abs=0.02)
    assert 1 + worth / 16000 == pytest.approx(1.18, abs=0.005)
    assert discounted_payback(MACHINE, 0.09) == pytest.approx(5.05, abs=0.005)
    assert 100 * internal_rate(MACHINE) == pytest.approx(14.1, abs=0.05)


# 12 CFR 1026 (Regulation Z), Appendix J, examples (c)(1)(i), (c)(2)(i), (c)(3)(i), (c)(4)(i), (c)(5)(iv),
# 1-1-24 edition, pp. 435-439: advance, payments, periods a year, annual percentage rate
LOANS = {
    "c1i": (5000, 24 * [230], 12, 9.69),
    "c2i": (5000, [250] + 23 * [230], 12, 10.08),
    "c3i": (5000, 23 * [230] + [280], 12, 10.5),
    "c4i": (5000, [250] + 22 * [230] + [280], 12, 10.9),
    "c5iv": (1000, [0, 1240], 1, 11.36),
}


@pytest.mark.parametrize("case", LOANS)
def test_annual_percentage_rates(case: str) -> None:
    advance, payments, periods, rate = LOANS[case]
    assert 100 * periods * internal_rate([advance, *(-p for p in payments)]) == pytest.approx(rate, abs=0.005)


def test_annual_percentage_rate_with_an_odd_first_period() -> None:
    # the same, example (c)(1)(ii): 6 000, 36 payments of 200, first period of 1 + 19/30 months. The rule
    # has simple interest on the odd days, which moves the rate by less than the printed digits
    when = np.concatenate([[0.0], 1 + 19 / 30 + np.arange(36)])
    rate = 1200 * internal_rate([6000] + 36 * [-200], when)
    assert rate == pytest.approx(11.82, abs=0.005)


def test_life_cycle_cost_year_by_year() -> None:
    # NIST Handbook 135, section 7.1.1, Example 7-1, pp. 94-95: 20 years at 3 % real, published factors
    # 16.15 (gas, 1.05 a therm) and 15.48 (electricity, 0.135 a kWh); costs 27 944 and 26 344. The growth
    # of prices that gives each factor is sought, and the bill of every year discounted by itself.
    def growth(factor: float) -> float:
        return float(optimize.brentq(lambda e: float(escalating_present_value(0.03, e, 20)) - factor, 0, 0.1))

    def cost(first: float, therms: float, kwh: float) -> float:
        years = np.arange(1, 21)
        gas = 1.05 * therms * (1 + growth(16.15)) ** years
        power = 0.135 * kwh * (1 + growth(15.48)) ** years
        return float(present_value(np.concatenate([[first], gas + power]), 0.03))

    assert cost(0, 1500, 1200) == pytest.approx(27944, abs=1)
    assert cost(2000, 1300, 1100) == pytest.approx(26344, abs=1)


@given(st.lists(st.floats(1, 1e4), min_size=1, max_size=20), st.floats(-0.5, 0.9))
@settings(deadline=None)
def test_the_internal_rate_is_the_one_that_makes_it_worth_nothing(income: list[float], rate: float) -> None:
    price = float(present_value([0.0, *income], rate))
    assert internal_rate([-price, *income]) == pytest.approx(rate, abs=1e-7)


def test_rate_zero_adds_up_exactly() -> None:
    assert present_value([[1.0, 2.0, 4.0], [8.0, 16.0, 32.0]], [0.0, 0.0]).tolist() == [7.0, 56.0]


def test_one_rate_a_row() -> None:
    rows = present_value([MACHINE, MACHINE], [0.0, 0.09])
    assert rows == pytest.approx([10000, 2835.62], abs=0.02)


def test_payback_without_interest_and_never() -> None:
    assert discounted_payback([-100, 40, 40, 40], 0.0) == pytest.approx(2.5)
    assert discounted_payback([-100, 40, 40], 0.0) == float("inf")
    assert discounted_payback([0, -5], 0.1) == 0.0


def test_flows_without_a_single_rate_are_refused() -> None:
    for flows in ([1, 2], [-1, 3, -1], [0, 0]):
        with pytest.raises(ValueError, match="change once"):
            internal_rate(flows)
    with pytest.raises(ValueError, match="outside"):
        internal_rate([-1, 1e9])
