"""Circlips of shaft and bore, parallel keys, Woodruff keys and pins."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from repairecon.standards.findings import TAKEN_AS_WRITTEN, Found, Judging, by_row, compare_sizes
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
def rings() -> Mapping[tuple[Decimal, str, str], Row]:
    """Retaining rings by nominal diameter, place and type (``""``, ``heavy``, ``E``)."""
    listed = [(row, row["standard"], "") for row in rows("circlips_keys") if row["item"] == CIRCLIP]
    listed += [(row, row["item"], "heavy") for row in rows("retaining_rings_heavy")]
    listed += [(row, "shaft", "E") for row in rows("pins_clips") if row["item"].startswith("E-clip")]
    return MappingProxyType({
        (exact(row["nominal_mm"]), "shaft" if "shaft" in place else "bore", type_): row for row, place, type_ in listed
    })  # fmt: skip


def read_ring(text: Text) -> Found | None:
    """A circlip by its standard or place and its nominal diameter."""
    place = text.feature("place")
    heavy = text.take(r"(?<=[\s¦])H(?=[\s-]*\d)") or text.feature("duty") == "heavy"
    type_ = "heavy" if heavy else "E" if text.feature("form") == "E" else ""
    label = next((s.label for s in text.sizes if s.label in ("shaft", "bore", "diameter")), "")
    size = None if label else text.take(_SIZE)
    nominal = Decimal(size[2]) if size else text.sized(label)
    if nominal is None:
        return None
    said = label.replace("diameter", "")
    against = [f"says both {place} and {said}"] if place and said and place != said else []
    place = place or said or ("shaft" if type_ == "E" else "")
    thick = Decimal(size[3]) if size and size[3] else text.sized("thickness")
    heavy_row = rings().get((nominal, place, "heavy"))
    if not type_ and heavy_row and exact(heavy_row["thickness_s_mm"]) == thick:
        type_ = "heavy"
    row, dims = rings().get((nominal, place, type_)), {"nominal": nominal}
    if row is not None:
        columns = {"thickness_s": "thickness_mm" if type_ == "E" else "thickness_s_mm", "groove_d": "groove_d_mm",
                   "groove_width_m": "groove_width_m_mm"}  # fmt: skip
        dims |= {letter: exact(row[c]) for letter, c in columns.items() if row.get(c)}
    if thick is not None:
        dims["thickness_s"] = thick
    marks = {"place": place, "duty": "heavy" if type_ == "heavy" else "", "form": "E" if type_ == "E" else ""}
    ring = by_row(CIRCLIP, " ".join(filter(None, (type_, shown(nominal), place))), dims, row, marks)
    ring.against += against
    return ring


def read_key(text: Text) -> Found | None:
    """A parallel key: b x h x length, with its form."""
    inch = _INCH.search(text.left)
    if inch and ("/" in inch[0] or inch[4]):
        text.cut(*inch.span())
        known = filter(None, (millimetres(s, None if "/" in s else "IN") for s in inch.group(1, 2, 3) if s))
        return Found(KEY, inch[0].strip(), dict(zip(("b", "h", "length"), known, strict=False)), listed=False)
    size = text.take(_SIZE)
    if size is None or size[3] is None:
        return None
    letter = text.take(r"(?<![A-Z\d.])(?:FORM ?)?(AB|[AB])(?![\w.])") if not size[1] else None
    dims = dict(zip(("b", "h", "length"), [Decimal(s) for s in size.group(2, 3, 4) if s], strict=False))
    if "length" not in dims and (long := text.sized("length")):
        dims["length"] = long
    keys = (r for r in rows("circlips_keys") if r["item"] == KEY)
    row = next((r for r in keys if (exact(r["b_mm"]), exact(r["h_mm"])) == (dims["b"], dims["h"])), None)
    form = size[1] or (letter[1] if letter else "")
    return by_row(KEY, "x".join(map(shown, dims.values())), dims, row, {"form": form})


def read_woodruff(text: Text) -> Found | None:
    """A Woodruff key: b x h, b x h x diameter, or an inch key by its number or by width x diameter."""
    size = _SIZE.search(text.left)
    if size is None or size[3] is None:
        return _woodruff_number(text)
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


def _woodruff_number(text: Text) -> Found | None:
    """An inch key by its number, or by the width x diameter that the number names: 1/8 x 1/2."""
    number, inch = "", _INCH.search(text.left)
    if inch and "/" in inch[0] and not inch[3]:
        width, diameter = (millimetres(s, None if "/" in s else "IN") or Decimal(0) for s in inch.group(1, 2))
        gaps = ((r, abs(exact(r["width_mm"]) - width), abs(exact(r["diameter_mm"]) - diameter))
                for r in rows("woodruff_inch"))  # fmt: skip
        number = next((r["key_number"] for r, *both in gaps if max(both) < Decimal("0.01")), "")
        if number:
            text.cut(*inch.span())
    if not number and (written := text.take(_KEY_NUMBER)):
        number = written[1]
    if not number:
        return None
    row = by("woodruff_inch", "key_number").get(number)
    letters = {"b": "width_mm", "h": "height_mm", "D": "diameter_mm"}
    dims = {letter: exact(row[column]) for letter, column in letters.items()} if row else {}
    return by_row(WOODRUFF, f"No. {number}", dims, row, {"system": "inch"} if row else {})


def read_pin(text: Text) -> Found | None:
    """A pin by its standard or name, nominal diameter and length."""
    item = text.feature("item")
    size = text.take(_STANDARD_PIN) if item else None
    if size is None:
        return None
    if item.startswith("spring pin") and (duty := text.feature("duty")):
        item = "spring pin, coiled" if "coiled" in item else f"spring pin, {duty}"
        text.drop("duty", "item")
    dims = {"nominal": Decimal(size[1])} | ({"length": Decimal(size[2])} if size[2] else {})
    row = by("pins_clips", "designation").get(f"{_PINS[item]} - {shown(dims['nominal'])}")
    return by_row(PIN, f"{item} {'x'.join(map(shown, dims.values()))}", dims, row, {"item": item})


def compare(judging: Judging) -> None:
    """All findings on two circlips, two keys or two pins."""
    wanted, offered = judging.both
    for part in judging.both:
        if not part.listed and wanted.size == offered.size and part.dims and part.kind != CIRCLIP:
            judging.note(f"{part.size} {TAKEN_AS_WRITTEN}")
        elif not part.listed:
            judging.unknown(f"{part.size} is not in the table of sizes: measure it", "size")
    if wanted.kind == CIRCLIP:
        _rings(judging)
    elif wanted.dims and offered.dims:
        if compare_sizes(judging, "b", "h", "D") and wanted.kind != PIN:
            judging.note_sizes("width and height", "bh")
        compare_sizes(judging, "nominal", "length")


def _rings(judging: Judging) -> None:
    if not any(judging.marks("place")):
        judging.unknown("say whether the ring sits on a shaft (DIN 471) or in a bore (DIN 472)", "place")
    if not compare_sizes(judging):
        return
    if judging.verdict == "same":
        judging.note_sizes("nominal diameter", ["nominal"])
    if judging.have("thickness_s") == 2 and (gap := judging.gap("thickness_s")):
        want, has = judging.sizes("thickness_s")
        groove = judging.wanted.dims.get("groove_width_m")
        said = f"{shown(has)} mm thick against {shown(want)} mm"
        if groove is not None and has > exact(groove):
            judging.refuse(f"{said}: does not go into a groove {shown(groove)} mm wide", "thickness")
        else:
            judging.near(f"{said}: holds less, or is loose in the groove" if gap < 0 else said, "thickness")
