"""The nouns of the trade as frozen records, and the errors.

Standard library only. Money is in the case's home currency unless the field starts with
``quoted`` (then in the supplier's); times are in hours or days as the field says; ``*_rate``
is a fraction (0.20 for 20 %); ``p_*`` and ``chance`` lie in 0..1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf
from types import MappingProxyType
from typing import Literal

STAGES = ("outside", "removal", "strip", "measure", "reassembly", "first run", "later")
"""Stages of the job in the order in which they come."""

ORDER_TIMES = ("now", "after removal", "after strip", "after measure")
"""When the parts of the planned job are ordered."""

SHAPES = ("pert", "triangular", "lognormal", "uniform")
"""Shapes an uncertain number may have."""

SAFETY_CLASSES = ("steering", "flooding", "gas", "fuel")
"""Units whose failure can hurt: never chosen on price alone."""

OLD_UNIT_ENDS = ("spare", "core", "sold", "scrap", "kept")
"""What may become of the old unit."""

QUOTE_CLASSES = ("maker's part", "original-supplier part", "pattern part", "generic part", "second-hand")

Shape = Literal["pert", "triangular", "lognormal", "uniform"]
ASSUMED = "assumed"


@dataclass(frozen=True)
class Source:
    """Where a figure was read: a file of the case and its row, or a default."""

    file: str
    row: int | None = None
    note: str = ""

    def __str__(self) -> str:
        return self.file if self.row is None else f"{self.file}:{self.row}"


@dataclass(frozen=True)
class Range:
    """An uncertain number: low, likely, high (a sure number repeats).

    For ``lognormal`` they are the values that 10 %, 50 % and 90 % of cases stay below, and the
    curve is a lognormal shifted so that it passes through all three.
    """

    low: float
    likely: float
    high: float
    shape: Shape = "pert"
    source: Source = Source(ASSUMED)

    @property
    def sure(self) -> bool:
        """True when nothing about the number is uncertain."""
        return self.low == self.high

    def scaled(self, factor: float) -> Range:
        """The same range with every value times ``factor``."""
        return Range(self.low * factor, self.likely * factor, self.high * factor, self.shape, self.source)


@dataclass(frozen=True)
class Assumed:
    """A default that the answer used because the case does not say."""

    name: str
    value: str
    unit: str
    source: str


@dataclass(frozen=True)
class Unit:
    """The failed unit."""

    name: str
    kind: str
    symptom: str = ""
    safety: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    age_years: float | None = None
    expected_life_years: float | None = None
    figures: str = ""
    price_new: Range | None = None


@dataclass(frozen=True)
class Labour:
    """Who works and what an hour costs, tax included (the owner's own hours cost no cash)."""

    by: str
    cost_hour: Range


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Supplier:
    """Somebody who quotes, named by role."""

    supplier: str
    role: str
    currency: str
    vat_included: bool
    vat_rate: float
    imported: bool
    duty_rate: float
    cost_handling: float
    carriage: Range
    lead_days: Range | None
    source: Source


@dataclass(frozen=True)
class Quote:
    """A price from a supplier for a part or a way, in the supplier's money."""

    item: str
    supplier: str
    quoted: Range
    pack: int
    part_class: str
    lead_days: Range | None
    p_never: float
    quoted_on: str
    source: Source


@dataclass(frozen=True)
class Part:
    """A part of the rebuild; ``needed`` is ``always`` or ``damage``."""

    part: str
    description: str
    quantity: int
    needed: str
    price: Range | None
    lead_days: Range | None
    standard_size: str
    source: Source


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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
        """``event=outcome``."""
        return f"{self.event}={self.outcome}"


@dataclass(frozen=True)
class Look:
    """A test, a call or an hour's measuring that tells of one event or of one price before it is paid for.

    Either ``event`` or ``price_of`` (a part or a way) is set. ``p_right`` is the chance that it shows
    what is the case.
    """

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
    in_service: Literal["rebuilt", "bought"]
    meaning: str


_KINDS = (
    WayKind("rebuild", "here", False, "rebuilt", "rebuild here"),
    WayKind("send away", "away", False, "rebuilt", "send away for rebuild"),
    WayKind("exchange", "", True, "bought", "exchange unit against the old one"),
    WayKind("new", "", True, "bought", "new, from the maker"),
    WayKind("pattern", "", True, "bought", "new pattern unit"),
    WayKind("second-hand", "", True, "bought", "used unit, state unknown"),
    WayKind("buy and rebuild", "here", True, "bought", "buy now, rebuild the old one as spare"),
    WayKind("rebuild and spare", "here", True, "rebuilt", "rebuild, and carry a bought spare"),
)
WAY_KINDS: Mapping[str, WayKind] = MappingProxyType({k.kind: k for k in _KINDS})
"""The kinds of way an owner chooses from."""

WAY_GROUPS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "all": frozenset(WAY_KINDS),
        "rebuilds": frozenset(k.kind for k in _KINDS if k.rebuilds),
        "buys": frozenset(k.kind for k in _KINDS if k.buys),
    }
)
"""Words that stand for several kinds in a ``ways`` column."""


