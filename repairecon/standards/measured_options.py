"""The listed parts that a measured one is held against, by kind, with their nominal sizes [mm] by letter."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import cache
from typing import NamedTuple

from repairecon.standards import bearing_names
from repairecon.standards.rings_keys import rings
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import exact, shown


class Option(NamedTuple):
    """A listed part: its name, nominal sizes [mm] by letter, note and status; lower ``rank`` is named first."""

    name: str
    dims: Mapping[str, Decimal]
    note: str
    status: str
    rank: int = 0


@cache
def bearings_options() -> tuple[Option, ...]:
    """Bearings of every type."""
    found = []
    for part in bearing_names.listed():
        note = part.type if part.row.get("status") == "published" else f"{part.type}; {part.row['status']}"
        dims = dict(zip(bearing_names.ORDER, part.dims, strict=True))
        rank = 0 if part.type == bearing_names.DEEP_GROOVE else 1
        found.append(Option(part.name.replace(" ", ""), dims, note, part.row["status"], rank))
        if part.row.get("series") == "NU22":
            # ISO 15: the spherical roller bearing of dimension series 22 has the same three sizes
            number = part.name.replace("NU 22", "222")
            found.append(Option(number, dims, "spherical roller bearing, ISO 15 dimension series 22", "from memory", 2))
    return tuple(found)


def _plain(name: str, columns: Mapping[str, str], called: Callable[[Row], str]) -> tuple[Option, ...]:
    found = []
    for row in rows(name):
        dims = {c: exact(row[column]) for c, column in columns.items() if row.get(column)}
        if dims:
            found.append(Option(called(row), dims, row.get("note", ""), row["status"]))
    return tuple(found)


@cache
def seals_options() -> tuple[Option, ...]:
    """Lip seals."""
    return _plain("seals", {"d": "d_mm", "D": "D_mm", "b": "b_mm"}, lambda r: r["designation"])


@cache
def orings_options() -> tuple[Option, ...]:
    """O-rings of the inch, metric and Japanese tables."""
    sizes = {"id": "id_mm", "cs": "cs_mm", "od": "od_mm"}
    inch = _plain("oring_as568", sizes, lambda r: f"AS568{r['dash']}")
    metric = [o._replace(name=o.name) for o in _plain("oring_metric", sizes, _metric_name)]
    return (*inch, *metric)


def _metric_name(row: Row) -> str:
    return f"JIS {row['code']}" if row["standard"].startswith("JIS") else row["code"]


@cache
def circlips_options() -> tuple[Option, ...]:
    """Circlips, normal, heavy and of the E type."""
    found = []
    for (nominal, place, type_), row in rings().items():
        thick = row.get("thickness_s_mm") or row["thickness_mm"]
        standard = "DIN 6799" if type_ == "E" else "DIN 471" if place == "shaft" else "DIN 472"
        words = f"{standard}{' heavy' if type_ == 'heavy' else ''} {shown(nominal)}x{shown(exact(thick))}"
        dims = {place: nominal, "s": exact(thick)}
        found.append(Option(words, dims, f"for a {place}", row["status"], {"": 0, "heavy": 0, "E": 1}[type_]))
    return tuple(found)


@cache
def keys_options() -> tuple[Option, ...]:
    """Parallel keys by width and height."""
    seen = {}
    for row in rows("circlips_keys"):
        if row["item"] == "parallel key":
            name = f"DIN 6885 {row['b_mm']}x{row['h_mm']}"
            dims = {"b": exact(row["b_mm"]), "h": exact(row["h_mm"])}
            seen[name] = Option(name, dims, "the length is cut to the keyway; say the form A or B", row["status"])
    return tuple(seen.values())


@cache
def woodruff_options() -> tuple[Option, ...]:
    """Woodruff keys of both systems."""
    metric = {"b": "width_b_mm", "h": "height_h_mm", "D": "diameter_D_mm"}
    inch = {"b": "width_mm", "h": "height_mm", "D": "diameter_mm"}
    return (*_plain("woodruff_inch", inch, lambda r: f"Woodruff {r['key_number']}"),
            *_plain("woodruff_metric", metric, lambda r: f"Woodruff {r['designation']}"))  # fmt: skip


@cache
def hoses_options() -> tuple[Option, ...]:
    """Hoses by nominal bore, each by its mm, inch and dash name."""
    found = []
    for row in rows("hose_bores"):
        names = [f"{row['bore_nominal_mm']} mm", row["inch"] and f"{row['inch']} in", row["dash"]]
        dims = {"bore": exact(row["bore_nominal_mm"])}
        found += [Option(name, dims, row["note"], row["status"], rank) for rank, name in enumerate(names) if name]
    return tuple(found)


@cache
def pump_seals_options() -> tuple[Option, ...]:
    """Pump shaft seals of EN 12756."""

    def called(row: Row) -> str:
        return f"{row['designation_normal']} or {row['designation_short']}"

    return _plain("mechanical_seals", {"d1": "shaft_d1_mm"}, called)


@cache
def brushes_options() -> tuple[Option, ...]:
    """Carbon brushes of preferred sizes."""
    preferred = rows("brushes_sizes")
    return tuple(
        Option(f"brush {t['t_or_a_or_r_mm']}x{a['t_or_a_or_r_mm']}",
               {"t": exact(t["t_or_a_or_r_mm"]), "a": exact(a["t_or_a_or_r_mm"])}, "preferred sizes", t["status"])
        for t in preferred for a in preferred
    )  # fmt: skip


@cache
def pins_options() -> tuple[Option, ...]:
    """Pins and E-clips by their measured diameter."""
    return tuple(
        Option(r["designation"].replace(" - ", " "), {"d": exact(r["measured_d_mm"])}, r["item"], r["status"])
        for r in rows("pins_clips")
        if r["measured_d_mm"]
    )


@cache
def festoons_options() -> tuple[Option, ...]:
    """Festoon lamps by length."""
    return _plain("lamp_festoon", {"length": "length_mm", "diameter": "diameter_mm"},
                  lambda r: f"festoon {r['length_mm']} mm {r['base']}")  # fmt: skip


@cache
def threads_options() -> tuple[Option, ...]:
    """Threads by major diameter and pitch."""
    found = _plain("threads", {"major": "major_d_mm", "pitch": "pitch_mm", "tpi": "tpi"}, lambda r: r["designation"])
    taper = {r["designation"] for r in rows("threads") if r["form"].startswith("taper")}
    return tuple(o._replace(rank=1 if o.name in taper else 0) for o in found)


@cache
def fuses_options() -> tuple[Option, ...]:
    """Tube fuses."""
    return _plain("fuses_glass", {"diameter": "diameter_mm", "length": "length_mm"}, lambda r: r["name"])


@cache
def batteries_options() -> tuple[Option, ...]:
    """Batteries by length, width and height."""
    sizes = {"length": "length_mm", "width": "width_mm", "height": "height_mm"}
    return _plain("batteries", sizes, lambda r: r["name"])
