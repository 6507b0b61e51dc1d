"""More pairs of parts: from published lists of alternates, the suffix glossary and the size tables."""

from __future__ import annotations

import re

import pytest

from repairecon.standards import equivalent, identify
from repairecon.standards.tables import rows

# trade suffix glossary and prefix/suffix guide: which marks mean the same, and what may replace what
BEARINGS = [
    ("6203-2RS", "6203 DDU", "same", ()),
    ("6203-2RS1/C3", "6203 c3 llu", "same", ()),
    ("6203 C3 2RS", "6203-2rsr-c3", "same", ()),
    ("6203ZZC3", "6203-2Z/C3", "same", ()),
    ("6203-Z-RS", "6203-RS-Z", "same", ()),
    ("6203-RS-RS", "6203-2RS", "same", ()),
    ("6203-2RS", "6203-RS-Z", "near", ("sealing",)),
    ("6203-2Z", "6203-RS-Z", "near", ("sealing",)),
    ("6203 P63", "6203 P6 C3", "same", ()),
    ("6203", "6203 CN", "same", ()),
    ("6203.2RS", "6203_2RS", "same", ()),
    ("S6203-2RS", "6203-2RS INOX", "same", ()),
    ("6203-2RS", "6203-2RS ABEC-5", "same", ()),
    ("688", "618/8", "same", ()),
    ("608ZZ", "608-2Z", "same", ()),
    ("6203-2RS P5", "6203-2RS", "near", ("tolerance class",)),
    ("6203-2RS", "6203VV", "near", ("sealing",)),
    ("6203-2RS", "6203-2RZ", "near", ("sealing",)),
    ("6203-2Z", "6203-LLB", "near", ("sealing",)),
    ("6203", "6203-2RS", "near", ("sealing",)),
    ("6203-2RS", "6203-RS", "not", ("sealing",)),
    ("6203-ZZ", "6203", "not", ("sealing", "lubrication")),
    ("6203 C4", "6203 C3", "near", ("clearance",)),
    ("6203", "6203 C2", "not", ("clearance",)),
    ("62203-2RS", "6203-2RS", "not", ("width",)),
    ("6203 C3", "6203 C2", "not", ("clearance",)),
    ("6205 NR", "6205", "not", ("ring",)),
    ("6205", "6205NR", "not", ("ring",)),
    ("6205", "6205-N", "near", ("ring",)),
    ("6205", "6205 K", "not", ("bore form",)),
    ("6205 M", "6205", "near", ("cage",)),
    ("6205-2RS C3", "6205-ZZ", "near", ("sealing", "clearance")),
    ("6203-2RS/XQ7", "6203-2RS", "near", ("words",)),
    # ISO 15 sizes: alike in bore only, or in all but one
    ("6003", "16003", "not", ("width",)),
    ("16101", "6001", "not", ("outside diameter",)),
    ("61808", "618/8", "not", ("bore", "outside diameter", "width")),
    ("6304", "6204", "not", ("outside diameter", "width")),
    ("6203", "7203 bearing", "not", ("type",)),
    ("6205", "NU205", "not", ("type",)),
]
# section table, and the lists of A/4L, B/5L and SPZ/3V alternates
BELTS = [
    ("A43", "13 x 1090 Li", "same", ()),
    ("A-43", "a 43", "same", ()),
    ("SPZ1000", "spz 1000 Lw", "same", ()),
    ("AVX10x1000", "AV10 - 1000 La", "near", ("build",)),
    ("AVX13X1075LA", "13x1075 La", "near", ("build",)),
    ("12,5x1075 La", "AVX13x1075", "near", ("build",)),
    ("B 17x1000 Li", "17x1000 Li", "same", ()),
    ("GOST B-1250", "В(Б)-1250", "same", ()),
    ("GOST B 1250", "17x1250 Ld", "same", ()),
    ("A42", "AX42", "near", ("build",)),
    ("SPZ 1000", "XPZ 1000", "near", ("build",)),
    ("SPA 1060", "AV13x1075 La", "near", ("length",)),
    ("A42", "A43", "not", ("length",)),
    ("A42", "B42", "not", ("top width",)),
    ("SPB 1250", "17x1250 Ld", "not", ("height",)),
    ("SPA 1250", "SPB 1250", "not", ("top width",)),
    ("AV10x1000 La", "AV13x1000 La", "not", ("top width",)),
    ("5L430", "B43", "not", ("length",)),
    ("JIS B40", "Z 40", "not", ("top width",)),
    ("A41", "A", "near", ("length",)),
    ("3V250", "9N635", "same", ()),
    ("JIS A", "A", "near", ("height",)),
    ("Z 10x6", "Z", "same", ()),
]
# ISO 3601-1 size codes, GB/T 3452.1 series G, JIS B 2401 (table rows)
O_RINGS = [
    ("-210", "18.64 x 3.53", "same", ()),
    ("AS568-210", "2-210", "same", ()),
    ("AS568A 210", "O-ring 210", "same", ()),
    ("O-ring 0.734 x 0.139 in", "-210", "same", ()),
    ("O-ring 3/4 x 1/8 in", "-210", "same", ()),
    ("O-ring 12x2,5", "ORing 12x17x2.5", "same", ()),
    ("P20", "JIS P-20", "same", ()),
    ("P20", "19.8x2.4", "same", ()),
    ("-112", "12.5x2.65", "near", ("inside diameter", "section")),
    ("-210", "18.6x3.5", "near", ("inside diameter", "section")),
    ("50x3.55", "50x3.53", "near", ("section",)),
    ("-110", "10x2.65", "not", ("inside diameter",)),
    ("-112", "-212", "not", ("section",)),
    ("P10", "P10A", "not", ("section",)),
    ("G30", "P30", "not", ("section",)),
    ("-210 NBR", "-210", "near", ("material",)),
    ("-210", "-210 NBR", "same", ()),
]
# trade guide to lip seals: d x D x b, types A and AS with trade codes; size list
SEALS = [
    ("AS 25x40x7", "TC 25-40-7", "same", ()),
    ("oil seal 25X40X7 SC", "25*40*7 A", "same", ()),
    ("2.2-35x58-10", "AS 35x58x10", "same", ()),
    ("25x52x7", '0.984 x 2.047 x 0.276"', "same", ()),
    ("AS 25x40x7", "A 25x40x7", "near", ("dust lip",)),
    ("A 25x40x7", "AS 25x40x7", "near", ("dust lip",)),
    ("B 25x40x7", "A 25x40x7", "near", ("case",)),
    ("25x40x10", "25x40x7", "near", ("width",)),
    ("25x40x7", "24x40x7", "not", ("shaft",)),
    ("25x40x7", "25x41x7", "not", ("outside diameter",)),
    ("25x40x7", '1.000x1.575x0.276"', "not", ("shaft",)),
    ("25x40x7 NBR", "25x40x7 FKM", "near", ("material",)),
    ("25x40x7 NBR70", "25x40x7 NBR 90 Shore", "near", ("hardness",)),
    ("3/4 x 1 1/8 x 1/4 seal", "0.750 x 1.125 x .250", "same", ()),
]
# DIN 471, DIN 472, DIN 6885-1 tables of an open parts library
RINGS_AND_KEYS = [
    ("DIN 471 40", "circlip shaft 40 mm", "same", ()),
    ("DIN 471-40x1.75", "DIN471 40", "same", ()),
    ("DIN 471 40", "DIN 472 40", "not", ("place",)),
    ("DIN 472 62", "DIN 472 65", "not", ("size",)),
    ("DIN 471 40", "DIN 471 40x2.5", "not", ("thickness",)),
    ("DIN 471 40", "DIN 471 40 stainless", "near", ("material",)),
    ("key 8x7x40", "8x7x40", "same", ()),
    ("DIN 6885 A 8x7x40", "DIN 6885 B 8x7x40", "near", ("form",)),
    ("key 8x7x40", "key 8x7x36", "near", ("length",)),
    ("key 8x7x40", "key 10x8x40", "not", ("width", "height")),
    ("Woodruff key 4x6.5", "DIN 6888 4x6.5", "same", ()),
]
# nothing is said of sizes that are in no table, and of texts that name no part
UNKNOWN = [
    ("6299", "6203"),
    ("6203", "6299"),
    ("-999", "-210"),
    ("P23", "P24"),
    ("5V1000", "5V1000"),
    ("3V250", "8V250"),
    ("", ""),
    ("6203", ""),
    ("hello", "6203"),
    ("seal kit", "seal kit"),
    ("6²03", "6203"),
]
LIGHT = [r for r in rows("belts_lengths") if "alternate of" in r["note"]]
PAIRS = [*BEARINGS, *BELTS, *O_RINGS, *SEALS, *RINGS_AND_KEYS]


