"""The parts of the answer in sentences: bench, looks, turning points, rules in use, years."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import pandas as pd

from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.bench import StopWhen, Worth
from repairecon.rebuild_or_buy.sensitivity import Flip
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE
from repairecon.records import STAGES
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, hours_words, measured, number, tenths, whole

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
    "new": "buy {}", "pattern": "buy {}", "second-hand": "buy {}", "carry on": "carry on as it is ({})",
    "temporary": "make do for now ({})", "without": "do without ({})", "own spare": "fit your spare ({})",
}  # fmt: skip
OVER = f"{GO_ON} as "
"""How going over to another depth of rebuild is named among the stops."""
DONE = {"send away": "send it away", "exchange": "take the exchange unit", LEAVE: "look elsewhere"}


def step(answer: Answer, way: str) -> str:
    """A way as something to do: "buy new from the maker", "send it away"; names that say it already stay."""
    if way.startswith(OVER):
        return f"go over to {way.removeprefix(OVER)}"
    if way in DONE or way.split()[0] in ("rebuild", "buy", "send", "fit", "carry", "repair", "do"):
        return DONE.get(way, way)
    kind = answer.case.way(way).kind if way in answer.table.index else ""
    return DOING.get(kind, "take {}").format(way)


def plain(text: str) -> str:
    """A name of the case's files as words. ``shaft=grooved given neglect=salt`` is "shaft grooved (neglect salt)",
    ``what core=refused brings`` is "if core refused"."""
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
        spent = answer.bench.spent
        took = f"{answer.money(spent['cash'])} and {hours_words(spent['own_hours'])} own hours"
        lines.append(f"Done up to {answer.stage}: {took}, expected; that is spent and counts no more.")
    return lines


def from_the_locker(answer: Answer) -> str:
    taken = answer.case.from_stock
    return ", ".join(x.part + (f" ({x.have} of {x.wanted})" if x.have < x.wanted else "") for x in taken)


# ---------------------------------------------------------------- at the bench
def bench(answer: Answer) -> Iterator[str]:
    """Next step, stop rule, how a finding is best met, most still worth spending, when to order, what is left out."""
    yield next_step(answer)
    yield from stop_rule(answer, answer.advice.stops)
    met = answer.model.costs.remedied
    for (way, event, outcome), remedies in met.items():
        first, second = [*(r.remedy for r in remedies), "end the rebuild", ""][:2]
        then = f"; if that does not hold, {second}" if len(remedies) > 1 and second != first else ""
        several = f" ({way})" if len({key[0] for key in met}) > 1 else ""
        yield f"{capital(event)} {outcome}{several}: {first}{then}."
    yield repair_limit(answer)
    given_up = answer.table["p_given_up"][answer.table["allowed"] & (answer.table["p_given_up"] > 0)]
    for way, p in given_up.head(1).items():
        yield f"{capital(str(way))}: {chance_words(p)} that it ends in a bought unit after all."
    for way, b in answer.benches.items() if len(answer.benches) > 1 else ():
        most = f"at most {answer.money(b.repair_limit)} is worth spending on it"
        yield f"Begun as {way}: {answer.money(b.value)} on average; {most}."
    yield order_time(answer)
    if averaged := sorted(answer.model.tree.averaged):
        yield (
            "Counted in every cost, but not looked at by this rule, as there are too many to lay out: "
            f"{', '.join(averaged)}. Once one is found, keep it in the case, and the rule counts it."
        )


def next_step(answer: Answer) -> str:
    """The first step of the best rule and what the freedom to stop is worth."""
    b = answer.bench
    less = b.value_of_stripping
    if b.now == GO_ON:
        first = "Go on, and decide as below" if less is None else "Strip it and decide by what you find"
        saved = answer.money(b.cost_commit - b.value)
        return f"{first}: {answer.money(b.value)} on average, {saved} less than {b.best_commit} come what may."
    if b.now not in (LEAVE, *answer.table.index):
        return "It depends on what you see now, as below."
    more = "" if less is None or b.now == LEAVE else f" Stripping it first costs {answer.money(-less)} more."
    return f"{'Stop here' if answer.stage else 'Do not begin'}: {step(answer, b.now)}.{more}"


def repair_limit(answer: Answer) -> str:
    b = answer.bench
    return b.limit_way and (
        f"The most worth spending on it from here is {answer.money(b.repair_limit)} all in, or "
        f"{answer.money(b.repair_limit_cash)} if your hours cost nothing: that is what {b.limit_way} comes to."
    )


def stop_rule(answer: Answer, stops: Sequence[StopWhen]) -> list[str]:
    """For each stage the findings on which to stop, and what to do then."""
    places: dict[tuple[int, str], list[StopWhen]] = {}
    for s in stops:
        places.setdefault((s.point, s.action), []).append(s)
    lines = []
    for (point, action), some in places.items():
        when, often = AFTER["now" if point < 0 else STAGES[point]], chance_words(sum(s.chance for s in some))
        said = [" with ".join(o if action == LEAVE else f"{event} {o}" for event, o in s.findings) for s in some]
        rarer = len(said) - MOST_FINDINGS
        more = "one rarer finding" if rarer == 1 else f"one of {whole(rarer)} rarer findings"
        found = "; or ".join([*said[:MOST_FINDINGS], *([more] if rarer > 0 else [])])
        lines.append(f"{capital(when)}: {step(answer, action)}{found and f' if you find {found}'} ({often}).")
    return lines


def order_time(answer: Answer) -> str:
    rows = answer.order_times
    if rows.empty:
        return ""

    def said(row: pd.Series[Any]) -> str:
        vain = f", {chance_words(row['p_in_vain'])} bought for nothing" if row["p_in_vain"] > 0 else ""
        return f"{answer.money(row['expected_total'])}, {days_words(row['expected_days'])}{vain}"

    when = [AFTER[order.removeprefix("after ")] for order in rows["order"]]
    best = int(rows["expected_total"].to_numpy().argmin())
    others = "; ".join(f"{when[k]} {said(rows.iloc[k])}" for k in range(len(rows)) if k != best)
    instead = f" Instead: {others}." if others else ""
    return f"Order the parts {when[best]}: {said(rows.iloc[best])} on average.{instead}"


# ---------------------------------------------------------------- looks and turning points
def looks(answer: Answer, most: int = 6) -> list[str]:
    """Looks that pay, those that do not, and what would be worth knowing."""
    first = answer.advice.look  # its worth is on the basis of the advice, that of the others by this job alone
    at_hand = sorted((w for w in answer.looks if w.has_look), key=lambda w: -w.net)
    at_hand = [first if first is not None and w.look == first.look else w for w in at_hand]
    lines = [look(answer, w) for w in at_hand if w.net > 0]
    poor = [w for w in at_hand if w.net <= 0]
    if said := [f"{w.look} (costs {answer.money(w.cost)}, saves {answer.money(w.evsi)})" for w in poor]:
        lines.append(f"Not worth their cost here: {'; '.join(said)}.")
    least = SMALL_CHANGE * abs(answer.bench.value)
    known = [w for w in answer.looks if not w.has_look and w.evpi > least][:most]
    if worth := [f"{plain_number(w.about)} {answer.money(w.evpi)}" for w in known]:
        lines.append(f"What it would be worth to know for certain beforehand: {'; '.join(worth)}.")
    return lines


def look(answer: Answer, worth: Worth) -> str:
    return f"{capital(worth.look)}: costs {answer.money(worth.cost)}, saves {answer.money(worth.evsi)} on average."


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
def thumb_rules(answer: Answer) -> Iterator[str]:
    """The price of each repair against that of new, and what the rules in use make of it."""
    for way in dict.fromkeys(r.way for r in answer.thumb_rules):
        rules = [r for r in answer.thumb_rules if r.way == way]
        repair, new = rules[0].rebuild_cost, rules[0].price_new
        share = f", {chance_words(repair / new)}" if new > 0 else ""
        planned = f"parts and outside work as planned {answer.money(repair)}"
        yield f"{capital(way)}: {planned}, a new unit {answer.money(new)}{share}."
        for r in rules:
            other = "buy" if r.says == "rebuild" else "rebuild"
            ours = "agrees" if r.agrees else f"says {other}, counting hours, days and what may be found"
            verdict = "needs the unit's age and expected life"
            if r.limit is not None:
                verdict = f"up to {answer.money(r.limit)}, so {r.says}; this answer {ours}"
            yield f"{capital(r.rule)} ({r.source}): {verdict}."


def nevers(answer: Answer) -> Iterator[str]:
    for way, row in answer.table[answer.table["p_never"] > 0].iterrows():
        taken = answer.case.way(str(way))
        then = "it never comes in time; nothing else is left then but to wait"
        if taken.traits.in_service == "rebuilt" and taken.bought:
            then = "the spare never comes; then there is none"
        elif row["instead"]:
            then = f"it never comes; after the wait you take {row['instead']}"
        yield f"{capital(str(way))}: {chance_words(row['p_never'])} that {then}."


# ---------------------------------------------------------------- over the years
def years(answer: Answer) -> Iterator[str]:
    """What each way comes to over the years, whether a spare pays, and what it hangs on."""
    h, today = answer.horizon, answer.verdict.best
    if h.years.horizon_years == 0:
        yield "Only this job is looked at: say how long you keep her (--horizon-years 10) to look further."
        return
    best, now = h.ways.loc[h.best], h.ways.loc[today]
    present, a_year, more = map(answer.money, (
        best["present_cost"], best["annual_cost"], now["present_cost"] - best["present_cost"]))  # fmt: skip
    yield (
        f"Over {number(h.years.horizon_years)} years {h.best} comes cheapest: {present} in today's money, {a_year} a "
        f"year. {capital(chance_words(best['p_failure_away']))} that it fails away from base in that time."
    )
    if h.best != today:
        why = f"half of such last {tenths(now['median_life'])} years, of {h.best} {tenths(best['median_life'])}"
        if answer.table.loc[h.best, "p_spare"] > answer.table.loc[today, "p_spare"]:
            why = "the other leaves a spare aboard"
        yield f"{capital(today)} is cheaper today but {more} dearer over these years: {why}."
    age = best["best_replacement_age"]
    yield f"Renewing {h.best} " + ("in time, before it fails, does not pay within these years."
                                   if age > h.years.horizon_years
                                   else f"before it fails pays, best at about {number(age)} years.")  # fmt: skip
    yield from _spares_and_lives(answer)
    yield "Nobody publishes hours to failure of such units: the lives are the case's or assumed."


def _spares_and_lives(answer: Answer) -> Iterator[str]:
    """Whether a spare pays, and what the owner's own lives tell, or why they cannot."""
    for c in answer.horizon.spares:
        if c.worth > 0 or c.cost > 0:
            pays = f"{answer.money(c.worth)} over these years, so it {'pays' if c.net > 0 else 'does not pay'}"
            yield f"{capital(c.combination)}: costs {answer.money(c.cost)} more and saves {pays}."
    for f in answer.life_fits:
        seen = f"Your own lives of {f.way} ({f.failures} failed, {f.survivors} still going"
        if f.refused:
            yield f"{seen}, in {f.clock}) cannot tell: {f.refused}."
        else:
            ends = f"9 times in 10 between {number(f.median_low)} and {number(f.median_high)}"
            yield f"{seen}): half last {number(f.median)} {f.clock}, {ends}."
