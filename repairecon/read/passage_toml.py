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
    about = toml.section("passage")
    passage = about.record(
        Passage,
        tools=about.words("tools") if about.has("tools") else None,
        cost_without=_costs(toml, Names([*systems, CRITICAL, OTHER])),
        items=tuple(_wishes(toml, Names(items), Path(folder))),
    )
    problems.stop_if_any(PassageError)
    return passage


def _costs(toml: TomlFile, known: Names) -> dict[str, Range]:
    section = toml.section("cost_without")
    for name in section.cells:
        section.named(name, known, "an unknown system ", word=name)
    read = {known.find(name): section.range(name) for name in section.cells if name not in section.bad}
    return {name: cost for name, cost in read.items() if cost is not None}


def _wishes(toml: TomlFile, known: Names, folder: Path) -> list[SpareWish]:
    made: list[SpareWish] = []
    seen = Names()
    for section in toml.sections("items"):
        item = section.named("item", known)
        if item in known and not seen.add(item):
            section.fault("item", f"{shown(item)} again", "write one section for each item")
        made.append(_wish(section, item, known, folder))
    return made


def _wish(section: Section, item: str, known: Names, folder: Path) -> SpareWish:
    case = section.text("case")
    by = [k for k in ("failures_per_year", "failures_per_1000_hours", "case") if section.has(k)]
    if "case" in by and len(by) > 1:
        section.fault(by[0], "a guess beside a case", "keep one of the two: the case tells how often it fails")
    if case and not (folder / case).is_dir():
        section.fault("case", shown(case), "name a case folder, its path counted from passage.toml")
    return section.record(
        SpareWish, item=item, case=str(folder / case) if case else "",
        source=Source(PASSAGE, section.place("")[0], item),
        **{name: tuple(other for word in section.words(name)
                       if (other := section.named(name, known, word=word)) and other != item)
           for name in ("covers", "together")},
    )  # fmt: skip
