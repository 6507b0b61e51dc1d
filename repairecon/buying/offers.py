"""The quotes of a case as offers to choose from: fit, age, days, and the terms of those who quote."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from math import inf

from repairecon.buying.basket import Offer, Order
from repairecon.buying.inputs import mean_of
from repairecon.buying.parcel import Border, Line, ParcelTerms
from repairecon.formulas import ranges
from repairecon.records import (
    DAYS_A_YEAR,
    Case,
    Equivalence,
    OrderWishes,
    Part,
    Quote,
    RepaireconError,
    Supplier,
    grouped,
)
from repairecon.standards.equivalents import equivalent

MAKERS = ("maker's part", "original-supplier part")
"""Classes that count as the maker's own."""
SAME_TERMS = (
    "vat_included", "vat_rate", "imported", "free_above", "minimum_order", "discount_rate", "card_fee_rate",
    "insurance_rate", "cost_handling", "by_hand",
)  # fmt: skip
SAME_BORDER = ("duty_free_up_to", "vat_free_up_to", "flat_duty_rate", "flat_duty_up_to", "hand_allowance")
"""What a supplier, and the customs of a case, call by the same names as the terms of a parcel do."""


@dataclass(frozen=True)
class Offered:
    """A quote weighed: how it fits, how old it is, and why it is left out of the basket ('' where it is not).

    ``age_factor`` raises its prices to today; ``stale`` says in what way the quote is out of date. ``days`` is the lead
    time as the wishes count it. ``ask`` is the question that decides whether it is the part: until it is answered the
    quote is left out.
    """

    quote: Quote
    supplier: Supplier
    pieces: int
    fit: Equivalence | None
    age_factor: float
    stale: str
    days: float
    left_out: str
    ask: str = ""

    @property
    def makers(self) -> bool:
        return self.quote.part_class in MAKERS


def today_of(wishes: OrderWishes) -> date:
    """The day the owner decides on: the case's, else the calendar's."""
    return date.fromisoformat(wishes.today) if wishes.today else date.today()


def weigh(case: Case, wanted: Mapping[str, int], wishes: OrderWishes, take_near: bool = False) -> tuple[Offered, ...]:
    """Every quote for a wanted part, in the order of the file; ``take_near`` allows all that are near."""
    parts, sellers = {p.part: p for p in case.parts}, {s.supplier: s for s in case.suppliers}
    today, made = today_of(wishes), []
    for q in case.quotes:
        if q.item in wanted:
            part, supplier = parts.get(q.item), sellers[q.supplier]
            age = (today - date.fromisoformat(q.quoted_on)).days if q.quoted_on else 0
            stale = f"quoted on {q.quoted_on}, which is old: ask anew" if age > wishes.old_after_days else ""
            if q.valid_until:
                over = date.fromisoformat(q.valid_until) < today
                stale = f"valid until {q.valid_until} only: ask anew" if over else ""
            factor = float((1.0 + wishes.price_inflation_rate) ** (age / DAYS_A_YEAR)) if stale else 1.0
            offered = Offered(
                quote=q, supplier=supplier, pieces=wanted[q.item], fit=_fit(part, q), age_factor=factor, stale=stale,
                days=_days(q, supplier, part, wishes), left_out="",
            )  # fmt: skip
            barred = _barred(offered, part, wishes, take_near)
            ask = "" if barred else _question(offered, part)
            made.append(replace(offered, left_out=barred or ask, ask=ask))
    return tuple(made)


def _fit(part: Part | None, q: Quote) -> Equivalence | None:
    """How a quote's designation stands to the size wanted; None where either is not given.

    A part for which no size is wanted is bought as quoted, and so is a quote that gives no designation: it then says no
    more than that it is the part.
    """
    if part is None or not part.standard_size or not q.designation:
        return None
    fit = equivalent(
        part.standard_size, q.designation, fluid=part.fluid, material_wanted=part.material, material_offered=q.material
    )
    # a maker's number that no table can read, quoted by that very number
    if fit.verdict == "unknown" and _plain(part.standard_size) == _plain(q.designation) and part.material == q.material:
        return None
    return fit


def _plain(text: str) -> str:
    return "".join(text.casefold().split())


def _question(o: Offered, part: Part | None) -> str:
    """What to ask before a quote of which the tables cannot tell is ordered, '' where they can."""
    if part is None or o.fit is None or o.fit.verdict != "unknown":
        return ""
    wanted = " ".join(filter(None, (part.standard_size, part.material)))
    offered = " ".join(filter(None, (o.quote.designation, o.quote.material)))
    return f"ask {o.quote.supplier} whether {offered} is {wanted} ({'; '.join(dict.fromkeys(o.fit.reasons))})"


