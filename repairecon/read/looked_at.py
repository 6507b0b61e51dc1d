"""The figures of a case that are worth a second look, and what they are compared with."""

from __future__ import annotations

import csv
import datetime
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

from repairecon.kinds import KindFacts, facts, match_kind, own_hours
from repairecon.records import Case, Part, Quote, Range, Source

_HERE = Path(__file__).parent
FILE = "case.toml"
_TABLES = ("parts", "tasks", "events", "remedies", "ways", "suppliers", "carriage", "quotes", "looks", "lives")
_OWN = frozenset((FILE, *(f"{name}.csv" for name in _TABLES)))
"""Files that an owner writes: what comes from defaults and kinds is not looked at."""


@dataclass(frozen=True)
class Fact:
    """A quantity of the case as the rules know it; ``shown`` and ``against`` are the figures a remark names."""

    quantity: str
    value: float
    where: Source
    name: str = ""
    shown: float | str | None = None
    against: float | None = None


def rows_of(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((_HERE / name).read_text("utf-8").splitlines()))


@cache
def rates() -> Mapping[str, tuple[float, float]]:
    """Units of a currency for one euro, and the factor either way that it has kept."""
    rows = rows_of("look_again_rates.csv")
    return {row["currency"]: (float(row["per_euro"]), float(row["within"])) for row in rows}


class Looked:
    """A case with what the rules compare its figures with."""

    def __init__(self, case: Case, today: str) -> None:
        self.case = case
        self.clock = datetime.date.fromisoformat(today) if today else datetime.date.today()
        stated = case.wishes.today
        self.today = datetime.date.fromisoformat(stated) if stated else self.clock
        new = case.unit.price_new
        self.new = new.likely if new is not None and new.likely > 0 else math.inf
        home = case.terms.currency
        self.euro = case.terms.exchange.get("EUR", 1.0) if home == "EUR" else rates().get(home, (1.0, 1.0))[0]
        self.ways = {w.way: w for w in case.ways}
        self.sellers = {s.supplier: s for s in case.suppliers}
        self.own_prices = {p.part: p.price.likely for p in case.parts if p.price is not None and mine(p.source)}
        self.quotes: dict[str, list[Quote]] = {}
        for quote in case.quotes:
            self.quotes.setdefault(quote.item, []).append(quote)

    @cached_property
    def kind(self) -> KindFacts | None:
        """What is known of the kind of unit; None where its name leaves a doubt."""
        unit = self.case.unit
        # a kind that was only read from the name says less than the name
        guessed = any(a.name == "kind of unit" for a in self.case.assumed)
        match = match_kind(unit.name if guessed or not unit.kind else unit.kind)
        return facts(match.kind) if match.certainty in ("exact", "taken as") else None

    def share(self, which: str) -> Range | None:
        """A price of the kind as a share of the price of new."""
        return self.kind.ratio(which) if self.kind else None

    def home(self, quote: Quote) -> float:
        """A quote's likely price a piece in home money with tax, carriage and duty left out."""
        seller = self.sellers.get(quote.supplier)
        if seller is None:
            return quote.quoted.likely / quote.pack
        rate = 1.0 if seller.currency == self.case.terms.currency else self.case.terms.exchange.get(seller.currency, 1)
        tax = 1.0 if seller.vat_included else 1.0 + self.case.terms.vat_rate
        return quote.quoted.likely / quote.pack * rate * tax

    def price(self, part: Part) -> float:
        """The likely price of a part, its own or the least quoted; 0 if there is none."""
        if part.price is not None:
            return part.price.likely
        return min((self.home(q) for q in self.quotes.get(part.part, ())), default=0.0)

    def days_to(self, day: str) -> float:
        """Days from today until a date."""
        return float((datetime.date.fromisoformat(day) - self.today).days)


def mine(source: Source) -> bool:
    return source.file in _OWN


def at(name: str) -> Source:
    return Source(FILE, None, name)


def price_facts(r: Range, name: str) -> Iterator[Fact]:
    """A price that must be one: not 0, its ends not tens of times apart."""
    yield Fact("price", r.likely, r.source, name)
    if r.low > 0:
        yield Fact("price likely against low", r.likely / r.low, r.source, name, r.likely, r.low)
    if r.likely > 0:
        yield Fact("price high against likely", r.high / r.likely, r.source, name, r.high, r.likely)


def life_facts(on: Looked, years: float, where: Source, name: str) -> Iterator[Fact]:
    yield Fact("life in years", years, where, name)
    usual = on.kind.life_years if on.kind else None
    if usual is not None and 0 < years <= 60:
        ratio, bound = (years / usual.low, usual.low) if years < usual.likely else (years / usual.high, usual.high)
        yield Fact("life against its kind", ratio, where, name, years, bound)


def wait(r: Range | None, name: str, limit: str = "wait") -> Iterator[Fact]:
    if r is None or not mine(r.source):
        return
    if r.likely > 0:
        yield Fact(limit, r.likely, r.source, name)
    yield Fact("longest wait", r.high, r.source, name)
    if r.likely > 0 and r.high >= 90:
        yield Fact("wait high against likely", r.high / r.likely, r.source, name, r.high, r.likely)


def hours(on: Looked, r: Range, name: str) -> Iterator[Fact]:
    if not mine(r.source) or r.high == 0:
        return
    if r.likely > 0:
        yield Fact("hours of one work", r.likely, r.source, name)
        yield Fact("hours high against likely", r.high / r.likely, r.source, name, r.high, r.likely)
    whole = own_hours(on.kind.kind).high if on.kind else 0.0
    if whole > 0 and r.likely <= 40:
        # a job of minutes may well take an hour or two
        yield Fact("hours against the whole job", r.likely / max(whole, 8.0), r.source, name, r.likely, whole)
