"""Numbers out of text, against decimal arithmetic and a statistics library."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from repairecon.read import values
from repairecon.read.values import Misread
from repairecon.records import Range, Source

HERE = Source("x")


@given(st.decimals(0, 10**11, allow_nan=False, places=4))
def test_a_plain_decimal_is_read_as_it_stands(number: Decimal) -> None:
    assert values.number(f"{number:f}", values.MONEY) == float(number)


@given(st.text(max_size=12))
def test_only_what_a_calculator_takes_is_a_number(text: str) -> None:
    """Whatever is taken is also a number to the decimal library, and the same one."""
    read = values.number(text, values.MONEY)
    if not isinstance(read, Misread):
        assert float(Decimal(text)) == read
        assert math.isfinite(read)


@given(st.integers(10_00, 999_999_99), st.sampled_from(["de", "en", "fr", "ch"]))
def test_advice_gives_back_the_number_that_was_meant(cents: int, habit: str) -> None:
    """Amounts as four countries write them; the advised number is the amount."""
    grouped = f"{cents / 100:,.2f}"
    point, mark = {"de": (",", "."), "en": (".", ","), "fr": (",", "\u202f"), "ch": (".", "'")}[habit]
    text = grouped.replace(",", "_").replace(".", point).replace("_", mark)
    read = values.number(text, values.MONEY)
    if isinstance(read, Misread):
        assert Decimal(read.write.split()[1].rstrip(",")) == Decimal(cents) / 100
    else:
        assert read == cents / 100


@pytest.mark.parametrize("text", ["", "1_000", "0x10", "١٢", "1e", "--1", "1.2.3", "infinity", "½", "1 2", "12 h"])
def test_no_numbers(text: str) -> None:
    assert isinstance(values.number(text, values.MONEY), Misread)


@pytest.mark.parametrize(("value", "advice"), [(20, "give 0.20 for 20 %"), (7.5, "give 0.075 for 7.5 %")])
def test_percent_for_a_fraction(value: float, advice: str) -> None:
    read = values.within(value, values.FRACTION)
    assert isinstance(read, Misread)
    assert read.write == advice


@given(st.floats(0, 50), st.floats(0.05, 2), st.floats(0, 3))
def test_lognormal_takes_every_shifted_lognormal(shift: float, spread: float, middle: float) -> None:
    """The 10 %, 50 % and 90 % points of a lognormal that starts at ``shift`` (scipy.stats) are accepted."""
    curve = stats.lognorm(spread, loc=shift, scale=math.exp(middle))
    low, likely, high = (float(q) for q in curve.ppf([0.1, 0.5, 0.9]))
    assert isinstance(values.in_order(low, likely, high, "lognormal", HERE), Range)


@given(st.floats(0.05, 2), st.floats(0, 3), st.floats(0.01, 0.9))
def test_lognormal_refuses_what_begins_below_zero(spread: float, middle: float, part: float) -> None:
    """The same points of a curve that begins below zero, or leans the other way, are not."""
    scale = math.exp(middle)
    start = -part * scale * math.exp(-1.2815515655446004 * spread)  # so that the low point stays above zero
    low, likely, high = (float(q) for q in stats.lognorm(spread, loc=start, scale=scale).ppf([0.1, 0.5, 0.9]))
    assert low >= 0
    assert isinstance(values.in_order(low, likely, high, "lognormal", HERE), Misread)
    leaning = values.in_order(100.0 - high, 100.0 - likely, 100.0 - low, "lognormal", HERE)
    assert isinstance(leaning, Misread)


def test_uniform_needs_no_likely() -> None:
    read = values.in_order(2.0, None, 6.0, "uniform", HERE)
    assert isinstance(read, Range)
    assert (read.low, read.likely, read.high, read.shape) == (2, 4, 6, "uniform")


def test_likely_alone_is_sure() -> None:
    read = values.in_order(None, 5.0, None, "pert", HERE)
    assert isinstance(read, Range)
    assert read.sure
    assert read.likely == 5
