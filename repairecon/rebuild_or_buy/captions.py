"""What to do with each picture."""

from __future__ import annotations

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital
from repairecon.show.words import days_words, money, number, times_words


def ranges(answer: Answer) -> str:
    """Under the cost ranges."""
    v, currency = answer.verdict, answer.case.terms.currency
    best, mild = answer.table.loc[v.best], answer.table.loc[v.steadiest]
    over = money(best["total_p90"], currency, best["total_p90_se"])
    if v.best == v.steadiest:
        return f"{v.best}: lowest on average and in the bad case. Keep {over} ready before you begin."
    mildest = money(mild["total_p90"], currency, mild["total_p90_se"])
    return (
        f"Look at the right-hand ends first: if you could not bear {over} for {v.best}, "
        f"take {v.steadiest}, which stays under {mildest} nine times in ten."
    )


def curves(answer: Answer) -> str:
    """Under the chance that a way costs no more than x."""
    currency = answer.case.terms.currency
    middle = answer.table.loc[answer.verdict.best, "total_p50"]
    return (
        f"Find the sum that you can spend on the lower scale and take the way whose line is highest there: at "
        f"{money(middle, currency)}, {answer.verdict.best} is enough half the time."
    )


def tree(answer: Answer) -> str:
    """Under the damage tree."""
    ended = answer.leaves["chance"][answer.leaves["ends_rebuild"]].sum()
    bad = answer.leaves.loc[(answer.leaves["chance"] * answer.leaves["expected_extra_cost"]).idxmax()]
    currency = answer.case.terms.currency
    dear = money(bad["expected_extra_cost"], currency)
    return (
        f"Follow the broad streams from the left. {capital(times_words(ended))} the rebuild is given up and a unit "
        f"bought on top of what is spent; the dearest likely course adds {dear} ({times_words(bad['chance'])})."
    )


def days(answer: Answer) -> str:
    """Under money against days."""
    v = answer.verdict
    soonest = days_words(answer.table.loc[v.fastest, "days_p90"])
    if v.best == v.fastest:
        return f"Lower and further left is better: {v.best} is both cheapest and soonest."
    return (
        f"Lower and further left is better. If you sail in less than "
        f"{days_words(answer.table.loc[v.best, 'days_p90'])}, take {v.fastest}: "
        f"back within {soonest} nine times in ten."
    )


def swings(answer: Answer) -> str:
    """Under the swings."""
    crossing = [s.number for s in answer.swings if min(s.lead_low, s.lead_high) < 0]
    if not crossing:
        return f"No single number takes {answer.verdict.best} out of the lead between its good and its bad case."
    return f"Find out more about {crossing[0]} first: it alone can take {answer.verdict.best} out of the lead."


def years(answer: Answer) -> str:
    """Under the cost over the years."""
    h = answer.horizon
    return (
        f"Take the way that lies lowest at the year in which you mean to sell: at {number(h.years.horizon_years)} "
        f"years it is {h.best}."
    )


def spare(answer: Answer) -> str:
    """Under the worth of a spare."""
    h = answer.horizon
    days = mean_of(h.years.days_away)
    return (
        f"Carry the spare whose line is highest at the days more that a failure away takes you (the case says "
        f"{days_words(days)}), and none where all lie under the line."
    )
