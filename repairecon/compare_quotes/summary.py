"""The quotes job as text for a terminal, as tables of words, as panels of a notebook, as data for other programs."""

from __future__ import annotations

from typing import Any

import pandas as pd

from repairecon.buying.basket import CENT
from repairecon.buying.offers import Offered
from repairecon.buying.parcel import ParcelTerms
from repairecon.compare_quotes import sentences
from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.tables import CHOSEN, by_supplier, charges
from repairecon.read.look_again import look_again
from repairecon.show.layout import as_text, capital, section
from repairecon.show.sheet import Panel, Sheet
from repairecon.show.words import days_words, price, rate, span, whole

ASK = "Ask before you order"
BEARING = ("vat_rate", "exchange_date", "customs_as_of", "buyer", "deadline_by", "price_inflation_rate",
           "old_after_days", "lead_days")  # fmt: skip
"""Defaults that bear on an order; those of the rebuild are left out."""


def basket_table(answer: QuotesAnswer) -> pd.DataFrame:
    """What to order, supplier by supplier."""
    b, currency = answer.basket, answer.case.terms.currency
    pieces = [str(n) if n == w else f"{n} for {w}" for n, w in zip(b["quantity"], b["wanted"], strict=True)]
    quoted = [f"{n} x {price(q, c)}" for n, q, c in zip(b["packs"], b["quoted"], b["currency"], strict=True)]
    return pd.DataFrame({
        "order from": b["supplier"], "part": b["part"], "pieces": pieces, "as quoted": quoted,
        "landed": [price(x, currency) for x in b["landed"]], "kind": b["part_class"], "read in": b["source"],
    })  # fmt: skip


def charges_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every line landed, charge by charge in home money, the sums of all lines last."""
    c, currency = charges(answer.basket), answer.case.terms.currency
    names = [name for name in c.columns if name != "supplier"]
    table = pd.DataFrame(
        {name: [price(float(x), "") if abs(x) >= CENT else "" for x in (*c[name], c[name].sum())] for name in names}
    ).rename(columns={"landed": f"landed, {currency}"})
    table.insert(0, "order from", [*c["supplier"], "all"])
    table.insert(1, "part", [*answer.basket["part"], ""])
    return table.assign(**{"read in": [*answer.basket["source"], ""]})


def alternatives_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Other ways of ordering beside the basket."""
    a, currency = answer.alternatives, answer.case.terms.currency
    sellers = [s if n < 3 else f"{n} suppliers" for s, n in zip(a["suppliers"], a["parcels"], strict=True)]
    return pd.DataFrame({
        "way of ordering": a["way"], "landed": [price(x, currency) for x in a["total"]],
        "against it": [_against(answer, row) for _, row in a.iterrows()], "parcels": a["parcels"].astype(str),
        "all here in": [days_words(d) for d in a["days"]], "from": sellers,
        "parts": [f"{n} of {len(answer.wanted)}" for n in a["covers"]],
    })  # fmt: skip


def _against(answer: QuotesAnswer, row: pd.Series[Any]) -> str:
    """What a way of ordering costs more than the basket; sums of unlike parts do not compare."""
    if row["way"] == CHOSEN:
        return ""
    if not sentences.same_parts(answer, row):
        return "other parts"
    over = price(abs(row["over"]), answer.case.terms.currency)
    return "the same" if abs(row["over"]) < CENT else f"{over} {'more' if row['over'] > 0 else 'less'}"


def lines_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every quote: landed alone, days, fit, why it is left out."""
    t, currency = answer.lines, answer.case.terms.currency
    return pd.DataFrame({
        "part": t["part"], "supplier": t["supplier"],
        "as quoted": [price(q, c) for q, c in zip(t["quoted"], t["currency"], strict=True)],
        "pack": t["pack"].astype(str),
        "alone, landed": ["not sold so" if x != x else price(x, currency) for x in t["alone"]],
        "days": [whole(d) for d in t["days"]], "designation": t["designation"], "fit": t["fit"],
        "bought": ["yes" if n else "" for n in t["packs"]],
        "left out, or out of date": [a or b for a, b in zip(t["left_out"], t["stale"], strict=True)],
        "read in": t["source"],
    })  # fmt: skip


def equivalents_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every designation offered, held against the one wanted."""
    e, currency = answer.equivalents, answer.case.terms.currency
    return pd.DataFrame({
        "part": e["part"], "offered": e["offered"], "supplier": e["supplier"], "verdict": e["verdict"],
        "why": [f"{why} {care}".strip() for why, care in zip(e["reasons"], e["caution"], strict=True)],
        "saves": ["" if x != x else price(x, currency) for x in e["saves"]], "table row": e["tables"],
    })  # fmt: skip


def whole_tables(answer: QuotesAnswer) -> tuple[Sheet, ...]:
    """Charges, terms, every quote and every designation."""
    return tuple(Sheet(table(answer)) for table in (charges_table, terms_table, lines_table, equivalents_table))


