"""What the job rebuild-or-buy finds, as frozen records."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from repairecon.rebuild_or_buy.advice import Advice, advise
from repairecon.rebuild_or_buy.bearings import BearingLife
from repairecon.rebuild_or_buy.looking import Worth
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.numbers import Number
from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.rebuild_or_buy.over_the_years import Horizon
from repairecon.rebuild_or_buy.own_lives import LifeFit
from repairecon.rebuild_or_buy.sensitivity import Flip, Swing, best_way_map
from repairecon.rebuild_or_buy.stages import StopWhen
from repairecon.rebuild_or_buy.variance import Share
from repairecon.rebuild_or_buy.world import Finding
from repairecon.records import Assumed, Case, RepaireconError


@dataclass(frozen=True)
class ThumbRule:
    """A rule in use beside the computed answer; ``limit`` is the most it would spend on a rebuild."""

    rule: str
    source: str
    limit: float | None
    rebuild_cost: float
    says: str
    agrees: bool | None


@dataclass(frozen=True)
class Verdict:
    """The choice with its margin. ``gap`` is the expected total saved against ``second``."""

    best: str
    second: str
    gap: float
    p_best_below_second: float
    near_tie: bool
    fastest: str
    steadiest: str


@dataclass(frozen=True)
class Spent:
    """What the work so far took, expected: spent is spent, and no part of the choice."""

    cash: float = 0.0
    own_hours: float = 0.0
    days: float = 0.0


@dataclass(frozen=True)
class Bench:
    """The choice at the bench, from where the owner stands.

    ``value`` least expected total with the freedom to stop; ``now`` the first step of that rule (``go on``
    or a way); ``best_commit`` and ``cost_commit`` the best way if chosen for good now;
    ``value_of_stripping`` what is saved by stripping first and then choosing (None once stripped or
    where no own rebuild may be chosen); ``repair_limit`` the most still worth spending on the
    rebuild: what the best buy would cost from here, own time in, and ``repair_limit_cash`` with own
    time at nothing; ``limit_way`` that buy; ``wrong_commitment`` way -> expected total above ``value``.
    """

    value: float
    now: str
    best_commit: str
    cost_commit: float
    value_of_stripping: float | None
    repair_limit: float
    repair_limit_cash: float
    limit_way: str
    wrong_commitment: dict[str, float]
    spent: Spent


@dataclass(frozen=True)
class Risk:
    """The choice of an owner who minds the bad case.

    ``frame`` has a row a way: ``certainty_equivalent`` (home money) and ``p_over_cap``; ``best`` the choice
    by both, '' where no allowed way meets the cap; ``changes`` whether that differs from the verdict.
    """

    tolerance: float | None
    cap: float | None
    cap_chance: float
    frame: pd.DataFrame
    best: str
    changes: bool


@dataclass(frozen=True)
class Answer:
    """All that the job found; ``table`` has a row a way.

    Columns of ``table``: kind, allowed, why_not, p_cheapest, expected_regret, p_never, instead,
    p_given_up, p_spare, and for each of cash, own_hours, days, total, total_own_time_free: ``_mean`` (exact),
    ``_p10``, ``_p50``, ``_p90`` (sampled), ``_se`` and ``_p90_se`` (standard errors of a sampled mean
    and of the sampled P90); ``cost_lost_days_mean``. ``stages`` has a row a stage (chance that it is reached
    and that one stops there), ``policy`` a row a place of choice, ``order_times`` a row a time of ordering.
    ``exact_ranges`` way -> '' where its ranges of money are exact, else why they stay sampled; empty unless asked for.
    """

    case: Case
    table: pd.DataFrame
    verdict: Verdict
    flips: tuple[Flip, ...]
    swings: tuple[Swing, ...]
    thumb_rules: tuple[ThumbRule, ...]
    leaves: pd.DataFrame
    lines: pd.DataFrame
    curves: pd.DataFrame
    nodes: pd.DataFrame
    exact_ranges: dict[str, str]
    bench: Bench
    stages: pd.DataFrame
    policy: pd.DataFrame
    stop_when: tuple[StopWhen, ...]
    order_times: pd.DataFrame
    looks: tuple[Worth, ...]
    shares: tuple[Share, ...]
    risk: Risk
    horizon: Horizon
    life_fits: tuple[LifeFit, ...]
    bearing_life: BearingLife | None
    assumed: tuple[Assumed, ...]
    cautions: tuple[str, ...]
    outcomes: Outcomes
    cost_own_hour: float
    found: tuple[Finding, ...]
    stage: str
    model: Model = field(repr=False)
    numbers: tuple[Number, ...] = field(repr=False)

    @property
    def advice(self) -> Advice:
        """What to do now."""
        return advise(self)

    def best_way_map(self, x: str = "", y: str = "", steps: int = 13) -> pd.DataFrame:
        """Cheapest way on average over two numbers, by default the two that flip the choice first."""
        inputs = [n for n in self.numbers if n.index >= 0]
        known = {n.name: n for n in inputs}
        for name in (x, y):
            if name and name not in known:
                raise RepaireconError(f"no number {name!r}; the numbers are: {', '.join(known)}")
        likely = [f.number for f in self.flips if f.number in known]
        ranked = [*dict.fromkeys(likely), *(n.name for n in inputs)]
        first = x or next(n for n in ranked if n != y)
        second = y or next(n for n in ranked if n != first)
        return best_way_map(self.model, known[first], known[second], steps)
