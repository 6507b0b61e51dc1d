"""One way's estimate taken apart: what was expected of each part, task, charge and outcome, and of the days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying, Priced
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.evaluate import AtMeans
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Finding, grow
from repairecon.records import Case, Done

Floats = NDArray[np.float64]
NONE: Mapping[str, float] = {}
SMALL = 1e-9
CARRIAGE = "carriage"
"""The line of all carriage and handling."""

LINE_KINDS = {
    "task hours": "task", "task cost": "task", "fitting hours": "task",
    "outcome hours": "damage", "outcome cost": "damage",
    "carriage": CARRIAGE, "core carriage": CARRIAGE,
    "core": "unit", "strip": "unit", "refund": "refund", "old unit": "refund",
}  # fmt: skip
"""Line of the estimate that each kind of input belongs to; chances, days and the price of an hour belong to none."""


@dataclass(kw_only=True)
class Line:
    """What was expected of one thing: cash and own hours in all, and of a part the pieces bought, in whole packs."""

    kind: str
    name: str
    cash: float = 0.0
    hours: float = 0.0
    pieces: float = 0.0
    rate: float = 0.0
    hired_hours: float = 0.0

    @property
    def piece(self) -> float:
        """Price expected of one piece, from whomever it would have come; 0 where none is expected."""
        return self.cash / self.pieces if self.pieces > 0 else 0.0


class Estimate:
    """Expected cash, own hours and days of the ways of a case, with the inputs that are known held at a value.

    What is bought after a rebuild has ended is chosen once, on what is expected, and kept unless said otherwise.
    ``buying`` holds the orders chosen for another estimate of the case.
    """

    def __init__(
        self, case: Case, found: Sequence[Finding] = (), allowed: Mapping[str, bool] | None = None,
        own_hour: float | None = None, buying: Buying | None = None,
    ) -> None:  # fmt: skip
        self.case = case
        tree = grow(case, found)
        self.model = Model(case, tree, allowed or {}, own_hour=own_hour, buying=buying)
        self.keys = {x.key: i for i, x in enumerate(self.model.inputs)}
        self.chosen = self.model.plain

    def _at(self, held: Mapping[str, float]) -> AtMeans:
        return self.model.at(fixed={self.keys[k]: v for k, v in held.items() if k in self.keys})

    def expected(self, way: str, held: Mapping[str, float] = NONE) -> Floats:
        """Expected (cash, own hours, days) of a way, with inputs by key held at values."""
        return np.asarray(self._at(held).expected(self.chosen.way(self.model.ways.index(way))))

    def totals_anew(self, held: Mapping[str, float]) -> dict[str, float]:
        """Expected total of every way, what is bought after a rebuild has ended chosen with these values known."""
        known = self._at(held)
        each = map(known.expected, self.model.chooser(known).all_ways())
        return {w: float(x @ np.array(self.model.weights)) for w, x in zip(self.model.ways, each, strict=True)}

    def bought_after(self, way: str, unit: str) -> None:
        """From here on a unit is what is bought where the rebuild of a way has ended."""
        self.chosen = self.model.chooser(always={self.model.ways.index(way): self.model.ways.index(unit)})

    def lines(self, way: str, came: Mapping[str, float]) -> list[Line]:
        """The way's expected cash and own hours line by line; they add up to the whole.

        ``came`` holds inputs that are settled (whether a way came, a core was taken).
        """
        whole = self.expected(way, came)
        lines: dict[tuple[str, str], Line] = {}
        left = whole[0]
        for key in self.keys:
            kind, name = self._line_of(key)
            if not kind or key in came:
                continue
            # cash is a sum of products of independent inputs, so holding one at 0 takes its own share out
            held, base = {**came, key: 0.0}, whole
            if key.startswith("core:"):
                refund = f"refund:{name}"
                base = self.expected(way, {**came, refund: 0.0})
                held[refund] = 0.0
            share = base - self.expected(way, held)
            if not share[:2].any():
                continue
            self._add(lines.setdefault((kind, name), Line(kind=kind, name=name)), key, share)
            left -= share[0]
        if abs(left) > SMALL:
            # what no input explains are fixed charges of suppliers: they go with the carriage
            lines.setdefault((CARRIAGE, "all"), Line(kind=CARRIAGE, name="all")).cash += left
        return list(lines.values())

    def _add(self, line: Line, key: str, share: Floats) -> None:
        line.cash += share[0]
        line.hours += share[1]
        mean = self.model.inputs[self.keys[key]].mean
        if line.kind == "part":
            each = self._a_piece(line.name, key) * mean
            line.pieces += share[0] / each if each > 0 else 0.0
        if " hours:" in key and share[0] > 0 and mean > 0:
            line.hired_hours += mean
            line.rate = share[0] / mean

    @cached_property
    def prices(self) -> dict[str, Priced]:
        """What each part takes, in the planned order or by itself; of several quotes that it mixes the first."""
        return {part: taken[0] for part, taken in self.model.costs.prices.items()}

    def priced(self, row: Done) -> Priced:
        """What the part or the unit of a row was to be bought by."""
        return self.prices[row.name] if row.kind == "part" else self.model.costs.price_of(self.case.way(row.name))

    def _a_piece(self, part: str, key: str) -> float:
        """Home money for a piece of a part where one is quoted for a pack by the supplier that an input names."""
        supplier, priced = key.rpartition("@")[2], self.prices[part]
        if key.startswith("price:"):
            return 1.0
        if priced.supplier is None or priced.supplier.supplier + priced.again != supplier:
            pieces = next(p.quantity for p in self.case.parts if p.part == part)
            priced = self.model.buying.from_supplier(part, supplier, pieces)
        return priced.a_piece

    def mean_price(self, part: str) -> float:
        """Expected home money for a piece of a part."""
        r = self.prices[part].range
        return self.prices[part].a_piece * float(ranges.mean(r.low, r.likely, r.high, r.shape))

    def _line_of(self, key: str) -> tuple[str, str]:
        """Kind and name of the line that an input belongs to."""
        kind, _, name = key.partition(":")
        if kind in ("price", "quoted"):
            item = name if kind == "price" else name.rpartition("@")[0]
            return ("part" if item in self.prices else "unit"), item
        line = LINE_KINDS.get(kind, "")
        if kind == "fitting hours":
            return line, f"fitting, {name}"
        if line == "damage":
            return line, name.partition(" given ")[0]
        return line, ("all" if line == CARRIAGE else name)
