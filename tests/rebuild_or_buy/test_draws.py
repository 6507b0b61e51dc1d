"""Each input's draws against a general-purpose statistics library."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray
from plain_numbers import lognormal_of
from reference_case import case, quotes, span, task
from scipy import stats
from wide_case import quote, wide

from repairecon.buying.inputs import Input
from repairecon.rebuild_or_buy.draws import BLOCK, Draws
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Case, Range

SHARES = (0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99)
N = 5 * BLOCK + 100


def drawn(inputs: list[Input], n: int = N, seed: int = 3, correlation: float = 0.5) -> NDArray[np.float64]:
    blocks = Draws(inputs, np.ones(1), correlation, seed).blocks(n)
    return np.concatenate([b.values.astype(float) for b in blocks], axis=1)


def frozen(r: Range) -> object:
    """The same curve in the statistics library's terms."""
    low, likely, high = r.low, r.likely, r.high
    if r.shape == "pert":
        a = 1 + 4 * (likely - low) / (high - low)
        return stats.beta(a, 6 - a, loc=low, scale=high - low)
    if r.shape == "triangular":
        return stats.triang((likely - low) / (high - low), loc=low, scale=high - low)
    if r.shape == "uniform":
        return stats.uniform(low, high - low)
    sigma, scale = lognormal_of(r)
    return stats.lognorm(sigma, loc=likely - scale, scale=scale)


RANGES = [
    Range(2, 5, 20),
    Range(0, 0, 8),
    Range(3, 9, 9),
    Range(9, 14, 31, "lognormal"),
    Range(350, 420, 560, "triangular"),
    Range(-4, 1, 45, "uniform"),
]


@pytest.mark.parametrize("shared", [False, True], ids=["own", "shared hours"])
@pytest.mark.parametrize("r", RANGES, ids=lambda r: f"{r.shape} {r.low:g} {r.likely:g} {r.high:g}")
def test_mean_spread_and_quantiles(r: Range, shared: bool) -> None:
    x = drawn([Input("x", "", "", r, shared_hours=shared)])[0]
    curve = frozen(r)
    assert x.mean() == pytest.approx(curve.mean(), abs=4 * curve.std() / np.sqrt(N))
    spread = np.sqrt((curve.stats("k") + 2) / 4 / N)  # of a standard deviation, relative; kurtosis in excess
    assert x.std() == pytest.approx(curve.std(), rel=4 * float(spread) + 2e-3)
    for p in SHARES:
        assert np.mean(x <= curve.ppf(p)) == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / N) + 1 / 4096)
    assert x.min() >= curve.ppf(0) - 1e-9
    assert x.max() <= curve.ppf(1) + 1e-9


def test_chances() -> None:
    inputs = [Input(f"x{p}", "", "", Range(p, p, p), is_chance=True) for p in (0.0, 0.07, 0.9, 1.0)]
    x = drawn(inputs)
    assert set(np.unique(x)) == {0.0, 1.0}
    for row, p in zip(x, (0.0, 0.07, 0.9, 1.0), strict=True):
        assert row.mean() == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / N))


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.5, 0.9, 1.0])
def test_hours_are_correlated_as_asked(rho: float) -> None:
    # Rank correlation of a Gaussian copula: (6 / pi) asin(rho / 2). Kruskal, Ordinal measures of association,
    # J. Amer. Statist. Assoc. 53 (1958); from memory.
    inputs = [Input(f"h{k}", "", "hours", RANGES[k], shared_hours=True) for k in (0, 3, 4)]
    x = drawn(inputs, correlation=rho)
    rank = stats.spearmanr(x.T).statistic
    expected = 6 / np.pi * np.arcsin(rho / 2)
    assert rank[np.triu_indices(3, 1)] == pytest.approx(expected, abs=4 / np.sqrt(N) + 1e-3)


def test_other_inputs_are_independent_of_each_other_and_of_the_pace() -> None:
    inputs = [Input(f"x{k}", "", "", r, shared_hours=k == 0) for k, r in enumerate(RANGES)]
    rank = stats.spearmanr(drawn(inputs).T).statistic
    assert np.abs(rank[np.triu_indices(len(RANGES), 1)]).max() < 4.5 / np.sqrt(N)


def streams(made: Case, seed: int = 5) -> dict[str, NDArray[np.float64]]:
    model = Model(made, grow(made), {})
    stream = Draws(model.inputs, model.tree.chance, made.terms.hours_correlation, seed)
    values = next(iter(stream.blocks(BLOCK))).values
    return {x.key: v.copy() for x, v in zip(model.inputs, values, strict=True)}


def test_a_new_quote_leaves_all_other_draws_alone() -> None:
    before = streams(wide())
    cheaper = quote("part 2", "engine dealer", span(0.1, 0.2, 0.4))
    after = streams(wide(quotes=(cheaper, *wide().quotes)))
    assert set(after) - set(before) == {"quoted:part 2@engine dealer"}
    for key in set(before) & set(after):
        assert_array_equal(before[key], after[key], err_msg=key)


def test_a_new_task_and_a_changed_price_leave_all_other_draws_alone() -> None:
    before = streams(case())
    dearer = tuple(q if q.item != "part 3" else quote("part 3", q.supplier, span(90, 95, 120)) for q in quotes())
    after = streams(case(quotes=dearer, tasks=(task("new", "strip", hours=span(1, 2, 3)), *case().tasks)))
    changed = f"quoted:part 3@{quotes()[3].supplier}"
    for key in set(before) - {changed}:
        assert_array_equal(before[key], after[key], err_msg=key)
    assert (after[changed] > before[changed]).all()


def test_seeds_differ_and_nought_is_one() -> None:
    by_seed = [streams(case(), seed) for seed in (0, 1, 2**40)]
    key = "lost day"
    assert len({tuple(s[key][:50]) for s in by_seed}) == 3
    assert_array_equal(streams(case(), 0)[key], by_seed[0][key])


def test_leaves_come_as_often_as_their_chance_has_it() -> None:
    chance = np.array([0.5, 0.0, 0.00002, 0.3, 0.19998])
    blocks = Draws([], chance, 0.0, 9).blocks(48 * BLOCK + 37)
    counts = np.array([np.bincount(b.leaf, minlength=5) for b in blocks])
    assert counts.sum() == 48 * BLOCK + 37
    assert counts[:, 1].sum() == 0
    n = counts.sum(axis=1, keepdims=True)
    stretches = BLOCK / 512  # of one replicate each, all as evenly spread as can be; 16 at most in a block
    assert np.abs(counts - n * chance).max() < np.sqrt(stretches) * 2
    assert np.abs(counts[16:48] - BLOCK * chance).max() < 2  # one stretch a block