@pytest.mark.parametrize("unclear", ["10x1000", "V-belt 10x1000", "10A0850"])
def test_a_belt_of_no_known_section_or_line_is_never_taken(unclear: str) -> None:
    for other in (unclear, "10x1000 La", "AV10x1000", "SAE 10A0850", "9.5x925 La"):
        assert equivalent(unclear, other).verdict == equivalent(other, unclear).verdict == "unknown"
    asked = equivalent("AV10x1000", unclear)
    assert "measure" in " ".join([*asked.reasons, *asked.caution]).casefold()


@pytest.mark.parametrize(("wanted", "offered", "verdict", "differs"), PAIRS)
def test_pairs(wanted: str, offered: str, verdict: str, differs: tuple[str, ...]) -> None:
    got = equivalent(wanted, offered)
    assert got.verdict == verdict, got.reasons
    assert set(differs) <= set(got.differs), got.differs
    assert bool(got.differs) == (verdict in ("near", "not"))
    assert got.wanted is not None
    assert got.wanted.text == wanted


@pytest.mark.parametrize(("wanted", "offered"), UNKNOWN)
def test_what_no_table_holds_is_unknown(wanted: str, offered: str) -> None:
    got = equivalent(wanted, offered)
    assert got.verdict == "unknown"
    assert all("not in the table" in r or "could not be read" in r for r in got.reasons), got.reasons
    assert not any("exist" in r for r in got.reasons)


