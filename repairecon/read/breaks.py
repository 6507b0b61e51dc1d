"""The ``breaks`` column of quotes.csv: lower prices for more packs, written ``10 at 9.80; 25 at 8.90``."""

from __future__ import annotations

import re

from repairecon.read import values
from repairecon.read.problems import shown
from repairecon.read.rows import Row
from repairecon.read.values import Misread
from repairecon.records import PriceBreak, Range

_BREAK = re.compile(r"(\S+)\s+at\s+(.+)", re.IGNORECASE)
_WRITE = "write packs and price as in 10 at 9.80; 25 at 8.90"


def price_breaks(row: Row, quoted: Range) -> tuple[PriceBreak, ...]:
    """The breaks in rising order of packs, prices falling; the first fault of a cell is told, and none are kept."""
    made: list[PriceBreak] = []
    for word in row.text("breaks").split(";"):
        if not word.strip():
            continue
        read = _one(word.strip())
        fault = read if isinstance(read, Misread) else _out_of_order(read, made, quoted)
        if fault is not None:
            row.fault("breaks", fault.found or shown(word), fault.write)
            return ()
        if isinstance(read, PriceBreak):
            made.append(read)
    return tuple(made)


def _one(word: str) -> PriceBreak | Misread:
    match = _BREAK.fullmatch(word)
    if not match:
        return Misread(_WRITE)
    packs, price = values.number(match[1], values.COUNT), values.number(match[2].strip(), values.MONEY)
    for read in (packs, price):
        if isinstance(read, Misread):
            return Misread(f"{read.write} (packs and price, as in 10 at 9.80)")
    if isinstance(packs, Misread) or isinstance(price, Misread):
        return Misread(_WRITE)
    return PriceBreak(int(packs), price)


def _out_of_order(one: PriceBreak, before: list[PriceBreak], quoted: Range) -> Misread | None:
    """What is wrong with a break after those before it."""
    least = before[-1].from_packs if before else 1
    dearest = before[-1].quoted if before else quoted.likely
    if one.from_packs <= least:
        found = f"{one.from_packs} packs after {least}"
        return Misread("write the breaks from few packs to many, from 2 packs on", found=found)
    if one.quoted > dearest and (before or quoted.high > 0):
        found = f"{values.plain(one.quoted)} from {one.from_packs} packs, above {values.plain(dearest)} for fewer"
        return Misread("write prices a pack that fall with more packs", found=found)
    return None
