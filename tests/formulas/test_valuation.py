"""Value of a store against an accounting textbook, exact fractions and a walk unit by unit."""

import csv
import datetime as dt
import math
from fractions import Fraction
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


@pytest.mark.parametrize("period", [None, [7] * 5])
def test_first_in_first_out(period) -> None:
    # modules m67890 (periodic), m67891 (perpetual): cost of sales 7,200, closing 8,955, margin 4,140, available 16,155
    cost, left = v.fifo(*gps(), period)
    assert -cost[cost < 0].sum() == 7200
    assert cost.sum() == 8955
    assert cost[cost > 0].sum() == 16155
    assert sales() + cost[cost < 0].sum() == 4140
    assert left.tolist() == [0, 0, 75, 0, 210]


def test_average_of_the_period() -> None:
    # module m67890: 27.62 a unit, closing 7,872, cost of sales 8,283; the book rounds the unit cost first: 285 and 300
    # units at half a cent are 1.43 and 1.50
    item, units, price = gps()
    cost = v.period_average(item, units, np.array(price, dtype=float), [7] * 5)
    assert cost[1] / -120 == pytest.approx(27.62, abs=0.005)
    assert cost.sum() == pytest.approx(7872, abs=285 * 0.005 + 0.5)
    assert -cost[cost < 0].sum() == pytest.approx(8283, abs=300 * 0.005 + 0.5)


def test_one_price() -> None:
    # module m67889, oil filters: 50 and 20 at 7, 18 left: available 490, closing 126, cost of goods sold 364, 52 sold
    item, units, price = [1, 1, 1], [50, 20, 18 - 50 - 20], [7, 7, 0]
    for cost in (
        v.fifo(item, units, price)[0],
        v.moving_average(item, units, price),
    ):
        assert cost[:2].sum() == 490
        assert cost.sum() == 126
        assert cost[2] == -364
    assert units[2] == -52


def columns(rows: list[tuple]) -> tuple:
    return tuple(np.array(c, dtype=np.int64) for c in zip(*rows, strict=True)) if rows else (np.zeros(0, int),) * 7


