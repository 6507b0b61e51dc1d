"""Every row of every table is read back by its own name, with the sizes that the row prints."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from repairecon.records import Designation
from repairecon.standards import equivalent, identify
from repairecon.standards.tables import ROOM, Row, rows

Name = Callable[[Row], str]
# name written for a row, and which of its columns [mm] are which size of the part
READ: dict[str, tuple[Name, dict[str, str]]] = {
    "bearings": (lambda r: r["designation"], {"d": "d_mm", "D": "D_mm", "B": "B_mm"}),
    "bearings_more": (lambda r: r["designation"], {"D": "D_mm"}),
    "bearings_taper_inch": (lambda r: r["pair"], {"d": "d_mm", "D": "D_mm", "B": "T_mm"}),
    "seals": (lambda r: r["designation"], {"d": "d_mm", "D": "D_mm", "b": "b_mm"}),
    "oring_as568": (lambda r: f"AS568{r['dash']}", {"id": "id_mm", "cs": "cs_mm"}),
    "oring_metric": (lambda r: f"O-ring {r['code']}", {"id": "id_mm", "cs": "cs_mm"}),
    "retaining_rings_heavy": (lambda r: r["designation"], {"nominal": "nominal_mm", "thickness_s": "thickness_s_mm"}),
    "woodruff_metric": (lambda r: f"Woodruff key {r['designation']}", {"b": "width_b_mm", "D": "diameter_D_mm"}),
    "woodruff_inch": (lambda r: f"Woodruff key No. {r['key_number']}", {"b": "width_mm", "D": "diameter_mm"}),
    "pins_clips": (lambda r: r["designation"], {"nominal": "nominal_mm"}),
    "threads": (lambda r: f"thread {r['designation']}", {"major": "major_d_mm", "pitch": "pitch_mm"}),
    "hose_bores": (lambda r: f"hose {r['bore_nominal_mm']} mm", {"bore": "bore_nominal_mm"}),
    "fuses_blade": (lambda r: f"blade fuse {r['name']}", {}),
    "lamp_bases": (lambda r: f"lamp {r['base']} 10 W", {}),
    "batteries": (lambda r: f"battery {r['name'].split(' / ')[0]}", {"length": "length_mm", "height": "height_mm"}),
    "mechanical_seals": (lambda r: r["designation_normal"], {"shaft": "shaft_d1_mm"}),
    "belts_multirib": (lambda r: f"6{r['profile']}1000", {}),
    "stainless_grades": (lambda r: f"bolt M8x40 {r['grade']}", {}),
    "stainless_classes": (lambda r: f"bolt M8x40 {r['mark']}", {}),
    "lamp_festoon": (lambda r: f"festoon lamp {r['length_mm']} mm 5 W", {"length": "length_mm"}),
    "brushes_sizes": (lambda r: f"carbon brush {r['t_or_a_or_r_mm']}x10x20", {"t": "t_or_a_or_r_mm"}),
    "fuse_speeds": (lambda r: f"fuse 5x20 {r['letter']} 2A", {}),
}


def read(text: str) -> Designation:
    part = identify(text)
    assert part is not None, text
    return part


@pytest.mark.parametrize("table", READ)
def test_every_row_is_read_by_its_own_name(table: str) -> None:
    name, columns = READ[table]
    for row in rows(table):
        text = name(row)
        part = read(text)
        assert part.listed, text
        assert part.doubts == (), text
        for letter, column in columns.items():
            assert part.dims[letter] == pytest.approx(float(row[column]), abs=1e-6), text
        assert equivalent(text, text).verdict == "same", text
        assert equivalent(text, text.lower()).verdict == "same", text


KEYS = [r for r in rows("circlips_keys") if r["item"] == "parallel key"]
FAMILIES = [("G 1/2", "R 1/2", "near"), ("NPT 1/2", "R 1/2", "not"), ("NPT 1/2", "NPTF 1/2", "near"),
            ("G 1/2", "NPT 1/2", "not")]  # fmt: skip
MARKED = [r for r in rows("hose_standards") if r["standard"][:3] in ("ISO", "SAE") and r["mark"]]
EXAMPLES = [r for r in rows("belts_synchronous") if r["name_example"]]


@pytest.mark.parametrize("row", KEYS, ids=lambda r: r["nominal_mm"])
def test_keys(row: Row) -> None:
    part = read(f"parallel key {row['b_mm']}x{row['h_mm']}x40")
    assert part.listed
    assert (part.dims["b"], part.dims["h"]) == (float(row["b_mm"]), float(row["h_mm"]))


# ISO 1307: the dash number is sixteenths of an inch; the inch name, the dash and the mm name one hose
@pytest.mark.parametrize("row", [r for r in rows("hose_bores") if r["dash"]], ids=lambda r: r["dash"])
def test_hoses_by_inch_and_dash(row: Row) -> None:
    names = [f"hose {row['bore_nominal_mm']} mm", f"hose {row['inch']} in", f"hose {row['dash']}"]
    for one in names:
        for other in names:
            assert equivalent(one, other).verdict == "same", (one, other)


# the table of threads that are taken for each other; its rows on whole families are in test_pipe_families
ALIKE = [r for r in rows("threads_fit") if not re.search(r"\(|male|port", r["wanted"] + r["offered"])]


@pytest.mark.parametrize("row", ALIKE, ids=lambda r: f"{r['wanted']}-{r['offered']}")
def test_threads_that_look_alike(row: Row) -> None:
    assert equivalent(row["wanted"], row["offered"]).verdict == row["verdict"]


# ISO 7-1, ISO 228-1, ASME B1.20.1: stored pages on NPT and BSP
@pytest.mark.parametrize(("wanted", "offered", "verdict"), FAMILIES)
def test_pipe_families(wanted: str, offered: str, verdict: str) -> None:
    assert equivalent(wanted, offered).verdict == verdict


@pytest.mark.parametrize("row", rows("bearing_name_clashes"), ids=lambda r: r["name"])
def test_numbers_of_the_older_eastern_numbering(row: Row) -> None:
    part = identify(f"bearing GOST {row['name']}" if row["numbering_2"] == "GOST" else f"bearing {row['name']}")
    if row["numbering_2"] != "GOST":
        assert part is None or part.size != row["meaning_1"].split()[-1]
        return
    assert part is not None
    sizes = [float(s) for s in row["size_2_mm"].split("x")]
    assert [part.dims[c] for c in "dDB"] == pytest.approx(sizes)


# the table of hoses that are unfit, by what is wanted (trade pages, and from memory)
@pytest.mark.parametrize(
    "row",
    [r for r in rows("hose_unfit_words") if r["wanted_service"] == "fuel" and r["offered_words"].endswith("hose")],
    ids=lambda r: r["offered_words"],
)
def test_hoses_that_do_not_stand_fuel(row: Row) -> None:
    got = equivalent("fuel hose ISO 7840 A1 10 mm", f"{row['offered_words']} 10 mm")
    assert got.verdict == "not", got.reasons


@pytest.mark.parametrize("row", MARKED, ids=lambda r: f"{r['standard']} {r['mark']}")
def test_hose_standards_are_read(row: Row) -> None:
    standard = row["standard"].split(" / ")[0]
    if row["mark"] in ("list", "R1..R5") or row["mark"].startswith("type") or standard.endswith(row["mark"]):
        text = f"hose {standard} 19 mm"
    else:
        text = f"hose {standard} {row['mark']} 19 mm"
    part = read(text)
    assert not part.doubts, part
    assert part.marks["standard"].replace("SAE", "") == standard.replace(" ", "").replace("SAE", "")


# relays.csv: a changeover, a twin output and a make relay are three
def test_relays() -> None:
    makes, changes, twice = (r["name"] for r in rows("relays")[:3])
    names = [f"{makes} 12 V", "relay mini 5 pin changeover 12 V", "relay mini 5 pin 30 85 86 87 87b 12 V"]
    for one in names:
        for other in names:
            assert (equivalent(one, other).verdict == "same") == (one == other), (one, other)
    assert changes != twice


def test_no_table_is_left_out() -> None:
    elsewhere = {
        *("bearing_clearance", "bearing_marks", "belts_lengths", "belts_sections", "circlips_keys", "hose_tails"),
        *("belts_synchronous", "hose_standards", "hose_unfit_words", "threads_fit", "relays", "words", "features"),
        *("bearing_name_clashes", "rubber_storage", "seal_materials", "seal_ranges", "feature_pairs", "seal_types"),
        *("fuses_glass", "bearing_types", "measured_kinds", "measured_labels", "sizes"),
        *("material_words", "mechanical_seal_materials", "hose_fittings_dash", "writings"),
    }
    names = {file.name.removesuffix(".csv") for file in ROOM.iterdir() if file.name.endswith(".csv")}
    assert names == set(READ) | elsewhere


# names of the examples that the table of toothed belts prints, with the pitch length it gives for them
@pytest.mark.parametrize("row", EXAMPLES, ids=lambda r: r["name_example"])
def test_toothed_belts(row: Row) -> None:
    part = read(f"timing belt {row['name_example']}")
    before = " in =" if " in =" in row["read_as"] else "pitch length "
    length = row["read_as"].split(before)[1].split()[0]
    assert part.dims["length"] == pytest.approx(float(length), abs=0.05)
    assert part.figures["pitch"] == float(row["pitch_mm"])


# alternates and length lists of the trade: each listed belt by section and number
@pytest.mark.parametrize("section", sorted({r["section"] for r in rows("belts_lengths")}))
def test_listed_belts(section: str) -> None:
    for row in rows("belts_lengths"):
        if row["section"] == section:
            text = f"{section} {row['number']}"
            part = read(text)
            assert part.listed, text
            assert equivalent(text, text).verdict == "same", text


@pytest.mark.parametrize("row", rows("fuses_glass"), ids=lambda r: r["name"])
def test_tube_fuses(row: Row) -> None:
    first = row["name"].split()[0]
    if first[0].isdigit():
        part = read(f"fuse {first} T 2A")
        assert part.marks["size"] == first


# SAE J514, J1926 and J1453 (from memory): one dash, three threads, and the thread itself in its own writing
@pytest.mark.parametrize("row", rows("hose_fittings_dash"), ids=lambda r: r["dash"])
def test_dash_sizes_of_fittings(row: Row) -> None:
    thread, size = row["jic_37_thread"], row["jic_37_thread"].rsplit(" ", 1)[0]
    assert read(f"JIC {row['dash']}").marks["thread"] == thread
    assert equivalent(f"JIC {row['dash']}", f"{row['dash']} JIC").verdict == "same"
    assert equivalent(f"JIC {row['dash']}", f"{size} JIC").verdict == "same"
    for other in ("ORB", "ORFS"):
        assert equivalent(f"JIC {row['dash']}", f"{other} {row['dash']}").verdict in ("not", "unknown")


# EN 12756 (letters from memory): the same letters are the same seal, one other letter is another material
def test_material_letters_of_mechanical_seals() -> None:
    assert equivalent("NU025S0 BVPGG", "NU025S0 BVPGG").verdict == "same"
    assert read("NU025S0 Q1U3VGG").marks["secondary seal"] == "FKM"
    assert equivalent("NU025S0 BVPGG", "NU025S0 BVEGG").differs == ("secondary seal",)
    assert equivalent("NU025S0 BVPGG", "NU025S0").verdict == "near"


# UN R37: the category P21W has 21 W, H7 names no power (from memory)
def test_power_beside_the_category_of_a_lamp() -> None:
    assert read("lamp H7 55 W").doubts == read("lamp P21W 21 W").doubts == ()
    assert [says for _, says, _ in read("lamp P21W 5 W").doubts] == ["says 5 W, but P21W has 21 W"]


# EN 50342-2 against JIS D 5301 (from memory): a thin post is another clamp
def test_posts_of_batteries() -> None:
    assert equivalent("battery L3 standard posts", "battery L3 JIS posts").verdict == "not"
    assert equivalent("battery L3", "battery L3 thin posts").verdict == "near"
