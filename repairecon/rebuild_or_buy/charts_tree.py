"""What may be found inside, as a stream that parts; the rare merged.

Each takes a frame, the name of the home money, a caption that says what to do, and axes to draw in (a new figure
without); each returns the axes drawn in.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from repairecon.show.plots import (  # isort: skip
    LOW, MAIN, MAIN_TINT, NO_BREAK, QUIET, REST_TINT, SIZE, SMALL, TURN, TURN_DARK, TURN_TINT, WIDE, WIDTH, Margins,
    Place, chance_said, check, framing, inches_down, money_said, slot, stage, tall, wrap, write,
)  # fmt: skip

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
    keep
        Most ends to draw; the rarest are merged (fewer if the given axes are low).
    """
    check(nodes, ["id", "parent", "chance", "extra_cost"])
    margins, title = Margins(0.0, 0.0, axis=0.0), "What may be found inside, and what it adds to the rebuild"
    own_width = float(np.clip(3.6 + 2.0 * max(Tree.of(nodes).depth.values()), WIDTH, WIDE))
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
    middle: Mapping[int, float]
    source: Mapping[int, float]
    words: Mapping[int, str]
    tails: Mapping[int, str]

    @classmethod
    def of(cls, nodes: pd.DataFrame, currency: str, width: float) -> _Stream:
        tree = Tree.of(nodes)
        depth, many = tree.depth, max(tree.depth.values()) + 1
        shares = np.ones(many)
        shares[0] = 0.72 if many > 1 and len(tree.below[-1]) == 1 else 1.0
        # left edges of the columns and the right edge of the last
        columns = (np.concatenate([[0.0], np.cumsum(shares / shares.sum())]) * width * (1.0 - TAIL)).tolist()
        named = [{str(row["event"]) for key, row in tree.rows.items() if depth[key] == level} for level in range(many)]
        heads = [names.pop() if len(names) == 1 else "" for names in named]
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
        return cls(tree, width, height, head, heads, columns, middle, source, words, tails)


def _bend(key: int, tree: Tree) -> float:
    """Length of the bend in which a branch leaves its parent [inch]: the first of all has none."""
    return 0.05 if tree.below[-1] == [key] else BEND


def _branch_words(row: pd.Series[Any], currency: str, named: bool) -> str:
    label, extra = str(row["label"]), float(row["extra_cost"])
    if named and str(row["event"]):
        label = f"{row['event']}: {label}"
    more = f"{NO_BREAK}{'more' if extra > 0 else 'less'}"
    change = f"{money_said(abs(extra), currency)}{more}" if abs(extra) >= 0.5 else ""  # no "EUR 0 less"
    chance = chance_said(float(row["chance"]))
    if int(row["parent"]) < 0 and float(row["chance"]) >= 1.0:
        return f"{label}\n{change.replace(NO_BREAK, ' ')}".strip()
    if row["merged"]:
        return f"{label}, together {chance}\n{change}".strip()
    return f"{label}\n{chance}\n{change}".strip()


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
    row, depth, half = stream.tree.rows[key], stream.tree.depth[key], STREAM * stream.tree.joint[key] / 2
    left, right, y = stream.columns[depth], stream.columns[depth + 1], stream.middle[key]
    bend, ends = left + _bend(key, stream.tree), bool(row["ends_rebuild"])
    tint = TURN_TINT if ends else REST_TINT if row["merged"] else MAIN_TINT
    # a bend from one height to another, then straight on
    turn, high, low = (left + bend) / 2, stream.source[key] - half, y - half
    upper = [(left, high), (turn, high), (turn, low), (bend, low), (right, low)]
    lower = [(x, at + 2 * half) for x, at in reversed(upper)]
    curve, line = 3 * [Path.CURVE4], Path.LINETO
    course = Path([*upper, *lower, upper[0]], [Path.MOVETO, *curve, line, line, line, *curve, line])
    ax.add_patch(PathPatch(course, facecolor=tint, edgecolor=tint, linewidth=0.8, gid=f"branch {key}"))
    if 2 * half >= tall(stream.words[key]):
        write(ax, (bend + 0.05, y), stream.words[key], fontsize=SMALL)
    else:
        above, below = _halves(stream.words[key])
        write(ax, (bend + 0.05, y - half), above, shift=(0.0, 1.5), va="bottom", fontsize=SMALL)
        write(ax, (bend + 0.05, y + half), below, shift=(0.0, -1.5), va="top", fontsize=SMALL)
    if not stream.tree.below[key]:
        least = max(half, 0.05)
        bar: dict[str, Any] = {"color": TURN if ends else MAIN, "linewidth": 3.0, "solid_capstyle": "butt"}
        ax.plot([right, right], [y - least, y + least], **bar)
        write(ax, (right + 0.08, y), stream.tails[key], color=TURN_DARK if ends else QUIET, fontsize=SMALL)


