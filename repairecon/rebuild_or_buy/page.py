"""The page to read and print: the advice on top, pictures beside the words they prove, the rest as an appendix."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from repairecon.rebuild_or_buy import charts, headline, parts, sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.plots import Picture
from repairecon.show.report import render, version

EACH_WAY, LEAST, LOW, HIGH = 0.95, 2.4, 5.0, 6.5
"""Height of the picture of ranges on a narrow page, a way and in all; of low and high pictures [inch]."""
ENDS = 9
"""Ends of the tree that stay legible on paper."""


def page(answer: Answer, today: date | None = None) -> str:
    """The whole answer as one offline page."""
    folder, figures = Path(answer.case.folder).name, answer.case.unit.figures
    about = [f"Case {folder}", (today or date.today()).isoformat(), f"repairecon {version()}"]
    about += [f"figures: {figures}"] if figures else []
    first, *why = headline.advice(answer)
    said = [first, " ".join(why), *sentences.so_far(answer)]
    return render(
        parts.title(answer), ", ".join(about), [s for s in said if s], list(_main(answer)), list(_rest(answer))
    )


def _main(answer: Answer) -> Iterator[Any]:
    """What an owner reads before choosing."""
    rebuilds = bool(answer.leaves["ends_rebuild"].any() or len(answer.nodes) > 1)
    yield parts.ways(answer)
    yield from parts.cautions(answer)
    yield Picture.of(lambda ax: charts.ranges(answer, ax), LEAST + EACH_WAY * len(answer.table))
    yield from parts.looks(answer)
    yield from parts.bench(answer)
    if rebuilds:
        yield Picture.of(lambda ax: charts.tree(answer, ax, ENDS), HIGH)
    said, *_ = parts.years(answer)
    yield said
    if answer.horizon.years.horizon_years > 0:
        yield Picture.of(lambda ax: charts.years(answer, ax), LOW)
    yield from parts.flips(answer)
    if answer.swings:
        yield Picture.of(lambda ax: charts.swings(answer, ax), LOW)


def _rest(answer: Answer) -> Iterator[Any]:
    """What it rests on."""
    yield from parts.ranges(answer)
    yield Picture.of(lambda ax: charts.curves(answer, ax), HIGH)
    yield Picture.of(lambda ax: charts.days(answer, ax), HIGH)
    yield from parts.years(answer)[1:]
    if not answer.horizon.spare_lines.empty:
        yield Picture.of(lambda ax: charts.spare(answer, ax), LOW)
    yield from parts.rules(answer)
    yield from parts.prices(answer)
    yield from parts.assumed(answer)
