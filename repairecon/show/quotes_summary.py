"""The quotes job as plain text for a terminal, as tables of words, and as panels of a notebook."""

from __future__ import annotations

import pandas as pd

from repairecon.jobs.compare_quotes import QuotesAnswer
from repairecon.show import quotes_told
from repairecon.show.panels import Panel
from repairecon.show.sentences import capital
from repairecon.show.summary import as_text, section
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


def _pieces(bought: int, wanted: int) -> str:
    return str(bought) if bought == wanted else f"{bought} for {wanted}"


def alternatives_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Other ways of ordering beside the basket."""
    a, currency = answer.alternatives, answer.case.terms.currency
    return pd.DataFrame(
        {
            "way of ordering": a["way"],
            "landed": [price(x, currency) for x in a["total"]],
            "parcels": a["parcels"].astype(str),
            "all here in": [days_words(d) for d in a["days"]],
            "from": [s if n < 3 else f"{n} suppliers" for s, n in zip(a["suppliers"], a["parcels"], strict=True)],
            "parts": [f"{n} of {len(answer.wanted)}" for n in a["covers"]],
        }
    )


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


def show_parcels(answer: QuotesAnswer) -> None:
    """The picture of what each supplier is paid, if anything can be ordered."""
    from repairecon.show import charts

    if not answer.basket.empty:
        currency, caption = answer.case.terms.currency, quotes_told.caption_parcels(answer)
        charts.show(charts.landed_by_supplier(quotes_told.by_supplier(answer), currency, caption))


def summary(answer: QuotesAnswer) -> str:
    """The answer on one screen: what to order, what it comes to, then what it rests on."""
    case = answer.case
    parts = [
        "\n".join(quotes_told.heading(answer)),
        as_text(basket_table(answer), "") if len(answer.basket) else "",
        section("Verdict", quotes_told.verdict(answer)),
        _beside(answer),
        section("The same part without the badge", quotes_told.alike(answer)),
        section("Worth a telephone call", quotes_told.entering(answer)),
        section("Out of date", quotes_told.stale(answer)),
        section("Terms", [*quotes_told.terms(answer), quotes_told.counts(answer)]),
        section("Before you start", list(case.unit.cautions)),
        section("Assumed, as the case does not say", assumed(answer)),
    ]
    return "\n\n".join(p for p in parts if p) + "\n"


def _beside(answer: QuotesAnswer) -> str:
    if answer.alternatives.empty:
        return ""
    return "Other ways of ordering\n" + as_text(alternatives_table(answer), "")


def assumed(answer: QuotesAnswer) -> list[str]:
    """The defaults that bear on an order."""
    bearing = [a for a in answer.assumed if a.name in BEARING]
    return [f"{a.name}: {a.value} {a.unit} ({a.source})" for a in bearing]


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
        Panel("Terms", [line for line in (*quotes_told.terms(answer), quotes_told.counts(answer)) if line]),
        Panel("Before you start", list(answer.case.unit.cautions)),
    )
    return tuple(p for p in listed if p.lines)
