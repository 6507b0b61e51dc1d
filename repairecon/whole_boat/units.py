"""Units before they fail: how likely this season, what that costs in all, whether a spare or a renewal pays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import mean_of
from repairecon.formulas import renewal
from repairecon.read.boat import BoatPapers, age_years
from repairecon.rebuild_or_buy.draws import by_steps, generator
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.lives import Life, case_before, cost_away, life_of
from repairecon.records import BoatUnit, Years

Floats = NDArray[np.float64]
DRAWS = 1024
"""Courses of a failure that are kept: enough for a tenth of a season's worst cases."""
SEASON_DRAWS = 100_000

BRING_DAYS = 3.0
"""Days to bring a thing from the base to the boat, where boat.toml does not say (assumed, no source)."""


@dataclass(frozen=True, kw_only=True)
class Failing:
    """What it costs when a unit fails [home money], by the cheapest way; ``totals`` are sampled totals of that way."""

    total: float
    days: float
    years: Years
    lost_day: float
    totals: Floats = field(repr=False)

    @property
    def mean(self) -> float:
        """Expected cost of a failure, exact: with what being away from base adds, as often as she is."""
        return self.total + self.years.p_away * cost_away(self.years, self.lost_day)


@dataclass(frozen=True, kw_only=True)
class UnitLine:
    """A unit, of which the boat has ``count``.

    ``p_fails`` is the chance that one of them fails within the season, ``expected`` what that is expected to cost for
    all of them [home money]. ``due_years`` is when half of such units of its age have failed. ``spare_worth`` is what a
    spare saves in a year and ``spare_cost`` what having it costs in a year; ``renew_saves`` what renewing each now, in
    port, saves within a year. None where the price of a new one is not known. ``cost_without`` is what a failure costs
    beyond the days lost where no spare is aboard, ``order_days`` and ``bring_days`` until a new one comes to the base,
    and from there aboard. ``assumed`` says what was not given.
    """

    unit: str
    kind: str
    count: int
    critical: bool
    age_years: float | None
    hours: float | None
    p_fails: float
    due_years: float
    way: str = ""
    cost_each: float | None = None
    days: float | None = None
    expected: float | None = None
    price_new: float | None = None
    spare_worth: float | None = None
    spare_cost: float | None = None
    renew_saves: float | None = None
    maker_number: str = ""
    p_fails_a_year: float = 0.0
    cost_without: float | None = None
    lost_day: float = 0.0
    order_days: float = 0.0
    bring_days: float = 0.0
    sizes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


def unit_line(
    papers: BoatPapers, unit: BoatUnit, season_years: float, seed: int = 1
) -> tuple[UnitLine, Failing | None]:
    """A unit before it fails within a season [years], and what its failure costs where the price of a new one is known.

    CaseError with faults of the boat's files.
    """
    case = case_before(papers, unit)
    life, assumed = life_of(case, unit, papers.today)
    p, a_year = life.p_fails(season_years), life.p_fails(1.0)
    line = UnitLine(
        unit=unit.unit, kind=case.unit.kind, count=unit.count, critical=unit.critical,
        age_years=age_years(unit, papers.today), hours=unit.hours, p_fails=1.0 - (1.0 - p) ** unit.count,
        due_years=life.due_years, sizes=unit.standard_sizes, maker_number=unit.maker_number,
        p_fails_a_year=1.0 - (1.0 - a_year) ** unit.count, assumed=assumed,
    )  # fmt: skip
    if unit.price_new is None:
        return line, None
    new = next((w for w in case.ways if w.kind == "new"), case.ways[0])
    answer, price = rebuild_or_buy(case, DRAWS, seed), mean_of(unit.price_new)
    best, terms = answer.verdict.best, answer.case.terms
    row = answer.table.loc[best]
    cost = Failing(
        total=float(row["total_mean"]), days=float(row["days_mean"]), years=answer.case.years,
        lost_day=mean_of(terms.cost_lost_day),
        totals=np.asarray(answer.outcomes.sample[answer.model.ways.index(best)], dtype=float),
    )  # fmt: skip
    # what a spare aboard spares each time, the days that it takes to fit not spared
    swap_days = mean_of(cost.years.swap_hours) / terms.hours_per_day
    away = cost.years.p_away * cost_away(cost.years, cost.lost_day)
    spared = away + max(cost.days - swap_days, 0.0) * cost.lost_day
    years = case.years
    rate = (1.0 + years.discount_rate) / (1.0 + years.inflation_rate) - 1.0
    # a spare is bought, dies on the shelf or is sold with the boat
    span = min(years.horizon_years or years.shelf_life_years, years.shelf_life_years)
    resale = years.resale_share * price if years.horizon_years and years.horizon_years < years.shelf_life_years else 0.0
    spare_cost = renewal.equivalent_annual_cost(price - resale * (1.0 + rate) ** -span, rate, span)
    return replace(
        line, way=best, cost_each=cost.mean, days=cost.days, expected=unit.count * p * cost.mean, price_new=price,
        spare_worth=unit.count * a_year * spared, spare_cost=spare_cost,
        renew_saves=unit.count * renew_saves(life, cost, rate), cost_without=years.p_away * mean_of(years.cost_away),
        lost_day=cost.lost_day, order_days=mean_of(new.lead_days) if new.lead_days else 0.0,
        bring_days=papers.toml.section("boat").number("bring_days") or BRING_DAYS,
    ), cost  # fmt: skip


def renew_saves(life: Life, cost: Failing, rate: float) -> float:
    """What renewing a unit now saves within a year [home money] against waiting, at the pace of the best age to renew.

    ``rate`` is the real rate of discount [1/year]. A year more of an old unit costs its chance of failing times what a
    failure costs above a renewal in port; a renewal begins a course that costs ``g`` a year at its best age (Barlow and
    Hunter 1960, from memory). It pays once the first is above the second; below 0 waiting is cheaper.
    """
    planned, failed, k = max(cost.total - cost.lost_day * cost.days, 0.0), cost.mean, life.clocks.shape
    if planned <= 0 or failed <= planned or k <= 1.0:
        return -inf
    years = float(life.clocks.mean(life.clocks.life(life.hours_a_year)))
    _, a_year = renewal.best_replacement_age(planned, failed, years, k, min(max(rate, 0.0), 1.0))
    return life.p_fails(1.0) * (failed - planned) - a_year


# ---- the season: all units together ---------------------------------------------------------------
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
    total = sum((_drawn(line, cost, seed) for line, cost in lines if cost is not None), np.zeros(SEASON_DRAWS))
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
    failures = rng.binomial(line.count, each, SEASON_DRAWS)
    total = np.zeros(SEASON_DRAWS)
    for nth in range(int(failures.max())):
        hit = np.flatnonzero(failures > nth)
        away = rng.random(len(hit)) < cost.years.p_away
        days = by_steps(cost.years.days_away, rng.random(len(hit)))
        more = by_steps(cost.years.cost_away, rng.random(len(hit))) + cost.lost_day * days
        total[hit] += rng.choice(cost.totals, len(hit)) + away * more
    return total
