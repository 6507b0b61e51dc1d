"""Pieces of the answer for a notebook: escaped HTML with the same words as plain text beside it."""

from __future__ import annotations

import pandas as pd

from repairecon.rebuild_or_buy import sentences, summary
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
    """Cautions that fit the unit."""
    return Panel("Before you start", list(answer.cautions))


def tables(answer: Answer) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Where the prices come from, and what was assumed."""
    return summary.price_table(answer).set_index("item"), summary.assumed_table(answer).set_index("assumed")


def years(answer: Answer) -> Panel:
    """What each way comes to over the years, and whether a spare pays."""
    lines = sentences.over_the_years(answer) or ["Only this job is looked at: give horizon_years to look further."]
    return Panel("Over the years", lines)


def show_years(answer: Answer) -> None:
    """Put the table and pictures of the years on the page, if they are looked at."""
    from IPython.display import display

    from repairecon.rebuild_or_buy import charts
    from repairecon.show.plots import show

    display(years(answer))
    if answer.horizon.years.horizon_years == 0:
        return
    display(summary.years_table(answer))
    show(charts.years(answer))
    if not answer.horizon.spare_lines.empty:
        show(charts.spare(answer))
