"""What the bearings of the unit would last by their rating, as a help where lives are not known."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from repairecon.formulas.bearing_life import basic_rating_life, life_from_l10, rating_life_hours, several_bearings
from repairecon.formulas.lives import quantile
from repairecon.records import Bearing, Case, Range, Source


@dataclass(frozen=True)
class BearingLife:
    """Hours that all bearings of 9 units in 10 reach, and of half the units, with the range the load gives.

    ``ways`` take it for their running life, as ways.csv gives them none.
    """

    l10_hours: float
    half_hours: Range
    ways: tuple[str, ...]


def bearing_life(case: Case, known: Collection[str] = ()) -> BearingLife | None:
    """The life of the bearings of a case that speaks of them; ways whose lives are ``known`` do not take it."""
    b = case.bearing
    if b is None:
        return None
    load = b.load_kn
    low, likely, high = (_half(b, kn) for kn in (load.high, load.likely, load.low))
    source = Source("case.toml", None, "bearing data, ISO 281: clean, greased and dry")
    named = tuple(w.way for w in case.ways if w.way in b.ways and w.way not in known and w.life_hours is None)
    return BearingLife(_l10(b, load.likely), Range(low, likely, high, load.shape, source), named)


def with_bearing(case: Case, known: Collection[str] = ()) -> tuple[Case, BearingLife | None]:
    """The case with that life for the ways it names that have no running life of their own."""
    life = bearing_life(case, known)
    if life is None or not life.ways:
        return case, life
    ways = tuple(replace(w, life_hours=life.half_hours) if w.way in life.ways else w for w in case.ways)
    return replace(case, ways=ways), life


def _l10(b: Bearing, load_kn: float) -> float:
    one = rating_life_hours(basic_rating_life(b.rating_kn, load_kn, b.kind), b.turns_a_minute)
    return float(several_bearings(one, b.bearings, b.shape))


def _half(b: Bearing, load_kn: float) -> float:
    return float(quantile(0.5, life_from_l10(_l10(b, load_kn), b.shape), b.shape))
