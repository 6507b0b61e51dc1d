"""The parts of the answer in sentences: bench, looks, turning points, rules in use, years."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import pandas as pd

from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.bench import StopWhen
from repairecon.rebuild_or_buy.looks import Worth
from repairecon.rebuild_or_buy.sensitivity import Flip
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE
from repairecon.rebuild_or_buy.verdict import ThumbRule
from repairecon.records import STAGES
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, hours_words, measured, money, number, tenths, whole

MOST_FINDINGS, SMALL_CHANGE = 4, 0.005
"""Findings said one by one, and the share of the total below which a look is not worth a line."""
AFTER = {
    "outside": "after a look from outside", "removal": "once it is off", "strip": "once it is stripped",
    "measure": "once it is measured", "reassembly": "once it is together again", "first run": "after the first run",
    "later": "later", "now": "now",
}  # fmt: skip


def named(names: Iterable[object]) -> str:
    """Names in a row, the last after "and"."""
    *first, last = map(str, names)
    return f"{', '.join(first)} and {last}" if first else last


DOING = {
    "new": "buy", "pattern": "buy", "second-hand": "buy", "exchange": "take", "send away": "take",
    "carry on": "carry on as it is", "temporary": "make do for now", "without": "do without",
    "own spare": "fit your spare",
}  # fmt: skip
OVER = f"{GO_ON} as "
"""How going over to another depth of rebuild is named among the stops."""
DONE = {"send away": "send it away", "exchange": "take the exchange unit"}


def step(answer: Answer, way: str) -> str:
    """A way as something to do: "buy new from the maker", "send it away"; names that say it already stay."""
    if way.startswith(OVER):
        return f"go over to {way.removeprefix(OVER)}"
    kind = answer.case.way(way).kind if way in answer.table.index else ""
    do = DOING.get(kind, "take")
    if way in DONE or way.split()[0] in ("rebuild", "buy", "send", "fit", "carry", "repair", "do"):
        return DONE.get(way, way)
    return f"{do} {way}" if do in ("buy", "take") else f"{do} ({way})"


def plain(text: str) -> str:
    """A name of the case's files as words.

    ``shaft=grooved given neglect=salt`` is "shaft grooved (neglect salt)", ``what core=refused brings`` is
    "if core refused".
    """
    words = re.sub(r"\s*=\s*", " ", text.replace("_", " "))
    words = re.sub(r"\bwhat (.+) brings\b", r"if \1", words)
    return re.sub(r" given (.+)$", r" (\1)", words)


def plain_number(name: str) -> str:
    """A number's name as an owner would say it."""
    what, _, where = name.partition(", ")
    said = f"{what} if {where.partition(' given ')[0]}" if "=" in where else name
    return plain(said).removeprefix("the ")


def so_far(answer: Answer) -> list[str]:
    """What is done and found so far, and what it took."""
    lines = [f"Found: {'; '.join(plain(str(f)) for f in answer.found)}."] if answer.found else []
    if answer.stage:
        spent, currency = answer.bench.spent, answer.case.terms.currency
        lines.append(
            f"Done up to {answer.stage}: {money(spent.cash, currency)} and {hours_words(spent.own_hours)} own hours, "
            "expected; that is spent and counts no more."
        )
    return lines


def from_the_locker(answer: Answer) -> list[str]:
    """Spares aboard that the job takes, in one sentence."""
    taken = [x.part + (f" ({x.have} of {x.wanted})" if x.have < x.wanted else "") for x in answer.case.from_stock]
    return [f"{', '.join(taken)}."] if taken else []


# ---------------------------------------------------------------- at the bench
def bench(answer: Answer) -> list[str]:
    """Next step, stop rule, most still worth spending, when to order."""
    rebuild = [*stop_rule(answer), *remedies(answer), repair_limit(answer), given_up(answer), *depths(answer)]
    return [line for line in (next_step(answer), *rebuild, order_time(answer), not_looked_at(answer)) if line]


def not_looked_at(answer: Answer) -> str:
    """Which events the rule leaves out, where the tree would be too large with all of them."""
    averaged = sorted(answer.model.tree.averaged)
    if not averaged:
        return ""
    return (
        "Counted in every cost, but not looked at by this rule, as there are too many to lay out: "
        f"{', '.join(averaged)}. "
        "Once one is found, keep it in the case, and the rule counts it."
    )


