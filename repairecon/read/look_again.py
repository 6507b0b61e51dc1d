"""What a case says that may be a slip of the pen: remarks, never refusals. The rules are rows of look_again.csv.

Most figures are named there too (``figures``, ``per``, ``zero``; of a record ``if`` it has something); here stand those
that need more than one record.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, fields, replace
from datetime import date
from functools import cached_property
from statistics import median
from typing import Any

from repairecon.kinds import KindFacts, facts, match_kind, own_hours
from repairecon.read.columns import CASE, CASE_FILES
from repairecon.read.files import rows_of
from repairecon.read.problems import key
from repairecon.read.values import as_written, listed
from repairecon.records import Case, Part, Quote, Range, Source, Way, grouped

_ALIKE = 3
_TO_NEW, _CLOCK = "against new", "today against the clock"
_OF_BOAT = (f"{place}{file}" for place in ("../../", "boat/") for file in ("suppliers.csv", "carriage.csv"))
_OWN = frozenset((CASE, *CASE_FILES, *_OF_BOAT))
"""Files that an owner writes: what comes from defaults and kinds is not looked at."""
_SECTIONS = {"terms": "owner", "wishes": "order"}  # sections of case.toml that are not called as their records are
_SUBSTITUTES = ("send away", "exchange", "pattern", "second-hand")
_UPSIDE_DOWN, _NEAR_INVERSE = 0.12, 0.06  # logarithms of a rate: so far from the usual, so near to its inverse
_RULES = {row["quantity"]: row for row in rows_of("look_again.csv")}
RATES = {r["currency"]: (float(r["per_euro"]), float(r["within"])) for r in rows_of("look_again_rates.csv")}
"""Units of a currency for one euro, and the factor either way that it has kept."""


@dataclass(frozen=True)
class Remark:
    rule: str  # the word by which ``checked`` acknowledges it, alone or with its row (``part price: impeller``)
    where: Source
    what: str
    could_turn: bool
    acknowledged: bool


@dataclass(frozen=True)
class Fact:
    """A quantity of the case as the rules know it; ``shown`` and ``against`` are the figures a remark names."""

    quantity: str
    value: float
    where: Source
    name: str = ""
    shown: float | str | None = None
    against: float | None = None


def look_again(case: Case, today: str = "") -> tuple[Remark, ...]:
    """Everything in a case that is worth a second look, what may turn the advice first; acknowledged ones are marked.

    ``today`` is what the clock says, blank for that of this machine; dates are held against the case's own day first.
    """
    on = _Looked(case, today)
    checked = {key(word) for word in listed(case.checked)}
    found = [remark for fact in _facts(on) if (remark := _remark(on, fact, checked))]
    for file, note in case.notes.items():
        if ":" not in file:  # of a file, not of one of its rows
            known = not checked.isdisjoint(("file", key(f"file: {file}")))
            found.append((file, Remark("file", Source(file), f"{file}: {note}.", True, known)))
    folded: list[Remark] = []
    for (_, known), pairs in grouped(dict.fromkeys(found), lambda pair: (pair[0], pair[1].acknowledged)).items():
        same = [remark for _, remark in pairs]
        first = max(same, key=lambda r: r.could_turn)
        # a slip in one figure that all are compared with makes one remark, not one a row
        one = replace(first, what=f"{first.what} (And {len(same) - 1} more like it.)")
        folded += same if len(same) <= _ALIKE or known else [one]
    return tuple(sorted(folded, key=lambda r: (r.acknowledged, not r.could_turn)))


def _remark(on: _Looked, fact: Fact, checked: Set[str]) -> tuple[str, Remark] | None:
    """What a rule says of a fact, under the word that remarks alike share; None where there is nothing to say."""
    row = _RULES[fact.quantity]
    if not math.isfinite(fact.value) or (fact.value == 0 and row["zero"] == "none") or fact.where.file not in _OWN:
        return None
    below = row["below"] and fact.value < float(row["below"])
    if not below and not (row["above"] and fact.value > float(row["above"])):
        return None
    shown = fact.value if fact.shown is None else fact.shown
    said = row["says_below" if below else "says_above"].format(
        name=fact.name, shown=as_written(shown) if isinstance(shown, float | int) else shown, shown_text=shown,
        against="" if fact.against is None else as_written(fact.against),
        today=(on.clock if fact.quantity == _CLOCK else on.today).isoformat(),
    )  # fmt: skip
    rule, alike = row["rule"], _TO_NEW if fact.quantity.endswith(_TO_NEW) else fact.quantity
    known = not checked.isdisjoint((key(rule), key(f"{rule}: {fact.name}")))
    return alike, Remark(rule, fact.where, said[:1].upper() + said[1:], row["turns"] == "yes", known)


# ---- the figures -----------------------------------------------------------------------------------
class _Looked:
    """A case with what the rules compare its figures with."""

    def __init__(self, case: Case, today: str) -> None:
        self.case, stated, new = case, case.wishes.today, case.unit.price_new
        self.clock = date.fromisoformat(today) if today else date.today()
        self.today = date.fromisoformat(stated) if stated else self.clock
        self.new = new.likely if new is not None and new.likely > 0 else math.inf
        self.euro = RATES.get(case.terms.currency, (1.0, 1.0))[0]
        self.ways = {w.way: w for w in case.ways}
        self.sellers = {s.supplier: s for s in case.suppliers}
        self.quotes = grouped(case.quotes, lambda quote: quote.item)

    @cached_property
    def kind(self) -> KindFacts | None:
        """What is known of the kind of unit; None where its name leaves a doubt."""
        unit = self.case.unit
        # a kind that was only read from the name says less than the name
        guessed = any(a.name == "kind of unit" for a in self.case.assumed)
        match = match_kind(unit.name if guessed or not unit.kind else unit.kind)
        return facts(match.kind) if match.certainty in ("exact", "taken as") else None

    def rate(self, supplier: str) -> float:
        seller = self.sellers.get(supplier)
        return self.case.terms.exchange.get(seller.currency, 1.0) if seller else 1.0

    def home(self, quote: Quote) -> float:
        """A quote's likely price a piece in home money with tax, carriage and duty left out."""
        seller = self.sellers.get(quote.supplier)
        tax = 1.0 if seller is None or seller.vat_included else 1.0 + self.case.terms.vat_rate
        return quote.quoted.likely / quote.pack * self.rate(quote.supplier) * tax

    def price(self, thing: Part | Way, name: str) -> float:
        """The likely price of a part or a way, its own or the least quoted; 0 if there is none."""
        if thing.price is not None:
            return thing.price.likely
        return min((self.home(q) for q in self.quotes.get(name, ())), default=0.0)

    def days_to(self, day: str) -> float:
        return float((date.fromisoformat(day) - self.today).days)


