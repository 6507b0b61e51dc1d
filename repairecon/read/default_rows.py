"""What is taken for granted of a unit, as rows in the columns of a case, beneath the owner's own.

The reader takes these rows as it takes the owner's. What is known of the kind comes
first, else what holds for any unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cache

from repairecon.kinds import SymptomMatch, kinds
from repairecon.kinds.case_rows import case_rows
from repairecon.read.columns import ENDS, headings
from repairecon.read.defaults import Defaults
from repairecon.read.files import HERE
from repairecon.read.problems import Problems
from repairecon.read.tables import NOTHING, Row, Table, read_table
from repairecon.records import Range

FILES = ("parts.csv", "tasks.csv", "events.csv", "looks.csv", "remedies.csv", "ways.csv")
"""Files of a case that may have rows beneath them."""

_SHIPPED = ("tasks.csv", "events.csv", "looks.csv")
_CHARGES = {"share_of_kit": "cost", "share_of_new": "outside_cost"}
_WAYS = ("rebuild", "new", "buy and rebuild", "rebuild and spare")
"""Kinds of way of any unit, as ``name.*`` in the defaults names them."""

_NEVER = "carry on as it is"


@dataclass(frozen=True)
class Beneath:
    """Default rows by file, with who says so in ``source``; what the symptom says is found already."""

    files: Mapping[str, list[Row]] = field(default_factory=dict)
    found: str = ""
    price_first: str = ""


def default_rows(
    kind: str = "",
    symptom: SymptomMatch | None = None,
    price_new: Range | None = None,
    price_kit: Range | None = None,
    own: bool = True,
) -> Beneath:
    """Rows of each file of a case, by what is taken for granted.

    Parameters
    ----------
    kind, symptom
        The kind of unit, empty where none is known, and what the owner's sentence was taken for.
    price_new, price_kit
        Home money; shares of them become charges.
    own
        Whether an own rebuild may be advised at all.

    Returns
    -------
    Beneath
        Rows in the columns of their files.
    """
    if kind not in kinds():
        return Beneath(_of_any_unit(price_new or NOTHING, price_kit or NOTHING))
    known = case_rows(kind, symptom, price_new or NOTHING, price_kit, own=own)
    rows = {f"{what}.csv": list(cells) for what, cells in known.files.items()}
    if known.never:
        reason = {"way": _NEVER, "kind": "carry on", "never": "yes", "note": known.never, "source": known.never}
        rows["ways.csv"].append(reason)
    files = {file: [_row(file, nth, cells) for nth, cells in enumerate(some, 1)] for file, some in rows.items()}
    return Beneath(files, known.found, known.price_first)


def _row(file: str, nth: int, cells: Mapping[str, str]) -> Row:
    declared = headings(file, "defaults")
    filled = {**dict.fromkeys(declared.columns, ""), **cells}
    return Row(file=f"default_{file}", row=nth, cells=filled, problems=Problems(), declared=declared.declared)


def _of_any_unit(price_new: Range, price_kit: Range) -> dict[str, list[Row]]:
    prices = {"share_of_kit": price_kit.likely, "share_of_new": price_new.likely}
    files = {file: [_priced(row, prices) for row in _shipped(file).rows] for file in _SHIPPED}
    names = {kind: str(Defaults().peek(f"name.{kind}")) for kind in _WAYS}
    bought = {"buy and rebuild": names["new"], "rebuild and spare": names["new"]}
    rows = [{"way": name, "kind": kind, "bought": bought.get(kind, "")} for kind, name in names.items()]
    source = {"source": "assumed, no source: no ways.csv"}
    return {**files, "ways.csv": [_row("ways.csv", nth, row | source) for nth, row in enumerate(rows, 1)]}


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
        for end in ENDS:
            if text := row.text(f"{share}_{end}"):
                product = str(Decimal(text) * Decimal(repr(prices[share])))
                cells[f"{charge}_{end}"] = product.rstrip("0").rstrip(".") if "." in product else product
    return replace(row, cells=cells, bad=set())
