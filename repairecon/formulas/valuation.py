"""What a store of spares is worth, and how long: first in first out, moving average, average of a period; shelf life.

A row is a movement, in the order in which they happened: a whole `quantity` above 0 comes in, below 0 goes out.
Quantities are whole numbers of the least unit counted (pieces, millilitres). Whole amounts of money (cents) stay whole
and exact; other amounts are floats. Every page gives the cost of each row with its sign: what it added to the
value or took from it. So the value at any date is the sum of the rows up to it, and nothing is lost. A move between
lockers is no purchase and no use: give it a quantity of 0. Days are day numbers, 1970-01-01 being 0.
"""

from __future__ import annotations

from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Wholes = NDArray[np.int64]
Amounts = NDArray[Any]
Floats = NDArray[np.float64]


def fifo(
    item: ArrayLike, quantity: ArrayLike, unit_cost: ArrayLike, period: ArrayLike | None = None
) -> tuple[Amounts, Wholes]:
    """Cost of each movement and what is left of each receipt, first in first out.

    Parameters
    ----------
    item, quantity : int array (rows,)
        Code of the item; units in (above 0) or out (below 0) [-].
    unit_cost : array (rows,)
        Landed cost of a unit that comes in; not read where units go out [home money, or its hundredths].
    period : int array (rows,) or None
        Number of the period a row falls in, never falling: the stock is then counted at the end of each
        only; None = perpetual, every row must find its units there [-].

    Returns
    -------
    cost, left : array (rows,), int array (rows,)
        What each row adds to the value, below 0 for an issue [as unit_cost]; units of each receipt still there [-].

    Notes
    -----
    The k-th unit out is the k-th that came in, by item over the whole boat. Perpetual and periodic give the same
    figures wherever both can be had. ValueError where more goes out than there is, naming the rows. Source: IAS 2
    Inventories, paragraphs 25 and 27 (from memory); OpenStax, Principles of Accounting, vol. 1, ch. 10.

    >>> [x.tolist() for x in fifo([1, 1, 1], [2, 2, -3], [10, 12, 0])]
    [[20, 24, -32], [0, 1, 0]]
    """
    code, amount, price = _columns(item, quantity, unit_cost)
    _refuse_overdrawn(code, amount, period)
    order = np.argsort(code, kind="stable")
    ins, outs = order[amount[order] > 0], order[amount[order] < 0]
    # one line of units for the whole boat, item after item; an item's issues start where its receipts start
    in_end, out_run = np.cumsum(amount[ins]), np.cumsum(-amount[outs])
    in_before = np.concatenate([[0], in_end])[np.searchsorted(code[ins], code[outs])]
    out_before = np.concatenate([[0], out_run])[np.searchsorted(code[outs], code[outs])]
    out_end = in_before + out_run - out_before
    out_start = out_end + amount[outs]
    # between two neighbouring ends all units share one receipt and one issue, or are still there
    ends = np.unique(np.concatenate([in_end, out_end]))
    start = np.concatenate([[0], ends[:-1]])[: len(ends)]
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
    item: ArrayLike,
    quantity: ArrayLike,
    unit_cost: ArrayLike,
    against: ArrayLike | None = None,
    counted: ArrayLike | None = None,
) -> Amounts:
    """Cost of each movement at the average of what is there at the time.

    Parameters
    ----------
    item, quantity, unit_cost : array (rows,)
        As for :func:`fifo`; the cost is not read for issues, returns and counts [home money, or its hundredths].
    against : int array (rows,) or None
        Earlier row that this one undoes: an issue that comes back, a receipt sent back; -1 = none [-].
    counted : bool array (rows,) or None
        Rows that bring the book to what was counted; they know no cost of their own.

    Returns
    -------
    array (rows,)
        What each row adds to the value (below 0 for an issue) [as unit_cost].

    Notes
    -----
    An issue takes ``value / stock`` a unit. What comes back from an issue comes in at what it went out at; what is sent
    back leaves at what it came in at, but never more than the value there, and with the last unit all of it. A counted
    surplus comes in at the present average (it is more of the same), or, if the book says none is there, at the last
    average known, else at 0. Whole money is shared to the nearest unit, the rest staying with what is left. ValueError
    where more goes out than there is, or comes back than went. Source: IAS 2 Inventories, paragraph 27 (from memory);
    returns and counts: common practice, no source.

    >>> moving_average([1, 1, 1], [2, 2, -1], [10, 12, 0]).tolist()
    [20, 24, -11]
    """
    code, amount, price = _columns(item, quantity, unit_cost)
    _refuse_overdrawn(code, amount, None)
    undone = _undone_rows(code, amount, against)
    found = np.zeros(len(amount), dtype=bool) if counted is None else np.asarray(counted, dtype=bool)
    zero = 0 if price.dtype.kind == "i" else 0.0
    stock: dict[int, int] = {}
    value: dict[int, Any] = {}
    last: dict[int, tuple[Any, int]] = {}
    cost: list[Any] = []
    rows = zip(code.tolist(), amount.tolist(), price.tolist(), undone.tolist(), found.tolist(), strict=True)
    for i, q, paid, back, surplus in rows:
        n, v = stock.get(i, 0), value.get(i, zero)
        if q == 0:
            change = zero
        elif back >= 0:
            change = _share_of(abs(cost[back]), abs(q), abs(int(amount[back])))
            change = change if q > 0 else -(min(change, v) if n + q else v)
        elif q < 0:
            change = -_share_of(v, -q, n) if n + q else -v
        elif surplus:
            known, units = (v, n) if n else last.get(i, (zero, 1))
            change = _share_of(known, q, units)
        else:
            change = q * paid
        if n + q:
            last[i] = (v + change, n + q)
        stock[i], value[i] = n + q, v + change if n + q else zero
        cost.append(change)
    return np.array(cost, dtype=price.dtype)


