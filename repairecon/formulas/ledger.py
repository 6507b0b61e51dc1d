"""A ledger of spares in columns, a row a movement: where it goes below nothing, exact sums by a code."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Wholes = NDArray[np.int64]
Amounts = NDArray[Any]


def overdrawn(item: ArrayLike, quantity: ArrayLike) -> Wholes:
    """Rows that take out more than there is.

    Parameters
    ----------
    item : int array (rows,)
        Code of the item [-].
    quantity : int array (rows,)
        Units in (above 0) or out (below 0) [-].

    Returns
    -------
    int array
        Numbers of these rows, in order [-].

    Notes
    -----
    The running balance by item is below 0 after them. ValueError for columns of unlike length and quantities that are
    not whole.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> overdrawn([7, 7, 7], [2, -1, -3]).tolist()
    [2]
    """
    code, amount = whole(item, "item"), whole(quantity, "quantity")
    if len(code) != len(amount):
        raise ValueError("all columns of a ledger must be of the same length")
    order = np.argsort(code, kind="stable")
    code, amount = code[order], amount[order]
    running = np.cumsum(amount)
    start = np.flatnonzero(np.r_[True, code[1:] != code[:-1]]) if len(code) else np.zeros(0, dtype=np.int64)
    before = np.repeat((running - amount)[start], np.diff(np.append(start, len(code))))
    return np.unique(order[(running - before < 0) & (amount < 0)])


def total_by(code: ArrayLike, amount: ArrayLike) -> tuple[Wholes, Amounts]:
    """Sums of an amount by a code: value by item, by locker, by system.

    Parameters
    ----------
    code : int array (rows,)
        What to sum by [-].
    amount : array (rows,)
        What to sum; whole numbers stay exact [any].

    Returns
    -------
    codes : int array (groups,)
        The codes that occur, in order [-].
    totals : array (groups,)
        Sum of each [as amount].

    Notes
    -----
    ValueError for columns of unlike length.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> [x.tolist() for x in total_by([4, 2, 4], [100, 5, -30])]
    [[2, 4], [5, 70]]
    """
    group, values = whole(code, "code"), np.asarray(amount)
    if len(group) != len(values):
        raise ValueError("all columns of a ledger must be of the same length")
    codes, at = np.unique(group, return_inverse=True)
    totals = np.zeros(len(codes), dtype=np.int64 if values.dtype.kind in "iub" else np.float64)
    np.add.at(totals, at, values)
    return codes, totals


def whole(column: ArrayLike, name: str) -> Wholes:
    """A column of whole numbers.

    Parameters
    ----------
    column : array (rows,)
        The numbers [any].
    name : str
        What they are, for the message.

    Returns
    -------
    int array (rows,)
        The same [any].

    Notes
    -----
    ValueError for numbers that are not whole.

    References
    ----------
    Common practice, no source.
    """
    values = np.asarray(column)
    if values.dtype.kind not in "iub" and not np.all(values == np.floor(values)):
        raise ValueError(f"the column {name} must hold whole numbers (count millilitres rather than litres)")
    return np.atleast_1d(values.astype(np.int64))


def money(column: ArrayLike) -> Amounts:
    """A column of money: whole amounts stay whole, others become floats.

    Parameters
    ----------
    column : array (rows,)
        Amounts of 0 or more [home money, or its hundredths as whole numbers].

    Returns
    -------
    array (rows,)
        The same [as given].

    Notes
    -----
    ValueError for an amount below 0 or without end.

    References
    ----------
    Common practice, no source.
    """
    values = np.atleast_1d(np.asarray(column))
    exact = values.dtype.kind in "iub"
    values = values.astype(np.int64 if exact else np.float64)
    if not np.all((values >= 0) & np.isfinite(values)):
        raise ValueError("a unit cost must be a plain amount of 0 or more")
    return values


def share_of(value: Any, part: int, whole_number: int) -> Any:
    """A part of a value: exact to the whole unit of money where the value is whole.

    Parameters
    ----------
    value : int or float
        Value of all [home money, or its hundredths as whole numbers].
    part, whole_number : int
        How many of how many [-].

    Returns
    -------
    int or float
        Value of the part [as given]; a whole value is shared to the nearest whole unit, halves up.

    Notes
    -----
    ``value part / whole_number``; the rest stays with the rest, so nothing is lost.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> share_of(100, 1, 3), share_of(100.0, 1, 4)
    (33, 25.0)
    """
    if isinstance(value, int):
        return (2 * value * part + whole_number) // (2 * whole_number)
    return value * (part / whole_number)
