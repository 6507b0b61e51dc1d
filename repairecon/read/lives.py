"""The lives of the units that the ways put in service, completed with defaults; and lives.csv."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from repairecon.read.defaults import Defaults
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading
from repairecon.read.tables import Row
from repairecon.records import OwnLife, Range, Unit, Way

_LIFE = ("life_years", "life_hours", "life_shape", "wear_kept", "p_early")


def lives_wanted(rows: list[tuple[Row, str]]) -> bool:
    """True if a row says something of a life, right or wrong."""
    return any(row.has(name) or row.has_range(name) for row, _ in rows for name in _LIFE)


def with_lives(rows: list[tuple[Row, str]], made: tuple[Way, ...], unit: Unit, defaults: Defaults) -> tuple[Way, ...]:
    """The ways with their lives; a pair of which nothing is said has that of the way it puts in service."""
    written = {name: row.these(*_LIFE) for row, name in rows}
    silent = dict.fromkeys(_LIFE)
    singles = [w for w in made if _base_kind(w) == w.kind]
    lived = {w.way: _completed(w, written.get(w.way, silent), unit, defaults) for w in singles}
    here = next((lived[w.way] for w in singles if w.kind == "rebuild"), None)
    for way in made:
        if way.way not in lived:
            base = lived.get(way.bought) if way.traits.in_service == "bought" else here
            lived[way.way] = _completed(way, _inherited(written.get(way.way, silent), base), unit, defaults)
    return tuple(lived[w.way] for w in made)


def _base_kind(way: Way) -> str:
    """The kind whose defaults hold for the unit in service: a pair has those of what it puts there."""
    pair = way.traits.buys and way.traits.rebuilds
    if not pair:
        return way.kind
    return "new" if way.traits.in_service == "bought" else "rebuild"


def _inherited(given: dict[str, Any], base: Way | None) -> dict[str, Any]:
    """The life of a pair, completed from the way that it puts in service."""
    if base is None:
        return given
    silent = given["life_years"] is None and given["life_hours"] is None
    whose = {name: silent if name in ("life_years", "life_hours") else given[name] is None for name in _LIFE}
    return {name: getattr(base, name) if whose[name] else given[name] for name in _LIFE}


def _completed(way: Way, given: dict[str, Any], unit: Unit, defaults: Defaults) -> Way:
    """A life in hours alone stays one: no life in years is assumed beside it. A unit left as it is has none."""
    if way.traits.in_service not in ("rebuilt", "bought"):
        return replace(way, life_years=given["life_years"], life_hours=given["life_hours"])
    kind, name = _base_kind(way), way.way
    life = dict(given)
    if life["life_years"] is None and life["life_hours"] is None:
        share = defaults.number(f"life_share.{kind}", name, life_of=name)
        life["life_years"] = _usual(unit, defaults, name).scaled(share)
    if life["life_shape"] is None:
        life["life_shape"] = defaults.number("life_shape", life_of=name)
    if life["wear_kept"] is None:
        life["wear_kept"] = defaults.number(f"wear_kept.{kind}", name, life_of=name)
    if life["p_early"] is None:
        life["p_early"] = defaults.number("p_early", life_of=name)
    return replace(way, **life)


def _usual(unit: Unit, defaults: Defaults, life_of: str) -> Range:
    """Median life of a new unit of this kind: about what the owner expects, else by kind."""
    expected = unit.expected_life_years
    if not expected:
        return defaults.life_years(unit.kind, life_of)
    by = defaults.range("life_multiples", life_of=life_of)
    return Range(by.low * expected, by.likely * expected, by.high * expected, by.shape, by.source)


def own_lives(reading: Reading, made: tuple[Way, ...]) -> tuple[OwnLife, ...]:
    """Lives as written; none without the file."""
    by_key = {key(w.way): w for w in made}
    return tuple(_own_life(reading, row, by_key) for row in reading.tables["lives.csv"].rows)


def _own_life(reading: Reading, row: Row, made: dict[str, Way]) -> OwnLife:
    reading.keep_note(row)
    row.required_value("way", "failed")
    word = row.text("way")
    name = reading.name_of(row, "way", reading.ways, "an unknown way ")
    way = made.get(key(word))
    if way and way.traits.buys and way.traits.rebuilds:
        row.fault("way", f"{shown(word)}, which has two units", "name the way whose unit it is")
    if not row.has("years") and not row.has("hours"):
        row.fault("years", "neither years nor hours", "write the years that it stood, the hours that it ran, or both")
    failed = row.yes_if_written("failed") or False
    return OwnLife(way=name, failed=failed, source=row.source, **row.these("years", "hours"))
