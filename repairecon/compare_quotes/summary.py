"""The quotes job as text for a terminal, as tables of words, as panels of a notebook, as data for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from repairecon.buying.basket import CENT
from repairecon.buying.parcel import ParcelTerms
from repairecon.compare_quotes import sentences
from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.tables import CHOSEN, charges
from repairecon.read.look_again import look_again
from repairecon.records import Supplier, grouped
from repairecon.show.answer_tables import plain
from repairecon.show.layout import Block, as_text, capital, fitted, shortened, terminal_width, wrapped
from repairecon.show.sheet import Panel, Sheet, text_of
from repairecon.show.words import days_words, price, rate, span, whole

if TYPE_CHECKING:
    from repairecon.show.plots import Picture

ASK = "Ask before you order"
BEARING = {
    "vat_rate": "VAT at home", "exchange_date": "day of the exchange rates",
    "customs_as_of": "day of the customs terms", "buyer": "who buys",
    "deadline_by": "the deadline counts days", "price_inflation_rate": "prices rise by",
    "old_after_days": "a quote is out of date after", "lead_days": "days until it is here",
}  # fmt: skip
"""Defaults that bear on an order, in words; those of the rebuild are left out."""
MOST_LINES, SELLER = 24, 14
"""Lines of the first screen, and least room for a seller on it."""


def basket_table(answer: QuotesAnswer) -> pd.DataFrame:
    """What to order, supplier by supplier."""
    b, currency = answer.basket, answer.case.terms.currency
    quotes = {(o.quote.item, str(o.quote.source)): o for o in answer.offers}
    pieces = []
    for _, row in b.iterrows():
        o, much = quotes[row["part"], row["source"]], str(row["quantity"])
        if row["quantity"] != row["wanted"]:  # more is bought for its pack, or for what the seller gives for more
            why = "minimum order" if o.supplier.minimum_order else "free carriage"
            why = "price by the number" if o.quote.breaks else why
            why = "pack" if (row["packs"] - 1) * row["pack"] < row["wanted"] else why
            much += f" for {row['wanted']} ({why})"
        pieces.append(much)
    quoted = [f"{n} x {price(q, c)}" for n, q, c in zip(b["packs"], b["quoted"], b["currency"], strict=True)]
    return pd.DataFrame({
        "part": b["part"], "order from": b["supplier"], "pieces": pieces, "as quoted": quoted,
        "landed": [price(x, currency) for x in b["landed"]], "read in": b["source"],
    })  # fmt: skip


def charges_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every line landed, charge by charge in home money, the sums of all lines last."""
    c, currency = charges(answer.basket), answer.case.terms.currency
    names = [name for name in c.columns if name != "supplier"]
    table = pd.DataFrame(
        {name: [price(float(x), "") if abs(x) >= CENT else "" for x in (*c[name], c[name].sum())] for name in names}
    ).rename(columns={"landed": f"landed, {currency}"})
    table.insert(0, "part", [*answer.basket["part"], "all"])
    table.insert(1, "from", [*c["supplier"].mask(c["supplier"].duplicated(), ""), ""])
    return table


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
    """Every quote, a row a part: landed alone, days, whether it is bought or why not; the cheapest first."""
    rows, currency = [], answer.case.terms.currency
    for part, quotes in answer.lines.groupby("part", sort=False):
        said = []
        for _, row in quotes.sort_values("alone").iterrows():
            alone = "not sold so" if row["alone"] != row["alone"] else price(row["alone"], currency)
            # what a table of sizes says of it stands with the designations
            why = row["left_out"].partition(": ")[0] if row["fit"] in ("near", "not") else row["left_out"]
            notes = "; ".join(filter(None, ("bought" if row["packs"] else "", why, row["stale"])))
            quoted = price(row["quoted"], row["currency"]) + (f" for {row['pack']}" if row["pack"] > 1 else "")
            more = (quoted, f"{whole(row['days'])} days", notes, f"row {row['source'].rpartition(':')[2]}")
            said.append(f"{row['supplier']} {alone} ({', '.join(filter(None, more))})")
        rows.append((f"{part} ({answer.wanted[str(part)]})", "; ".join(said)))
    return pd.DataFrame(rows, columns=["part", "each quote, landed if ordered alone"])


