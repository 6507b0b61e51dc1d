"""The lives of the units that the ways put in service: columns of ways.csv, else defaults."""

from __future__ import annotations

from dataclasses import dataclass, replace

from repairecon.read import values
from repairecon.read.defaults import Defaults
from repairecon.read.rows import Row
from repairecon.records import Range, Unit, Way

COLUMNS = ("life_shape", "wear_kept", "p_early")
RANGES = ("life_years", "life_hours")


@dataclass(frozen=True)
class _Life:
    """What a row says of a life; None where it is silent."""

    years: Range | None = None
    hours: Range | None = None
    shape: float | None = None
    wear_kept: float | None = None
    p_early: float | None = None


_SILENT = _Life()


def spoken_of(rows: list[tuple[Row, str]]) -> bool:
    """True if a row says something of a life, right or wrong."""
    return any(row.has_range(r) for row, _ in rows for r in RANGES) or any(
        row.has(column) for row, _ in rows for column in COLUMNS
    )


def with_lives(rows: list[tuple[Row, str]], made: tuple[Way, ...], unit: Unit, defaults: Defaults) -> tuple[Way, ...]:
    """The ways with their lives; a pair of which nothing is said has that of the way it puts in service."""
    told = {name: _told(row) for row, name in rows}
    singles = [w for w in made if _base_kind(w) == w.kind]
    lived = {w.way: _completed(w, told.get(w.way, _SILENT), unit, defaults) for w in singles}
    here = next((lived[w.way] for w in singles if w.kind == "rebuild"), None)
    for way in made:
        if way.way not in lived:
            base = lived.get(way.bought) if way.traits.in_service == "bought" else here
            lived[way.way] = _completed(way, _inherited(told.get(way.way, _SILENT), base), unit, defaults)
    return tuple(lived[w.way] for w in made)


def _told(row: Row) -> _Life:
    return _Life(
        years=row.range("life_years", values.LIFE_YEARS),
        hours=row.range("life_hours", values.LIFE_HOURS),
        shape=row.number("life_shape", values.LIFE_SHAPE),
        wear_kept=row.number("wear_kept", values.FRACTION),
        p_early=row.number("p_early", values.P_EARLY),
    )


def _base_kind(way: Way) -> str:
    """The kind whose defaults hold for the unit in service: a pair has those of what it puts there."""
    pair = way.traits.buys and way.traits.rebuilds
    if not pair:
        return way.kind
    return "new" if way.traits.in_service == "bought" else "rebuild"


def _inherited(told: _Life, base: Way | None) -> _Life:
    """What a pair is told, completed from the way that it puts in service."""
    if base is None:
        return told
    silent = told.years is None and told.hours is None
    return _Life(
        years=base.life_years if silent else told.years,
        hours=base.life_hours if silent else told.hours,
        shape=base.life_shape if told.shape is None else told.shape,
        wear_kept=base.wear_kept if told.wear_kept is None else told.wear_kept,
        p_early=base.p_early if told.p_early is None else told.p_early,
    )


def _completed(way: Way, told: _Life, unit: Unit, defaults: Defaults) -> Way:
    """A life in hours alone stays one: no life in years is assumed beside it."""
    kind, name, years = _base_kind(way), way.way, told.years

    def default(key: str, of: str = "") -> float:
        return defaults.number(key, of, life_of=name)

    if years is None and told.hours is None:
        share = default(f"life_share.{kind}", name)
        years = _usual(unit, defaults, name).scaled(share)
    return replace(
        way,
        life_years=years,
        life_hours=told.hours,
        life_shape=default("life_shape") if told.shape is None else told.shape,
        wear_kept=default(f"wear_kept.{kind}", name) if told.wear_kept is None else told.wear_kept,
        p_early=default("p_early") if told.p_early is None else told.p_early,
    )


def _usual(unit: Unit, defaults: Defaults, life_of: str) -> Range:
    """Median life of a new unit of this kind: about what the owner expects, else by kind."""
    expected = unit.expected_life_years
    if not expected:
        return defaults.life_years(unit.kind, life_of)
    by = defaults.range("life_multiples", life_of=life_of)
    return Range(by.low * expected, by.likely * expected, by.high * expected, by.shape, by.source)
