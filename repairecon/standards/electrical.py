"""Fuses, relays, lamps, carbon brushes and batteries."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal

from repairecon.standards.findings import Found, Judging, beside, by_row, compare
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import NUMBER, Text, any_of, exact, shown

FUSE = "fuse"
RELAY = "relay"
LAMP = "lamp"
BRUSH = "carbon brush"
BATTERY = "battery"
_SPEED = rf"(?<![\w.])({{}})(?: ?({NUMBER}) ?(?:A|AMPS?)(?!\w)|(?![\w.]))"
"""The speed letters of ``fuse_speeds.csv`` alone or before the current: T, T2A."""
_TERMINALS = re.compile(r"(?<![\w./])(30|85|86|87[AB]?)(?![\w.])")
_BY_SIZES = re.compile(rf"(?<![\w.])({NUMBER})X({NUMBER})X({NUMBER})(?: ?MM)?(?![\w.]*\d)")
_FESTOON = re.compile(r"(?<![\w.])(?:(\d\d)X)?(\d\d(?:\.\d)?) ?(?:MM)?(?![\w.])")
_PINS_OF = {"changeover": "5", "two make": "5", "make": "4"}


def read_fuse(text: Text) -> Found | None:
    """A fuse: body, current or colour, speed, voltage."""
    text.left = re.sub(r"(\d+) ?MA(?!\w)", lambda m: f"{shown(Decimal(m[1]) / 1000)} A", text.left)
    form, body = next(iter(text.written("tube", "bolt-down").items()), ("", ""))
    tube = "tube" in (form, text.feature("form"))
    marks = {"size": body or text.feature("size"), "form": form, **_fuse_figures(text, tube)}
    amps, colour = marks.get("current", ""), text.feature("colour")
    # the colour of a blade fuse tells its current, in its size or, where none is said, in all
    blades = [r for r in rows("fuses_blade") if r["size"].startswith(marks["size"]) and form != "tube"]
    colours = [r["colour"] for r in blades if r["current_A"] == amps]
    column, value = ("current_A", amps) if amps else ("colour", colour)
    row = next((r for r in blades if (r["size"], r[column]) == (marks["size"], value)), None)
    if row is not None:
        marks |= {"current": row["current_A"], "form": "blade"}
    if not (marks["size"] or amps):
        return None
    if not marks["size"] and "blade" in (form, text.feature("form")):
        marks["size"] = "regular (type C)"  # the common blade fuse (note of the table)
    found = by_row(FUSE, f"{marks['size']} {marks.get('current', '?')} A", {}, row, marks)
    found.listed = row is not None or bool(body)
    if colours and colour and colour not in colours:
        found.against.append(f"says {colour}, but {amps} A is {colours[0]}")
    elif "current" in marks:  # the colour says the current once more
        text.drop("colour")
    return found


def _fuse_figures(text: Text, tube: bool) -> dict[str, str]:
    speed = text.take(_SPEED.format(any_of(row["letter"] for row in rows("fuse_speeds")))) if tube else None
    current = {"current": speed[2]} if speed and speed[2] else text.written("current")
    figures = {name: shown(Decimal(amps)) for name, amps in current.items()} | text.written("voltage")
    return figures | ({"speed": speed[1]} if speed else {})


def read_relay(text: Text) -> Found | None:
    """A relay: size, pins, contacts, voltage, current."""
    pins, terminals = text.written("pins"), list[str]()
    while terminal := text.take(_TERMINALS):
        terminals.append(terminal[1])
    marks = text.written("voltage", "current")
    if terminals:
        twice = terminals.count("87") > 1 or "87B" in terminals
        marks["contact"] = "changeover" if "87A" in terminals else "two make" if twice else "make"
    contact = marks.get("contact") or text.feature("contact")
    count = pins.get("pins") or (str(len(terminals)) if len(terminals) > 3 else _PINS_OF.get(contact, ""))
    if count == "4" and not contact:
        contact = marks["contact"] = "make"
    marks["pins"] = count
    if not (count or contact):
        return None
    used = [r for r in rows("relays") if r["name"].startswith(("mini", "micro")) and count in r["name"]]
    return Found(RELAY, f"{count} pin {contact}".strip(), {}, marks, used[:1])


def read_lamp(text: Text) -> Found | None:
    """A lamp: base or category, power, voltage; a festoon by its length."""
    found = _based(text)
    if not (text.sure or found.used):
        return None
    said = text.written("power", "voltage")
    own = found.marks.get("power", "")
    if own and said.get("power", own) != own:
        found.against.append(f"says {said['power']} W, but {found.size} has {own} W")
    found.marks |= said
    base = found.marks.get("base", "")
    festoon = base.startswith("SV") or any(e.value == "festoon" for _, e in text.entries)
    if festoon and (length := text.take(_FESTOON)):
        found.dims["length"] = Decimal(length[2])
    two = "/" in found.marks.get("power", "") or base in ("BAY15d", "W3x16q")
    found.marks["filament"] = "two" if two else ""
    found.size = " ".join(filter(None, (found.marks.get(name) for name in ("base", "power", "voltage"))))
    return found if base or found.dims else None


def _based(text: Text) -> Found:
    """A lamp by its base or its category: P21W says the base, the power and by PY the colour."""
    row, _ = _first_written(text, ((row, row["base"].upper()) for row in rows("lamp_bases")))
    categories = ((row, name) for row in rows("lamp_bases")
                  for name in re.findall(r"\b(?=[\d/]*[A-Z])[A-Z]{0,2}Y?\d[\w/]*", row["used_by"]))  # fmt: skip
    of_category, category = _first_written(text, categories)
    found = Found(LAMP, category)
    if row and of_category and row["base"] != of_category["base"]:
        found.against.append(f"says {category}, which has the base {of_category['base']}")
    if row := of_category or row:
        found.marks["base"], found.used = row["base"], [row]
    if watts := re.search(r"(\d+(?:/\d+)?)W", category):
        found.marks["power"] = watts[1]
    if category.startswith("PY"):
        found.marks["colour"] = "amber"
    return found


def _first_written(text: Text, names: Iterable[tuple[Row, str]]) -> tuple[Row | None, str]:
    """Take the first of some names of rows that the text has as a word."""
    named = (pair for pair in names if text.take(rf"(?<![\w.]){re.escape(pair[1])}(?![\w/])"))
    return next(named, (None, ""))


def read_sized(text: Text) -> Found | None:
    """A carbon brush (tangential x axial x radial size, IEC 60136) or a battery (length x width x height)."""
    size = text.take(_BY_SIZES)
    if size is None:
        return None
    dims = dict(zip(beside(text.kind)[0], map(Decimal, size.groups()), strict=True))
    used = [r for r in rows("brushes_sizes") if exact(r["t_or_a_or_r_mm"]) in dims.values()][:1]
    brush = text.kind == BRUSH
    return Found(text.kind, "x".join(map(shown, dims.values())), dims, {}, used if brush else [], listed=brush)


def read_battery(text: Text) -> Found | None:
    """A battery by its standard size, or by length x width x height."""
    named = ((row, row["written"], row["written_short"] if text.sure else "") for row in rows("batteries"))
    names = ((row, "|".join(filter(None, (name, short)))) for row, name, short in named)
    row = next((row for row, name in names if text.take(rf"(?<![\w.])(?:{name})(?![\w.])")), None)
    if not (text.sure or row is not None):
        return None
    marks = text.written("capacity", "voltage")
    if row is not None:
        return by_row(BATTERY, row["name"], {c: exact(row[f"{c}_mm"]) for c in beside(BATTERY)[0]}, row, marks)
    if found := read_sized(text):
        found.marks = marks
    return found


def compare_electrical(judging: Judging) -> None:
    compare(judging)
    if judging.verdict == "same":
        judging.note(f"the same by all that is said: {judging.wanted.size}")
