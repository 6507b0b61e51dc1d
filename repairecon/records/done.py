"""A job that has been done: the decision as it was made, what then happened, and the log of past jobs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from repairecon.records.base import Source

DONE_KINDS: Mapping[str, str] = {
    "way": "the way taken in the end; days: out of service in all",
    "found": "an event of events.csv and the outcome that was found",
    "part": "a part: quantity fitted, bought (if not as many), paid at the door for all without carriage, days",
    "unit": "a unit bought or a rebuild paid elsewhere, by its way: paid with any core surcharge, days waited",
    "task": "a piece of work: hours, what was paid for it",
    "damage": "work that an outcome took beyond the plan, as event=outcome: hours, what was paid",
    "carriage": "carriage and handling paid, by supplier or in one row",
    "refund": "money that came back for the old unit, by its way: core refund or price got for it",
    "never came": "a way that was tried and never came",
    "first run": "how the first run went: good or not good",
    "other": "anything paid or worked that the case did not foresee",
    "total": "all cash, all own hours, all days, as far as they are known",
    "life": "later: how long the unit of a way has served, and whether it then failed",
}
"""What a row of actual.csv may tell, in words for the owner."""
LOG_KINDS: Mapping[str, tuple[str, ...]] = {
    "range": ("p10", "p50", "p90", "actual"), "chance": ("outcome", "chance", "happened"), "count": ("outcome",),
    "hours": ("p50", "actual"), "price": ("p50", "actual"), "days": ("group", "p50", "actual"),
    "life": ("group", "happened"),
}  # fmt: skip
"""What a row of a job log may tell, and the columns that it then needs."""
QUANTITIES = ("cash", "own hours", "days", "total")  # quantities of a job whose ranges are kept


@dataclass(frozen=True, kw_only=True)
class Done:
    """One row of actual.csv; None where a cell is blank. Money at the door, tax included; ``quantity`` were fitted."""

    kind: str
    name: str
    outcome: str
    quantity: float | None
    paid: float | None
    hours: float | None
    days: float | None
    by: str
    first_time: bool | None
    from_spares: bool
    years: float | None
    failed: bool | None
    note: str
    source: Source
    bought: float | None = None

    @property
    def filled(self) -> bool:
        """Whether the row says anything beyond its name."""
        numbers = (self.quantity, self.bought, self.paid, self.hours, self.days, self.years, self.failed)
        return bool(self.outcome) or any(n is not None for n in numbers)


@dataclass(frozen=True)
class Actual:
    """All that the owner wrote down of a job, in the order of the file."""

    rows: tuple[Done, ...] = ()

    def of(self, kind: str) -> tuple[Done, ...]:
        """The rows of a kind that tell something."""
        return tuple(r for r in self.rows if r.kind == kind and r.filled)

    def row(self, kind: str, name: str) -> Done | None:
        return next((r for r in self.of(kind) if r.name == name), None)

    @property
    def way(self) -> str:
        """The way taken in the end, empty if it is not said."""
        return next((r.name for r in self.rows if r.kind == "way" and r.name), "")

    @property
    def found(self) -> tuple[tuple[str, str], ...]:
        return tuple((r.name, r.outcome) for r in self.of("found"))


@dataclass(frozen=True)
class Figures:
    """A quantity of a way as it was worked out when the choice was made."""

    mean: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, kw_only=True)
class Decision:
    """The choice as it was made, sealed: ``figures`` by way and quantity, ``seal`` a hash over all of it."""

    folder: str
    way: str
    decided_on: str
    seed: int
    draws: int
    found: str
    currency: str
    cost_own_hour: float
    figures: Mapping[str, Mapping[str, Figures]]
    seal: str
    best: str = ""
    stage: str = ""
    rules: int = 2  # 1 dropped all defaults of a file that the owner wrote, 2 lays rows over rows


@dataclass(frozen=True, kw_only=True)
class StoresMoved:
    """Something that came into or left the boat's stores because of a job; ``cost_unit`` with its carriage."""

    movement: Literal["bought", "fitted"]
    item: str
    quantity: float
    paid: float | None
    from_spares: bool
    on: str
    source: Source
    cost_unit: float | None = None


@dataclass(frozen=True, kw_only=True)
class Logged:
    """One row of a job log.

    ``kind`` range: ``name`` a quantity, ``p10`` to ``p90`` as stated and ``actual``. chance: ``name`` an event, its
    ``outcome`` and ``chance`` as stated then, ``happened``. count: the ``outcome`` found under a condition ``given``,
    ``actual`` the share of the job that counts there (below 1 where the condition itself is not known). hours:
    ``name`` a task, ``group`` its stage. price: ``p50`` as quoted, ``actual`` paid, ``years`` between them. days:
    ``p50`` as promised, ``actual`` waited; ``group`` of both is the supplier. life: ``group`` the kind of way,
    ``years`` or ``hours`` served, ``happened`` whether it then failed.
    """

    job: str
    closed_on: str
    unit: str
    kind: str
    name: str
    source: Source
    group: str = ""
    given: str = ""
    outcome: str = ""
    chance: float | None = None
    p10: float | None = None
    p50: float | None = None
    p90: float | None = None
    actual: float | None = None
    years: float | None = None
    hours: float | None = None
    first_time: bool | None = None
    happened: bool | None = None


@dataclass(frozen=True)
class JobLog:
    """The rows of a job log, in the order of the file."""

    rows: tuple[Logged, ...] = ()

    def of(self, kind: str) -> tuple[Logged, ...]:
        return tuple(r for r in self.rows if r.kind == kind)

    @property
    def jobs(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(r.job for r in self.rows))


@dataclass(frozen=True)
class ChanceCount:
    """How often an outcome of an event was found under a condition; ``unit`` the kind of unit."""

    unit: str
    event: str
    given: str
    outcome: str
    count: float


@dataclass(frozen=True, kw_only=True)
class HoursBias:
    """By what the owner's hours go over the estimate: ``factor`` with its range, for a stage, first time or again."""

    group: str
    first_time: bool
    factor: float
    low: float
    high: float
    jobs: int


@dataclass(frozen=True, kw_only=True)
class SupplierKept:
    """By what a supplier's waits (``days``) and prices go over what was promised, with their ranges; from ``parcels``
    of which either was written down."""

    supplier: str
    days: float
    days_low: float
    days_high: float
    price: float
    price_low: float
    price_high: float
    parcels: int


@dataclass(frozen=True, kw_only=True)
class LearnedLife:
    """A life out of the log, of a kind of unit and the kind of way that put it in service."""

    unit: str
    way_kind: str
    years: float | None
    hours: float | None
    failed: bool


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What an owner's own jobs say, ready for the next case; used only where a case asks for it."""

    jobs: int
    strength: float  # what a job on another kind of unit counts for
    chances: tuple[ChanceCount, ...] = ()
    hours: tuple[HoursBias, ...] = ()
    drift_rate: float | None = None  # what prices rise a year; None: the log cannot tell
    lives: tuple[LearnedLife, ...] = ()
    suppliers: tuple[SupplierKept, ...] = ()
    first_time: bool = True
    source: Source = field(default=Source("learned.toml"))
