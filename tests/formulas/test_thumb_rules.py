"""Rules of thumb against what their sources say."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairecon.formulas import thumb_rules

PRICE = st.floats(0.0, 1e6)


def test_half_of_new_refuses_the_three_first_shocks() -> None:
    # Common practice, no source: kit against new, 256/270, 270/400, 300/1000 and 550/1000 with the shaft
    # the kit lacks. Half of new would allow only the kit of 300, and not once the shaft is counted.
    kit, new = np.array([256.0, 270.0, 300.0, 550.0]), np.array([270.0, 400.0, 1000.0, 1000.0])
    np.testing.assert_array_equal(kit <= thumb_rules.half_of_new(new), [False, False, True, False])
    np.testing.assert_allclose(thumb_rules.half_of_new(new), [135.0, 200.0, 500.0, 500.0])


def test_flat_share_is_85_percent() -> None:
    # US Army TB 43-0154, section I: a one-time repair, overhaul or rebuild of a small engine or
    # outboard is limited to 85 percent of the standard inventory price.
    np.testing.assert_allclose(thumb_rules.flat_share_of_list([100.0, 4000.0]), [85.0, 3400.0])


def test_straight_line_against_a_published_depreciation_table() -> None:
    # Accounting course exercise 57-10, straight-line method: cost 17,000, residual 1,400, 4 years; book
    # value 13,100, 9,200, 5,300, 1,400 after each year (first page of the answer read). The diagonal of US
    # Coast Guard CI 11103.1B, enclosure (3), is such a line with nothing left over, so the residual is added.
    limit = thumb_rules.straight_line(17_000.0 - 1_400.0, [1, 2, 3, 4], 4)
    np.testing.assert_allclose(limit + 1_400.0, [13_100.0, 9_200.0, 5_300.0, 1_400.0], atol=0.5)


@settings(deadline=None)
@given(PRICE, st.floats(0.01, 60.0), st.floats(0.0, 1.0))
def test_straight_line_lies_on_the_diagonal(price: float, life: float, share: float) -> None:
    # The graph of enclosure (3): replacement cost on one axis, expected life on the other.
    limit = float(thumb_rules.straight_line(price, share * life, life))
    diagonal = np.interp(share * life, [0.0, life], [price, 0.0])
    assert limit == pytest.approx(float(diagonal), abs=1e-9 * price + 1e-12)


@settings(deadline=None)
@given(PRICE, st.floats(0.1, 60.0), st.floats(0.0, 100.0))
def test_nothing_is_allowed_past_the_expected_life(price: float, life: float, over: float) -> None:
    assert thumb_rules.straight_line(price, life + over, life) == 0.0


def test_rules_take_arrays_and_single_numbers() -> None:
    assert thumb_rules.straight_line(np.array([100.0, 200.0]), 5, np.array([10.0, 20.0])).shape == (2,)
    assert np.ndim(thumb_rules.half_of_new(100.0)) == 0
    assert thumb_rules.half_of_new(100.0, share=0.6) == pytest.approx(60.0)


@pytest.mark.parametrize("rule", [thumb_rules.half_of_new, thumb_rules.flat_share_of_list])
def test_a_percentage_is_refused(rule) -> None:
    with pytest.raises(ValueError, match=r"give 0\.50 for 50 %"):
        rule(100.0, share=50.0)
    with pytest.raises(ValueError, match="price"):
        rule(-1.0)


def test_straight_line_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="life"):
        thumb_rules.straight_line(100.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="age"):
        thumb_rules.straight_line(100.0, -1.0, 5.0)
    with pytest.raises(ValueError, match="price"):
        thumb_rules.straight_line([100.0, -5.0], 1.0, 5.0)