@pytest.mark.parametrize(
    ("wanted", "offered"), [("6203", "25x40x7"), ("SPZ 1000", "6203-2RS"), ("-210", "DIN 471 40"), ("key 8x7", "A41")]
)
def test_parts_of_two_kinds_are_never_taken_for_each_other(wanted: str, offered: str) -> None:
    got = equivalent(wanted, offered)
    assert got.verdict == "not"
    assert "kind" in got.differs


# list of A/4L and B/5L alternates, as printed in the notes of the length table
@pytest.mark.parametrize("row", LIGHT, ids=lambda r: r["number"])
def test_published_alternates_of_light_belts(row: dict[str, str]) -> None:
    other = re.search(r"alternate of ([AB]\d+)", row["note"])
    assert other is not None
    got = equivalent(row["section"] + row["number"], other[1])
    assert got.verdict == "near"
    assert "length" not in got.differs


# list of wedge belts that are sold as 3V ones
@pytest.mark.parametrize("row", [r for r in rows("belts_lengths") if "3V" in r["note"]], ids=lambda r: r["number"])
def test_published_wedge_interchanges(row: dict[str, str]) -> None:
    other = re.search(r"3V (\d+)", row["note"])
    assert other is not None
    assert equivalent(f"3V{other[1]}", f"SPZ {row['number']}").verdict == "near"


# open O-ring selection data set; o-ring supplier article NBR vs EPDM; maintenance texts (seal_materials table)
FLUIDS = [
    ("NBR", "EPDM", "diesel", "not"),
    ("NBR", "EPDM", "engine oil", "not"),
    ("FKM", "EPDM", "gear oil", "not"),
    ("NBR", "VMQ", "gas oil", "not"),
    ("NBR", "NR", "grease", "not"),
    ("NBR", "EPDM", "grease", "not"),
    ("EPDM", "NBR", "hot water", "not"),
    ("EPDM", "NBR", "brake fluid", "not"),
    ("EPDM", "NBR", "coolant", "near"),
    ("NBR", "EPDM", "sea water", "near"),
    ("NBR", "CR", "raw water", "near"),
    ("NBR", "FKM", "diesel", "near"),
    ("NBR", "PTFE", "diesel", "near"),
    ("NBR", "nitrile", "diesel", "same"),
]


@pytest.mark.parametrize(("wanted", "offered", "fluid", "verdict"), FLUIDS)
def test_materials_in_a_fluid(wanted: str, offered: str, fluid: str, verdict: str) -> None:
    stated = equivalent("-210", "18.64x3.53", fluid=fluid, material_wanted=wanted, material_offered=offered)
    written = equivalent(f"25x40x7 {wanted}", f"25x40x7 {offered}", fluid=fluid)
    rubber = equivalent(f"{wanted} gasket", f"{offered} gasket", fluid=fluid)
    assert stated.verdict == written.verdict == rubber.verdict == verdict, stated.reasons
    assert ("material" in stated.differs) == (verdict != "same")


def test_a_bad_material_that_is_wanted_is_warned_of() -> None:
    got = equivalent("-210 EPDM", "-210 EPDM", fluid="diesel")
    assert got.verdict == "same"
    assert any("EPDM is bad in diesel" in words for words in got.caution)


def test_a_number_behind_a_bearing_may_be_a_special_bore() -> None:
    # 6202-10: the bearing 6202 with a bore of 10 mm (trade practice, from memory)
    assert equivalent("6202", "6202-10").verdict == "unknown"


