"""Whatever is written: an answer and no error; a part equals itself; sizes come out alike from either side."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from sweeps import examples

from repairecon.records import STATUSES
from repairecon.standards import equivalent, identify
from repairecon.standards.tables import rows

WORDS = """6203 62/22 618/8 16100 6299 2RS ZZ C3 / - x X * , . SPZ A 41 AV10 1000 La Li JIS M Z 4L 430 2365 -210 AS568
P20 12 2.5 25 40 7 TC NBR EPDM O-ring seal belt bearing DIN 471 6885 key circlip shaft " in 1/8 0 S N K Б ( )
99999999999999999999 0.000001"""
PIECES = st.sampled_from([*WORDS.split(), " "])
NAMES = st.one_of(
    st.text(max_size=30),
    st.lists(PIECES, max_size=7).map("".join),
    st.lists(PIECES, max_size=6).map(" ".join),
)
RINGS = [f"{r['standard'][:7]} {r['nominal_mm']}" for r in rows("circlips_keys") if r["item"] == "circlip"]
KNOWN = st.one_of(
    st.sampled_from([r["designation"] for r in rows("bearings")]),
    st.sampled_from([r["designation"] for r in rows("seals")]),
    st.sampled_from([r["dash"] for r in rows("oring_as568")]),
    st.sampled_from([r["code"] for r in rows("oring_metric")]),
    st.sampled_from([f"{r['section']} {r['number']}" for r in rows("belts_lengths")]),
    st.sampled_from(RINGS),
)
MATERIALS = st.sampled_from(["", "NBR", "EPDM", "FKM", "CR", "stainless", "wood"])
LOOSE = examples(300)


@LOOSE
@given(
    NAMES,
    NAMES,
    st.one_of(st.just(""), st.sampled_from(["diesel", "sea water", "wine 80 C"]), st.text(max_size=10)),
    MATERIALS,
)
def test_any_two_texts_have_an_answer(wanted: str, offered: str, fluid: str, material: str) -> None:
    got = equivalent(wanted, offered, fluid=fluid, material_offered=material)
    assert got.verdict in ("same", "near", "not", "unknown")
    assert got.reasons
    assert got.status in ("", *STATUSES)
    if got.verdict in ("near", "not"):
        assert got.differs
    for part in (got.wanted, got.offered):
        assert part is None or all(value >= 0 for value in part.dims.values())


@LOOSE
@given(st.one_of(NAMES, KNOWN))
def test_a_part_is_the_same_as_itself_or_unknown(text: str) -> None:
    got = equivalent(text, text)
    if got.wanted is None or not got.wanted.doubts:
        assert got.verdict in ("same", "near", "unknown"), (got.wanted, got.reasons)
    assert (got.differs == ()) or got.verdict != "same"


@LOOSE
@given(KNOWN)
def test_listed_parts_are_the_same_as_themselves(text: str) -> None:
    part = identify(text)
    assert part is not None
    assert part.listed
    assert equivalent(text, text).verdict == "same"
    # case and spaces are writing only
    assert equivalent(text, f" {text.lower()} ").verdict == "same"


@LOOSE
@given(KNOWN, KNOWN)
def test_sizes_are_compared_alike_from_either_side(one: str, other: str) -> None:
    there, back = equivalent(one, other), equivalent(other, one)
    if there.wanted is None or back.wanted is None:
        return
    assert there.dims == back.dims[::-1]
    if there.wanted.kind == "rolling bearing":
        assert there.verdict == back.verdict
    for letter in set(there.gaps) & set(back.gaps):
        assert there.gaps[letter] == -back.gaps[letter]


@LOOSE
@given(NAMES)
def test_what_is_read_is_read_again(text: str) -> None:
    part = identify(text)
    if part is not None:
        assert part.text == text
        again = identify(text, part.kind)
        assert again is not None
        assert again.kind == part.kind
