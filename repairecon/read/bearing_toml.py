"""Bearing data in case.toml, from the maker's table: what a bearing would last if it were clean and greased."""

from __future__ import annotations

from repairecon.read import values
from repairecon.read.defaults import Defaults
from repairecon.read.names import Names
from repairecon.read.problems import shown
from repairecon.read.toml_file import TomlFile
from repairecon.read.toml_section import Section, shown_value
from repairecon.records import BEARING_KINDS, Bearing, Range

NAME = "bearing"
_KEYS = ("dynamic_rating_kn", "load_kn", "turns_a_minute", "kind", "bearings", "shape", "ways")


def bearing(toml: TomlFile, ways: Names, defaults: Defaults) -> Bearing | None:
    """The bearing that ends the unit, if the case speaks of one."""
    if NAME not in toml.data:
        return None
    section = toml.section(NAME, _KEYS)
    rating = _needed(section, "dynamic_rating_kn", "write its dynamic load rating C in kN, from the bearing's table")
    load = _needed(section, "load_kn", "write the load on it in kN: a number or [low, likely, high]")
    turns = _needed(section, "turns_a_minute", "write its speed in turns a minute")
    kind = section.choice("kind", BEARING_KINDS, "")
    number, shape = section.number("bearings", values.COUNT), section.number("shape", values.LIFE_SHAPE)
    named = _ways(section, ways)
    if rating is None or load is None or turns is None:
        return None
    if load.high > rating.likely / 2:
        most = f"{values.plain(rating.likely / 2)} kN, half its rating: the rating life holds no further"
        section.fault("load_kn", values.plain(load.high), f"write at most {most}")
    return Bearing(
        rating_kn=rating.likely,
        load_kn=load,
        turns_a_minute=turns.likely,
        kind=kind or defaults.text("bearing_kind"),
        bearings=int(defaults.number("bearings") if number is None else number),
        shape=defaults.number("bearing_shape") if shape is None else shape,
        ways=named,
    )


def _needed(section: Section, name: str, write: str) -> Range | None:
    if not section.has(name):
        section.fault(name, "nothing", write)
        return None
    if name == "load_kn":
        return section.range(name, values.KILONEWTON)
    number = section.number(name, values.TURNS if name == "turns_a_minute" else values.KILONEWTON)
    return None if number is None else Range(number, number, number)


def _ways(section: Section, ways: Names) -> tuple[str, ...]:
    """Ways whose running life it is, as their names are written in ways.csv."""
    given = section.get("ways")
    if given is None:
        return ()
    if not isinstance(given, list) or not all(isinstance(w, str) for w in given):
        section.fault("ways", shown_value(given), 'write a list of ways, such as ["rebuild here"]')
        return ()
    for way in given:
        if ways.whole and way not in ways:
            section.fault("ways", shown(way), ways.advice(section.problems, way))
    return tuple(dict.fromkeys(ways.find(w) or w for w in given))
