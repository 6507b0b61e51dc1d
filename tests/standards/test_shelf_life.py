"""Years on the shelf: the rows of their sources."""

from __future__ import annotations

import pytest

from repairecon.standards import shelf_life


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
