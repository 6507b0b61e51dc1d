"""Pooled spares against a printed table, a plain simulation of orders, and every split tried."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import stats

from repairecon.formulas.demand import best_split, pooled_lacks


def lacks(stock: int, mean: float) -> float:
    """One boat without a base: pieces lacking with a mean number on its way."""
    return float(pooled_lacks(0, [stock], [mean], 0.0, [1.0])[0][0])


@pytest.mark.parametrize(
    ("mean", "table"),
    [
        # expected backorders of a Poisson pipeline, as tabulated for METRIC (Sherbrooke 1968; values from memory, and
        # by hand: m e**-m for a mean of 1 and no stock but one)
        (1.0, (1.000, 0.368, 0.104, 0.023, 0.004)),
        (2.0, (2.000, 1.135, 0.541, 0.218, 0.075)),
    ],
)
def test_lacks_as_tabulated(mean: float, table: tuple[float, ...]) -> None:
    assert [lacks(stock, mean) for stock in range(5)] == pytest.approx(table, abs=0.0006)


@pytest.mark.parametrize(("at_base", "held"), [(0, 0), (0, 4), (5, 0), (2, 3)])
def test_one_boat_brought_to_at_once_has_one_stock(at_base: int, held: int) -> None:
    """What lies at the base and aboard is then one stock, and the number on order Poisson; and with a base empty."""
    for order, bring in ((4.0, 0.0), (3.0, 1.0)) if at_base == 0 else ((4.0, 0.0),):
        (lacking,), (without,) = pooled_lacks(at_base, [held], [1.5], order, [bring])
        on_order, stock = stats.poisson(6.0), at_base + held
        plain = sum((n - stock) * on_order.pmf(n) for n in range(stock, 80))
        assert lacking == pytest.approx(plain, abs=1e-9)
        # the boat is without where the base lacks as many as lie aboard
        assert without == pytest.approx(on_order.sf(stock - 1) if held else 1.0, abs=1e-9)


def test_nothing_asked_nothing_lacks() -> None:
    lacking, without = pooled_lacks(1, [0, 1], [0.0, 0.0], 0.1, [0.1, 0.2])
    assert (lacking.tolist(), without.tolist()) == ([0.0, 0.0], [1.0, 0.0])


def test_one_level_against_a_plain_simulation_of_orders() -> None:
    """Demands at random, each piece taken is ordered and comes after a wait that varies: pieces lacking over time."""
    rng, years, rate, stock = np.random.default_rng(3), 40_000.0, 1.5, 2
    asked = np.sort(rng.uniform(0, years, rng.poisson(rate * years)))
    back = asked + rng.gamma(2.0, 0.4, len(asked))  # 0.8 years on average
    moments = np.sort(rng.uniform(5.0, years, 200_000))
    on_order = np.searchsorted(asked, moments) - np.searchsorted(np.sort(back), moments)
    lacking = np.maximum(on_order - stock, 0).mean()
    assert lacks(stock, rate * 0.8) == pytest.approx(lacking, rel=0.03)


def test_two_levels_against_a_plain_simulation() -> None:
    """Two boats and a base, first come first served."""
    rng, years = np.random.default_rng(9), 30_000.0
    rates, bring, order, at_base, held = (0.8, 0.5), (0.05, 0.05), 0.5, 1, (1, 0)
    boat = [np.sort(rng.uniform(0, years, rng.poisson(r * years))) for r in rates]
    asked = np.sort(np.concatenate(boat))
    # the base's nth demand is met by the piece ordered at demand n - stock, at once if that has come
    comes = np.concatenate([np.zeros(at_base), asked[: len(asked) - at_base] + order])
    leaves = np.maximum(asked, comes)
    lacking, without = pooled_lacks(at_base, held, rates, order, bring)
    for b, times in enumerate(boat):
        arrives = leaves[np.searchsorted(asked, times)] + bring[b]
        moments = rng.uniform(5.0, years, 150_000)
        on_order = np.searchsorted(times, moments) - np.searchsorted(np.sort(arrives), moments)
        assert lacking[b] == pytest.approx(np.maximum(on_order - held[b], 0).mean(), rel=0.04)
        assert without[b] == pytest.approx((on_order >= held[b]).mean(), rel=0.04)


@pytest.mark.parametrize("seed", range(8))
def test_the_best_split_against_every_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    boats, most = 3, 4
    rates, bring = rng.uniform(0.05, 1.5, boats), rng.uniform(0.0, 0.1 if seed < 4 else 3.0, boats)
    order, lacking, each = float(rng.uniform(0.02, 0.6)), rng.uniform(100, 9000, boats), rng.uniform(0, 800, boats)
    if seed % 2:  # other money
        lacking, each = 1e-4 * lacking, 1e-4 * each
    rows = best_split(most, rates.tolist(), (order, bring.tolist()), lacking.tolist(), each.tolist())
    assert len(rows) == most + 1
    for pieces in range(most + 1):
        tried = [split for split in product(range(pieces + 1), repeat=boats + 1) if sum(split) == pieces]

        def cost(split: tuple[int, ...]) -> float:
            lacks, without = pooled_lacks(split[0], split[1:], rates, order, bring)
            return float((lacks * lacking + without * rates * each).sum())

        at_base, aboard, total = rows[pieces]
        assert total == pytest.approx(min(map(cost, tried)), rel=1e-9)
        assert (at_base + sum(aboard), cost((at_base, *aboard))) == (pieces, pytest.approx(total))


def test_brought_at_once_all_lies_best_at_the_base() -> None:
    rows = best_split(3, [0.5] * 3, (0.4, [0.0] * 3), [1000.0] * 3, [0.0] * 3)
    assert [row[:2] for row in rows] == [(n, (0, 0, 0)) for n in range(4)]
