"""Circlips of shaft and bore, parallel keys, Woodruff keys and pins."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.standards.findings import Found, Judging, by_row, compare_features, compare_sizes, sized
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
_PINS = {
    "spring pin, heavy": "ISO 8752", "spring pin, light": "ISO 13337", "spring pin, coiled": "ISO 8750",
    "split pin": "ISO 1234", "taper pin": "ISO 2339", "parallel pin": "ISO 2338", "grooved pin": "ISO 8739",
}  # fmt: skip
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
    place, form = _feature(text, CIRCLIP, "place"), _feature(text, CIRCLIP, "form")
    heavy = text.take(r"(?<=[\s¦])H(?=[\s-]*\d)") or _feature(text, CIRCLIP, "duty") == "heavy"
    type_ = "heavy" if heavy else "E" if form == "E" else ""
    against: list[str] = []
    labelled = next((s.label for s in text.sizes if s.label in ("shaft", "bore", "diameter")), "")
    if labelled:
        said = labelled if labelled != "diameter" else ""
        against = [f"says both {place} and {said}"] if place and said and place != said else []
        place = place or said
        nominal, thick = sized(text, labelled), sized(text, "thickness")
    elif size := text.take(_SIZE):
        nominal, thick = Decimal(size[2]), Decimal(size[3]) if size[3] else sized(text, "thickness")
    else:
        return None
    if nominal is None:
        return None
    ring = _ring(nominal, thick, "shaft" if type_ == "E" and not place else place, type_)
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
        columns = {"thickness_s": "thickness_mm" if type_ == "E" else "thickness_s_mm", "groove_d": "groove_d_mm",
                   "groove_width_m": "groove_width_m_mm"}  # fmt: skip
        dims |= {letter: exact(row[c]) for letter, c in columns.items() if row.get(c)}
    if thick is not None:
        dims["thickness_s"] = thick
    return by_row(CIRCLIP, " ".join(w for w in (type_, shown(nominal), place) if w), dims, row, marks)


def read_key(text: Text, sure: bool) -> Found | None:
    """A parallel key: b x h x length, with its form."""
    if not sure:
        return None
    inch = _INCH.search(text.left)
    if inch and ("/" in inch[0] or inch[4]):
        text.cut(*inch.span())
        sizes = [millimetres(s, None if "/" in s else "IN") for s in inch.group(1, 2, 3) if s]
        known = zip(("b", "h", "length"), [s for s in sizes if s is not None], strict=False)
        return Found(KEY, inch[0].strip(), dict(known), listed=False)
    size = text.take(_SIZE)
    if size is None or size[3] is None:
        return None
    letter = text.take(r"(?<![A-Z\d.])(?:FORM ?)?(AB|[AB])(?![\w.])") if not size[1] else None
    dims = dict(zip(("b", "h", "length"), [Decimal(s) for s in size.group(2, 3, 4) if s], strict=False))
    if "length" not in dims and (long := sized(text, "length")):
        dims["length"] = long
    keys = (r for r in rows("circlips_keys") if r["item"] == KEY)
    row = next((r for r in keys if (exact(r["b_mm"]), exact(r["h_mm"])) == (dims["b"], dims["h"])), None)
    form = size[1] or (letter[1] if letter else "")
    return by_row(KEY, "x".join(map(shown, dims.values())), dims, row, {"form": form})


def read_woodruff(text: Text, sure: bool) -> Found | None:
    """A Woodruff key: b x h, b x h x diameter, or an inch key number."""
    if not sure:
        return None
    size = _SIZE.search(text.left)
    if size is None or size[3] is None:
        return _woodruff_inch(text) or _woodruff_number(text)
    text.take(_SIZE)
    dims = {"b": Decimal(size[2]), "h": Decimal(size[3])}
    name = "x".join(map(shown, dims.values()))
    row = by("woodruff_metric", "designation").get(name)
    if row is not None:
        dims["D"] = exact(row["diameter_D_mm"])
    found = by_row(WOODRUFF, name, dims, row)
    if size[4]:
        third = found.dims.setdefault("D", Decimal(size[4]))
        if abs(third - Decimal(size[4])) > Decimal("0.5"):
            found.against.append(f"says diameter {size[4]}, but {name} has {shown(third)}")
    return found


def _woodruff_inch(text: Text) -> Found | None:
    """An inch key by width x diameter: 1/8 x 1/2."""
    match = _INCH.search(text.left)
    if match is None or "/" not in match[0] or match[3]:
        return None
    width, diameter = (millimetres(s, None if "/" in s else "IN") or Decimal(0) for s in match.group(1, 2))
    for row in rows("woodruff_inch"):
        gaps = exact(row["width_mm"]) - width, exact(row["diameter_mm"]) - diameter
        if max(map(abs, gaps)) < Decimal("0.01"):
            text.cut(*match.span())
            text.left = f"{text.left} {row['key_number']}"
            return _woodruff_number(text)
    return None


def _woodruff_number(text: Text) -> Found | None:
    number = text.take(_KEY_NUMBER)
    if number is None:
        return None
    row = by("woodruff_inch", "key_number").get(number[1])
    if row is None:
        return Found(WOODRUFF, f"No. {number[1]}", listed=False)
    dims = {"b": exact(row["width_mm"]), "h": exact(row["height_mm"]), "D": exact(row["diameter_mm"])}
    return by_row(WOODRUFF, f"No. {number[1]}", dims, row, {"system": "inch"})


def read_pin(text: Text, sure: bool) -> Found | None:
    """A pin by its standard or name, nominal diameter and length."""
    item = _feature(text, PIN, "item")
    size = text.take(_STANDARD_PIN) if sure and item else None
    if size is None:
        return None
    if item.startswith("spring pin") and (duty := _feature(text, PIN, "duty")):
        item = "spring pin, coiled" if "coiled" in item else f"spring pin, {duty}"
        text.entries = [(w, e) for w, e in text.entries if e.feature not in ("duty", "item")]
    dims = {"nominal": Decimal(size[1])} | ({"length": Decimal(size[2])} if size[2] else {})
    row = by("pins_clips", "designation").get(f"{_PINS[item]} - {shown(dims['nominal'])}")
    return by_row(PIN, f"{item} {'x'.join(map(shown, dims.values()))}", dims, row, {"item": item})


def compare(judging: Judging) -> None:
    """All findings on two circlips, two keys or two pins."""
    wanted, offered = judging.both
    compare_features(judging)
    for part in judging.both:
        if not part.listed:
            if wanted.size == offered.size and part.dims and part.kind != CIRCLIP:
                judging.note(f"{part.size} is not in the table of sizes; it is taken as written")
            else:
                judging.unknown(f"{part.size} is not in the table of sizes: measure it", "size")
    if wanted.kind == CIRCLIP:
        _rings(judging)
    elif wanted.kind == PIN:
        compare_sizes(judging, {"nominal": "nominal diameter"})
        _length(judging)
    elif wanted.dims and offered.dims:
        names = {"b": "width", "h": "height"} | ({"D": "diameter"} if wanted.kind == WOODRUFF else {})
        inch_height = wanted.kind == WOODRUFF and wanted.size != offered.size
        if compare_sizes(judging, names, Decimal("0.02") if inch_height else Decimal("0.005")):
            judging.note(f"same width and height: {shown(wanted.dims['b'])} x {shown(wanted.dims['h'])} mm")
        _length(judging)


def _rings(judging: Judging) -> None:
    if not any(judging.marks("place")):
        judging.unknown("say whether the ring sits on a shaft (DIN 471) or in a bore (DIN 472)", "place")
    want, has = judging.sizes("nominal")
    if judging.gap("nominal"):
        judging.refuse(f"nominal diameter {shown(has)} against {shown(want)} mm", "size")
        return
    if judging.verdict == "same":
        judging.note(f"same nominal diameter: {shown(want)} mm")
    if judging.have("thickness_s") == 2 and (gap := judging.gap("thickness_s")):
        want, has = judging.sizes("thickness_s")
        groove = judging.wanted.dims.get("groove_width_m")
        said = f"{shown(has)} mm thick against {shown(want)} mm"
        if groove is not None and has > exact(groove):
            judging.refuse(f"{said}: does not go into a groove {shown(groove)} mm wide", "thickness")
        else:
            judging.near(f"{said}: holds less, or is loose in the groove" if gap < 0 else said, "thickness")


def _length(judging: Judging) -> None:
    if judging.have("length") == 1:
        judging.near("only one of the two says its length", "length")
    elif judging.have("length") and (gap := judging.gap("length")):
        what = "longer: cut it to length" if gap > 0 else "shorter: less flank carries the load"
        judging.near(f"{shown(abs(gap))} mm {what}", "length")
