"""The quotes job as plain text for a terminal, as tables of words, and as panels of a notebook."""

from __future__ import annotations

from typing import Any

import pandas as pd

from repairecon.buying.basket import CENT
from repairecon.compare_quotes import told as quotes_told
from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.terms import terms, terms_table
from repairecon.show.layout import as_text, capital, section
from repairecon.show.sheet import Panel, Sheet
from repairecon.show.words import days_words, price, whole

BEARING = ("vat_rate", "exchange_date", "customs_as_of", "buyer", "deadline_by", "price_inflation_rate",
           "old_after_days", "lead_days")  # fmt: skip
"""Defaults that bear on an order; those of the rebuild are left out."""


def basket_table(answer: QuotesAnswer) -> pd.DataFrame:
    """What to order, supplier by supplier."""
    b, currency = answer.basket, answer.case.terms.currency
    return pd.DataFrame(
        {
            "order from": b["supplier"],
            "part": b["part"],
            "pieces": [_pieces(q, w) for q, w in zip(b["quantity"], b["wanted"], strict=True)],
            "as quoted": [
                f"{n} x {price(q, c)}" for n, q, c in zip(b["packs"], b["quoted"], b["currency"], strict=True)
            ],
            "landed": [price(x, currency) for x in b["landed"]],
            "kind": b["part_class"],
            "read in": b["source"],
        }
    )


def _on_the_page(table: pd.DataFrame) -> pd.DataFrame:
    """What a terminal has room for: kinds left out, the row of the file in short."""
    rows = [f"row {source.rpartition(':')[2]}" for source in table["read in"]]
    return table.drop(columns=["kind", "read in"]).assign(**{"quotes.csv": rows})


def charges_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every line landed, charge by charge in home money, the sums of all lines last."""
    c, currency = quotes_told.charges(answer), answer.case.terms.currency
    names = [name for name in c.columns if name != "supplier"]
    table = pd.DataFrame(
        {name: [price(float(x), "") if abs(x) >= CENT else "" for x in (*c[name], c[name].sum())] for name in names}
    ).rename(columns={"landed": f"landed, {currency}"})
    table.insert(0, "order from", [*c["supplier"], "all"])
    table.insert(1, "part", [*answer.basket["part"], ""])
    return table.assign(**{"read in": [*answer.basket["source"], ""]})


def _pieces(bought: int, wanted: int) -> str:
    return str(bought) if bought == wanted else f"{bought} for {wanted}"


def alternatives_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Other ways of ordering beside the basket."""
    a, currency = answer.alternatives, answer.case.terms.currency
    return pd.DataFrame(
        {
            "way of ordering": a["way"],
            "landed": [price(x, currency) for x in a["total"]],
            "against it": [_against(answer, row) for _, row in a.iterrows()],
            "parcels": a["parcels"].astype(str),
            "all here in": [days_words(d) for d in a["days"]],
            "from": [s if n < 3 else f"{n} suppliers" for s, n in zip(a["suppliers"], a["parcels"], strict=True)],
            "parts": [f"{n} of {len(answer.wanted)}" for n in a["covers"]],
        }
    )


def _against(answer: QuotesAnswer, row: pd.Series[Any]) -> str:
    """What a way of ordering costs more than the basket; sums of unlike parts do not compare."""
    if row["way"] == quotes_told.CHOSEN:
        return ""
    if set(row["lacks"]) != {part for part, _ in answer.uncovered}:
        return "other parts"
    over = price(abs(row["over"]), answer.case.terms.currency)
    return "the same" if abs(row["over"]) < CENT else f"{over} {'more' if row['over'] > 0 else 'less'}"


