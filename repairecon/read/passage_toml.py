"""``passage.toml`` beside the spares book: the passage, what being without costs, what is known of single items."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from repairecon.read import values
from repairecon.read.defaults import Defaults, shipped
from repairecon.read.names import Names
from repairecon.read.problems import Problems, shown
from repairecon.read.text import clean
from repairecon.read.toml_file import TomlFile, read_toml
from repairecon.read.toml_section import Section, shown_value
from repairecon.read.values import Limits
from repairecon.records import Passage, PassageError, Range, Source, SpareWish

PASSAGE = "passage.toml"
CRITICAL, OTHER = "critical", "other"
_PASSAGE = ("days", "running_hours", "resupply_days", "budget", "weight_kg", "room_litres", "today", "assurance",
            "tools")  # fmt: skip
_ITEM = (
    "item", "cost_without", "failures_per_year", "failures_per_1000_hours", "like_units", "at_a_time", "together",
    "price", "case", "covers", "p_useful", "most", "inspected", "whole_unit", "turned", "turn_every_days", "note",
)  # fmt: skip
_SECTIONS = ("passage", "cost_without", "items")
_ASSURANCE = Limits(0.0, 0.9999, fraction=True)
_OFTEN = Limits(0.0, 1000.0)
_LIKE = Limits(1.0, 10_000.0, whole=True)
_AT_A_TIME = Limits(1.0, 1000.0, whole=True)
_MOST = Limits(0.0, 1000.0, whole=True)
PERIOD = Limits(0.0, 36_525.0)
"""Days of a passage or season: a hundred years at most."""
_FIRST, _LAST = "1950-01-01", "2200-01-01"
_EVERY = Limits(0.0, 1e5, above=True)


class PassageDefaults(Defaults):
    """What is taken for granted of a passage; remembers what was used."""

    def __init__(self) -> None:
        super().__init__()
        self._values = shipped("passage_defaults.toml")


def read_passage(folder: str | os.PathLike[str], items: Iterable[str], systems: Iterable[str] = ()) -> Passage:
    """Read passage.toml of a folder.

    Parameters
    ----------
    folder
        Where it may lie; without the file nothing is said of the passage.
    items, systems
        Names that the book knows; others are faults.

    Returns
    -------
    Passage
        What the owner says.

    Raises
    ------
    PassageError
        With every fault of the file.
    """
    path = Path(folder) / PASSAGE
    if not os.path.lexists(path):
        return Passage()
    problems = Problems()
    toml = read_toml(path, problems, PASSAGE)
    for name in toml.data:
        if name not in _SECTIONS:
            problems.add(PASSAGE, toml.lines.get(name), "", f"an unknown section {shown(name)}",
                         problems.advice(name, _SECTIONS))  # fmt: skip
    known = Names(items)
    passage = _passage(toml.section("passage", _PASSAGE))
    costs = _costs(toml, Names([*systems, CRITICAL, OTHER]))
    wishes = _wishes(toml, known, Path(folder))
    problems.stop_if_any(PassageError)
    return Passage(**passage, cost_without=costs, items=tuple(wishes))


def _passage(section: Section) -> dict[str, Any]:
    return {
        "days": section.number("days", PERIOD),
        "running_hours": section.number("running_hours", values.HOURS),
        "resupply_days": section.number("resupply_days", PERIOD),
        "budget": section.number("budget", values.MONEY),
        "weight_kg": section.number("weight_kg", Limits(0.0, 1e6)),
        "room_litres": section.number("room_litres", Limits(0.0, 1e6)),
        "today": _day(section, "today"),
        "assurance": section.number("assurance", _ASSURANCE),
        "tools": _texts(section, "tools") if section.has("tools") else None,
    }


def _texts(section: Section, key: str) -> tuple[str, ...]:
    value = section.get(key)
    if value is None:
        return ()
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        section.fault(key, shown_value(value), 'write a list of words, as in ["press", "puller"]')
        return ()
    return tuple(" ".join(clean(v).split()) for v in value)


def _costs(toml: TomlFile, known: Names) -> dict[str, Range]:
    section = toml.section("cost_without")
    made: dict[str, Range] = {}
    for name in section.values:
        if not known.find(name):
            section.fault(name, f"an unknown system {shown(name)}", known.advice(toml.problems, name))
            continue
        cost = section.range(name, values.MONEY)
        if cost is not None:
            made[known.find(name)] = cost
    return made


def _wishes(toml: TomlFile, known: Names, folder: Path) -> list[SpareWish]:
    made: list[SpareWish] = []
    seen = Names()
    for section in toml.sections("items", _ITEM):
        name = section.required("item", "name the item, as the book has it")
        item = _known(section, "item", name, known)
        if item and not seen.add(item):
            section.fault("item", f"{shown(item)} again", "write one section for each item")
        made.append(_wish(section, item, known, folder))
    return made


def _known(section: Section, key: str, name: str, known: Names) -> str:
    found = known.find(name) if name else ""
    if name and not found:
        section.fault(key, shown(name), known.advice(section.problems, name))
    return found


def _wish(section: Section, item: str, known: Names, folder: Path) -> SpareWish:
    like, most = section.number("like_units", _LIKE), section.number("most", _MOST)
    case = section.text("case")
    by = [k for k in ("failures_per_year", "failures_per_1000_hours", "case") if section.has(k)]
    if "case" in by and len(by) > 1:
        section.fault(by[0], "a guess beside a case", "keep one of the two: the case tells how often it fails")
    if case and not (folder / case).is_dir():
        section.fault("case", shown(case), "name a case folder, its path counted from passage.toml")
    at_a_time = section.number("at_a_time", _AT_A_TIME)
    together = tuple(_known(section, "together", name, known) for name in _texts(section, "together"))
    covers = tuple(_known(section, "covers", name, known) for name in _texts(section, "covers"))
    return SpareWish(
        item,
        cost_without=section.range("cost_without", values.MONEY),
        failures_per_year=section.range("failures_per_year", _OFTEN),
        failures_per_1000_hours=section.range("failures_per_1000_hours", _OFTEN),
        like_units=None if like is None else int(like),
        at_a_time=None if at_a_time is None else int(at_a_time),
        together=tuple(t for t in together if t and t != item),
        price=section.number("price", values.MONEY),
        case=str(folder / case) if case else "",
        covers=tuple(c for c in covers if c and c != item),
        p_useful=section.number("p_useful", values.FRACTION),
        most=None if most is None else int(most),
        inspected=_yes(section, "inspected") is True,
        whole_unit=_yes(section, "whole_unit"),
        turned=_day(section, "turned"),
        turn_every_days=section.number("turn_every_days", _EVERY),
        source=Source(PASSAGE, section.line(), item),
    )


def _day(section: Section, key: str) -> str:
    day = section.date(key)
    if day and not _FIRST <= day <= _LAST:
        section.fault(key, shown(day), f"write a day between {_FIRST} and {_LAST}")
        return ""
    return day


def _yes(section: Section, key: str) -> bool | None:
    value = section.get(key)
    if value is None or isinstance(value, bool):
        return value
    section.fault(key, shown_value(value), "write true or false")
    return None
