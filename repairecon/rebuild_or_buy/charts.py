"""The pictures of an answer, each with a caption that says what to do with it; both from the same figures."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy import charts_money, charts_tree, charts_years
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital
from repairecon.show.words import days_words, money, number, times_words


def ranges(answer: Answer) -> Axes:
    """What each way costs, from the good case to the bad."""
    v, currency = answer.verdict, answer.case.terms.currency
    best, mild = answer.table.loc[v.best], answer.table.loc[v.steadiest]
    over = money(best["total_p90"], currency, best["total_p90_se"])
    if v.best == v.steadiest:
        caption = f"{v.best}: lowest on average and in the bad case. Keep {over} ready before you begin."
    else:
        mildest = money(mild["total_p90"], currency, mild["total_p90_se"])
        caption = (
            f"Look at the right-hand ends first: if you could not bear {over} for {v.best}, "
            f"take {v.steadiest}, which stays under {mildest} nine times in ten."
        )
    return charts_money.cost_ranges(answer.table, currency, caption)


def curves(answer: Answer) -> Axes:
    """The chance that a way costs no more than a sum."""
    currency = answer.case.terms.currency
    middle = money(answer.table.loc[answer.verdict.best, "total_p50"], currency)
    caption = (
        "Find the sum that you can spend on the lower scale and take the way whose line is highest there: at "
        f"{middle}, {answer.verdict.best} is enough half the time."
    )
    return charts_money.chance_below(answer.curves, currency, caption)


def days(answer: Answer) -> Axes:
    """Cash against days out of service."""
    v = answer.verdict
    soonest = days_words(answer.table.loc[v.fastest, "days_p90"])
    if v.best == v.fastest:
        caption = f"Lower and further left is better: {v.best} is both cheapest and soonest."
    else:
        caption = (
            f"Lower and further left is better. If you sail in less than "
            f"{days_words(answer.table.loc[v.best, 'days_p90'])}, take {v.fastest}: "
            f"back within {soonest} nine times in ten."
        )
    return charts_money.money_against_days(answer.table, answer.case.terms.currency, caption)


def tree(answer: Answer) -> Axes:
    """What may be found inside."""
    ended = answer.leaves["chance"][answer.leaves["ends_rebuild"]].sum()
    bad = answer.leaves.loc[(answer.leaves["chance"] * answer.leaves["expected_extra_cost"]).idxmax()]
    currency = answer.case.terms.currency
    dear = money(bad["expected_extra_cost"], currency)
    caption = (
        f"Follow the broad streams from the left. {capital(times_words(ended))} the rebuild is given up and a unit "
        f"bought on top of what is spent; the dearest likely course adds {dear} ({times_words(bad['chance'])})."
    )
    return charts_tree.damage_tree(answer.nodes, currency, caption)


def swings(answer: Answer) -> Axes:
    """How far each number moves the lead of the cheapest way."""
    crossing = [s.number for s in answer.swings if min(s.lead_low, s.lead_high) < 0]
    best = answer.verdict.best
    caption = f"No single number takes {best} out of the lead between its good and its bad case."
    if crossing:
        caption = f"Find out more about {crossing[0]} first: it alone can take {best} out of the lead."
    columns = ["number", "unit", "value_low", "value_high", "lead_low", "lead_high"]
    frame = pd.DataFrame([[getattr(s, c) for c in columns] for s in answer.swings], columns=columns)
    return charts_years.swings(frame.assign(lead_now=answer.verdict.gap), answer.case.terms.currency, caption)


def years(answer: Answer) -> Axes:
    """What each way that may be chosen costs over the years."""
    h, fan = answer.horizon, answer.horizon.fan
    allowed = answer.table.index[answer.table["allowed"]]
    caption = (
        f"Take the way that lies lowest at the year in which you mean to sell: at {number(h.years.horizon_years)} "
        f"years it is {h.best}."
    )
    return charts_years.cost_over_years(fan[fan["way"].isin(allowed)], answer.case.terms.currency, caption)


def spare(answer: Answer) -> Axes:
    """What a spare aboard is worth."""
    h = answer.horizon
    away = days_words(mean_of(h.years.days_away))
    caption = (
        f"Carry the spare whose line is highest at the days more that a failure away takes you (the case says "
        f"{away}), and none where all lie under the line."
    )
    return charts_years.spare_worth(h.spare_lines, answer.case.terms.currency, caption)
