"""Landed cost against a customs office's worked example and against itself taken line by line."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairecon.formulas import landed

RATE = st.floats(0.0, 1.0)
MONEY = st.floats(0.0, 1e5)


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
@given(MONEY, MONEY, st.floats(0.01, 200.0), RATE, RATE, RATE)
def test_factor_is_the_charges_added_up(
    goods: float, carriage: float, exchange: float, own_vat: float, home_vat: float, duty_rate: float
) -> None:
    duty, _, vat = landed.import_charges(goods * exchange, carriage * exchange, 0.0, duty_rate, home_vat)
    total = (goods + carriage) * exchange + duty + vat
    ex = landed.landed_factor(exchange, False, own_vat, home_vat, True, duty_rate)
    assert (goods + carriage) * ex == pytest.approx(float(total), rel=1e-12)
    quoted_in = landed.ex_to_in(goods + carriage, own_vat)
    included = landed.landed_factor(exchange, True, own_vat, home_vat, True, duty_rate)
    assert quoted_in * included == pytest.approx(float(total), rel=1e-12)


@settings(deadline=None)
@given(RATE, RATE, RATE)
def test_inside_the_tax_area_only_the_suppliers_vat_counts(vat: float, home: float, duty: float) -> None:
    assert landed.landed_factor(1.17, True, vat, home, False, duty) == 1.17
    assert landed.landed_factor(2.0, False, vat, home, False, duty) == pytest.approx(2.0 + 2.0 * vat)


def test_one_import_by_hand() -> None:
    # Invented: quoted 120 with 20 % in it -> 100 net; 1.5 home for one of theirs -> 150; duty 10 % -> 165;
    # VAT 20 % -> 198.
    assert 120.0 * landed.landed_factor(1.5, True, 0.20, 0.20, True, 0.10) == pytest.approx(198.0)


def test_yard_rates_with_tax() -> None:
    # Arithmetic by hand: 45 and 60 an hour ex VAT at 20 % are 54 and 72.
    np.testing.assert_allclose(landed.ex_to_in([45.0, 60.0], 0.20), [54.0, 72.0])


@settings(deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 50))
def test_packs_are_enough_and_not_one_too_many(quantity: int, pack: int) -> None:
    packs = landed.packs_needed(quantity, pack)
    assert isinstance(packs, int)
    assert packs * pack >= quantity
    assert (packs - 1) * pack < quantity


def test_packs_of_arrays() -> None:
    np.testing.assert_array_equal(landed.packs_needed(np.array([0, 1, 4, 5]), 4), [0, 1, 1, 2])


@pytest.mark.parametrize("name", ["vat_rate", "home_vat_rate", "duty_rate"])
def test_percentages_are_refused_with_what_to_write(name: str) -> None:
    rates = {"vat_rate": 0.2, "home_vat_rate": 0.2, "duty_rate": 0.0, name: 20.0}
    with pytest.raises(ValueError, match=r"rate of 20\.0 is above 1: give 0\.20 for 20 %"):
        landed.landed_factor(1.0, vat_included=True, imported=False, **rates)


def test_other_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match=r"give 0\.20 for 20 %"):
        landed.ex_to_in(10.0, [0.1, -0.2])
    with pytest.raises(ValueError, match=r"give 0\.20 for 20 %"):
        landed.import_charges(10.0, 0.0, 0.0, [0.0, 2.5], 0.2)
    with pytest.raises(ValueError, match=r"give 0\.20 for 20 %"):
        landed.import_charges(10.0, 0.0, 0.0, 0.0, float("nan"))
    with pytest.raises(ValueError, match="exchange"):
        landed.landed_factor(0.0, True, 0.2, 0.2, False, 0.0)
    with pytest.raises(ValueError, match="pack"):
        landed.packs_needed(3, 0)
    with pytest.raises(ValueError, match="quantity"):
        landed.packs_needed(-1, 2)
