"""Measurements against limits. Each limit's source stands in limits.csv; the verdicts are read off it by hand."""

from __future__ import annotations

import json

import pytest

from repairecon.kinds import kinds, worn
from repairecon.kinds.facts import rows
from repairecon.kinds.worn import kinds_listed, measures, worn_said

JUDGED = [
    ("raw water pump", "seal track groove", "0.2", "worn"),
    ("raw water pump", "seal track groove", "0.03 mm", "within"),
    ("raw water pump", "groove at the seal", "a nail catches in it", "worn"),
    ("raw water pump", "groove at the seal", "smooth", "within"),
    ("raw water pump", "shaft diameter at the seal", "15.8", "ask"),
    ("alternator", "brush length", "4", "worn"),
    ("alternator", "brush length", "8 mm", "ask"),
    ("alternator", "slip ring diameter", "14.2 mm", "ask"),
    ("alternator", "charge voltage", "13.2 V", "worn"),
    ("alternator", "charge voltage", "14,1", "within"),
    ("alternator", "ring run-out", "3 thou", "worn"),
    ("alternator", "ring run-out", "0.05", "within"),
    ("windlass", "volts at the motor under load", "10.9 of 12.4", "worn"),
    ("windlass", "volts at the motor under load", "11.9 of 12.4", "within"),
    ("windlass", "volts at the motor under load", "10.9 V", "ask"),
    ("exhaust elbow", "back pressure", "3.5 inHg", "worn"),
    ("exhaust elbow", "back pressure", "1 inHg", "within"),
    ("exhaust elbow", "back pressure", "1 psi", "ask"),
    ("gas locker regulator", "hose age", "5", "worn"),
    ("gas locker regulator", "regulator age", "9 years", "within"),
    ("stern bearing", "play", "1/16 in", "worn"),
    ("seacock", "colour of scratch", "pink", "worn"),
    ("seacock", "colour of scratch", "yellow", "within"),
    ("generator set", "insulation", "0.4 Mohm", "worn"),
    ("furling gear", "broken strands", "1", "worn"),
    ("furling gear", "broken strands", "none", "within"),
    ("saildrive", "diaphragm age", "6 years", "ask"),
    ("stern gland", "heat", "too hot to touch", "worn"),
    ("raw water pump", "play at pulley", "no play", "within"),
]


@pytest.mark.parametrize(("kind", "measure", "value", "verdict"), JUDGED)
def test_a_measurement_is_judged(kind: str, measure: str, value: str, verdict: str) -> None:
    judged = worn(kind, measure, value)
    assert judged.verdict == verdict, judged
    assert judged.limit
    assert judged.source


def test_what_cannot_be_said_says_what_to_give() -> None:
    assert "10.9 of 12.4" in worn("windlass", "volts at motor", "10.9 V").note
    assert "see your book" in worn("alternator", "slip-ring diameter", "14.2").note
    assert "groove depth at the seal" in worn("raw water pump", "colour", "blue").note
    assert worn("raw water pump", "seal track groove").note.startswith("Say it in words")


def test_a_limit_from_another_trade_says_so() -> None:
    assert "By type" in worn("injectors", "opening pressure", "130 bar").note
    assert "By type" not in worn("seacock", "colour", "pink").note


@pytest.mark.parametrize("kind", kinds())
def test_every_limit_can_be_asked_by_its_own_name(kind: str) -> None:
    for measure in measures(kind):
        assert worn(kind, measure).measure == measure
        for value in ("", "12", "-3 mm", "ok", "1/0", "10 of 0", "∞", "12 parsec"):
            assert worn(kind, measure, value).verdict in ("within", "worn", "ask")


def test_limits_in_figures_are_complete() -> None:
    for row in rows("limits"):
        if row["worn_when"]:
            assert float(row["limit_low"]) <= float(row["limit_high"]), row["measure"]
            assert row["worn_when"] in ("above", "below", "outside")
        else:
            assert not row["limit_low"] + row["limit_high"] + row["unit"], row["measure"]


def test_the_command_says_it_in_words_and_as_data() -> None:
    text, data = worn_said("Raw-water pumps", "seal track groove", "0.2")
    assert "Past the limit." in text
    assert "sleeve or new shaft" in text
    assert json.loads(json.dumps(data))["verdict"] == "worn"
    assert worn_said("pump", "play", "1")[0].startswith("Which is it:")
    assert "no kind of unit" in worn_said("toaster", "play", "1")[0]


def test_the_kinds_are_listed_in_words_and_as_data() -> None:
    text, data = kinds_listed()
    assert len(text.splitlines()) == len(data) == len(kinds())
    json.dumps(data)
