"""What an owner says of a passage, and of single spares for it: how long, how dear to be without, what is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field

from repairecon.records.base import Range, Source

FROM_THE_FILE = Source("passage.toml")


@dataclass(frozen=True)
class SpareWish:
    """What is known of one item beyond its card; None and empty where nothing is said.

    ``cost_without`` is the cost each time that one is wanted and not there, its price apart. ``failures_per_year`` and
    ``failures_per_1000_hours`` (running) are of one unit, of which there are ``like_units`` (by default as many as its
    card names). A job takes ``at_a_time`` of it, and one job's worth of each item that is fitted ``together`` with it.
    ``case`` is a folder whose years tell what the spare is worth. ``covers`` names items that this one stands in for,
    with chance ``p_useful``. ``inspected`` rubber was found good at the end of its shelf life; a ``whole_unit`` is
    turned by hand every so many days, that it does not seize.
    """

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
    source: Source = FROM_THE_FILE


@dataclass(frozen=True, kw_only=True)
class Passage:
    """A passage or season: days, running hours, days after it until a part can be had, money, weight, room, tools.

    ``tools`` are those aboard and usable at sea, None where nothing is said of them. ``cost_without`` holds the cost of
    being without by system, and that of ``critical`` and ``other`` items.
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
