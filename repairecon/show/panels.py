"""Pieces of the answer for a notebook: escaped HTML with the same words as plain text beside it."""

from __future__ import annotations

import html
from collections.abc import Sequence

import pandas as pd

from repairecon.jobs.rebuild_or_buy import Answer
from repairecon.show import sentences, summary

STYLE = "max-width:52em;line-height:1.45;font-size:1.02em"


class Panel:
    """A titled list of sentences, or one paragraph; shows itself in a notebook."""

    def __init__(self, title: str, lines: Sequence[str], *, listed: bool = True) -> None:
        self.title, self.lines, self.listed = title, list(lines), listed

    def __repr__(self) -> str:
        lead = "- " if self.listed else ""
        return "\n".join([self.title, *(lead + line for line in self.lines)]).strip()

    def _repr_html_(self) -> str:
        title = f"<h3>{html.escape(self.title)}</h3>" if self.title else ""
        texts = [html.escape(line) for line in self.lines]
        if self.listed:
            body = "<ul>" + "".join(f"<li>{t}</li>" for t in texts) + "</ul>"
        else:
            body = "".join(f"<p>{t}</p>" for t in texts)
        return f'<div style="{STYLE}">{title}{body}</div>'


def heading(answer: Answer) -> Panel:
    """What has failed, what was found, and whose figures these are."""
    unit = answer.case.unit
    title = sentences.capital(unit.name) + (f": {unit.symptom}" if unit.symptom else "")
    lines = [f"Figures: {unit.figures}."] if unit.figures else []
    lines += [f"Found: {e} = {o}." for e, o in answer.found.items()]
    return Panel(title, lines, listed=False)


def verdict(answer: Answer) -> Panel:
    """What to do and by what margin."""
    return Panel("Verdict", [sentences.verdict(answer)], listed=False)


def flips(answer: Answer) -> Panel:
    """Where another way takes over."""
    return Panel("Where it flips", [sentences.flip(f) + "." for f in sentences.useful_flips(answer.flips)])


def beside(answer: Answer) -> Panel:
    """Thumb rules beside the reckoning, ways that may never come, how it was sampled."""
    currency = answer.case.terms.currency
    lines = [sentences.thumb_rule(r, currency) for r in answer.thumb_rules]
    lines += summary.nevers(answer)
    return Panel("Thumb rules, and ways that may never come", [*lines, sentences.how_sampled(answer)])


def cautions(answer: Answer) -> Panel:
    """Cautions that fit the unit."""
    return Panel("Before you start", list(answer.cautions))


def tables(answer: Answer) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Where the prices come from, and what was assumed."""
    return summary.price_table(answer).set_index("item"), summary.assumed_table(answer).set_index("assumed")
