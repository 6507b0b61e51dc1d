"""The quotes job in sentences an owner can act on."""

from __future__ import annotations

import pandas as pd

from repairecon.jobs.compare_quotes import QuotesAnswer
from repairecon.jobs.quote_tables import BY_LINE, CHOSEN, NEXT, ONE
from repairecon.show.sentences import capital
from repairecon.show.words import days_words, money, price, rate, share, whole

MOST_TOLD = 6


def heading(answer: QuotesAnswer) -> list[str]:
    """What is ordered and on which day."""
    parts = f"{len(answer.wanted)} part{'s' if len(answer.wanted) != 1 else ''} wanted"
    sellers = len({o.supplier.supplier for o in answer.offers})
    text = f"{parts}, {len(answer.offers)} quotes from {sellers} suppliers, on {answer.today.isoformat()}."
    figures = answer.case.unit.figures
    return [text] + ([f"Figures: {figures}."] if figures else [])


def verdict(answer: QuotesAnswer) -> list[str]:
    """From whom to order, what it comes to and when it is here."""
    currency = answer.case.terms.currency
    if answer.basket.empty:
        return ["Nothing can be ordered: " + "; ".join(f"{part}: {why}" for part, why in answer.uncovered) + "."]
    from_whom = answer.basket.groupby("supplier", sort=False)["landed"].sum()
    listed = ", ".join(f"{name} ({money(cost, currency)})" for name, cost in from_whom.items())
    sure = "no basket of these quotes costs less" if answer.proven else (
        f"a cheaper one could save {price(answer.gap, currency)} at most; the search was stopped"
    )  # fmt: skip
    parcels = f"{len(from_whom)} parcel{'s' if len(from_whom) != 1 else ''}"
    text = (
        f"Order {parcels}: {listed}. Landed in all {price(answer.total, currency)}{_of(answer)}, all here in "
        f"{days_words(answer.days)} ({_counted(answer)}); {sure}."
    )
    return [text, *_beside(answer), *_missing(answer)]


def _of(answer: QuotesAnswer) -> str:
    """How many of the parts wanted the sum is for, if not all."""
    many, wanted = answer.basket["part"].nunique(), len(answer.wanted)
    return "" if many == wanted else f" for {many} of the {wanted} parts wanted"


def _counted(answer: QuotesAnswer) -> str:
    return "likely" if answer.wishes.deadline_by == "likely" else "nine times in ten"


def _beside(answer: QuotesAnswer) -> list[str]:
    """What the other ways of ordering would cost more."""
    currency, table = answer.case.terms.currency, answer.alternatives.set_index("way")
    said = []
    if answer.saved_without_badge > 0.5:
        saved = money(answer.saved_without_badge, currency)
        said.append(f"Against the maker's parts throughout, parts without the badge and bought together save {saved}.")
    if BY_LINE in table.index and table.loc[BY_LINE, "over"] > 0.5:
        row = table.loc[BY_LINE]
        said.append(
            f"Each part at its cheapest price looks best and is not: with carriage, tax and charges it comes to "
            f"{money(row['over'], currency)} more, in {row['parcels']} parcels."
        )
    if ONE in table.index:
        row = table.loc[ONE]
        if row["covers"] == table.loc[CHOSEN, "covers"]:
            said.append(f"All from one supplier ({row['suppliers']}): {money(row['over'], currency)} more.")
        else:
            said.append(f"No supplier has all; {row['suppliers']} has {row['covers']} of {len(answer.wanted)} parts.")
    if NEXT in table.index:
        said.append(f"The second-best basket costs {price(table.loc[NEXT, 'over'], currency)} more.")
    return said


def _missing(answer: QuotesAnswer) -> list[str]:
    return [f"Not covered: {part}: {why}." for part, why in answer.uncovered]


def entering(answer: QuotesAnswer) -> list[str]:
    """Quotes worth a telephone call: those that a small drop would bring in."""
    rows = answer.lines[answer.lines["enters_below"].notna() & (answer.lines["packs"] == 0)]
    rows = rows.assign(drop=1.0 - rows["enters_below"].astype(float) / rows["quoted"])
    rows = rows[rows["quoted"] > 0].sort_values("drop", kind="stable").head(MOST_TOLD)
    return [
        f"{capital(r['part'])} from {r['supplier']} enters below {price(r['enters_below'], r['currency'])} "
        f"(now {price(r['quoted'], r['currency'])}, {share(r['drop'])} less)."
        for _, r in rows.iterrows()
    ]