def next_step(answer: Answer) -> str:
    """The first step of the best rule and what the freedom to stop is worth."""
    b, currency = answer.bench, answer.case.terms.currency
    if b.now == GO_ON:
        saved, strips = money(b.cost_commit - b.value, currency), b.value_of_stripping is not None
        first = "Strip it and decide by what you find" if strips else "Go on, and decide as below"
        return f"{first}: {money(b.value, currency)} on average, {saved} less than {b.best_commit} come what may."
    if b.now == LEAVE:
        return "Leave this unit alone and look elsewhere first: it is probably not to blame."
    if b.now not in answer.table.index:
        return "It depends on what you see now, as below."
    dearer = b.value_of_stripping
    more = "" if dearer is None else f" Stripping it first costs {money(-dearer, currency)} more."
    return f"{'Stop here' if answer.stage else 'Do not begin'}: {step(answer, b.now)}.{more}"


def remedies(answer: Answer) -> list[str]:
    """How a finding is best met."""
    lines, several_ways = [], len({m.way for m in answer.remedies}) > 1
    for met in answer.remedies:
        then = f"; if that does not hold, {met.then}" if met.then and met.then != met.remedy else ""
        how, several = met.remedy or "end the rebuild", f" ({met.way})" if several_ways else ""
        lines.append(f"{capital(met.event)} {met.outcome}{several}: {how}{then}.")
    return lines


def depths(answer: Answer) -> list[str]:
    """Each other depth of rebuild: what it comes to if that is begun, and the most worth spending on it."""
    currency = answer.case.terms.currency
    return [
        f"Begun as {way}: {money(b.value, currency)} on average; at most {money(b.repair_limit, currency)} is worth "
        "spending on it."
        for way, b in answer.benches.items()
        if len(answer.benches) > 1
    ]


def repair_limit(answer: Answer) -> str:
    """The most still worth spending on the rebuild."""
    b, currency = answer.bench, answer.case.terms.currency
    if not b.limit_way:
        return ""
    most, own = money(b.repair_limit, currency), money(b.repair_limit_cash, currency)
    return (
        f"The most worth spending on it from here is {most} all in, or {own} if your hours cost nothing: that is what "
        f"{b.limit_way} comes to."
    )


def stop_rule(answer: Answer, *, elsewhere: bool = True) -> list[str]:
    """For each stage the findings on which to stop, and what to do then; on request without looking elsewhere."""
    lines = []
    places: dict[tuple[int, str], list[StopWhen]] = {}
    for s in answer.advice.stops:
        if s.action != LEAVE or elsewhere:
            places.setdefault((s.point, s.action), []).append(s)
    for (point, action), stops in places.items():
        often = chance_words(sum(s.chance for s in stops))
        do = "look elsewhere" if action == LEAVE else step(answer, action)
        when = AFTER["now" if point < 0 else STAGES[point]]
        lines.append(f"{capital(when)}: {do} if you find {_findings(stops, action)} ({often}).")
    return lines


def _findings(stops: list[StopWhen], action: str) -> str:
    first, rest = stops[:MOST_FINDINGS], stops[MOST_FINDINGS:]
    said = [" with ".join(o if action == LEAVE else f"{event} {o}" for event, o in s.findings) for s in first]
    if rest:
        said.append(f"one of {whole(len(rest))} rarer findings")
    return "; or ".join(said)


def given_up(answer: Answer) -> str:
    """How often the rebuild cannot be finished."""
    chances = answer.table.loc[answer.table["allowed"] & (answer.table["p_given_up"] > 0), "p_given_up"]
    said = (f"{capital(str(way))}: {chance_words(p)}" for way, p in chances.items())
    return next((f"{line} that it ends in a bought unit after all." for line in said), "")


