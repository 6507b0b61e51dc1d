"""What may be found inside, as a stream that parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from repairecon.rebuild_or_buy.chart_tree_shape import Tree, depths, prune
from repairecon.show.page import Margins, check, framing, inches_down, slot, stage
from repairecon.show.text import (
    LOW,
    MAIN,
    MAIN_TINT,
    NO_BREAK,
    QUIET,
    REST_TINT,
    SIZE,
    SMALL,
    TURN,
    TURN_DARK,
    TURN_TINT,
    WIDE,
    WIDTH,
    Place,
    chance_said,
    money_said,
    tall,
    wrap,
    write,
)

KEEP_ENDS = 14
BEND, TAIL, STREAM, GAP = 0.26, 0.145, 1.6, 0.08
"""Length of a bend [inch], room for words at the ends [share], width of the stream and gaps [inch]."""


def damage_tree(nodes: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None,
                keep: int = KEEP_ENDS) -> Axes:  # fmt: skip
    """What may be found inside, as a stream that parts from left to right: as wide as it is likely.

    Parameters
    ----------
    nodes
        A row a branch: ``id``, ``parent`` (-1 for the first), ``event``, ``label`` (its outcome),
        ``chance`` given its parent, ``extra_cost`` (expected, of the rebuild) [home money],
        ``ends_rebuild``, ``note`` (may lack).
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.
    keep
        Most ends to draw; the rarest are merged (fewer if the given axes are low).

    Returns
    -------
    Axes
        The axes drawn in.
    """
    check(nodes, ["id", "parent", "chance", "extra_cost"])
    margins, title = Margins(0.0, 0.0, axis=0.0), "What may be found inside, and what it adds to the rebuild"
    own_width = float(np.clip(1.6 + 2.0 * len(set(depths(Tree.of(nodes)).values())), WIDTH, WIDE))
    width, height = slot(ax, own_width)
    stream = _Stream.of(prune(nodes, keep), currency, width)
    room = height - sum(framing(title, caption, width, margins)[2:])
    while ax is not None and stream.height > room and len(stream.tree.ends) > 1:
        stream = _Stream.of(prune(nodes, len(stream.tree.ends) - 1), currency, width)
    ax = stage(ax, title, caption, stream.height, margins, own_width, least=LOW)
    ax.set_xlim(0.0, stream.width)
    ax.set_xticks([])
    inches_down(ax, stream.height)
    for depth, event in enumerate(stream.heads):
        write(ax, (stream.columns[depth] + BEND, stream.head / 2), event, color=QUIET, weight="bold")
    for key in stream.tree.rows:
        _draw_branch(ax, stream, key)
    return ax


@dataclass(frozen=True)
class _Stream:
    """Where every branch lies, in inches from the top left, and what is said at it."""

    tree: Tree
    width: float
    height: float
    head: float
    heads: Sequence[str]
    columns: Sequence[float]
    depth: Mapping[int, int]
    middle: Mapping[int, float]
    source: Mapping[int, float]
    words: Mapping[int, str]
    tails: Mapping[int, str]

    @classmethod
    def of(cls, nodes: pd.DataFrame, currency: str, width: float) -> _Stream:
        tree = Tree.of(nodes)
        depth = depths(tree)
        many = max(depth.values()) + 1
        columns = _columns(many, width, narrow_first=many > 1 and len(tree.below[-1]) == 1)
        heads = [_only({str(row["event"]) for key, row in tree.rows.items() if depth[key] == level})
                 for level in range(many)]  # fmt: skip
        words, tails = {}, {}
        for key, row in tree.rows.items():
            room = columns[depth[key] + 1] - columns[depth[key]] - _bend(key, tree) - 0.08
            words[key] = wrap(_branch_words(row, currency, named=not heads[depth[key]]), room, SMALL)
            if not tree.below[key]:
                room = width - columns[depth[key] + 1] - 0.12
                tails[key] = wrap(_end_words(row, tree.joint[key]), room, SMALL)
        rooms = [right - left - BEND for left, right in pairwise(columns)]
        heads = [wrap(event, room, SIZE * 1.12) for event, room in zip(heads, rooms, strict=True)]
        head = max(map(tall, heads)) + 0.08
        reach = {key: _reach(words[key], tails.get(key, ""), STREAM * tree.joint[key]) for key in tree.rows}
        middle, height = _rows_down(tree, reach, head)
        source = _sources(tree, middle)
        return cls(tree, width, height, head, heads, columns, depth, middle, source, words, tails)


def _bend(key: int, tree: Tree) -> float:
    """Length of the bend in which a branch leaves its parent [inch]: the first of all has none."""
    return 0.05 if tree.below[-1] == [key] else BEND


def _columns(many: int, width: float, narrow_first: bool) -> list[float]:
    """Left edges of the columns and the right edge of the last [inch]."""
    shares = np.ones(many)
    if narrow_first:
        shares[0] = 0.72
    edges = np.concatenate([[0.0], np.cumsum(shares / shares.sum())]) * width * (1.0 - TAIL)
    return [float(edge) for edge in edges]


def _only(names: set[str]) -> str:
    return names.pop() if len(names) == 1 else ""


def _branch_words(row: pd.Series[Any], currency: str, named: bool) -> str:
    label, extra = str(row["label"]), float(row["extra_cost"])
    if named and str(row["event"]):
        label = f"{row['event']}: {label}"
    change = f"{money_said(abs(extra), currency)}{NO_BREAK}{'more' if extra > 0 else 'less'}" if extra else ""
    chance = chance_said(float(row["chance"]))
    if int(row["parent"]) < 0 and float(row["chance"]) >= 1.0:
        return f"{label}\n{change.replace(NO_BREAK, ' ')}".strip()
    if row["merged"]:
        return f"{label}, together {chance}\n{change}".strip()
    return f"{label}\n{chance}{', ' if change else ''}{change}"


def _end_words(row: pd.Series[Any], joint: float) -> str:
    parts = [] if np.isclose(joint, float(row["chance"])) else [f"in all {chance_said(joint)}"]
    if bool(row["ends_rebuild"]):
        parts.append("ends the rebuild")
    note = row.get("note")
    return "\n".join([*parts, note] if isinstance(note, str) and note else parts)


def _halves(text: str) -> tuple[str, str]:
    """The lines that stand above and below a narrow branch."""
    lines = text.split("\n")
    above = (len(lines) + 1) // 2
    return "\n".join(lines[:above]), "\n".join(lines[above:])


def _reach(words: str, tail: str, wide: float) -> tuple[float, float]:
    """Room above and below the middle of a branch of a width for what is said at it [inch]."""
    half, least = wide / 2, tall(tail) / 2
    above, below = (0.0, 0.0) if wide >= tall(words) else map(tall, _halves(words))
    return max(half + above, least), max(half + below, least)


def _rows_down(tree: Tree, reach: Mapping[int, Place], top: float) -> tuple[dict[int, float], float]:
    """The middle of each branch [inch from the top] and the height of all."""
    middle: dict[int, float] = {}

    def put(key: int, start: float) -> float:
        above, below = reach[key]
        end = start
        for child in tree.below[key]:
            end = put(child, end)
        if not tree.below[key]:
            middle[key] = start + above + GAP / 2
            return middle[key] + below + GAP / 2
        short = max(0.0, above - (end - start) / 2)
        for moved in tree.under_all(key):
            middle[moved] += short
        middle[key] = (start + end) / 2 + short
        return max(end + short, middle[key] + below)

    for first in tree.below[-1]:
        top = put(first, top)
    return middle, top


def _sources(tree: Tree, middle: Mapping[int, float]) -> dict[int, float]:
    """Where on its parent's end each branch springs: stacked in order, middle of each."""
    source: dict[int, float] = {}
    for parent, children in tree.below.items():
        total = sum(tree.joint[key] for key in children)
        centre = middle[parent] if parent >= 0 else float(np.mean([middle[key] for key in children]))
        at = centre - STREAM * total / 2
        for key in children:
            source[key] = at + STREAM * tree.joint[key] / 2
            at += STREAM * tree.joint[key]
    return source


