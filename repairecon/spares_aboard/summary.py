"""The whole answer of spares-aboard as plain text for a terminal, and as tables of words for a notebook."""

from __future__ import annotations

import pandas as pd

from repairecon.show.layout import as_text, capital, section, wrapped
from repairecon.show.words import chance_words, price, quantity, whole
from repairecon.spares_aboard import told
from repairecon.spares_aboard.answer import SparesAnswer

MOST = 15


def summary(answer: SparesAnswer) -> str:
    """First value, below minimum, expiring, what to buy next; then where it lies and what it rests on."""
    figures = f"   [figures: {answer.figures}]" if answer.figures else ""
    parts = [
        capital(answer.boat) + figures + "\n" + wrapped(told.period(answer)),
        "Worth\n" + wrapped(told.value(answer)),
        section("Below the minimum", below(answer)),
        section("Expiring", expiring(answer)),
        section("What to buy next", buying(answer)),
        section("Missing, and not bought", missing(answer)),
        section("Surplus", surplus(answer)),
        section("Turn by hand", turning(answer)),
        section("Whole units by their own case", [told.case(c, answer) for c in answer.cases]),
        "" if answer.by_locker.empty else "Where the value lies\n" + as_text(place_table(answer), "locker"),
        section("Assumed, as nobody said", assumed(answer)),
        section("Beside this", cautions()),
    ]
    return "\n\n".join(p for p in parts if p) + "\n"


def below(answer: SparesAnswer) -> list[str]:
    """Items under their minimum."""
    return [told.below(line, answer.currency) for line in answer.below_minimum] or ["Nothing."]


def expiring(answer: SparesAnswer) -> list[str]:
    """Rubber that is over or runs out before the passage ends."""
    return _some([told.expiring(r) for r in answer.expiring.itertuples(index=False)]) or ["Nothing."]


def buying(answer: SparesAnswer) -> list[str]:
    """What to buy with the budget, the best first."""
    rows = answer.carry[answer.carry["buy"] > 0]
    lines = [told.buying(r, answer.currency) for r in rows.itertuples(index=False)]
    return [told.budget(answer), *_some(lines), told.WHAT_WORTH_IS] if lines else [told.budget(answer)]


def missing(answer: SparesAnswer) -> list[str]:
    """What is worth having and not bought."""
    return _some([told.missing(r, answer.currency) for r in answer.missing.itertuples(index=False)])


def surplus(answer: SparesAnswer) -> list[str]:
    """What is too many."""
    return _some([told.surplus(r, answer.currency) for r in answer.surplus.itertuples(index=False)])


def turning(answer: SparesAnswer) -> list[str]:
    """Whole units due for turning by the end of the passage."""
    return _some([told.turning(r) for r in answer.turning[answer.turning["due"]].itertuples(index=False)])


def assumed(answer: SparesAnswer) -> list[str]:
    """Every default that was used."""
    return [f"{a.name} {a.value} {a.unit} ({a.source})" for a in answer.assumed]


def cautions() -> list[str]:
    """What a list of spares does not take off the owner."""
    return [
        "Shelf life holds for loose parts kept cool, dark and dry; look at every part before you trust it.",
        "Steering, seacocks, gas, fuel and flooding: carry what local law and licensed practice ask all the same.",
    ]


def _some(lines: list[str]) -> list[str]:
    more = [f"... and {whole(len(lines) - MOST)} more (--json has all)."] if len(lines) > MOST else []
    return lines[:MOST] + more


def place_table(answer: SparesAnswer, by: str = "locker") -> pd.DataFrame:
    """Value by locker or by system."""
    frame = answer.by_locker if by == "locker" else answer.by_system
    rows = {
        name: {"at cost": price(r["fifo"], answer.currency), "average": price(r["average"], answer.currency),
               "out of date": price(r["written_down"], answer.currency) if r["written_down"] > 0 else "none"}
        for name, r in frame.iterrows()
    }  # fmt: skip
    return pd.DataFrame.from_dict(rows, orient="index")


def holdings_table(answer: SparesAnswer) -> pd.DataFrame:
    """Every item and locker."""
    h, c = answer.holdings.sort_values(["locker", "item"], kind="stable"), answer.currency
    return pd.DataFrame({
        "item": h["item"], "system": h["system"], "locker": h["locker"],
        "there": [quantity(q, m) for q, m in zip(h["quantity"], h["measure"], strict=True)],
        "at cost": [price(v, c) for v in h["fifo"]], "average": [price(v, c) for v in h["average"]],
        "last bought": h["last_bought"],
    }).set_index("item")  # fmt: skip


def carry_table(answer: SparesAnswer, most: int = 25) -> pd.DataFrame:
    """What to carry, what to buy first."""
    rows = answer.carry.head(most)
    c = answer.currency
    return pd.DataFrame({
        "item": rows["item"],
        "have": [quantity(r.have * r.at_a_time, r.measure) for r in rows.itertuples()],
        "buy": [quantity(r.buy * r.at_a_time, r.measure) if r.buy else "" for r in rows.itertuples()],
        "short now": [chance_words(p) for p in rows["p_short_now"]],
        "short then": [chance_words(p) for p in rows["p_short"]],
        "worth": [price(w, c) for w in rows["worth"]],
        "price": ["not known" if p != p else price(p, c) for p in rows["price"]],
    }).set_index("item")  # fmt: skip
