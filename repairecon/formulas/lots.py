"""Lots of spares from locker to locker: which receipt each unit comes from, where it lies, what it cost.

The columns are those of `ledger`. A lot is named by the row of its receipt, so its date, cure date and
supplier are found there whatever locker it has come to.
"""

from __future__ import annotations

from heapq import heappop, heappush
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from repairecon.formulas.ledger import Amounts, Wholes, money, whole
from repairecon.formulas.valuation import undone_rows


class Lots(NamedTuple):
    """What is there, a row a lot and locker, and what each movement cost."""

    row: Wholes
    """Row of the receipt that the lot came with."""
    item: Wholes
    place: Wholes
    quantity: Wholes
    unit_cost: Amounts
    """Cost of a unit of it [as given]."""
    cost: Amounts
    """For every row of the ledger what it adds to the value; below 0 for an issue, 0 for a move."""


class _Shelf:
    """One item in one locker: units by lot, the oldest on top."""

    def __init__(self) -> None:
        self.units: dict[int, int] = {}
        self._heap: list[int] = []

    def put(self, lot: int, units: int) -> None:
        if lot not in self.units:
            heappush(self._heap, lot)
        self.units[lot] = self.units.get(lot, 0) + units

    def take_oldest(self, wanted: int) -> tuple[list[tuple[int, int]], int]:
        """Pieces taken, oldest lot first, and how many are missing."""
        pieces = []
        while wanted and self._heap:
            lot = self._heap[0]
            here = self.units[lot]
            taken = min(here, wanted)
            if taken == here:
                heappop(self._heap)
                del self.units[lot]
            else:
                self.units[lot] = here - taken
            if taken:
                pieces.append((lot, taken))
                wanted -= taken
        return pieces, wanted

    def take_lot(self, lot: int, wanted: int) -> tuple[list[tuple[int, int]], int]:
        """The same from one lot; it stays on the heap, at 0, until it comes to the top."""
        taken = min(self.units.get(lot, 0), wanted)
        if taken:
            self.units[lot] -= taken
        return [(lot, taken)], wanted - taken


def stock_lots(
    item: ArrayLike,
    quantity: ArrayLike,
    unit_cost: ArrayLike,
    place: ArrayLike | None = None,
    to_place: ArrayLike | None = None,
    against: ArrayLike | None = None,
    counted: ArrayLike | None = None,
) -> Lots:
    """Lots left, by locker, and the cost of each movement: the oldest goes first, or the lot that is named.

    Parameters
    ----------
    item : int array (rows,)
        Code of the item [-].
    quantity : int array (rows,)
        Units in (above 0) or out (below 0) [-]; of a move, below 0.
    unit_cost : array (rows,)
        Landed cost of a unit that comes in; not read for issues, moves, returns and counts
        [home money, or its hundredths].
    place : int array (rows,) or None
        Code of the locker it comes into or is taken from; None = the whole boat is one place [-].
    to_place : int array (rows,) or None
        Locker that a move goes to; -1 = the row is no move; None = no moves [-].
    against : int array (rows,) or None
        A row that goes out or moves: row of the receipt whose lot it takes (specific identification, or a
        purchase sent back). A row that comes in: the issue that comes back. -1 = none [-].
    counted : bool array (rows,) or None
        Rows that bring the book to what was counted; they know no cost of their own.

    Returns
    -------
    Lots
        Lots left, by item, receipt and locker, and the cost of each row [home money, or its hundredths].

    Notes
    -----
    The oldest lot *in that locker* goes first; a move takes the lot's age and cost along and changes no value. What
    comes back goes into the lots it was taken from, the last taken first. A counted surplus is a new lot at the cost
    of the item's latest receipt (the likeliest to have been miscounted), at 0 if there was none; a counted
    shortage goes out like an issue. ValueError naming the row, where a locker or lot holds less than is taken.

    References
    ----------
    IAS 2 Inventories, paragraphs 23 to 27 (from memory); returns and counts: common practice, no source.

    Examples
    --------
    >>> held = stock_lots([1, 1, 1], [2, 2, -1], [10, 12, 0], against=[-1, -1, 1])
    >>> held.cost.tolist(), held.row.tolist(), held.quantity.tolist()
    ([20, 24, -12], [0, 1], [2, 1])
    """
    code, amount, price = whole(item, "item"), whole(quantity, "quantity"), money(unit_cost)
    size = len(code)
    where = np.zeros(size, dtype=np.int64) if place is None else whole(place, "place")
    to = np.full(size, -1, dtype=np.int64) if to_place is None else whole(to_place, "to_place")
    named = np.full(size, -1, dtype=np.int64) if against is None else whole(against, "against")
    found = np.zeros(size, dtype=bool) if counted is None else np.asarray(counted, dtype=bool)
    if not len(amount) == len(price) == len(where) == len(to) == len(named) == len(found) == size:
        raise ValueError("all columns of a ledger must be of the same length")
    if np.any((to >= 0) & (amount > 0)):
        raise ValueError("a move is written with a quantity below 0")
    undone_rows(code, amount, np.where(amount > 0, named, -1))
    walk = _Walk(price.tolist(), set(named[amount > 0].tolist()))
    columns = (code, amount, where, to, named, found)
    for row, values in enumerate(zip(*(c.tolist() for c in columns), strict=True)):
        walk.step(row, *values)
    return walk.lots(price.dtype)


