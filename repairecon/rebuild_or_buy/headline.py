"""The advice in sentences, most important first: what to do, what it comes to, and both sides where parts disagree."""

from __future__ import annotations

from datetime import date

import numpy as np

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.sentences import named, step
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, hours_words, money, number

SOONER_DAYS, SOONER_SHARE = 2.0, 0.2
"""A way is worth naming as the quicker one if it saves so many days and such a share of them."""


def advice(answer: Answer) -> list[str]:
    """The sentences of the advice; the first two say what to do and what it comes to."""
    said = (do, worth, tie, longer, sooner, milder, limits, hour, back_by, makeshift, safety, spare)
    return [sentence for say in said if (sentence := say(answer))]


def do(answer: Answer) -> str:
    """What to do now."""
    a, currency = answer.advice, answer.case.terms.currency
    if a.do == "none":
        return f"No way can be advised: {'; '.join(a.because)}."
    if a.do == "leave":
        return "Leave this unit alone and look elsewhere first: it is probably not to blame."
    if a.do == "look":
        look = next((w for w in answer.looks if w.look == a.what), None)
        price = f" (costs {money(look.cost, currency)}, saves {money(look.evsi, currency)} on average)" if look else ""
        return f"First: {a.what}{price}. If that changes nothing, {_then(answer)}."
    return f"{capital(strip(answer) if a.do == 'strip' else take(answer))}."


def _then(answer: Answer) -> str:
    """What follows a look that changes nothing."""
    return strip(answer) if strips(answer) else take(answer)


def strips(answer: Answer) -> bool:
    """Whether the advice is to open the unit and decide by what is found."""
    a = answer.advice
    on_the_bench = answer.case.way(a.way).kind == "rebuild" or (a.basis != "years" and answer.bench.now == GO_ON)
    return a.do == "strip" or (a.do != "leave" and on_the_bench)


def strip(answer: Answer) -> str:
    """Strip, go on or stop: how often each."""
    stops = [s for s in answer.stop_when if s.action != LEAVE]
    rebuild = next((w.way for w in answer.case.ways if w.kind == "rebuild"), answer.advice.way)
    if not stops:
        return f"go ahead: {rebuild}"
    on = chance_words(1.0 - sum(s.chance for s in stops))
    instead = " or ".join(step(answer, action) for action in {s.action: 0 for s in stops})
    return f"strip it, then decide by what you find: {rebuild} ({on}), else stop and {instead}"


def take(answer: Answer) -> str:
    """The way to take, as a clause."""
    a = answer.advice
    return f"carry on for now: {a.way}" if a.do == "carry on" else step(answer, a.way)


def worth(answer: Answer) -> str:
    """What the advice comes to, against what, and on which basis."""
    a, currency = answer.advice, answer.case.terms.currency
    if a.do in ("none", "leave") or a.way not in answer.table.index:
        return ""
    row = answer.table.loc[a.way]
    lead = f", {money(a.gap, currency)} less than {a.against}" if a.against and a.gap > 0 else ""
    only = "" if a.against else ": the only way that may be chosen"
    if a.basis == "years" and a.years:
        present = money(answer.horizon.ways.loc[a.way, "present_cost"], currency)
        return (
            f"Over the {number(a.years)} years you keep her, {a.way} comes to {present} in today's money{lead}{only}; "
            f"this job alone costs {money(row['total_mean'], currency)} and {days_words(row['days_mean'])}."
        )
    if a.do == "strip" or (a.do == "look" and answer.bench.now == GO_ON):
        return (
            f"That comes to {money(answer.bench.value, currency)} all in on average{lead}{' at once' if lead else ''}."
        )
    cash, hours = money(row["cash_mean"], currency), hours_words(row["own_hours_mean"])
    return (
        f"{capital(a.way)} comes to {money(row['total_mean'], currency)} on average ({cash} cash, {hours} own hours, "
        f"{days_words(row['days_mean'])} out of use){lead}{only}."
    )


def tie(answer: Answer) -> str:
    """That two ways are too close to call."""
    a = answer.advice
    if not a.near_tie or not a.against:
        return ""
    return f"That is a near tie with {a.against}: either will do, so take the one that is simpler or sooner for you."


def longer(answer: Answer) -> str:
    """Today against the years, in one sentence."""
    a, v, h, currency = answer.advice, answer.verdict, answer.horizon, answer.case.terms.currency
    if a.basis == "years" and v.best != a.way and a.do != "none":
        today = answer.table["total_mean"]
        now = money(today[a.way] - today[v.best], currency)
        later = money(h.ways.loc[v.best, "present_cost"] - h.ways.loc[a.way, "present_cost"], currency)
        return f"{capital(v.best)} is {now} cheaper for this job alone but {later} dearer over those years."
    if a.basis != "years" and a.years:
        return f"If you keep her for more than about {number(a.years)} years, another way comes cheaper."
    return ""


