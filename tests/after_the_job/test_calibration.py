"""The tool on truths drawn from its own belief (Talts et al. 2018, simulation-based calibration): even ranks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from repairecon import read_case
from repairecon.after_the_job import calibration
from repairecon.formulas.bayes import LinearBelief

DATA = Path(__file__).parents[2] / "data"


def even(ranks: np.ndarray, bars: int = 10) -> float:
    """p-value of evenness."""
    return float(stats.chisquare(np.histogram(ranks, bars, (0.0, 1.0))[0]).pvalue)


@pytest.mark.parametrize("jobs", [0, 1, 9])
def test_what_is_learned_is_as_sure_as_it_says(jobs: int) -> None:
    ranks = calibration.learning_ranks(600, jobs, seed=31)
    for name in ("chance", "hours", "drift"):
        assert even(getattr(ranks, name)) > 0.002, name


def test_a_tool_too_sure_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    real = calibration.pace

    def too_sure(rows):
        made = real(rows)
        b = made.belief
        return replace(made, belief=LinearBelief(b.mean, b.precision * 3.0, b.shape, b.scale))

    monkeypatch.setattr(calibration, "pace", too_sure)
    assert even(calibration.learning_ranks(600, 9, seed=31).hours) < 1e-6


def test_the_whole_chain_covers_what_it_claims() -> None:
    case = read_case(DATA / "alternator")
    ranks = calibration.chain_ranks(case, "rebuild here", runs=100, jobs=8, seed=5, draws=1024)
    inside = int(((ranks >= 0.1) & (ranks <= 0.9)).sum())
    # eight in ten are claimed; the band holds 99.8 of 100 right tools
    assert stats.binom.ppf(0.001, 100, 0.8) <= inside <= stats.binom.ppf(0.999, 100, 0.8)
    assert even(ranks, 5) > 0.002


def test_a_truth_that_the_belief_does_not_know_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    real = calibration._truth

    def slow(case, stream):
        truth = real(case, stream)
        tasks = tuple(replace(t, hours=t.hours.scaled(4.0)) for t in truth.tasks)
        return replace(truth, tasks=tasks)

    monkeypatch.setattr(calibration, "_truth", slow)
    ranks = calibration.chain_ranks(read_case(DATA / "alternator"), "rebuild here", 40, 0, seed=5, draws=512)
    assert np.mean(ranks > 0.9) > 0.4


def test_the_same_seed_gives_the_same_ranks() -> None:
    one, other = (calibration.learning_ranks(5, 3, seed=1) for _ in range(2))
    assert one.hours.tolist() == other.hours.tolist()
    assert calibration.learning_ranks(5, 3, seed=2).hours.tolist() != one.hours.tolist()
