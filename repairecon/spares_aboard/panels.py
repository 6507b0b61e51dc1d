"""Pieces of the answer of spares-aboard for a notebook, and the frames its charts take."""

from __future__ import annotations

import pandas as pd

from repairecon.book.spares_book import SparesBook
from repairecon.show.layout import capital
from repairecon.show.sheet import Panel
from repairecon.spares_aboard import acts_told
from repairecon.spares_aboard import captions as aboard_captions
from repairecon.spares_aboard import summary as aboard_summary
from repairecon.spares_aboard import told as aboard_told
from repairecon.spares_aboard.answer import SparesAnswer

MOST_DRAWN = 18


def heading(answer: SparesAnswer) -> Panel:
    """Whose book, for how long, whose figures."""
    figures = [f"Figures: {answer.figures}."] if answer.figures else []
    return Panel(f"Spares aboard: {capital(answer.boat)}", [*figures, aboard_told.period(answer)], listed=False)


def verdict(answer: SparesAnswer) -> list[Panel]:
    """Worth, below minimum, expiring, what to buy next."""
    return [
        Panel("Worth", [aboard_told.value(answer)], listed=False),
        Panel("Below the minimum", aboard_summary.below(answer)),
        Panel("Expiring", aboard_summary.expiring(answer)),
        Panel("What to buy next", aboard_summary.buying(answer)),
    ]


def more(answer: SparesAnswer) -> list[Panel]:
    """Missing, surplus, turning, whole units by their case, what was assumed, cautions."""
    told = [
        ("Missing, and not bought", aboard_summary.missing(answer)),
        ("Surplus", aboard_summary.surplus(answer)),
        ("Turn by hand", aboard_summary.turning(answer)),
        ("Whole units by their own case", [aboard_told.case(c, answer) for c in answer.cases]),
        ("Assumed, as nobody said", aboard_summary.assumed(answer)),
        ("Beside this", aboard_summary.cautions()),
    ]
    return [Panel(title, lines) for title, lines in told if lines]


def show_pictures(answer: SparesAnswer) -> None:
    """Put the three pictures on the page: risk against money, value by locker, expiry."""
    from repairecon.spares_aboard import charts

    c = answer.currency
    charts.show(charts.risk_against_money(answer.budget_curve, c, answer.budget, aboard_captions.risk(answer)))
    if not answer.by_locker.empty:
        charts.show(charts.value_by_place(place_frame(answer), c, aboard_captions.places(answer)))
    if not answer.shelf.empty:
        charts.show(
            charts.expiry_timeline(expiry_frame(answer), answer.today, answer.until, aboard_captions.expiry(answer))
        )


def show_holdings(answer: SparesAnswer) -> None:
    """Put every item and locker on the page, and the value by locker."""
    from IPython.display import display

    with pd.option_context("display.max_rows", None, "display.width", 160, "display.max_columns", None):
        display(aboard_summary.place_table(answer), aboard_summary.holdings_table(answer))


def place_frame(answer: SparesAnswer) -> pd.DataFrame:
    """Value by locker as the chart takes it."""
    frame = answer.by_locker
    return pd.DataFrame({"value": frame["fifo"] - frame["written_down"], "written_down": frame["written_down"]})


def expiry_frame(answer: SparesAnswer, most: int = MOST_DRAWN) -> pd.DataFrame:
    """The most pressing lots of rubber as the chart takes them, an item named once a locker."""
    first = answer.shelf.drop_duplicates(["item", "locker"]).head(most)
    last = first["extended_until"].where(first["inspected"], first["good_until"])
    return pd.DataFrame(
        {"good_until": list(last), "extended_until": list(first["extended_until"])},
        index=pd.Index([f"{r.item} ({r.locker})" for r in first.itertuples(index=False)], name="item"),
    )


def acts_tried(copy: SparesBook) -> Panel:
    """One act and its undoing, on a copy: the first spare that can be fitted to a unit."""
    title = "One act: taken from stock, written into the unit's history, put on the list to buy; then taken back"
    stock = {line.item_number: line for line in copy.stock() if line.locker_kind == "aboard" and line.quantity >= 1}
    ready = [i for i in copy.items() if i.number in stock and i.units and i.measure == "piece"]
    if not ready:
        return Panel(title, ["Nothing in this book can be fitted to a unit."])
    card = max(ready, key=lambda i: (i.critical, stock[i.number].quantity <= i.minimum))
    currency = copy.about.get("home_currency", "EUR")
    done = copy.fit(card.name, card.units[0], locker=stock[card.number].locker)
    back = copy.undo(done.movements[0].number)
    lines = [line.strip() for h in (done, back) for line in acts_told.happened(h, currency).splitlines()]
    return Panel(title, lines)
