"""What is taken for granted of a unit, as rows in the columns of a case, beneath the owner's own.

The reader takes these rows as it takes the owner's; money is worked out from the three numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from functools import cache

from repairecon.read.columns import headings
from repairecon.read.files import HERE
from repairecon.read.problems import Problems
from repairecon.read.tables import Row, Table, read_table

FILES = ("tasks.csv", "events.csv", "looks.csv")
"""Files of a case that have rows beneath them."""

_CHARGES = {"share_of_kit": "cost", "share_of_new": "outside_cost"}


def default_rows(
    kind: str = "",  # noqa: ARG001
    symptom: str = "",  # noqa: ARG001
    price_new: float = 0.0,
    price_kit: float = 0.0,
) -> Mapping[str, list[Row]]:
    """Rows of each file of a case, by what is taken for granted.

    Parameters
    ----------
    kind, symptom
        What the unit is and what it does.
    price_new, price_kit
        Home money; shares of them become charges.

    Returns
    -------
    mapping
        Rows by file, in the columns of that file, with who says so in the column ``source``.
    """
    prices = {"share_of_kit": price_kit, "share_of_new": price_new}
    return {file: [_priced(row, prices) for row in _shipped(file).rows] for file in FILES}


@cache
def _shipped(name: str) -> Table:
    problems = Problems()
    file = f"default_{name}"
    table = read_table(HERE / file, file, headings(name, "defaults"), problems)
    problems.stop_if_any()
    return table


def _priced(row: Row, prices: Mapping[str, float]) -> Row:
    """The row with charges worked out of their shares, which stay beside them to be shown."""
    cells = dict(row.cells)
    for share, charge in _CHARGES.items():
        for end in ("low", "likely", "high"):
            if text := row.text(f"{share}_{end}"):
                product = str(Decimal(text) * Decimal(repr(prices[share])))
                cells[f"{charge}_{end}"] = product.rstrip("0").rstrip(".") if "." in product else product
    return replace(row, cells=cells, bad=set())
