"""The figures of a case that are worth a second look, and what they are compared with.

Most are named in look_again.csv (``figures``, ``per``, ``zero``); here stand those that need more than one record.
"""

from __future__ import annotations

import csv
import datetime
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from functools import cache, cached_property
from pathlib import Path
from statistics import median
from typing import Any

from repairecon.kinds import KindFacts, facts, match_kind, own_hours
from repairecon.read.columns import CASE, CASE_FILES
from repairecon.records import Case, Part, Quote, Range, Source, Way

_OWN = frozenset((CASE, *CASE_FILES))
"""Files that an owner writes: what comes from defaults and kinds is not looked at."""
_SECTIONS = {"terms": "owner", "wishes": "order"}
"""Sections of case.toml that are not called as their records are."""
_SUBSTITUTES = ("send away", "exchange", "pattern", "second-hand")
_UPSIDE_DOWN, _NEAR_INVERSE = 0.12, 0.06
"""Logarithms of a rate: so far from the usual, so near to its inverse."""


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
    """A table beside this file."""
    return list(csv.DictReader(Path(__file__).with_name(name).read_text("utf-8").splitlines()))


@cache
def rules() -> Mapping[str, Mapping[str, str]]:
    """The rules by quantity."""
    return {row["quantity"]: row for row in rows_of("look_again.csv")}


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
        self.euro = rates().get(case.terms.currency, (1.0, 1.0))[0]
        self.parts = [p for p in case.parts if mine(p.source)]
        self.ways = {w.way: w for w in case.ways}
        self.sellers = {s.supplier: s for s in case.suppliers}
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

    def rate(self, supplier: str) -> float:
        """Home money for one of a supplier's."""
        seller = self.sellers.get(supplier)
        return self.case.terms.exchange.get(seller.currency, 1.0) if seller else 1.0

    def home(self, quote: Quote) -> float:
        """A quote's likely price a piece in home money with tax, carriage and duty left out."""
        seller = self.sellers.get(quote.supplier)
        tax = 1.0 if seller is None or seller.vat_included else 1.0 + self.case.terms.vat_rate
        return quote.quoted.likely / quote.pack * self.rate(quote.supplier) * tax

    def price(self, part: Part | Way) -> float:
        """The likely price of a part or a way, its own or the least quoted; 0 if there is none."""
        if part.price is not None:
            return part.price.likely
        name = part.part if isinstance(part, Part) else part.way
        return min((self.home(q) for q in self.quotes.get(name, ())), default=0.0)

    def days_to(self, day: str) -> float:
        """Days from today until a date."""
        return float((datetime.date.fromisoformat(day) - self.today).days)

    def records(self, name: str) -> Iterable[Any]:
        """Records of the case by the name that look_again.csv has for them."""
        if name == "parts":
            return self.parts
        if name == "labour":
            return self.case.terms.labour.values()
        of: Any = getattr(self.case, name)
        return of if isinstance(of, tuple) else (of,)


def mine(source: Source) -> bool:
    """True if the owner wrote it."""
    return source.file in _OWN


def _at(name: str) -> Source:
    return Source(CASE, None, name)


def case_facts(on: Looked) -> Iterator[Fact]:
    """Every figure of a case that a rule is about."""
    for look in (_kit, _exchange, _parts, _work, _events, _ways, _suppliers, _quotes, _quote_prices, _dates, _needed):
        yield from look(on)
    for quantity, row in rules().items():
        for figure in filter(None, row["figures"].split("; ")):
            path, _, name = figure.partition(" as ")
            of, _, field = path.partition(".")
            for record in on.records(of):
                value = getattr(record, field)
                named = name or str(getattr(record, "key", "") or getattr(record, fields(record)[0].name))
                where = _at(f"{'money' if field == 'vat_rate' else _SECTIONS.get(of, of)}.{field}")
                where = value.source if isinstance(value, Range) else getattr(record, "source", where)
                if value is not None and mine(where):
                    yield from _SORTS.get(quantity, _compared)(on, quantity, value, where, named)


