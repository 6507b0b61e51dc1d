"""Pieces of the answer for a notebook: escaped HTML with the same words as plain text beside it."""

from __future__ import annotations

import pandas as pd

from repairecon.rebuild_or_buy import captions, sentences, summary, years_told
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital
from repairecon.show.sheet import Panel


def heading(answer: Answer) -> Panel:
    """What has failed, what was found, and whose figures these are."""
    unit = answer.case.unit
    title = capital(unit.name) + (f": {unit.symptom}" if unit.symptom else "")
    lines = [f"Figures: {unit.figures}."] if unit.figures else []
    lines += sentences.so_far(answer)
    return Panel(title, lines, listed=False)


def verdict(answer: Answer) -> Panel:
    """What to do and by what margin."""
    return Panel("Verdict", [sentences.verdict(answer)], listed=False)


def bench(answer: Answer) -> Panel:
    """What to do next, and the stop rule."""
    return Panel("At the bench: when to go on, when to stop", summary.bench_lines(answer))


def looks(answer: Answer) -> Panel:
    """What to look at first, and what it is worth."""
    currency = answer.case.terms.currency
    return Panel("Look first", [sentences.look(w, currency) for w in sentences.useful_looks(answer)])


def flips(answer: Answer) -> Panel:
    """Where another way takes over."""
    return Panel("Where it flips", [sentences.flip(f) + "." for f in sentences.useful_flips(answer.flips)])


def beside(answer: Answer) -> Panel:
    """Thumb rules beside the reckoning, ways that may never come, how it was sampled."""
    currency = answer.case.terms.currency
    lines = [sentences.thumb_rule(r, currency) for r in answer.thumb_rules]
    lines += summary.ruled_out(answer)
    lines += summary.nevers(answer)
    return Panel("Thumb rules, ways ruled out, and ways that may never come", [*lines, sentences.how_sampled(answer)])


def cautions(answer: Answer) -> Panel:
    """What to ask before an order, and cautions that fit the unit."""
    return Panel("Before you start", [*summary.questions(answer), *answer.cautions])


def tables(answer: Answer) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Where the prices come from, and what was assumed."""
    return summary.price_table(answer).set_index("item"), summary.assumed_table(answer).set_index("assumed")


def years(answer: Answer) -> Panel:
    """What each way comes to over the years, and whether a spare pays."""
    lines = years_told.over_the_years(answer) or ["Only this job is looked at: give horizon_years to look further."]
    return Panel("Over the years", lines)


def show_years(answer: Answer) -> None:
    """Put the table and pictures of the years on the page, if they are looked at."""
    from IPython.display import display

    from repairecon.rebuild_or_buy import charts

    display(years(answer))
    if answer.horizon.years.horizon_years == 0:
        return
    currency = answer.case.terms.currency
    display(summary.years_table(answer))
    charts.show(charts.cost_over_years(_best_fans(answer), currency, captions.years(answer)))
    if not answer.horizon.spare_lines.empty:
        charts.show(charts.spare_worth(answer.horizon.spare_lines, currency, captions.spare(answer)))


def _best_fans(answer: Answer) -> pd.DataFrame:
    """The fans of the ways that may be chosen."""
    allowed = answer.table.index[answer.table["allowed"]]
    fan: pd.DataFrame = answer.horizon.fan
    return fan[fan["way"].isin(allowed)]


def swings_frame(answer: Answer) -> pd.DataFrame:
    """The swings as the chart takes them."""
    columns = ["number", "unit", "value_low", "value_high", "lead_low", "lead_high"]
    rows = [[getattr(s, c) for c in columns] for s in answer.swings]
    return pd.DataFrame(rows, columns=columns).assign(lead_now=answer.verdict.gap)