class _Walk:
    """Where every unit lies after the rows walked so far."""

    def __init__(self, price: list[Any], come_back: set[int]) -> None:
        self._price, self._come_back = price, come_back
        self._shelves: dict[tuple[int, int], _Shelf] = {}
        self._item: dict[int, int] = {}
        self._latest: dict[int, Any] = {}
        self._taken: dict[int, list[tuple[int, int]]] = {}
        self._cost: list[Any] = []

    def step(self, row: int, item: int, units: int, place: int, to: int, named: int, counted: bool) -> None:
        shelf = self._shelves.get((item, place))
        if shelf is None:
            shelf = self._shelves[item, place] = _Shelf()
        if units > 0:
            pieces = self._receive(row, item, units, named, counted)
            for lot, count in pieces:
                shelf.put(lot, count)
            self._cost.append(sum(count * self._price[lot] for lot, count in pieces))
            return
        pieces, missing = shelf.take_lot(named, -units) if named >= 0 else shelf.take_oldest(-units)
        if missing:
            what = f"of the lot of row {named} " if named >= 0 else ""
            raise ValueError(f"row {row} takes {missing} more {what}than there is in that place")
        if to >= 0:
            goal = self._shelves.setdefault((item, to), _Shelf())
            for lot, count in pieces:
                goal.put(lot, count)
            self._cost.append(0)
            return
        if row in self._come_back:
            self._taken[row] = pieces
        self._cost.append(-sum(count * self._price[lot] for lot, count in pieces))

    def _receive(self, row: int, item: int, units: int, named: int, counted: bool) -> list[tuple[int, int]]:
        if named >= 0:
            return self._come(named, units)
        if counted:
            self._price[row] = self._latest.get(item, 0)
        else:
            self._latest[item] = self._price[row]
        self._item[row] = item
        return [(row, units)]

    def _come(self, issue: int, units: int) -> list[tuple[int, int]]:
        """The last pieces of an issue."""
        if issue not in self._taken:
            raise ValueError(f"row {issue} is a move and cannot come back as an issue does")
        pieces, back = self._taken[issue], []
        while units:
            lot, count = pieces.pop()
            taken = min(count, units)
            if count > taken:
                pieces.append((lot, count - taken))
            back.append((lot, taken))
            units -= taken
        return back

    def lots(self, kind: Any) -> Lots:
        left = sorted(
            (item, lot, place, count)
            for (item, place), shelf in self._shelves.items()
            for lot, count in shelf.units.items()
            if count
        )
        item, row, place, quantity = np.array(left, dtype=np.int64).reshape(-1, 4).T
        unit_cost = np.array([self._price[lot] for lot in row.tolist()], dtype=kind)
        return Lots(row, item, place, quantity, unit_cost, np.array(self._cost, dtype=kind))
