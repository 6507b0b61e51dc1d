"""Fuses, relays, lamps, carbon brushes and batteries."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.findings import Found, Judging, compare_features, compare_sizes
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import NUMBER, Text, exact, shown

FUSE = "fuse"
RELAY = "relay"
LAMP = "lamp"
BRUSH = "carbon brush"
BATTERY = "battery"
_AMPS = re.compile(rf"(?<![\w.])({NUMBER}) ?(?:A|AMPS?|AMPERES?)(?!\w)")
_VOLTS = re.compile(rf"(?<![\w.])({NUMBER}) ?(?:V|VOLTS?|VDC|V DC)(?!\w)")
_SPEED = rf"(?<![\w.])({{}})(?: ?({NUMBER}) ?(?:A|AMPS?)(?!\w)|(?![\w.]))"
"""The speed letters of ``fuse_speeds.csv`` alone or before the current: T, T2A."""
_GLASS = re.compile(r"(?<![\w.])(5X20|6\.3X3[02]|6X3[02]|6\.3X25|6X25|3AG|8AG)(?: ?MM)?(?![\w.])")
_STRIP = re.compile(r"\b(SF ?30|SF ?51|ANL)\b")
_PINS = re.compile(r"(?<![\w.])([45]) ?-?(?:PINS?|POLE|TERMINALS?)(?!\w)")
_TERMINALS = re.compile(r"(?<![\w./])(30|85|86|87[AB]?)(?![\w.])")
_POWER = re.compile(rf"(?<![\w.])({NUMBER}(?:/{NUMBER})?) ?(?:W|WATTS?)(?!\w)")
_BRUSH = re.compile(rf"(?<![\w.])({NUMBER})X({NUMBER})X({NUMBER})(?: ?MM)?(?![\w.]*\d)")
_FESTOON = re.compile(r"(?<![\w.])(?:(\d\d)X)?(\d\d(?:\.\d)?) ?(?:MM)?(?![\w.])")
_AMP_HOURS = re.compile(rf"(?<![\w.])({NUMBER}) ?AH(?!\w)")
COLOURS = {"tan (light brown)": "tan", "clear / white": "clear"}


def read_fuse(text: Text, sure: bool) -> Found | None:
    """A fuse: body, current or colour, speed, voltage."""
    if not sure:
        return None
    text.left = re.sub(r"(\d+) ?MA(?!\w)", lambda m: f"{shown(Decimal(m[1]) / 1000)} A", text.left)
    said = {e.feature: e.value for _, e in text.entries if e.kind == FUSE}
    marks: dict[str, str] = {}
    glass, strip = text.take(_GLASS), text.take(_STRIP)
    if glass or strip:
        marks["size"] = _glass(glass[1]) if glass else strip[1].replace(" ", "") if strip else ""
        marks["form"] = "tube" if glass else "bolt-down"
    letters = "|".join(sorted((row["letter"] for row in rows("fuse_speeds")), key=len, reverse=True))
    speed = text.take(_SPEED.format(letters)) if glass or said.get("form") == "tube" else None
    amps = text.take(_AMPS) if not (speed and speed[2]) else None
    if speed:
        marks["speed"] = speed[1]
    current = (speed[2] if speed and speed[2] else None) or (amps[1] if amps else None)
    volts = text.take(_VOLTS)
    if volts:
        marks["voltage"] = volts[1]
    if current:
        marks["current"] = shown(Decimal(current))
    size = marks.get("size") or said.get("size", "")
    against = _colour_clash(size, marks.get("current", ""), said.get("colour", ""))
    row = _blade(size, marks.get("current", ""), said.get("colour", "")) if not glass else None
    if row is not None:
        marks |= {"current": row["current_A"], "size": size, "form": "blade"}
    if marks.get("current") and not against:  # the colour says the current once more
        text.entries = [(w, e) for w, e in text.entries if e.feature != "colour"]
    if not (size or marks.get("current")):
        return None
    if not size and (marks.get("form") or said.get("form")) == "blade":
        size = marks["size"] = "regular (type C)"  # the common blade fuse (note of the table)
    label = f"{size} {marks.get('current', '?')} A"
    known = row is not None or bool(glass or strip)
    return Found(FUSE, label, {}, marks, {}, [] if row is None else [row], known, against=against)


def _glass(size: str) -> str:
    return {"3AG": "6.3x32", "8AG": "6.3x25", "6X32": "6.3x32", "6X30": "6.3x30"}.get(size, size.lower())


def _colour(row: Row) -> str:
    return COLOURS.get(row["colour"], row["colour"])


def _colour_clash(size: str, current: str, colour: str) -> list[str]:
    """What is wrong with a blade fuse whose colour is that of another current, where its size or all sizes say so."""
    found = [r for r in rows("fuses_blade") if r["current_A"] == current and r["size"].startswith(size)]
    if not (found and colour) or colour in [_colour(r) for r in found]:
        return []
    return [f"says {colour}, but {current} A is {_colour(found[0])}"]


def _blade(size: str, current: str, colour: str) -> Row | None:
    for row in rows("fuses_blade"):
        if row["size"] == size and (row["current_A"] == current or (not current and _colour(row) == colour)):
            return row
    return None


def read_relay(text: Text, sure: bool) -> Found | None:
    """A relay: size, pins, contacts, voltage, current."""
    if not sure:
        return None
    marks: dict[str, str] = {}
    pins = text.take(_PINS)
    terminals = []
    while terminal := text.take(_TERMINALS):
        terminals.append(terminal[1])
    volts, amps = text.take(_VOLTS), text.take(re.compile(rf"(?<![\w.])({NUMBER}(?:/{NUMBER})?) ?A(?:MPS?)?(?!\w)"))
    if volts:
        marks["voltage"] = volts[1]
    if amps:
        marks["current"] = amps[1]
    if terminals:
        twice = terminals.count("87") > 1 or "87B" in terminals
        marks["contact"] = "changeover" if "87A" in terminals else "two make" if twice else "make"
    count = pins[1] if pins else str(len(terminals)) if len(terminals) > 3 else ""
    contact = marks.get("contact") or next((e.value for _, e in text.entries if e.feature == "contact"), "")
    if contact and not count:
        count = {"changeover": "5", "two make": "5", "make": "4"}.get(contact, "")
    if count == "4" and not contact:
        marks["contact"] = "make"
    marks["pins"] = count
    if not (marks["pins"] or contact):
        return None
    rows_ = [r for r in rows("relays") if r["name"].startswith(("mini", "micro")) and count in r["name"]]
    return Found(RELAY, f"{count} pin {contact or marks.get('contact', '')}".strip(), {}, marks, {}, rows_[:1])


def read_lamp(text: Text, sure: bool) -> Found | None:
    """A lamp: base or category, power, voltage; a festoon by its length."""
    found = Found(LAMP, "")
    for row in rows("lamp_bases"):
        base = re.escape(row["base"].upper())
        if text.take(rf"(?<![\w.]){base}(?![\w])"):
            found.marks["base"], found.used = row["base"], [row]
            break
    category = _category(text, found)
    if not (sure or found.marks):
        return None
    power, volts = text.take(_POWER), text.take(_VOLTS)
    if power:
        if category and found.marks.get("power", power[1]) != power[1]:
            found.against.append(f"says {power[0]}, but {category} has {found.marks['power']} W")
        found.marks["power"] = power[1]
    if volts:
        found.marks["voltage"] = volts[1]
    if any(e.value == "festoon" for _, e in text.entries) or found.marks.get("base", "").startswith("SV"):
        length = text.take(_FESTOON)
        if length:
            found.dims["length"] = Decimal(length[2])
    base = found.marks.get("base", "")
    found.marks["filament"] = "two" if "/" in found.marks.get("power", "") or base in ("BAY15d", "W3x16q") else ""
    found.size = " ".join(w for w in (base, found.marks.get("power", ""), found.marks.get("voltage", "")) if w)
    return found if base or found.dims else None


def _category(text: Text, found: Found) -> str:
    for row in rows("lamp_bases"):
        names: list[str] = re.findall(r"\b[A-Z]{0,2}Y?\d[\w/]*", row["used_by"])
        for name in names:
            if re.search(r"[A-Z]", name) and text.take(rf"(?<![\w.]){re.escape(name)}(?![\w/])"):
                if found.marks.get("base", row["base"]) != row["base"]:
                    found.against.append(f"says {name}, which has the base {row['base']}")
                found.marks["base"] = row["base"]
                found.used = [row]
                watts = re.search(r"(\d+(?:/\d+)?)W", name)
                if watts:
                    found.marks["power"] = watts[1]
                if name.startswith("PY"):
                    found.marks["colour"] = "amber"
                return name
    return ""


def read_brush(text: Text, sure: bool) -> Found | None:
    """A carbon brush: tangential x axial x radial size (IEC 60136)."""
    size = text.take(_BRUSH) if sure else None
    if size is None:
        return None
    dims = dict(zip(("t", "a", "r"), map(Decimal, size.groups()), strict=True))
    listed = [r for r in rows("brushes_sizes") if exact(r["t_or_a_or_r_mm"]) in dims.values()]
    return Found(BRUSH, "x".join(map(shown, dims.values())), dims, used=listed[:1], order=("t", "a", "r"))


def read_battery(text: Text, sure: bool) -> Found | None:
    """A battery by its standard size, or by length x width x height."""
    marks: dict[str, str] = {}
    named = ((r, n) for r in rows("batteries") for n in _battery_names(r, sure))
    row = next((r for r, name in named if text.take(rf"(?<![\w.]){name}(?![\w.])")), None)
    if not (sure or row is not None):
        return None
    hours, volts = text.take(_AMP_HOURS), text.take(_VOLTS)
    if hours:
        marks["capacity"] = hours[1]
    if volts:
        marks["voltage"] = volts[1]
    if row is not None:
        dims = {c: exact(row[f"{c}_mm"]) for c in ("length", "width", "height")}
        found = Found(BATTERY, row["name"], dims, marks, used=[row])
    elif size := text.take(_BRUSH):
        dims = dict(zip(("length", "width", "height"), map(Decimal, size.groups()), strict=True))
        found = Found(BATTERY, size[0].lower(), dims, marks, listed=False)
    else:
        return None
    found.order = ("length", "width", "height")
    found.labels = {"length": "length", "width": "width", "height": "height"}
    return found


def _battery_names(row: Row, sure: bool) -> list[str]:
    names = [n.strip() for n in row["name"].split("/")]
    if row["standard"] == "BCI":
        short = row["name"].removeprefix("BCI ")
        return [f"(?:BCI|GROUP|GROUP SIZE) ?{short}", *([short] if sure and not short.isdigit() else [])]
    names += re.findall(r"BCI \w+", row["also_named"])
    return names + ([row["also_named"].split()[0]] if sure and row["also_named"] else [])


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two electrical parts of one kind."""
    compare_features(wanted, offered, judging)
    if wanted.kind in (BRUSH, BATTERY):
        names = {BRUSH: {"t": "tangential size", "a": "axial size", "r": "length"},
                 BATTERY: {"length": "length", "width": "width", "height": "height"}}[wanted.kind]  # fmt: skip
        if compare_sizes(wanted, offered, judging, names):
            judging.note("same size: " + " x ".join(shown(wanted.dims[c]) for c in names))
        if wanted.kind == BRUSH:
            judging.caution("Size is not all: ask the grade, the lead and the shape of the running face.")
        else:
            judging.caution("See where the poles are, the hold-down and the capacity, and the charge voltage.")
    elif wanted.kind == LAMP and (wanted.dims or offered.dims):
        compare_sizes(wanted, offered, judging, {"length": "length"}, Decimal("0.5"))
    if wanted.kind == FUSE:
        judging.caution("A fuse protects the cable: take the current that the cable stands, never a larger one.")
        _unsized(wanted, offered, judging)
    if judging.verdict == "same":
        judging.note(f"the same by all that is said: {wanted.size}")


def _unsized(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if not (wanted.marks.get("size") and offered.marks.get("size")) and judging.verdict == "same":
        judging.near("the size of the body is not said by both: ask", "size")
