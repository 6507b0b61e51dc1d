"""Chance of being the cheapest over the years against drawing everything and counting."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from lived_case import lived

from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes, sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.rebuild_or_buy.years import Ledger, cheapest_over_years, joint_totals, later_costs

N = 60_000


@cache
def made(allowed: bool = True) -> tuple[Ledger, Outcomes]:
    m = Model(lived(), grow(lived()), {} if allowed else {"exchange": False})
    outcomes = sample(m, 20_000, 1)
    return Ledger(m, m.case.years, outcomes.mean[:, 3]), outcomes


def counted(ledger: Ledger, outcomes: Outcomes) -> np.ndarray:
    """Shares of draws in which each way comes out cheapest, later failures paired with totals at random."""
    now = np.concatenate(joint_totals(ledger.model, N, 5), axis=1)
    rng = np.random.default_rng(3)
    total = now + np.array([rng.permutation(x) for x in later_costs(ledger, outcomes, 6, N)])
    total[~ledger.allowed] = np.inf
    return np.bincount(total.argmin(axis=0), minlength=len(total)) / N


@pytest.mark.parametrize("allowed", [True, False])
def test_chances_against_counting(allowed: bool) -> None:
    p, se = cheapest_over_years(*made(allowed), seed=1, draws=8192, paths=1000)
    plain = counted(*made(allowed))
    off = np.abs(p - plain) / np.sqrt(se**2 + np.maximum(plain * (1 - plain), 1e-9) / N)
    assert off.max() < 4.5, (p, plain)
    assert p.sum() == pytest.approx(1.0)
    assert p[made(allowed)[0].ways.index("exchange")] > 0 if allowed else p.min() == 0.0


def test_errors_said_are_the_spread_over_seeds() -> None:
    found = np.array([cheapest_over_years(*made(), seed=s, draws=4096, paths=500) for s in range(30)])
    ratio = found[:, 0].var(axis=0, ddof=1) / (found[:, 1] ** 2).mean(axis=0)
    assert np.abs(ratio - 1).max() < 4.5 * np.sqrt(2 / 29)
    p = found[:, 0].mean(axis=0)
    assert (p * (1 - p) / 4096 / found[:, 0].var(axis=0, ddof=1)).min() > 4.0  # independent draws: far more


def test_later_costs_have_the_exact_mean() -> None:
    ledger, outcomes = made()
    later = later_costs(ledger, outcomes, 9, N)
    for i, row in enumerate(later):
        exact = ledger.present[i] - ledger.now[i]
        assert row.mean() == pytest.approx(exact, abs=4 * row.std() / np.sqrt(N))
