"""The years after the job in sentences an owner can act on."""

from __future__ import annotations

from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital
from repairecon.show.words import money, number, times_words


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
