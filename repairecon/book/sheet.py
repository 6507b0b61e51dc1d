"""An owner's own list of spares: which column is what, and its cells as the book takes them."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from repairecon.book.amounts import MONEY, QUANTITY, Scale, month_or_day, scaled, words
from repairecon.read import values
from repairecon.read.problems import SURE, closest, key
from repairecon.read.values import Limits, Misread
from repairecon.records import MEASURES, SHELF_GROUPS, BookError

Cell = str | float | int | datetime.date | None

WORDS: Mapping[str, str] = {
    "name": "item, name, part, spare, part name, item name, description",
    "system": "system, group, area",
    "units": "units, unit, used in, fits, equipment, where used",
    "makers_number": "maker's number, makers number, part number, part no, number, reference number",
    "cross_reference": "cross-reference, cross reference, other numbers, equivalent",
    "designation": "designation, standard size, size, dimensions",
    "material": "material, rubber",
    "measure": "measure, unit of measure, counted in",
    "minimum": "minimum, minimum holding, minimum quantity, min, min qty, least, reorder level",
    "locker": "locker, stowage, location, place, where, stowed",
    "shelf_group": "shelf group, shelf_group, storage group",
    "critical": "critical, critical item, essential",
    "needs": "needs, tools, tools needed, tools and gaskets, tools and gaskets needed",
    "weight_kg": "weight_kg, weight, kg, weight kg",
    "volume_litres": "volume_litres, volume, litres, room",
    "resale_rate": "resale_rate, resale, resale share",
    "note": "note, notes, remarks, condition, comment",
    "quantity": "quantity, qty, stock, in stock, aboard, on board, count, pieces, pcs",
    "cost_unit": "cost, price, cost_unit, unit cost, unit price, price each, cost each, paid",
    "supplier": "supplier, bought from, from, person",
    "bought_on": "bought, bought on, date bought, purchased, purchase date",
    "cure_date": "cure date, cure_date, cured, date of rubber",
    "lot": "lot, batch",
}
"""Fields of a list with the headings that surely mean them; common practice of owners' lists, no source."""

_REST = re.compile(r"[^a-z0-9 ]+")


def _bare(heading: object) -> str:
    return " ".join(_REST.sub(" ", key(str(heading)).replace("'s", "s")).split())


def guess_columns(headings: Sequence[object]) -> dict[str, str]:
    """The heading that each field is taken from, where one surely means it; each heading is used once."""
    left = {_bare(h): str(h) for h in reversed(list(headings)) if _bare(h)}
    found: dict[str, str] = {}
    for cutoff in (1.0, SURE):  # what is written right first, then what is misspelt
        for field, listed in WORDS.items():
            if field in found:
                continue
            for meant in map(_bare, listed.split(",")):
                near = meant if meant in left else closest(meant, left, cutoff) if cutoff < 1.0 else ""
                if near:
                    found[field] = left.pop(near)
                    break
    return {field: found[field] for field in WORDS if field in found}


def as_text(cell: Cell | object) -> str:
    """A cell as an owner would type it."""
    if cell is None or cell != cell:  # an empty cell of a table of numbers is no number
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime.datetime):
        return cell.date().isoformat()
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    if isinstance(cell, int | float):
        return values.plain(cell)
    return " ".join(str(cell).split())


def _number(text: str, scale: Scale) -> str | Misread:
    read = values.number(text, Limits(0.0, scale.largest))
    if isinstance(read, Misread):
        return read
    found = scaled(text, scale)
    return found if isinstance(found, Misread) else text


def _one_of(options: Sequence[str]) -> Callable[[str], str | Misread]:
    def read(text: str) -> str | Misread:
        found = next((o for o in options if o and o.casefold() == text.casefold()), None)
        return found or Misread(f"write one of: {', '.join(o for o in options if o)}")

    return read


def _cure(text: str) -> str | Misread:
    try:
        return month_or_day(text)
    except BookError as error:
        return Misread(str(error).split("; ")[-1])


def _limited(limits: Limits) -> Callable[[str], float | Misread]:
    return lambda text: values.number(text, limits)


_READERS: Mapping[str, Callable[[str], Any]] = {
    "quantity": lambda text: _number(text, QUANTITY),
    "minimum": lambda text: _number(text, QUANTITY),
    "cost_unit": lambda text: _number(text, MONEY),
    "critical": values.yes_no,
    "measure": _one_of(MEASURES),
    "shelf_group": _one_of(SHELF_GROUPS),
    "weight_kg": _limited(Limits(0.0, 1e6)),
    "volume_litres": _limited(Limits(0.0, 1e6)),
    "resale_rate": _limited(values.FRACTION),
    "bought_on": values.date,
    "cure_date": _cure,
}


def read_cell(field: str, cell: Cell | object) -> Any:
    """The value of a cell, a ``Misread`` if it cannot be taken, an empty string if blank."""
    text = as_text(cell)
    if not text:
        return ""
    reader = _READERS.get(field)
    if reader is not None:
        return reader(text)
    try:
        return words(text, field)
    except BookError as error:
        return Misread(str(error).split("; ")[-1])
