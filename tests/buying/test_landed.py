"""Landed cost against a customs office's worked example and against itself taken line by line."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairecon.buying import landed


def test_import_charges_of_the_customs_office_example() -> None:
    # Revenue (Ireland), "How to calculate duty and VAT on goods from outside the EU", worked example
    # "Standard rate of duty, plus VAT": camera 500 at 0 %, shirts 600 at 2.5 %, VAT 23 %. The dress of
    # 400 is within the traveller's allowance, so it is not among the goods. Printed to the cent.
    duty, value, vat = landed.import_charges([500.0, 600.0], 0.0, 0.0, [0.0, 0.025], 0.23)
    assert duty.sum() == pytest.approx(15.00, abs=0.005)
    assert value.sum() == pytest.approx(1115.00, abs=0.005)
    assert vat.sum() == pytest.approx(256.45, abs=0.005)
    assert duty.sum() + vat.sum() == pytest.approx(271.45, abs=0.005)


def test_charges_count_carriage_and_insurance_as_goods() -> None:
    # Common practice, no source: VAT is on goods + carriage + insurance + duty; duty value includes carriage.
    whole = landed.import_charges(295.0, 0.0, 0.0, 0.04, 0.21)
    split = landed.import_charges(100.0, 183.0, 12.0, 0.04, 0.21)
    np.testing.assert_allclose(split, whole, rtol=1e-14)
    duty, value, vat = split
    assert value == pytest.approx(295.0 + duty)
    assert duty == pytest.approx(11.80)
    assert vat == pytest.approx(64.428)  # 21 % of 306.80, by hand


@settings(deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 50))
def test_packs_are_enough_and_not_one_too_many(quantity: int, pack: int) -> None:
    packs = landed.packs_needed(quantity, pack)
    assert isinstance(packs, int)
    assert packs * pack >= quantity
    assert (packs - 1) * pack < quantity


def test_packs_of_arrays() -> None:
    np.testing.assert_array_equal(landed.packs_needed(np.array([0, 1, 4, 5]), 4), [0, 1, 1, 2])


def test_other_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match=r"give 0\.20 for 20 %"):
        landed.import_charges(10.0, 0.0, 0.0, [0.0, 2.5], 0.2)
    with pytest.raises(ValueError, match=r"give 0\.20 for 20 %"):
        landed.import_charges(10.0, 0.0, 0.0, 0.0, float("nan"))
    with pytest.raises(ValueError, match="pack"):
        landed.packs_needed(3, 0)
    with pytest.raises(ValueError, match="quantity"):
        landed.packs_needed(-1, 2)
