"""One way's estimate taken apart: what was expected of each part, task, charge and outcome, and of the days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying, Priced
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Finding, grow, with_findings
from repairecon.records import Case

Floats = NDArray[np.float64]
CARRIAGE = "carriage"
"""The line of all carriage and handling."""


@dataclass
class Line:
    """What was expected of one thing: cash and own hours in all, and of a part the pieces bought, in whole packs."""

    kind: str
    name: str
    cash: float = 0.0
    hours: float = 0.0
    pieces: float = 0.0
    rate: float = 0.0
    hired_hours: float = 0.0
    keys: tuple[str, ...] = ()

    @property
    def piece(self) -> float:
        """Price expected of one piece, from whomever it would have come; 0 where none is expected."""
        return self.cash / self.pieces if self.pieces > 0 else 0.0


class Estimate:
    """Expected cash, own hours and days of the ways of a case, with the inputs that are known held at a value.

    What is bought after a rebuild has ended is chosen once, on what is expected, and kept unless told otherwise.
    ``buying`` holds the orders chosen for another estimate of the case.
    """

    def __init__(
        self,
        case: Case,
        found: Sequence[Finding],
        allowed: Mapping[str, bool],
        own_hour: float | None = None,
        buying: Buying | None = None,
    ) -> None:
        self.case = case
        self.model = Model(case, with_findings(grow(case), found), allowed, own_hour=own_hour, buying=buying)
        self.keys = {x.key: i for i, x in enumerate(self.model.inputs)}
        self.always: dict[int, int] = {}

    def expected(self, fixed: Mapping[str, float] | None = None, anew: bool = False) -> Floats:
        """Expected (cash, own hours, days) of every way, shape (W, 3); inputs by key held at values.

        ``anew``: what is bought after a rebuild has ended is chosen with these values known.
        """
        held = {self.keys[k]: v for k, v in (fixed or {}).items() if k in self.keys}
        known = self.model.at(fixed=held)
        chooser = self.model.chooser(known if anew else None, always=self.always)
        return np.array([known.expected(pieces) for pieces in chooser.all_ways()])

    def bought_after(self, way: str, unit: str) -> None:
        """From here on a unit is what is bought where the rebuild of a way has ended."""
        self.always[self.model.ways.index(way)] = self.model.ways.index(unit)

    def total(self, triple: Floats) -> float:
        """Cash, own hours at their worth and days at theirs."""
        return float(triple @ np.array(self.model.weights))

    def lines(self, way: str, came: Mapping[str, float]) -> list[Line]:
        """The way's expected cash and own hours line by line; they add up to the whole.

        ``came`` holds inputs that are settled (whether a way came, a core was taken). Cash is a sum of products of
        independent inputs, so holding one at nought takes its own share out; what is left in the end are fixed
        charges of suppliers, which go with the carriage.
        """
        i = self.model.ways.index(way)
        whole = self.expected(came)[i]
        lines: dict[tuple[str, str], Line] = {}
        left = whole[0]
        for key in self.keys:
            kind, name = self._line_of(key)
            if not kind or key in came:
                continue
            held = {**came, key: 0.0}
            base = whole
            if key.startswith("core:"):
                refund = f"refund:{name}"
                base = self.expected({**came, refund: 0.0})[i]
                held[refund] = 0.0
            share = base - self.expected(held)[i]
            if not share[:2].any():
                continue
            line = lines.setdefault((kind, name), Line(kind, name))
            self._add(line, key, share)
            left -= share[0]
        if abs(left) > 1e-9:
            lines.setdefault((CARRIAGE, "all"), Line(CARRIAGE, "all")).cash += left
        return list(lines.values())

    def _add(self, line: Line, key: str, share: Floats) -> None:
        line.cash += share[0]
        line.hours += share[1]
        line.keys = (*line.keys, key)
        mean = self.model.inputs[self.keys[key]].mean
        if line.kind == "part":
            each = self.a_piece(line.name, key) * mean
            line.pieces += share[0] / each if each > 0 else 0.0
        if " hours:" in key and share[0] > 0 and mean > 0:
            line.hired_hours += mean
            line.rate = share[0] / mean

    @cached_property
    def prices(self) -> dict[str, Priced]:
        """What each part takes, in the planned order or by itself; of several quotes that it mixes the first."""
        return {part: taken[0] for part, taken in self.model.costs.prices.items()}

    def a_piece(self, part: str, key: str) -> float:
        """Home money for a piece of a part where one is quoted for a pack by the supplier that an input names."""
        kind, _, name = key.partition(":")
        supplier, priced = name.rpartition("@")[2], self.prices[part]
        if kind == "price":
            return 1.0
        if priced.supplier is None or priced.supplier.supplier + priced.again != supplier:
            pieces = next(p.quantity for p in self.case.parts if p.part == part)
            priced = self.model.buying.from_supplier(part, supplier, pieces)
        return priced.a_piece

    def mean_price(self, item: str) -> float:
        """Expected home money for a piece of a part or for a unit."""
        priced = self.prices[item] if item in self.prices else self.model.costs.price_of(self.case.way(item))
        r = priced.range
        return priced.a_piece * float(ranges.mean(r.low, r.likely, r.high, r.shape))

    def _line_of(self, key: str) -> tuple[str, str]:
        """Kind and name of the line that an input belongs to; none for chances, days and the price of an hour."""
        kind, _, name = key.partition(":")
        if kind in ("price", "quoted"):
            item = name if kind == "price" else name.rpartition("@")[0]
            return ("part" if item in self.prices else "unit"), item
        if kind in ("task hours", "task cost"):
            return "task", name
        if kind == "fitting hours":
            return "task", f"fitting, {name}"
        if kind in ("outcome hours", "outcome cost"):
            return "damage", name.partition(" given ")[0]
        if kind in ("carriage", "core carriage"):
            return CARRIAGE, "all"
        if kind in ("core", "strip"):
            return "unit", name
        return ("refund", name) if kind in ("refund", "old unit") else ("", "")
