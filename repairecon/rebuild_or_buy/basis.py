"""What the advice rests on: this job alone or the years, the margin there, and the worths at which it turns."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from repairecon.rebuild_or_buy.lives import clocks_of, counts, in_service, life_is_stated
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import Number, lead_of
from repairecon.rebuild_or_buy.years import Horizon, Ledger, break_even_life
from repairecon.records import Range

Floats = NDArray[np.float64]
Kind = Literal["this job", "years"]
LOOKED_AHEAD = 20.0
"""Years up to which keeping her is looked at where the owner does not say."""
REACH = 50.0
UNSOURCED = ("", "assumed", "common practice")


@dataclass(frozen=True)
class Choice:
    """The cheapest allowed way on a basis, the next one, and by how much."""

    way: str
    second: str
    total: float
    gap: float


def cheapest(model: Model, totals: Floats) -> Choice:
    """The way with the least of some totals (W,) among those that may be chosen."""
    open_ways = np.where(model.allowed, totals, np.inf)
    order = np.argsort(open_ways, kind="stable")
    best = int(order[0])
    others = [int(i) for i in order[1:] if np.isfinite(open_ways[i])]
    if not others:
        return Choice(model.ways[best], "", float(open_ways[best]), 0.0)
    gap = float(open_ways[others[0]] - open_ways[best])
    return Choice(model.ways[best], model.ways[others[0]], float(open_ways[best]), gap)


class Basis:
    """The two bases side by side, each figure worked out when it is first asked for.

    ``best`` is the way that the verdict has for this job, ties settled; ``fitted`` the ways whose lives the owner's own
    jobs tell.
    """

    def __init__(
        self, model: Model, horizon: Horizon, best: str, numbers: Collection[Number], fitted: Collection[str] = ()
    ) -> None:
        self.model, self.horizon, self.best, self.numbers = model, horizon, best, numbers
        self.fitted = frozenset(fitted)

    # ---- which basis --------------------------------------------------------------------------
    @cached_property
    def this_job(self) -> Choice:
        """The cheapest by this job alone."""
        found = cheapest(self.model, self.model.totals)
        if found.way == self.best or not found.second:
            return found
        totals = self.model.totals
        gap = lead_of(totals, self.model.ways.index(self.best))  # a tie that went to the simpler way
        return Choice(self.best, found.way, float(totals[self.model.ways.index(self.best)]), gap)

    @cached_property
    def over_years(self) -> Choice:
        """The cheapest over the years looked ahead."""
        return cheapest(self.model, self.horizon.ledger.present)

    @cached_property
    def kind(self) -> Kind:
        """The years, where the owner says how long she is kept and the lives of the ways in question are known."""
        years = self.horizon.years
        if years.horizon_years <= 0 or not years.horizon_stated:
            return "this job"
        in_question = {self.this_job.way, self.this_job.second, self.over_years.way, self.over_years.second} - {""}
        return "years" if all(self.life_known(way) for way in in_question) else "this job"

    def life_known(self, way: str) -> bool:
        """Whether the life of a way's unit is stated, fitted to own lives, or a sourced one of its kind."""
        case = self.model.case
        i = self.horizon.ledger.unit_of(self.model.ways.index(way))
        unit = in_service(case, case.ways[i])
        if unit.traits.in_service == "none" or unit.way in self.fitted or life_is_stated(unit):
            return True
        return any(_sourced(r) for r in (unit.life_years, unit.life_hours) if r is not None)

    @cached_property
    def choice(self) -> Choice:
        """The cheapest on the basis that holds."""
        return self.over_years if self.kind == "years" else self.this_job

    @cached_property
    def later(self) -> Floats:
        """What each way costs besides this job on the basis that holds (W,): a date missed, and the years to come."""
        if self.kind != "years":
            return self.model.late
        return np.asarray(self.horizon.ledger.present - self.model.expected() @ np.array(self.model.weights))

    # ---- where it turns -------------------------------------------------------------------------
    @cached_property
    def day_price_turns(self) -> float | None:
        """Price of a day out of service at which another way is cheaper by this job [home money a day]."""
        return self._turns("cost of a day out of service")

    @cached_property
    def hour_price_turns(self) -> float | None:
        """Worth of an own hour at which another way is cheaper by this job [home money an hour]."""
        return self._turns("worth of an own hour")

    def _turns(self, name: str) -> float | None:
        """The nearest value of an own figure at which the lead is gone; None where it never is."""
        number = next(n for n in self.numbers if n.name == name)
        best = self.model.ways.index(self.this_job.way)
        most = max(REACH * number.now, number.high, abs(self.this_job.total))
        found = [v for v in (_lead_gone(number, best, end) for end in (0.0, most)) if v is not None]
        return min(found, key=lambda v: abs(v - number.now)) if found else None

    @cached_property
    def life_turns(self) -> float | None:
        """Median life of the advised way's unit at which another way is cheaper over the years [years]."""
        ledger = self.ledger_ahead
        return break_even_life(ledger, self.model.ways.index(self.choice.way))

    @cached_property
    def ledger_ahead(self) -> Ledger:
        """The years looked ahead, or as many as are looked at where the owner does not say."""
        if self.horizon.years.horizon_years > 0:
            return self.horizon.ledger
        return self.horizon.over(LOOKED_AHEAD).ledger

    @cached_property
    def beyond_years(self) -> tuple[float, str] | None:
        """Years of keeping her beyond which another way than this job's is cheaper, and which; None if none is."""
        by_year, grid = self.by_years_kept
        best = self.model.ways.index(self.this_job.way)
        lead = np.where(self.model.allowed[:, None], by_year, np.inf)
        others = np.delete(lead, best, axis=0).min(axis=0, initial=np.inf)
        lost = np.flatnonzero(others < lead[best] - 1e-9 * np.abs(lead[best]))
        if not len(lost):
            return None
        k = int(lost[0])
        return float(grid[k]), self.model.ways[int(lead[:, k].argmin())]

    @cached_property
    def by_years_kept(self) -> tuple[Floats, Floats]:
        """Present cost of each way (W, T) by years of keeping her (T,)."""
        most = max(LOOKED_AHEAD, self.horizon.years.horizon_years)
        ahead = self.horizon.over(most)
        grid = np.linspace(0.0, most, int(most) * 4 + 1)
        return np.array([kept_for(ahead.ledger, i, grid) for i in range(len(self.model.ways))]), grid


