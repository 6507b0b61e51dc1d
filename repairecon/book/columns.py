"""All movements as plain columns, for those who reckon with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from repairecon.book import history
from repairecon.book.ledger import Ledger
from repairecon.records import MOVEMENT_KINDS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

WHOLE = ("movement", "item", "quantity", "locker_from", "locker_to", "cost_unit", "unit", "hours", "undoes", "corrects")
_MISSING = {"cost_unit": -1, "hours": -1}


def columns(ledger: Ledger) -> dict[str, NDArray[np.generic]]:
    """One array a field, in the order in which the movements were written.

    Whole numbers as in the book: ``quantity`` and ``hours`` in thousandths, ``cost_unit`` in millionths of home money;
    0 for no locker, no unit, nothing undone or corrected; -1 for no cost, no hours. ``on_date`` and ``cure_date`` are
    days (NaT for none). ``kind`` is the place in ``records.MOVEMENT_KINDS``, ``lot`` and ``person`` are text.
    ``stands`` is False for what was undone and for counter-movements: the rows that stand alone give the same sums.
    """
    import numpy as np

    codes = " ".join(f"WHEN '{kind}' THEN {code}" for code, kind in enumerate(MOVEMENT_KINDS))
    whole = ", ".join(f"coalesce({name}, {_MISSING.get(name, 0)})" for name in WHOLE)
    with ledger.reading():
        numbers = ledger.rows(f"SELECT {whole}, CASE kind {codes} END FROM movements ORDER BY movement")
        texts = ledger.rows("SELECT on_date, cure_date, lot, person FROM movements ORDER BY movement")
        undone_by = history.undone(ledger)
    table = np.array(numbers, dtype=np.int64).reshape(-1, len(WHOLE) + 1)
    made: dict[str, NDArray[np.generic]] = {name: table[:, k].copy() for k, name in enumerate((*WHOLE, "kind"))}
    named = list(zip(*texts, strict=True)) if texts else [(), (), (), ()]
    for name, cells in zip(("on_date", "cure_date"), named[:2], strict=True):
        made[name] = np.array([cell or "NaT" for cell in cells], dtype="datetime64[D]")
    for name, cells in zip(("lot", "person"), named[2:], strict=True):
        made[name] = np.array(cells, dtype=object)
    stand = table[:, WHOLE.index("undoes")] == 0
    for movement in undone_by:
        if not history.stands(movement, undone_by):
            stand[movement - 1] = False  # movements are numbered from 1 without a gap
    made["stands"] = stand
    return made
