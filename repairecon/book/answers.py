"""The side of the spares book that is only read: what its movements add up to."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from repairecon.book import columns, history, lots_read, reordering, stock, taking, things
from repairecon.book.ledger import Ledger
from repairecon.records import Found, Lot, Movement, ReorderLine, StockLine

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Answers:
    """Questions to an open book."""

    ledger: Ledger

    def stock(self, item: str | None = None) -> tuple[StockLine, ...]:
        """How many of each item lie in each locker."""
        return stock.lines(self.ledger, None if item is None else things.find(self.ledger, "item", item))

    def search(self, words: str) -> tuple[Found, ...]:
        """Items on whose card, or in whose locker, all these words stand, each with where it lies."""
        return stock.search(self.ledger, words)

    def lots(self, item: str | None = None) -> tuple[Lot, ...]:
        """What is left of each lot in each place, the oldest taken first; their sum is the stock."""
        return lots_read.lots(self.ledger, None if item is None else things.find(self.ledger, "item", item))

    def reorder_list(self) -> tuple[ReorderLine, ...]:
        """Items under their minimum aboard, critical ones first, with supplier and price of the last purchase."""
        return reordering.reorder(self.ledger)

    def movements(self, item: str | None = None) -> tuple[Movement, ...]:
        """Movements of one item or of all, in the order in which they were written."""
        if item is None:
            return history.movements(self.ledger)
        return history.movements(self.ledger, "item = ?", (things.find(self.ledger, "item", item),))

    def columns(self) -> dict[str, NDArray[np.generic]]:
        """All movements as one array a field, fast for many; see ``files/book/columns.py``."""
        return columns.columns(self.ledger)

    def unit_history(self, unit: str) -> tuple[Movement, ...]:
        """What was fitted to a unit and stands, by date."""
        return history.unit_history(self.ledger, things.find(self.ledger, "unit", unit))

    def last_bought(self, item: str) -> Movement | None:
        """The newest purchase of an item that stands."""
        number = history.last_bought(self.ledger, things.find(self.ledger, "item", item))
        return None if number is None else history.movements(self.ledger, "movement = ?", (number,))[0]

    def lent(self, item: str) -> dict[str, Decimal]:
        """How many of an item each borrower has."""
        return taking.out_with(self.ledger, things.find(self.ledger, "item", item))
