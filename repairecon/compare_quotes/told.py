"""The quotes job in sentences an owner can act on."""

from __future__ import annotations

from typing import Any

import pandas as pd

from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.tables import BY_LINE, CHOSEN, NEXT, ONE
from repairecon.show.layout import capital
from repairecon.show.words import days_words, money, price, share, whole

MOST_TOLD = 6


def heading(answer: QuotesAnswer) -> list[str]:
    """What is ordered and on which day."""
    sellers = len({o.supplier.supplier for o in answer.offers})
    quotes = f"{_many(len(answer.offers), 'quote')} from {_many(sellers, 'supplier')}"
    text = f"{_many(len(answer.wanted), 'part')} wanted, {quotes}, on {answer.today.isoformat()}."
    figures, asked = answer.case.unit.figures, wishes(answer)
    return [text] + ([f"Asked for: {asked}."] if asked else []) + ([f"Figures: {figures}."] if figures else [])


def wishes(answer: QuotesAnswer) -> str:
    """What the owner asks of the order besides its cost."""
    w = answer.wishes
    asked = []
    if w.deadline_days is not None:
        asked.append(f"all here within {days_words(w.deadline_days)} ({_counted(answer)})")
    if w.most_parcels is not None:
        asked.append(f"at most {_many(w.most_parcels, 'parcel')}")
    if w.without:
        asked.append(f"nothing from {', '.join(w.without)}")
    return "; ".join(asked)


def _many(n: int, what: str) -> str:
    return f"{whole(n)} {what}" if n == 1 else f"{whole(n)} {what}s"


def verdict(answer: QuotesAnswer) -> list[str]:
    """From whom to order, what it comes to and when it is here."""
    currency = answer.case.terms.currency
    if answer.basket.empty:
        return ["Nothing can be ordered: " + "; ".join(f"{part}: {why}" for part, why in answer.uncovered) + "."]
    from_whom = answer.basket.groupby("supplier", sort=False)["landed"].sum()
    listed = ", ".join(f"{name} ({price(cost, currency)})" for name, cost in from_whom.items())
    sure = f"no basket of these quotes {'that meets this ' if wishes(answer) else ''}costs less" if answer.proven else (
        f"a cheaper one could save {price(answer.gap, currency)} at most; the search was stopped"
    )  # fmt: skip
    ready = f"all here in {days_words(answer.days)} ({_counted(answer)})"
    landed = f"Landed in all {price(answer.total, currency)}{_of(answer)}, {ready}; {sure}."
    text = f"Order {_many(len(from_whom), 'parcel')}: {listed}. {landed}"
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
    said += _line_by_line(answer, table) + _one_supplier(answer, table)
    if NEXT in table.index:
        said.append(f"The second-best basket costs {price(table.loc[NEXT, 'over'], currency)} more.")
    return said


def _same_parts(answer: QuotesAnswer, row: pd.Series[Any]) -> bool:
    """Whether another way of ordering has the parts that the basket has: only then do their sums compare."""
    return set(row["lacks"]) == {part for part, _ in answer.uncovered}


def _line_by_line(answer: QuotesAnswer, table: pd.DataFrame) -> list[str]:
    if BY_LINE not in table.index or not _same_parts(answer, row := table.loc[BY_LINE]):
        return []
    over, parcels = price(abs(row["over"]), answer.case.terms.currency), _many(row["parcels"], "parcel")
    if row["over"] > 0.5:
        said = "looks best and is not: with carriage, tax and charges it comes to"
        return [f"Each part at its cheapest price {said} {over} more, in {parcels}."]
    if row["over"] < -0.5:  # it asks for more parcels than are wished for
        limit = _many(answer.wishes.most_parcels or 1, "parcel")
        return [f"The limit of {limit} costs you {over} or more: so much less each part at its cheapest, in {parcels}."]
    return []


def _one_supplier(answer: QuotesAnswer, table: pd.DataFrame) -> list[str]:
    if ONE not in table.index or table.loc[CHOSEN, "parcels"] == 1:
        return []
    row = table.loc[ONE]
    if _same_parts(answer, row):
        return [f"All from one supplier ({row['suppliers']}): {price(row['over'], answer.case.terms.currency)} more."]
    return [f"No supplier has all; {row['suppliers']} has {row['covers']} of {len(answer.wanted)} parts."]


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
        f"{capital(r['part'])}: {r['offered']} from {r['supplier']} is {_held(r['verdict'])}: {r['reasons']}."
        for _, r in barred.iterrows()
    ]


def _held(verdict: str) -> str:
    return "near, not the same" if verdict == "near" else "not the part"


def stale(answer: QuotesAnswer) -> list[str]:
    """Bought lines whose quotes are out of date."""
    rows = answer.basket[answer.basket["stale"] != ""]
    return [f"{capital(r['part'])} from {r['supplier']}: {r['stale']}." for _, r in rows.iterrows()]


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


def charges(answer: QuotesAnswer) -> pd.DataFrame:
    """Every line bought, charge by charge, refunds taken off the charge they belong to; they add up to ``landed``."""
    b = answer.basket
    core = b["core"] + b["core_refund"]
    return pd.DataFrame(
        {
            "supplier": b["supplier"],
            "goods": b["goods"],
            "carriage": b["carriage"],
            "insurance and fees": b["insurance"] + b["card_fee"],
            "duty": b["duty"],
            "VAT": b["vat"] + b["vat_back"] + core.clip(upper=0.0),  # the refund brings back its VAT
            "handling": b["handling"],
            "core kept": core.clip(lower=0.0),
            "landed": b["landed"],
        }
    )


def by_supplier(answer: QuotesAnswer) -> pd.DataFrame:
    """What each supplier is paid, charge by charge."""
    table = charges(answer).drop(columns="landed").groupby("supplier", sort=False).sum().clip(lower=0.0)
    table.insert(2, "insurance, fees, handling", table.pop("insurance and fees") + table.pop("handling"))
    return table


def counts(answer: QuotesAnswer) -> str:
    """How many quotes were left out, by reason in short."""
    out = answer.lines[answer.lines["left_out"] != ""]
    many = f"{whole(len(out))} of {_many(len(answer.lines), 'quote')} {'is' if len(out) == 1 else 'are'} left out"
    return f"{many}; the list of every quote, in the notebook and the page, says why." if len(out) else ""


__all__ = ["CHOSEN", "alike", "by_supplier", "caption_days", "caption_parcels", "charges", "counts", "entering",
           "heading", "stale", "verdict"]  # fmt: skip
