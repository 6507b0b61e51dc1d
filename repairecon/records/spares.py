"""What the spares book holds and what it answers: items, lockers, units aboard, movements, lots; and a passage.

Quantities, money and clock hours are ``Decimal``, as the book keeps them. Dates are year-month-day; an empty string
is what is not known. ``cost_*`` is home money, landed; ``quoted_*`` the supplier's.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field
from decimal import Decimal

from repairecon.records.base import Range, Source

MOVEMENT_KINDS = (
    "bought", "used", "fitted", "moved", "counted", "scrapped", "lent", "returned", "undone", "corrected",
)  # fmt: skip
"""``undone`` and ``corrected`` are counter-movements; after a ``corrected`` stands what takes its place."""
LOCKER_KINDS = ("aboard", "ashore", "lent")
MEASURES = ("piece", "metre", "litre", "kilogram")
SHELF_GROUPS = ("", "A", "B", "C")  # groups of rubber by storage life, ISO 2230; empty for what does not age on a shelf


@dataclass(frozen=True, kw_only=True)
class Locker:
    """A place by its number or name: aboard, ashore, or the one place for what is lent out."""

    number: int
    name: str
    place: str = ""
    kind: str = "aboard"
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class UnitAboard:
    """A unit that parts are fitted to, with its hours on the clock as last read."""

    number: int
    name: str
    kind: str = ""
    hours: Decimal | None = None
    hours_on: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Item:
    """A spare as its card reads now, noun first: "seal, shaft, raw water pump".

    ``units`` are those it fits, ``minimum`` the least to keep aboard, ``needs`` the tools and gaskets that fitting
    takes, ``resale_rate`` the share of its cost that it fetches. ``carried`` is False for what is no longer kept.
    """

    number: int
    name: str
    system: str = ""
    units: tuple[str, ...] = ()
    makers_number: str = ""
    cross_reference: str = ""
    designation: str = ""
    material: str = ""
    measure: str = "piece"
    minimum: Decimal = Decimal(0)
    locker: str = ""
    shelf_group: str = ""
    critical: bool = False
    needs: str = ""
    weight_kg: float | None = None
    volume_litres: float | None = None
    resale_rate: float | None = None
    carried: bool = True
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Movement:
    """One line of the ledger; ``quantity`` is what left ``locker_from`` and came to ``locker_to``.

    ``cost_unit`` is landed home money for one; ``rate`` (home money for one of ``currency``) and ``quoted_unit`` are
    its evidence. ``person`` is the supplier of what is bought, the borrower of what is lent.
    """

    number: int
    on_date: str
    kind: str
    item_number: int
    item: str
    quantity: Decimal
    locker_from: str = ""
    locker_to: str = ""
    cost_unit: Decimal | None = None
    currency: str = ""
    rate: Decimal | None = None
    quoted_unit: Decimal | None = None
    person: str = ""
    unit: str = ""
    hours: Decimal | None = None
    lot: str = ""
    cure_date: str = ""
    reference: str = ""
    note: str = ""
    undoes: int | None = None
    corrects: int | None = None
    undone_by: int | None = None
    written_at: str = ""
    order_line: int | None = None


@dataclass(frozen=True, kw_only=True)
class StockLine:
    """How many of an item lie in one locker."""

    item_number: int
    item: str
    locker: str
    locker_kind: str
    quantity: Decimal


@dataclass(frozen=True, kw_only=True)
class Lot(StockLine):
    """What is left in one locker of what came in by one movement."""

    came_by: int
    came_on: str
    cost_unit: Decimal | None
    lot: str = ""
    cure_date: str = ""


@dataclass(frozen=True, kw_only=True)
class ReorderLine:
    """An item under its minimum, with whom it came from last and at what price."""

    item: Item
    aboard: Decimal
    ashore: Decimal
    lent: Decimal
    short: Decimal
    last: Movement | None


@dataclass(frozen=True)
class ReceiveLine:
    """A line of a delivery; a ``designation`` other than that of the item's card is refused: no card is two parts."""

    item: str
    quantity: Decimal | int | float | str
    supplier: str = ""
    cost_unit: Decimal | int | float | str | None = None
    _: KW_ONLY
    currency: str = ""
    rate: Decimal | int | float | str | None = None
    quoted_unit: Decimal | int | float | str | None = None
    designation: str = ""
    locker: str = ""
    lot: str = ""
    cure_date: str = ""
    note: str = ""
    order_line: int | None = None


@dataclass(frozen=True)
class FitLine:
    """Something fitted on a job; from a lot, or the oldest first."""

    item: str
    quantity: Decimal | int | float | str = 1
    _: KW_ONLY
    locker: str = ""
    note: str = ""
    lot: str = ""


@dataclass(frozen=True, kw_only=True)
class OrderedLine:
    """A line of an order on record: a part of the case, or a way that buys a ``whole_unit``; ``item`` of the book that
    it is, if that is known.

    ``line`` is its number in the book, ``quoted_pack`` the price of a pack [supplier's money]; landed of one piece
    [home money]: ``cost_unit`` in all, in it ``carriage_unit`` carriage and handling with their tax, and ``duty_unit``.
    ``received`` of its pieces have come.
    """

    part: str
    pieces: Decimal
    packs: int
    quoted_pack: Decimal
    cost_unit: Decimal
    carriage_unit: Decimal = Decimal(0)
    duty_unit: Decimal = Decimal(0)
    designation: str = ""
    material: str = ""
    item: str = ""
    whole_unit: bool = False
    line: int = 0
    received: Decimal = Decimal(0)

    @property
    def open(self) -> Decimal:
        return self.pieces - self.received