def prune(nodes: pd.DataFrame, keep: int) -> pd.DataFrame:
    """The tree of ``damage_tree`` with its rarest branches merged, so that at most ``keep`` ends (1 or more) are left.

    A column ``merged`` is 0, or the number of ends that the row stands for. All branches whose chance of ever being
    reached is below a limit go, the lowest limit that suffices: several under one parent become one row "others (n)"
    with the sum of their chances and their mean extra cost weighted by chance; one alone stays and loses what follows
    it, and so does a branch after which all are rare. The chances under a parent add up to what they did before.
    """
    if keep < 1:
        raise ValueError("keep at least one end")
    tree = Tree.of(nodes)
    limits = sorted({0.0, *tree.joint.values()})
    at = bisect_left(limits, True, key=lambda limit: len(Tree.of(tree.cut(limit)).ends) <= keep)
    return tree.cut(limits[at] if at < len(limits) else float("inf"))


@dataclass(frozen=True)
class Tree:
    """The rows of a tree with who follows whom, the chance of ever reaching each, and its place from the left."""

    rows: Mapping[int, pd.Series[Any]]
    below: Mapping[int, list[int]]
    joint: Mapping[int, float]
    depth: Mapping[int, int]

    @classmethod
    def of(cls, nodes: pd.DataFrame) -> Tree:
        rows = {int(row["id"]): row for _, row in nodes.iterrows()}
        below: dict[int, list[int]] = {key: [] for key in (-1, *rows)}
        for key, row in rows.items():
            if int(row["parent"]) not in below:
                raise ValueError(f"node {key} hangs on {row['parent']}, which is not in the table")
            below[int(row["parent"])].append(key)
        joint, depth, waiting = {-1: 1.0}, {-1: -1}, [-1]
        while waiting:
            parent = waiting.pop()
            joint |= {key: joint[parent] * float(rows[key]["chance"]) for key in below[parent]}
            depth |= dict.fromkeys(below[parent], depth[parent] + 1)
            waiting += below[parent]
        if len(joint) <= len(rows):
            raise ValueError("some nodes of the tree hang on each other in a circle")
        return cls(rows, below, joint, {key: depth[key] for key in rows})

    @property
    def ends(self) -> list[int]:
        return [key for key in self.rows if not self.below[key]]

    def under(self, key: int) -> list[int]:
        """The ends at or below a node."""
        return [end for child in self.below[key] for end in self.under(child)] or [key]

    def under_all(self, key: int) -> list[int]:
        """Every node below a node."""
        return [found for child in self.below[key] for found in (child, *self.under_all(child))]

    def cut(self, limit: float) -> pd.DataFrame:
        """The rows whose chance is not below a limit, the rare ones of each parent merged."""
        return pd.DataFrame(list(self._cut_below(-1, limit)))

    def _cut_below(self, parent: int, limit: float) -> Iterator[dict[str, Any]]:
        rare = [key for key in self.below[parent] if self.joint[key] < limit]
        for key in self.below[parent]:
            if key in rare and len(rare) > 1:
                continue
            row = {str(name): value for name, value in self.rows[key].items()} | {"merged": 0}
            followed = key not in rare and any(self.joint[child] >= limit for child in self.below[key])
            if not followed and self.below[key]:
                own, ends = row.get("note"), len(self.under(key))
                hidden = f"{ends} case{'s' if ends > 1 else ''}, not drawn"
                row["note"] = f"{own}\n{hidden}" if isinstance(own, str) and own else hidden
            yield row
            if followed:
                yield from self._cut_below(key, limit)
        if len(rare) > 1:
            yield self._merged(rare)

    def _merged(self, rare: Sequence[int]) -> dict[str, Any]:
        rows, ends = [self.rows[key] for key in rare], sum(len(self.under(key)) for key in rare)
        chances, extras = (np.array([float(row[name]) for row in rows]) for name in ("chance", "extra_cost"))
        events, ending = {str(row["event"]) for row in rows}, [bool(row["ends_rebuild"]) for row in rows]
        note = "some end the rebuild" if any(ending) and not all(ending) else ""
        return {
            "id": rare[0], "parent": rows[0]["parent"], "label": f"others ({ends})",
            "event": events.pop() if len(events) == 1 else "", "chance": chances.sum(),
            "extra_cost": np.average(extras, weights=chances) if chances.sum() > 0 else extras.mean(),
            "ends_rebuild": all(ending), "note": note, "merged": ends,
        }  # fmt: skip