def _at(name: str) -> Source:
    return Source(CASE, None, name)


def _ratio(quantity: str, value: float, base: float, where: Source, name: str) -> Fact:
    """A figure against another, nothing to remark on (nan) where that is 0 or not known (endless)."""
    return Fact(quantity, value / base if 0 < base < math.inf else math.nan, where, name, value, base)


def _facts(on: _Looked) -> Iterator[Fact]:
    for look in (_kit, _exchange, _parts, _work_and_tree, _ways, _suppliers, _quotes, _dates):
        yield from look(on)
    for quantity, row in _RULES.items():
        for figure in filter(None, row["figures"].split("; ")):
            path, _, name = figure.partition(" as ")
            path, _, condition = path.partition(" if ")
            of, _, field = path.partition(".")
            there: Any = on.case.terms.labour.values() if of == "labour" else getattr(on.case, of)
            for record in there if isinstance(there, Iterable) else (there,):
                value = getattr(record, field)
                if value is None or (condition and not getattr(record, condition)):
                    continue
                if of == "parts" and record.source.file not in _OWN:
                    continue
                named = name or str(getattr(record, "key", "") or getattr(record, fields(record)[0].name))
                where = _at(f"{'money' if field == 'vat_rate' else _SECTIONS.get(of, of)}.{field}")
                where = value.source if isinstance(value, Range) else getattr(record, "source", where)
                yield from _SORTS.get(quantity, _compared)(on, quantity, value, where, named)


def _compared(on: _Looked, quantity: str, value: Range | float, where: Source, name: str) -> Iterator[Fact]:
    base = {"": 1.0, "new": on.new, "euro": on.euro}[_RULES[quantity]["per"]]
    yield _ratio(quantity, value.likely if isinstance(value, Range) else float(value), base, where, name)


def _price(on: _Looked, quantity: str, r: Range, where: Source, name: str) -> Iterator[Fact]:
    """A price that must be one: not 0, its ends not tens of times apart."""
    if r is not on.case.unit.price_new or name not in on.ways:
        yield Fact(quantity, r.likely, where, name)
        yield _ratio("price likely against low", r.likely, r.low, where, name)
        yield _ratio("price high against likely", r.high, r.likely, where, name)