@dataclass(frozen=True, kw_only=True)
class Ordered:
    """An order to one supplier for a job, the folder of its case, on a ``unit``; ``number`` 0 while it is no record.

    ``rate`` is home money for one of ``currency``; ``expected_days`` from ``on_date`` on.
    """

    on_date: str
    supplier: str
    job: str
    unit: str
    currency: str
    rate: Decimal
    expected_days: int | None
    lines: tuple[OrderedLine, ...]
    number: int = 0

    @property
    def open(self) -> tuple[OrderedLine, ...]:
        """Lines of which something is still to come."""
        return tuple(line for line in self.lines if line.open > 0)

    @property
    def expected_on(self) -> str:
        """The day by which it should be here, empty where nothing was promised."""
        if self.expected_days is None:
            return ""
        return (datetime.date.fromisoformat(self.on_date) + datetime.timedelta(days=self.expected_days)).isoformat()

    def late_days(self, today: str) -> int:
        """Days since it was expected if something of it is still to come, else 0."""
        if not self.open or not self.expected_on:
            return 0
        return max((datetime.date.fromisoformat(today) - datetime.date.fromisoformat(self.expected_on)).days, 0)


@dataclass(frozen=True, kw_only=True)
class Happened:
    """What an act did to an item: movements written, what is left, and the line to reorder if it is now too few.

    ``lots`` are those that the first movement took or brought; ``before`` is the last time that the item was fitted to
    the same unit, ``hours_run`` the clock hours since.
    """

    item: Item
    movements: tuple[Movement, ...]
    places: Mapping[str, Decimal] = field(default_factory=dict)
    aboard: Decimal = Decimal(0)
    lots: tuple[Lot, ...] = ()
    reorder: ReorderLine | None = None
    before: Movement | None = None
    hours_run: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class JobInBook:
    """A whole job in the book, and all that is to be reordered now; not ``written``: a trial that left it as it was."""

    reference: str
    happened: tuple[Happened, ...]
    reorder: tuple[ReorderLine, ...]
    written: bool


@dataclass(frozen=True, kw_only=True)
class Found:
    """An item that was looked for, and where it lies."""

    item: Item
    stock: tuple[StockLine, ...]


@dataclass(frozen=True, kw_only=True)
class Counted:
    """A count against the book; ``movement`` is what was written, None in a dry run."""

    item: str
    locker: str
    in_book: Decimal
    counted: Decimal
    movement: Movement | None = None

    @property
    def difference(self) -> Decimal:
        return self.counted - self.in_book


@dataclass(frozen=True)
class SpareWish:
    """What is known of one item beyond its card, as columns.csv says of passage.toml; None or empty: nothing."""

    item: str
    _: KW_ONLY
    cost_without: Range | None = None
    failures_per_year: Range | None = None
    failures_per_1000_hours: Range | None = None
    like_units: int | None = None
    at_a_time: int | None = None
    together: tuple[str, ...] = ()
    price: float | None = None
    case: str = ""
    covers: tuple[str, ...] = ()
    p_useful: float | None = None
    most: int | None = None
    inspected: bool = False
    whole_unit: bool | None = None
    turned: str = ""
    turn_every_days: float | None = None
    source: Source = field(default=Source("passage.toml"))


@dataclass(frozen=True, kw_only=True)
class Passage:
    """A passage or season, as columns.csv says of passage.toml; ``tools`` None: nothing is said of them.

    ``cost_without`` is by system, and that of ``critical`` and ``other`` items.
    """

    days: float | None = None
    running_hours: float | None = None
    resupply_days: float | None = None
    budget: float | None = None
    weight_kg: float | None = None
    room_litres: float | None = None
    today: str = ""
    assurance: float | None = None
    tools: tuple[str, ...] | None = None
    cost_without: Mapping[str, Range] = field(default_factory=dict)
    items: tuple[SpareWish, ...] = ()


PASSAGE_NUMBERS = {
    "passage_days": ("days", "days of the passage or season"),
    "running_hours": ("running_hours", "running hours of the engine in it"),
    "resupply_days": ("resupply_days", "days after it until a part can be had"),
    "budget": ("budget", "money to spend on spares at most"),
    "weight_kg": ("weight_kg", "weight that may be added at most"),
    "room_litres": ("room_litres", "room that may be taken at most"),
}
"""What may be said in place of the passage's figures: the passage's own name for it, and what it is."""


@dataclass(frozen=True, kw_only=True)
class BoatUnit:
    """A unit of the boat, of which she has ``count``.

    ``fitted_on`` is when it came or was last renewed (year-month-day), ``hours`` what it has run since then [h],
    ``hours_a_year`` [h a year] what it runs, ``price_new`` of one. Blank text and None where the owner does not say.
    """

    unit: str
    kind: str
    count: int
    fitted_on: str
    hours: float | None
    hours_a_year: float | None
    critical: bool
    price_new: Range | None
    maker_number: str
    standard_sizes: tuple[str, ...]
    note: str
    source: Source


@dataclass(frozen=True, kw_only=True)
class FromStock:
    """A spare aboard that a job may take: ``have`` pieces of ``wanted``; ``at_once`` if that is all it takes."""

    part: str
    item: str
    have: int
    wanted: int
    at_once: bool


@dataclass(frozen=True, kw_only=True)
class OnHand:
    """A spare that lies aboard in date: ``quantity`` pieces, what one cost last (None: not known).

    ``whole`` for a unit complete; ``since`` is when the oldest piece came (year-month-day).
    """

    item: str
    units: tuple[str, ...]
    designation: str
    material: str
    makers_number: str
    quantity: int
    price: float | None
    whole: bool
    since: str
