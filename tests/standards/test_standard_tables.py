"""The tables of standard sizes agree with themselves and with the rules of the standards they come from."""

from __future__ import annotations

import csv
import itertools
import math
import re
from collections import Counter
from pathlib import Path

import pytest

from repairecon.records import STATUSES
from repairecon.standards import tables
from repairecon.standards.bearings import bore
from repairecon.standards.tables import Row, rows

ROOM = Path(tables.__file__).parent
NAMES = sorted(path.stem for path in ROOM.glob("*.csv"))
KEYS = {
    "batteries": ("name",),
    "bearing_name_clashes": ("name",),
    "bearing_types": ("by", "written"),
    "bearings": ("designation",),
    "bearings_more": ("designation",),
    "bearings_taper_inch": ("pair",),
    "belts_multirib": ("profile",),
    "belts_synchronous": ("mark",),
    "brushes_sizes": ("t_or_a_or_r_mm",),
    "feature_pairs": ("kind", "feature", "wanted", "offered", "when"),
    "features": ("kind", "feature"),
    "fuse_speeds": ("letter",),
    "fuses_blade": ("name",),
    "fuses_glass": ("name",),
    "hose_bores": ("bore_nominal_mm",),
    "hose_fittings_dash": ("dash",),
    "hose_standards": ("standard", "mark"),
    "hose_tails": ("tail_inch",),
    "hose_unfit_words": ("wanted_service", "offered_words"),
    "lamp_bases": ("base",),
    "lamp_festoon": ("length_mm", "diameter_mm"),
    "measured_kinds": ("kind", "role", "name", "value"),
    "measured_labels": ("value",),
    "material_words": ("kind", "pattern"),
    "mechanical_seal_materials": ("part", "code"),
    "mechanical_seals": ("designation_normal",),
    "pins_clips": ("designation",),
    "relays": ("name",),
    "retaining_rings_heavy": ("designation",),
    "stainless_classes": ("mark",),
    "stainless_grades": ("grade",),
    "threads": ("designation",),
    "threads_fit": ("wanted", "offered"),
    "woodruff_inch": ("key_number",),
    "woodruff_metric": ("designation",),
    "words": ("words", "role", "kind", "feature"),
    "bearing_clearance": ("group", "bore_over_mm"),
    "bearing_marks": ("code",),
    "belts_lengths": ("section", "number", "circumference_named"),
    "belts_sections": ("section",),
    "circlips_keys": ("standard", "nominal_mm"),
    "oring_as568": ("dash",),
    "oring_metric": ("standard", "code"),
    "rubber_storage": ("standard", "group", "material_families"),
    "seal_materials": ("material", "fluid"),
    "seal_ranges": ("material",),
    "seal_types": ("code",),
    "seals": ("designation",),
    "sizes": ("kind", "letter"),
    "writings": ("kind", "role", "pattern"),
}


