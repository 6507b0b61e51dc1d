"""Marginal costs and economic life against worked replacement problems."""

import numpy as np
import pytest

from repairecon.formulas.keeping import (
    annual_cost_by_keeping,
    economic_life,
    marginal_costs,
    years_worth_keeping,
)

# Newnan, Eschenbach, Lavelle, Engineering Economic Analysis, 9th ed., Example 13-2, p. 405, at 15 %
RESALE = [25000, 18000, 13000, 9000, 6000, 4000, 3000, 2500]
UPKEEP = np.array([2000, 2500, 3000, 3500, 4000, 4500, 5000])
BREAKDOWNS = np.array([5000, 5000, 5000, 6500, 8000, 9500, 11000])
# the same page, last column (year 6 garbled in the copy read: 15 600 by the table's own columns)
MARGINAL = [17750, 15200, 13950, 14350, 14900, 15600, 16950]


def test_marginal_cost_table() -> None:
    assert marginal_costs(RESALE, UPKEEP + BREAKDOWNS, 0.15) == pytest.approx(MARGINAL, abs=1e-9)


def test_economic_life_of_the_challenger_and_how_long_to_keep() -> None:
    # the same, Examples 13-3 and 13-4, pp. 407-408: least 15 430 (to the nearest ten) at 5 years; the
    # defender's 13 250, 14 600, 15 950: keep two years, replace in the third
    years, cost = economic_life(MARGINAL, 0.15)
    assert years == 5
    assert cost == pytest.approx(15430, abs=5)
    assert years_worth_keeping([13250, 14600, 15950], cost) == 2


def test_defender_table() -> None:
    # Replacement problem of the Sullivan/Wicks/Koelling kind, published solution sheet, at 15 %: resale
    # 4 000..2 000, expenses 20 000..30 000 less 0.7 %; total cost, present worth and annual cost columns
    expenses = 0.993 * np.array([20000, 25000, 30000])
    recovery = marginal_costs([4000, 3000, 2500, 2000], [0, 0, 0], 0.15)
    assert recovery == pytest.approx([1600, 950, 875], abs=0.01)
    total = marginal_costs([4000, 3000, 2500, 2000], expenses, 0.15)
    assert total == pytest.approx([21460, 25775, 30665], abs=0.01)
    annual = annual_cost_by_keeping(total, 0.15)
    assert annual == pytest.approx([21460, 23466.98, 25539.84], abs=0.01)
    # present worth is printed as the negative of the annual cost's worth
    factor = [sum(1.15**-t for t in range(1, n + 1)) for n in (1, 2, 3)]
    assert annual * factor == pytest.approx([18660.87, 38150.47, 58313.21], abs=0.01)


def test_rate_zero_is_the_plain_average() -> None:
    got = annual_cost_by_keeping(MARGINAL, 0.0)
    assert got == pytest.approx([np.mean(MARGINAL[:k]) for k in range(1, 8)], rel=1e-14)


def test_ends_of_the_answer() -> None:
    assert years_worth_keeping([5, 6], 4) == 0
    assert years_worth_keeping([5, 6], 6) == 2
    assert economic_life([3, 2, 1], 0.1)[0] == 3


def test_what_cannot_be_answered_is_refused() -> None:
    with pytest.raises(ValueError, match="one figure more"):
        marginal_costs([1, 2], [1, 2], 0.1)
    with pytest.raises(ValueError, match="at least one year"):
        economic_life([], 0.1)
    with pytest.raises(ValueError, match="compare whole courses"):
        years_worth_keeping([9, 2], 5)
