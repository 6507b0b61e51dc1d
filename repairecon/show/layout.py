"""Plain text for a terminal: folded lines, aligned tables, a screen that fits."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

WIDTH, NARROW, WIDE, NARROWEST, LONGEST_FIGURE = 100, 80, 120, 10, 24
"""Columns of a page that is no terminal, fewest and most of one that is; narrowest column of words in a table."""


def terminal_width() -> int:
    """Columns to write in: the terminal's, between NARROW and WIDE."""
    return min(max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROW), WIDE)


def for_terminal(text: str) -> str:
    """A screen with its first line bold where a person reads it, unless NO_COLOR is set; else as it is."""
    plain = not sys.stdout.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    first, mark, rest = text.partition("\n")
    return text if plain else f"\x1b[1m{first}\x1b[0m{mark}{rest}"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def section(title: str, lines: Sequence[str], width: int = WIDTH) -> str:
    """A title over wrapped lines, empty without lines."""
    if not lines:
        return ""
    return title + "\n" + "\n".join(wrapped(line, "- ", width) for line in lines)


def wrapped(text: str, lead: str = "", width: int = WIDTH) -> str:
    return textwrap.fill(text, width, initial_indent=lead, subsequent_indent=" " * len(lead))


def shortened(text: str, width: int) -> str:
    """Text cut to one line, at a word."""
    return textwrap.shorten(text, width, placeholder=" ...")


@dataclass(frozen=True)
class Block:
    """Lines of a screen in ever shorter forms, each with a rank: the form of the highest rank is given up first."""

    forms: Sequence[tuple[int, Sequence[str]]]

    @classmethod
    def of(cls, lead: str, sentences: Sequence[str], width: int, drop: int, cut: int) -> Block:
        """Sentences after a lead: the last dropped one by one (at rank ``drop``), then the first cut (at ``cut``)."""
        if not sentences:
            return cls([(0, [])])
        indent = "  " if lead else ""
        forms = [
            (drop if many > 1 else cut,
             textwrap.wrap(" ".join([lead, *sentences[:many]]).strip(), width, subsequent_indent=indent))
            for many in range(len(sentences), 0, -1)
        ]  # fmt: skip
        return cls([*forms, (0, [shortened(f"{lead} {sentences[0]}".strip(), width)])])

    @classmethod
    def of_table(cls, table: pd.DataFrame, width: int, fewest: int, left_out: str) -> Block:
        """A table, its first column cut to fit; the last rows are left out one by one, down to the ``fewest``."""
        first, *others = table.columns
        room = width - sum(2 + max(map(len, [name, *table[name]])) for name in others)
        cut = table.assign(**{first: [shortened(text, room) for text in table[first]]})
        head, _, *rows = as_text(cut).split("\n")
        forms = [(8, [head, *rows])]
        for many in range(len(rows) - 2, fewest - 1, -1):
            forms.append((7, [head, *rows[:many], f"({len(rows) - many} {left_out}: --full)"]))
        return cls(forms)


def fitted(blocks: Sequence[Block], most: int) -> list[str]:
    """The lines of all blocks, the form of the highest rank shortened until there are at most ``most`` lines."""
    form = [0] * len(blocks)
    while sum(len(b.forms[k][1]) for b, k in zip(blocks, form, strict=True)) > most:
        can = [k for k, b in enumerate(blocks) if form[k] + 1 < len(b.forms)]
        if not can:
            break
        form[max(can, key=lambda k: blocks[k].forms[form[k]][0])] += 1
    return [line for b, k in zip(blocks, form, strict=True) for line in b.forms[k][1]]


def as_text(frame: pd.DataFrame, *, fold: bool = False, width: int = WIDTH) -> str:
    """A table as aligned text, words left, numbers right, no index; ``fold`` brings words down to a page's width."""
    columns = [[str(c), *map(str, frame[c])] for c in frame.columns]
    # to the right stand figures, but no sentences with figures in them
    figures = [all(len(x) <= LONGEST_FIGURE and any(map(str.isdigit, x)) for x in cells) for _, *cells in columns[1:]]
    aligned = [str.ljust, *(str.rjust if is_so else str.ljust for is_so in figures)]
    widths = [max(map(len, c)) for c in columns]
    if fold and sum(widths) + 2 * (len(widths) - 1) > width:
        widths = _fitting(columns, [k for k, to in enumerate(aligned) if to is str.ljust], width)
    if not widths:
        return _paragraphs(columns, width)
    lines = list[str]()
    for k, row in enumerate(zip(*columns, strict=True)):
        folded = [textwrap.wrap(x, w) if len(x) > w else [x] for x, w in zip(row, widths, strict=True)]
        for cells in zip_longest(*folded, fillvalue=""):
            put = (to(x, w) for to, x, w in zip(aligned, cells, widths, strict=True))
            lines.append("  ".join(put).rstrip())
        if k == 0:
            lines.append("  ".join("-" * w for w in widths))
    return "\n".join(lines)


def _paragraphs(columns: list[list[str]], width: int) -> str:
    """A table that is too wide: a paragraph a row, each cell after its heading."""
    (_, *heads), *rows = zip(*columns, strict=True)
    said = [(first, [f"{head}: {x}" for head, x in zip(heads, rest, strict=True) if x]) for first, *rest in rows]
    return "\n".join(textwrap.fill(f"{first}: {'; '.join(x)}", width, subsequent_indent="  ") for first, x in said)


def _fitting(columns: list[list[str]], words: list[int], width: int) -> list[int]:
    """Widths of columns on a page: headings folded first, then the widest words; none if it cannot be."""
    narrow = [max(*map(len, cells), *map(len, head.split())) for head, *cells in columns]
    while sum(narrow) + 2 * (len(narrow) - 1) > width:
        widest = max(words, key=narrow.__getitem__)
        if narrow[widest] <= NARROWEST:
            return []
        narrow[widest] -= 1
    return narrow
