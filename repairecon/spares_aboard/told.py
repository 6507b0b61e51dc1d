"""The answer of spares-aboard in sentences an owner can act on."""

from __future__ import annotations

from typing import Any

from repairecon.records import ReorderLine
from repairecon.show.words import chance_words, days_words, money, number, price, quantity
from repairecon.spares_aboard.answer import CaseWorth, SparesAnswer
from repairecon.spares_aboard.dates import FIT, INSPECT, OVER, RUNS_OUT

WHAT_WORTH_IS = (
    "Worth: what being without would cost on average, less what the spare loses by lying unused. Its price is not "
    "lost: what is not used is still there after the passage."
)


def value(answer: SparesAnswer) -> str:
    """What all is worth."""
    w, c = answer.worth, answer.currency
    lines = len(answer.holdings["number"].unique())
    text = (
        f"{lines} items are worth {money(w.fifo, c)} at cost, first in first out ({money(w.average, c)} by moving "
        f"average); to buy them again at the last prices would take {money(w.replacement, c)}."
    )
    if w.written_down > 0:
        text += f" Of that {price(w.written_down, c)} is past any use and counts as nothing."
    if w.unknown > 0:
        text += f" {number(w.unknown)} came aboard at no known cost and count as nothing."
    return text


def below(line: ReorderLine, currency: str) -> str:
    """One item under its minimum: whom to ask, and the last price."""
    m = line.item.measure
    short = f"{line.item.name}: {quantity(line.aboard, m)} aboard, {quantity(line.item.minimum, m)} wanted"
    short += "; CRITICAL" if line.item.critical else ""
    ashore = f"; {quantity(line.ashore, m)} ashore" if line.ashore else ""
    lent = f"; {quantity(line.lent, m)} lent out" if line.lent else ""
    return f"{short}{ashore}{lent}; {_last(line, currency)}."


def _last(line: ReorderLine, currency: str) -> str:
    last, many = line.last, quantity(line.short, line.item.measure)
    if last is None:
        return f"buy {many}, never bought by this book"
    who = f" from {last.person}" if last.person else ""
    paid = f" at {price(float(last.cost_unit), currency)} each" if last.cost_unit is not None else ""
    return f"buy {many}, last{who}{paid} on {last.on_date}"


def expiring(row: Any) -> str:
    """One lot of rubber that is over or runs out."""
    what = f"{row.item}: {quantity(row.quantity)} in {row.locker}"
    last = row.extended_until if row.inspected else row.good_until
    since = {
        "cure date": f"cured {row.cure_date}",
        "day bought": "no cure date, counted from the day bought: may be older",
        "day found": "no cure date, counted from the day found: may be much older",
    }[row.counted_from]
    said = {
        OVER: f"out of date since {row.extended_until:%Y-%m-%d}: throw away",
        INSPECT: f"inspect: due since {row.good_until:%Y-%m-%d}; if sound, good until {row.extended_until:%Y-%m-%d}",
        RUNS_OUT: f"runs out during the passage, on {last:%Y-%m-%d}",
        FIT: f"good until {row.good_until:%Y-%m-%d}",
    }[row.state]
    return f"{what}: {said} ({since})."


def turning(row: Any) -> str:
    """One whole unit and its day of turning."""
    noted = row.turned_from == "told"
    told = f"last turned {row.last_turned}" if noted else f"no turning noted since it came, {row.last_turned}"
    return f"{row.item}, in {row.locker}: turn by hand by {row.turn_by:%Y-%m-%d} ({told})."


def buying(row: Any, currency: str) -> str:
    """One item to buy, and why."""
    spend = f"for {price(row.cost_buy, currency)}"
    many = quantity(row.buy * row.at_a_time, row.measure)
    return (
        f"Buy {many} {row.item} {spend} (have {quantity(row.have * row.at_a_time, row.measure)}): chance of being "
        f"short {chance_words(row.p_short_now)} before, {chance_words(row.p_short)} after; worth "
        f"{price(row.worth_bought, currency)}{_between(row, currency)}. {why(row, currency)}"
    )


def _between(row: Any, currency: str) -> str:
    """The worth at the low and the high figure of being without."""
    if row.cost_without_low == row.cost_without_high:
        return ""
    low, high = price(row.worth_bought_low, currency), price(row.worth_bought_high, currency)
    return f" ({low} to {high} by your low and high figure)" if row.cost_from != "assumed" else f" ({low} to {high})"


def why(row: Any, currency: str) -> str:
    """Where the demand and the cost of being without are from."""
    asked = {
        "record": f"Used {number(row.seen)} in {number(row.years)} years",
        "guess": "Your guess of how often",
        "case": f"Failures as the case {row.case} has them",
    }[row.wanted_from]
    dear = {
        "assumed": "assumed, as nobody said", "item": "your figure", "system": f"your figure for {row.system}",
        "critical": "your figure for what is critical", "other": "your figure for the rest",
        "case": f"what the spare saves at each failure in the case {row.case}",
    }[row.cost_from]  # fmt: skip
    tools = f" No use at sea without {', '.join(row.tools_missing)}." if row.tools_missing else ""
    return f"{asked}; being without costs {money(row.cost_without, currency)} each time ({dear}).{tools}"


def missing(row: Any, currency: str) -> str:
    """One item that is worth having and is not bought."""
    each = "no price known: ask for one" if row.why else f"{price(row.price, currency)} each"
    return f"{row.item}: {quantity(row.units)} more would be worth {price(row.worth, currency)} ({each})."


def surplus(row: Any, currency: str) -> str:
    """One item of which too many are aboard."""
    new = f", {price(row.cost_new, currency)} new" if row.cost_new == row.cost_new else ""
    return f"{row.item}: {quantity(row.units)} more than this passage pays for{new}."


def budget(answer: SparesAnswer) -> str:
    """What the money does."""
    c, r = answer.currency, answer.risk
    with_what = f"of {money(answer.budget, c)}" if answer.budget is not None else "(no budget given: all that pays)"
    more = price(answer.most_lost, c)
    rest = f" Another choice could be worth {more} more at most." if answer.most_lost > 0.005 else ""
    return (
        f"Spend {money(answer.spend, c)} {with_what}. Being without then costs {money(r.cost_then, c)} on average "
        f"instead of {money(r.cost_now, c)}; something critical short {chance_words(r.p_critical_then)} instead of "
        f"{chance_words(r.p_critical_now)}.{rest}"
    )


def period(answer: SparesAnswer) -> str:
    """For how long."""
    hours = f", {number(answer.running_hours)} running hours" if answer.running_hours is not None else ""
    return (
        f"As of {answer.today}; passage of {days_words(answer.passage_days)}, until {answer.until}; parts can be had "
        f"{days_words(answer.period_days - answer.passage_days)} after it{hours}."
    )


def case(worth: CaseWorth, answer: SparesAnswer) -> str:
    """A whole unit's worth, as in the job of its own case."""
    c = answer.currency
    return (
        f"{worth.item}: the case {worth.case} puts a spare's worth at {money(worth.worth, c)} over "
        f"{number(worth.horizon_years)} years ({worth.combination}, before what the spare costs); that is "
        f"{money(worth.saved_each, c)} at each of {number(worth.failures)} failures (discounted), and "
        f"{number(worth.failures_a_year * answer.period_days / 365.25)} failures in this period."
    )
