"""The answer in sentences an owner can act on."""

from __future__ import annotations

from collections.abc import Iterable

from repairecon.rebuild_or_buy.answer import Answer, ThumbRule
from repairecon.rebuild_or_buy.looking import Worth
from repairecon.rebuild_or_buy.sensitivity import Flip
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE
from repairecon.records import STAGES
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, hours_words, measured, money, number, times_words, whole

MOST_TOLD = 4


def verdict(answer: Answer) -> str:
    """What to do, by what margin, and what it rests on."""
    v, table, currency = answer.verdict, answer.table, answer.case.terms.currency
    if not v.second:
        return f"{capital(v.best)}: the only way that may be chosen."
    gap, odds = money(v.gap, currency), times_words(v.p_best_below_second)
    if v.near_tie:
        text = (
            f"Either {v.best} or {v.second}; decide on days or risk. On average {v.best} saves {gap}, and "
            f"{odds} it costs less. {_quickest(answer)} {_mildest(answer)}"
        )
    else:
        text = (
            f"{capital(v.best)}: on average {gap} less all in than {v.second}, the next best, and the cheaper of "
            f"the two {odds}. One time in ten it comes to more than "
            f"{money(table.loc[v.best, 'total_p90'], currency, table.loc[v.best, 'total_p90_se'])}."
        )
    first = strip_first(answer)
    if first:
        text = f"{first} If you must choose for good now: {text[:1].lower()}{text[1:]}"
    more = (given_up, nearest_flip, never, spare, minding, barred)
    return " ".join(filter(None, (text.strip(), *(say(answer) for say in more))))


def _quickest(answer: Answer) -> str:
    days = answer.table.loc[answer.verdict.fastest, "days_mean"]
    return f"Soonest back in use: {answer.verdict.fastest}, about {days_words(days)}."


def _mildest(answer: Answer) -> str:
    row, currency = answer.table.loc[answer.verdict.steadiest], answer.case.terms.currency
    worst = money(row["total_p90"], currency, row["total_p90_se"])
    return f"Mildest bad case: {answer.verdict.steadiest}, over {worst} one time in ten."


def flip(f: Flip) -> str:
    """One number and the value at which another way takes over."""
    side = "above" if f.value_flip > f.value_now else "below"
    inside = "" if f.within_range else "; outside its range"
    return (
        f"{capital(f.to_way)} is cheaper if the {_bare(f.number)} is {side} {measured(f.value_flip, f.unit)} "
        f"(now {number(f.value_now)}{inside})"
    )


def _bare(name: str) -> str:
    return name.removeprefix("the ")


def useful_flips(flips: Iterable[Flip], most: int = 6) -> list[Flip]:
    """Flips worth telling: the likely ones first, each number once a direction."""
    ranked = sorted(flips, key=lambda f: not f.within_range)
    return ranked[:most]


def nearest_flip(answer: Answer) -> str:
    """The nearest flip as a sentence, or that no single number flips it."""
    flips = useful_flips(answer.flips, 1)
    return f"{flip(flips[0])}." if flips else "No single number flips this within five times its value."


def spare(answer: Answer) -> str:
    """What more it costs to end with a spare aboard."""
    v, currency = answer.verdict, answer.case.terms.currency
    pairs = answer.table[answer.table["allowed"] & (answer.table["p_spare"] > 0)]
    if pairs.empty or answer.table.loc[v.best, "p_spare"] > 0:
        return ""
    row = pairs.loc[pairs["total_mean"].idxmin()]
    more = money(row["total_mean"] - answer.table.loc[v.best, "total_mean"], currency)
    return (
        f"To end with a spare aboard as well ({row.name}; {chance_words(row['p_spare'])}) costs {more} more: "
        "worth it if a spare is worth that to you."
    )


