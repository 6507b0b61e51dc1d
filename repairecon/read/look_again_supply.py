"""What is looked at in ways, suppliers, quotes, dates and the order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import median

from repairecon.read.looked_at import Fact, Looked, at, hours, life_facts, mine, price_facts, wait
from repairecon.records import Source, Way

_SUBSTITUTES = ("send away", "exchange", "pattern", "second-hand")


def supply_facts(on: Looked) -> Iterator[Fact]:
    """Every figure of the ways, and of whoever sells them and the parts."""
    for look in (_ways, _ways_over_time, _looks, _suppliers, _quotes, _quote_prices, _dates, _order, _needed):
        yield from look(on)


def _way_price(on: Looked, w: Way, price: float, where: Source) -> Iterator[Fact]:
    if price <= 0 or not (w.kind == "new" or w.kind in _SUBSTITUTES):
        return
    yield Fact("way against new", price / on.new if math.isfinite(on.new) else 1.0, where, w.way, price, on.new)
    if w.kind in _SUBSTITUTES:
        yield Fact("substitute against new", price / on.new, where, w.way, price, on.new)


# ---- ways ------------------------------------------------------------------------------------------
def _ways(on: Looked) -> Iterator[Fact]:
    for w in on.case.ways:
        if w.price is not None and mine(w.price.source):
            yield from _way_price(on, w, w.price.likely, w.price.source)
            if w.price is not on.case.unit.price_new:
                yield from price_facts(w.price, w.way)
        yield from wait(w.lead_days, w.way)
        yield from hours(on, w.fitting_hours, w.way)
        if not mine(w.source):
            continue
        yield from _core(on, w)
        chances = {"never comes": w.p_never, "fails early": w.p_early, "wear kept": w.wear_kept}
        yield from (Fact(name, value, w.source, w.way) for name, value in chances.items() if value)
        if w.old_unit in ("sold", "scrap"):
            fetched = w.old_unit_price.likely
            yield Fact("old unit against new", fetched / on.new, w.source, w.way, fetched, on.new)
        if mine(w.strip_charge.source):
            charge = w.strip_charge.likely
            yield Fact("strip charge against new", charge / on.new, w.source, w.way, charge, on.new)


def _core(on: Looked, w: Way) -> Iterator[Fact]:
    price = w.price.likely if w.price else min((on.home(q) for q in on.quotes.get(w.way, ())), default=on.new)
    if w.core_surcharge.high > 0 and price > 0:
        surcharge, carriage = w.core_surcharge.likely, w.core_carriage.likely
        yield Fact("core against price", surcharge / price, w.source, w.way, surcharge, price)
        yield Fact("core carriage against price", carriage / price, w.source, w.way, carriage, price)
        yield Fact("core is refunded", w.p_refund, w.source, w.way)


def _ways_over_time(on: Looked) -> Iterator[Fact]:
    for w in on.case.ways:
        if w.life_years is not None and mine(w.life_years.source):
            yield from life_facts(on, w.life_years.likely, w.life_years.source, w.way)
        if w.life_hours is not None and mine(w.life_hours.source):
            yield Fact("life in hours", w.life_hours.likely, w.life_hours.source, w.way)
        if not mine(w.source):
            continue
        yield Fact("life shape", w.life_shape, w.source, w.way)
        if w.warranty_months is not None:
            yield Fact("warranty", w.warranty_months, w.source, w.way)
        if w.kind in ("carry on", "temporary"):
            holds = getattr(w, "until_days", None)
            if holds is not None and mine(holds.source):
                yield Fact("holds", holds.likely, w.source, w.way)
            yield Fact("fails meanwhile", getattr(w, "p_fails", 0.5), w.source, w.way)
    for own in on.case.own_lives:
        if own.years is not None:
            yield Fact("life in years", max(own.years, 0.25), own.source, own.way)
        if own.hours is not None:
            yield Fact("life in hours", max(own.hours, 30.0), own.source, own.way)


def _looks(on: Looked) -> Iterator[Fact]:
    for look in on.case.looks:
        if not mine(look.source):
            continue
        cost = look.cost.likely
        yield Fact("look against new", cost / on.new, look.source, look.look, cost, on.new)
        if look.hours.likely > 0:
            yield Fact("hours of a look", look.hours.likely, look.source, look.look)
        if cost > 0:
            yield Fact("cost in euro", cost / on.euro, look.source, look.look, cost)
        yield from wait(look.days, look.look, "days of work")
        if look.event:
            yield Fact("look is right", look.p_right, look.source, look.look)


# ---- suppliers, quotes, orders, dates ------------------------------------------------------------------
def _suppliers(on: Looked) -> Iterator[Fact]:
    for s in on.case.suppliers:
        rate = on.case.terms.exchange.get(s.currency, 1.0)
        rates = {"tax": (s.vat_rate,), "duty": (s.duty_rate,), "discount": (s.discount_rate,),
                 "fee": (s.card_fee_rate, s.insurance_rate)}  # fmt: skip
        for quantity, values in rates.items():
            yield from (Fact(quantity, value, s.source, s.supplier) for value in values if value)
        yield from wait(s.lead_days, s.supplier)
        carriage = s.carriage.likely * rate
        yield Fact("carriage against new", carriage / on.new, s.source, s.supplier, carriage, on.new)
        yield Fact("carriage in euro", carriage / on.euro, s.source, s.supplier, carriage)
        yield Fact("handling in euro", s.cost_handling / on.euro, s.source, s.supplier, s.cost_handling)
        for least in (s.minimum_order, s.free_above or 0.0):
            yield Fact("least order in euro", least * rate / on.euro, s.source, s.supplier, least)
        for band in s.bands:
            yield Fact("band", band.up_to_kg, band.quoted.source, s.supplier)
            dear = band.quoted.likely * rate / on.euro
            yield Fact("carriage in euro", dear, band.quoted.source, s.supplier, band.quoted.likely)


def _quotes(on: Looked) -> Iterator[Fact]:
    for q in on.case.quotes:
        yield Fact("pack", float(q.pack), q.source, q.item)
        yield Fact("least packs", float(q.minimum_packs), q.source, q.item)
        if q.p_never > 0:
            yield Fact("never comes", q.p_never, q.source, q.item)
        yield from wait(q.lead_days, q.item)
        if q.duty_rate:
            yield Fact("duty", q.duty_rate, q.source, q.item)
        if q.weight_kg is not None:
            size = "a unit" if q.item in on.ways else "a part"
            yield Fact(f"weight of {size}", q.weight_kg, q.source, q.item)
        if q.quoted.likely <= 0:
            continue
        core = q.quoted_core.likely
        if core > 0:
            yield Fact("core against price", core / q.quoted.likely, q.source, q.item, core, q.quoted.likely)
        for step in q.breaks:
            share, packs = step.quoted / q.quoted.likely, float(step.from_packs)
            yield Fact("break against price", share, q.source, q.item, step.quoted, packs)


def _quote_prices(on: Looked) -> Iterator[Fact]:
    for item, quotes in on.quotes.items():
        way = on.ways.get(item)
        prices = [on.home(q) for q in quotes]
        known = [*prices, *([on.own_prices[item]] if item in on.own_prices else [])]
        middle = median(known)
        for q, price in zip(quotes, prices, strict=True):
            yield from price_facts(q.quoted, item)
            # of two, each is held against the other
            usual = middle if len(known) > 2 else sum(known) - price
            if usual > 0 and price > 0:
                yield Fact("quote against its neighbours", price / usual, q.source, item, price, usual)
            if way is not None:
                yield from _way_price(on, way, price, q.source)
            elif len(on.case.parts) > 1:
                main = on.share("main part")
                room = max(1.0, main.high) if main is not None else 1.0
                yield Fact("part against new", price / on.new / room, q.source, item, price, on.new)


def _dates(on: Looked) -> Iterator[Fact]:
    dated = [("the exchange date", on.case.terms.exchange_date, at("money.exchange_date"))]
    dated.append(("the terms at the border", on.case.customs.as_of, at("customs.as_of")))
    for name, day, where in dated:
        if day:
            yield Fact("days ahead", on.days_to(day), where, name, day)
            yield Fact("days since the rate", -on.days_to(day), where, name, day)
    for q in on.case.quotes:
        if q.quoted_on:
            yield Fact("days ahead", on.days_to(q.quoted_on), q.source, q.item, q.quoted_on)
            yield Fact("days since the quote", -on.days_to(q.quoted_on), q.source, q.item, q.quoted_on)
        if q.valid_until:
            yield Fact("days still valid", on.days_to(q.valid_until), q.source, q.item, q.valid_until)
    stated = on.case.wishes.today
    if stated:
        away = (on.today - on.clock).days
        yield Fact("today against the clock", float(away), at("order.today"), shown=stated)


def _order(on: Looked) -> Iterator[Fact]:
    wishes, customs = on.case.wishes, on.case.customs
    yield Fact("quote is old after", wishes.old_after_days, at("order.old_after_days"))
    if wishes.deadline_days is not None:
        yield Fact("deadline", wishes.deadline_days, at("order.deadline_days"))
    if wishes.most_parcels is not None:
        yield Fact("most parcels", float(wishes.most_parcels), at("order.most_parcels"))
    if customs.flat_duty_rate:
        yield Fact("duty", customs.flat_duty_rate, at("customs.flat_duty_rate"), "the flat rate")
    for name in ("duty_free_up_to", "vat_free_up_to", "hand_allowance", "flat_duty_up_to"):
        amount = getattr(customs, name)
        yield Fact("allowance in euro", amount / on.euro, at(f"customs.{name}"), name, amount)


def _needed(on: Looked) -> Iterator[Fact]:
    needed = getattr(on.case, "needed", None)
    if needed is None:
        return
    days = on.days_to(needed.by) if needed.by else needed.within_days
    if days is not None:
        yield Fact("needed in days", float(days), at("needed"), shown=needed.by or float(days))
    missed = needed.cost_missed.likely
    yield Fact("missed in euro", missed / on.euro, at("needed.cost_missed"), shown=missed)
