"""No word of a name is passed over: tricky questions, noise, and any word that nobody understands.

The questions and their sources are in data/equivalents_open.json and data/adversarial.json (ours, answered from the
standards that each names; some admit more than one verdict), the words in data/workshop_words.txt.
"""

from __future__ import annotations

import json
import re
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sweeps import examples, sample

from repairecon.standards import equivalent, identify
from repairecon.standards.tables import rows

DATA = Path(__file__).parent / "data"
OPEN = json.loads((DATA / "equivalents_open.json").read_text("utf-8"))
TRICKS = json.loads((DATA / "adversarial.json").read_text("utf-8"))
WORDS = [w for w in (DATA / "workshop_words.txt").read_text("utf-8").splitlines() if w and not w.startswith("#")]
LISTED = [
    *(r["designation"] for r in rows("bearings")),
    *(r["designation"] for r in rows("bearings_more")),
    *(r["pair"] for r in rows("bearings_taper_inch")),
    *(r["designation"] for r in rows("seals")),
    *(f"AS568{r['dash']}" for r in rows("oring_as568")),
    *(f"O-ring {r['code']}" for r in rows("oring_metric")),
    *(f"{r['section']} {r['number']}" for r in rows("belts_lengths")),
    *(r["designation"] for r in rows("retaining_rings_heavy")),
    *(f"{r['standard'][:7]} {r['nominal_mm']}" for r in rows("circlips_keys") if r["item"] == "circlip"),
    *(f"Woodruff key {r['designation']}" for r in rows("woodruff_metric")),
    *(r["designation"] for r in rows("pins_clips")),
    *(f"bolt {r['designation']}" for r in rows("threads")),
    *(f"hose {r['bore_nominal_mm']} mm" for r in rows("hose_bores")),
    *(f"blade fuse {r['name']}" for r in rows("fuses_blade")),
    *(f"lamp {r['base']} 10 W" for r in rows("lamp_bases")),
    *(f"battery {r['name'].split(' / ')[0]}" for r in rows("batteries")),
    *(r["designation_normal"] for r in rows("mechanical_seals")),
    "6PK1200", "800-8M-30", "carbon brush 8x20x32", "relay mini 4 pin 12 V", "fuse 5x20 T 2A", "impeller 500121",
]  # fmt: skip
# machines whose part a name says: a pump O-ring, an engine bolt
MACHINES = ("engine", "gearbox", "generator", "pump", "starter")
# words that say what the kind is already
OWN = {"threaded": "bolt", "cartridge": "fuse 5x20", "glass": "fuse 5x20", "tube": "fuse 5x20"}


@pytest.mark.parametrize("question", OPEN, ids=lambda q: q["id"])
def test_open_questions(question: dict[str, Any]) -> None:
    got = equivalent(question["maker_part"], question["offered"])
    assert got.verdict in (question["verdict"], *question.get("also_accept", ())), got.reasons
    assert got.reasons


@pytest.mark.parametrize("question", TRICKS, ids=lambda q: f"{q['wanted']}|{q['offered']}")
def test_tricks(question: dict[str, Any]) -> None:
    got = equivalent(question["wanted"], question["offered"])
    assert got.verdict in question["verdicts"], got.reasons
    assert (got.verdict == "same") == (got.differs == ()) or got.verdict == "unknown"


def test_the_tricks_are_many_and_sourced() -> None:
    assert len(TRICKS) >= 150
    assert all(q["source"] and q["why"] for q in TRICKS)
    assert sum("same" in q["verdicts"] for q in TRICKS) > 50


def changes(word: str, name: str) -> bool:
    """Whether a word of the list says something else of a part."""
    if word.startswith("=") or (word in MACHINES and name[0].isalpha()):
        return False
    return not any(w == word and name.startswith(n) for w, n in OWN.items())


