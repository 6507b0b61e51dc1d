"""The tool on truths drawn from its own belief: even ranks, and a tool that is wrong is noticed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import self_check
from scipy import stats

from repairecon import read_case
from repairecon.after_the_job import learning
from repairecon.formulas.bayes import LinearBelief
from repairecon.rebuild_or_buy import draws

DATA = Path(__file__).parents[2] / "data"
PARTS = {"chance": self_check.chance_ranks, "pace": self_check.pace_ranks, "drift": self_check.drift_ranks}


@pytest.fixture(autouse=True)
def tables_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The table of a range that does not change from job to job is made once."""
    monkeypatch.setattr(draws, "value_table", cache(draws.value_table))


def even(ranks: np.ndarray, bars: int = 10) -> float:
    """p-value of evenness."""
    return float(stats.chisquare(np.histogram(ranks, bars, (0.0, 1.0))[0]).pvalue)


def ranks_of(part: Callable[[np.random.Generator, int], float], jobs: int, runs: int = 600) -> np.ndarray:
    rng = np.random.default_rng(31)
    return np.array([part(rng, jobs) for _ in range(runs)])


@pytest.mark.parametrize("jobs", [0, 1, 9])
@pytest.mark.parametrize("part", PARTS)
def test_what_is_learned_is_as_sure_as_it_says(part: str, jobs: int) -> None:
    assert even(ranks_of(PARTS[part], jobs)) > 0.002


def test_a_tool_too_sure_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    real = learning.pace

    def too_sure(rows):
        made = real(rows)
        b = made.belief
        return replace(made, belief=LinearBelief(b.mean, b.precision * 3.0, b.shape, b.scale))

    monkeypatch.setattr(learning, "pace", too_sure)
    assert even(ranks_of(self_check.pace_ranks, 9)) < 1e-6


def test_the_whole_chain_covers_what_it_claims() -> None:
    case = read_case(DATA / "alternator")
    ranks = self_check.chain_ranks(case, "rebuild here", runs=60, jobs=8, seed=5, draws=1024)
    inside = int(((ranks >= 0.1) & (ranks <= 0.9)).sum())
    # eight in ten are claimed; the band holds 99.8 of 100 right tools
    assert stats.binom.ppf(0.001, 60, 0.8) <= inside <= stats.binom.ppf(0.999, 60, 0.8)
    assert even(ranks, 5) > 0.002


def test_a_truth_that_the_belief_does_not_know_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    real = self_check.truth_of

    def slow(case, rng):
        truth = real(case, rng)
        return replace(truth, tasks=tuple(replace(t, hours=t.hours.scaled(4.0)) for t in truth.tasks))

    monkeypatch.setattr(self_check, "truth_of", slow)
    ranks = self_check.chain_ranks(read_case(DATA / "alternator"), "rebuild here", 16, 0, seed=5, draws=512)
    assert np.mean(ranks > 0.9) > 0.4
