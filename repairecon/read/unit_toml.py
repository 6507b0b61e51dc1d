"""The failed unit in case.toml, its safety class and cautions, and the waivers."""

from __future__ import annotations

import re

from repairecon.read import values
from repairecon.read.defaults import (
    Defaults,
    class_cautions,
    general_cautions,
    kind_words,
    law_caution,
    unit_kinds,
)
from repairecon.read.names import Names, key
from repairecon.read.problems import SURE, closest, shown
from repairecon.read.text import clean
from repairecon.read.toml_file import TomlFile
from repairecon.read.toml_section import Section, shown_value
from repairecon.records import SAFETY_CLASSES, Unit, Waiver

_UNIT = ("name", "kind", "symptom", "safety", "age_years", "expected_life_years", "figures")


def _kind(section: Section, name: str, defaults: Defaults) -> str:
    """The kind of unit: as given, else a kind that its name speaks of."""
    words, given = kind_words(), section.text("kind")
    if key(given) in words:
        return words[key(given)]
    if given:
        near = closest(given, words, cutoff=SURE)
        if near and not section.has("safety"):
            section.fault("kind", shown(given), f"did you mean {shown(near)}? (or say safety = [...] yourself)")
        return given
    padded = f" {re.sub(r'[^a-z0-9]+', ' ', key(name))} "
    spoken = [w for w in words if f" {w} " in padded]
    if not spoken:
        return ""
    kind = words[max(spoken, key=len)]
    defaults.note("kind of unit", kind, "", "assumed from the name of the unit")
    return kind


def _safety(section: Section, kind: str, defaults: Defaults) -> tuple[str, ...]:
    """Safety classes as given, else those of the kind."""
    given = section.get("safety")
    if isinstance(given, str):
        given = [given]
    if given is not None:
        known = [key(clean(c)) for c in given if isinstance(c, str)] if isinstance(given, list) else []
        wrong = [c for c in known if c not in SAFETY_CLASSES]
        if not isinstance(given, list) or len(known) != len(given):
            section.fault("safety", shown_value(given), f"write a list of: {', '.join(SAFETY_CLASSES)}")
        elif wrong:
            section.fault("safety", shown(wrong[0]), section.problems.advice(wrong[0], SAFETY_CLASSES))
        return tuple(c for c in dict.fromkeys(known) if c in SAFETY_CLASSES)
    entry = unit_kinds().get(kind)
    if entry is None:
        defaults.note(
            "safety",
            "none set",
            "",
            "assumed: the kind of unit is not known; "
            "say safety = [...] if its failure can sink, burn, gas or leave you without steering",
        )
        return ()
    classes: tuple[str, ...] = tuple(entry["safety"])
    defaults.note("safety", ", ".join(classes) or "none", "", f"common practice, no source: kind {kind}")
    return classes


def unit(toml: TomlFile, defaults: Defaults) -> Unit:
    """The failed unit; its price is filled in later."""
    section = toml.section("unit", _UNIT)
    name = section.required("name", 'name the unit, such as "raw water pump"') if toml.whole else ""
    kind = _kind(section, name, defaults)
    safety = _safety(section, kind, defaults)
    by_class = (class_cautions()[c] for c in safety)
    special = unit_kinds().get(kind, {}).get("cautions", ())
    return Unit(
        name=name,
        kind=kind,
        symptom=section.text("symptom"),
        safety=safety,
        cautions=(*special, *by_class, *general_cautions(), law_caution()),
        age_years=section.number("age_years", values.YEARS),
        expected_life_years=section.number("expected_life_years", values.YEARS),
        figures=section.text("figures"),
    )


def waivers(toml: TomlFile, ways: Names) -> tuple[Waiver, ...]:
    """Written reasons for going past the safety screen."""
    read = []
    for section in toml.sections("waiver", ("way", "reason")):
        way = section.required("way", "name the way")
        reason = section.required("reason", "say why this way is safe here")
        if way and ways.whole and way not in ways:
            section.fault("way", shown(way), ways.advice(toml.problems, way))
        read.append(Waiver(ways.find(way) or way, reason))
    return tuple(read)
