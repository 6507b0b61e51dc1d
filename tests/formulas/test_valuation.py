"""Value of a store against an accounting textbook, exact fractions and a walk unit by unit."""

import csv
import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plain_ledger import average, ledgers, walk

from repairecon.formulas import valuation as v

# OpenStax, Principles of Accounting, vol. 1, ch. 10: GPS units in July; the source stands in the file
GPS = Path(__file__).parent / "data" / "openstax_gps_july.csv"


def gps() -> tuple[list[int], list[int], list[int]]:
    """Item, signed units and unit value of every row."""
    rows = [line.split(",") for line in GPS.read_text("utf-8").splitlines()[2:]]
    signed = [-int(units) if kind == "sale" else int(units) for _, kind, units, _ in rows]
    return [1] * len(rows), signed, [int(r[3]) for r in rows]


def sales() -> int:
    _, units, price = gps()
    return sum(-q * p for q, p in zip(units, price, strict=True) if q < 0)


def moving(item, quantity, price, against=None, counted=None):
    """The moving average where nothing is undone or counted, unless said otherwise."""
    rows = len(quantity)
    return v.moving_average(item, quantity, price, against or [-1] * rows, counted or [False] * rows)


def test_first_in_first_out() -> None:
    # modules m67890 (periodic), m67891 (perpetual): cost of sales 7,200, closing 8,955, margin 4,140, available 16,155
    cost, left = v.fifo(*gps())
    assert -cost[cost < 0].sum() == 7200
    assert cost.sum() == 8955
    assert cost[cost > 0].sum() == 16155
    assert sales() + cost[cost < 0].sum() == 4140
    assert left.tolist() == [0, 0, 75, 0, 210]


def test_one_price() -> None:
    # module m67889, oil filters: 50 and 20 at 7, 18 left: available 490, closing 126, cost of goods sold 364, 52 sold
    item, units, price = [1, 1, 1], [50, 20, 18 - 50 - 20], [7, 7, 0]
    for cost in (v.fifo(item, units, price)[0], moving(item, units, price)):
        assert cost[:2].sum() == 490
        assert cost.sum() == 126
        assert cost[2] == -364
    assert units[2] == -52


def columns(rows: list[tuple]) -> tuple:
    return tuple(np.array(c, dtype=np.int64) for c in zip(*rows, strict=True)) if rows else (np.zeros(0, int),) * 3


@given(ledgers())
def test_fifo_unit_by_unit(rows: list[tuple]) -> None:
    cost, left = walk(rows)
    assert [x.tolist() for x in v.fifo(*columns(rows))] == [cost, left]
    # what is written after its use is counted all the same: the last row first
    late = [*rows[-1:], *rows[:-1]]
    plain, _ = walk([r for r in late if r[1] > 0] + [r for r in late if r[1] < 0])
    assert v.fifo(*columns(late))[0].sum() == sum(plain)


@given(ledgers())
def test_moving_average_in_fractions(rows: list[tuple]) -> None:
    """Exact in sum, none left with no stock, and within half a least unit for every issue since."""
    item, quantity, price = columns(rows)
    exact = average(rows)
    cost = moving(item, quantity, price)
    for code in set(item.tolist()):
        stock, value = quantity[item == code].sum(), cost[item == code].sum()
        assert value >= 0
        assert stock > 0 or value == 0
        rows_of = np.flatnonzero(item == code)
        for n, k in enumerate(rows_of):
            if quantity[k] < 0:
                there, worth = int(quantity[rows_of[:n]].sum()), int(cost[rows_of[:n]].sum())
                assert 2 * abs(int(cost[k]) * there - worth * int(quantity[k])) <= there
        assert abs(value - float(sum(c for c, i in zip(exact, item, strict=True) if i == code))) <= len(rows)
    # in millionths of a least unit the fractions themselves
    fine = moving(item, quantity, price * 1_000_000)
    assert fine / 1e6 == pytest.approx([float(c) for c in exact], abs=1e-4)


def test_prices_that_rise_then_fall_apart() -> None:
    # 10 at 1.00, 10 at 3.00, 10 used, 10 at 5.00, 15 used: by hand
    item, units, price = [1] * 5, [10, 10, -10, 10, -15], [100, 300, 0, 500, 0]
    assert v.fifo(item, units, price)[0].tolist() == [1000, 3000, -1000, 5000, -(3000 + 2500)]
    # (1000 + 3000) / 20 = 200; then (2000 + 5000) / 20 = 350
    assert moving(item, units, price).tolist() == [1000, 3000, -2000, 5000, -5250]


