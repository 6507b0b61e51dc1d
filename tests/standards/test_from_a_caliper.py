"""From measured sizes to the names to ask for; the questions with their sources are in data/measured_open.json."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sweeps import examples

from repairecon.standards import which_part
from repairecon.standards.equivalents import same_part
from repairecon.standards.measured import which_part_answer
from repairecon.standards.tables import Row, rows

QUESTIONS = json.loads((Path(__file__).parent / "data" / "measured_open.json").read_text("utf-8"))


def squeezed(name: str) -> str:
    return re.sub(r"[\s-]", "", name).casefold()


# the designations that each printed candidate line names
NAMED = {
    "ME-03": ["62205", "4205", "2205", "NU2205", "22205"],
    "ME-07": ["AV10x850 La", "SPZ 837", "3L335"],
    "ME-08": ["AS568-214", "25x3.55", "JIS P25"],
}


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda q: q["id"])
@pytest.mark.parametrize("as_words", [False, True])
def test_open_questions(question: dict[str, Any], as_words: bool) -> None:
    measured: Any = question["measured"]
    if as_words:
        measured = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in measured.items())
    got = which_part(measured, question["kind"])
    names = [squeezed(p.designation) for p in got.parts]
    for wanted in NAMED.get(question["id"], question["candidates"]):
        assert squeezed(wanted) in names, (wanted, names)
    if question["id"] not in ("ME-07", "ME-08", "ME-18"):
        assert names[0] == squeezed(question["designation"])
    assert got.notes
    if question["id"] == "ME-07":
        assert "measure the height" in got.notes[0]


def test_what_it_cannot_be() -> None:
    # threads.csv: NPT 1/2 is 21.34 mm at the large end
    assert any("NPT 1/2" in said for said in which_part("20.9 mm major, 14 tpi").ruled_out)
    # DIN 471: the normal ring of 20 mm is 1.2 thick
    assert any("20x1.2" in said for said in which_part("shaft 20, thickness 1.73", "circlip").ruled_out)
    # DIN 6888: 3x5 is 3.00 wide
    assert any("3x5" in said for said in which_part("width 3.17, diameter 12.7, height 5.1", "half-moon key").ruled_out)


# ISO 492 and a caliper: the rings of a new bearing are up to 0.02 under size here, its width up to 0.12
@examples(200)
@given(st.sampled_from(rows("bearings")), st.integers(-2, 1), st.integers(-2, 1), st.integers(-10, 2))
def test_a_measured_bearing_is_found(row: Row, d: int, outer: int, width: int) -> None:
    sizes = [Decimal(row[c]) + Decimal(off) / 100 for c, off in (("d_mm", d), ("D_mm", outer), ("B_mm", width))]
    got = which_part(" x ".join(map(str, sizes)), "bearing")
    assert got.parts[0].designation == row["designation"]


# DIN 3760 shaft h11 (ISO 286-1): the shaft may be that much under its nominal size
@examples(150)
@given(st.sampled_from(rows("seals")), st.integers(-9, 2))
def test_a_measured_lip_seal_is_found(row: Row, worn: int) -> None:
    shaft = Decimal(row["d_mm"]) + Decimal(worn) / 100
    got = which_part(f"shaft {shaft}, bore {row['D_mm']}, width {row['b_mm']}", "seal")
    assert row["designation"] in [p.designation for p in got.parts]


# a used ring: set flat by 3 % or swollen by 3 % of its section (common practice, no source)
@examples(150)
@given(st.sampled_from(rows("oring_as568")), st.sampled_from(["0.97", "1", "1.03"]))
def test_a_worn_or_swollen_ring_is_found(row: Row, factor: str) -> None:
    cord = round(Decimal(row["cs_mm"]) * Decimal(factor), 2)
    got = which_part(f"{row['id_mm']} x {cord}", "o-ring")
    assert f"AS568{row['dash']}" in [p.designation for p in got.parts]


def test_stretched_belts_are_found() -> None:
    # DIN 7753-1: SPZ 1000 is 1013 mm outside; a used belt 5 mm longer and 0.4 mm narrower at the top
    names = [p.designation for p in which_part("top width 9.3, height 8, outside length 1018", "belt").parts]
    assert "SPZ 1000" in names
    assert which_part("width 21.2, 6 ribs, length 1203", "belt").parts[0].designation == "6PK1203"


BAD = [("", ""), ("nothing here", ""), ("1e9 x 3", "seal"), ("x x x", "belt"), ("17 x 40 x 12", "sprocket"),
       ("-5 x 3 x 2", "bearing"), ("0 x 0 x 0", "")]  # fmt: skip
PIECES = st.sampled_from(["17", "x", "40.5", "bore", "mm", "in", "1/2", "ribs", "tpi", "0", "width"])
KINDS = ["", "bearing", "seal", "belt", "o-ring", "key", "hose", "thread", "circlip", "toothed belt", "ring"]


@pytest.mark.parametrize(("measured", "kind"), BAD)
def test_bad_sizes_have_an_answer(measured: str, kind: str) -> None:
    assert which_part(measured, kind).notes


@examples(300)
@given(st.one_of(st.text(max_size=30), st.lists(PIECES, max_size=8).map(" ".join)), st.sampled_from(KINDS))
def test_any_text_has_an_answer(measured: str, kind: str) -> None:
    got = which_part(measured, kind)
    assert json.loads(json.dumps(got.as_json()))["measured"] == measured
    assert got.parts or got.notes


def test_the_two_commands_say_the_same_in_words_and_data() -> None:
    words, data = which_part_answer("16.98 x 39.99 x 12.02", "bearing")
    assert "6203" in words
    parts = data["parts"]
    assert isinstance(parts, list)
    assert {"designation", "kind", "gaps"} <= set(parts[0])
    assert parts[0]["gaps"] == {"d": -0.02, "D": -0.01, "B": 0.02}
    json.dumps(data)
    words, data = same_part("6203-2RS", "6303-2RS")
    assert data["verdict"] == "not"
    assert "47 mm against 40 mm" in words
    assert [p["designation"] for p in data["parts"]] == ["6203", "6303"]  # type: ignore[attr-defined]
    json.dumps(data)


@pytest.mark.parametrize("offered", ["6203-2RS", "6203-2Z", "6303-2RS", "6299"])
def test_the_first_line_says_the_verdict_once(offered: str) -> None:
    words, data = same_part("6203-2RS", offered)
    assert words.splitlines()[0].split(f"offered {offered}: ")[1].count(str(data["verdict"])) == 1


def test_an_unknown_fluid_is_said_by_the_command() -> None:
    words, data = same_part("25x40x7 NBR", "25x40x7 NBR", "sheep dip")
    assert "sheep dip" in words
    assert data["fluid_known"] is False
    assert same_part("25x40x7 NBR", "25x40x7 NBR", "diesel")[1]["fluid_known"] is True
