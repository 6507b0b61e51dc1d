"""What a season may cost the boat: exact mean, sampled range, the chance that something critical stops her."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.rebuild_or_buy.draws import by_steps, generator
from repairecon.whole_boat.units import Failing, UnitLine

Floats = NDArray[np.float64]
DRAWS = 100_000


@dataclass(frozen=True, kw_only=True)
class Season:
    """Cost of what fails within the season [home money]; ``p_stops`` of a critical unit without a spare aboard.

    ``left_out`` are units of which no price is known; the chance that they fail is in ``p_stops`` all the same.
    """

    p10: float
    p50: float
    mean: float
    p90: float
    p_stops: float
    years: float
    left_out: tuple[str, ...]


def season(
    lines: Sequence[tuple[UnitLine, Failing | None]], years: float, spares: frozenset[str] = frozenset(), seed: int = 1
) -> Season:
    """Add up the units, each with what its failure costs, so far ahead [years]; ``spares`` have one aboard that works.

    The mean is exact: failures of each unit are independent, at most one of each of its ``count``.
    """
    total = sum((_drawn(line, cost, seed) for line, cost in lines if cost is not None), np.zeros(DRAWS))
    p10, p50, p90 = (float(q) for q in np.quantile(total, [0.1, 0.5, 0.9]))
    stands = [1.0 - line.p_fails for line, _ in lines if line.critical and line.unit not in spares]
    return Season(
        p10=p10, p50=p50, mean=sum(line.expected or 0.0 for line, _ in lines), p90=p90,
        p_stops=1.0 - float(np.prod(stands)), years=years,
        left_out=tuple(line.unit for line, cost in lines if cost is None),
    )  # fmt: skip


def _drawn(line: UnitLine, cost: Failing, seed: int) -> Floats:
    """Sampled cost of a unit's failures; a stream of its own, so that another unit leaves it as it is."""
    rng = generator(seed, f"season of {line.unit}")
    each = 1.0 - (1.0 - line.p_fails) ** (1.0 / line.count)
    failures = rng.binomial(line.count, each, DRAWS)
    total = np.zeros(DRAWS)
    for nth in range(int(failures.max())):
        hit = np.flatnonzero(failures > nth)
        away = rng.random(len(hit)) < cost.p_away
        days = by_steps(cost.days_away, rng.random(len(hit)))
        more = by_steps(cost.cost_away, rng.random(len(hit))) + cost.lost_day * days
        total[hit] += rng.choice(cost.totals, len(hit)) + away * more
    return total
