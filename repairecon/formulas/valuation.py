"""What a store of spares is worth, and how long: first in first out, moving average; shelf life.

A row is a movement, in the order in which they happened: `item` its code, a `quantity` above 0 comes in, below 0 goes
out, `unit_cost` that of a unit that comes in, not read for others. All are whole numbers (pieces or thousandths, cents
or millionths), so that sums are exact. Every page gives the cost of each row with its sign: what it added to the value
or took from it. So the value at any date is the sum of the rows up to it, and nothing is lost. A move between lockers
is no purchase and no use: give it a quantity of 0. Days are day numbers, 1970-01-01 being 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Wholes = NDArray[np.int64]
Floats = NDArray[np.float64]


def fifo(item: ArrayLike, quantity: ArrayLike, unit_cost: ArrayLike) -> tuple[Wholes, Wholes]:
    """Cost of each movement and what is left of each receipt, first in first out.

    Parameters
    ----------
    item, quantity, unit_cost : int array (rows,)
        Movements [-], [least unit], [least money a unit].

    Returns
    -------
    cost, left : int array (rows,), int array (rows,)
        What each row adds to the value, below 0 for an issue [least money]; units of each receipt still there [-].

    Notes
    -----
    The k-th unit out is the k-th that came in, by item over the whole boat, counted at the end alone: a receipt may be
    written after its use, and the figures are those of a perpetual count wherever that can be had. ValueError where
    more of an item goes out than came in. Source: IAS 2 Inventories, paragraphs 25 and 27 (from memory); OpenStax,
    Principles of Accounting, vol. 1, ch. 10.

    >>> [x.tolist() for x in fifo([1, 1, 1], [2, 2, -3], [10, 12, 0])]
    [[20, 24, -32], [0, 1, 0]]
    """
    code, amount, price = _columns(item, quantity, unit_cost)
    order = np.argsort(code, kind="stable")
    ins, outs = order[amount[order] > 0], order[amount[order] < 0]
    # one line of units for the whole boat, item after item; an item's issues start where its receipts start
    in_end, out_run = np.cumsum(amount[ins]), np.cumsum(-amount[outs])
    come = np.append(0, in_end)
    in_before, in_after = (come[np.searchsorted(code[ins], code[outs], side)] for side in ("left", "right"))
    out_before = np.append(0, out_run)[np.searchsorted(code[outs], code[outs])]
    out_end = in_before + out_run - out_before
    if np.any(out_end > in_after):
        raise ValueError("more goes out of an item than there is")
    out_start = out_end + amount[outs]
    # between two neighbouring ends all units share one receipt and one issue, or are still there
    ends = np.unique(np.concatenate([in_end, out_end]))
    start = np.append(0, ends)[: len(ends)]
    lot = ins[np.searchsorted(in_end, start, side="right")]
    issue = np.searchsorted(out_end, start, side="right")
    gone = issue < len(outs)
    gone[gone] = out_start[issue[gone]] <= start[gone]
    units = ends - start
    cost = np.where(amount > 0, amount * price, 0)
    np.subtract.at(cost, outs[issue[gone]], (units * price[lot])[gone])
    left = np.zeros(len(amount), dtype=np.int64)
    np.add.at(left, lot[~gone], units[~gone])
    return cost, left


def moving_average(
    item: ArrayLike, quantity: ArrayLike, unit_cost: ArrayLike, against: ArrayLike, counted: ArrayLike
) -> Wholes:
    """Cost of each movement at the average of what is there at the time.

    Parameters
    ----------
    item, quantity, unit_cost : int array (rows,)
        Movements [-], [least unit], [least money a unit]; the cost is not read for returns and counts either.
    against, counted : int array (rows,), bool array (rows,)
        Earlier row that this one undoes: an issue that comes back, a receipt sent back; -1 = none [-]. Rows that bring
        the book to what was counted; they know no cost of their own.

    Returns
    -------
    int array (rows,)
        What each row adds to the value (below 0 for an issue) [least money].

    Notes
    -----
    An issue takes ``value / stock`` a unit. What comes back from an issue comes in at what it went out at; what is sent
    back leaves at what it came in at, but never more than the value there, and with the last unit all of it. A counted
    surplus comes in at the present average (it is more of the same), or, if the book says none is there, at the last
    average known, else at 0. Shares are rounded to the nearest least unit of money, the rest staying with what is left.
    ValueError where more goes out than there is. Source: IAS 2 Inventories, paragraph 27 (from memory); returns and
    counts: common practice, no source.

    >>> moving_average([1, 1, 1], [2, 2, -1], [10, 12, 0], [-1, -1, -1], [False] * 3).tolist()
    [20, 24, -11]
    """
    columns = _columns(item, quantity, unit_cost)
    moved = columns[1].tolist()
    stock: dict[int, tuple[int, int]] = {}  # value and units of each item
    last: dict[int, tuple[int, int]] = {}  # the same when some were there last
    cost: list[int] = []
    undone, found = np.asarray(against).tolist(), np.asarray(counted).tolist()
    for i, q, paid, back, surplus in zip(*(c.tolist() for c in columns), undone, found, strict=True):
        v, n = stock.get(i, (0, 0))
        if n + q < 0:
            raise ValueError(f"row {len(cost)} takes out more than there is")
        if q < 0:
            change = -_share_of(v, -q, n)
            if back >= 0 and n + q:
                change = -min(_share_of(abs(cost[back]), -q, abs(moved[back])), v)
        elif back >= 0:
            change = _share_of(abs(cost[back]), q, abs(moved[back]))
        elif surplus:
            known, units = (v, n) if n else last.get(i, (0, 1))
            change = _share_of(known, q, units)
        else:
            change = q * paid
        stock[i] = v + change, n + q
        if n + q:
            last[i] = stock[i]
        cost.append(change)
    return np.array(cost, dtype=np.int64)


def expiry_day(
    from_day: ArrayLike, initial_years: ArrayLike, extension_years: ArrayLike = 0.0, inspected: ArrayLike = False
) -> Floats:
    """Last day on which a stored part is in date.

    Parameters
    ----------
    from_day, initial_years, extension_years, inspected : float, float, float, bool or arrays
        Day it is counted from; nan = not known [day]. Initial shelf life, and what an inspection at its end may add;
        inf = no limit [year]. Whether it was inspected and found good, so that the extension holds.

    Returns
    -------
    float or array
        Day number; inf = never, nan = not known [day].

    Notes
    -----
    The same day of the month so many years on, or the month's last day where it has no such day. Parts of a year count
    by whole months, rounded down. The extension may be given once. Storage as the standard asks: cool, dark, dry, no
    ozone, unstressed; no table holds in a locker by a warm engine. Source: ISO 2230:2002, Rubber products: guidelines
    for storage, shelf life by groups A, B, C.

    >>> int(expiry_day(0.0, 5)), int(expiry_day(0.0, 5, 2, True))
    (1826, 2557)
    """
    given = (np.asarray(x, dtype=float) for x in (from_day, initial_years, extension_years))
    start, initial, more, good = np.broadcast_arrays(*given, np.asarray(inspected, dtype=bool))
    years = initial + np.where(good, more, 0.0)
    known = np.isfinite(start) & np.isfinite(years)
    day = np.floor(np.where(known, start, 0.0)).astype(np.int64).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    goal = month + np.floor(12.0 * np.where(known, years, 0.0) + 1e-6).astype(np.int64)
    within, first = (day - month.astype("datetime64[D]")).astype(np.int64), goal.astype("datetime64[D]")
    last = ((goal + 1).astype("datetime64[D]") - first).astype(np.int64) - 1
    days = (first.astype(np.int64) + np.minimum(within, last)).astype(np.float64)
    ended = np.where(np.isinf(years) & ~np.isnan(start), np.inf, np.where(known, days, start))
    return np.asarray(ended)[()]


def cost_left_over(
    cost_unit: ArrayLike, expiry: ArrayLike, from_day: float, to_day: float, loss_rate: ArrayLike
) -> Floats:
    """What a unit loses that is carried through a period and not used.

    Parameters
    ----------
    cost_unit, expiry, from_day, to_day, loss_rate : float or array, float or array, float, float, float or array
        Price of a unit [home money]; last day in date, from :func:`expiry_day` [day]; first and last day of the period
        [day]; share of its worth that a year takes for other reasons: resale, damp, money tied up [1/year].

    Returns
    -------
    float or array
        Cost [home money].

    Notes
    -----
    ``cost_unit (1 - (1 - lost)(1 - loss_rate)**(days / 365))``, ``lost`` being the period's share of the shelf life
    left, ``days / (expiry - from_day)``: 0 if it never runs out or that is unknown, 1 if it is over by the end. Common
    practice, no source (straight line over the time left).

    >>> cost_left_over(100.0, [365.0, np.inf, 20.0], 0, 73, 0.0).round(6).tolist()
    [20.0, 0.0, 100.0]
    """
    price, rate, days = np.asarray(cost_unit, dtype=float), np.asarray(loss_rate, dtype=float), to_day - from_day
    left = np.asarray(expiry, dtype=float) - from_day
    lost = np.where(left > days, days / np.where(left > 0.0, left, 1.0), 1.0)
    kept = (1.0 - np.where(np.isnan(left), 0.0, lost)) * (1.0 - rate) ** (days / 365.0)
    return np.asarray(price * (1.0 - kept))[()]


def _columns(*columns: ArrayLike) -> tuple[Wholes, ...]:
    return tuple(np.asarray(column, dtype=np.int64) for column in columns)


def _share_of(value: int, part: int, of_so_many: int) -> int:
    """A part of a value to the nearest whole unit, halves up."""
    return (2 * value * part + of_so_many) // (2 * of_so_many)