def kept_for(ledger: Ledger, i: int, grid: Floats) -> Floats:
    """Present cost of a way by years of keeping her, up to the ledger's own; a spare fetches its price in the end."""
    if ledger.case.ways[i].traits.in_service == "none":
        return np.full(len(grid), float(ledger.now[i]))
    clocks = clocks_of(ledger.case, ledger.case.ways[ledger.unit_of(i)])
    count, _ = counts(clocks, ledger.years)
    t = np.linspace(0.0, ledger.years.horizon_years, 2 * len(count) - 1)
    worth = (np.diff(count, axis=0) * ((1.0 + ledger.rate) ** -t[1::2])[:, None]) @ clocks.weights
    gone = np.concatenate([[0.0], np.cumsum(worth)]) + clocks.mean(count[0])
    each = ledger.later(i) / gone[-1] if gone[-1] > 0 else 0.0
    resale = ledger.resale(i) * (1.0 + ledger.rate) ** (ledger.years.horizon_years - grid)
    return np.asarray(ledger.now[i] + each * np.interp(grid, t[::2], gone) - resale)


def _lead_gone(number: Number, best: int, end: float) -> float | None:
    def lead(x: float) -> float:
        return lead_of(number.totals(x), best)

    if end == number.now or not np.isfinite(lead(number.now)) or lead(end) >= 0:
        return None
    from scipy import optimize

    return float(optimize.brentq(lead, number.now, end, xtol=1e-9 * max(abs(end), 1.0)))


def _sourced(r: Range) -> bool:
    """Whether a figure of the kinds comes from somewhere."""
    note = r.source.note or ""
    return not (note.startswith(UNSOURCED[1:]) or note == "")
