"""A failed unit and its ways out; money is in the case's home currency."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Literal

from repairecon.records.base import NOTHING, Assumed, Range, Source
from repairecon.records.done import Learned
from repairecon.records.spares import FromStock, OnHand
from repairecon.records.supply import Customs, OrderWishes, Quote, Supplier

STAGES = ("outside", "removal", "strip", "measure", "reassembly", "first run", "later")
"""Stages of the job in the order in which they come."""
ORDER_TIMES = ("now", "after removal", "after strip", "after measure")  # when the parts of the planned job are ordered
SAFETY_CLASSES = (
    "steering", "flooding", "gas", "fuel", "mains voltage", "pressure injection", "life saving", "carbon monoxide",
    "fire/fuel", "lifting", "anchoring",
)  # fmt: skip
"""Units whose failure can hurt: never chosen on price alone."""
OLD_UNIT_ENDS = ("spare", "core", "sold", "scrap", "kept")  # what may become of the old unit


@dataclass(frozen=True, kw_only=True)
class Unit:
    """The failed unit; ``own_rebuild`` says who may rebuild it: yes, with care, licensed practice only."""

    name: str
    kind: str
    symptom: str = ""
    safety: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    age_years: float | None = None
    expected_life_years: float | None = None
    figures: str = ""
    price_new: Range | None = None
    own_rebuild: str = "yes"
    certificate_needed: bool = False
    question: str = ""  # what would tell which unit it is
    waived: bool = False  # there is a written reason for going past the safety screen


@dataclass(frozen=True)
class Labour:
    """Who works and what an hour costs, tax included (the owner's own hours cost no cash)."""

    by: str
    cost_hour: Range


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Money and time terms of the case: all dated data, none of it code."""

    currency: str
    vat_rate: float
    exchange: Mapping[str, float]
    exchange_date: str
    labour: Mapping[str, Labour]
    cost_own_hour: float
    cost_lost_day: Range
    hours_per_day: float
    hours_correlation: float
    order_parts: str
    give_up_days: float
    near_tie_share: float
    near_tie_chance: float
    risk_tolerance: float | None = None
    cap_cost: float | None = None
    cap_chance: float = 0.1
    elsewhere_days: float = 0.0
    own_hour_stated: bool = True
    lost_day_stated: bool = True


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of the rebuild, as columns.csv says; ``ways`` that take it, blank: every rebuild here."""

    part: str
    description: str
    quantity: int
    needed: str
    price: Range | None
    lead_days: Range | None
    standard_size: str
    source: Source
    material: str = ""
    fluid: str = ""
    makers_only: bool = False
    ways: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Task:
    """A piece of work or a charge, at one stage, for some ways (empty: the stage's rule)."""

    task: str
    stage: str
    by: str
    hours: Range
    cost: Range
    days: Range
    ways: tuple[str, ...]
    source: Source


@dataclass(frozen=True, kw_only=True)
class Branch:
    """One row of the probability tree: an outcome of an event under a condition."""

    event: str
    given: tuple[tuple[str, str], ...]
    outcome: str
    chance: float
    weight: float
    seen_at: str
    parts: tuple[tuple[str, int], ...]
    extra_hours: Range
    by: str
    outside_cost: Range
    extra_days: Range
    ends_rebuild: bool
    core_refused: bool
    ways: tuple[str, ...]
    source: Source
    not_this_unit: bool = False

    @property
    def key(self) -> str:
        return f"{self.event}={self.outcome}"

    @property
    def condition(self) -> str:
        return "; ".join(f"{event}={outcome}" for event, outcome in self.given)


@dataclass(frozen=True, kw_only=True)
class Look:
    """A test, a call or an hour's measuring that tells of one event, or of one price, before it is paid for."""

    look: str
    event: str
    price_of: str
    cost: Range
    hours: Range
    days: Range
    p_right: float
    source: Source


@dataclass(frozen=True)
class WayKind:
    """What a kind of way is made of; see WAY_KINDS."""

    kind: str
    rebuilds: Literal["", "here", "away"]
    buys: bool
    in_service: Literal["rebuilt", "bought", "old", "none"]


_KINDS = (
    WayKind("rebuild", "here", False, "rebuilt"), WayKind("send away", "away", False, "rebuilt"),
    WayKind("exchange", "", True, "bought"), WayKind("new", "", True, "bought"),
    WayKind("pattern", "", True, "bought"), WayKind("second-hand", "", True, "bought"),
    WayKind("buy and rebuild", "here", True, "bought"), WayKind("rebuild and spare", "here", True, "rebuilt"),
    WayKind("own spare", "", True, "bought"), WayKind("carry on", "", False, "old"),
    WayKind("temporary", "", False, "old"), WayKind("without", "", False, "none"),
)  # fmt: skip
WAY_KINDS: Mapping[str, WayKind] = {k.kind: k for k in _KINDS}  # the kinds of way an owner chooses from
WAY_GROUPS: Mapping[str, frozenset[str]] = {
    "all": frozenset(WAY_KINDS),
    "rebuilds": frozenset(k.kind for k in _KINDS if k.rebuilds),
    "buys": frozenset(k.kind for k in _KINDS if k.buys),
}
"""Words that stand for several kinds in a ``ways`` column."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """A way out, as columns.csv says of ways.csv; ranges are None where the kind has no such figure.

    ``life_years`` and ``life_hours`` are medians, whichever strikes earlier. ``price_covers`` None: if the price is a
    range. ``then`` blank: the cheapest, ``none``: nothing more is due if it holds.
    """

    way: str
    kind: str
    price: Range | None
    lead_days: Range | None
    p_never: float
    instead: str
    fitting_hours: Range
    fitting_by: str
    core_surcharge: Range
    core_carriage: Range
    p_refund: float
    core_if_stripped: bool
    strip_charge: Range
    bought: str
    life_years: Range | None
    warranty_months: float | None
    old_unit: str
    old_unit_price: Range
    note: str
    source: Source
    life_hours: Range | None = None
    life_shape: float = 2.0
    wear_kept: float = 0.0
    p_early: float = 0.0
    price_covers: bool | None = None
    until_days: Range | None = None
    p_fails: float = 0.0
    more_cost: Range = NOTHING
    works_meanwhile: str = "yes"
    then: str = ""
    allowed_until: str = ""
    not_when: str = ""
    never: bool = False
    p_dead: float = 0.0

    @property
    def traits(self) -> WayKind:
        return WAY_KINDS[self.kind]


@dataclass(frozen=True, kw_only=True)
class OwnLife:
    """A life that the owner knows: of the unit of a way, how long it ran or stood, and whether it then failed."""

    way: str
    years: float | None
    hours: float | None
    failed: bool
    source: Source


@dataclass(frozen=True, kw_only=True)
class Years:
    """The years after the job, as columns.csv says of [years]; ``horizon_years`` 0 looks at this job alone.

    ``shelf_life_years`` counts from when the spare was last turned; ``cost_away`` and ``days_away`` come on top.
    """

    horizon_years: float = 0.0
    discount_rate: float = 0.0
    inflation_rate: float = 0.0
    hours_a_year: float = 0.0
    p_away: float = 0.0
    cost_away: Range = NOTHING
    days_away: Range = NOTHING
    swap_hours: Range = NOTHING
    shelf_life_years: float = inf
    shelf_shape: float = 1.0
    turned_every_years: float = 1.0
    resale_share: float = 0.0
    like_units: int = 1
    p_kit_fits: float = 0.0
    horizon_stated: bool = True


NO_WAY = "none"  # ``then`` of a way after which nothing more is due


@dataclass(frozen=True)
class Remedy:
    """One way of meeting an outcome that is found, as columns.csv says; if it fails, the next best is done."""

    event: str
    outcome: str
    remedy: str
    source: Source
    parts: tuple[tuple[str, int], ...] = ()
    extra_hours: Range = NOTHING
    by: str = "owner"
    outside_cost: Range = NOTHING
    extra_days: Range = NOTHING
    p_holds: float = 1.0
    life_share: float = 1.0
    ways: tuple[str, ...] = ()


@dataclass(frozen=True)
class Needed:
    """When the boat must be back in use: a date or so many days from now, and what missing it costs."""

    by: str = ""
    within_days: float | None = None
    cost_missed: Range = NOTHING
    cost_day_after: Range = NOTHING


@dataclass(frozen=True, kw_only=True)
class Case:
    """A case folder, read and completed with defaults; ``assumed`` says which.

    ``boat`` is the folder of its boat, empty for a case alone, ``from_boat`` what was taken from there, ``stock`` what
    lies aboard and ``from_stock`` what of it the job may take. ``done`` is the last stage that is done, ``measured``
    what was measured (measure=value pieces joined by ;), ``waivers`` are the written reasons for going past the
    safety screen, by way.
    """

    folder: str
    unit: Unit
    terms: Terms
    parts: tuple[Part, ...]
    tasks: tuple[Task, ...]
    branches: tuple[Branch, ...]
    ways: tuple[Way, ...]
    suppliers: tuple[Supplier, ...] = ()
    quotes: tuple[Quote, ...] = ()
    looks: tuple[Look, ...] = ()
    years: Years = Years()
    customs: Customs = Customs()
    wishes: OrderWishes = OrderWishes()
    own_lives: tuple[OwnLife, ...] = ()
    waivers: Mapping[str, str] = field(default_factory=dict)
    learned: Learned | None = None
    assumed: tuple[Assumed, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    needed: Needed | None = None
    found: str = ""
    checked: str = ""
    replaced: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    quotes_alone: bool = False
    notes: Mapping[str, str] = field(default_factory=dict)
    boat: str = ""
    from_boat: tuple[str, ...] = ()
    stock: tuple[OnHand, ...] = ()
    from_stock: tuple[FromStock, ...] = ()
    done: str = ""
    measured: str = ""

    def way(self, name: str) -> Way:
        return next(w for w in self.ways if w.way == name)

    def supplier(self, name: str) -> Supplier:
        return next(s for s in self.suppliers if s.supplier == name)