def barred(answer: Answer) -> str:
    """Cheaper ways that the safety screen keeps out."""
    best = answer.table.loc[answer.verdict.best, "total_mean"]
    out = answer.table[~answer.table["allowed"] & (answer.table["total_mean"] < best)]
    if out.empty:
        return ""
    names = ", ".join(out.index)
    return f"Cheaper on paper, but not to be chosen on price alone ({out['why_not'].iloc[0]}): {names}."


def strip_first(answer: Answer) -> str:
    """That stripping before choosing pays, where the best way chosen for good now would be no rebuild."""
    b, currency = answer.bench, answer.case.terms.currency
    rebuilding = answer.case.way(b.best_commit).kind == "rebuild"
    if b.value_of_stripping is None or b.value_of_stripping <= 0 or rebuilding:
        return ""
    return (
        f"Strip it first, then choose by what you find: on average {money(b.value, currency)} all in, "
        f"{money(b.value_of_stripping, currency)} less than {b.best_commit} chosen for good now."
    )


def minding(answer: Answer) -> str:
    """What changes for an owner who minds the bad case or has set a cap."""
    r = answer.risk
    if r.tolerance is None and r.cap is None:
        return ""
    if not r.best:
        return f"No way that may be chosen keeps to your limits ({_limits(answer)})."
    if not r.changes:
        return "Your risk limits do not change this."
    return f"With your risk limits ({_limits(answer)}) the choice is {r.best} instead."


def _limits(answer: Answer) -> str:
    r, currency = answer.risk, answer.case.terms.currency
    tolerance = "" if r.tolerance is None else f"risk tolerance {money(r.tolerance, currency)}"
    cap = "" if r.cap is None else f"over {money(r.cap, currency)} at most {times_words(r.cap_chance)}"
    return ", ".join(filter(None, (tolerance, cap)))


def so_far(answer: Answer) -> list[str]:
    """What is done and found so far, and what it took."""
    lines = [f"Found: {f}." for f in answer.found]
    if answer.stage:
        spent, currency = answer.bench.spent, answer.case.terms.currency
        lines.append(
            f"Done up to {answer.stage}: spent {money(spent.cash, currency)} and {hours_words(spent.own_hours)} own "
            f"hours, expected; that is spent and not counted below."
        )
    return lines


def next_step(answer: Answer) -> str:
    """The first step of the best rule, what the freedom to stop is worth, and the repair limit."""
    b, currency = answer.bench, answer.case.terms.currency
    limit = _repair_limit(answer)
    if b.now == GO_ON:
        saved = money(b.cost_commit - b.value, currency)
        do = "Strip it and go on as below" if b.value_of_stripping is not None else "Go on as below"
        text = f"{do}: {money(b.value, currency)} on average, {saved} less than {b.best_commit} with no turning back."
        return f"{text} {limit}"
    if b.now in answer.table.index:
        do = "Stop here" if answer.stage else "Do not begin"
        stripping = ""
        if b.value_of_stripping is not None:
            stripping = f" Stripping it first would cost {money(-b.value_of_stripping, currency)} more on average."
        return f"{do}: take {b.now} now.{stripping} {limit}"
    if b.now == LEAVE:
        return f"Leave this unit alone and look elsewhere first: it may not be to blame. {limit}"
    return f"It depends on what you see now, as told below. {limit}"


def _repair_limit(answer: Answer) -> str:
    b, currency = answer.bench, answer.case.terms.currency
    if not b.limit_way:
        return ""
    rebuild = answer.table[(answer.table["kind"] == "rebuild") & answer.table["allowed"]]
    what = "Any repair from here is worth" if rebuild.empty else "Worth spending on the rebuild from here:"
    return (
        f"{what} at most {money(b.repair_limit, currency)} all in ({money(b.repair_limit_cash, currency)} if your own "
        f"time counts for nothing), which is what {b.limit_way} would cost."
    )


