"""Spares aboard in words: sentences to act on, tables, captions."""

from __future__ import annotations

from typing import Any

import pandas as pd

from repairecon.read.reading import AS_IT_STANDS
from repairecon.records import DAYS_A_YEAR
from repairecon.show.words import chance_words, days_words, money, number, price, quantity, tenths, whole
from repairecon.spares_aboard.act_words import each
from repairecon.spares_aboard.holdings import INSPECT, OVER, RUNS_OUT
from repairecon.spares_aboard.job import SparesAnswer

MOST, MOST_NAMED = 15, 3
"""Sentences of a kind, purchases named."""
_PAID = ("", "paid", "yours")
"""Prices that need no word on where they are from."""
WHAT_WORTH_IS = (
    "Worth: what being without would cost on average, less what the spare loses by lying unused. Its price is not "
    "lost: what is not used is still there after the passage."
)
CAUTIONS = [
    "Shelf life holds for loose parts kept cool, dark and dry; look at every part before you trust it.",
    "Steering, seacocks, gas, fuel and flooding: carry what local law and licensed practice ask all the same.",
]


def period(answer: SparesAnswer) -> str:
    """For which passage."""
    hours = f", {number(answer.running_hours)} running hours" if answer.running_hours is not None else ""
    return (
        f"As of {answer.today}; passage of {days_words(answer.passage_days)}, until {answer.until}; parts can be had "
        f"{days_words(answer.period_days - answer.passage_days)} after it{hours}."
    )


def value(answer: SparesAnswer) -> str:
    """What all of it is worth."""
    w, c = answer.worth, answer.currency
    many = len(answer.holdings["number"].unique())
    text = (
        f"{_items(many)} {'is' if many == 1 else 'are'} worth {money(w.fifo, c)} at cost, first in first out "
        f"({money(w.average, c)} by moving average); to buy them again at the last prices would take "
        f"{money(w.replacement, c)}."
    )
    if w.written_down > 0:
        text += f" Of that {price(w.written_down, c)} is past any use and counts as nothing."
    if w.unknown > 0:
        unknown = answer.receipts.loc[~answer.receipts["cost_known"].astype(bool), "item"].nunique()
        text += f" What {_items(unknown)} cost is not known, at least in part: that counts as nothing."
    return text


def _items(many: int) -> str:
    return "1 item" if many == 1 else f"{whole(many)} items"


def _some(lines: list[str]) -> list[str]:
    further = [f"... and {whole(len(lines) - MOST)} more (--json has all)."] if len(lines) > MOST else []
    return lines[:MOST] + further


_COUNTED = {
    "cure date": "cured {}", "day bought": "no cure date, counted from the day bought: may be older",
    "day found": "no cure date, counted from the day found: may be much older",
}  # fmt: skip


def expiring(answer: SparesAnswer) -> list[str]:
    """Rubber that is over or runs out before the passage ends."""
    lines = []
    for row in answer.expiring.itertuples(index=False):
        good, extended = f"{row.good_until:%Y-%m-%d}", f"{row.extended_until:%Y-%m-%d}"
        said = {
            OVER: f"out of date since {extended}: throw away",
            INSPECT: f"inspect: due since {good}; if sound, good until {extended}",
            RUNS_OUT: f"runs out during the passage, on {extended if row.inspected else good}",
        }[row.state]
        since = _COUNTED[row.counted_from].format(row.cure_date)
        lines.append(f"{row.item}: {quantity(row.quantity)} in {row.locker}: {said} ({since}).")
    return _some(lines) or ["Nothing."]


def turning(answer: SparesAnswer) -> list[str]:
    """Whole units to turn by hand before the passage ends."""
    lines = []
    for row in answer.turning[answer.turning["due"]].itertuples(index=False):
        noted = row.turned_from == "noted"
        last = f"last turned {row.last_turned}" if noted else f"no turning noted since it came, {row.last_turned}"
        lines.append(f"{row.item}, in {row.locker}: turn by hand by {row.turn_by:%Y-%m-%d} ({last}).")
    return _some(lines)


def lots(answer: SparesAnswer, state: str) -> list[str]:
    """Lots in one state of their shelf life, and where they lie."""
    rows = answer.expiring[answer.expiring["state"] == state]
    return [f"{r.item} ({quantity(r.quantity)} in {r.locker})" for r in rows.itertuples(index=False)]


def budget(answer: SparesAnswer) -> str:
    """What to spend, and what being without then costs."""
    c, r = answer.currency, answer.risk
    if not answer.spend:
        return f"Buy nothing: no spare is worth its price now. Being without costs {money(r.cost_now, c)} on average."
    with_what = f"of {money(answer.budget, c)}" if answer.budget is not None else "(no budget given: all that pays)"
    names = list(buy_table(answer)["buy"])
    if len(names) > MOST_NAMED:
        names = [names[0], f"{names[1]} and {whole(len(names) - 2)} more"]
    rest = "No other list within your limits is worth more."
    if answer.most_lost > 0.005:
        rest = f"Another choice could be worth {price(answer.most_lost, c)} more at most."
    return (
        f"Spend {money(answer.spend, c)} {with_what}: {'; '.join(names)}. Being without then costs "
        f"{money(r.cost_then, c)} on average instead of {money(r.cost_now, c)}; something critical short "
        f"{chance_words(r.p_critical_then)} instead of {chance_words(r.p_critical_now)}. {rest}"
    )