def period_average(item: ArrayLike, quantity: ArrayLike, unit_cost: ArrayLike, period: ArrayLike) -> Amounts:
    """Cost of each movement at the average of the period's opening stock and receipts.

    Parameters
    ----------
    item, quantity, unit_cost, period : array (rows,)
        As for :func:`fifo` [home money, or its hundredths].

    Returns
    -------
    array (rows,)
        What each row adds to the value (below 0 for an issue) [as unit_cost].

    Notes
    -----
    All issues of a period, early or late, take ``(opening value + receipts) / (opening stock + units received)``. Whole
    money is shared so that a period's issues and its closing value add up exactly. ValueError where more goes out by
    the end of a period than there is. Source: IAS 2 Inventories, paragraph 27 (from memory); OpenStax, Principles of
    Accounting, vol. 1, ch. 10.

    >>> period_average([1, 1, 1], [2, -1, 2], [10, 0, 12], [0, 0, 0]).tolist()
    [20, -11, 24]
    """
    code, amount, price = _columns(item, quantity, unit_cost)
    when = _refuse_overdrawn(code, amount, period)
    order = np.lexsort((np.arange(len(code)), when, code))
    items, periods = code[order].tolist(), when[order].tolist()
    units, prices = amount[order].tolist(), price[order].tolist()
    zero = 0 if price.dtype.kind == "i" else 0.0
    changes: list[Any] = []
    n, v, here = 0, zero, None
    for (item_now, _), run in groupby(range(len(order)), lambda k: (items[k], periods[k])):
        if item_now != here:
            n, v, here = 0, zero, item_now
        rows = list(run)
        paid = [units[k] * prices[k] if units[k] > 0 else zero for k in rows]
        n += sum(units[k] for k in rows if units[k] > 0)
        v += sum(paid)
        taken, booked = 0, zero
        for k, change in zip(rows, paid, strict=True):
            if units[k] < 0:
                taken -= units[k]
                upto = _share_of(v, taken, n)
                change, booked = booked - upto, upto
            changes.append(change)
        n, v = n - taken, v - booked
    cost = np.empty(len(order), dtype=price.dtype)
    cost[order] = changes
    return cost


