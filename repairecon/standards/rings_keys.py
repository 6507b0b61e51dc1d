"""Circlips of shaft and bore, parallel keys, Woodruff keys and pins."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.findings import Found, Judging, compare_features, compare_sizes, sized
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import NUMBER, PART, Text, exact, millimetres, shown

CIRCLIP = "circlip"
KEY = "parallel key"
WOODRUFF = "Woodruff key"
PIN = "pin"
_SIZE = re.compile(
    rf"(?<![\w./])(?:([AB]{{1,2}}) ?)?({NUMBER})(?:X({NUMBER}))?(?:X({NUMBER}))?(?: ?MM)?(?![\d/\"]|X\d|\.\d)(?!\w)"
)
_INCH_SIGN = r"(?:\"|IN(?:CH(?:ES)?)?)"
_INCH = re.compile(
    rf"(?<![\w./])({PART}){_INCH_SIGN}? ?X ?({PART})(?:{_INCH_SIGN}? ?X ?({PART}))? ?({_INCH_SIGN})?(?!\w)"
)
_KEY_NUMBER = re.compile(r"(?<![\w./])(?:#|NO\.? ?|NR\.? ?)?(\d{3,4}(?:\.5)?)(?![\w./]| ?MM)")
_STANDARD_PIN = re.compile(rf"(?<![\w./])({NUMBER})(?: ?M6|H8)?(?:X({NUMBER}))?(?: ?MM)?(?![\d/]|X\d|\.\d)(?!\w)")


@cache
def rings() -> dict[tuple[Decimal, str, str], Row]:
    """Retaining rings by nominal diameter, place and type (``""``, ``heavy``, ``E``)."""
    found: dict[tuple[Decimal, str, str], Row] = {}
    for row in rows("circlips_keys"):
        if row["item"] == CIRCLIP:
            found[exact(row["nominal_mm"]), _place(row["standard"]), ""] = row
    for row in rows("retaining_rings_heavy"):
        found.setdefault((exact(row["nominal_mm"]), _place(row["item"]), "heavy"), row)
    for row in rows("pins_clips"):
        if row["item"].startswith("E-clip"):
            found[exact(row["nominal_mm"]), "shaft", "E"] = row
    return found


def _place(words: str) -> str:
    return "shaft" if "shaft" in words else "bore"


def _feature(text: Text, kind: str, name: str) -> str:
    return next((e.value for _, e in text.entries if e.kind == kind and e.feature == name), "")


def read_ring(text: Text, sure: bool) -> Found | None:
    """A circlip by its standard or place and its nominal diameter."""
    if not sure:
        return None
    heavy = text.take(r"(?<=[\s¦])H(?=[\s-]*\d)")
    place = _feature(text, CIRCLIP, "place")
    form = _feature(text, CIRCLIP, "form")
    type_ = "heavy" if heavy or _feature(text, CIRCLIP, "duty") == "heavy" else "E" if form == "E" else ""
    against: list[str] = []
    labelled = next((s.label for s in text.sizes if s.label in ("shaft", "bore", "diameter")), "")
    if labelled:
        said = labelled if labelled != "diameter" else ""
        against = [f"says both {place} and {said}"] if place and said and place != said else []
        place = place or said
        nominal, thick = sized(text, labelled), sized(text, "thickness")
    else:
        size = text.take(_SIZE)
        if size is None:
            return None
        nominal, thick = Decimal(size[2]), Decimal(size[3]) if size[3] else sized(text, "thickness")
    if nominal is None:
        return None
    place = "shaft" if type_ == "E" and not place else place
    ring = _ring(nominal, thick, place, type_)
    ring.against += against
    return ring


def _ring(nominal: Decimal, thick: Decimal | None, place: str, type_: str) -> Found:
    heavy = rings().get((nominal, place, "heavy"))
    if not type_ and thick is not None and heavy is not None and exact(heavy["thickness_s_mm"]) == thick:
        type_ = "heavy"
    row = rings().get((nominal, place, type_))
    marks = {"place": place, "duty": "heavy" if type_ == "heavy" else "", "form": "E" if type_ == "E" else ""}
    dims = {"nominal": nominal}
    if row is not None:
        columns = {"thickness_s": "thickness_s_mm", "groove_d": "groove_d_mm", "groove_width_m": "groove_width_m_mm"}
        if type_ == "E":
            columns = {"thickness_s": "thickness_mm", "groove_d": "groove_d_mm"}
        dims |= {letter: exact(row[c]) for letter, c in columns.items() if row[c]}
    if thick is not None:
        dims["thickness_s"] = thick
    size = " ".join(w for w in (type_, shown(nominal), place) if w)
    labels = {"shaft": "nominal", "bore": "nominal", "diameter": "nominal", "thickness": "thickness_s"}
    used = [] if row is None else [row]
    return Found(CIRCLIP, size, dims, marks, {}, used, row is not None, ("nominal", "thickness_s"), labels)


def read_key(text: Text, sure: bool) -> Found | None:
    """A parallel key: b x h x length, with its form."""
    if not sure:
        return None
    inch = _INCH.search(text.left)
    if inch and ("/" in inch[0] or inch[4]):
        text.take(_INCH)
        unit = None if "/" in inch[0] else "IN"
        sizes = [millimetres(s, unit) if "/" in s or unit else millimetres(s, "IN") for s in inch.group(1, 2, 3) if s]
        dims = dict(zip(("b", "h", "length"), [s for s in sizes if s is not None], strict=False))
        return Found(KEY, inch[0].strip(), dims, listed=False, order=("b", "h", "length"))
    size = text.take(_SIZE)
    if size is None or size[3] is None:
        return None
    form = size[1] or ""
    letter = text.take(r"(?<![A-Z\d.])(?:FORM ?)?(AB|[AB])(?![\w.])") if not form else None
    form = form or (letter[1] if letter else "")
    numbers = [Decimal(s) for s in size.group(2, 3, 4) if s]
    dims = dict(zip(("b", "h", "length"), numbers, strict=False))
    if "length" not in dims and (long := sized(text, "length")):
        dims["length"] = long
    row = next((r for r in rows("circlips_keys") if r["item"] == KEY and exact(r["b_mm"]) == numbers[0]
                and exact(r["h_mm"]) == numbers[1]), None)  # fmt: skip
    used = [] if row is None else [row]
    labels = {"width": "b", "height": "h", "thickness": "h", "length": "length"}
    size_words = "x".join(map(shown, dims.values()))
    return Found(KEY, size_words, dims, {"form": form}, {}, used, row is not None, ("b", "h", "length"), labels)


def read_woodruff(text: Text, sure: bool) -> Found | None:
    """A Woodruff key: b x h, b x h x diameter, or an inch key number."""
    if not sure:
        return None
    size = _SIZE.search(text.left)
    if size is None or size[3] is None:
        return _woodruff_inch(text) or _woodruff_number(text)
    text.take(_SIZE)
    b, h = Decimal(size[2]), Decimal(size[3])
    row = by("woodruff_metric", "designation").get(f"{shown(b)}x{shown(h)}")
    dims = {"b": b, "h": h}
    if row is not None:
        dims["D"] = exact(row["diameter_D_mm"])
    found = Found(WOODRUFF, f"{shown(b)}x{shown(h)}", dims, {}, {}, [] if row is None else [row], row is not None)
    found.order, found.labels = ("b", "h", "D"), {"width": "b", "height": "h", "diameter": "D"}
    if size[4]:
        third = Decimal(size[4])
        if "D" in dims and abs(dims["D"] - third) > Decimal("0.5"):
            found.against.append(f"says diameter {size[4]}, but {found.size} has {shown(dims['D'])}")
        dims.setdefault("D", third)
    return found


def _woodruff_inch(text: Text) -> Found | None:
    """An inch key by width x diameter: 1/8 x 1/2."""
    match = _INCH.search(text.left)
    if match is None or "/" not in match[0] or match[3]:
        return None
    b, diameter = (millimetres(s, None if "/" in s else "IN") for s in match.group(1, 2))
    for row in rows("woodruff_inch"):
        near = b and diameter and abs(exact(row["width_mm"]) - b) < Decimal("0.01")
        if near and diameter and abs(exact(row["diameter_mm"]) - diameter) < Decimal("0.01"):
            text.take(_INCH)
            text.left = f"{text.left} {row['key_number']}"
            return _woodruff_number(text)
    return None


def _woodruff_number(text: Text) -> Found | None:
    number = _KEY_NUMBER.search(text.left)
    row = by("woodruff_inch", "key_number").get(number[1]) if number else None
    if number is None:
        return None
    text.take(_KEY_NUMBER)
    if row is None:
        return Found(WOODRUFF, f"No. {number[1]}", listed=False)
    dims = {"b": exact(row["width_mm"]), "h": exact(row["height_mm"]), "D": exact(row["diameter_mm"])}
    labels = {"width": "b", "height": "h", "diameter": "D"}
    marks = {"system": "inch"}
    return Found(WOODRUFF, f"No. {number[1]}", dims, marks, used=[row], order=("b", "D"), labels=labels)


def read_pin(text: Text, sure: bool) -> Found | None:
    """A pin by its standard or name, nominal diameter and length."""
    item = _feature(text, PIN, "item")
    if not sure or not item:
        return None
    size = text.take(_STANDARD_PIN)
    if size is None:
        return None
    if item.startswith("spring pin") and (duty := _feature(text, PIN, "duty")):
        item = "spring pin, coiled" if "coiled" in item else f"spring pin, {duty}"
        text.entries = [(w, e) for w, e in text.entries if e.feature not in ("duty", "item")]
    nominal = Decimal(size[1])
    names = {
        "spring pin, heavy": "ISO 8752",
        "spring pin, light": "ISO 13337",
        "spring pin, coiled": "ISO 8750",
        "split pin": "ISO 1234",
        "taper pin": "ISO 2339",
        "parallel pin": "ISO 2338",
        "grooved pin": "ISO 8739",
    }
    row = by("pins_clips", "designation").get(f"{names[item]} - {shown(nominal)}")
    dims = {"nominal": nominal} | ({"length": Decimal(size[2])} if size[2] else {})
    labels = {"diameter": "nominal", "length": "length"}
    label = f"{item} {'x'.join(map(shown, dims.values()))}"
    used = [] if row is None else [row]
    return Found(PIN, label, dims, {"item": item}, {}, used, row is not None, ("nominal", "length"), labels)


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two circlips, two keys or two pins."""
    compare_features(wanted, offered, judging)
    for part in (wanted, offered):
        if not part.listed:
            if wanted.size == offered.size and part.dims and part.kind != CIRCLIP:
                judging.note(f"{part.size} is not in the table of sizes; it is taken as written")
            else:
                judging.unknown(f"{part.size} is not in the table of sizes: measure it", "size")
    if wanted.kind == CIRCLIP:
        _rings(wanted, offered, judging)
    elif wanted.kind == PIN:
        compare_sizes(wanted, offered, judging, {"nominal": "nominal diameter"})
        _length(wanted, offered, judging)
    else:
        _keys(wanted, offered, judging)


