"""Sentences of owners, written without looking at the phrases of the data; the ``fresh`` ones after the building."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from repairecon.kinds import found_in, kinds, match_kind, match_symptom, settle

HERE = Path(__file__).resolve().parent
SENTENCES = list(csv.DictReader((HERE / "sentences.csv").open(encoding="utf-8")))
QUESTIONS = list(csv.DictReader((HERE / "questions.csv").open(encoding="utf-8")))
SURE = ("taken as", "exact")


def counted(which: str) -> tuple[float, float]:
    """Shares of sentences that are right, and that are taken for a wrong symptom without asking."""
    chosen = [r for r in SENTENCES if r["set"] == which]
    right = wrong = 0
    for row in chosen:
        match = match_symptom(row["kind"], row["sentence"])
        sure = match.certainty in SURE
        right += (sure and match.symptom == row["symptom"]) or (not sure and row["symptom"] == "ask")
        wrong += sure and match.symptom != row["symptom"]
    return right / len(chosen), wrong / len(chosen)


# measured: 148 of 151 right and 67 of 76 right, none taken for a wrong symptom; the rest is asked
@pytest.mark.parametrize(("which", "least"), [("seen while building", 0.95), ("fresh", 0.85)])
def test_most_sentences_are_understood_and_the_rest_is_asked(which: str, least: float) -> None:
    right, wrong = counted(which)
    assert right >= least
    assert wrong <= 0.03


def test_every_question_is_given_a_kind_and_most_a_symptom() -> None:
    kinds_found = [settle(match_kind(q["kind"]), q["sentence"]).kind for q in QUESTIONS]
    assert all(kinds_found)
    sure = [match_symptom(k, q["sentence"]).certainty in SURE for k, q in zip(kinds_found, QUESTIONS, strict=True)]
    assert sum(sure) >= 45


def test_what_was_taken_and_what_would_tell_more_is_said() -> None:
    match = match_symptom("windlass", "hums when I press the button but the chain does not come up")
    assert match.said == f"taken as: {match.symptom}"
    assert match.first_question == "What volts at the windlass motor while it lifts?"
    unsure = match_symptom("windlass", "it is old")
    assert unsure.certainty == "none"
    assert unsure.first_question.startswith("Which fits best:")


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [("gearbox", "slips and leaks oil"), ("toilet pump", "stiff and drips at the rod"), ("winch", "stiff and slips")],
)
def test_a_sentence_that_says_two_things_is_asked_about(kind: str, sentence: str) -> None:
    match = match_symptom(kind, sentence)
    assert match.certainty == "ask"
    assert len(match.candidates) == 2
    assert all(c in match.first_question for c in match.candidates)


@pytest.mark.parametrize(
    ("kind", "sentence", "wrong"),
    [
        ("alternator", "no noise, just not charging", "growl or squeal"),
        ("gearbox", "no oil leak, no slipping, only a rattle in neutral", "oil leaks, or oil milky"),
        (
            "raw water pump",
            "no leak, but hardly any water from the exhaust",
            "water drips from the hole between pump and engine",
        ),
    ],
)
def test_what_is_denied_does_not_count(kind: str, sentence: str, wrong: str) -> None:
    assert match_symptom(kind, sentence).symptom != wrong
    said = sentence.replace("no ", "", 1).split(",")[0]
    assert match_symptom(kind, said).symptom == wrong


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("raw water pump", "only a single drop after standing a long time, stops once warm"),
        ("exhaust elbow", "a puff of black when I open the throttle"),
        ("windlass", "breaker trips when I use it to pull the boat"),
        ("outboard lower unit", "a clunk when shifting"),
        ("alternator", "works fine, just a precaution"),
        ("winch", "nothing wrong, routine service"),
    ],
)
def test_no_fault_at_all_is_recognised(kind: str, sentence: str) -> None:
    assert match_symptom(kind, sentence).nothing_wrong


@pytest.mark.parametrize("row", [r for r in SENTENCES if r["symptom"] != "ask"], ids=lambda r: r["sentence"])
def test_a_fault_is_not_talked_away(row: dict[str, str]) -> None:
    assert not match_symptom(row["kind"], row["sentence"]).nothing_wrong


def test_a_sentence_that_points_to_another_unit_is_asked_about() -> None:
    assert match_symptom("raw water pump", "green drip, tastes sweet").certainty == "ask"  # the circulating pump's
    assert match_symptom("gearbox", "vibration under way").certainty == "ask"  # the propeller shaft's


FOUND = {
    ("raw water pump", "drips, and the shaft is grooved"): "shaft grooved under the seal",
    ("raw water pump", "bearings rough"): "bearing rough and wet, shaft often grooved too",
    ("raw water pump", "impeller vanes missing"): "impeller vanes lost or set",
    ("alternator", "brushes worn to nothing, slip rings look fine"): "brushes worn out",
    ("gearbox", "damper plate is broken"): "damper plate springs broken",
    ("exhaust elbow", "cracked"): "pinhole or crack in casting or weld",
    ("windlass", "the motor has drowned"): "motor drowned or burnt",
    ("winch", "spring broken"): "spring broken",
}


@pytest.mark.parametrize(("said", "cause"), FOUND.items())
def test_what_was_found_counts_as_found(said: tuple[str, str], cause: str) -> None:
    assert cause in found_in(*said)


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("raw water pump", "shaft not grooved, bearings not rough"),
        ("raw water pump", "drips all day"),
        ("alternator", "slip rings look fine"),
        ("turbocharger", "oily intake hose"),
    ],
)
def test_what_was_not_found_is_not_found(kind: str, text: str) -> None:
    assert not found_in(kind, text)


def test_one_clause_does_not_speak_for_another() -> None:
    seen = set(found_in("alternator", "brushes worn, rings still to be looked at"))
    assert "brushes worn out" in seen
    assert "rings worn or rough" not in seen


def test_any_words_get_an_answer() -> None:
    for kind in (*kinds(), ""):
        for text in ("", "?", "no", "x" * 500, "the the the", "ünïcödé ✓"):
            assert match_symptom(kind, text).certainty == "none"