@examples(700)
@given(st.sampled_from(LISTED), st.sampled_from(WORDS), st.booleans())
def test_noise_gives_no_wrong_same(name: str, word: str, before: bool) -> None:
    bare = word.lstrip("=")
    text = f"{bare} {name}" if before else f"{name} {bare}"
    if changes(word, name):
        assert equivalent(name, text).verdict != "same", text
        assert equivalent(text, name).verdict != "same", text


def test_every_word_beside_some_names() -> None:
    for place, name in enumerate(("6203-2RS", "25x40x7", "AS568-214", "SPZ 1000", "DIN 471 20")):
        for word in sample(WORDS, place):
            if changes(word, name):
                assert equivalent(name, f"{name} {word}").verdict != "same", word


def test_plain_words_change_nothing() -> None:
    for word in ("new", "original", "genuine", "spare", "boxed"):
        for name in ("6203-2RS", "25x40x7", "AS568-214", "SPZ 1000", "DIN 471 20", "6PK1200", "bolt M8x40 A4-70"):
            assert equivalent(name, f"{word} {name}").verdict == "same", (word, name)


# letters that no table has in this order
STRANGE = st.text("BDFGHJQVWY", min_size=5, max_size=9)
FORMS = st.sampled_from(["{w} {n}", "{n} {w}", "{n}-{w}", "{n} ({w})", "{n}, {w}", "{n}/{w}"])
BESIDE = st.sampled_from(["bore {} mm", "{} mm bore", "OD {} mm", "{} mm wide"])


@examples(350)
@given(st.sampled_from(LISTED), STRANGE, FORMS)
def test_a_word_that_is_not_understood_never_leaves_same(name: str, word: str, form: str) -> None:
    text = form.format(n=name, w=word)
    assert equivalent(name, text).verdict != "same"
    assert equivalent(text, name).verdict != "same"
    part = identify(text)
    if part is not None and part.doubts:
        assert equivalent(text, text).verdict != "same"


SIZES = st.decimals(2, 90, places=1).map(lambda v: f"{v:g}" if v % 1 else f"{int(v)}")


@examples(200)
@given(st.sampled_from(rows("bearings")), SIZES, BESIDE)
def test_a_size_beside_a_number_must_agree(row: dict[str, str], size: str, form: str) -> None:
    column = "D_mm" if "OD" in form else "B_mm" if "wide" in form else "d_mm"
    agrees = abs(float(row[column]) - float(size)) < 0.05
    got = equivalent(row["designation"], f"{row['designation']} {form.format(size)}")
    assert got.verdict == ("same" if agrees else "not"), got.reasons


def test_four_hundred_questions_in_seconds() -> None:
    begin = time.perf_counter()
    for q in [*TRICKS, *OPEN][:400]:
        equivalent(q.get("wanted", q.get("maker_part")), q["offered"])
    assert time.perf_counter() - begin < 10


# seal_materials.csv: what its own notes say against its ratings
@pytest.mark.parametrize(
    ("wanted", "offered", "fluid", "verdict"),
    [("EPDM", "HNBR", "hot water", "near"), ("NBR", "VMQ", "engine oil", "near"), ("NBR", "VMQ", "diesel", "not"),
     ("EPDM", "NBR", "hot water", "not"), ("NBR", "CR", "engine oil", "near")],
)  # fmt: skip
def test_materials_on_which_the_sources_disagree(wanted: str, offered: str, fluid: str, verdict: str) -> None:
    got = equivalent(f"25x40x7 {wanted}", f"25x40x7 {offered}", fluid=fluid)
    assert got.verdict == verdict, got.reasons


def test_a_fluid_that_no_table_knows_is_said() -> None:
    for wanted in ("25x40x7 NBR", "6203-2RS"):
        got = equivalent(wanted, wanted, fluid="sheep dip")
        assert any("sheep dip" in reason for reason in got.reasons)


def test_a_row_that_is_not_published_is_said() -> None:
    got = equivalent("NU025S0", "NU025S0")
    assert got.status == "from memory"
    assert any(re.search("not all of this is published", c, re.I) for c in got.caution)