def _life(on: _Looked, quantity: str, value: Range | float, where: Source, name: str) -> Iterator[Fact]:
    years = value.likely if isinstance(value, Range) else value
    yield Fact(quantity, years, where, name)
    usual = on.kind.life_years if on.kind else None
    if usual is not None and 0 < years <= 60:
        yield _ratio("life against its kind", years, usual.low if years < usual.likely else usual.high, where, name)


def _wait(_: _Looked, quantity: str, r: Range, where: Source, name: str) -> Iterator[Fact]:
    yield Fact(quantity, r.likely, where, name)
    yield Fact("longest wait", r.high, where, name)
    if r.high >= 90:
        yield _ratio("wait high against likely", r.high, r.likely, where, name)


def _hours(on: _Looked, quantity: str, r: Range, where: Source, name: str) -> Iterator[Fact]:
    yield Fact(quantity, r.likely, where, name)
    yield _ratio("hours high against likely", r.high, r.likely, where, name)
    whole = own_hours(on.kind.kind).high if on.kind else 0.0
    if whole > 0 and r.likely <= 40:
        # a job of minutes may well take an hour or two
        yield Fact("hours against the whole job", r.likely / max(whole, 8.0), where, name, r.likely, whole)


_SORTS: Mapping[str, Callable[[_Looked, str, Any, Source, str], Iterator[Fact]]] = {
    "price": _price, "life in years": _life, "wait": _wait, "days of work": _wait, "hours of one work": _hours,
}  # fmt: skip
"""Quantities of which more is looked at than the likely value."""


def _kit(on: _Looked) -> Iterator[Fact]:
    always = [p for p in on.case.parts if p.needed == "always"]
    total = sum(p.quantity * on.price(p, p.part) for p in always)
    if not total or not math.isfinite(on.new):
        return
    where = next((p.price.source for p in always if p.price is not None), always[0].source)
    alone, share = len(always) == 1 and where.file == CASE, total / on.new
    usual, name = on.kind.ratios.get("kit") if on.kind else None, "the kit" if alone else "what is always needed"
    if usual is None or usual.high < 1:
        yield _ratio("kit against new", total, on.new, where, name)
    if usual is not None and share <= 1:
        ratio = min(share / usual.low, 1.0) if share < usual.likely else max(share / usual.high, 1.0)
        what = "kit against its kind" if alone else "parts list against its kind"
        yield Fact(what, ratio, where, name, total, on.new)


def _exchange(on: _Looked) -> Iterator[Fact]:
    """Rates against those of years, and against their inverse: too far is 1 and over in a log scale of the room."""
    home = on.case.terms.currency
    for code, rate in ((c, r) for c, r in on.case.terms.exchange.items() if c != home):
        where = _at(f"money.exchange.{code}")
        if not {code, home} <= RATES.keys():
            yield Fact("rate of an unknown currency", rate, where, code)
            continue
        usual, room = RATES[home][0] / RATES[code][0], math.log(max(RATES[home][1], RATES[code][1]))
        off, from_inverse = math.log(rate / usual), abs(math.log(rate * usual))
        inverted = from_inverse < _NEAR_INVERSE + 0.5 * room and abs(off) > _UPSIDE_DOWN
        # near parity a rate and its inverse are both plausible, unless it lies on the other side of 1
        if inverted and (from_inverse < _NEAR_INVERSE or abs(off) > room):
            yield Fact("rate upside down", 1.0, where, code, rate, usual)
        elif rate == 1 and abs(off) > 0.03:
            yield Fact("rate of one", 1.0, where, code)
        elif abs(off) > room:
            yield Fact("rate against plausible", 2.0 if off > 0 else 0.0, where, code, rate, usual)


def _part_price(on: _Looked, name: str, price: float, where: Source) -> Iterator[Fact]:
    if len(on.case.parts) > 1:
        main = on.kind.ratios.get("main part") if on.kind else None
        room = max(1.0, main.high) if main is not None else 1.0
        yield Fact("part against new", price / on.new / room, where, name, price, on.new)


def _parts(on: _Looked) -> Iterator[Fact]:
    prices = [(p, price) for p in on.case.parts if (price := on.price(p, p.part)) > 0]
    middle = median(price for _, price in prices) if len(prices) > 2 else math.nan
    for p, price in prices:
        yield from _part_price(on, p.part, price, p.source)
        yield Fact("part in euro", price / on.euro, p.source, p.part, price)
        yield Fact("part against its neighbours", price / middle, p.source, p.part, price)