def test_every_table_is_known_and_read() -> None:
    assert set(NAMES) == set(KEYS)
    code = "".join(path.read_text("utf-8") for path in [*ROOM.glob("*.py"), ROOM / "measured_kinds.csv"])
    assert [name for name in NAMES if name not in code] == []
    assert all(rows(name) for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_has_a_status_and_a_source(name: str) -> None:
    for row in rows(name):
        assert row["status"] in STATUSES, row
        assert row["source"].strip(), row
        if row["source"].startswith("from memory"):
            assert row["status"] in ("from memory", "doubtful"), row


@pytest.mark.parametrize("name", NAMES)
def test_no_row_twice(name: str) -> None:
    seen = Counter(tuple(row[c] for c in KEYS[name]) for row in rows(name))
    assert [k for k, n in seen.items() if n > 1] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_row_is_as_wide_as_its_heading(name: str) -> None:
    with (ROOM / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        assert len({len(row) for row in csv.reader(file)}) == 1


# ISO 15 / bearing bore code: 00 01 02 03 are 10 12 15 17 mm, from 04 the code times five, a slash gives mm;
# of three digits the last is the bore (general catalogue text)
def rule(designation: str) -> float:
    if "/" in designation:
        return float(designation.partition("/")[2])
    if len(designation) == 3:
        return float(designation[2])
    code = int(designation[-2:])
    return [10.0, 12.0, 15.0, 17.0][code] if code < 4 else code * 5.0


def test_bores_obey_the_bore_code() -> None:
    for row in rows("bearings"):
        for name in filter(None, (row["designation"], row["alt_designation"])):
            assert rule(name) == float(row["d_mm"]) == bore(name), row


def by_series() -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in sorted(rows("bearings"), key=lambda r: float(r["d_mm"])):
        found.setdefault(row["series"], []).append(row)
    return found


def test_bearings_grow_with_their_bore() -> None:
    for series in by_series().values():
        for small, large in itertools.pairwise(series):
            assert float(small["d_mm"]) < float(large["d_mm"])
            assert float(small["D_mm"]) < float(large["D_mm"])
            assert float(small["B_mm"]) <= float(large["B_mm"])


def test_outside_diameters_grow_with_the_diameter_series() -> None:
    # ISO 15: diameter series 8, 9, 0, 2, 3 in rising order; series 160 and 60 are one diameter series, 160 narrower
    size: dict[float, dict[str, Row]] = {}
    for row in rows("bearings"):
        size.setdefault(float(row["d_mm"]), {})[row["series"]] = row
    for found in size.values():
        outer = [float(found[s]["D_mm"]) for s in ("618", "619", "60", "62", "63") if s in found]
        assert outer == sorted(set(outer))
        if {"160", "60"} <= set(found):
            assert found["160"]["D_mm"] == found["60"]["D_mm"]
            assert float(found["160"]["B_mm"]) < float(found["60"]["B_mm"])


def test_clearance_groups_rise_and_leave_no_gap() -> None:
    by_group: dict[str, list[Row]] = {}
    for row in rows("bearing_clearance"):
        by_group.setdefault(row["group"], []).append(row)
        assert float(row["clearance_min_um"]) < float(row["clearance_max_um"])
    for group in by_group.values():
        assert all(a["bore_to_mm"] == b["bore_over_mm"] for a, b in itertools.pairwise(group))
    for low, high in itertools.pairwise(("C2", "CN", "C3", "C4", "C5")):
        mids = [
            {r["bore_to_mm"]: float(r["clearance_min_um"]) + float(r["clearance_max_um"]) for r in by_group[g]}
            for g in (low, high)
        ]
        assert all(mids[0][b] < mids[1][b] for b in set(mids[0]) & set(mids[1]))


def test_outside_less_inside_is_two_pi_heights() -> None:
    checked = 0
    for row in rows("belts_sections"):
        # the American list rounds to whole inches and says so in its note
        if row["La_minus_Li_mm"] and row["height_mm"] and row["family"] != "American":
            assert float(row["La_minus_Li_mm"]) == pytest.approx(2 * math.pi * float(row["height_mm"]), abs=1.0), row
            checked += 1
        if row["Ld_minus_Li_mm"] and row["La_minus_Ld_mm"]:
            parts = float(row["Ld_minus_Li_mm"]) + float(row["La_minus_Ld_mm"])
            assert parts == float(row["La_minus_Li_mm"]), row
    assert checked >= 25


def section(name: str) -> Row:
    return next(r for r in rows("belts_sections") if name in r["names"].split())


def test_listed_lengths_agree_with_the_sections() -> None:
    for row in rows("belts_lengths"):
        of = section(row["section"])
        inner = [float(row[c]) for c in ("Li_catalogue1_mm", "Li_catalogue2_mm") if row[c]]
        if inner:
            assert any(float(row["La_mm"]) - i == float(of["La_minus_Li_mm"]) for i in inner), row
        if inner and row["Ld_catalogue1_mm"]:
            printed = {float(of[c]) for c in ("Ld_minus_Li_mm", "Ld_minus_Li_other_mm") if of[c]}
            assert float(row["Ld_catalogue1_mm"]) - inner[0] in printed, row
        if not inner and row["Ld_catalogue1_mm"]:
            assert float(row["La_mm"]) - float(row["Ld_catalogue1_mm"]) == float(of["La_minus_Ld_mm"]), row
        if row["nominal_inch_x25_4_mm"]:
            tenths = 10 if row["section"].endswith("L") else 1
            nominal = float(row["number"]) / tenths * 25.4
            assert float(row["nominal_inch_x25_4_mm"]) == pytest.approx(nominal, abs=0.501), row


def test_o_rings_add_up() -> None:
    for row in (*rows("oring_as568"), *rows("oring_metric")):
        inner, cord, outer = (float(row[c]) for c in ("id_mm", "cs_mm", "od_mm"))
        assert outer == pytest.approx(inner + 2 * cord, abs=0.005), row
    for row in rows("oring_as568"):
        for size in ("id", "cs"):
            assert float(row[f"{size}_in"]) == pytest.approx(float(row[f"{size}_mm"]) / 25.4, abs=0.00051), row


def test_sections_of_dash_numbers() -> None:
    # SAE AS568: sections of the hundreds 0.070, 0.103, 0.139, 0.210, 0.275 in (from memory); -001 to -003 are thinner
    cords = {"0": "0.070", "1": "0.103", "2": "0.139", "3": "0.210", "4": "0.275"}
    for row in rows("oring_as568"):
        if row["dash"] not in ("-001", "-002", "-003"):
            assert row["cs_in"] == cords[row["dash"][1]], row


# SAE AS568 inside diameter x section [in] (from memory)
@pytest.mark.parametrize(
    ("code", "inner", "cord"),
    [("-012", 0.364, 0.070), ("-116", 0.737, 0.103), ("-214", 0.984, 0.139), ("-325", 1.475, 0.210)],
)
def test_known_dash_numbers(code: str, inner: float, cord: float) -> None:
    row = next(r for r in rows("oring_as568") if r["dash"] == code)
    assert float(row["id_in"]) == pytest.approx(inner, abs=0.0011)
    assert float(row["cs_in"]) == cord


def test_seals_and_their_names() -> None:
    for row in rows("seals"):
        inner, outer, width = (float(row[c]) for c in ("d_mm", "D_mm", "b_mm"))
        assert row["designation"] == f"{row['d_mm']}x{row['D_mm']}x{row['b_mm']}"
        assert 0 < inner < outer
        assert 0 < width < outer


def test_circlips_sit_in_their_grooves() -> None:
    for row in (r for r in rows("circlips_keys") if r["item"] == "circlip"):
        nominal, thick, groove, wide = (
            float(row[c]) for c in ("nominal_mm", "thickness_s_mm", "groove_d_mm", "groove_width_m_mm")
        )
        assert (groove < nominal) == ("shaft" in row["standard"])
        # a ring thicker than its groove is a misprint of the list, and said to be doubtful
        assert (thick < wide) == (row["status"] == "published"), row


# DIN 471 and DIN 472: thickness s and groove diameter; DIN 6885-1: b x h by shaft (from memory)
def test_known_circlips_and_keys() -> None:
    by_name = {(r["standard"], r["nominal_mm"]): r for r in rows("circlips_keys")}
    for standard, nominal, thick, groove in (
        ("DIN 471 (shaft)", "20", 1.2, 19.0),
        ("DIN 471 (shaft)", "40", 1.75, 37.5),
        ("DIN 472 (bore)", "47", 1.75, 49.5),
        ("DIN 472 (bore)", "52", 2.0, 55.0),
    ):
        row = by_name[standard, nominal]
        assert (float(row["thickness_s_mm"]), float(row["groove_d_mm"])) == (thick, groove)
    for shaft, size in (("20", (6, 6)), ("25", (8, 7)), ("35", (10, 8)), ("40", (12, 8))):
        row = by_name["DIN 6885-1", shaft]
        assert (float(row["b_mm"]), float(row["h_mm"])) == size


def test_only_the_sections_of_lists_are_listed() -> None:
    known = {name for r in rows("belts_sections") for name in r["names"].split()}
    assert {r["section"] for r in rows("belts_lengths")} <= known
    names = Counter(name for r in rows("belts_sections") for name in r["names"].split())
    assert [n for n, count in names.items() if count > 1] == []


def test_no_address_and_no_maker_in_the_tables() -> None:
    text = "".join((ROOM / f"{name}.csv").read_text("utf-8") for name in NAMES)
    assert re.findall(r"https?://|www\.|®|™", text) == []


def test_pairs_are_of_listed_features_and_words() -> None:
    listed = {(r["kind"], r["feature"]) for r in rows("features")}
    for row in rows("feature_pairs"):
        assert (row["kind"], row["feature"]) in listed
        assert row["verdict"] in ("", "same", "near", "not", "unknown")
        assert bool(row["says"]) == bool(row["verdict"])
        assert re.compile(row["wanted"]).groups <= 1
        assert set(re.findall(r"{(\w*)}", row["says"])) <= {"want", "has"}
    # every pair of sealings that the marks can say has a finding of its own
    sealings = {r["value"] for r in rows("bearing_marks") if r["feature"] == "sealing"} | {"open", "not said"}
    pairs = [r for r in rows("feature_pairs") if r["feature"] == "sealing" and r["verdict"]]
    for want, has in itertools.permutations(sealings, 2):
        assert any(re.fullmatch(r["wanted"], want) and re.fullmatch(r["offered"], has) for r in pairs), (want, has)