def _rings(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if "place" not in wanted.marks and "place" not in offered.marks:
        judging.unknown("say whether the ring sits on a shaft (DIN 471) or in a bore (DIN 472)", "place")
    gap = exact(offered.dims["nominal"]) - exact(wanted.dims["nominal"])
    judging.gap("nominal", gap)
    if gap:
        words = f"{shown(offered.dims['nominal'])} against {shown(wanted.dims['nominal'])} mm"
        judging.refuse(f"nominal diameter {words}", "size")
        return
    if judging.verdict == "same":
        judging.note(f"same nominal diameter: {shown(wanted.dims['nominal'])} mm")
    if "thickness_s" in wanted.dims and "thickness_s" in offered.dims:
        _thickness(wanted, offered, judging)


def _thickness(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = exact(wanted.dims["thickness_s"]), exact(offered.dims["thickness_s"])
    judging.gap("thickness_s", has - want)
    groove = wanted.dims.get("groove_width_m")
    if has == want:
        return
    said = f"{shown(has)} mm thick against {shown(want)} mm"
    if groove is not None and has > exact(groove):
        judging.refuse(f"{said}: does not go into a groove {shown(groove)} mm wide", "thickness")
    else:
        judging.near(f"{said}: holds less, or is loose in the groove" if has < want else said, "thickness")


def _keys(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if not (wanted.dims and offered.dims):
        return
    names = {"b": "width", "h": "height"} | ({"D": "diameter"} if wanted.kind == WOODRUFF else {})
    inch_height = wanted.kind == WOODRUFF and wanted.size != offered.size
    if compare_sizes(wanted, offered, judging, names, Decimal("0.02") if inch_height else Decimal("0.005")):
        judging.note(f"same width and height: {shown(wanted.dims['b'])} x {shown(wanted.dims['h'])} mm")
    _length(wanted, offered, judging)


def _length(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if "length" in wanted.dims and "length" in offered.dims:
        gap = exact(offered.dims["length"]) - exact(wanted.dims["length"])
        judging.gap("length", gap)
        if gap:
            what = "longer: cut it to length" if gap > 0 else "shorter: less flank carries the load"
            judging.near(f"{shown(abs(gap))} mm {what}", "length")
    elif ("length" in wanted.dims) != ("length" in offered.dims):
        judging.near("only one of the two says its length", "length")
