"""Spares aboard in words: sentences to act on and tables; on a first screen, as blocks of notebook and page, a page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pandas as pd

from repairecon.read.reading import AS_IT_STANDS
from repairecon.records import DAYS_A_YEAR
from repairecon.show.layout import Block, capital, fitted, shortened, terminal_width
from repairecon.show.sheet import Panel, Sheet, text_of
from repairecon.show.words import chance_words, days_words, money, number, price, quantity, tenths, whole
from repairecon.spares_aboard.act_words import each
from repairecon.spares_aboard.holdings import INSPECT, OVER, RUNS_OUT
from repairecon.spares_aboard.job import SparesAnswer

if TYPE_CHECKING:
    from repairecon.show.plots import Picture

MOST, MOST_NAMED, MOST_LINES = 15, 3, 24
"""Sentences of a kind, purchases named, lines of the first screen."""
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


OF_SHELF = {OVER: "Throw away:", INSPECT: "Inspect before you trust them:", RUNS_OUT: "Runs out on the way:"}


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


def of_shelf(answer: SparesAnswer) -> dict[str, str]:
    """What is out of date, to be inspected, or runs out, and where it lies, by what to do with it."""
    said: dict[str, list[str]] = {lead: [] for lead in OF_SHELF.values()}
    for row in answer.expiring.itertuples(index=False):
        said[OF_SHELF[row.state]].append(f"{row.item} ({quantity(row.quantity)} in {row.locker})")
    return {lead: f"{'; '.join(lots)}." for lead, lots in said.items() if lots}


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


def title(answer: SparesAnswer) -> str:
    """Whose spares."""
    return capital(answer.boat) if "spares" in answer.boat.casefold() else f"Spares aboard: {answer.boat}"


def first_screen(answer: SparesAnswer) -> str:
    """What to buy and to throw away, what is too few, then the worth: at most MOST_LINES lines."""
    width, figures = terminal_width(), f"figures: {answer.figures}" if answer.figures else ""
    head = shortened(title(answer), width - len(figures) - 2)
    blank, bought = Block([(0, [""])]), buy_table(answer).drop(columns="short then")
    shelf = [Block.of(lead, [said], width, 6, 3) for lead, said in of_shelf(answer).items()]
    # critical things by name, the others counted
    critical = [line.item.name for line in answer.below_minimum if line.item.critical]
    named = [f"critical: {'; '.join(critical)}."] if critical else []
    others = len(answer.below_minimum) - len(critical)
    counted = [f"{whole(others)} {'more, ' if critical else ''}not critical (--full)."] if others else []
    blocks = [
        Block([(0, [f"{head}{figures.rjust(width - len(head))}".rstrip()])]),
        Block.of("", [budget(answer), *guessed(answer)], width, 0, 0),
        blank, *([Block.of_table(bought, width, 4, "more")] if len(bought) else []), blank, *shelf,
        Block.of("Below the minimum:", [*named, *counted], width, 5, 2),
        Block.of("Worth:", [value(answer)], width, 4, 2),
        Block.of("", [period(answer)], width, 3, 1),
        Block([(0, ["More: --full"])]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def verdict(answer: SparesAnswer) -> Panel:
    """What to buy, what to throw away or inspect, for which passage."""
    shelf = [f"{lead} {lots}" for lead, lots in of_shelf(answer).items()]
    said = [budget(answer), *guessed(answer), *shelf, period(answer)]
    return Panel(title(answer), said, listed=False)


def full(answer: SparesAnswer) -> str:
    """All of the answer as text for a terminal."""
    return text_of([verdict(answer), *main(answer, pictures=False), *rest(answer)])


def main(answer: SparesAnswer, *, pictures: bool = True) -> Iterator[Panel | Sheet | Picture]:
    """What an owner reads before buying; without pictures for a terminal."""
    yield Sheet(buy_table(answer), "What to buy")
    if pictures:
        from repairecon.spares_aboard import charts

        yield charts.risk_picture(answer)
    yield Panel("Throw away, inspect, replace", expiring(answer))
    if pictures and not answer.shelf.empty:
        yield charts.expiry_picture(answer)
    yield Sheet(below_table(answer), "Below the minimum")
    yield Panel("Worth", [value(answer)], listed=False)
    if pictures and not answer.by_locker.empty:
        yield charts.places_picture(answer)
    panels = {
        "Worth having, and not bought": missing(answer),
        "More than this passage pays for": surplus(answer),
        "Turn by hand": turning(answer),
        "Whole units by their own case": cases(answer),
        "Beside this": CAUTIONS,
    }
    yield from (Panel(name, lines) for name, lines in panels.items() if lines)


def rest(answer: SparesAnswer) -> Iterator[Panel | Sheet]:
    """What it rests on: why each is bought, every item of the list, what lies where, what was assumed."""
    rows, places, c = answer.carry, answer.by_locker, answer.currency
    lying = answer.holdings.sort_values(["locker", "item"], kind="stable")
    yield Sheet(buy_table(answer, because=True), f"Why each is bought. {WHAT_WORTH_IS}")
    yield Sheet(pd.DataFrame({
        "item": rows["item"],
        "have": [quantity(r.have * r.at_a_time, r.measure) for r in rows.itertuples()],
        "buy": [quantity(r.buy * r.at_a_time, r.measure) if r.buy else "" for r in rows.itertuples()],
        "short now": [chance_words(p) for p in rows["p_short_now"]],
        "short then": [chance_words(p) for p in rows["p_short"]],
        "worth": [price(w, c) for w in rows["worth"]],
        "price": ["not known" if p != p else price(p, c) for p in rows["price"]],
    }), "What to carry")  # fmt: skip
    yield Sheet(pd.DataFrame({
        "locker": places.index, "at cost": [price(v, c) for v in places["fifo"]],
        "average": [price(v, c) for v in places["average"]],
        "out of date": [price(v, c) if v > 0 else "none" for v in places["written_down"]],
    }), "Where the value lies")  # fmt: skip
    yield Sheet(pd.DataFrame({
        "item": lying["item"], "system": lying["system"], "locker": lying["locker"],
        "there": [quantity(q, m) for q, m in zip(lying["quantity"], lying["measure"], strict=True)],
        "at cost": [price(v, c) for v in lying["fifo"]], "average": [price(v, c) for v in lying["average"]],
        "last bought": lying["last_bought"],
    }), "What lies where")  # fmt: skip
    said = [f"{a.name.replace('_', ' ')}: {a.value} {a.unit} ({a.source})" for a in answer.assumed]
    if said:
        yield Panel(f"Assumed, as nobody said ({number(len(said))})", said)


def page(answer: SparesAnswer) -> str:
    """The whole answer as one offline page."""
    from repairecon.show.report import about, render

    panel, where = verdict(answer), about(f"Book {answer.boat}", answer.today, answer.figures)
    return render(panel.title, where, panel.lines, main(answer), rest(answer))