def guessed(answer: SparesAnswer) -> list[str]:
    """What to say first, where the owner said of nothing what being without it costs."""
    rows, c = answer.carry, answer.currency
    if rows.empty or set(rows["cost_from"]) != {"assumed"}:
        return []
    costs = " or ".join(money(x, c) for x in sorted(set(rows["cost_without"])))
    if any(a.name.startswith("cost_without") and AS_IT_STANDS in a.unit for a in answer.assumed):
        costs += f" ({AS_IT_STANDS})"
    return [
        f"That rests on a guess of what being without costs: {costs} each time. Mark what is critical (card ITEM "
        "--critical yes) and give your own figures in passage.toml (cost_without)."
    ]


def buy_table(answer: SparesAnswer, *, because: bool = False) -> pd.DataFrame:
    """What to buy, dearest lack first; ``because`` adds ends and grounds."""
    rows, c = answer.carry[answer.carry["buy"] > 0], answer.currency
    table = pd.DataFrame({
        "buy": [f"{quantity(r.buy * r.at_a_time, r.measure)} {r.item}" for r in rows.itertuples()],
        "for": [price(x, c) for x in rows["cost_buy"]],
        "have": [quantity(r.have * r.at_a_time, r.measure) for r in rows.itertuples()],
        "short now": [chance_words(p) for p in rows["p_short_now"]],
        "short then": [chance_words(p) for p in rows["p_short"]],
        "worth": [price(w, c) for w in rows["worth_bought"]],
    })  # fmt: skip
    if not because:
        return table
    ends = zip(rows["worth_bought_low"], rows["worth_bought_high"], strict=True)
    table["low to high"] = [f"{price(low, c)} to {price(high, c)}" for low, high in ends]
    table["because"] = [
        why(r, c) + (f" Priced by {r.price_from}." if r.price_from not in _PAID else "")
        for r in rows.itertuples(index=False)
    ]
    return table[["buy", "worth", "low to high", "because"]]


def below_table(answer: SparesAnswer) -> pd.DataFrame:
    """What is below its minimum, critical things first, and where it was bought last."""
    rows = []
    for line in answer.below_minimum:
        m, last = line.item.measure, line.last
        away = [f"{quantity(n, m)} {where}" for n, where in ((line.ashore, "ashore"), (line.lent, "lent out")) if n]
        rows.append({
            "item": line.item.name + (" (critical)" if line.item.critical else ""),
            "aboard": ", ".join([quantity(line.aboard, m), *away]), "wanted": quantity(line.item.minimum, m),
            "buy": quantity(line.short, m), "last from": last.person if last else "never bought",
            "each": each(last, answer.currency) if last else "", "on": last.on_date if last else "",
        })  # fmt: skip
    return pd.DataFrame(rows)


def why(row: Any, currency: str) -> str:
    """Where the demand and the cost of being without are from; ``row`` is one of the frame ``carry``."""
    asked = {
        "record": f"{number(row.seen)} {'job' if row.seen == 1 else 'jobs'} in {number(row.years)} years",
        "guess": "Your guess of how often",
        "case": f"Failures as the case {row.case} has them",
    }[row.wanted_from]
    dear = {
        "assumed": "assumed, as nobody said", "item": "your figure", "system": f"your figure for {row.system}",
        "critical": "your figure for what is critical", "other": "your figure for the rest",
        "case": f"what the spare saves at each failure in the case {row.case}",
    }[row.cost_from]  # fmt: skip
    tools = f" No use at sea without {', '.join(row.tools_missing)}." if row.tools_missing else ""
    job = f" A job takes {row.pieces_a_job}." if row.pieces_a_job > 1 else ""
    job += f" Fitted together with {', '.join(row.together)}: a job needs them all." if row.together else ""
    served = f", in {row.units} units" if row.units > 1 else ""
    ages = [days_words(DAYS_A_YEAR * x) if x < 1.0 else f"{number(x)} years" for x in row.ages]
    if ages:
        served += f", renewed {' to '.join(dict.fromkeys((ages[0], ages[-1])))} ago"
    return f"{asked}{served}; being without costs {money(row.cost_without, currency)} each time ({dear}).{job}{tools}"


def missing(answer: SparesAnswer) -> list[str]:
    """What is worth having and is not bought."""
    c, lines = answer.currency, []
    for row in answer.missing.itertuples(index=False):
        priced = f", by {row.price_from}" if row.price_from not in _PAID else ""
        each = "no price known: ask for one" if row.why else f"{price(row.price, c)} each{priced}"
        lines.append(f"{row.item}: {quantity(row.units)} more would be worth {price(row.worth, c)} ({each}).")
    return _some(lines)


def surplus(answer: SparesAnswer) -> list[str]:
    """What this passage does not pay for."""
    lines = []
    for row in answer.surplus.itertuples(index=False):
        new = f", {price(row.cost_new, answer.currency)} new" if row.cost_new == row.cost_new else ""
        lines.append(f"{row.item}: {quantity(row.units)} more than this passage pays for{new}.")
    return _some(lines)


def cases(answer: SparesAnswer) -> list[str]:
    """What the cases of whole units say of a spare."""
    c, lines = answer.currency, []
    for x in answer.cases:
        a_year = x.failures_a_year
        often = f"about once in {whole(1.0 / a_year)} years" if 0.0 < a_year < 1.0 else f"{tenths(a_year)} times a year"
        lines.append(
            f"{x.item}: the case {x.case} puts a spare's worth at {money(x.worth, c)} over {number(x.horizon_years)} "
            f"years ({x.combination}, before what the spare costs); that is {money(x.saved_each, c)} at each failure, "
            f"expected {often}."
        )
    return lines