def expiry_day(
    from_day: ArrayLike, initial_years: ArrayLike, extension_years: ArrayLike = 0.0, inspected: ArrayLike = False
) -> Floats:
    """Last day on which a stored part is in date.

    Parameters
    ----------
    from_day : float or array
        Day it is counted from; nan = not known [day].
    initial_years, extension_years : float or array
        Initial shelf life, and what an inspection at its end may add; inf = no limit [year].
    inspected : bool or array
        Whether it was inspected and found good, so that the extension holds.

    Returns
    -------
    float or array
        Day number; inf = never, nan = not known [day].

    Notes
    -----
    The same day of the month so many years on, or the month's last day where it has no such day. Parts of a year count
    by whole months, rounded down. The extension may be given once. Storage as the standard asks: cool, dark, dry, no
    ozone, unstressed; no table holds in a locker by a warm engine. ValueError for years below 0. Source: ISO 2230:2002,
    Rubber products: guidelines for storage, shelf life by groups A, B, C.

    >>> int(expiry_day(0.0, 5)), int(expiry_day(0.0, 5, 2, True))
    (1826, 2557)
    """
    start, initial, more, good = np.broadcast_arrays(
        np.asarray(from_day, dtype=float),
        np.asarray(initial_years, dtype=float),
        np.asarray(extension_years, dtype=float),
        np.asarray(inspected, dtype=bool),
    )
    if not (np.all(initial >= 0.0) and np.all(more >= 0.0)):
        raise ValueError("years of shelf life must be 0 or more")
    years = initial + np.where(good, more, 0.0)
    known = np.isfinite(start) & np.isfinite(years)
    days = _months_on(np.where(known, start, 0.0), np.floor(12.0 * np.where(known, years, 0.0) + 1e-6))
    ended = np.where(np.isinf(years) & ~np.isnan(start), np.inf, np.where(known, days, start))
    return np.asarray(ended)[()]


def _months_on(start: Floats, months: Floats) -> Floats:
    """The same day of the month so many months on, or that month's last day."""
    day = np.floor(start).astype(np.int64).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    within = (day - month.astype("datetime64[D]")).astype(np.int64)
    goal = month + months.astype(np.int64)
    last = ((goal + 1).astype("datetime64[D]") - goal.astype("datetime64[D]")).astype(np.int64) - 1
    first = goal.astype("datetime64[D]").astype(np.int64)
    return np.asarray((first + np.minimum(within, last)).astype(np.float64))


def cost_left_over(
    cost_unit: ArrayLike, expiry: ArrayLike, from_day: float, to_day: float, loss_rate: ArrayLike
) -> Floats:
    """What a unit loses that is carried through a period and not used.

    Parameters
    ----------
    cost_unit, expiry : float or array
        Price of a unit [home money]; last day in date, from :func:`expiry_day` [day].
    from_day, to_day : float
        First and last day of the period [day].
    loss_rate : float or array
        Share of its worth that a year takes for other reasons: resale, damp, money tied up [1/year].

    Returns
    -------
    float or array
        Cost [home money].

    Notes
    -----
    ``cost_unit (1 - (1 - lost)(1 - loss_rate)**(days / 365))``, ``lost`` being the period's share of the shelf life
    left, ``days / (expiry - from_day)``: 0 if it never runs out or that is unknown, 1 if it is over by the end.
    ValueError for a price below 0, a rate outside 0..1 and a period that ends before it begins. Common practice, no
    source (straight line over the time left).

    >>> cost_left_over(100.0, [365.0, np.inf, 20.0], 0, 73, 0.0).round(6).tolist()
    [20.0, 0.0, 100.0]
    """
    price, rate, days = np.asarray(cost_unit, dtype=float), np.asarray(loss_rate, dtype=float), to_day - from_day
    if not (np.all((price >= 0.0) & np.isfinite(price)) and np.all((rate >= 0.0) & (rate <= 1.0))):
        raise ValueError("a price must be a plain amount of 0 or more, a rate of loss lie in 0..1 (0.20 for 20 %)")
    if not days >= 0.0:
        raise ValueError("a period must last 0 or more days")
    left = np.asarray(expiry, dtype=float) - from_day
    lost = np.where(left > days, days / np.where(left > 0.0, left, 1.0), 1.0)
    kept = (1.0 - np.where(np.isnan(left), 0.0, lost)) * (1.0 - rate) ** (days / 365.0)
    return np.asarray(price * (1.0 - kept))[()]


