"""A boat: what is typed once for her and holds for each job aboard. Money is in her home currency."""

from __future__ import annotations

from dataclasses import dataclass

from repairecon.records.base import Range, Source


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
