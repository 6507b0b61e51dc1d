"""The quotes job in sentences an owner can act on."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf
from typing import Any

import pandas as pd

from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.tables import ALL_FIT, BY_LINE, CHOSEN
from repairecon.records import grouped
from repairecon.show.layout import capital
from repairecon.show.words import days_words, money, number, price, rate, share, whole

MOST_SAID = 6
MORE_TIME = "allow more with --seconds"


def heading(answer: QuotesAnswer) -> list[str]:
    """What is ordered and on which day."""
    sellers = len({o.supplier.supplier for o in answer.offers})
    quotes = f"{_many(len(answer.offers), 'quote')} from {_many(sellers, 'supplier')}"
    text = f"{_many(len(answer.wanted), 'part')} wanted, {quotes}, on {answer.today.isoformat()}."
    more = {"Asked for": wishes(answer), "Figures": answer.case.unit.figures}
    return [text, *(f"{lead}: {said}." for lead, said in more.items() if said)]


def wishes(answer: QuotesAnswer) -> str:
    """What the owner asks of the order besides its cost."""
    w = answer.wishes
    within = "" if w.deadline_days is None else f"all here within {days_words(w.deadline_days)} ({_counted(answer)})"
    parcels = "" if w.most_parcels is None else f"at most {_many(w.most_parcels, 'parcel')}"
    return "; ".join(filter(None, (within, parcels, f"nothing from {', '.join(w.without)}" if w.without else "")))


def _many(n: int, what: str) -> str:
    return f"{whole(n)} {what}" if n == 1 else f"{whole(n)} {what}s"


def verdict(answer: QuotesAnswer) -> list[str]:
    """From whom to order, what it comes to and when it is here."""
    currency = answer.case.terms.currency
    if answer.found.status == "out of time" and answer.basket.empty:
        return [f"No basket was found in the {number(answer.seconds)} seconds allowed: {MORE_TIME}."]
    if answer.basket.empty:
        return ["Nothing can be ordered: " + "; ".join(f"{part}: {why}" for part, why in answer.uncovered) + "."]
    from_whom = answer.basket.groupby("supplier", sort=False)["landed"].sum()
    listed = ", ".join(f"{name} ({price(cost, currency)})" for name, cost in from_whom.items())
    if answer.proven:
        sure = f"no basket of these quotes {'that meets this ' if wishes(answer) else ''}costs less"
    else:
        at_most = "not known how much" if answer.gap == inf else f"{price(answer.gap, currency)} at most"
        sure = f"a cheaper one could save {at_most}; the search was stopped"
    ready = f"all here in {days_words(answer.days)} ({_counted(answer)})"
    many, wanted = answer.basket["part"].nunique(), len(answer.wanted)
    some = "" if many == wanted else f" for {many} of the {wanted} parts wanted"
    landed = f"Landed in all {price(answer.total, currency)}{some}, {ready}; {sure}."
    text = f"Order {_many(len(from_whom), 'parcel')}: {listed}. {landed}"
    return [text, *(f"Not covered: {part}: {why}." for part, why in answer.uncovered)]


def from_stock(answer: QuotesAnswer) -> list[str]:
    """What is not ordered, as it lies aboard."""
    taken = [f"{x.part} ({min(x.have, x.wanted)} of {x.wanted})" for x in answer.case.from_stock]
    return [f"From the spares aboard, not ordered: {', '.join(taken)}."] if taken else []


def _counted(answer: QuotesAnswer) -> str:
    return "likely" if answer.wishes.deadline_by == "likely" else "nine times in ten"


def beside(answer: QuotesAnswer) -> Iterator[str]:
    """What the figures of the other ways of ordering do not say by themselves."""
    ways = dict(answer.alternatives.set_index("way", drop=False).iterrows())
    if CHOSEN not in ways:
        return
    if (row := ways.get(ALL_FIT)) is not None and not same_parts(answer, row):
        more = ", ".join(part for part, _ in answer.uncovered if part not in row["lacks"])
        yield f"If what you must ask about is the part, {more} can be had too."
    if (row := ways.get(BY_LINE)) is not None and same_parts(answer, row) and row["over"] < -0.5:
        # it asks for more parcels than are wished for
        limit, parcels = _many(answer.wishes.most_parcels or 1, "parcel"), _many(row["parcels"], "parcel")
        over = price(-row["over"], answer.case.terms.currency)
        yield f"The limit of {limit} costs you {over} or more: so much less each part at its cheapest, in {parcels}."
    if not answer.alternatives["proven"].all():
        yield "With so many quotes not every other way of ordering was searched to the end; none is cheaper."


def late(answer: QuotesAnswer) -> list[str]:
    """What was not worked out in the time allowed, of all that was asked so far."""
    said = f"Not worked out in the {number(answer.seconds)} seconds allowed: {', '.join(dict.fromkeys(answer.late))}"
    return [f"{said}; {MORE_TIME}."] if answer.late else []


def same_parts(answer: QuotesAnswer, row: pd.Series[Any]) -> bool:
    """Whether another way of ordering has the parts that the basket has: only then do their sums compare."""
    return set(row["lacks"]) == {part for part, _ in answer.uncovered}


def ask(answer: QuotesAnswer) -> list[str]:
    """Quotes left out until a question is answered."""
    return [f"{capital(r['part'])}: {r['question']}." for _, r in answer.ask.iterrows()]


def entering(answer: QuotesAnswer) -> list[str]:
    """Quotes worth a telephone call: those that a small drop would bring in."""
    rows = answer.lines[answer.lines["enters_below"].notna() & (answer.lines["packs"] == 0)]
    rows = rows.assign(drop=1.0 - rows["enters_below"].astype(float) / rows["quoted"])
    rows = rows[rows["quoted"] > 0].sort_values("drop", kind="stable").head(MOST_SAID)
    return [
        f"{capital(r['part'])} from {r['supplier']} enters below {price(r['enters_below'], r['currency'])} "
        f"(now {price(r['quoted'], r['currency'])}, {share(r['drop'])} less)."
        for _, r in rows.iterrows()
    ]


def alike(answer: QuotesAnswer) -> list[str]:
    """The dearest badges: what a generic part of the same size saves."""
    table, currency = answer.equivalents, answer.case.terms.currency
    same = table[(table["verdict"] == "same") & (table["saves"] > 0.5)].sort_values("saves", ascending=False)
    return [
        f"{capital(r['part'])}: {r['offered']} from {r['supplier']} is the same size and saves "
        f"{money(r['saves'], currency)} against the maker's, each ordered alone."
        for _, r in same.drop_duplicates("part").head(MOST_SAID).iterrows()
    ]


def stale(answer: QuotesAnswer) -> list[str]:
    """Bought lines whose quotes are out of date."""
    rows = answer.basket[answer.basket["stale"] != ""]
    return [f"{capital(r['part'])} from {r['supplier']}: {r['stale']}." for _, r in rows.iterrows()]


def counts(answer: QuotesAnswer) -> list[str]:
    """How many quotes were left out."""
    out = answer.lines[answer.lines["left_out"] != ""]
    many = f"{whole(len(out))} of {_many(len(answer.lines), 'quote')} {'is' if len(out) == 1 else 'are'} left out"
    return [f"{many}; the list of every quote (--full, or the page) says why."] if len(out) else []


def terms(answer: QuotesAnswer) -> Iterator[str]:
    """Which terms the figures rest on, and as of when."""
    t, c, currency = answer.case.terms, answer.case.customs, answer.case.terms.currency
    imported = any(o.supplier.imported for o in answer.offers)
    # a price that has its VAT in is taken as it stands: then the VAT at home is in no figure
    if c.buyer != "private" or imported or not all(o.supplier.vat_included for o in answer.offers):
        yield f"VAT at home {rate(t.vat_rate)}; buyer {c.buyer}."
    for code in sorted({o.supplier.currency for o in answer.offers} - {currency}):
        yield f"1 {code} = {currency} {t.exchange[code]} (as of {t.exchange_date or 'no date given'})."
    if imported:
        yield _border(answer)
    # suppliers whose carriage goes by weight, where a weight is not known
    for name, mine in grouped(answer.offers, lambda o: o.supplier.supplier).items():
        used, seller = answer.found.order.suppliers[name], mine[0].supplier
        if seller.bands and not used.bands:
            parts = list(dict.fromkeys(o.quote.item for o in mine if o.quote.weight_kg is None))
            named = ", ".join(parts[:MOST_SAID]) + (", ..." if len(parts) > MOST_SAID else "")
            yield (
                f"{capital(name)} sends by weight, but no weight is given for {named}: carriage of the heaviest "
                f"parcel is taken, {price(used.carriage, seller.currency)}."
            )
    if (growth := answer.wishes.price_inflation_rate) > 0:
        yield f"Quotes that are out of date are raised from their day by {rate(growth)} a year."


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
