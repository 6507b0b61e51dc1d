"""Lives of the ways fitted to those that the owner knows, in place of what the case says or assumes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import nan
from typing import Literal

from repairecon.formulas.fits import fit_weibull
from repairecon.records import ASSUMED, Assumed, Case, OwnLife, Range, Source, Way

Clock = Literal["years", "hours"]
CLOCKS: tuple[Clock, ...] = ("years", "hours")
FILE = "lives.csv"
MOST_SHAPE = 10.0


@dataclass(frozen=True)
class LifeFit:
    """What the lives of one way tell by one clock.

    ``median_low`` to ``median_high`` and ``shape_low`` to ``shape_high`` are 90 % intervals. Where the lives
    cannot tell, ``refused`` says why and the figures are nan.
    """

    way: str
    clock: Clock
    failures: int
    survivors: int
    median: float = nan
    median_low: float = nan
    median_high: float = nan
    shape: float = nan
    shape_low: float = nan
    shape_high: float = nan
    refused: str = ""

    @property
    def median_range(self) -> Range:
        """The median life as an uncertain number."""
        note = f"fit of {self.failures} failures and {self.survivors} survivors"
        return Range(self.median_low, self.median, self.median_high, source=Source(FILE, note=note))


def with_own_lives(case: Case) -> tuple[Case, tuple[LifeFit, ...]]:
    """The case with the lives that could be fitted, and every fit by way and clock, refused ones too.

    A pair that had the life of the way that it puts in service keeps having it.
    """
    fits = tuple(fit for way in case.ways for fit in _fits(way.way, case.own_lives))
    fitted = {w.way: _lived(w, [f for f in fits if f.way == w.way and not f.refused]) for w in case.ways}
    ways = tuple(_followed(case, w, fitted) for w in case.ways)
    known = {fit.way for fit in fits if not fit.refused}
    assumed = tuple(a for a in (_without(a, known) for a in case.assumed) if a is not None)
    return replace(case, ways=ways, assumed=assumed), fits


def _without(assumed: Assumed, known: set[str]) -> Assumed | None:
    """An assumed figure with the ways whose lives still hang on it; None where it is used no more."""
    left = tuple(way for way in assumed.ways if way not in known)
    return replace(assumed, ways=left) if left or not assumed.ways else None


def _fits(way: str, lives: Sequence[OwnLife]) -> list[LifeFit]:
    fits = []
    for clock in CLOCKS:
        told = [(t, x.failed) for x in lives if x.way == way and (t := x.years if clock == "years" else x.hours)]
        if told:
            fits.append(_fit(way, clock, *zip(*told, strict=True)))
    return fits


def _fit(way: str, clock: Clock, ages: Sequence[float], failed: Sequence[bool]) -> LifeFit:
    failures = sum(failed)
    blank = LifeFit(way, clock, failures, len(failed) - failures)
    try:
        fit = fit_weibull(ages, failed)
    except ValueError as error:
        return replace(blank, refused=str(error))
    if fit.shape > MOST_SHAPE:
        return replace(blank, refused="the lives are too alike to tell a shape: give more of them")
    return replace(
        blank,
        median=fit.median,
        median_low=fit.median_low,
        median_high=fit.median_high,
        shape=fit.shape,
        shape_low=fit.shape_low,
        shape_high=fit.shape_high,
    )


def _lived(way: Way, fits: Sequence[LifeFit]) -> Way:
    """The way with its fitted life, by years where both clocks tell: a failure must not be counted twice.

    Known lives hold the wear kept and the early failures already. No life in years stays assumed beside one in
    hours that is known.
    """
    by_clock = {fit.clock: fit for fit in fits}
    years = by_clock.get("years")
    hours = None if years else by_clock.get("hours")
    if fits:
        way = replace(way, wear_kept=0.0, p_early=0.0)
    if hours:
        assumed = way.life_years is not None and way.life_years.source.file == ASSUMED
        way = replace(
            way,
            life_hours=hours.median_range,
            life_shape=hours.shape,
            life_years=None if assumed else way.life_years,
        )
    return replace(way, life_years=years.median_range, life_shape=years.shape) if years else way


def _followed(case: Case, way: Way, fitted: dict[str, Way]) -> Way:
    """A pair whose life was that of the way that it puts in service, with that way's fitted life."""
    if not way.bought:
        return fitted[way.way]
    bought = way.traits.in_service == "bought"
    base = next((w for w in case.ways if (w.way == way.bought if bought else w.kind == "rebuild")), None)
    if base is None or (way.life_years, way.life_hours) != (base.life_years, base.life_hours):
        return fitted[way.way]
    now = fitted[base.way]
    shape = now.life_shape if way.life_shape == base.life_shape else way.life_shape
    return replace(way, life_years=now.life_years, life_hours=now.life_hours, life_shape=shape)