def stop_rule(answer: Answer) -> list[str]:
    """When to stop and what to do then, a sentence a stage and action."""
    lines = []
    points = list(dict.fromkeys(s.point for s in answer.stop_when if s.findings))
    for point in points:
        for action in dict.fromkeys(s.action for s in answer.stop_when if s.point == point and s.findings):
            stops = [s for s in answer.stop_when if s.point == point and s.action == action]
            told, left = stops[:MOST_TOLD], stops[MOST_TOLD:]
            when = "; or ".join(" with ".join(f"{e}: {o}" for e, o in s.findings) for s in told)
            more = (
                f"; or in {whole(len(left))} rarer cases ({chance_words(sum(s.chance for s in left))})" if left else ""
            )
            often = times_words(sum(s.chance for s in stops))
            do = "leave it and look elsewhere" if action == LEAVE else f"stop and take {action}"
            lines.append(f"After {STAGES[point]}, {do} if {when}{more} ({often}); else go on.")
    return lines


def look(worth: Worth, currency: str) -> str:
    """What one look is worth."""
    if not worth.has_look:
        return f"{capital(worth.look)}: worth up to {money(worth.evpi, currency)}."
    verdict = "do it" if worth.net > 0 else "not worth its cost"
    most, here = money(worth.evpi, currency), money(worth.evsi, currency)
    sure = f" (up to {most} if it were sure)" if most != here else ""
    return (
        f"{capital(worth.look)}: worth {here}{sure}, "
        f"costs {money(worth.cost, currency)}, net {money(worth.net, currency)}: {verdict}."
    )


def useful_looks(answer: Answer, most: int = 8) -> list[Worth]:
    """Looks at hand first, then what is worth knowing and how much, without the small change."""
    small = 0.005 * abs(answer.bench.value)
    at_hand = [w for w in answer.looks if w.has_look]
    others = [w for w in answer.looks if not w.has_look and w.evpi > small]
    return [*at_hand, *others][:most]


def order_time(answer: Answer) -> str:
    """Whether ordering the parts at another time would be better."""
    if answer.order_times.empty:
        return ""
    currency = answer.case.terms.currency
    rows = answer.order_times
    best = rows.loc[rows["expected_total"].idxmin()]
    told = "; ".join(
        f"{r['order']} {money(r['expected_total'], currency)}, {days_words(r['expected_days'])}, in vain "
        f"{times_words(r['p_in_vain'])}"
        for _, r in rows.iterrows()
    )
    return f"Order the parts {best['order']}: cheapest on average by the best rule ({told})."


def given_up(answer: Answer) -> str:
    """How often the chosen rebuild ends with a bought unit on top of what is spent."""
    row = answer.table.loc[answer.verdict.best]
    if row["p_given_up"] == 0:
        return ""
    return f"{capital(times_words(row['p_given_up']))} the rebuild is given up and a unit bought on top."


def never(answer: Answer) -> str:
    """The chance that the chosen way never comes, and what is done then."""
    return never_row(answer, answer.verdict.best)


def never_row(answer: Answer, way: str) -> str:
    """One way that may never come, and what is done instead; '' where it always comes."""
    row = answer.table.loc[way]
    if row["p_never"] == 0:
        return ""
    often = times_words(row["p_never"])
    if answer.case.way(way).traits.in_service == "rebuilt" and answer.case.way(way).bought:
        return f"{capital(way)}: {often} the spare never comes; then there is none."
    then = f"then {row['instead']}" if row["instead"] else "then it comes late, as no other way buys one"
    return f"{capital(way)}: {often} it never comes; {then}, after the wait."


def thumb_rule(rule: ThumbRule, currency: str) -> str:
    """One rule in use beside the computed answer."""
    if rule.limit is None:
        return f"{capital(rule.rule)} ({rule.source}): needs the unit's age and expected life."
    where = "agrees" if rule.agrees else "DISAGREES with the reckoning above"
    return (
        f"{capital(rule.rule)} ({rule.source}): up to {money(rule.limit, currency)} against "
        f"{money(rule.rebuild_cost, currency)} for the rebuild, so {rule.says}; {where}."
    )


