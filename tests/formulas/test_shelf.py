"""Shelf life against the published groups, the standard library's calendar and hand-set days."""

import csv
import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from repairecon.formulas import shelf

DAY_0 = dt.date(1970, 1, 1)
# ISO 2230:2002, storage table: groups A, B, C (a row a group, with its own source column)
TABLE = Path(__file__).parent / "data" / "rubber_storage.csv"


def number(day: dt.date) -> float:
    return float((day - DAY_0).days)


def groups() -> list[dict[str, str]]:
    rows = list(csv.DictReader(TABLE.read_text("utf-8").splitlines()))
    return [r for r in rows if r["standard"] == "ISO 2230:2002" and r["group"] in "ABC"]


def test_groups_of_the_standard() -> None:
    # made in the third quarter of 2024: A 5 + 2, B 7 + 3, C 10 + 5 years, from the last day of September
    made = number(dt.date(2024, 9, 30))
    assert made == number(dt.date(2024, 9, 30))
    last = {}
    for row in groups():
        initial, more = float(row["initial_years"]), float(row["extension_years"])
        days = (shelf.expiry_day(made, initial, more), shelf.expiry_day(made, initial, more, True))
        last[row["group"]] = days
        assert days[1] == shelf.expiry_day(made, float(row["total_years"]))
    years = {"A": (2029, 2031), "B": (2031, 2034), "C": (2034, 2039)}
    assert last == {g: tuple(number(dt.date(y, 9, 30)) for y in pair) for g, pair in years.items()}


@given(st.dates(dt.date(1960, 1, 1), dt.date(2080, 12, 31)), st.integers(0, 40))
def test_years_by_the_calendar(day: dt.date, years: int) -> None:
    try:
        wanted = day.replace(year=day.year + years)
    except ValueError:
        wanted = dt.date(day.year + years, 2, 28)
    assert shelf.expiry_day(number(day), years) == number(wanted)


@pytest.mark.parametrize(
    ("day", "years", "ends"),
    [((2024, 8, 31), 0.5, (2025, 2, 28)), ((2023, 8, 31), 0.5, (2024, 2, 29)), ((2024, 1, 15), 1.25, (2025, 4, 15))],
)
def test_parts_of_a_year(day, years, ends) -> None:
    assert shelf.expiry_day(number(dt.date(*day)), years) == number(dt.date(*ends))


def test_unknown_and_endless() -> None:
    ends = shelf.expiry_day([np.nan, 10.0, np.nan], [5.0, math.inf, math.inf])
    assert np.array_equal(ends, [np.nan, np.inf, np.nan], equal_nan=True)
    assert shelf.expiry_day(0.0, 5, math.inf, True) == math.inf


def test_share_lost() -> None:
    # half a year of two left; a part that is over, one that ends with the period, one that never does
    found = shelf.share_of_life_lost([730.0, -3.0, 182.5, np.inf, np.nan], 0.0, 182.5)
    assert found == pytest.approx([0.25, 1.0, 1.0, 0.0, 0.0])


@pytest.mark.parametrize(
    "call",
    [
        lambda: shelf.expiry_day(0, -1),
        lambda: shelf.share_of_life_lost([1], 5, 4),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        call()


def test_left_over_by_hand() -> None:
    # half a year: a tenth of the shelf life, and of the rest 1 - sqrt(0.64) = 0.2; 2 for the locker
    assert shelf.cost_left_over([100.0, 0.0], 0.1, 0.36, 182.5, 2.0) == pytest.approx([30.0, 2.0])
