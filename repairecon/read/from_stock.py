"""Spares aboard beneath a case: a part that lies there costs what replacing it costs and needs no wait.

A piece is the wanted one if its standard size is the same, every word of it understood; else by its name, where one of
the two has no size: seal, shaft, raw water pump is the shaft seal of the raw water pump.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from math import exp

from repairecon.read.columns import FILES
from repairecon.read.defaults import Defaults
from repairecon.read.problems import Problems, key
from repairecon.read.tables import Row, Table
from repairecon.read.values import plain
from repairecon.records import DAYS_A_YEAR, FromStock, OnHand, Part, Unit
from repairecon.standards.equivalents import equivalent

_WORD = re.compile(r"\w+")
FIT_SPARE = "fit the spare aboard"


def lay_stock(
    stock: Sequence[OnHand], unit: Unit, tables: dict[str, Table], today: date, *, only_say: bool = False
) -> tuple[FromStock, ...]:
    """Take what lies aboard in date into the parts, quotes and ways of a case, whose changed ``tables`` are replaced.

    A spare's years on the shelf are counted to ``today``. ``only_say`` leaves the tables as they are: an order is for
    what is not there, at the prices quoted. Whole units come last in what is returned.
    """
    left, taken, rows = list(stock), [], []
    for row in tables["parts.csv"].rows:
        found = next((x for x in left if not x.whole and is_part(x, row, unit)), None)
        if found is not None:
            left.remove(found)
            wanted = _wanted(row, tables["events.csv"].rows)
            at_once = found.quantity >= wanted and (found.price is not None or row.has_range("price"))
            taken.append(FromStock(part=row.text("part"), item=found.item, have=found.quantity, wanted=wanted,
                                   at_once=at_once))  # fmt: skip
            if at_once:  # at what replacing the piece costs, without a wait
                cells = {"lead_days_low": "", "lead_days_likely": "0", "lead_days_high": "", "lead_days_shape": ""}
                if found.price is not None:
                    cells |= {"price_likely": plain(found.price), "vat": "in"}
                    cells |= {"price_low": "", "price_high": "", "price_shape": ""}
                row = replace(row, cells={**row.cells, **cells})
        rows.append(row)
    if only_say:
        return tuple(taken)
    covered = {key(x.part) for x in taken if x.at_once}
    quotes = [q for q in tables["quotes.csv"].rows if key(q.text("item")) not in covered]
    tables["parts.csv"] = replace(tables["parts.csv"], rows=rows)
    tables["quotes.csv"] = replace(tables["quotes.csv"], rows=quotes)
    spare = next((x for x in left if x.whole and _serves(x, unit)), None)
    if spare is not None:
        ways = tables["ways.csv"]
        tables["ways.csv"] = replace(ways, rows=[*ways.rows, *_fit(spare, ways, today)])
        taken.append(FromStock(part=unit.name, item=spare.item, have=spare.quantity, wanted=1, at_once=True))
    return tuple(taken)


def is_part(x: OnHand, row: Row, unit: Unit) -> bool:
    """Whether a spare is the part of a row."""
    words = {name: row.text(name) for name in ("part", "standard_size", "fluid", "material")}
    part = Part(**words, description="",  # type: ignore[arg-type]
                quantity=1, needed="", price=None, lead_days=None, source=row.source,
                makers_only=bool(row.yes("makers_only")))  # fmt: skip
    return same_part(x, part, unit)


def same_part(x: OnHand, part: Part, unit: Unit) -> bool:
    """Whether a spare is a part of a failed unit."""
    size, alike = part.standard_size, _serves(x, unit) and named_alike(x.item, part.part, f"{unit.name} {unit.kind}")
    if part.makers_only and not x.makers_number:
        return False
    if not size or not x.designation:
        return alike
    same = equivalent(size, x.designation, fluid=part.fluid, material_wanted=part.material, material_offered=x.material)
    if same.verdict != "unknown":
        return same.verdict == "same"
    return key(size) == key(x.designation) and alike


def named_alike(item: str, part: str, unit: str) -> bool:
    """Whether two names hold the same words, whatever their order, those of the unit left out."""
    return _words(item) - _words(unit) == _words(part) - _words(unit) != set()


def _serves(x: OnHand, unit: Unit) -> bool:
    """Whether a spare is for the failed unit, by its card."""
    return bool({key(u) for u in x.units} & {key(unit.name), key(unit.kind)} - {""})


def _words(text: str) -> set[str]:
    return {w.rstrip("s") for w in _WORD.findall(text.casefold())}


def _wanted(row: Row, tree: Sequence[Row]) -> int:
    """Pieces that the rebuild takes at most: those of the row, and as many as any outcome brings."""
    named = re.compile(rf"\b(\d+)\s+{re.escape(key(row.text('part')))}\s*(?:;|$)")
    brought = (int(n) for branch in tree for n in named.findall(key(branch.text("parts"))))
    return max(row.whole("quantity") or 1, *brought, 1)


def _fit(x: OnHand, table: Table, today: date) -> list[Row]:
    """The way of fitting the spare, unless the owner wrote one."""
    if any(row.choice("kind") == "own spare" for row in table.rows):
        return []
    declared = FILES["ways.csv"]
    cells = dict.fromkeys(declared.columns, "") | {
        "way": FIT_SPARE, "kind": "own spare", "price_likely": "" if x.price is None else plain(x.price),
        "lead_days_likely": "0", "p_dead": plain(p_dead(x, today)), "note": f"{x.item}, in the spares book",
    }  # fmt: skip
    return [Row(file="spares.book", row=0, cells=cells, problems=Problems(), declared=declared.declared)]


def p_dead(x: OnHand, today: date) -> float:
    """Chance that a spare is dead when it is fitted, by its years on the shelf: ``1 - exp(-(t / life)**shape)``."""
    defaults = Defaults()
    life, shape = float(defaults.peek("shelf_life_years")), float(defaults.peek("shelf_shape"))
    years = max((today - date.fromisoformat(x.since)).days, 0) / DAYS_A_YEAR
    return 1.0 - exp(-((years / life) ** shape))