def show_parcels(answer: QuotesAnswer) -> None:
    """The picture of what each supplier is paid, if anything can be ordered."""
    from repairecon.compare_quotes import charts

    if not answer.basket.empty:
        currency, caption = answer.case.terms.currency, sentences.caption_parcels(answer)
        charts.show(charts.landed_by_supplier(by_supplier(answer.basket), currency, caption))


def first_screen(answer: QuotesAnswer) -> str:
    """What to order and the sum, then the lines: all that the basket alone says."""
    table = basket_table(answer)
    # a terminal has no room for kinds; the row of the file in short
    rows = [f"row {source.rpartition(':')[2]}" for source in table["read in"]]
    narrow = table.drop(columns=["kind", "read in"]).assign(**{"quotes.csv": rows})
    parts = [
        "\n".join(sentences.heading(answer)),
        section("Verdict", sentences.verdict(answer)),
        section(ASK, sentences.ask(answer)),
        section("Look again", [r.what for r in look_again(answer.case) if r.rule == "file" and not r.acknowledged]),
        as_text(narrow, "", fold=True) if len(table) else "",
    ]
    return "\n\n".join(p for p in parts if p) + "\n"


def further(answer: QuotesAnswer) -> str:
    """What lies around the basket and what it rests on."""
    parts = [
        section("Other ways of ordering", sentences.beside(answer)),
        "" if answer.alternatives.empty else as_text(alternatives_table(answer), "", fold=True),
        *(section(p.title, p.lines) for p in panels(answer) if p.title != ASK),
        section("Assumed, as the case does not say", assumed(answer)),
    ]
    return "\n\n".join(p for p in parts if p) + "\n"


def summary(answer: QuotesAnswer) -> str:
    """The whole answer as text for a terminal."""
    return f"{first_screen(answer)}\n{further(answer)}"


def assumed(answer: QuotesAnswer) -> list[str]:
    """The defaults that bear on an order."""
    known = all(o.quote.lead_days or o.supplier.lead_days for o in answer.offers)
    bearing = [a for a in answer.assumed if a.name in BEARING and not (known and a.name == "lead_days")]
    return [f"{a.name}: {a.value}{f' {a.unit}' if a.value[:1].isdigit() else ''} ({a.source})" for a in bearing]


def heading(answer: QuotesAnswer) -> Panel:
    """What is ordered, on which day."""
    return Panel(capital(answer.case.unit.name), sentences.heading(answer), listed=False)


def verdict(answer: QuotesAnswer) -> Panel:
    """From whom to order, what it comes to."""
    return Panel("Verdict", sentences.verdict(answer))


def other_ways(answer: QuotesAnswer) -> tuple[Panel | Sheet, ...]:
    """Other ways of ordering: in sentences, then in a table."""
    said = sentences.beside(answer)
    return (*([Panel("Other ways of ordering", said)] if said else []), Sheet(alternatives_table(answer)))


def panels(answer: QuotesAnswer) -> tuple[Panel, ...]:
    """The sentences that follow the verdict and the other ways of ordering."""
    listed = {
        ASK: sentences.ask(answer),
        "The same part without the badge": sentences.alike(answer),
        "Worth a telephone call": sentences.entering(answer),
        "Out of date": sentences.stale(answer),
        "Terms": [*sentences.terms(answer), *sentences.counts(answer)],
        "Before you start": list(answer.case.unit.cautions),
    }
    return tuple(Panel(title, lines) for title, lines in listed.items() if lines)


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
            "card fee, insurance": f"{rate(s.card_fee_rate)}, {rate(s.insurance_rate)}"
            if s.card_fee_rate or s.insurance_rate else "",
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


def _days(mine: list[Offered]) -> str:
    """The supplier's own days, or those of the quotes."""
    lead, days = mine[0].supplier.lead_days, sorted(o.days for o in mine)
    return span(lead) if lead is not None else " to ".join(dict.fromkeys((whole(days[0]), whole(days[-1]))))


def as_json(answer: QuotesAnswer) -> dict[str, Any]:
    """Everything but the pictures; money in the home currency, unrounded."""
    frames = ("basket", "alternatives", "frontier", "equivalents", "ask")
    return {
        "job": "compare-quotes", "case": answer.case.folder, "currency": answer.case.terms.currency,
        "today": answer.today.isoformat(), "figures": answer.case.unit.figures, "wanted": dict(answer.wanted),
        "wishes": vars(answer.wishes), "total": answer.total, "proven": answer.proven,
        "gap": None if answer.gap == float("inf") else answer.gap, "days": answer.days,
        **{name: _rows(getattr(answer, name)) for name in frames},
        "uncovered": [{"part": part, "why": why} for part, why in answer.uncovered],
        "saved_without_badge": answer.saved_without_badge, "quotes": _rows(answer.lines),
        "assumed": [vars(a) for a in answer.assumed], "cautions": list(answer.case.unit.cautions),
    }  # fmt: skip


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain values; what is not a number becomes null."""
    return [{str(k): None if v is None or v != v else v for k, v in row.items()} for row in frame.to_dict("records")]