def _compared(on: Looked, quantity: str, value: Range | float, where: Source, name: str) -> Iterator[Fact]:
    row = rules()[quantity]
    figure = value.likely if isinstance(value, Range) else float(value)
    base = {"": 1.0, "new": on.new, "euro": on.euro}[row["per"]]
    if math.isfinite(figure) and math.isfinite(base) and (figure or row["zero"] != "none"):
        against = base if row["per"] == "new" else None
        yield Fact(quantity, figure / base, where, name, figure if row["per"] else None, against)


def _price(on: Looked, quantity: str, r: Range, where: Source, name: str) -> Iterator[Fact]:
    """A price that must be one: not 0, its ends not tens of times apart."""
    if r is on.case.unit.price_new and name in on.ways:
        return
    yield Fact(quantity, r.likely, where, name)
    if r.low > 0:
        yield Fact("price likely against low", r.likely / r.low, where, name, r.likely, r.low)
    if r.likely > 0:
        yield Fact("price high against likely", r.high / r.likely, where, name, r.high, r.likely)


def _life(on: Looked, quantity: str, value: Range | float, where: Source, name: str) -> Iterator[Fact]:
    years = value.likely if isinstance(value, Range) else value
    yield Fact(quantity, years, where, name)
    usual = on.kind.life_years if on.kind else None
    if usual is not None and 0 < years <= 60:
        bound = usual.low if years < usual.likely else usual.high
        yield Fact("life against its kind", years / bound, where, name, years, bound)


def _wait(_: Looked, quantity: str, r: Range, where: Source, name: str) -> Iterator[Fact]:
    if r.likely > 0:
        yield Fact(quantity, r.likely, where, name)
    yield Fact("longest wait", r.high, where, name)
    if r.likely > 0 and r.high >= 90:
        yield Fact("wait high against likely", r.high / r.likely, where, name, r.high, r.likely)


def _hours(on: Looked, quantity: str, r: Range, where: Source, name: str) -> Iterator[Fact]:
    if r.high > 0 and r.likely > 0:
        yield Fact(quantity, r.likely, where, name)
        yield Fact("hours high against likely", r.high / r.likely, where, name, r.high, r.likely)
    whole = own_hours(on.kind.kind).high if on.kind else 0.0
    if r.high > 0 and whole > 0 and r.likely <= 40:
        # a job of minutes may well take an hour or two
        yield Fact("hours against the whole job", r.likely / max(whole, 8.0), where, name, r.likely, whole)


_SORTS: Mapping[str, Callable[[Looked, str, Any, Source, str], Iterator[Fact]]] = {
    "price": _price, "life in years": _life, "wait": _wait, "days of work": _wait, "hours of one work": _hours,
}  # fmt: skip
"""Quantities of which more is looked at than the likely value."""


def _kit(on: Looked) -> Iterator[Fact]:
    always = [p for p in on.case.parts if p.needed == "always"]
    total = sum(p.quantity * on.price(p) for p in always)
    if not total or not math.isfinite(on.new):
        return
    where = next((p.price.source for p in always if p.price is not None), always[0].source)
    if not mine(where):
        return
    alone, share, usual = len(always) == 1 and where.file == CASE, total / on.new, on.share("kit")
    name = "the kit" if alone else "what is always needed"
    if usual is None or usual.high < 1:
        yield Fact("kit against new", share, where, name, total, on.new)
    if usual is not None and share <= 1:
        ratio = min(share / usual.low, 1.0) if share < usual.likely else max(share / usual.high, 1.0)
        what = "kit against its kind" if alone else "parts list against its kind"
        yield Fact(what, ratio, where, name, total, on.new)


