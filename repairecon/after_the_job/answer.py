"""What the job after-the-job finds, as frozen records."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from repairecon.formulas.scores import BrierParts, Group
from repairecon.records import Case, Decision, JobInBook, JobLog, Learned, Logged, StoresMoved


@dataclass(frozen=True)
class Step:
    """One reason why a job came to more or less than reckoned; ``amount`` = cash + hours and days at their worth."""

    group: str
    name: str
    amount: float
    cash: float
    own_hours: float
    days: float


@dataclass(frozen=True)
class Bridge:
    """From the estimate to what it came to; the steps add up to the difference.

    ``estimate`` and ``actual`` hold cash, own hours, days, total. ``not_told`` are things expected of which the owner
    wrote nothing: they are taken to have come as expected. ``whole`` are the quantities of which nothing is missing:
    only those say whether a range held.
    """

    way: str
    estimate: dict[str, float]
    actual: dict[str, float]
    p10: float
    p90: float
    steps: tuple[Step, ...]
    not_told: tuple[str, ...]
    whole: tuple[str, ...]

    @property
    def difference(self) -> float:
        """Actual less estimate, all in [home money]."""
        return self.actual["total"] - self.estimate["total"]

    @property
    def groups(self) -> dict[str, float]:
        """Amounts by group, largest first."""
        sums: dict[str, float] = {}
        for s in self.steps:
            sums[s.group] = sums.get(s.group, 0.0) + s.amount
        return dict(sorted(sums.items(), key=lambda item: -abs(item[1])))


@dataclass(frozen=True)
class Hindsight:
    """The choice judged twice: by what was known then, and by what is known now.

    ``then`` and ``now`` hold the expected total of each way that could be chosen, by what was known at the decision and
    by what has been found, paid and worked since; ``actual`` is what the way taken came to. ``gap_then`` is what the
    way chosen was reckoned to cost above the best (0: it was the best), ``gap_now`` what it came to above the least of
    the others. ``good_decision`` by the near-tie rule of the case; ``luck`` is bad above the stated P90, good below
    the P10.
    """

    chosen: str
    best_then: str
    gap_then: float
    good_decision: bool
    luck: str
    best_now: str
    gap_now: float
    actual: float
    then: dict[str, float]
    now: dict[str, float]


@dataclass(frozen=True)
class Held:
    """Whether the ranges of one quantity held: so many of so many inside P10 to P90, which claims 8 in 10.

    ``low`` and ``high`` bound the true share (Jeffreys, 90 %); ``factor`` is what the ranges should be widened by,
    with its 90 % range; ``says`` is "too narrow", "too wide", "hold" or "cannot tell". ``loss`` is the mean pinball
    loss over the three stated values, as a share of the middle. ``places`` are normal scores of what came.
    """

    quantity: str
    inside: int
    of: int
    low: float
    high: float
    factor: float
    factor_low: float
    factor_high: float
    loss: float
    says: str
    places: tuple[float, ...]


@dataclass(frozen=True)
class Calibration:
    """Stated chances against what came: Brier score beside that of always stating the overall share, and by groups."""

    many: int
    brier: float
    brier_plain: float
    log_score: float
    parts: BrierParts
    groups: tuple[Group, ...]


@dataclass(frozen=True)
class Shift:
    """A figure before and after the log, with an 80 % range of each."""

    kind: str
    name: str
    before: float
    before_low: float
    before_high: float
    after: float
    low: float
    high: float
    jobs: float


@dataclass(frozen=True)
class BookLine:
    """A movement of the job and the item of the book that it is of.

    ``item`` is empty where the book knows none, or where the owner leaves it out of the book. ``known_by`` is what the
    item was found by; ``new_card`` says that the item is added with this job.
    """

    moved: StoresMoved
    item: str
    known_by: str = ""
    new_card: bool = False
    left_out: bool = False


@dataclass(frozen=True)
class IntoTheBook:
    """A job held against the spares book: its movements, what stands in the way, what the book then says.

    ``done`` is None where something stands in the way; nothing is written then. ``spare`` names what else became a
    spare and is for the owner to receive.
    """

    unit: str
    lines: tuple[BookLine, ...]
    problems: tuple[str, ...]
    done: JobInBook | None
    spare: str = ""


@dataclass(frozen=True)
class AfterTheJob:
    """All that the job found; what belongs to one closed job is None where only a log was given."""

    name: str
    case: Case | None
    decision: Decision | None
    bridge: Bridge | None
    hindsight: Hindsight | None
    held: tuple[Held, ...]
    calibration: Calibration | None
    learned: Learned
    shifts: tuple[Shift, ...]
    log: JobLog
    logged: tuple[Logged, ...]
    movements: tuple[StoresMoved, ...]
    first_run: str

    @property
    def bridge_table(self) -> pd.DataFrame:
        """A row a step."""
        steps = self.bridge.steps if self.bridge else ()
        columns = ["group", "name", "amount", "cash", "own_hours", "days"]
        return pd.DataFrame([[getattr(s, c) for c in columns] for s in steps], columns=columns)

    @property
    def held_table(self) -> pd.DataFrame:
        """A row a quantity."""
        columns = ["quantity", "inside", "of", "low", "high", "factor", "factor_low", "factor_high", "loss", "says"]
        return pd.DataFrame([[getattr(h, c) for c in columns] for h in self.held], columns=columns)
