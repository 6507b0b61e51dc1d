"""The tree of what may be found inside as rows: who follows whom, and the rare merged."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd


def prune(nodes: pd.DataFrame, keep: int) -> pd.DataFrame:
    """The tree with its rarest branches merged, so that at most ``keep`` ends are left.

    Parameters
    ----------
    nodes
        The tree as ``damage_tree`` takes it.
    keep
        Most end nodes to keep (at least 1).

    Returns
    -------
    DataFrame
        The kept rows and a column ``merged``: 0, or the number of ends that the row stands for.

    Notes
    -----
    All branches whose chance of ever being reached is below a limit go: several under one parent
    become one row "others (n)" with the sum of their chances and their mean extra cost weighted by
    chance; one alone stays and loses what follows it, and so does a branch after which all are rare.
    The limit is the lowest that suffices. The
    chances under a parent therefore add up to what they did before.
    """
    if keep < 1:
        raise ValueError("keep at least one end")
    tree = Tree.of(nodes)
    limits = sorted({0.0, *tree.joint.values()})
    at = bisect_left(limits, True, key=lambda limit: len(Tree.of(tree.cut(limit)).ends) <= keep)
    return tree.cut(limits[at] if at < len(limits) else float("inf"))


@dataclass(frozen=True)
class Tree:
    """The rows of a tree with who follows whom and the chance of ever reaching each."""

    rows: Mapping[int, pd.Series[Any]]
    below: Mapping[int, list[int]]
    joint: Mapping[int, float]

    @classmethod
    def of(cls, nodes: pd.DataFrame) -> Tree:
        rows = {int(row["id"]): row for _, row in nodes.iterrows()}
        below: dict[int, list[int]] = {key: [] for key in (-1, *rows)}
        for key, row in rows.items():
            if int(row["parent"]) not in below:
                raise ValueError(f"node {key} hangs on {row['parent']}, which is not in the table")
            below[int(row["parent"])].append(key)
        joint, waiting = {-1: 1.0}, [-1]
        while waiting:
            parent = waiting.pop()
            joint |= {key: joint[parent] * float(rows[key]["chance"]) for key in below[parent]}
            waiting += below[parent]
        if len(joint) <= len(rows):
            raise ValueError("some nodes of the tree hang on each other in a circle")
        return cls(rows, below, {key: joint[key] for key in rows})

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
        kept: list[dict[str, Any]] = []
        self._cut_below(-1, limit, kept)
        return pd.DataFrame(kept)

    def _cut_below(self, parent: int, limit: float, kept: list[dict[str, Any]]) -> None:
        rare = [key for key in self.below[parent] if self.joint[key] < limit]
        for key in self.below[parent]:
            if key in rare and len(rare) > 1:
                continue
            ends = key in rare or all(self.joint[child] < limit for child in self.below[key])
            kept.append(self._kept(key, shortened=ends and bool(self.below[key])))
            if not ends:
                self._cut_below(key, limit, kept)
        if len(rare) > 1:
            kept.append(self._merged(rare, sum(len(self.under(key)) for key in rare)))

    def _kept(self, key: int, shortened: bool) -> dict[str, Any]:
        said = {"note": self._said(key)} if shortened else {}
        return {str(name): value for name, value in self.rows[key].items()} | {"merged": 0} | said

    def _said(self, key: int) -> str:
        """What stands at a branch whose followers are not drawn."""
        own, ends = self.rows[key].get("note"), len(self.under(key))
        hidden = f"{ends} case{'s' if ends > 1 else ''}, not drawn"
        return f"{own}\n{hidden}" if isinstance(own, str) and own else hidden

    def _merged(self, rare: Sequence[int], ends: int) -> dict[str, Any]:
        rows = [self.rows[key] for key in rare]
        chances, extras = (np.array([float(row[name]) for row in rows]) for name in ("chance", "extra_cost"))
        events, ending = {str(row["event"]) for row in rows}, [bool(row["ends_rebuild"]) for row in rows]
        note = "some end the rebuild" if any(ending) and not all(ending) else ""
        return {
            "id": rare[0], "parent": rows[0]["parent"], "label": f"others ({ends})",
            "event": events.pop() if len(events) == 1 else "", "chance": chances.sum(),
            "extra_cost": np.average(extras, weights=chances) if chances.sum() > 0 else extras.mean(),
            "ends_rebuild": all(ending), "note": note, "merged": ends,
        }  # fmt: skip


def depths(tree: Tree) -> dict[int, int]:
    depth, waiting = {-1: -1}, [-1]
    while waiting:
        parent = waiting.pop()
        depth |= dict.fromkeys(tree.below[parent], depth[parent] + 1)
        waiting += tree.below[parent]
    return {key: depth[key] for key in tree.rows}
