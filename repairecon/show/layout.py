"""Plain text for a terminal: titles, folded lines, aligned tables."""

from __future__ import annotations

import textwrap
from itertools import zip_longest

import pandas as pd

WIDTH, NARROWEST = 100, 14


def capital(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def section(title: str, lines: list[str]) -> str:
    """A title over wrapped lines, empty without lines."""
    if not lines:
        return ""
    return title + "\n" + "\n".join(wrapped(line, "- ") for line in lines)


def wrapped(text: str, lead: str = "") -> str:
    """Text broken to the width of the page."""
    return textwrap.fill(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))


def as_text(frame: pd.DataFrame, name: str = "way", *, fold: bool = False) -> str:
    """A table as aligned text, words to the left, numbers to the right; ``name`` heads the index, if shown.

    ``fold`` brings words down to a page's width.
    """
    shown = frame.rename_axis(name).reset_index() if name else frame
    columns = [[str(c), *map(str, shown[c])] for c in shown.columns]
    left = [k == 0 or not _numeric(c[1:]) for k, c in enumerate(columns)]
    widths = [max(map(len, c)) for c in columns]
    widths = _fitting(widths, left) if fold else widths
    lines = []
    for k, row in enumerate(zip(*columns, strict=True)):
        folded = [textwrap.wrap(x, w) if len(x) > w else [x] for x, w in zip(row, widths, strict=True)]
        for cells in zip_longest(*folded, fillvalue=""):
            put = [x.ljust(w) if is_left else x.rjust(w) for x, w, is_left in zip(cells, widths, left, strict=True)]
            lines.append("  ".join(put).rstrip())
        if k == 0:
            lines.append("  ".join("-" * w for w in widths))
    return "\n".join(lines)


def _fitting(widths: list[int], left: list[bool]) -> list[int]:
    """Widths of columns, the widest of words narrowed until the table goes on the page; as they are if it cannot."""
    narrow = list(widths)
    while sum(narrow) + 2 * (len(narrow) - 1) > WIDTH:
        widest = max((k for k, is_left in enumerate(left) if is_left), key=narrow.__getitem__)
        if narrow[widest] <= NARROWEST:
            return widths
        narrow[widest] -= 1
    return narrow


def _numeric(cells: list[str]) -> bool:
    return all(any(ch.isdigit() for ch in c) for c in cells)
