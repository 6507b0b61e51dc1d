"""``passage.toml`` beside the spares book: the passage, what being without costs, what is known of single items."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from repairecon.read.columns import sections
from repairecon.read.defaults import Defaults, shipped
from repairecon.read.problems import Names, Problems, shown
from repairecon.read.toml_file import Section, TomlFile, read_toml
from repairecon.records import Passage, PassageError, Range, Source, SpareWish

PASSAGE = "passage.toml"
CRITICAL, OTHER = "critical", "other"
PERIOD = sections(PASSAGE)["passage"]["days"].limits
"""Days of a passage or season: a hundred years at most."""


class PassageDefaults(Defaults):
    """What is taken for granted of a passage; remembers what was used."""

    def __init__(self) -> None:
        super().__init__()
        self._values = shipped("passage_defaults.toml")


def read_passage(folder: str | os.PathLike[str], items: Iterable[str], systems: Iterable[str] = ()) -> Passage:
    """Read passage.toml of a folder; without the file nothing is said of the passage.

    ``items`` and ``systems`` are names that the book knows; others are faults. PassageError has every fault.
    """
    path = Path(folder) / PASSAGE
    if not os.path.lexists(path):
        return Passage()
    problems = Problems()
    toml = read_toml(path, problems, PASSAGE)
    toml.check_sections()
    known = Names(items)
    about = toml.section("passage")
    passage = about.these(*(name for name in about.declared if name != "tools"))
    tools = about.words("tools") if about.has("tools") else None
    costs = _costs(toml, Names([*systems, CRITICAL, OTHER]))
    wishes = _wishes(toml, known, Path(folder))
    problems.stop_if_any(PassageError)
    return Passage(**passage, tools=tools, cost_without=costs, items=tuple(wishes))


def _costs(toml: TomlFile, known: Names) -> dict[str, Range]:
    section = toml.section("cost_without")
    made: dict[str, Range] = {}
    for name in section.cells:
        if not known.find(name):
            section.fault(name, f"an unknown system {shown(name)}", known.advice(toml.problems, name))
            continue
        cost = section.range(name)
        if cost is not None:
            made[known.find(name)] = cost
    return made


def _wishes(toml: TomlFile, known: Names, folder: Path) -> list[SpareWish]:
    made: list[SpareWish] = []
    seen = Names()
    for section in toml.sections("items"):
        item = _known(section, "item", section.text("item"), known)
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
    case = section.text("case")
    by = [k for k in ("failures_per_year", "failures_per_1000_hours", "case") if section.has(k)]
    if "case" in by and len(by) > 1:
        section.fault(by[0], "a guess beside a case", "keep one of the two: the case tells how often it fails")
    if case and not (folder / case).is_dir():
        section.fault("case", shown(case), "name a case folder, its path counted from passage.toml")
    covers = tuple(_known(section, "covers", name, known) for name in section.words("covers"))
    together = tuple(_known(section, "together", name, known) for name in section.words("together"))
    others = (name for name in section.declared if name not in ("item", "case", "covers", "together", "note"))
    return SpareWish(
        item=item,
        case=str(folder / case) if case else "",
        covers=tuple(c for c in covers if c and c != item),
        together=tuple(t for t in together if t and t != item),
        source=Source(PASSAGE, section.place("")[0], item),
        **section.these(*others),
    )
