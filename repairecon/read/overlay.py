"""The owner's rows over the default ones: a row replaces the default of the same key and leaves the others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from repairecon.read.problems import key
from repairecon.read.tables import Row

Conditions = frozenset[tuple[str, str]]
_KEYS: Mapping[str, tuple[str, ...]] = {
    "tasks.csv": ("task",),
    "looks.csv": ("look",),
    "ways.csv": ("kind",),
    "remedies.csv": ("event", "outcome", "remedy"),
}
"""Columns that tell which default a row replaces; events have a way of their own."""

_WHOLE = 1.0 - 1e-6


@dataclass
class Overlay:
    """Rows laid over each other, and what was replaced or dropped by it."""

    replaced: list[str] = field(default_factory=list)
    dropped: list[str] = field(default_factory=list)

    def rows(self, file: str, own: Sequence[Row], beneath: Sequence[Row]) -> list[Row]:
        """The default rows that stay, then the owner's."""
        if file == "events.csv":
            return self._events(own, beneath)
        names = {self._key(file, row) for row in own}
        stays = [row for row in beneath if self._key(file, row) not in names]
        self._replace(file, (row for row in beneath if self._key(file, row) in names))
        return [*stays, *own]

    def without(self, file: str, rows: Iterable[Row], keep: Callable[[Row], bool]) -> list[Row]:
        """The rows without the default ones that no longer fit, which are listed."""
        left = []
        for row in rows:
            if row.assumed and not keep(row):
                self.drop(file, [row])
            else:
                left.append(row)
        return left

    def drop(self, file: str, rows: Iterable[Row]) -> None:
        """List default rows that are not taken."""
        self.dropped += [t for row in rows if (t := f"{file}: {_title(file, row)}") not in self.dropped]

    def _replace(self, file: str, rows: Iterable[Row]) -> None:
        self.replaced += [t for row in rows if (t := f"{file}: {_title(file, row)}") not in self.replaced]

    @staticmethod
    def _key(file: str, row: Row) -> tuple[str, ...]:
        return tuple(key(row.text(column)) for column in _KEYS[file])

    # ---- the tree --------------------------------------------------------------------------------
    def _events(self, own: Sequence[Row], beneath: Sequence[Row]) -> list[Row]:
        mine = _by_event(own)
        rows: list[Row] = []
        for event, defaults in _by_event(beneath).items():
            rows += self._event(mine.pop(event, []), defaults)
        rows += [row for some in mine.values() for row in some]
        return self._that_hang_on_what_is_there(rows)

    def _event(self, own: list[Row], defaults: list[Row]) -> list[Row]:
        """One event; the owner's rows without a condition hold under each condition of the default ones."""
        groups, mine = _by_condition(defaults), _by_condition(own)
        if not own:
            return defaults
        if not mine.keys() <= groups.keys() | {frozenset()}:
            self._replace("events.csv", defaults)
            return own
        rows: list[Row] = []
        for condition, some in groups.items():
            told = mine.get(condition, [])
            names = {key(row.text("outcome")) for row in told}
            general = mine.get(frozenset(), []) if condition else []
            told = told + [_given(row, some[0]) for row in general if key(row.text("outcome")) not in names]
            rows += self._group([_filled(row, some[0]) for row in told], some)
        return rows

    def _group(self, own: list[Row], defaults: list[Row]) -> list[Row]:
        """Outcomes under one condition; those that the owner does not restate share what is left."""
        if not own:
            return defaults
        names = {key(row.text("outcome")) for row in own}
        self._replace("events.csv", (row for row in defaults if key(row.text("outcome")) in names))
        rest = [row for row in defaults if key(row.text("outcome")) not in names]
        told, left = sum(map(_chance, own)), sum(map(_chance, rest))
        if told >= _WHOLE or left == 0.0:
            self._replace("events.csv", rest)
            return own
        if rest:
            self.replaced.append(f"events.csv: chances of the other outcomes of {rest[0].text('event')}")
        scaled = [_with(row, "chance", repr(_chance(row) * (1.0 - told) / left)) for row in rest]
        return [*own, *scaled]

    def _that_hang_on_what_is_there(self, rows: list[Row]) -> list[Row]:
        """Without the default events whose condition names what the owner's rows have done away with."""
        while True:
            there = {(key(r.text("event")), key(r.text("outcome"))) for r in rows}
            lost = {key(r.text("event")) for r in rows if r.assumed and not _conditions(r) <= there}
            if not lost:
                return rows
            gone = [r for r in rows if r.assumed and key(r.text("event")) in lost]
            self.drop("events.csv", gone)
            rows = [r for r in rows if not (r.assumed and key(r.text("event")) in lost)]


def _title(file: str, row: Row) -> str:
    if file == "events.csv":
        return f"{row.text('event')}={row.text('outcome')}"
    return row.text({"tasks.csv": "task", "looks.csv": "look", "ways.csv": "way"}.get(file, "remedy"))


def _by_event(rows: Iterable[Row]) -> dict[str, list[Row]]:
    made: dict[str, list[Row]] = {}
    for row in rows:
        made.setdefault(key(row.text("event")), []).append(row)
    return made


def _by_condition(rows: Iterable[Row]) -> dict[Conditions, list[Row]]:
    made: dict[Conditions, list[Row]] = {}
    for row in rows:
        made.setdefault(_conditions(row), []).append(row)
    return made


def _conditions(row: Row) -> Conditions:
    words = (word.partition("=") for word in row.text("given").split(";") if word.strip())
    return frozenset((key(event), key(outcome)) for event, _, outcome in words)


def _chance(row: Row) -> float:
    with suppress(ValueError):
        return float(row.text("chance") or 0.0)
    return 0.0


def _with(row: Row, column: str, text: str) -> Row:
    """The row with one cell written; its faults are those of the row."""
    return replace(row, cells={**row.cells, column: text})


def _given(row: Row, default: Row) -> Row:
    return _with(row, "given", default.text("given"))


def _filled(row: Row, default: Row) -> Row:
    """The owner's row, with what belongs to the event as a whole taken from its default where it is blank."""
    cells = {c: default.text(c) for c in ("seen_at", "ways") if not row.has(c)}
    return replace(row, cells={**row.cells, **cells})