@dataclass(frozen=True)
class Way:
    """A way out. Ranges are None where the kind has no such figure.

    ``life_years`` and ``life_hours`` are ranges for the median life, standing and running: whichever
    strikes earlier. ``life_shape`` is the Weibull shape of both, ``wear_kept`` the share of its age that the unit
    keeps (0 as good as new, 1 as bad as old), ``p_early`` the chance that it fails as soon as it is used.
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

    @property
    def traits(self) -> WayKind:
        """What this way's kind is made of."""
        return WAY_KINDS[self.kind]


@dataclass(frozen=True)
class OwnLife:
    """A life that the owner knows: of the unit of a way, how long it ran or stood, and whether it then failed."""

    way: str
    years: float | None
    hours: float | None
    failed: bool
    source: Source


@dataclass(frozen=True)
class Years:
    """The years after the job, as the owner sees them; ``horizon_years`` 0 looks at this job alone.

    ``discount_rate`` with inflation in it and ``inflation_rate`` a year; ``p_away`` the chance that a failure
    happens away from base, where it costs ``cost_away`` more (tow, hotel, lost cruise, express carriage) and
    ``days_away`` more days; ``swap_hours`` own hours to put in a spare; ``shelf_life_years`` characteristic life
    of a spare on its shelf, counted from when it was last turned (every ``turned_every_years``); ``resale_share``
    of its price that a spare fetches with the boat; ``like_units`` in service that one spare serves;
    ``p_kit_fits`` the chance that a kit alone can be fitted away (skill, press and pullers aboard).
    """

    horizon_years: float = 0.0
    discount_rate: float = 0.0
    inflation_rate: float = 0.0
    hours_a_year: float = 0.0
    p_away: float = 0.0
    cost_away: Range = Range(0.0, 0.0, 0.0)
    days_away: Range = Range(0.0, 0.0, 0.0)
    swap_hours: Range = Range(0.0, 0.0, 0.0)
    shelf_life_years: float = inf
    shelf_shape: float = 1.0
    turned_every_years: float = 1.0
    resale_share: float = 0.0
    like_units: int = 1
    p_kit_fits: float = 0.0


@dataclass(frozen=True)
class Waiver:
    """A written reason for going past the safety screen."""

    way: str
    reason: str


@dataclass(frozen=True)
class Case:
    """A case folder, read and completed with defaults; ``assumed`` says which."""

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
    own_lives: tuple[OwnLife, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)

    def way(self, name: str) -> Way:
        """The way of that name."""
        return next(w for w in self.ways if w.way == name)

    def supplier(self, name: str) -> Supplier:
        """The supplier of that name."""
        return next(s for s in self.suppliers if s.supplier == name)


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a case folder, and what to write instead."""

    file: str
    row: int | None
    column: str
    found: str
    write: str

    def __str__(self) -> str:
        where = self.file if self.row is None else f"{self.file} row {self.row}"
        where += f", {self.column}" if self.column else ""
        return f"{where}: found {self.found}; {self.write}"


class RepaireconError(Exception):
    """Anything this package raises on purpose; its text is fit to show an owner."""


class CaseError(RepaireconError):
    """A case folder with faults: all of them, not the first."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))


class FindingError(RepaireconError):
    """A finding that names no branch of the tree, or that contradicts another."""