def equivalents_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Every designation offered, held against the one wanted; who offers it, and what it saves."""
    rows, currency = [], answer.case.terms.currency
    columns = ["part", "offered", "verdict", "reasons", "caution", "tables"]
    for _, some in answer.equivalents.groupby(columns[:3], sort=False):
        for (part, offered, said, reasons, caution, tables), same in some.groupby(columns, sort=False):
            sellers = [
                name + (f" (saves {price(saves, currency)})" if saves > CENT else "")
                for name, saves in zip(same["supplier"], same["saves"], strict=True)
            ]
            rows.append((part, offered, said, ", ".join(sellers), f"{reasons} {caution}".strip(), tables))
    return pd.DataFrame(rows, columns=["part", "offered", "verdict", "by", "why", "table row"])


def first_screen(answer: QuotesAnswer, width: int = 0) -> str:
    """What to order and the sum, what is taken from the spares, then the lines: all that the basket alone says."""
    width = width or terminal_width()
    files = [r.what for r in look_again(answer.case) if r.rule == "file" and not r.acknowledged]
    blocks = [
        Block([(0, [shortened(capital(answer.case.unit.name), width)])]),
        *(Block([(0, wrapped(said, width=width).split("\n"))]) for said in sentences.verdict(answer)),
        Block.of("", sentences.from_stock(answer), width, 5, 3),
        Block.of(f"{ASK}:", sentences.ask(answer), width, 7, 4), Block.of("Look again:", files, width, 6, 3),
        Block([(0, [""])]), _lines(answer, width), Block([(0, [""])]),
        Block.of("", sentences.heading(answer), width, 3, 1),
        Block.of("Before you start:", answer.case.unit.cautions[:1], width, 2, 1),
        Block([(0, ["More: --full (other ways of ordering, worth a call, terms, every quote)"])]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def _lines(answer: QuotesAnswer, width: int) -> Block:
    """The lines bought, one each; where the screen is low, the last ones are left out."""
    table = basket_table(answer)[["order from", "part", "pieces", "as quoted"]]
    if table.empty:
        return Block([(0, [])])
    table["order from"] = table["order from"].mask(table["order from"].duplicated(), "")
    room = width - sum(2 + max(map(len, [name, *table[name]])) for name in ("pieces", "as quoted"))
    names = min(max(map(len, table["part"])), room - SELLER - 2)
    for name, most in (("part", names), ("order from", room - names - 2)):
        table[name] = [shortened(x, most) for x in table[name]]
    head, _, *rows = as_text(table).split("\n")
    shorter = [
        (6, [head, *rows[:many], f"({whole(len(rows) - many)} more lines: --full)"])
        for many in range(len(rows) - 2, 1, -1)
    ]
    return Block([(8, [head, *rows]), *shorter])


def full(answer: QuotesAnswer) -> str:
    return text_of([verdict(answer), *main(answer, pictures=False), *rest(answer)])


def verdict(answer: QuotesAnswer) -> Panel:
    """From whom to order, what it comes to, what was asked for."""
    said = [*sentences.verdict(answer), *sentences.from_stock(answer), " ".join(sentences.heading(answer))]
    return Panel(f"Compare quotes: {answer.case.unit.name}", said, listed=False)


def main(answer: QuotesAnswer, *, pictures: bool = True) -> Iterator[Panel | Sheet | Picture]:
    """What an owner reads before ordering; without pictures for a terminal."""
    if pictures:
        from repairecon.compare_quotes import charts
    if asked := sentences.ask(answer):
        yield Panel(ASK, asked)
    if not answer.basket.empty:
        yield Sheet(basket_table(answer), f"What to order: {whole(len(answer.basket))} lines")
        if pictures:
            yield charts.parcels_picture(answer)
    if not answer.alternatives.empty:
        yield Sheet(alternatives_table(answer), "Other ways of ordering, each with all its charges")
    if pictures and len(answer.frontier):
        yield charts.days_picture(answer)
    listed = {
        "Of the other ways of ordering": [*sentences.beside(answer)],
        "The same part without the badge": sentences.alike(answer),
        "Worth a telephone call": sentences.entering(answer), "Out of date": sentences.stale(answer),
        "Terms": [*sentences.terms(answer), *sentences.counts(answer)], "Before you start": answer.case.unit.cautions,
        "Not worked out": sentences.late(answer),
    }  # fmt: skip
    yield from (Panel(title, lines) for title, lines in listed.items() if lines)


def rest(answer: QuotesAnswer) -> Iterator[Panel | Sheet]:
    """What it rests on: charges, terms, every quote, every designation, what was assumed."""
    tables = {
        "Charges line by line; VAT has a column of its own": charges_table(answer),
        "Terms of each supplier": terms_table(answer),
        "Every quote, ordered alone": lines_table(answer),
        "Every designation, held against the one wanted": equivalents_table(answer),
    }
    yield from (Sheet(table, title) for title, table in tables.items() if len(table))
    known = all(o.quote.lead_days or o.supplier.lead_days for o in answer.offers)
    said = [
        f"{BEARING[a.name]}: {a.value}{f' {a.unit}' if a.value[:1].isdigit() else ''} ({a.source})"
        for a in answer.case.assumed
        if a.name in BEARING and not (known and a.name == "lead_days")
    ]
    if said:
        yield Panel("Assumed, as the case does not say", said)


def page(answer: QuotesAnswer) -> str:
    from repairecon.show.report import about, render

    case, panel = answer.case, verdict(answer)
    where = about(f"Case {Path(case.folder).name}", answer.today, case.unit.figures)
    return render(panel.title, where, panel.lines, main(answer), rest(answer))


def terms_table(answer: QuotesAnswer) -> pd.DataFrame:
    """Each supplier's terms as they were used, in the supplier's money."""
    rows, order = [], answer.found.order
    for name, mine in grouped(range(len(answer.offers)), order.supplier_of).items():
        used, s = order.suppliers[name], answer.offers[mine[0]].supplier
        duties = sorted({order.offers[k].line.duty_rate for k in mine})
        fees = f"{rate(s.card_fee_rate)}, {rate(s.insurance_rate)}" if s.card_fee_rate or s.insurance_rate else ""
        days = sorted(answer.offers[k].days for k in mine)
        rows.append({
            "supplier": name, "money": s.currency, "VAT": _vat(used), "carriage": _carriage(used, s),
            "free above": "" if s.free_above is None else price(s.free_above, s.currency),
            "minimum order": price(s.minimum_order, s.currency) if s.minimum_order else "",
            "discount": rate(s.discount_rate) if s.discount_rate else "", "card fee, insurance": fees,
            "duty": _from_to(rate(duties[0]), rate(duties[-1])) if s.imported else "",
            "handling": price(s.cost_handling, answer.case.terms.currency) if s.cost_handling else "",
            "comes": "by hand" if s.by_hand else "by post",
            "days": _from_to(whole(days[0]), whole(days[-1])) if s.lead_days is None else span(s.lead_days),
        })  # fmt: skip
    return pd.DataFrame(rows)


def _from_to(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


def _vat(used: ParcelTerms) -> str:
    """How the supplier's prices stand to VAT, and what becomes of it."""
    if used.imported:
        off = used.vat_included and used.vat_rate > 0.0
        return f"in, {rate(used.vat_rate)} taken off on export" if off else "sold free of it"
    return f"{'in' if used.vat_included else 'to be added'}, {rate(used.vat_rate)}"


