"""The exact distribution of totals against a million joint draws of the same case."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from reference_case import case

from repairecon.formulas.grid_answers import chance_up_to
from repairecon.rebuild_or_buy.exact import TOLERANCE, exact_distribution
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes, sample
from repairecon.rebuild_or_buy.world import grow

DRAWS = 1_000_000
KS_1_PERCENT = 1.63  # Kolmogorov's limit law of sqrt(n) D; M. A. Stephens, JASA 69 (1974), from memory


@cache
def drawn() -> tuple[Model, Outcomes]:
    m = Model(case(), grow(case()), {})
    return m, sample(m, DRAWS, 5)


@pytest.mark.parametrize("i", range(5))
def test_no_chance_is_off_by_more_than_the_noise(i: int) -> None:
    m, outcomes = drawn()
    tally = outcomes.tallies[i][3]
    shares = np.cumsum(tally.counts) / DRAWS
    assert tally.counts.sum() == DRAWS
    gap = np.abs(chance_up_to(*exact_distribution(m, i), tally.edges[1:]) - shares).max()
    assert gap < KS_1_PERCENT / np.sqrt(DRAWS) + TOLERANCE