def _undone_rows(item: Wholes, quantity: Wholes, against: ArrayLike | None) -> Wholes:
    """The rows that rows undo: earlier ones of the same item the other way, no more of each coming back than went."""
    if against is None:
        return np.full(len(item), -1, dtype=np.int64)
    undone = _whole(against, "against")
    rows = np.flatnonzero(undone >= 0)
    first = undone[rows]
    good = (first < rows) & (item[np.minimum(first, rows)] == item[rows])
    good &= quantity[np.minimum(first, rows)] * quantity[rows] < 0
    back = np.zeros(len(item), dtype=np.int64)
    np.add.at(back, first[good], np.abs(quantity[rows[good]]))
    good[good] = back[first[good]] <= np.abs(quantity[first[good]])
    if not np.all(good):
        raise ValueError(f"rows {_some(rows[~good])} undo what is no such earlier movement, or more than it moved")
    return undone


def _columns(item: ArrayLike, quantity: ArrayLike, unit_cost: ArrayLike) -> tuple[Wholes, Wholes, Amounts]:
    code, amount, price = _whole(item, "item"), _whole(quantity, "quantity"), _money(unit_cost)
    if not len(code) == len(amount) == len(price):
        raise ValueError("all columns of a ledger must be of the same length")
    return code, amount, price


def _refuse_overdrawn(code: Wholes, amount: Wholes, period: ArrayLike | None) -> Wholes:
    if period is None:
        when, order = np.zeros(len(code), dtype=np.int64), np.arange(len(code))
    else:
        when = _whole(period, "period")
        if len(when) != len(code) or np.any(np.diff(when) < 0):
            raise ValueError("give every row its period, in order")
        order = np.lexsort((-amount, when))
    short = order[_overdrawn(code[order], amount[order])]
    if len(short):
        raise ValueError(f"rows {_some(np.sort(short))} take out more than there is")
    return when


def _some(rows: Wholes) -> str:
    shown = ", ".join(map(str, rows[:10].tolist()))
    return shown if len(rows) <= 10 else f"{shown} and {len(rows) - 10} more"


def _overdrawn(code: Wholes, amount: Wholes) -> Wholes:
    """Rows after which the running balance of their item is below 0."""
    order = np.argsort(code, kind="stable")
    code, amount = code[order], amount[order]
    running = np.cumsum(amount)
    start = np.flatnonzero(np.r_[True, code[1:] != code[:-1]]) if len(code) else np.zeros(0, dtype=np.int64)
    before = np.repeat((running - amount)[start], np.diff(np.append(start, len(code))))
    return np.unique(order[(running - before < 0) & (amount < 0)])


def _whole(column: ArrayLike, name: str) -> Wholes:
    """A column of whole numbers."""
    values = np.asarray(column)
    if values.dtype.kind not in "iub" and not np.all(values == np.floor(values)):
        raise ValueError(f"the column {name} must hold whole numbers (count millilitres rather than litres)")
    return np.atleast_1d(values.astype(np.int64))


def _money(column: ArrayLike) -> Amounts:
    """A column of money: whole amounts stay whole, others become floats."""
    values = np.atleast_1d(np.asarray(column))
    exact = values.dtype.kind in "iub"
    values = values.astype(np.int64 if exact else np.float64)
    if not np.all((values >= 0) & np.isfinite(values)):
        raise ValueError("a unit cost must be a plain amount of 0 or more")
    return values


def _share_of(value: Any, part: int, of_so_many: int) -> Any:
    """A part of a value; a whole value is shared to the nearest whole unit, halves up."""
    if isinstance(value, int):
        return (2 * value * part + of_so_many) // (2 * of_so_many)
    return value * (part / of_so_many)
