"""What baskets cost, written from the meaning of the charges: plain loops, every count of packs tried.

It reads figures off the records given and uses nothing else of the package.
"""

from __future__ import annotations

import functools
import itertools
from typing import Any

NOISE = 1e-6


def parcel_cost(terms: Any, bought: list[tuple[Any, int]], border: Any) -> float | None:
    """Home money for one parcel of (line, packs); None if it is not sold or not sent so."""
    spent, kilos, rows = 0.0, 0.0, []
    for line, packs in bought:
        if packs < line.minimum_packs:
            return None
        price = None
        for start, quoted in line.prices:
            if packs >= start:
                price = quoted
        assert price is not None
        money = packs * price - packs * price * terms.discount_rate
        spent += money
        kilos += packs * line.pack * line.weight_kg
        rows.append((line, packs, money, packs * line.pack * line.core))
    if spent < terms.minimum_order - NOISE:
        return None
    if terms.free_above is not None and spent >= terms.free_above - NOISE:
        carriage = 0.0
    elif terms.bands:
        fitting = [quoted for up_to, quoted in terms.bands if kilos <= up_to + NOISE]
        if not fitting:
            return None
        carriage = fitting[0]
    else:
        carriage = terms.carriage
    paid_for = spent + sum(core for *_, core in rows)
    insurance = terms.insurance_rate * (paid_for + carriage)
    card = terms.card_fee_rate * (paid_for + carriage)
    refund = sum(core for *_, core in rows)
    bill = paid_for + carriage + insurance + card
    if not terms.imported:
        if border.vat_back:  # pays and gets back the tax
            without = bill / (1 + terms.vat_rate) if terms.vat_included else bill
            core_back = refund / (1 + terms.vat_rate) if terms.vat_included else refund
        else:
            without = bill if terms.vat_included else bill + bill * terms.vat_rate
            core_back = refund if terms.vat_included else refund + refund * terms.vat_rate
        return terms.exchange * (without - core_back) + terms.cost_handling
    if terms.vat_included:
        bill, carriage, insurance, refund = (x / (1 + terms.vat_rate) for x in (bill, carriage, insurance, refund))
    worth = []
    for line, packs, money, core in rows:
        value = (money + core) / (1 + terms.vat_rate) if terms.vat_included else money + core
        worth.append((line, packs, value * terms.exchange))
    extra = (carriage + insurance) * terms.exchange
    tax = by_hand_tax(worth, extra, border) if terms.by_hand else post_tax(worth, extra, border)
    return (bill - refund) * terms.exchange + tax + terms.cost_handling


def tax_of(worth: list[tuple[Any, int, float]], free: tuple[int, ...], extra: float, border: Any, duty_free: bool,
           vat_free: bool) -> float:  # fmt: skip
    """Duty and VAT when so many packs of each line go in free."""
    whole = sum(value for *_, value in worth)
    subject = sum(v * (n - k) / n for (line, n, v), k in zip(worth, free, strict=True) if line.duty_rate > 0)
    flat = border.flat_duty_rate is not None and subject <= border.flat_duty_up_to + NOISE
    total = 0.0
    for (line, packs, value), k in zip(worth, free, strict=True):
        base = (value + (extra * value / whole if whole else extra / len(worth))) * (packs - k) / packs
        rate = border.flat_duty_rate if flat and line.duty_rate > 0 else line.duty_rate
        duty = 0.0 if duty_free else base * rate
        total += duty
        if not vat_free and not border.vat_back:
            total += (base + duty) * border.home_vat_rate
    return total


def post_tax(worth: list[tuple[Any, int, float]], extra: float, border: Any) -> float:
    """Duty and VAT on a parcel sent."""
    whole = sum(value for *_, value in worth)
    none = (0,) * len(worth)
    return tax_of(worth, none, extra, border, whole <= border.duty_free_up_to + NOISE,
                  whole <= border.vat_free_up_to + NOISE)  # fmt: skip


def by_hand_tax(worth: list[tuple[Any, int, float]], extra: float, border: Any) -> float:
    """Duty and VAT on goods carried in: every choice of packs within the allowance tried."""
    best = None
    for free in itertools.product(*(range(packs + 1) for _, packs, _ in worth)):
        let_in = sum(value / packs * k for (_, packs, value), k in zip(worth, free, strict=True))
        if let_in > border.hand_allowance + NOISE:
            continue
        tax = tax_of(worth, free, extra, border, False, False)
        best = tax if best is None else min(best, tax)
    assert best is not None
    return best


def basket_cost(order: Any, packs: dict[int, int]) -> float | None:
    """Home money for a basket, one parcel a supplier."""
    total = 0.0
    for name in {order.offers[i].supplier for i in packs}:
        bought = [(order.offers[i].line, n) for i, n in packs.items() if order.offers[i].supplier == name]
        cost = parcel_cost(order.suppliers[name], bought, order.border)
        if cost is None:
            return None
        total += cost
    return total


def usable(order: Any, i: int) -> bool:
    """Whether the owner's wishes leave an offer in."""
    offer = order.offers[i]
    if offer.supplier in order.without or offer.days > order.deadline_days:
        return False
    if offer.part in order.makers_only and not offer.makers:
        return False
    return offer.part not in order.only or i in order.only[offer.part]


@functools.lru_cache(maxsize=256)
def parcels(terms: Any, lines: tuple[Any, ...], border: Any, most_packs: int) -> list[tuple[tuple[int, ...], float]]:
    """Every parcel of a supplier, up to so many packs of each line: counts of packs, cost."""
    made = []
    for counts in itertools.product(range(most_packs + 1), repeat=len(lines)):
        bought = [(line, n) for line, n in zip(lines, counts, strict=True) if n]
        cost = parcel_cost(terms, bought, border) if bought else None
        if cost is not None:
            made.append((counts, cost))
    return made


def cheapest(order: Any, most_packs: int, must: int | None = None) -> float | None:
    """Least cost of covering every part, up to so many packs of each offer; None if it cannot be done."""
    parts = sorted(order.wanted)
    # (pieces covered of each part, parcels, whether the offer that must be in is) -> least cost
    states: dict[tuple[tuple[int, ...], int, bool], float] = {((0,) * len(parts), 0, must is None): 0.0}
    for name in order.suppliers:
        mine = [i for i, o in enumerate(order.offers) if o.supplier == name and usable(order, i)]
        # (pieces of each part, whether the offer that must be in is) -> least cost of such a parcel
        least: dict[tuple[tuple[int, ...], bool], float] = {}
        lines = tuple(order.offers[i].line for i in mine)
        for counts, cost in parcels(order.suppliers[name], lines, order.border, most_packs):
            gain = dict.fromkeys(parts, 0)
            for i, n in zip(mine, counts, strict=True):
                gain[order.offers[i].part] += n * order.offers[i].line.pack
            with_it = any(i == must and n for i, n in zip(mine, counts, strict=True))
            had = tuple(min(order.wanted[p], gain[p]) for p in parts), with_it
            least[had] = min(least.get(had, float("inf")), cost)
        after = dict(states)
        for (covered, count, got), before in states.items():
            if order.most_parcels is not None and count + 1 > order.most_parcels:
                continue
            for (more, with_it), cost in least.items():
                now = tuple(min(order.wanted[p], c + g) for p, c, g in zip(parts, covered, more, strict=True))
                key = (now, count + 1, got or with_it)
                after[key] = min(after.get(key, float("inf")), before + cost)
        states = after
    full = tuple(order.wanted[p] for p in parts)
    ends = [cost for (covered, _, got), cost in states.items() if covered == full and got]
    return min(ends, default=None)
