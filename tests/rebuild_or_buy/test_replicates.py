"""Standard errors from replicates, what even spreading saves, and what a new input leaves alone."""

from __future__ import annotations

import gc
import tracemalloc
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray
from reference_case import case, span, task, terms
from scipy import stats
from wide_case import quote, wide

from repairecon.rebuild_or_buy.draws import REPLICATES, SLOTS
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes, evaluated_blocks, sample
from repairecon.rebuild_or_buy.sensitivity import most_moving as telling
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Case

Floats = NDArray[np.float64]
SEEDS = range(100, 160)
MADE = {"reference": case(), "wide": wide()}


def model_of(made: Case) -> Model:
    return Model(made, grow(made), {})


@cache
def many(name: str, draws: int) -> list[Outcomes]:
    m = model_of(MADE[name])
    return [sample(m, draws, seed) for seed in SEEDS]


def of(name: str, draws: int, what: str) -> Floats:
    return np.array([getattr(o, what) for o in many(name, draws)])


# ---- honest errors ------------------------------------------------------------------------
@pytest.mark.parametrize(("name", "draws"), [("reference", 4096), ("wide", 3000)])
def test_the_exact_mean_lies_within_the_errors_said_as_often_as_it_should(name: str, draws: int) -> None:
    # Means over 16 replicates: Student's t with 15 degrees of freedom (his paper, Biometrika 6 (1908)).
    z = (of(name, draws, "sampled_mean") - of(name, draws, "mean")) / of(name, draws, "sampled_se")
    t, n = stats.t(REPLICATES - 1), len(SEEDS)
    for level in (0.5, 0.8, 0.95):
        within = (np.abs(z) <= t.ppf((1 + level) / 2)).mean(axis=0)
        assert np.abs(within - level).max() < 4.5 * np.sqrt(level * (1 - level) / n), (level, within)
    assert np.abs(z.mean(axis=0)).max() < 4.5 * t.std() / np.sqrt(n)


def test_errors_said_are_the_spread_over_seeds() -> None:
    said = (of("reference", 4096, "beats_se") ** 2).mean(axis=0)
    found = of("reference", 4096, "beats").var(axis=0, ddof=1)
    some = said > 1e-12
    ratio = np.sqrt(found[some] / said[some])
    # a variance from 60 has a relative error of sqrt(2 / 59); that of the mean of 60 told is far less
    assert np.abs(ratio**2 - 1).max() < 4.5 * np.sqrt(2 / 59), ratio


# ---- what it saves ------------------------------------------------------------------------
def test_variance_is_far_below_that_of_independent_draws() -> None:
    n = 16_384
    p = of("reference", n, "p_cheapest")
    open_ways = p.mean(axis=0) > 0.01
    plain = (p * (1 - p)).mean(axis=0)[open_ways] / n
    assert (plain / p.var(axis=0, ddof=1)[open_ways]).min() > 3.0
    total = many("reference", n)[0].sample
    regret = (total - total.min(axis=0)).var(axis=1) / n
    assert (regret / of("reference", n, "regret").var(axis=0, ddof=1)).min() > 8.0
    sampled = of("reference", n, "sampled_mean")[..., 3].var(axis=0, ddof=1)
    assert (total.var(axis=1) / n / sampled).min() > 10.0


def test_more_draws_pay_more_than_in_proportion() -> None:
    few, more = (of("reference", n, "sampled_mean")[..., 3].var(axis=0, ddof=1) for n in (4096, 16_384))
    assert stats.gmean(few / more) > 5.0


def test_the_inputs_that_tell_most_come_first() -> None:
    # Waits times the cost of a lost day and one way that may never come move the reference case; a small part's
    # price does not: correlations of 40,000 independent draws with the differences of the totals.
    found = telling(model_of(case()))
    assert set(found) >= {"never:second-hand", "days of item:exchange", "lost day", "days of item:second-hand"}
    assert len(found) == SLOTS
    assert "quoted:part 0@bearing stockist" not in found


# ---- names --------------------------------------------------------------------------------
def inputs_of(made: Case) -> tuple[list[str], dict[str, Floats]]:
    m = model_of(made)
    return telling(m), dict(zip((x.key for x in m.inputs), next(evaluated_blocks(m, 8192, 5))[0].values, strict=True))


def test_a_small_new_quote_and_task_leave_every_other_column_alone() -> None:
    first, before = inputs_of(wide())
    cheaper = quote("part 6", "deck gear dealer", span(0.1, 0.2, 0.4))
    small = task("wipe it", "strip", hours=span(0.1, 0.1, 0.2))
    first_after, after = inputs_of(wide(quotes=(cheaper, *wide().quotes), tasks=(*wide().tasks, small)))
    assert first == first_after
    assert set(after) - set(before) == {"quoted:part 6@deck gear dealer", "task hours:wipe it"}
    for key in set(before) & set(after):
        assert_array_equal(before[key], after[key], err_msg=key)


def test_a_number_that_tells_much_moves_only_those_that_tell_much() -> None:
    first, before = inputs_of(case())
    first_after, after = inputs_of(case(terms=terms(cost_lost_day=span(1, 2, 3))))
    assert first != first_after
    changed = {key for key in before if not np.array_equal(before[key], after[key])}
    assert changed
    assert changed <= {*first, *first_after} | {x.key for x in model_of(case()).inputs if x.shared_hours}


# ---- memory -------------------------------------------------------------------------------
def test_memory_is_flat() -> None:
    m = model_of(case())
    sample(m, 20_000, 1)
    peaks = []
    for draws in (40_000, 160_000):
        gc.collect()
        tracemalloc.start()
        sample(m, draws, 1)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] == pytest.approx(peaks[0], rel=0.01)
    assert peaks[1] < 8.5e6
