"""What is looked at in the unit, the owner's terms, parts, work and events."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import median

from repairecon.read.looked_at import FILE, Fact, Looked, at, hours, life_facts, mine, price_facts, rates, wait

_UPSIDE_DOWN, _NEAR_INVERSE = 0.12, 0.06
"""Logarithms of a rate: so far from the usual, so near to its inverse."""


def case_facts(on: Looked) -> Iterator[Fact]:
    """Every figure of the unit, the terms, the work and the events."""
    for look in (_kit, _unit, _terms, _exchange, _years, _parts, _tasks, _events):
        yield from look(on)


# ---- unit, money, owner ------------------------------------------------------------------------
def _kit(on: Looked) -> Iterator[Fact]:
    always = [p for p in on.case.parts if p.needed == "always"]
    total = sum(p.quantity * on.price(p) for p in always)
    if not always or not total or not math.isfinite(on.new):
        return
    where = next((p.price.source for p in always if p.price is not None), always[0].source)
    alone = len(always) == 1 and where.file == FILE
    name = "the kit" if alone else "what is always needed"
    share = total / on.new
    if not mine(where):
        return
    usual = on.share("kit")
    if usual is None or usual.high < 1:
        yield Fact("kit against new", share, where, name, total, on.new)
    if usual is not None and share <= 1:
        ratio = min(share / usual.low, 1.0) if share < usual.likely else max(share / usual.high, 1.0)
        what = "kit against its kind" if alone else "parts list against its kind"
        yield Fact(what, ratio, where, name, total, on.new)


def _unit(on: Looked) -> Iterator[Fact]:
    unit = on.case.unit
    if unit.price_new is not None and mine(unit.price_new.source):
        yield from price_facts(unit.price_new, "the price of new")
        if math.isfinite(on.new):
            yield Fact("price of new in euro", on.new / on.euro, unit.price_new.source, shown=on.new)
    if unit.age_years is not None:
        yield Fact("age", unit.age_years, at("unit.age_years"))
    if unit.expected_life_years is not None:
        yield from life_facts(on, unit.expected_life_years, at("unit.expected_life_years"), "the unit")


def _terms(on: Looked) -> Iterator[Fact]:
    t = on.case.terms
    scalars = {
        "hours per day": t.hours_per_day, "give up": t.give_up_days, "elsewhere": t.elsewhere_days,
        "near tie share": t.near_tie_share, "near tie chance": t.near_tie_chance,
    }  # fmt: skip
    for name, value in scalars.items():
        yield Fact(name, value, at("owner"))
    if t.cost_own_hour:
        yield Fact("own hour in euro", t.cost_own_hour / on.euro, at("owner.cost_own_hour"), shown=t.cost_own_hour)
    if t.vat_rate:
        yield Fact("tax", t.vat_rate, at("money.vat_rate"), "your own rate")
    for worker in t.labour.values():
        hour = worker.cost_hour
        if mine(hour.source):
            yield Fact("labour in euro", hour.likely / on.euro, hour.source, worker.by, hour.likely)
    day = t.cost_lost_day
    if mine(day.source):
        yield Fact("lost day against new", day.likely / on.new, day.source, shown=day.likely, against=on.new)
        yield Fact("lost day in euro", day.likely / on.euro, day.source, shown=day.likely)
    for cap, name in ((t.cap_cost, "owner.cap_cost"), (t.risk_tolerance, "owner.risk_tolerance")):
        if cap is not None and math.isfinite(on.new):
            yield Fact("cap against new", cap / on.new, at(name), shown=cap, against=on.new)
    if t.cap_cost is not None:
        yield Fact("cap chance", t.cap_chance, at("owner.cap_chance"))


def _exchange(on: Looked) -> Iterator[Fact]:
    """Rates against those of years, and against their inverse: too far is 1 and over in a log scale of the room."""
    home = on.case.terms.currency
    for code, rate in on.case.terms.exchange.items():
        where = at(f"money.exchange.{code}")
        if code == home:
            continue
        if code not in rates() or home not in rates():
            yield Fact("rate of an unknown currency", rate, where, code)
            continue
        usual = rates()[home][0] / rates()[code][0]
        room = max(rates()[home][1], rates()[code][1])
        off, from_inverse = math.log(rate / usual), math.log(rate * usual)
        inverted = abs(from_inverse) < _NEAR_INVERSE + 0.5 * math.log(room) and abs(off) > _UPSIDE_DOWN
        # near parity a rate and its inverse are both plausible, unless it lies on the other side of 1
        if inverted and (abs(from_inverse) < _NEAR_INVERSE or abs(off) > math.log(room)):
            yield Fact("rate upside down", 1.0, where, code, rate, usual)
        elif rate == 1 and abs(off) > 0.03:
            yield Fact("rate of one", 1.0, where, code)
        elif abs(off) > math.log(room):
            yield Fact("rate against plausible", 2.0 if off > 0 else 0.0, where, code, rate, usual)


def _years(on: Looked) -> Iterator[Fact]:
    y = on.case.years
    scalars = {
        "horizon": y.horizon_years or 1.0, "hours a year": y.hours_a_year or 1.0, "turned every": y.turned_every_years,
        "like units": float(y.like_units), "resale": y.resale_share, "fails away": y.p_away or 0.5,
    }  # fmt: skip
    for name, value in scalars.items():
        yield Fact(name, value, at("years"), "a spare")
    if math.isfinite(y.shelf_life_years):
        yield Fact("shelf life", y.shelf_life_years, at("years.shelf_life_years"))
    yield Fact("life shape", y.shelf_shape, at("years.shelf_shape"), "spare on its shelf")
    rates = {"the discount rate": y.discount_rate, "inflation": y.inflation_rate}
    rates["the rise of prices"] = on.case.wishes.price_inflation_rate
    yield from (Fact("interest", rate, at("years"), name) for name, rate in rates.items() if rate)
    if mine(y.cost_away.source):
        away = y.cost_away
        yield Fact("away against new", away.likely / on.new, away.source, shown=away.likely, against=on.new)
        yield Fact("away in euro", away.likely / on.euro, away.source, shown=away.likely)
    yield from wait(y.days_away, "a failure away")
    yield from hours(on, y.swap_hours, "putting in a spare")


# ---- parts, work, events -------------------------------------------------------------------------
def _parts(on: Looked) -> Iterator[Fact]:
    prices = [price for p in on.case.parts if (price := on.price(p)) > 0]
    middle = median(prices) if len(prices) > 2 else 0.0
    main = on.share("main part")
    for p in on.case.parts:
        if not mine(p.source):
            continue
        yield Fact("pieces", float(p.quantity), p.source, p.part)
        yield from wait(p.lead_days, p.part)
        price = on.price(p)
        if p.price is not None and mine(p.price.source):
            yield from price_facts(p.price, p.part)
        if price <= 0:
            continue
        if len(on.case.parts) > 1:
            room = max(1.0, main.high) if main is not None else 1.0
            yield Fact("part against new", price / on.new / room, p.source, p.part, price, on.new)
        yield Fact("part in euro", price / on.euro, p.source, p.part, price)
        if middle > 0:
            yield Fact("part against its neighbours", price / middle, p.source, p.part, price)


def _tasks(on: Looked) -> Iterator[Fact]:
    for t in on.case.tasks:
        yield from hours(on, t.hours, t.task)
        yield from wait(t.days, t.task, "days of work")
        if mine(t.cost.source):
            if t.cost.likely > 0:
                yield Fact("cost in euro", t.cost.likely / on.euro, t.source, t.task, t.cost.likely)
            yield Fact("task against new", t.cost.likely / on.new, t.source, t.task, t.cost.likely, on.new)
    own = [t for t in on.case.tasks if mine(t.hours.source)]
    if own:
        yield Fact("hours of all work", sum(t.hours.likely for t in own), own[0].source)


def _events(on: Looked) -> Iterator[Fact]:
    own = [b for b in on.case.branches if mine(b.source)]
    open_still = {b.event for b in on.case.branches if 0 < b.chance < 1}
    for b in own:
        if b.event not in open_still:
            yield Fact("sure event", b.chance, b.source, b.key)
        elif b.chance < 1 or not b.given:
            # under a condition an outcome may well be sure
            yield Fact("chance of an outcome", b.chance, b.source, b.key)
        yield Fact("weight", b.weight, b.source, b.key)
        if b.not_this_unit:
            yield Fact("another to blame", b.chance, b.source, b.key)
        if "dead" in b.outcome.casefold().split():
            yield Fact("dead when bought", b.chance, b.source, b.key)
        yield from hours(on, b.extra_hours, b.key)
        yield from wait(b.extra_days, b.key, "days of work")
        cost = b.outside_cost.likely
        if cost > 0:
            yield Fact("cost in euro", cost / on.euro, b.source, b.key, cost)
        yield Fact("damage against new", cost / on.new, b.source, b.key, cost, on.new)
        yield from (Fact("pieces", float(many), b.source, f"{b.key}: {part}") for part, many in b.parts)