def order_time(answer: Answer) -> str:
    """When to order the parts."""
    rows, currency = answer.order_times, answer.case.terms.currency
    if rows.empty:
        return ""

    def said(row: pd.Series[Any]) -> str:
        vain = f", {chance_words(row['p_in_vain'])} bought for nothing" if row["p_in_vain"] > 0 else ""
        return f"{money(row['expected_total'], currency)}, {days_words(row['expected_days'])}{vain}"

    when = [AFTER[order.removeprefix("after ")] for order in rows["order"]]
    best = int(rows["expected_total"].to_numpy().argmin())
    others = "; ".join(f"{when[k]} {said(rows.iloc[k])}" for k in range(len(rows)) if k != best)
    instead = f" Instead: {others}." if others else ""
    return f"Order the parts {when[best]}: {said(rows.iloc[best])} on average.{instead}"


# ---------------------------------------------------------------- looks and turning points
def looks(answer: Answer, most: int = 6) -> list[str]:
    """Looks that pay, those that do not, and what would be worth knowing."""
    currency = answer.case.terms.currency
    first = answer.advice.look  # its worth is on the basis of the advice, that of the others by this job alone
    at_hand = sorted((w for w in answer.looks if w.has_look), key=lambda w: -w.net)
    at_hand = [first if first is not None and w.look == first.look else w for w in at_hand]
    lines = [look(w, currency) for w in at_hand if w.net > 0]
    pairs = ((w.look, money(w.cost, currency), money(w.evsi, currency)) for w in at_hand if w.net <= 0)
    if poor := [f"{name} (costs {cost}, saves {saved})" for name, cost, saved in pairs]:
        lines.append(f"Not worth their cost here: {'; '.join(poor)}.")
    least = SMALL_CHANGE * abs(answer.bench.value)
    known = [w for w in answer.looks if not w.has_look and w.evpi > least][:most]
    if known:
        worth = "; ".join(f"{plain_number(w.about)} {money(w.evpi, currency)}" for w in known)
        lines.append(f"What it would be worth to know for certain beforehand: {worth}.")
    return lines


def look(worth: Worth, currency: str) -> str:
    """One look that pays."""
    cost, saved = money(worth.cost, currency), money(worth.evsi, currency)
    return f"{capital(worth.look)}: costs {cost}, saves {saved} on average."


def flip(f: Flip) -> str:
    """One number and the value at which another way takes over."""
    side = "above" if f.value_flip > f.value_now else "below"
    now = measured(f.value_now, f.unit)
    return f"{plain_number(f.number)} {side} {measured(f.value_flip, f.unit)}, now {now} (then {f.to_way})"


def flips(answer: Answer, most: int = 6) -> list[str]:
    """Where another way takes over, the likely ones first."""
    ranked = sorted(answer.flips, key=lambda f: not f.within_range)[:most]
    lines = [f"{capital(flip(f))}{'' if f.within_range else '; that is outside its range'}." for f in ranked]
    return lines or ["No single number turns this within five times its value."]


# ---------------------------------------------------------------- rules, ways left out, method
def thumb_rules(answer: Answer) -> list[str]:
    """The price of each repair against that of new, and what the rules in use make of it."""
    lines, currency = [], answer.case.terms.currency
    for way in dict.fromkeys(r.way for r in answer.thumb_rules):
        rules = [r for r in answer.thumb_rules if r.way == way]
        repair, new = rules[0].rebuild_cost, rules[0].price_new
        share = f", {chance_words(repair / new)}" if new > 0 else ""
        lines.append(
            f"{capital(way)}: parts and outside work as planned {money(repair, currency)}, a new unit "
            f"{money(new, currency)}{share}."
        )
        lines += [thumb_rule(r, currency) for r in rules]
    return lines


def thumb_rule(rule: ThumbRule, currency: str) -> str:
    """One rule in use beside the computed answer."""
    name = f"{capital(rule.rule)} ({rule.source})"
    if rule.limit is None:
        return f"{name}: needs the unit's age and expected life."
    other = {"rebuild": "buy", "buy": "rebuild"}[rule.says]
    ours = f"this answer says {other}, counting hours, days and what may be found"
    ours = "this answer agrees" if rule.agrees else ours
    return f"{name}: up to {money(rule.limit, currency)}, so {rule.says}; {ours}."