def sooner(answer: Answer) -> str:
    """Money against days, in one sentence, with the price of a day at which it turns."""
    a, table, currency = answer.advice, answer.table, answer.case.terms.currency
    if a.do == "none":
        return ""
    fast = answer.verdict.fastest
    saved = table.loc[a.way, "days_mean"] - table.loc[fast, "days_mean"]
    quicker = saved >= max(SOONER_DAYS, SOONER_SHARE * table.loc[a.way, "days_mean"])
    day = answer.case.terms.cost_lost_day
    line = f"{capital(fast)} is back about {days_words(saved)} sooner" if quicker else ""
    if day.high == 0:
        line = f"{line}, but waiting is not priced here" if line else "Waiting is not priced here"
    elif not quicker:
        return ""
    if a.day_price_turns is None:
        return f"{line}." if quicker else ""
    now = "" if day.high == 0 else f" (now {money(mean_of(day), '')})"
    return f"{line}; it turns if a day without the boat is worth {money(a.day_price_turns, currency)}{now}."


def milder(answer: Answer) -> str:
    """The mean against the bad case, in one sentence."""
    a, v, table, currency = answer.advice, answer.verdict, answer.table, answer.case.terms.currency
    if a.do in ("none", "leave"):
        return ""
    bad, mild = (money(table.loc[w, "total_p90"], currency, table.loc[w, "total_p90_se"]) for w in (a.way, v.steadiest))
    if v.steadiest == a.way:
        return ""
    return f"In a bad case (1 in 10) {a.way} passes {bad}, {v.steadiest} only {mild}."


def limits(answer: Answer) -> str:
    """What changes for an owner who minds the bad case or has set a limit."""
    r, currency = answer.risk, answer.case.terms.currency
    if r.tolerance is None and r.cap is None:
        return ""
    cap = "" if r.cap is None else f"over {money(r.cap, currency)} at most {chance_words(r.cap_chance)}"
    tolerance = "" if r.tolerance is None else f"risk tolerance {money(r.tolerance, currency)}"
    mine = ", ".join(filter(None, (tolerance, cap)))
    if not r.best:
        return f"No way that may be chosen keeps to your limits ({mine})."
    return f"With your limits ({mine}) the choice is {r.best} instead." if r.changes else ""


def hour(answer: Answer) -> str:
    """At which worth of an own hour it turns, where that is not stated."""
    a, currency = answer.advice, answer.case.terms.currency
    if answer.case.terms.own_hour_stated or answer.cost_own_hour > 0:
        return ""
    if a.hour_price_turns is None:
        return "Your own hours are not priced; no worth of an hour changes this."
    return f"Your own hours are not priced; it turns if an hour is worth {money(a.hour_price_turns, currency)} to you."


def back_by(answer: Answer) -> str:
    """The chance of being back by the date that is wanted, of the advice and of the soonest way."""
    a, fast = answer.advice, answer.verdict.fastest
    chances = back_in_time(answer)
    if chances is None or a.way not in chances:
        return ""
    line = f"Back {wanted(answer)}: {chance_words(chances[a.way])}"
    if chances[fast] > chances[a.way]:
        line += f"; {fast} makes it {chance_words(chances[fast])}"
    return f"{line}."


def wanted(answer: Answer) -> str:
    """The date or the days within which the boat is needed, in words."""
    needed = answer.case.needed
    if needed is None:
        return ""
    return f"by {needed.by}" if needed.by else f"within {days_words(needed.within_days or 0.0)}"


def back_in_time(answer: Answer) -> dict[str, float] | None:
    """Way -> chance that it is back in use by then; None where no date is set."""
    needed = answer.case.needed
    if needed is None:
        return None
    days = needed.within_days
    if days is None:
        today = date.fromisoformat(answer.case.wishes.today) if answer.case.wishes.today else date.today()
        days = float((date.fromisoformat(needed.by) - today).days)
    return {way: float(t[2].chance_up_to(np.array(days))) for way, t in
            zip(answer.outcomes.ways, answer.outcomes.tallies, strict=True)}  # fmt: skip


def makeshift(answer: Answer) -> str:
    """When carrying on or a temporary repair must not be done."""
    way = answer.case.way(answer.advice.way) if answer.advice.way in answer.table.index else None
    said = [] if way is None else [*([f"not when {way.not_when}"] if way.not_when else []),
                                   *([f"only until {way.allowed_until}"] if way.allowed_until else [])]  # fmt: skip
    return f"{capital(' and '.join(said))}." if said else ""


def safety(answer: Answer) -> str:
    """Ways that the safety screen keeps out, and how a written waiver lifts it."""
    out = answer.table[~answer.table["allowed"] & answer.table["why_not"].str.contains("price alone")]
    if out.empty:
        return ""
    return (
        f"Not to be chosen on price alone ({', '.join(answer.case.unit.safety)}): {named(out.index)}; leave the "
        "rebuild to a specialist, or write a [[waiver]] with your reason into case.toml."
    )


def spare(answer: Answer) -> str:
    """What more it costs to end with a spare aboard, where the years do not already say."""
    a, currency, table = answer.advice, answer.case.terms.currency, answer.table
    pairs = table[table["allowed"] & (table["p_spare"] > 0)]
    if a.basis == "years" or a.do in ("none", "leave") or pairs.empty or table.loc[a.way, "p_spare"] > 0:
        return ""
    row = pairs.loc[pairs["total_mean"].idxmin()]
    more = money(row["total_mean"] - table.loc[a.way, "total_mean"], currency)
    often = f"{chance_words(row['p_spare'])} that there is one"
    return f"To end with a spare aboard as well: {row.name}, {more} more ({often})."
