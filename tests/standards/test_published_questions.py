"""Every question of a published set on equal parts, with its verdict, sizes, numbers and what differs.

The questions with their sources are in data/equivalents.json. Sizes there are as printed; tolerances are half the
printed digit.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from repairecon.records import Equivalence
from repairecon.standards import equivalent, identify, shelf_life
from repairecon.standards.bearings import clearance
from repairecon.standards.tables import rows

QUESTIONS = json.loads((Path(__file__).parent / "data" / "equivalents.json").read_text("utf-8"))
PAIRS = [q for q in QUESTIONS if {"maker_part", "offered"} <= set(q["inputs"])]
OTHERS = {q["id"]: q for q in QUESTIONS if q not in PAIRS}
# what the part meets stands in the words of the question only
FLUIDS = {"OR-06": "diesel", "OR-07": "glycol coolant at 80 C"}

Expected = dict[str, Any]


def answer(question: dict[str, Any]) -> Equivalence:
    inputs = question["inputs"]
    return equivalent(inputs["maker_part"], inputs["offered"], fluid=FLUIDS.get(question["id"], ""))


@pytest.mark.parametrize("question", PAIRS, ids=lambda q: q["id"])
def test_verdict_sizes_and_what_differs(question: dict[str, Any]) -> None:
    got, expected = answer(question), question["expected"]
    assert got.verdict == expected["verdict"], got.reasons
    assert got.reasons
    assert got.status in ("published", "doubtful", "from memory")
    wanted, offered = got.dims
    for letter, value in expected.get("dims", {}).items():
        assert wanted[letter] == offered[letter] == value
    for side, dims in (("maker", wanted), ("offer", offered)):
        for letter, value in expected.get(side, {}).items():
            assert dims[letter] == value
    assert set(expected.get("differs", [])) <= set(got.differs)
    if expected["verdict"] == "same":
        assert got.differs == ()


# words that a reason of the set rests on, by question: an owner must find them in the answer
SAID = {
    "BRG-01": ["12 x 32 x 10", "do not keep water out"],
    "BRG-02": ["3-18 um", "11-25 um"],
    "BRG-04": ["two writings"],
    "BRG-05": ["20 x 37 x 9"],
    "BRG-07": ["28 mm against 26 mm"],
    "BRG-08": ["corrodes", "9.95 against 8.06", "within one catalogue"],
    "BRG-11": ["better than P0"],
    "BRG-13": ["carries no grease and no seal"],
    "BRG-14": ["more drag, lower speed limit", "water out better"],
    "BELT-01": ["10 x 6 mm", "10 x 5.5 mm", "must not bottom"],
    "BELT-03": ["43 in against 43 in", "light-duty"],
    "BELT-04": ["45 in against 43 in"],
    "BELT-06": ["1013 mm against 1013 mm", "9.7 x 8", "10 x 8", "raw edge"],
    "BELT-07": ["1000 mm against 1000 mm", "less wedge", "stop-gap"],
    "BELT-15": ["643 mm against 635 mm"],
    "OR-03": ["12 x 2.5 mm against 12.37 x 2.62", "0.12 mm below", "tolerance 0.08"],
    "OR-04": ["20.29 x 2.62 mm against 19.8 x 2.4", "0.22 mm over"],
    "OR-06": ["EPDM is bad in diesel: it swells"],
    "OR-07": ["NBR stands glycol coolant", "hot water", "ozone", "shorter life"],
    "SEAL-01": ["same shaft and bore", "3 mm wider", "bore is deep enough"],
    "SEAL-02": ["1 mm larger: does not go into the bore"],
}


@pytest.mark.parametrize("question", PAIRS, ids=lambda q: q["id"])
def test_reasons_say_why(question: dict[str, Any]) -> None:
    got = answer(question)
    for words in SAID[question["id"]]:
        assert any(words in reason for reason in got.reasons), (words, got.reasons)


@pytest.mark.parametrize("question", [q for q in PAIRS if q["id"] in ("OR-06", "OR-07")], ids=lambda q: q["id"])
def test_materials_without_a_fluid_err_on_the_safe_side(question: dict[str, Any]) -> None:
    inputs = question["inputs"]
    assert equivalent(inputs["maker_part"], inputs["offered"]).verdict == question["expected"]["verdict"]


def expected(name: str) -> Expected:
    found: Expected = next(q["expected"] for q in QUESTIONS if q["id"] == name)
    return found


def test_numbers_beside_the_verdicts() -> None:
    by_id = {q["id"]: answer(q) for q in PAIRS}
    for group in ("CN", "C3"):
        row = clearance(12.0, group)
        assert row is not None
        printed = [float(row["clearance_min_um"]), float(row["clearance_max_um"])]
        assert printed == expected("BRG-02")[f"{group}_um"]
    for name, letter in (("BELT-01", "top_width"), ("BELT-01", "height"), ("BELT-07", "height")):
        assert [d[letter] for d in by_id[name].dims] == expected(name)[letter]
    assert [d["La"] for d in by_id["BELT-06"].dims] == expected("BELT-06")["La_mm"]
    assert [d["La"] for d in by_id["BELT-15"].dims] == expected("BELT-15")["mm"]
    for name in ("BELT-03", "BELT-04"):
        parts = by_id[name].wanted, by_id[name].offered
        inches = [p.figures["outside_in"] for p in parts if p is not None]
        stated = expected(name)["outside_in"]
        assert inches == (stated if isinstance(stated, list) else [stated, stated])
    for name in ("OR-03", "OR-04"):
        assert abs(by_id[name].gaps["id"]) == expected(name)["id_diff"]
        assert abs(by_id[name].gaps["cs"]) == expected(name)["cs_diff"]


def bores(inputs: Expected, stated: Expected) -> None:
    parts = [identify(name) for name in inputs["designations"]]
    assert [p.dims["d"] for p in parts if p is not None] == stated["bores_mm"]


def classical(inputs: Expected, stated: Expected) -> None:
    part = identify(f"{inputs['section']} 17x{inputs['Li_mm']} Li")
    plain = identify(f"17x{inputs['Li_mm']} Li")
    assert part is not None
    assert plain is not None
    assert part.dims == plain.dims
    assert part.dims["Ld"] in stated["Ld_mm"]
    assert part.dims["La"] == stated["La_mm"]


def wedge(inputs: Expected, stated: Expected) -> None:
    name = f"{inputs['section']} x {inputs['La_mm']} La"
    got = equivalent(name, "SPA")
    assert got.verdict == stated["verdict"]
    assert got.dims[0]["Ld"] == stated["Lw_mm"]
    assert any("1057 mm datum length" in r and "1060, 3 mm longer" in r for r in got.reasons)
    with_length = equivalent(name, "SPA 1060")
    assert with_length.verdict == "near"
    assert with_length.dims[1]["La"] == 1078
    assert with_length.gaps["La"] == 3


def outside_less_inside(inputs: Expected, stated: Expected) -> None:
    for height, printed in zip(inputs["height_mm"], stated["La_minus_Li_mm"], strict=True):
        assert 2 * math.pi * height == pytest.approx(printed, abs=0.5)
        found = [r for r in rows("belts_sections") if r["family"] == "classical" and float(r["height_mm"]) == height]
        assert {float(r["La_minus_Li_mm"]) for r in found} == {printed}


def dash(inputs: Expected, stated: Expected) -> None:
    part = identify(inputs["dash"])
    assert part is not None
    assert (part.dims["id"], part.dims["cs"]) == (stated["id_mm"], stated["cs_mm"])


def storage(inputs: Expected, stated: Expected) -> None:
    found = {s.rule: s for s in shelf_life(inputs["material"], inputs["cured"])}
    assert found["ISO 2230:2002"].last_year == stated["ISO2230_initial"]
    assert found["ISO 2230:2002"].last_year_if_inspected == stated["ISO2230_extended"]
    assert found["SAE ARP5316"].last_year == stated["ARP5316"]


ASKED: dict[str, Callable[[Expected, Expected], None]] = {
    "BRG-10": bores, "BELT-09": classical, "BELT-10": wedge,
    "BELT-13": outside_less_inside, "OR-01": dash, "STORE-01": storage,
    "STORE-03": storage,
}  # fmt: skip


@pytest.mark.parametrize("name", list(ASKED))
def test_other_questions(name: str) -> None:
    ASKED[name](OTHERS[name]["inputs"], OTHERS[name]["expected"])


def test_no_question_is_left_out() -> None:
    assert set(ASKED) == set(OTHERS)
    assert set(SAID) == {q["id"] for q in PAIRS}
    assert len(QUESTIONS) == len({q["id"] for q in QUESTIONS}) == 28
