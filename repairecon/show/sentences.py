"""The answer in sentences an owner can act on."""

from __future__ import annotations

from collections.abc import Iterable

from repairecon.chance.sensitivity import Flip
from repairecon.jobs.rebuild_or_buy import Answer, ThumbRule
from repairecon.show.words import chance_words, days_words, measured, money, number, times_words, whole


def capital(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def verdict(answer: Answer) -> str:
    """What to do, by what margin, and what it rests on."""
    v, table, currency = answer.verdict, answer.table, answer.case.terms.currency
    if not v.second:
        return f"{capital(v.best)}: the only way that passes the safety screen."
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
    return " ".join(
        filter(
            None,
            (
                text.strip(),
                given_up(answer),
                nearest_flip(answer),
                never(answer),
                spare(answer),
                barred(answer),
            ),
        )
    )


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