def lines_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every quote: landed alone, days, fit, why it is left out."""
    t, currency = answer.lines, answer.case.terms.currency
    return pd.DataFrame(
        {
            "part": t["part"],
            "supplier": t["supplier"],
            "as quoted": [price(q, c) for q, c in zip(t["quoted"], t["currency"], strict=True)],
            "pack": t["pack"].astype(str),
            "alone, landed": ["not sold so" if x != x else price(x, currency) for x in t["alone"]],
            "days": [whole(d) for d in t["days"]],
            "designation": t["designation"],
            "fit": t["fit"],
            "bought": ["yes" if n else "" for n in t["packs"]],
            "left out, or out of date": [a or b for a, b in zip(t["left_out"], t["stale"], strict=True)],
            "read in": t["source"],
        }
    )


def equivalents_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every designation offered, held against the one wanted."""
    e, currency = answer.equivalents, answer.case.terms.currency
    return pd.DataFrame(
        {
            "part": e["part"],
            "offered": e["offered"],
            "supplier": e["supplier"],
            "verdict": e["verdict"],
            "why": [f"{why} {care}".strip() for why, care in zip(e["reasons"], e["caution"], strict=True)],
            "saves": ["" if x != x else price(x, currency) for x in e["saves"]],
            "table row": e["tables"],
        }
    )


def whole_tables(answer: QuotesAnswer) -> tuple[Sheet, ...]:
    """Charges, terms, every quote and every designation."""
    return tuple(Sheet(table(answer)) for table in (charges_table, terms_table, lines_table, equivalents_table))


def show_parcels(answer: QuotesAnswer) -> None:
    """The picture of what each supplier is paid, if anything can be ordered."""
    from repairecon.compare_quotes import charts

    if not answer.basket.empty:
        currency, caption = answer.case.terms.currency, quotes_told.caption_parcels(answer)
        charts.show(charts.landed_by_supplier(quotes_told.by_supplier(answer), currency, caption))


def summary(answer: QuotesAnswer) -> str:
    """The answer on one screen: what to order, what it comes to, then what it rests on."""
    case = answer.case
    parts = [
        "\n".join(quotes_told.heading(answer)),
        as_text(_on_the_page(basket_table(answer)), "", fold=True) if len(answer.basket) else "",
        section("Verdict", quotes_told.verdict(answer)),
        _beside(answer),
        section("The same part without the badge", quotes_told.alike(answer)),
        section("Worth a telephone call", quotes_told.entering(answer)),
        section("Out of date", quotes_told.stale(answer)),
        section("Terms", [*terms(answer), *_counts(answer)]),
        section("Before you start", list(case.unit.cautions)),
        section("Assumed, as the case does not say", assumed(answer)),
    ]
    return "\n\n".join(p for p in parts if p) + "\n"


def _beside(answer: QuotesAnswer) -> str:
    if answer.alternatives.empty:
        return ""
    return "Other ways of ordering\n" + as_text(alternatives_table(answer), "", fold=True)


def assumed(answer: QuotesAnswer) -> list[str]:
    """The defaults that bear on an order."""
    told = all(o.quote.lead_days or o.supplier.lead_days for o in answer.offers)
    bearing = [a for a in answer.assumed if a.name in BEARING and not (told and a.name == "lead_days")]
    return [f"{a.name}: {a.value}{f' {a.unit}' if a.value[:1].isdigit() else ''} ({a.source})" for a in bearing]


def _counts(answer: QuotesAnswer) -> list[str]:
    return [line for line in [quotes_told.counts(answer)] if line]


def heading(answer: QuotesAnswer) -> Panel:
    """What is ordered, on which day."""
    return Panel(capital(answer.case.unit.name), quotes_told.heading(answer), listed=False)


def verdict(answer: QuotesAnswer) -> Panel:
    """From whom to order, what it comes to."""
    return Panel("Verdict", quotes_told.verdict(answer))


def panels(answer: QuotesAnswer) -> tuple[Panel, ...]:
    """The sentences that follow the verdict."""
    listed = (
        Panel("The same part without the badge", quotes_told.alike(answer)),
        Panel("Worth a telephone call", quotes_told.entering(answer)),
        Panel("Out of date", quotes_told.stale(answer)),
        Panel("Terms", [*terms(answer), *_counts(answer)]),
        Panel("Before you start", list(answer.case.unit.cautions)),
    )
    return tuple(p for p in listed if p.lines)


__all__ = [
    "Sheet",
    "alternatives_table",
    "assumed",
    "basket_table",
    "charges_table",
    "equivalents_table",
    "heading",
    "lines_table",
    "panels",
    "show_parcels",
    "summary",
    "terms_table",
    "verdict",
    "whole_tables",
]  # fmt: skip
