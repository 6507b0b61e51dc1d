"""What may be found inside, as a stream that parts; the rare merged."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from repairecon.show.plots import (  # isort: skip
    LOW, MAIN, MAIN_TINT, NO_BREAK, QUIET, REST_TINT, SIZE, SMALL, TURN, TURN_DARK, TURN_TINT, WIDE, WIDTH, Margins,
    Place, chance_said, framing, inches_down, money_said, slot, stage, tall, wrap, write,
)  # fmt: skip

Row = Mapping[str, Any]
KEEP_ENDS = 14
BEND, TAIL, STREAM, GAP = 0.26, 0.145, 1.6, 0.08
"""Length of a bend [inch], room for words at the ends [share], width of the stream and gaps [inch]."""


def damage_tree(nodes: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None,
                keep: int = KEEP_ENDS) -> Axes:  # fmt: skip
    """What may be found inside, as a stream that parts from left to right: as wide as it is likely. ``nodes`` has a row
    a branch, each after the one that it follows: ``id``, ``parent`` (-1 for the first), ``event``, ``label`` (its
    outcome), ``chance`` given its parent, ``extra_cost`` (expected, of the rebuild) [home money], ``ends_rebuild``,
    ``note``. At most ``keep`` ends are drawn, fewer if the given axes are low; the rarest are merged."""
    tree, margins = Tree(nodes.to_dict("records")), Margins(0.0, 0.0, axis=0.0)
    title = "What may be found inside, and what it adds to the rebuild"
    own_width = float(np.clip(3.6 + 2.0 * max(tree.depth.values()), WIDTH, WIDE))
    width, height = slot(ax, own_width)
    stream = _Stream(tree.pruned(keep), currency, width)
    room = height - sum(framing(title, caption, width, margins)[2:])
    while ax is not None and stream.height > room and len(stream.tree.ends) > 1:
        stream = _Stream(tree.pruned(len(stream.tree.ends) - 1), currency, width)
    ax = stage(ax, title, caption, stream.height, margins, own_width, least=LOW)
    ax.set_xlim(0.0, stream.width)
    ax.set_xticks([])
    inches_down(ax, stream.height)
    for depth, event in enumerate(stream.heads):
        write(ax, (stream.columns[depth] + BEND, stream.head / 2), event, color=QUIET, weight="bold")
    for key in stream.tree.rows:
        _draw_branch(ax, stream, key)
    return ax


class _Stream:
    """Where every branch of a tree lies, in inches from the top left, and what is said at it."""

    def __init__(self, tree: Tree, currency: str, width: float) -> None:
        self.tree, self.width = tree, width
        depth, many = tree.depth, max(tree.depth.values()) + 1
        shares = np.ones(many)
        shares[0] = 0.72 if many > 1 and len(tree.below[-1]) == 1 else 1.0
        # left edges of the columns and the right edge of the last
        self.columns = (np.concatenate([[0.0], np.cumsum(shares / shares.sum())]) * width * (1.0 - TAIL)).tolist()
        named = [{row["event"] for key, row in tree.rows.items() if depth[key] == level} for level in range(many)]
        heads = [names.pop() if len(names) == 1 else "" for names in named]
        self.words, self.tails = {}, {}
        for key, row in tree.rows.items():
            left, right = self.columns[depth[key]], self.columns[depth[key] + 1]
            words = _branch_words(row, currency, named=not heads[depth[key]])
            self.words[key] = wrap(words, right - left - _bend(key, tree) - 0.08, SMALL)
            if not tree.below[key]:
                in_all = "" if np.isclose(tree.joint[key], row["chance"]) else f"in all {chance_said(tree.joint[key])}"
                said = (in_all, "ends the rebuild" if row["ends_rebuild"] else "", row["note"])
                self.tails[key] = wrap("\n".join(filter(None, said)), width - right - 0.12, SMALL)
        rooms = [right - left - BEND for left, right in pairwise(self.columns)]
        self.heads = [wrap(event, room, SIZE * 1.12) for event, room in zip(heads, rooms, strict=True)]
        self.head = max(map(tall, self.heads)) + 0.08
        reach = {key: _reach(words, self.tails.get(key, ""), STREAM * tree.joint[key])
                 for key, words in self.words.items()}  # fmt: skip
        self.middle, self.height = _rows_down(tree, reach, self.head)
        self.source = _sources(tree, self.middle)


def _bend(key: int, tree: Tree) -> float:
    """Length of the bend in which a branch leaves its parent [inch]: the first of all has none."""
    return 0.05 if tree.below[-1] == [key] else BEND


def _branch_words(row: Row, currency: str, named: bool) -> str:
    label = f"{row['event']}: {row['label']}" if named and row["event"] else row["label"]
    extra, more = row["extra_cost"], "more" if row["extra_cost"] > 0 else "less"
    change = f"{money_said(abs(extra), currency)}{NO_BREAK}{more}" if abs(extra) >= 0.5 else ""  # no "EUR 0 less"
    chance = chance_said(row["chance"])
    if row["parent"] < 0 and row["chance"] >= 1.0:
        return f"{label}\n{change.replace(NO_BREAK, ' ')}".strip()
    together = f", together {chance}" if row["merged"] else f"\n{chance}"
    return f"{label}{together}\n{change}".strip()


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
        for moved in tree.under(key):
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
    bend, ends = left + _bend(key, stream.tree), row["ends_rebuild"]
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


class Tree:
    """The branches with who follows whom, the chance of ever reaching each, and its place from the left."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self.rows: dict[int, Row] = {}
        self.below: dict[int, list[int]] = {-1: []}
        self.joint, self.depth = {-1: 1.0}, {-1: -1}
        for row in rows:
            key, parent = row["id"], row["parent"]
            self.rows[key], self.below[key] = row, []
            self.below[parent].append(key)
            self.joint[key], self.depth[key] = self.joint[parent] * row["chance"], self.depth[parent] + 1

    @property
    def ends(self) -> list[int]:
        return [key for key in self.rows if not self.below[key]]

    def under(self, key: int) -> list[int]:
        return [found for child in self.below[key] for found in (child, *self.under(child))]

    def ends_of(self, key: int) -> int:
        """How many ends lie at or below a branch."""
        return sum(map(self.ends_of, self.below[key])) or 1

    def pruned(self, keep: int) -> Tree:
        """The tree with its rarest branches merged, so that at most ``keep`` ends (1 or more) are left. ``merged`` is
        0, or the number of ends that the row stands for. All branches whose chance of ever being reached is below a
        limit go, the lowest limit that suffices: several under one parent become one row "others (n)" with the sum of
        their chances and their mean extra cost weighted by chance; one alone stays and loses what follows it, and so
        does a branch after which all are rare. The chances under a parent add up to what they did before."""
        limits = [*sorted({0.0, *self.joint.values()}), float("inf")]
        at = bisect_left(limits[:-1], True, key=lambda limit: len(Tree(self._cut_below(-1, limit)).ends) <= keep)
        return Tree(self._cut_below(-1, limits[at]))

    def _cut_below(self, parent: int, limit: float) -> Iterator[Row]:
        """The rows whose chance is not below a limit, the rare ones of each parent merged."""
        rare = [key for key in self.below[parent] if self.joint[key] < limit]
        for key in self.below[parent]:
            if key in rare and len(rare) > 1:
                continue
            row, ends = {**self.rows[key], "merged": 0}, self.ends_of(key)
            followed = key not in rare and any(self.joint[child] >= limit for child in self.below[key])
            if not followed and self.below[key]:
                hidden = f"{ends} case{'s' if ends > 1 else ''}, not drawn"
                row["note"] = "\n".join(filter(None, (row["note"], hidden)))
            yield row
            if followed:
                yield from self._cut_below(key, limit)
        if len(rare) > 1:
            yield self._merged(rare)

    def _merged(self, rare: Sequence[int]) -> Row:
        rows, ends = pd.DataFrame([self.rows[key] for key in rare]), sum(map(self.ends_of, rare))
        chance, ending, events = rows["chance"].sum(), rows["ends_rebuild"], set(rows["event"])
        extra = np.average(rows["extra_cost"], weights=rows["chance"]) if chance > 0 else rows["extra_cost"].mean()
        return {
            "id": rare[0], "parent": rows["parent"][0], "label": f"others ({ends})",
            "event": events.pop() if len(events) == 1 else "", "chance": chance, "extra_cost": extra,
            "ends_rebuild": ending.all(), "merged": ends,
            "note": "some end the rebuild" if ending.any() and not ending.all() else "",
        }  # fmt: skip