def _days(q: Quote, supplier: Supplier, part: Part | None, wishes: OrderWishes) -> float:
    lead = q.lead_days or supplier.lead_days or (part.lead_days if part else None)
    if lead is None:
        return 0.0
    if wishes.deadline_by == "likely" or lead.sure:
        return lead.likely
    return float(ranges.quantile(0.9, lead.low, lead.likely, lead.high, lead.shape))


def _barred(o: Offered, part: Part | None, wishes: OrderWishes, take_near: bool) -> str:
    """Why a quote may not be bought whatever it costs and whatever is asked, '' if it may."""
    if part is not None and part.makers_only and not o.makers:
        return "safety-critical: the maker's own part or one with a certificate only, whatever the price"
    if o.supplier.supplier in wishes.without:
        return "the supplier is left out by the order's wishes"
    if o.fit is None or o.fit.verdict not in ("near", "not"):
        return ""
    if o.fit.verdict == "near" and (take_near or o.quote.take_near):
        return ""
    return f"{'near, not the same' if o.fit.verdict == 'near' else 'not the part'}: {'; '.join(o.fit.reasons)}"


def parcel_terms(case: Case, supplier: Supplier, quotes: Sequence[Quote]) -> ParcelTerms:
    """A supplier's terms at their means; weight bands count only where every weight is known, else the heaviest one."""
    home, carriage = case.terms.currency, mean_of(supplier.carriage)
    bands: tuple[tuple[float, float], ...] = tuple((b.up_to_kg, mean_of(b.quoted)) for b in supplier.bands)
    if any(q.weight_kg is None for q in quotes):
        carriage = max([carriage, *(cost for _, cost in bands)])
        bands = ()
    if any(heavier < lighter for (_, lighter), (_, heavier) in pairwise(bands)):  # ranges of more than one shape
        raise RepaireconError(
            f"carriage.csv: the carriage of {supplier.supplier} falls with the weight, on average; "
            "give all its bands the same quoted_shape"
        )
    return ParcelTerms(
        exchange=1.0 if supplier.currency == home else case.terms.exchange[supplier.currency], carriage=carriage,
        bands=bands, **{name: getattr(supplier, name) for name in SAME_TERMS},
    )  # fmt: skip


def line_of(o: Offered) -> Line:
    """A quote's line at its mean price of today."""
    q = o.quote
    prices = ((1, mean_of(q.quoted)), *((b.from_packs, b.quoted) for b in q.breaks))
    return Line(
        prices=tuple((n, p * o.age_factor) for n, p in prices), pack=q.pack, minimum_packs=q.minimum_packs,
        weight_kg=q.weight_kg or 0.0, duty_rate=o.supplier.duty_rate if q.duty_rate is None else q.duty_rate,
        core=mean_of(q.quoted_core),
    )  # fmt: skip


def order_of(
    case: Case, wanted: Mapping[str, int], offers: Sequence[Offered], wishes: OrderWishes, all_fit: bool = False
) -> Order:
    """The question for the basket: index k of its offers is ``offers[k]``; ``all_fit``: as if every answer were yes."""
    sellers = grouped((o.quote for o in offers), lambda q: q.supplier)
    barred = {k for k, o in enumerate(offers) if o.left_out and not (all_fit and o.ask)}
    by_part = grouped(range(len(offers)), lambda k: offers[k].quote.item)
    rules = {name: getattr(case.customs, name) for name in SAME_BORDER}
    border = Border(home_vat_rate=case.terms.vat_rate, vat_back=case.customs.buyer == "VAT-registered", **rules)
    return Order(
        wanted=dict(wanted),
        offers=tuple(Offer(o.quote.item, o.supplier.supplier, line_of(o), o.days, o.makers) for o in offers),
        suppliers={name: parcel_terms(case, case.supplier(name), mine) for name, mine in sellers.items()},
        border=border, deadline_days=inf if wishes.deadline_days is None else wishes.deadline_days,
        most_parcels=wishes.most_parcels, without=frozenset(wishes.without) & set(sellers),
        makers_only=frozenset(p.part for p in case.parts if p.makers_only and p.part in wanted),
        only={part: frozenset(mine) - barred for part, mine in by_part.items() if not barred.isdisjoint(mine)},
    )  # fmt: skip
