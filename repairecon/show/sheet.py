"""What shows itself in a notebook: a table of words, shown whole, a titled list of sentences, an answer in short; and
a notebook's parameters: one that it does not have is refused, whatever runs it."""

from __future__ import annotations

import ast
import html
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from functools import cached_property

import pandas as pd

from repairecon.records import RepaireconError
from repairecon.show.layout import as_text, terminal_width, wrapped

_NUMBER = re.compile(r"([A-Z]{3} )?-?[\d,]+(\.\d+)?( (%|days?|more|less|in 100))?")
STYLE = """<style>.sheet{border-collapse:collapse;font-size:.85em;line-height:1.3}
.sheet td,.sheet th{padding:.25em .6em;text-align:left;vertical-align:top;white-space:normal;border:0;
border-bottom:1px solid #ccd3dc}.sheet .n{text-align:right}
.sheet td.n{white-space:nowrap}</style>"""


class Sheet:
    """A table that shows itself, numbers to the right and words to the left, folded where they are long."""

    def __init__(self, table: pd.DataFrame, title: str = "") -> None:
        self.table, self.title = table, title

    @property
    def rows(self) -> list[list[tuple[str, str]]]:
        """Heading and text of each cell, row by row."""
        names = [str(name) for name in self.table.columns]
        return [list(zip(names, map(str, row), strict=True)) for row in self.table.itertuples(index=False)]

    @property
    def leads(self) -> bool:
        """Whether of two columns the first is the one with more to say."""
        if len(self.table.columns) != 2:
            return False
        first, second = (sum(len(str(x)) for x in self.table[name]) for name in self.table.columns)
        return first > second

    @cached_property
    def numeric(self) -> dict[str, bool]:
        """Whether a column holds nothing but numbers."""
        blank = ("", "never", "barred", "not known", "none", "?", "-")
        filled = {str(name): [x for x in map(str, self.table[name]) if x not in blank] for name in self.table.columns}
        return {name: bool(cells) and all(map(_NUMBER.fullmatch, cells)) for name, cells in filled.items()}

    def __repr__(self) -> str:
        text = as_text(self.table, fold=bool(self.title)) if len(self.table) else "nothing"
        return f"{self.title}\n{text}" if self.title else text

    def _repr_html_(self) -> str:
        kinds = [' class="n"' if number else "" for number in self.numeric.values()]
        caption = f'<caption style="text-align:left">{html.escape(self.title)}</caption>' if self.title else ""
        lines = [_row("th", [str(name) for name in self.table.columns], kinds)]
        lines += [_row("td", [cell for _, cell in row], kinds) for row in self.rows]
        return f'{STYLE}<table class="sheet">{caption}\n' + "\n".join(lines) + "\n</table>"


def _row(tag: str, cells: list[str], kinds: list[str]) -> str:
    made = (f"<{tag}{kind}>{html.escape(cell)}</{tag}>" for cell, kind in zip(cells, kinds, strict=True))
    return f"<tr>{''.join(made)}</tr>"


class Panel:
    """A titled list of sentences, or one paragraph; shows itself in a notebook."""

    def __init__(self, title: str, lines: Iterable[str], *, listed: bool = True) -> None:
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
        return f'<div style="max-width:52em;line-height:1.45;font-size:1.02em">{title}{body}</div>'


class Shown(ABC):
    """An answer that shows itself: its title and its advice."""

    @abstractmethod
    def said(self) -> Panel:
        """Title and advice."""

    def __repr__(self) -> str:
        return repr(self.said())

    def _repr_html_(self) -> str:
        return self.said()._repr_html_()


def text_of(blocks: Iterable[object]) -> str:
    """Sentences and tables as plain text in the terminal's width; pictures are left out."""
    width, said = terminal_width(), []
    for b in blocks:
        if isinstance(b, Panel) and b.lines:
            lines = [wrapped(line, "- " if b.listed else "", width) for line in b.lines]
            said.append("\n".join([*([b.title] if b.title else []), *lines]))
        elif isinstance(b, Sheet) and len(b.table):
            title = [wrapped(b.title, width=width)] if b.title else []
            said.append("\n".join([*title, as_text(b.table, fold=True, width=width)]))
    return "\n\n".join(said) + "\n"


def only_known_parameters(run: Sequence[str] | None = None) -> None:
    """Refuse each name that a runner set and the parameters' cell does not have, and say what it has. Runners put a
    cell of their own behind the one whose names are annotated (``folder: str = ...``). Called from the cell after both;
    ``run`` is the source of the cells run so far, by default those of the running notebook."""
    if run is None:
        from IPython.core.getipython import get_ipython

        shell = get_ipython()
        run = [] if shell is None else list(shell.user_ns["In"])[1:-1]
    known = next(filter(None, (_names(source, ast.AnnAssign) for source in reversed(run))), [])
    unknown = [name for source in run[-1:] for name in _names(source, ast.Assign) if name not in known]
    if unknown:
        near = {name: get_close_matches(name, known, 1) for name in unknown}
        said = ", ".join(name + (f" (did you mean {close[0]}?)" if close else "") for name, close in near.items())
        raise RepaireconError(f"this notebook has no parameter {said}; it has {', '.join(known)}")


def _names(source: str, kind: type[ast.Assign] | type[ast.AnnAssign]) -> list[str]:
    """The names that a cell sets, if it does nothing else."""
    try:
        body = ast.parse(source).body
    except SyntaxError:  # a runner's own words, such as %load
        return []
    if not all(isinstance(node, kind) for node in body):
        return []
    targets = (node.target if isinstance(node, ast.AnnAssign) else node.targets[0] for node in body)  # type: ignore[attr-defined]
    return [target.id for target in targets if isinstance(target, ast.Name)]
