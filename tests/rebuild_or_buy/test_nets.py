"""Blocks of draws shared out among replicates, and how evenly the points of one lie."""

from __future__ import annotations

import numpy as np
import pytest
from reference_case import span

from repairecon.buying.inputs import Input
from repairecon.rebuild_or_buy.draws import BLOCK, PACE, REPLICATES, Draws, ends_round, stretches
from repairecon.records import Range

UNIFORM = [Input(f"x{k}", "", "", Range(0, 0.5, 1, "uniform")) for k in range(6)]


@pytest.mark.parametrize("draws", [1, 2, 37, 8192, 20_000, 131_072, 200_003, 1_200_000])
def test_every_replicate_gets_as_many_draws(draws: int) -> None:
    each = np.zeros(REPLICATES, dtype=int)
    for s in stretches(draws):
        each[s.replicates] += s.counts
        assert s.counts.sum() <= BLOCK
    assert each.sum() == draws
    assert np.ptp(each) <= 1


def test_where_a_round_ends() -> None:
    ends = [n for n in range(16, 300_000, 16) if ends_round(n)]
    assert ends == [8192, 16384, 32768, 65536, 131072, 262144]


def points(first: tuple[str, ...], draws: int = 131_072) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    stream = Draws(UNIFORM, np.full(8, 0.125), 0.0, 4, first)
    blocks = [(b.values.copy(), b.leaf, np.broadcast_to(b.replicate, len(b.leaf))) for b in stream.blocks(draws)]
    values, leaf, replicate = (np.concatenate(x, axis=-1) for x in zip(*blocks, strict=True))
    return values, leaf, replicate


@pytest.mark.parametrize("first", [(), ("x4", PACE, "x1")])
def test_each_replicate_spreads_each_input_evenly(first: tuple[str, ...]) -> None:
    values, leaf, replicate = points(first)
    for r in range(REPLICATES):
        x = values[:, replicate == r]
        assert x.shape[1] == 8192
        for row in x:
            assert (np.bincount((row * 512).astype(int), minlength=512) == 16).all()
        assert np.ptp(np.bincount(leaf[replicate == r])) <= 1


def test_the_first_inputs_and_the_leaf_go_evenly_together() -> None:
    # Sobol's first three coordinates form a net of quality t = 0, 0 and 1: 2**13 points have 2**4 or so in each of
    # 8 x 8 x 8 equal parts; among random ones the spread of the counts would be about 4.
    values, leaf, replicate = points(("x4", "x1"))
    for r in range(REPLICATES):
        here = replicate == r
        cell = (leaf[here] * 8 + (values[4, here] * 8).astype(int)) * 8 + (values[1, here] * 8).astype(int)
        assert np.bincount(cell, minlength=512).std() < 0.3


def test_a_chance_falls_due_as_often_as_it_should() -> None:
    sure, p = Input("s", "", "", span(1, 1, 1)), 0.3
    chance = Input("c", "", "", Range(p, p, p), is_chance=True)
    blocks = list(Draws([sure, chance], np.ones(1), 0.0, 2).blocks(32_768))
    assert all((b.values[0] == 1.0).all() for b in blocks)
    due = sum(float(b.values[1].sum()) for b in Draws([sure, chance], np.ones(1), 0.0, 2).blocks(32_768))
    assert due == pytest.approx(p * 32_768, abs=REPLICATES)  # within one a replicate
