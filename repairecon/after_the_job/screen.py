"""The faces of the job after the job: first screen, all of it as text, the blocks of notebook and page, the page."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from repairecon.after_the_job import words
from repairecon.after_the_job.job import AfterTheJob
from repairecon.show.layout import Block, as_text, capital, fitted, shortened, terminal_width, wrapped
from repairecon.show.sheet import Panel, Sheet, text_of

if TYPE_CHECKING:
    from repairecon.show.plots import Picture

MOST_LINES, STEPS = 24, 7
"""Lines of the first screen; steps from estimate to actual on it."""


def _title(found: AfterTheJob) -> tuple[str, str]:
    """What was done, and what its figures are."""
    return (capital(found.case.unit.name), found.case.unit.figures) if found.case else (capital(found.name), "")


def first_screen(found: AfterTheJob, width: int = 0) -> str:
    """Whether the choice was right and what it came to, the largest steps, the ranges, what is learned."""
    width, (title, figures) = width or terminal_width(), _title(found)
    figures = figures and f"figures: {figures}"
    head = shortened(title, width - len(figures) - 2)
    first, *why = words.verdict_lines(found)
    table = words.bridge_table(found, STEPS)
    steps = as_text(table, fold=True, width=width).split("\n") if len(table) else []
    blank = Block([(0, [""] if steps else [])])
    blocks = [
        Block([(0, [f"{head}{figures.rjust(width - len(head))}".rstrip()])]),
        Block([(0, wrapped(first, width=width).split("\n"))]),
        Block.of("", why, width, 3, 1),
        blank, Block([(2, steps[:1] + steps[2:]), (0, steps[-1:])]), blank,
        Block.of("Your ranges:", [*words.held_shortly(found), *filter(None, [words.chances(found)])], width, 5, 3),
        Block.of("The log teaches:", words.learned(found), width, 6, 3),
        Block.of("", [words.decided(found)] if not found.nothing_written else [], width, 4, 2),
        Block([(0, ["More: --full"])]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def verdict(found: AfterTheJob) -> Panel:
    """Whether the choice was right, what it came to and took."""
    first, *why = words.verdict_lines(found)
    said = [first, " ".join(why), "" if found.nothing_written else words.decided(found)]
    return Panel(f"After the job: {_title(found)[0]}", [s for s in said if s], listed=False)


def full(found: AfterTheJob) -> str:
    """All of it as text for a terminal."""
    return text_of([verdict(found), *main(found, pictures=False), *rest(found)])


def main(found: AfterTheJob, *, pictures: bool = True) -> Iterator[Panel | Sheet | Picture]:
    """What an owner reads after a job; without pictures for a terminal."""
    if pictures:
        from repairecon.after_the_job import charts

        yield from charts.bridge_picture(found)
    elif found.bridge is not None:
        yield Sheet(words.bridge_table(found), "From the estimate to what it came to")
    if found.hindsight is not None:
        yield Sheet(words.ways_table(found), f"The ways, then and now, in {found.currency} all in")
    yield Panel("Do the ranges hold", words.held_lines(found))
    if pictures:
        yield from charts.log_pictures(found)
    yield Panel("What the log teaches", words.learned(found))
    if pictures:
        yield from charts.learned_pictures(found)


def rest(found: AfterTheJob) -> Iterator[Panel | Sheet]:
    """What it rests on: every step, the ranges in figures, every figure learned, what was bought and fitted."""
    if found.bridge is not None:
        every = words.bridge_table(found, len(found.bridge.steps))
        yield Sheet(every, "Every step from the estimate to what it came to")
    tables = {
        "The ranges in figures": words.held_table(found),
        "Every figure before and after the log": words.learned_table(found),
        "Into and out of the stores": words.movements_table(found),
    }
    yield from (Sheet(table, name) for name, table in tables.items() if len(table))


def page(found: AfterTheJob, today: date | None = None) -> str:
    """The whole answer as one offline page."""
    from repairecon.show.report import about, render

    panel, where = verdict(found), about(f"Job {found.name}", today or date.today(), _title(found)[1])
    return render(panel.title, where, panel.lines, main(found), rest(found))
