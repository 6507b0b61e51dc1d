"""What is taken for granted of a unit, of its kind or of any, as rows of a case beneath the owner's own.

A row of the owner's replaces the default of the same key and leaves the others.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from functools import cache
from itertools import product

from repairecon.kinds import SymptomMatch, kinds, match_symptom
from repairecon.kinds.case_rows import case_rows
from repairecon.read.columns import ENDS, headings
from repairecon.read.events import TOLERANCE
from repairecon.read.files import HERE
from repairecon.read.problems import Problems, key
from repairecon.read.reading import Reading, named_rows
from repairecon.read.tables import NOTHING, Row, Table, read_table
from repairecon.read.values import pair
from repairecon.read.ways import fits
from repairecon.records import Range, Unit, grouped

_SHIPPED = ("ways.csv", "tasks.csv", "events.csv", "looks.csv")
_REST = (*_SHIPPED[1:], "remedies.csv")
_CHARGES = {"share_of_kit": "cost", "share_of_new": "outside_cost"}
_KEYS: Mapping[str, tuple[str, ...]] = {
    "parts.csv": ("part",), "tasks.csv": ("task",), "looks.csv": ("look",), "ways.csv": ("kind",),
    "remedies.csv": ("event", "outcome", "remedy"),
}  # fmt: skip
"""Columns that tell which default a row replaces; events have a way of their own."""


def default_rows(
    kind: str = "", symptom: SymptomMatch | None = None, price_new: Range | None = None,
    price_kit: Range | None = None, own: bool = True,
) -> tuple[dict[str, list[Row]], str]:  # fmt: skip
    """Rows of each file of a case, in its columns, by what is taken for granted; and what the symptom says is found.

    ``kind`` and ``symptom`` are empty where none is known; shares of prices become charges; ``own`` rebuilds or not.
    """
    new = price_new or NOTHING
    if kind in kinds():
        known, found = case_rows(kind, symptom, new, price_kit, own=own)
        return {file: _rows(file, rows) for file, rows in known.items()}, found
    prices = {"share_of_kit": (price_kit or NOTHING).likely, "share_of_new": new.likely}
    return {file: [_priced(row, prices) for row in _shipped(file).rows] for file in _SHIPPED}, ""


def _rows(file: str, rows: Iterable[Mapping[str, str]]) -> list[Row]:
    declared = headings(file, "defaults")
    blank = dict.fromkeys(declared.columns, "")
    return [
        Row(file=f"default_{file}", row=nth, cells={**blank, **cells}, problems=Problems(), declared=declared.declared)
        for nth, cells in enumerate(rows, 1)
    ]


@cache
def _shipped(name: str) -> Table:
    file = f"default_{name}"
    return read_table(HERE / file, file, headings(name, "defaults"), Problems())


def _priced(row: Row, prices: Mapping[str, float]) -> Row:
    """The row with charges worked out of their shares, which stay beside them to be shown."""
    cells = dict(row.cells)
    for (share, charge), end in product(_CHARGES.items(), ENDS):
        if text := row.text(f"{share}_{end}"):
            money = str(Decimal(text) * Decimal(repr(prices[share])))
            cells[f"{charge}_{end}"] = money.rstrip("0").rstrip(".") if "." in money else money
    return replace(row, cells=cells, bad=set())


class Layers:
    """The owner's rows over the default ones, and what was replaced or dropped; old decisions: of any unit."""

    def __init__(self, reading: Reading, unit: Unit, without: Collection[str], found: str = "") -> None:
        self.reading, self.without = reading, without
        self.replaced: list[str] = []
        self.dropped: list[str] = []
        self.kind = unit.kind if unit.kind in kinds() and not reading.as_decided and not reading.ordering else ""
        heard = "; ".join(filter(None, (unit.symptom, found)))
        self.symptom = match_symptom(self.kind, heard) if self.kind and heard else None
        self.own = unit.own_rebuild != "licensed practice only" or unit.waived
        self.beneath: dict[str, list[Row]] = {}
        self.found = ""

    @property
    def parts(self) -> list[Row]:
        """Default parts, where the kind has a price for the kit."""
        return self._mine("parts.csv")

    def ways(self, bare: Mapping[str, float]) -> list[tuple[Row, str]]:
        """The ways with their names, which the reading keeps; ``bare`` are quoted prices by item."""
        reading, table = self.reading, self.reading.tables["ways.csv"]
        kit = NOTHING if reading.tables["parts.csv"].given else reading.three.price_kit
        self.beneath, self.found = default_rows(self.kind, self.symptom, self._price_new(bare), kit, self.own)
        rows = self._laid("ways.csv")
        kitted = kit is not None or bool(self.parts)
        for _ in range(2 if table.given else 0):  # a pair goes with the way that it buys
            rows = self._only("ways.csv", rows, [r for r in rows if not r.assumed or fits(reading, r, rows, kitted)])
        reading.merged["ways.csv"] = rows
        named, reading.ways = named_rows(rows, "way", table.whole)
        return named

    def rest(self, price_new: float, price_kit: float) -> None:
        """Lay the other files, once what shares are counted of is known."""
        if not self.kind:
            new, kit = (Range(price, price, price) for price in (price_new, price_kit))
            self.beneath, _ = default_rows(price_new=new, price_kit=kit)
        merged = self.reading.merged
        merged |= {file: self._laid(file) for file in _REST}
        for file, columns in (("looks.csv", ("event",)), ("remedies.csv", ("event", "outcome"))):
            there = {_key(row, *columns) for row in merged["events.csv"]}
            kept = [row for row in merged[file] if not row.assumed or _key(row, *columns) in there]
            merged[file] = self._only(file, merged[file], kept)

    def _price_new(self, bare: Mapping[str, float]) -> Range | None:
        if self.reading.three.price_new is not None:
            return self.reading.three.price_new
        for row in self.reading.tables["ways.csv"].rows:
            if key(row.text("kind")) == "new":
                quoted = bare.get(key(row.text("way")))
                span = row.range("price") or (None if quoted is None else Range(quoted, quoted, quoted))
                return None if span is None else self.reading.money.with_vat(span, row.choice("vat"))
        return None

    def _mine(self, file: str) -> list[Row]:
        rows = [replace(row, problems=self.reading.problems) for row in self.beneath.get(file, [])]
        if file in self.without:
            _list(self.dropped, file, rows)
            return []
        tables = self.reading.tables
        old = self.reading.as_decided and (tables[file].given or (file == "looks.csv" and tables["events.csv"].given))
        return [] if old else rows

    def _laid(self, file: str) -> list[Row]:
        own, beneath = self.reading.tables[file].rows, self._mine(file)
        if file == "events.csv":
            return self._events(own, beneath)
        names = {_key(row, *_KEYS[file]) for row in own}
        kept = [row for row in beneath if _key(row, *_KEYS[file]) not in names]
        _list(self.replaced, file, (row for row in beneath if row not in kept))
        return [*kept, *own]

    def _only(self, file: str, rows: list[Row], kept: list[Row]) -> list[Row]:
        """Those kept; the default ones that no longer fit are listed."""
        _list(self.dropped, file, (row for row in rows if row.assumed and row not in kept))
        return kept

    # ---- the tree --------------------------------------------------------------------------------
    def _events(self, own: Sequence[Row], beneath: Sequence[Row]) -> list[Row]:
        mine, rows = grouped(own, lambda row: _key(row, "event")), list[Row]()
        for event, defaults in grouped(beneath, lambda row: _key(row, "event")).items():
            rows += self._one_event(mine.pop(event, []), defaults)
        rows += [row for some in mine.values() for row in some]
        while True:  # without the default events whose condition names what the owner's rows have done away with
            there = {_key(row, "event", "outcome") for row in rows}
            lost = {_key(r, "event") for r in rows if r.assumed and not _conditions(r) <= there}
            if not lost:
                return rows
            rows = self._only("events.csv", rows, [r for r in rows if not r.assumed or _key(r, "event") not in lost])

    def _one_event(self, own: list[Row], defaults: list[Row]) -> list[Row]:
        """The owner's rows without a condition hold under each condition of the default ones."""
        groups, mine = grouped(defaults, _conditions), grouped(own, _conditions)
        if not mine.keys() <= groups.keys() | {frozenset()}:
            _list(self.replaced, "events.csv", defaults)
            return own
        rows: list[Row] = []
        for condition, some in groups.items():
            stated = mine.get(condition, [])
            names = {_key(row, "outcome") for row in stated}
            general = (row for row in mine.get(frozenset(), []) if condition and _key(row, "outcome") not in names)
            rows += self._one_condition([*stated, *(r.having(given=some[0].text("given")) for r in general)], some)
        return rows

    def _one_condition(self, stated: list[Row], some: list[Row]) -> list[Row]:
        """Outcomes that the owner does not restate share what is left."""
        if not stated:
            return some
        # what belongs to the event as a whole is taken from its default where it is blank
        filled = [r.having(**{c: some[0].text(c) for c in ("seen_at", "ways") if not r.has(c)}) for r in stated]
        names = {_key(row, "outcome") for row in filled}
        rest = [row for row in some if _key(row, "outcome") not in names]
        _list(self.replaced, "events.csv", (row for row in some if row not in rest))
        share, left = sum(map(_chance, filled)), sum(map(_chance, rest))
        if share >= 1.0 - TOLERANCE or left == 0.0:
            _list(self.replaced, "events.csv", rest)
            return filled
        self.replaced.append(f"events.csv: chances of the other outcomes of {rest[0].text('event')}")
        return filled + [row.having(chance=repr(_chance(row) * (1.0 - share) / left)) for row in rest]


def _list(made: list[str], file: str, rows: Iterable[Row]) -> None:
    """List rows by file and name, unless they were listed before."""
    columns = {"events.csv": ("event", "outcome"), "ways.csv": ("way",)}.get(file) or _KEYS[file][-1:]
    titles = (f"{file}: {'='.join(row.text(column) for column in columns)}" for row in rows)
    made += [title for title in titles if title not in made]


def _key(row: Row, *columns: str) -> tuple[str, ...]:
    return tuple(key(row.text(column)) for column in columns)


def _conditions(row: Row) -> frozenset[tuple[str, ...]]:
    return frozenset(tuple(map(key, pair(word))) for word in row.listed("given"))


def _chance(row: Row) -> float:
    with suppress(ValueError):
        return float(row.text("chance") or 0.0)
    return 0.0