def _draw_branch(ax: Axes, stream: _Stream, key: int) -> None:
    row, depth, half = stream.tree.rows[key], stream.depth[key], STREAM * stream.tree.joint[key] / 2
    left, right, y = stream.columns[depth], stream.columns[depth + 1], stream.middle[key]
    bend, ends = left + _bend(key, stream.tree), bool(row["ends_rebuild"])
    tint = TURN_TINT if ends else REST_TINT if row["merged"] else MAIN_TINT
    course = _course((left, bend, right), stream.source[key], y, half)
    ax.add_patch(PathPatch(course, facecolor=tint, edgecolor=tint, linewidth=0.8, gid=f"branch {key}"))
    if 2 * half >= tall(stream.words[key]):
        write(ax, (bend + 0.05, y), stream.words[key], fontsize=SMALL)
    else:
        above, below = _halves(stream.words[key])
        write(ax, (bend + 0.05, y - half), above, shift=(0.0, 1.5), va="bottom", fontsize=SMALL)
        write(ax, (bend + 0.05, y + half), below, shift=(0.0, -1.5), va="top", fontsize=SMALL)
    if not stream.tree.below[key]:
        ink, least = (TURN, MAIN)[not ends], max(half, 0.05)
        ax.plot([right, right], [y - least, y + least], color=ink, linewidth=3.0, solid_capstyle="butt")
        write(ax, (right + 0.08, y), stream.tails[key], color=TURN_DARK if ends else QUIET, fontsize=SMALL)


def _course(across: tuple[float, float, float], start: float, end: float, half: float) -> Path:
    """The outline of a branch: a bend from one height to another, then straight on."""
    left, bend, right = across
    turn = (left + bend) / 2
    high, low = start - half, end - half
    upper = [(left, high), (turn, high), (turn, low), (bend, low), (right, low)]
    lower = [(x, y + 2 * half) for x, y in reversed(upper)]
    curve, line = 3 * [Path.CURVE4], Path.LINETO
    return Path([*upper, *lower, upper[0]], [Path.MOVETO, *curve, line, line, line, *curve, line])
