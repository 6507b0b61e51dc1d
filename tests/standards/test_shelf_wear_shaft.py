"""Years on the shelf, wear limits and shafts for seals: the rows of their sources."""

from __future__ import annotations

import pytest

from repairecon.standards import judge_seal_shaft, judge_wear, shelf_life


# ISO 2230:2002 groups A 5 + 2, B 7 + 3, C 10 + 5 years (elastomer storage table); ARP5316: EPDM, FKM unlimited
@pytest.mark.parametrize(
    ("material", "first", "inspected", "other"),
    [
        ("natural rubber", 2025, 2027, "none"),
        ("nitrile", 2027, 2030, 2035),
        ("EPDM", 2030, 2035, None),
        ("FKM", 2030, 2035, None),
    ],
)
def test_years_on_the_shelf(material: str, first: int, inspected: int, other: int | str | None) -> None:
    found = {life.rule: life for life in shelf_life(material, 2020)}
    assert found["ISO 2230:2002"].last_year == first
    assert found["ISO 2230:2002"].last_year_if_inspected == inspected
    if other == "none":
        assert "SAE ARP5316" not in found
    else:
        assert found["SAE ARP5316"].last_year == other


def test_a_doubtful_storage_row_says_so() -> None:
    assert {life.status for life in shelf_life("NBR", 2020) if "variant" in life.rule} <= {"published", "doubtful"}
    assert any(life.status == "doubtful" for life in shelf_life("NR", 2020))
    assert shelf_life("oak", 2020) == ()
    assert shelf_life("", 2020) == ()


# US Army technical manuals: starter brushes 17 mm new, 11.5 mm at the limit; alternator slip ring 14.0 mm;
# centrifugal pump shaft runout 0.05 mm
@pytest.mark.parametrize(
    ("unit", "item", "measured", "worn", "action"),
    [
        ("starter", "brush length", 11.4, True, "replace brushes"),
        ("starter", "brush length", 11.5, False, "keep"),
        ("starter", "commutator runout", 0.05, False, "keep"),
        ("alternator", "slip ring diameter", 13.9, True, "replace rotor"),
        ("alternator", "slip ring diameter", 14.1, False, "keep"),
        ("centrifugal pump", "shaft runout", 0.06, True, "straighten/replace shaft"),
    ],
)
def test_wear_limits(unit: str, item: str, measured: float, worn: bool, action: str) -> None:
    found = judge_wear(unit, item, measured)[0]
    assert (found.worn, found.action) == (worn, action)
    assert found.source


def test_wear_of_what_no_table_holds_says_nothing() -> None:
    assert judge_wear("starter", "paint", 1.0) == ()
    assert judge_wear("", "", 1.0) == ()
    # a row whose limit is a word does not speak
    assert judge_wear("seawater pump", "cover plate", 1.0) == ()


# GOST 8752-79 annex, table 1: HRC 30 up to 4 m/s, 50 above; Ra 0.63-0.32 up to 5 m/s, 0.32-0.16 above
@pytest.mark.parametrize(
    ("hardness", "roughness", "speed", "gost", "guide"),
    [
        (45, 0.4, 4, True, True),
        (45, 0.4, 4.1, False, False),
        (55, 0.4, 5, True, True),
        (55, 0.4, 5.1, False, True),
        (55, 0.2, 6, True, True),
        (60, 0.9, 1, False, False),
        (45, 0.5, 0, True, True),
    ],
)
def test_shafts_for_seals(hardness: float, roughness: float, speed: float, gost: bool, guide: bool) -> None:
    found = judge_seal_shaft(hardness, roughness, speed)
    assert {s.rule: s.ok for s in found} == {"GOST 8752-79": gost, "installation guide": guide}
    assert all(bool(s.reasons) != s.ok for s in found)