def _exchange(on: Looked) -> Iterator[Fact]:
    """Rates against those of years, and against their inverse: too far is 1 and over in a log scale of the room."""
    home = on.case.terms.currency
    for code, rate in on.case.terms.exchange.items():
        where = _at(f"money.exchange.{code}")
        if code == home:
            continue
        if not {code, home} <= rates().keys():
            yield Fact("rate of an unknown currency", rate, where, code)
            continue
        usual, room = rates()[home][0] / rates()[code][0], math.log(max(rates()[home][1], rates()[code][1]))
        off, from_inverse = math.log(rate / usual), abs(math.log(rate * usual))
        inverted = from_inverse < _NEAR_INVERSE + 0.5 * room and abs(off) > _UPSIDE_DOWN
        # near parity a rate and its inverse are both plausible, unless it lies on the other side of 1
        if inverted and (from_inverse < _NEAR_INVERSE or abs(off) > room):
            yield Fact("rate upside down", 1.0, where, code, rate, usual)
        elif rate == 1 and abs(off) > 0.03:
            yield Fact("rate of one", 1.0, where, code)
        elif abs(off) > room:
            yield Fact("rate against plausible", 2.0 if off > 0 else 0.0, where, code, rate, usual)


def _part_price(on: Looked, name: str, price: float, where: Source) -> Iterator[Fact]:
    if len(on.case.parts) > 1:
        main = on.share("main part")
        room = max(1.0, main.high) if main is not None else 1.0
        yield Fact("part against new", price / on.new / room, where, name, price, on.new)


def _parts(on: Looked) -> Iterator[Fact]:
    prices = [price for p in on.case.parts if (price := on.price(p)) > 0]
    middle = median(prices) if len(prices) > 2 else math.inf
    for p in (p for p in on.parts if on.price(p) > 0):
        price = on.price(p)
        yield from _part_price(on, p.part, price, p.source)
        yield Fact("part in euro", price / on.euro, p.source, p.part, price)
        if middle < math.inf:
            yield Fact("part against its neighbours", price / middle, p.source, p.part, price)


def _work(on: Looked) -> Iterator[Fact]:
    own = [t for t in on.case.tasks if mine(t.hours.source)]
    if own:
        yield Fact("hours of all work", sum(t.hours.likely for t in own), own[0].source)
    told = (look for look in on.case.looks if mine(look.source) and look.event)
    yield from (Fact("look is right", look.p_right, look.source, look.look) for look in told)


def _events(on: Looked) -> Iterator[Fact]:
    open_still = {b.event for b in on.case.branches if 0 < b.chance < 1}
    for b in on.case.branches:
        if not mine(b.source):
            continue
        if b.event not in open_still:
            yield Fact("sure event", b.chance, b.source, b.key)
        elif b.chance < 1 or not b.given:
            # under a condition an outcome may well be sure
            yield Fact("chance of an outcome", b.chance, b.source, b.key)
        if b.not_this_unit:
            yield Fact("another to blame", b.chance, b.source, b.key)
        if "dead" in b.outcome.casefold().split():
            yield Fact("dead when bought", b.chance, b.source, b.key)
        yield from (Fact("pieces", float(many), b.source, f"{b.key}: {part}") for part, many in b.parts)


def _way_price(on: Looked, w: Way, price: float, where: Source) -> Iterator[Fact]:
    if price <= 0 or not (w.kind == "new" or w.kind in _SUBSTITUTES):
        return
    yield Fact("way against new", price / on.new if math.isfinite(on.new) else 1.0, where, w.way, price, on.new)
    if w.kind in _SUBSTITUTES:
        yield Fact("substitute against new", price / on.new, where, w.way, price, on.new)


def _ways(on: Looked) -> Iterator[Fact]:
    for w in on.case.ways:
        if w.price is not None and mine(w.price.source):
            yield from _way_price(on, w, w.price.likely, w.price.source)
        if not mine(w.source):
            continue
        price = on.price(w) or (0.0 if w.price or on.quotes.get(w.way) else on.new)
        if w.core_surcharge.high > 0 and price > 0:
            surcharge, carriage = w.core_surcharge.likely, w.core_carriage.likely
            yield Fact("core against price", surcharge / price, w.source, w.way, surcharge, price)
            yield Fact("core carriage against price", carriage / price, w.source, w.way, carriage, price)
            yield Fact("core is refunded", w.p_refund, w.source, w.way)
        if w.old_unit in ("sold", "scrap"):
            fetched = w.old_unit_price.likely
            yield Fact("old unit against new", fetched / on.new, w.source, w.way, fetched, on.new)
        if w.kind in ("carry on", "temporary"):
            if w.until_days is not None and mine(w.until_days.source):
                yield Fact("holds", w.until_days.likely, w.source, w.way)
            yield Fact("fails meanwhile", w.p_fails, w.source, w.way)
    for own in on.case.own_lives:
        if own.years is not None:
            yield Fact("life in years", max(own.years, 0.25), own.source, own.way)
        if own.hours is not None:
            yield Fact("life in hours", max(own.hours, 30.0), own.source, own.way)


