"""What an owner says of a passage, and of single spares for it: how long, how dear to be without, what is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field

from repairecon.records.base import Range, Source


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
