"""The answer of the job: table and verdict at once, all else when it is first asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from repairecon.rebuild_or_buy import bench as at_the_bench
from repairecon.rebuild_or_buy import looks as looking
from repairecon.rebuild_or_buy import sensitivity, tables, verdict
from repairecon.rebuild_or_buy.advice import Advice, Basis, advice
from repairecon.rebuild_or_buy.bench import Bench, Place, StopWhen, places, stop_when
from repairecon.rebuild_or_buy.horizon import Horizon
from repairecon.rebuild_or_buy.lives import LifeFit
from repairecon.rebuild_or_buy.looks import Worth
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.rebuild_or_buy.remedies import Met, met_by
from repairecon.rebuild_or_buy.sensitivity import Flip, Number, Swing
from repairecon.rebuild_or_buy.stages import Decision, decision, rebuilds_here
from repairecon.rebuild_or_buy.tree import Finding
from repairecon.rebuild_or_buy.verdict import Risk, ThumbRule, Verdict
from repairecon.records import Assumed, Case, Years

if TYPE_CHECKING:
    import pandas as pd

    from repairecon.formulas.tree import StopRule


@dataclass(frozen=True)
class Asked:
    """What the owner asked: findings so far, the last stage done, the years looked ahead, own lives as fitted."""

    found: tuple[Finding, ...]
    stage: str
    years: Years
    life_fits: tuple[LifeFit, ...]


class Answer:
    """All that the job finds, each part worked out when it is first asked for, and the same in any order of asking.

    Columns of ``table`` (a row a way): kind, allowed, why_not, p_cheapest, expected_regret, p_never, instead,
    p_given_up, p_spare, and for each of cash, own_hours, days, total, total_own_time_free: ``_mean`` (exact),
    ``_p10``, ``_p50``, ``_p90`` (sampled), ``_se`` and ``_p90_se`` (standard errors of a sampled mean
    and of the sampled P90); ``cost_lost_days_mean``.
    """

    def __init__(self, case: Case, model: Model, outcomes: Outcomes, why_not: dict[str, str], asked: Asked) -> None:
        self.case, self.model, self.outcomes = case, model, outcomes
        self.table: pd.DataFrame = tables.table(model, outcomes, why_not)
        self.verdict: Verdict = verdict.verdict(case, self.table, outcomes)
        self.found, self.stage, self.life_fits = asked.found, asked.stage, asked.life_fits
        self.horizon = Horizon(model, outcomes, asked.years, outcomes.seed)
        self.assumed: tuple[Assumed, ...] = case.assumed
        self.cautions: tuple[str, ...] = case.unit.cautions
        self.cost_own_hour = model.own_hour

    # ---- the advice -------------------------------------------------------------------------
    @cached_property
    def basis(self) -> Basis:
        """This job and the years side by side, and where the choice turns."""
        fitted = [f.way for f in self.life_fits if not f.refused]
        return Basis(self.model, self.horizon, self.verdict.best, self.numbers, fitted)

    @cached_property
    def advice(self) -> Advice:
        """What to do now."""
        return advice(self)

    @cached_property
    def remedies(self) -> tuple[Met, ...]:
        """How each outcome that has remedies is met, by way."""
        return met_by(self.model)

    @property
    def _best(self) -> int:
        return self.model.ways.index(self.verdict.best)

    # ---- what it hangs on -------------------------------------------------------------------
    @cached_property
    def numbers(self) -> tuple[Number, ...]:
        """Every number of the case."""
        return tuple(sensitivity.numbers(self.model))

    @cached_property
    def flips(self) -> tuple[Flip, ...]:
        """Where another way takes over, nearest first."""
        return tuple(sensitivity.flips(self.model, self._best, self.numbers))

    @cached_property
    def swings(self) -> tuple[Swing, ...]:
        """The numbers that move the lead most."""
        return tuple(sensitivity.swings(self.model, self._best, self.numbers))

    @cached_property
    def thumb_rules(self) -> tuple[ThumbRule, ...]:
        """Rules in use beside the computed answer."""
        return verdict.rules_beside(self.model, self.table)

    @cached_property
    def risk(self) -> Risk:
        """The choice of an owner who minds the bad case."""
        return verdict.risk(self.case, self.table, self.outcomes, self.verdict)

    # ---- at the bench -----------------------------------------------------------------------
    @cached_property
    def decision(self) -> Decision:
        """The staged choice from where the owner stands."""
        return decision(self.model, more=self.model.late)

    @cached_property
    def _rule(self) -> StopRule:
        return self.decision.rule()

    @cached_property
    def _reached(self) -> list[Place]:
        return list(places(self.model, self.decision, self._rule))

    @cached_property
    def bench(self) -> Bench:
        """The choice at the bench in figures."""
        return at_the_bench.bench(self.model, self.decision, self._rule)

    @cached_property
    def benches(self) -> dict[str, Bench]:
        """The same for each depth of rebuild that may be chosen, were that one begun."""
        made = {i: decision(self.model, depth=i) for i in rebuilds_here(self.model)}
        return {self.model.ways[i]: at_the_bench.bench(self.model, d, d.rule()) for i, d in made.items()}

    @cached_property
    def stages(self) -> pd.DataFrame:
        """A row a stage: chance that it is reached and that one stops there."""
        return at_the_bench.stage_table(self.model, self._reached)

    @cached_property
    def policy(self) -> pd.DataFrame:
        """A row a place of choice."""
        return at_the_bench.policy_table(self.model, self._reached)

    @cached_property
    def stop_when(self) -> tuple[StopWhen, ...]:
        """Findings on which to stop."""
        return tuple(stop_when(self._reached))

    @cached_property
    def order_times(self) -> pd.DataFrame:
        """A row a time of ordering the parts."""
        return at_the_bench.order_times(self.model)

    @cached_property
    def looks_at_hand(self) -> tuple[Worth, ...]:
        """What the looks that the case names are worth, best net worth first."""
        found = list(looking.looks_at_hand(self.model, self.decision, self.numbers))
        return tuple(looking.in_order(found))

    @cached_property
    def looks(self) -> tuple[Worth, ...]:
        """What looking and asking are worth, best net worth first."""
        return tuple(looking.looks(self.model, self.decision, self.numbers))

    # ---- tables -----------------------------------------------------------------------------
    @cached_property
    def leaves(self) -> pd.DataFrame:
        """A row a leaf of the tree."""
        return tables.leaves(self.model, at_the_bench.stops(self.decision, self._rule))

    @cached_property
    def nodes(self) -> pd.DataFrame:
        """The tree as nodes."""
        return tables.nodes(self.model, self.leaves)

    @cached_property
    def lines(self) -> pd.DataFrame:
        """Where each price comes from."""
        return tables.lines(self.model)

    @cached_property
    def curves(self) -> pd.DataFrame:
        """Chance that each way's total is no more than x."""
        return tables.curves(self.table, self.outcomes)