def test_a_material_that_no_table_knows_is_asked_for() -> None:
    got = equivalent("-210", "-210", material_wanted="NBR", material_offered="wonder rubber")
    assert got.verdict == "near"
    assert any("not in the table of materials" in r for r in got.reasons)
    assert (
        equivalent("-210", "-210", material_wanted="wonder rubber", material_offered="Wonder  Rubber").verdict == "same"
    )


def test_cautions_where_the_choice_can_hurt() -> None:
    assert any("not water" in c for c in equivalent("6201-2RS", "6201-ZZ").caution)
    assert any("lower speed limit" in c for c in equivalent("6201-ZZ", "6201-2RS").caution)
    assert any("fail" in c for c in equivalent("6201 C3", "6201").caution)
    assert any("groove" in c for c in equivalent("25x40x7", "25x40x7").caution)


def test_no_offer_is_worse_for_its_load_rating() -> None:
    # the table holds the lowest and highest C of several catalogues for one size: it must not enter a verdict
    spread = [r for r in rows("bearings") if r["C_kN_min"] != r["C_kN_max"]]
    assert spread
    for row in spread:
        got = equivalent(row["designation"], row["alt_designation"] or row["designation"])
        assert got.verdict == "same"
        assert not any("kN" in reason for reason in got.reasons)


def test_status_is_that_of_the_worst_row() -> None:
    assert equivalent("P20", "P20").status == "published"
    assert equivalent("P22A", "P20").status == "from memory"
    assert equivalent("G30", "G30").status == "doubtful"
    assert equivalent("25x40x7 NBR", "25x40x7 CR", fluid="seawater").status == "from memory"
    assert equivalent("6203", "6203").sources


# what a quote's line may look like, and what it names
LINES = [
    ("Ball bearing 6203-2RS C3 (genuine)", "rolling bearing", "6203"),
    ("2x 6203-2RS", "rolling bearing", "6203"),
    ("bearing, 17 x 40 x 12 mm, 2RS", "rolling bearing", "6203"),
    ("Drive belt AVX10 x 1000", "V-belt", "AV10 1000"),
    ("V-belt A 42", "V-belt", "A 42"),
    ("Oil seal 25 x 40 x 7 NBR", "lip seal", "25x40x7"),
    ("O-ring kit AS568-210 FKM", "O-ring", "-210"),
    ("O-ring 42,5 x 2,65", "O-ring", "42.5x2.65"),
    ("circlip external 40", "circlip", "40 shaft"),
    ("parallel key 8x7x40 form A", "parallel key", "8x7x40"),
]


@pytest.mark.parametrize(("line", "kind", "size"), LINES)
def test_lines_of_quotes_are_identified(line: str, kind: str, size: str) -> None:
    part = identify(line)
    assert part is not None
    assert (part.kind, part.size) == (kind, size)
    assert part.listed


@pytest.mark.parametrize(
    "line",
    ["", " ", "oil filter", "alternator 12V 90A", "A4 screw", "kit 3581523", "1000",
     "gasket set", "C3", "A", "x", "freight to island"],
)  # fmt: skip
def test_lines_that_name_no_standard_part(line: str) -> None:
    assert identify(line) is None


# of two sizes with OD between them the outside diameter is the one behind, and it is larger than the bore
@pytest.mark.parametrize(("written", "bore"), [
    ("hose 38 mm OD 47 mm", 38.0), ("exhaust hose 38 mm outside diameter 47 mm", 38.0), ("hose OD 47 mm 38 mm", 38.0),
    ("hose ID 38 mm OD 47 mm", 38.0), ("hose 76 mm OD 47 mm", None), ("hose OD 47 mm", None),
])  # fmt: skip
def test_an_outside_diameter_is_no_bore(written: str, bore: float | None) -> None:
    part = identify(written)
    assert (part.dims["bore"] if part else None) == bore
    assert equivalent("hose 47 mm", written).verdict in ("not", "unknown")


# trade writing of a seal that is wider over its lip: 7 mm wide, 8 mm over the lip; no 30 inches
@pytest.mark.parametrize(("written", "sizes"), [
    ("oil seal 30x52x7/8", [30.0, 52.0, 7.0, 8.0]), ("oil seal 1-3/16 x 2-1/16 x 9/32", [30.1625, 52.3875, 7.14375]),
    ("oil seal 3 x 4 x 3/8", [76.2, 101.6, 9.525]),
])  # fmt: skip
def test_a_second_width_is_no_fraction_of_an_inch(written: str, sizes: list[float]) -> None:
    part = identify(written)
    assert part is not None
    assert list(part.dims.values()) == sizes
    assert equivalent("oil seal 30x52x7", written).verdict == ("near" if sizes[0] == 30.0 else "not")
