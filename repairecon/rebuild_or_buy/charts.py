"""The pictures of an answer, each with a caption that says what to do with it; both from the same figures."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy import charts_money, charts_tree, charts_years
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, money, number


def _chosen(answer: Answer) -> str:
    """The way of the advice; the cheapest for this job where none is advised."""
    return answer.advice.way if answer.advice.way in answer.table.index else answer.verdict.best


def ranges(answer: Answer, ax: Axes | None = None) -> Axes:
    """What each way costs, from the good case to the bad."""
    chosen, steady, currency = _chosen(answer), answer.verdict.steadiest, answer.case.terms.currency
    row, mild = answer.table.loc[chosen], answer.table.loc[steady]
    over = money(row["total_p90"], currency, row["total_p90_se"])
    caption = f"Keep {over} ready before you begin: {chosen} has the mildest bad case."
    if chosen != steady:
        mildest = money(mild["total_p90"], currency, mild["total_p90_se"])
        caption = (
            f"Look at the right-hand ends first: if you could not bear {over} for {chosen}, "
            f"take {steady}, which stays under {mildest} nine times in ten."
        )
    return charts_money.cost_ranges(answer.table, currency, caption, ax)


def curves(answer: Answer, ax: Axes | None = None) -> Axes:
    """The chance that a way costs no more than a sum."""
    chosen, currency = _chosen(answer), answer.case.terms.currency
    middle = money(answer.table.loc[chosen, "total_p50"], currency, answer.table.loc[chosen, "total_p90_se"])
    caption = (
        "Find the sum that you can spend on the lower scale and take the way whose line is highest there: "
        f"{middle} is enough half the time for {chosen}."
    )
    return charts_money.chance_below(answer.curves, currency, caption, ax)


def days(answer: Answer, ax: Axes | None = None) -> Axes:
    """Cash against days out of service."""
    chosen, fast = _chosen(answer), answer.verdict.fastest
    within, soonest = (days_words(answer.table.loc[way, "days_p90"]) for way in (chosen, fast))
    caption = f"Lower and further left is better: {chosen} is the soonest, back within {soonest} nine times in ten."
    if chosen != fast:
        caption = (
            f"Lower and further left is better. {capital(chosen)} is back within {within} nine times in ten; if you "
            f"sail before that, take {fast}: within {soonest}."
        )
    return charts_money.money_against_days(answer.table, answer.case.terms.currency, caption, ax)


def tree(answer: Answer, ax: Axes | None = None, keep: int = charts_tree.KEEP_ENDS) -> Axes:
    """What may be found inside, with so many ends at most."""
    ended = answer.leaves["chance"][answer.leaves["ends_rebuild"]].sum()
    bad = answer.leaves.loc[(answer.leaves["chance"] * answer.leaves["expected_extra_cost"]).idxmax()]
    currency = answer.case.terms.currency
    dear = money(bad["expected_extra_cost"], currency)
    caption = (
        f"Follow the broad streams from the left. {capital(chance_words(ended))} that the rebuild ends in a bought "
        f"unit on top of what is spent; the course that weighs most adds {dear} ({chance_words(bad['chance'])})."
    )
    return charts_tree.damage_tree(answer.nodes, currency, caption, ax, keep)


def swings(answer: Answer, ax: Axes | None = None) -> Axes:
    """How far each number moves the lead of the cheapest way."""
    crossing = [s.number for s in answer.swings if min(s.lead_low, s.lead_high) < 0]
    best = answer.verdict.best
    caption = f"No single number takes {best} out of the lead between its good and its bad case."
    if crossing:
        caption = f"Find out more about {crossing[0]} first: it alone can take {best} out of the lead."
    columns = ["number", "unit", "value_low", "value_high", "lead_low", "lead_high"]
    frame = pd.DataFrame([[getattr(s, c) for c in columns] for s in answer.swings], columns=columns)
    return charts_years.swings(frame.assign(lead_now=answer.verdict.gap), answer.case.terms.currency, caption, ax)


def years(answer: Answer, ax: Axes | None = None) -> Axes:
    """What each way that may be chosen costs over the years."""
    h, fan = answer.horizon, answer.horizon.fan
    allowed = answer.table.index[answer.table["allowed"]]
    caption = (
        f"Take the way that lies lowest at the year in which you mean to sell: at {number(h.years.horizon_years)} "
        f"years it is {h.best}."
    )
    return charts_years.cost_over_years(fan[fan["way"].isin(allowed)], answer.case.terms.currency, caption, ax)


def spare(answer: Answer, ax: Axes | None = None) -> Axes:
    """What a spare aboard is worth."""
    h = answer.horizon
    away = days_words(mean_of(h.years.days_away))
    caption = (
        f"Carry the spare whose line is highest at the days more that a failure away takes you (the case says "
        f"{away}), and none where all lie under the line."
    )
    return charts_years.spare_worth(h.spare_lines, answer.case.terms.currency, caption, ax)
