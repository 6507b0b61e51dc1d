"""The answer as plain data."""

from __future__ import annotations

import json

import pytest
import reference_case as rc

from repairecon.rebuild_or_buy import parts, sentences
from repairecon.rebuild_or_buy.command import as_json
from repairecon.rebuild_or_buy.job import rebuild_or_buy

KEYS = {"ways", "verdict", "best", "near_tie", "assumed", "cautions", "thumb_rules", "tree", "seed", "draws"}
WAY_KEYS = {"way", "kind", "cash", "total", "days", "own_hours", "p_cheapest", "expected_regret", "allowed"}
ADVICE_KEYS = {
    "do",
    "what",
    "way",
    "basis",
    "years",
    "gap",
    "against",
    "near_tie",
    "day_price_turns",
    "back_by",
    "because",
}


@pytest.fixture(scope="module")
def answer():
    return rebuild_or_buy(rc.case(), draws=3_000, seed=4)


def test_advice_comes_first_and_all_is_plain(answer):
    data = json.loads(json.dumps(as_json(answer), allow_nan=False))
    assert next(iter(data)) == "advice"
    assert set(data["advice"]) >= ADVICE_KEYS
    assert data["best"] == data["advice"]["way"] == answer.advice.way
    assert set(data) >= KEYS
    assert data["verdict"] == " ".join(sentences.advice(answer))


def test_every_way_has_its_kind_and_figures(answer):
    data = as_json(answer)
    for way in data["ways"]:
        assert set(way) >= WAY_KEYS
        assert way["kind"] == answer.case.way(way["way"]).kind
        for quantity in ("cash", "total", "days", "own_hours"):
            assert set(way[quantity]) >= {"mean", "p10", "p50", "p90"}
    assert sum(w["p_cheapest"] for w in data["ways"]) == pytest.approx(1.0)
    assert sum(leaf["chance"] for leaf in data["tree"]) == pytest.approx(1.0)


def test_never_says_its_chance_and_what_is_done(answer):
    never = next(panel for panel in parts.rules(answer) if panel.title == "Ways that may never come")
    assert "Second-hand: 30 in 100 that it never comes; after the wait you take exchange." in never.lines
    way = next(w for w in as_json(answer)["ways"] if w["way"] == "second-hand")
    assert (way["p_never"], way["instead"]) == (0.3, "exchange")