def how_sampled(answer: Answer) -> str:
    """What is exact and what is sampled."""
    o = answer.outcomes
    return (
        f"Averages are exact over {whole(len(answer.leaves))} leaves of the tree; ranges and percentages are from "
        f"{whole(o.draws)} draws (seed {o.seed}) and are shown to the digits that supports."
    )


def over_the_years(answer: Answer) -> list[str]:
    """What each way comes to over the years, whether a spare pays, and what it hangs on."""
    h, currency = answer.horizon, answer.case.terms.currency
    years = h.years.horizon_years
    if years == 0:
        return []
    best = h.ways.loc[h.best]
    lines = [
        f"Over {number(years)} years {h.best} comes cheapest: {money(best['present_cost'], currency)} in today's "
        f"money, {money(best['annual_cost'], currency)} a year, {number(best['failures_expected'])} failures to expect "
        f"({times_words(best['p_failure_away'])} one away from base).",
        _against_today(answer),
        _break_even(answer),
        _in_time(answer),
        *_spares(answer),
        *own_lives(answer),
        "No open data give hours to failure of such units: the lives are the case's or assumed ones, so look at the "
        "life at which the choice turns before you lean on this.",
    ]
    return [line for line in lines if line]


def own_lives(answer: Answer) -> list[str]:
    """What the owner's own lives tell, or why they cannot."""
    lines = []
    for f in answer.life_fits:
        seen = f"{f.failures} failures and {f.survivors} still going"
        if f.refused:
            lines.append(f"Your own lives of {f.way} ({seen}, in {f.clock}) cannot tell: {f.refused}.")
        else:
            lines.append(
                f"Your own lives of {f.way} ({seen}): half last {number(f.median)} {f.clock}, 9 times in 10 between "
                f"{number(f.median_low)} and {number(f.median_high)}; shape {number(f.shape)}."
            )
    return lines


def _against_today(answer: Answer) -> str:
    h, v, currency = answer.horizon, answer.verdict, answer.case.terms.currency
    if h.best == v.best:
        return ""
    more = h.ways.loc[v.best, "present_cost"] - h.ways.loc[h.best, "present_cost"]
    return (
        f"{capital(v.best)} is cheaper today but comes to {money(more, currency)} more over these years, as it lasts "
        f"{number(h.ways.loc[v.best, 'median_life'])} years (half of them) against "
        f"{number(h.ways.loc[h.best, 'median_life'])}, or as the other leaves a spare aboard."
    )


def _break_even(answer: Answer) -> str:
    told = []
    for way in dict.fromkeys((answer.verdict.best, answer.horizon.best)):
        row = answer.horizon.ways.loc[way]
        if row["break_even_life"] is not None and row["break_even_life"] == row["break_even_life"]:
            told.append(
                f"{way} costs as much as the best other way if half of them last "
                f"{number(row['break_even_life'])} years (reckoned: {number(row['median_life'])})"
            )
    return capital("; ".join(told)) + "." if told else ""


def _in_time(answer: Answer) -> str:
    row = answer.horizon.ways.loc[answer.horizon.best]
    age = row["best_replacement_age"]
    if age > answer.horizon.years.horizon_years:
        return f"Renewing {answer.horizon.best} in time, before it fails, does not pay within these years."
    return f"Renewing {answer.horizon.best} in time pays, best at about {number(age)} years."


def _spares(answer: Answer) -> list[str]:
    h, currency = answer.horizon, answer.case.terms.currency
    lines = []
    for c in h.spares:
        if c.worth > 0 or c.cost > 0:
            pays = "pays" if c.net > 0 else "does not pay"
            lines.append(
                f"{capital(c.combination)}: saves {money(c.worth, currency)} over these years for "
                f"{money(c.cost, currency)} more, so it {pays} (net {money(c.net, currency)})."
            )
    return lines
