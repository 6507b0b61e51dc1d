"""What the boat around a book says of a spare: the units it serves, since when, and its price where none was paid."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache, cached_property
from math import gamma
from pathlib import Path

import numpy as np

from repairecon.book.stock import piece_of
from repairecon.buying.inputs import mean_of
from repairecon.kinds import facts
from repairecon.kinds.facts import kinds
from repairecon.read.boat import JOBS, age_years, read_papers, same_part
from repairecon.read.case_folder import read_case
from repairecon.read.columns import CASE
from repairecon.read.problems import Problems, key
from repairecon.rebuild_or_buy.lives import case_before, life_of
from repairecon.records import BoatUnit, Case, Item, RepaireconError
from repairecon.standards.equivalents import equivalent

Renewals = Mapping[tuple[int, str], Sequence[tuple[str, float | None]]]
"""Days on which an item was fitted to a unit, by its number and the unit's key, with the hours run since [h]."""
_KIT = "kit"


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A unit that an item serves.

    ``age`` are the years of use, at the pace ahead, that wore it since the item was renewed there, and ``since`` those
    of the calendar; None where nobody knows. Where the kind has no life in hours, standing and running at that pace
    are taken to wear it alike (assumed, no source). ``shape`` and ``life_years``, the mean, are those of its kind.
    """

    age: float | None = None
    since: float | None = None
    shape: float = 1.0
    hours_a_year: float = 0.0
    life_years: float | None = None


UNKNOWN = Standing()


class BoatAround:
    """The boat's folder around a spares book; CaseError with every fault of its papers."""

    def __init__(self, home: Path, today: datetime.date) -> None:
        self.home, self.today = home, today.isoformat()
        problems = Problems()
        self.papers = read_papers(home, problems)
        problems.stop_if_any()
        self._before = cache(lambda unit: case_before(self.papers, unit))

    def units_of(self, card: Item) -> list[BoatUnit]:
        """Units of units.csv that an item serves, by their name or kind."""
        return [u for name in card.units for u in self._named(name)]

    def _named(self, name: str) -> list[BoatUnit]:
        by_name = [u for u in self.papers.units if key(u.unit) == key(name)]
        return by_name or [u for u in self.papers.units if key(u.kind) == key(name)]

    def standing(self, card: Item, renewed_by: Iterable[int], renewals: Renewals) -> tuple[Standing, ...]:
        """Every unit that an item serves; ``renewed_by`` are the items that renew it there, itself among them."""
        made: list[Standing] = []
        for name in card.units:
            units = self._named(name)
            made += [] if units else [UNKNOWN]
            for unit in units:
                names = {key(name), key(unit.unit)}
                dates = {day: run for n in renewed_by for x in names for day, run in renewals.get((n, x), ())}
                late = sorted(dates.items(), reverse=True)[: unit.count]
                fresh = [replace(unit, fitted_on=max(day, unit.fitted_on), hours=run) for day, run in late
                         if day >= unit.fitted_on]  # fmt: skip
                made += [self._standing(u) for u in (*fresh, *[unit] * (unit.count - len(fresh)))]
        return tuple(made)

    def _standing(self, unit: BoatUnit) -> Standing:
        kept = replace(unit, fitted_on=min(unit.fitted_on, self.today))
        case = self._before(replace(unit, fitted_on="", hours=None))
        life, unknown = life_of(case, kept, self.today)
        clocks, k = life.clocks, life.clocks.shape
        mean = clocks.mean(clocks.life(life.hours_a_year)) * gamma(1.0 + 1.0 / k)
        since, pace = age_years(kept, self.today), life.hours_a_year
        age = None if unknown else clocks.mean(life.worn)
        if since is not None and kept.hours is not None and pace > 0 and not np.isfinite(clocks.life_hours).any():
            age = float(((since**k + (kept.hours / pace) ** k) / 2.0) ** (1.0 / k))
        return Standing(age=age, since=age if since is None else since, shape=k, hours_a_year=life.hours_a_year,
                        life_years=mean)  # fmt: skip

    # ---- prices ----------------------------------------------------------------------------------
    @cached_property
    def _jobs(self) -> list[Case]:
        """Her cases that can be read; the faults of others are said where they are asked for."""
        made = []
        for path in sorted((self.home / JOBS).glob(f"*/{CASE}")):
            with suppress(RepaireconError):
                made.append(read_case(path.parent))
        return made

    def price(self, card: Item, whole: bool, parts: int) -> tuple[float, str] | None:
        """Price of one where none was paid, and where it is from: the price of new, a job's quotes, a share of new.

        ``parts`` are the items that make up the kit of the unit that it serves.
        """
        units = [u for u in self.units_of(card) if u.price_new is not None]
        if whole and units and units[0].price_new is not None:
            return mean_of(units[0].price_new), "the price of a new one in units.csv"
        found = [p for case in self._jobs if (p := _quoted(card, case)) is not None]
        if found:
            return min(found)
        for unit in units if not whole else ():
            share = facts(unit.kind).ratios.get(_KIT) if unit.kind in kinds() else None
            if share is not None and unit.price_new is not None:
                said = "a guess: the share of a kit in the price of a new"
                kit = mean_of(unit.price_new) * mean_of(share)
                if _KIT in key(card.name).replace(",", " ").split():
                    return kit, f"{said} {unit.unit}"
                return kit / max(parts, 1), f"{said} {unit.unit}, by {parts} parts"
        return None


def _quoted(card: Item, case: Case) -> tuple[float, str] | None:
    """The cheapest price of a piece in a case for what a card is, its tax included and carriage left out."""
    name, x, terms = Path(case.folder).name, piece_of(card), case.terms
    parts = {p.part: p for p in case.parts if same_part(x, p, case.unit)}
    prices = []
    for q in case.quotes:
        part = parts.get(q.item)
        if part is None:
            continue
        if q.designation and card.designation and key(q.designation) != key(card.designation):
            same = equivalent(card.designation, q.designation, fluid=part.fluid, material_wanted=card.material,
                              material_offered=q.material)  # fmt: skip
            if same.verdict != "same":  # a quote of another size than the card's says nothing of it
                continue
        seller = case.supplier(q.supplier)
        rate = {**terms.exchange, terms.currency: 1.0}[seller.currency]
        net = rate / (1.0 + seller.vat_rate) if seller.vat_included else rate
        home = mean_of(q.quoted) * net * (1.0 + terms.vat_rate) / q.pack
        prices.append((home, f"a quote of {q.supplier} in the job {name}"))
    given = [p.price for p in parts.values() if p.price is not None and p.price.source.file != "assumed"]
    return min(prices or [(mean_of(r), f"the list of parts of the job {name}") for r in given], default=None)