def _work_and_tree(on: _Looked) -> Iterator[Fact]:
    own = [t.hours for t in on.case.tasks if t.hours.source.file in _OWN]
    if own:
        yield Fact("hours of all work", sum(hours.likely for hours in own), own[0].source)
    open_still = {b.event for b in on.case.branches if 0 < b.chance < 1}
    for b in on.case.branches:
        if b.event not in open_still:
            yield Fact("sure event", b.chance, b.source, b.key)
        elif b.chance < 1 or not b.given:
            # under a condition an outcome may well be sure
            yield Fact("chance of an outcome", b.chance, b.source, b.key)
        if "dead" in b.outcome.casefold().split():
            yield Fact("dead when bought", b.chance, b.source, b.key)
        yield from (Fact("pieces", float(many), b.source, f"{b.key}: {part}") for part, many in b.parts)


def _way_price(on: _Looked, w: Way, price: float, where: Source) -> Iterator[Fact]:
    if w.kind in ("new", *_SUBSTITUTES):
        yield _ratio("way against new", price, on.new, where, w.way)
    if w.kind in _SUBSTITUTES:
        yield _ratio("substitute against new", price, on.new, where, w.way)


def _ways(on: _Looked) -> Iterator[Fact]:
    for w in on.case.ways:
        if w.price is not None:
            yield from _way_price(on, w, w.price.likely, w.price.source)
        price = on.price(w, w.way) or (0.0 if w.price or on.quotes.get(w.way) else on.new)
        yield _ratio("core against price", w.core_surcharge.likely, price, w.source, w.way)
        yield _ratio("core carriage against price", w.core_carriage.likely, price, w.source, w.way)
        if w.core_surcharge.high > 0:
            yield Fact("core is refunded", w.p_refund, w.source, w.way)
        if w.kind in ("carry on", "temporary"):
            yield Fact("fails meanwhile", w.p_fails, w.source, w.way)
    for own in on.case.own_lives:
        for quantity, ran, least in (("life in years", own.years, 0.25), ("life in hours", own.hours, 30.0)):
            if ran is not None:
                yield Fact(quantity, max(ran, least), own.source, own.way)


def _suppliers(on: _Looked) -> Iterator[Fact]:
    for s in on.case.suppliers:
        rate = on.rate(s.supplier)
        carriage = s.carriage.likely * rate
        yield _ratio("carriage against new", carriage, on.new, s.source, s.supplier)
        yield Fact("carriage in euro", carriage / on.euro, s.source, s.supplier, carriage)
        for least in (s.minimum_order, s.free_above or 0.0):
            yield Fact("least order in euro", least * rate / on.euro, s.source, s.supplier, least)
        for band in s.bands:
            yield Fact("band", band.up_to_kg, band.quoted.source, s.supplier)
            dear = band.quoted.likely * rate / on.euro
            yield Fact("carriage in euro", dear, band.quoted.source, s.supplier, band.quoted.likely)


def _quotes(on: _Looked) -> Iterator[Fact]:
    own = {p.part: p.price.likely for p in on.case.parts if p.price is not None and p.source.file in _OWN}
    for item, quotes in on.quotes.items():
        prices = [on.home(q) for q in quotes]
        known = [*prices, *([own[item]] if item in own else [])]
        way = on.ways.get(item)
        for q, price in zip(quotes, prices, strict=True):
            # of two, each is held against the other
            usual = median(known) if len(known) > 2 else sum(known) - price
            yield _ratio("quote against its neighbours", price, usual, q.source, item)
            yield from _way_price(on, way, price, q.source) if way else _part_price(on, item, price, q.source)
            if q.weight_kg is not None:
                yield Fact(f"weight of {'a unit' if way else 'a part'}", q.weight_kg, q.source, item)
            yield _ratio("core against price", q.quoted_core.likely, q.quoted.likely, q.source, item)
            for step in q.breaks:
                share = _ratio("break against price", step.quoted, q.quoted.likely, q.source, item)
                yield replace(share, against=float(step.from_packs))


def _dates(on: _Looked) -> Iterator[Fact]:
    needed, stated = on.case.needed, on.case.wishes.today
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
    if stated:
        yield Fact(_CLOCK, float((on.today - on.clock).days), _at("order.today"), shown=stated)
    if needed:
        days = on.days_to(needed.by) if needed.by else needed.within_days
        if days is not None:
            yield Fact("needed in days", float(days), _at("needed"), shown=needed.by or float(days))
        missed = needed.cost_missed.likely
        yield Fact("missed in euro", missed / on.euro, _at("needed"), shown=missed)