def test_average_with_returns_and_counts() -> None:
    # 3 at 1.00; one used; 2 at 4.00; the used one comes back at 1.00; a surplus of 1 at (200 + 800 + 100) / 5 = 2.20;
    # a purchased one at 4.00 is sent back; all used: 1100 + 220 - 400
    found = moving(
        [1] * 7,
        [3, -1, 2, 1, 1, -1, -5],
        [100, 0, 400, 0, 0, 0, 0],
        [-1, -1, -1, 1, -1, 2, -1],
        [False, False, False, False, True, False, False],
    )
    assert found.tolist() == [300, -100, 800, 100, 220, -400, -920]
    # the book says none is left: at the last average; never any: at nothing
    assert moving([1] * 3, [2, -2, 1], [150, 0, 0], counted=[0, 0, 1]).tolist() == [300, -300, 150]
    assert moving([1], [4], [77], counted=[True]).tolist() == [0]


def test_sent_back_takes_no_more_than_is_there() -> None:
    # 1 at 1.00 and 1 at 9.00, one used at 5.00, the dear one sent back: only 5.00 is left to take
    found = moving([1] * 4, [1, 1, -1, -1], [100, 900, 0, 0], [-1, -1, -1, 1])
    assert found.tolist() == [100, 900, -500, -500]
    # the last one there, which came in at 1.00, takes all that is left
    assert moving([1] * 4, [1, 1, -1, -1], [100, 900, 0, 0], [-1, -1, -1, 0]).tolist() == [100, 900, -500, -500]
    # the first row of all sent back
    assert moving([1] * 3, [1, 1, -1], [100, 900, 0], [-1, -1, 0]).tolist() == [100, 900, -100]
    # 2 at 1.00 and 2 at 9.00, two used at 5.00, one dear one sent back: 10.00 are left, 9.00 go; two of them take all
    for back, takes in ((-1, -900), (-2, -1000)):
        found = moving([1] * 4, [2, 2, -2, back], [100, 900, 0, 0], [-1, -1, -1, 1])
        assert found.tolist() == [200, 1800, -1000, takes]


@given(ledgers())
def test_overdrawn_is_seen(rows: list[tuple]) -> None:
    if rows:  # one more than there is
        last = rows[-1][0]
        there = sum(q for i, q, _ in rows if i == last)
        more = columns([*rows, (last, -there - 1, 0)])
        for value in (v.fifo, moving):
            with pytest.raises(ValueError, match="more"):
                value(*more)


def test_late_receipts_are_seen_by_the_count_at_the_end() -> None:
    # used before it was booked in: the count at the end of the month is right, the running one is not
    assert v.fifo([1, 1], [-1, 2], [0, 6])[0].tolist() == [-6, 12]
    with pytest.raises(ValueError, match="row 0 takes"):
        moving([1, 1], [-1, 2], [0, 6])


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
    last = {}
    for row in groups():
        initial, more = float(row["initial_years"]), float(row["extension_years"])
        days = (v.expiry_day(made, initial, more), v.expiry_day(made, initial, more, True))
        last[row["group"]] = days
        assert days[1] == v.expiry_day(made, float(row["total_years"]))
    years = {"A": (2029, 2031), "B": (2031, 2034), "C": (2034, 2039)}
    assert last == {g: tuple(number(dt.date(y, 9, 30)) for y in pair) for g, pair in years.items()}


@given(st.dates(dt.date(1960, 1, 1), dt.date(2080, 12, 31)), st.integers(0, 40))
def test_years_by_the_calendar(day: dt.date, years: int) -> None:
    try:
        wanted = day.replace(year=day.year + years)
    except ValueError:
        wanted = dt.date(day.year + years, 2, 28)
    assert v.expiry_day(number(day), years) == number(wanted)


@pytest.mark.parametrize(
    ("day", "years", "ends"),
    [((2024, 8, 31), 0.5, (2025, 2, 28)), ((2023, 8, 31), 0.5, (2024, 2, 29)), ((2024, 1, 15), 1.25, (2025, 4, 15))],
)
def test_parts_of_a_year(day, years, ends) -> None:
    assert v.expiry_day(number(dt.date(*day)), years) == number(dt.date(*ends))


def test_unknown_and_endless() -> None:
    ends = v.expiry_day([np.nan, 10.0, np.nan], [5.0, math.inf, math.inf])
    assert np.array_equal(ends, [np.nan, np.inf, np.nan], equal_nan=True)
    assert v.expiry_day(0.0, 5, math.inf, True) == math.inf


def test_left_over_by_hand() -> None:
    # half a year of two left; a part that is over, one that ends with the period, one that never does, one unknown
    found = v.cost_left_over(8.0, [730.0, -3.0, 182.5, np.inf, np.nan], 0.0, 182.5, 0.0)
    assert found == pytest.approx([2.0, 8.0, 8.0, 0.0, 0.0])
    assert v.cost_left_over(8.0, 0.5, 0.0, 0.25, 0.0) == pytest.approx(4.0)  # a quarter of a day of half a day left
    assert v.cost_left_over(8.0, 1730.0, 1000.0, 1182.5, 0.0) == pytest.approx(2.0)  # whatever day it begins on
    # half a year: a tenth of the shelf life, and of the rest 1 - sqrt(0.64) = 0.2
    assert v.cost_left_over([100.0, 0.0], 1825.0, 0.0, 182.5, 0.36) == pytest.approx([28.0, 0.0])