def _carriage(used: ParcelTerms, s: Supplier) -> str:
    if used.bands:
        return f"{_from_to(*(price(used.bands[k][1], s.currency) for k in (0, -1)))} by weight"
    heaviest = " (weights not known: the heaviest)" if s.bands else ""
    return f"{price(used.carriage, s.currency)}{heaviest}" if used.carriage else "none"


def as_json(answer: QuotesAnswer) -> dict[str, Any]:
    """Everything but the pictures; money in the home currency, unrounded."""
    frames = ("basket", "alternatives", "frontier", "equivalents", "ask")
    data: dict[str, Any] = plain({
        "job": "compare-quotes", "case": answer.case.folder, "currency": answer.case.terms.currency,
        "today": answer.today.isoformat(), "figures": answer.case.unit.figures, "wanted": dict(answer.wanted),
        "wishes": answer.wishes, "total": answer.total, "proven": answer.proven, "gap": answer.gap,
        "days": answer.days, **{name: getattr(answer, name) for name in frames},
        "uncovered": [{"part": part, "why": why} for part, why in answer.uncovered],
        "saved_without_badge": answer.saved_without_badge, "quotes": answer.lines, "assumed": answer.case.assumed,
        "cautions": answer.case.unit.cautions,
    })  # fmt: skip
    return data | ({"not_worked_out": list(dict.fromkeys(answer.late))} if answer.late else {})