@given(ledgers(full=False))
def test_fifo_unit_by_unit(rows: list[tuple]) -> None:
    boat = walk(rows)
    item, quantity, price = columns(rows)[:3]
    cost, left = v.fifo(item, quantity, price)
    assert cost.tolist() == boat.cost
    units = [u.lot for every in boat.units.values() for u in every]
    assert left.tolist() == [units.count(n) for n in range(len(rows))]
    # periods of three rows, receipts of a period first: the same closing value
    late, _ = v.fifo(item, quantity, price, np.arange(len(rows)) // 3)
    assert late.sum() == cost.sum()


@given(ledgers(full=False))
def test_moving_average_in_fractions(rows: list[tuple]) -> None:
    item, quantity, price = columns(rows)[:3]
    exact = average([(i, q, Fraction(p)) for i, q, p, *_ in rows])
    cost = v.moving_average(item, quantity, price.astype(float))
    assert cost == pytest.approx([float(c) for c in exact], abs=1e-6)
    # whole money: exact in sum, none left with no stock, and within half a unit for every issue since
    cents = v.moving_average(item, quantity, price)
    assert cents.dtype == np.int64
    for code in set(item.tolist()):
        stock, value = quantity[item == code].sum(), cents[item == code].sum()
        assert value >= 0
        assert stock > 0 or value == 0
        rows_of = np.flatnonzero(item == code)
        for n, k in enumerate(rows_of):
            if quantity[k] < 0:
                there, worth = int(quantity[rows_of[:n]].sum()), int(cents[rows_of[:n]].sum())
                assert 2 * abs(int(cents[k]) * there - worth * int(quantity[k])) <= there
        assert abs(value - float(sum(c for c, i in zip(exact, item, strict=True) if i == code))) <= len(rows)


@given(ledgers(full=False), st.integers(1, 6))
def test_average_of_periods_in_fractions(rows: list[tuple], length: int) -> None:
    item, quantity, price = columns(rows)[:3]
    period = np.arange(len(rows)) // length
    cost = v.period_average(item, quantity, price.astype(float), period)
    opening: dict[int, tuple[int, Fraction]] = {}
    for p in sorted(set(period.tolist())):
        for code in set(item[period == p].tolist()):
            here = [k for k in range(len(rows)) if period[k] == p and item[k] == code]
            n, value = opening.get(code, (0, Fraction(0)))
            n += sum(int(quantity[k]) for k in here if quantity[k] > 0)
            value += sum(int(quantity[k]) * int(price[k]) for k in here if quantity[k] > 0)
            out = sum(-int(quantity[k]) for k in here if quantity[k] < 0)
            for k in here:
                if quantity[k] < 0:
                    assert cost[k] == pytest.approx(float(int(quantity[k]) * value / n), abs=1e-6)
            opening[code] = n - out, value - (out * value / n if n else 0)
    cents = v.period_average(item, quantity, price, period)
    assert cents == pytest.approx(cost, abs=len(rows))
    for code in set(item.tolist()):
        assert quantity[item == code].sum() > 0 or cents[item == code].sum() == 0


def test_prices_that_rise_then_fall_apart() -> None:
    # 10 at 1.00, 10 at 3.00, 10 used, 10 at 5.00, 15 used: by hand
    item, units, price = [1] * 5, [10, 10, -10, 10, -15], [100, 300, 0, 500, 0]
    assert v.fifo(item, units, price)[0].tolist() == [1000, 3000, -1000, 5000, -(3000 + 2500)]
    # (1000 + 3000) / 20 = 200; then (2000 + 5000) / 20 = 350
    assert v.moving_average(item, units, price).tolist() == [1000, 3000, -2000, 5000, -5250]


def test_average_with_returns_and_counts() -> None:
    # 3 at 1.00; one used; 2 at 4.00; the used one comes back at 1.00; a surplus of 1 at (200 + 800 + 100) / 5 = 2.20;
    # a purchased one at 4.00 is sent back; all used: 1100 + 220 - 400
    found = v.moving_average(
        [1] * 7,
        [3, -1, 2, 1, 1, -1, -5],
        [100, 0, 400, 0, 0, 0, 0],
        against=[-1, -1, -1, 1, -1, 2, -1],
        counted=[False, False, False, False, True, False, False],
    )
    assert found.tolist() == [300, -100, 800, 100, 220, -400, -920]
    # the book says none is left: at the last average; never any: at nothing
    assert v.moving_average([1] * 3, [2, -2, 1], [150, 0, 0], counted=[0, 0, 1]).tolist() == [300, -300, 150]
    assert v.moving_average([1], [4], [77], counted=[True]).tolist() == [0]


def test_sent_back_takes_no_more_than_is_there() -> None:
    # 1 at 1.00 and 1 at 9.00, one used at 5.00, the dear one sent back: only 5.00 is left to take
    found = v.moving_average([1] * 4, [1, 1, -1, -1], [100, 900, 0, 0], against=[-1, -1, -1, 1])
    assert found.tolist() == [100, 900, -500, -500]


@given(ledgers(full=False))
def test_overdrawn_is_seen(rows: list[tuple]) -> None:
    item, quantity, price = columns(rows)[:3]
    if rows:  # one more than there is
        last = rows[-1][0]
        here = len(walk(rows).units[last])
        more = np.append(item, last), np.append(quantity, -here - 1), np.append(price, 0)
        for value in (v.fifo, v.moving_average):
            with pytest.raises(ValueError, match=f"rows {len(rows)} take"):
                value(*more)


@pytest.mark.parametrize("value", [v.fifo, v.moving_average, v.period_average])
@pytest.mark.parametrize(
    ("item", "quantity", "price", "says"),
    [
        ([1, 1], [1, -2], [5, 0], "1"),
        ([1, 2], [1, -1], [5, 0], "1"),
        ([1, 1], [1, 1], [5], "length"),
        ([1], [0.5], [5], "whole"),
        ([1], [1], [-5], "0 or more"),
    ],
)
def test_what_cannot_be_is_refused(value, item, quantity, price, says) -> None:
    period = {"period": [0] * len(quantity)} if value is v.period_average else {}
    with pytest.raises(ValueError, match=says):
        value(item, quantity, price, **period)


@pytest.mark.parametrize(
    ("quantity", "against"),
    [([2, -1, 2], [-1, -1, 1]), ([2, -1, 1], [-1, -1, 0]), ([2, 1, -1], [-1, 2, -1]), ([2, -1, 1, 1], [-1, -1, 1, 1])],
)
def test_what_cannot_come_back_is_refused(quantity, against) -> None:
    with pytest.raises(ValueError, match="undo"):
        v.moving_average([1] * len(quantity), quantity, [9] * len(quantity), against=against)


def test_periods_see_late_receipts() -> None:
    # used before it was booked in: the count at the end of the month is right, the running one is not
    assert v.fifo([1, 1], [-1, 2], [0, 6], [3, 3])[0].tolist() == [-6, 12]
    with pytest.raises(ValueError, match="rows 0 take"):
        v.fifo([1, 1], [-1, 2], [0, 6])
    with pytest.raises(ValueError, match="rows 0 take"):
        v.fifo([1, 1], [-1, 2], [0, 6], [3, 4])
    with pytest.raises(ValueError, match="in order"):
        v.fifo([1, 1], [2, -1], [6, 0], [4, 3])


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
    # half a year: a tenth of the shelf life, and of the rest 1 - sqrt(0.64) = 0.2
    assert v.cost_left_over([100.0, 0.0], 1825.0, 0.0, 182.5, 0.36) == pytest.approx([28.0, 0.0])


@pytest.mark.parametrize(
    "call",
    [
        lambda: v.expiry_day(0, -1),
        lambda: v.cost_left_over(1.0, [1], 5, 4, 0.1),
        lambda: v.cost_left_over(-1.0, 9, 0, 4, 0.1),
        lambda: v.cost_left_over(1.0, 9, 0, 4, 20.0),
    ],
)
def test_what_cannot_be_stored_is_refused(call) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        call()
