"""The terms that the figures of the quotes job rest on: in sentences, and as a table a supplier."""

from __future__ import annotations

import pandas as pd

from repairecon.buying.offers import Offered
from repairecon.buying.terms import ParcelTerms
from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.show.layout import capital
from repairecon.show.words import money, price, rate, span, whole

MOST_TOLD = 6


def terms(answer: QuotesAnswer) -> list[str]:
    """Which terms the figures rest on, and as of when."""
    t, c, currency = answer.case.terms, answer.case.customs, answer.case.terms.currency
    used = {o.supplier.currency for o in answer.offers} - {currency}
    said = [f"VAT at home {rate(t.vat_rate)}; buyer {c.buyer}."] if _taxed_at_home(answer) else []
    for code in sorted(used):
        said.append(f"1 {code} = {currency} {t.exchange[code]} (as of {t.exchange_date or 'no date given'}).")
    if any(o.supplier.imported for o in answer.offers):
        said.append(_border(answer))
    said += _unweighed(answer)
    growth = answer.wishes.price_inflation_rate
    if growth > 0:
        said.append(f"Quotes that are out of date are raised from their day by {rate(growth)} a year.")
    return said


def _taxed_at_home(answer: QuotesAnswer) -> bool:
    """Whether the VAT at home is in any figure: a price that has its VAT in is taken as it stands."""
    back = answer.case.customs.buyer != "private"
    return back or any(o.supplier.imported or not o.supplier.vat_included for o in answer.offers)


def _unweighed(answer: QuotesAnswer) -> list[str]:
    """Suppliers whose carriage goes by weight, where a weight is not known."""
    said = []
    for name, terms in answer.found.order.suppliers.items():
        mine = [o for o in answer.offers if o.supplier.supplier == name]
        lacking = list(dict.fromkeys(o.quote.item for o in mine if o.quote.weight_kg is None))
        if mine and mine[0].supplier.bands and not terms.bands:
            named = ", ".join(lacking[:MOST_TOLD]) + (", ..." if len(lacking) > MOST_TOLD else "")
            said.append(
                f"{capital(name)} sends by weight, but no weight is given for {named}: carriage of the heaviest "
                f"parcel is taken, {price(terms.carriage, mine[0].supplier.currency)}."
            )
    return said


def _border(answer: QuotesAnswer) -> str:
    c, currency = answer.case.customs, answer.case.terms.currency
    free = [
        f"{what} free up to {money(limit, currency)} of goods a consignment"
        for what, limit in (("duty", c.duty_free_up_to), ("VAT", c.vat_free_up_to))
        if limit > 0
    ]
    if c.flat_duty_rate is not None:
        free.append(f"duty {rate(c.flat_duty_rate)} flat up to {money(c.flat_duty_up_to, currency)}")
    if c.hand_allowance > 0:
        free.append(f"{money(c.hand_allowance, currency)} carried in by hand goes free")
    listed = "; ".join(free) or "no thresholds"
    return f"At the border (as of {c.as_of or 'no date given'}): {listed}. Ask your customs office: such terms move."


def terms_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Each supplier's terms as they were used, in the supplier's money."""
    rows = []
    for name, used in answer.found.order.suppliers.items():
        mine = [k for k, o in enumerate(answer.offers) if o.supplier.supplier == name]
        s, currency = answer.offers[mine[0]].supplier, answer.offers[mine[0]].supplier.currency
        duties = sorted({answer.found.order.offers[k].line.duty_rate for k in mine}) if s.imported else [0.0]
        rows.append({
            "supplier": name, "money": currency, "VAT": _vat(used),
            "carriage": _carriage(used, answer.offers[mine[0]]),
            "free above": "" if s.free_above is None else price(s.free_above, currency),
            "minimum order": price(s.minimum_order, currency) if s.minimum_order else "",
            "discount": rate(s.discount_rate) if s.discount_rate else "",
            "card fee, insurance": _both(s.card_fee_rate, s.insurance_rate),
            "duty": " to ".join(rate(d) for d in dict.fromkeys((duties[0], duties[-1]))) if s.imported else "",
            "handling": price(s.cost_handling, answer.case.terms.currency) if s.cost_handling else "",
            "comes": "by hand" if s.by_hand else "by post",
            "days": _days([answer.offers[k] for k in mine]),
        })  # fmt: skip
    return pd.DataFrame(rows)


def _vat(used: ParcelTerms) -> str:
    """How the supplier's prices stand to VAT, and what becomes of it."""
    if used.imported:
        off = used.vat_included and used.vat_rate > 0.0
        return f"in, {rate(used.vat_rate)} taken off on export" if off else "sold free of it"
    return f"{'in' if used.vat_included else 'to be added'}, {rate(used.vat_rate)}"


def _carriage(used: ParcelTerms, o: Offered) -> str:
    currency = o.supplier.currency
    if used.bands:
        ends = dict.fromkeys((price(used.bands[0][1], currency), price(used.bands[-1][1], currency)))
        return f"{' to '.join(ends)} by weight"
    heaviest = " (weights not known: the heaviest)" if o.supplier.bands else ""
    return f"{price(used.carriage, currency)}{heaviest}" if used.carriage else "none"


def _both(card: float, insurance: float) -> str:
    return f"{rate(card)}, {rate(insurance)}" if card or insurance else ""


def _days(mine: list[Offered]) -> str:
    """The supplier's own days, or those of the quotes."""
    lead = mine[0].supplier.lead_days
    if lead is not None:
        return span(lead)
    days = sorted({o.days for o in mine})
    return " to ".join(dict.fromkeys((whole(days[0]), whole(days[-1]))))