def nevers(answer: Answer) -> list[str]:
    """Ways that may never come, and what is done then."""
    lines = []
    for way, row in answer.table[answer.table["p_never"] > 0].iterrows():
        taken = answer.case.way(str(way))
        then = "it never comes in time; nothing else is left then but to wait"
        if taken.traits.in_service == "rebuilt" and taken.bought:
            then = "the spare never comes; then there is none"
        elif row["instead"]:
            then = f"it never comes; after the wait you take {row['instead']}"
        lines.append(f"{capital(str(way))}: {chance_words(row['p_never'])} that {then}.")
    return lines


def how_sampled(answer: Answer) -> str:
    """What is exact and what is sampled."""
    o = answer.outcomes
    return (
        f"Averages are exact over {whole(len(answer.leaves))} courses of what may be found; ranges and chances of "
        f"being cheapest come from {whole(o.draws)} draws (seed {o.seed})."
    )


# ---------------------------------------------------------------- over the years
def years(answer: Answer) -> list[str]:
    """What each way comes to over the years, whether a spare pays, and what it hangs on."""
    h, currency = answer.horizon, answer.case.terms.currency
    if h.years.horizon_years == 0:
        return ["Only this job is looked at: say how long you keep her (--horizon-years 10) to look further."]
    best = h.ways.loc[h.best]
    present, a_year = (money(best[column], currency) for column in ("present_cost", "annual_cost"))
    lines = [
        f"Over {number(h.years.horizon_years)} years {h.best} comes cheapest: {present} in today's money, {a_year} a "
        f"year. {capital(chance_words(best['p_failure_away']))} that it fails away from base in that time.",
        _against_today(answer),
        *_break_even(answer),
        _in_time(answer),
        *_spares(answer),
        *own_lives(answer),
        "Nobody publishes hours to failure of such units: the lives are the case's or assumed.",
    ]
    return [line for line in lines if line]


def _against_today(answer: Answer) -> str:
    h, v, currency = answer.horizon, answer.verdict, answer.case.terms.currency
    if h.best == v.best:
        return ""
    more = money(h.ways.loc[v.best, "present_cost"] - h.ways.loc[h.best, "present_cost"], currency)
    here, there = (tenths(h.ways.loc[w, "median_life"]) for w in (v.best, h.best))
    why = f"half of such last {here} years, of {h.best} {there}"
    if answer.table.loc[h.best, "p_spare"] > answer.table.loc[v.best, "p_spare"]:
        why = "the other leaves a spare aboard"
    return f"{capital(v.best)} is cheaper today but {more} dearer over these years: {why}."


def _break_even(answer: Answer) -> list[str]:
    lines = []
    for way in dict.fromkeys((answer.horizon.best, answer.verdict.best)):
        row = answer.horizon.ways.loc[way]
        turns, expected = row["break_even_life"], f"({tenths(row['median_life'])} expected)"
        if turns is not None and turns == turns:
            ahead = "is no longer cheapest if half of such last under" if turns < row["median_life"] else (
                "would be cheapest if half of such lasted over")  # fmt: skip
            lines.append(f"{capital(way)} {ahead} {tenths(turns)} years {expected}.")
    return lines


def _in_time(answer: Answer) -> str:
    h = answer.horizon
    age = h.ways.loc[h.best, "best_replacement_age"]
    if age > h.years.horizon_years:
        return f"Renewing {h.best} in time, before it fails, does not pay within these years."
    return f"Renewing {h.best} before it fails pays, best at about {number(age)} years."


def _spares(answer: Answer) -> list[str]:
    currency = answer.case.terms.currency
    return [
        f"{capital(c.combination)}: costs {money(c.cost, currency)} more and saves {money(c.worth, currency)} over "
        f"these years, so it {'pays' if c.net > 0 else 'does not pay'}."
        for c in answer.horizon.spares
        if c.worth > 0 or c.cost > 0
    ]


def own_lives(answer: Answer) -> list[str]:
    """What the owner's own lives tell, or why they cannot."""
    lines = []
    for f in answer.life_fits:
        seen = f"{f.failures} failed, {f.survivors} still going"
        line = f"Your own lives of {f.way} ({seen}, in {f.clock}) cannot tell: {f.refused}."
        if not f.refused:
            line = (
                f"Your own lives of {f.way} ({seen}): half last {number(f.median)} {f.clock}, 9 times in 10 between "
                f"{number(f.median_low)} and {number(f.median_high)}."
            )
        lines.append(line)
    return lines
