"""What stays assumed of the lives once the owner's own are fitted: as if he had typed those lives."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from repairecon import read_case
from repairecon.rebuild_or_buy.learned import with_own_lives
from repairecon.records import Case

HEAD = """
[unit]
name = "pump"
kind = "raw water pump"
{expected}
[defaults]
ways = "none"
[three_numbers]
price_new = 450
price_kit = 120
wait_days = 9
[years]
horizon_years = 10
"""
WAYS = ("rebuild here", "new", "used")
KINDS = ("rebuild", "new", "second-hand")
# ages at failure of at least three units of each way, so that they can be fitted
LIVES = "way,years,failed\n" + "".join(f"{{way}},{years},yes\n" for years in (3, 5, 6, 8, 11))


def folder(tmp_path: Path, typed: tuple[str, ...], fitted: tuple[str, ...], expected: str) -> Case:
    tmp_path.mkdir()
    rows = ["way,kind,price_likely,bought,life_years_likely,life_shape,wear_kept,p_early"]
    for name, kind in zip(WAYS, KINDS, strict=True):
        price = "" if kind == "rebuild" else "300"
        rows.append(f"{name},{kind},{price},," + ("6,2,0,0" if name in typed else ",,,"))
    rows.append(f"pair,rebuild and spare,,{WAYS[1]},,,,")
    (tmp_path / "case.toml").write_text(HEAD.format(expected=expected), "utf-8")
    (tmp_path / "ways.csv").write_text("\n".join(rows) + "\n", "utf-8")
    if fitted:
        whole = LIVES.splitlines()
        said = [whole[0], *(row.format(way=w) for w in fitted for row in whole[1:])]
        (tmp_path / "lives.csv").write_text("\n".join(said) + "\n", "utf-8")
    return read_case(tmp_path)


@pytest.mark.parametrize("expected", ["", "expected_life_years = 20"])
@pytest.mark.parametrize("known", [(), ("new",), ("rebuild here", "used"), WAYS], ids=len)
def test_only_what_is_still_used_is_listed(tmp_path: Path, known: tuple[str, ...], expected: str) -> None:
    typed = folder(tmp_path / "typed", known, (), expected)
    case, fits = with_own_lives(folder(tmp_path / "fitted", (), known, expected))
    assert {f.way for f in fits if not f.refused} == set(known)
    names = [a.name for a in case.assumed]
    assert names == [a.name for a in typed.assumed]
    lives = [n for n in names if n.startswith(("life_", "wear_kept", "p_early"))]
    assert bool(lives) == (known != WAYS)


def test_a_way_with_the_name_of_the_kind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lives of a way named as the kind of unit leave the kind's life, which the others still use, on the list."""
    monkeypatch.setattr(sys.modules[__name__], "WAYS", ("rebuild here", "raw water pump", "used"))
    case, fits = with_own_lives(folder(tmp_path / "a", (), ("raw water pump",), ""))
    assert [f.refused for f in fits] == [""]
    assert "life_years (raw water pump)" in {a.name for a in case.assumed}