def alike(answer: QuotesAnswer) -> list[str]:
    """The dearest badges: what a generic part of the same size saves, or why it may not be taken."""
    table = answer.equivalents
    same = table[(table["verdict"] == "same") & (table["saves"] > 0.5)].sort_values("saves", ascending=False)
    same = same.drop_duplicates("part").head(MOST_TOLD)
    currency = answer.case.terms.currency
    lines = [
        f"{capital(r['part'])}: {r['offered']} from {r['supplier']} is the same size and saves "
        f"{money(r['saves'], currency)} against the maker's, each ordered alone."
        for _, r in same.iterrows()
    ]
    barred = table[table["verdict"].isin(["near", "not"])].head(MOST_TOLD)
    return lines + [
        f"{capital(r['part'])}: {r['offered']} is {_held(r['verdict'])}: {r['reasons']}." for _, r in barred.iterrows()
    ]


def _held(verdict: str) -> str:
    return "near, not the same" if verdict == "near" else "not the part"


def stale(answer: QuotesAnswer) -> list[str]:
    """Bought lines whose quotes are out of date."""
    rows = answer.basket[answer.basket["stale"] != ""]
    return [f"{capital(r['part'])} from {r['supplier']}: {r['stale']}." for _, r in rows.iterrows()]


def terms(answer: QuotesAnswer) -> list[str]:
    """Which terms the figures rest on, and as of when."""
    t, c, currency = answer.case.terms, answer.case.customs, answer.case.terms.currency
    used = {o.supplier.currency for o in answer.offers} - {currency}
    said = [f"VAT at home {rate(t.vat_rate)}; buyer {c.buyer}."]
    for code in sorted(used):
        said.append(f"1 {code} = {currency} {t.exchange[code]} (as of {t.exchange_date or 'no date given'}).")
    if any(o.supplier.imported for o in answer.offers):
        said.append(_border(answer))
    growth = answer.wishes.price_inflation_rate
    if growth > 0:
        said.append(f"Quotes that are out of date are raised from their day by {rate(growth)} a year.")
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


def caption_parcels(answer: QuotesAnswer) -> str:
    """Under the bars of the suppliers."""
    charges = answer.basket["landed"].sum() - answer.basket["goods"].sum()
    part = charges / answer.total if answer.total else 0.0
    return f"Send these orders. Of what you pay, {share(part)} is carriage, tax and charges, not goods."


def caption_days(answer: QuotesAnswer) -> str:
    """Under money against days."""
    f, currency = answer.frontier, answer.case.terms.currency
    if len(f) < 2:
        return "Waiting longer saves nothing: order now."
    first, last = f.iloc[0], f.iloc[-1]
    return (
        f"If a day out of use costs you less than the line falls in a day, wait: from {days_words(first['days'])} to "
        f"{days_words(last['days'])} it falls by {money(first['total'] - last['total'], currency)}."
    )


def by_supplier(answer: QuotesAnswer) -> pd.DataFrame:
    """What each supplier is paid, charge by charge, refunds taken off the charge they belong to."""
    b = answer.basket
    table = pd.DataFrame(
        {
            "supplier": b["supplier"],
            "goods": b["goods"],
            "carriage": b["carriage"],
            "insurance, fees, handling": b["insurance"] + b["card_fee"] + b["handling"],
            "duty": b["duty"],
            "VAT": b["vat"] + b["vat_back"],
            "core kept": b["core"] + b["core_refund"],
        }
    )
    return table.groupby("supplier", sort=False).sum().clip(lower=0.0)


def counts(answer: QuotesAnswer) -> str:
    """How many quotes were left out, by reason in short."""
    out = answer.lines[answer.lines["left_out"] != ""]
    many = f"{whole(len(out))} of {whole(len(answer.lines))} quotes"
    return f"{many} are left out; the list of quotes says why." if len(out) else ""


__all__ = ["CHOSEN", "alike", "by_supplier", "caption_days", "caption_parcels", "entering", "heading", "stale", "terms",
           "verdict"]  # fmt: skip