def _suppliers(on: Looked) -> Iterator[Fact]:
    for s in on.case.suppliers:
        rate = on.rate(s.supplier)
        carriage = s.carriage.likely * rate
        yield Fact("carriage against new", carriage / on.new, s.source, s.supplier, carriage, on.new)
        yield Fact("carriage in euro", carriage / on.euro, s.source, s.supplier, carriage)
        for least in (s.minimum_order, s.free_above or 0.0):
            yield Fact("least order in euro", least * rate / on.euro, s.source, s.supplier, least)
        for band in s.bands:
            yield Fact("band", band.up_to_kg, band.quoted.source, s.supplier)
            dear = band.quoted.likely * rate / on.euro
            yield Fact("carriage in euro", dear, band.quoted.source, s.supplier, band.quoted.likely)


def _quotes(on: Looked) -> Iterator[Fact]:
    for q in on.case.quotes:
        if q.weight_kg is not None:
            size = "a unit" if q.item in on.ways else "a part"
            yield Fact(f"weight of {size}", q.weight_kg, q.source, q.item)
        price, core = q.quoted.likely, q.quoted_core.likely
        if price <= 0:
            continue
        if core > 0:
            yield Fact("core against price", core / price, q.source, q.item, core, price)
        for step in q.breaks:
            packs = float(step.from_packs)
            yield Fact("break against price", step.quoted / price, q.source, q.item, step.quoted, packs)


def _quote_prices(on: Looked) -> Iterator[Fact]:
    own = {p.part: p.price.likely for p in on.case.parts if p.price is not None and mine(p.source)}
    for item, quotes in on.quotes.items():
        prices = [on.home(q) for q in quotes]
        known = [*prices, *([own[item]] if item in own else [])]
        for q, price in zip(quotes, prices, strict=True):
            # of two, each is held against the other
            usual = median(known) if len(known) > 2 else sum(known) - price
            if usual > 0 and price > 0:
                yield Fact("quote against its neighbours", price / usual, q.source, item, price, usual)
            if item in on.ways:
                yield from _way_price(on, on.ways[item], price, q.source)
            else:
                yield from _part_price(on, item, price, q.source)


def _dates(on: Looked) -> Iterator[Fact]:
    dated = [
        ("the exchange date", on.case.terms.exchange_date, _at("money.exchange_date"), "days since the rate"),
        ("the terms at the border", on.case.customs.as_of, _at("customs.as_of"), "days since the rate"),
        *((q.item, q.quoted_on, q.source, "days since the quote") for q in on.case.quotes),
    ]
    for name, day, where, since in dated:
        if day:
            yield Fact("days ahead", on.days_to(day), where, name, day)
            yield Fact(since, -on.days_to(day), where, name, day)
    for q in on.case.quotes:
        if q.valid_until:
            yield Fact("days still valid", on.days_to(q.valid_until), q.source, q.item, q.valid_until)
    if stated := on.case.wishes.today:
        yield Fact("today against the clock", float((on.today - on.clock).days), _at("order.today"), shown=stated)


def _needed(on: Looked) -> Iterator[Fact]:
    needed = on.case.needed
    if needed is None:
        return
    days = on.days_to(needed.by) if needed.by else needed.within_days
    if days is not None:
        yield Fact("needed in days", float(days), _at("needed"), shown=needed.by or float(days))
    yield Fact("missed in euro", needed.cost_missed.likely / on.euro, _at("needed"), shown=needed.cost_missed.likely)
