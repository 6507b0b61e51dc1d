"""A date by which the boat must be back in use: the chance of it, and what missing it adds to a total."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import product
from typing import Any

import numpy as np

from repairecon.buying.inputs import mean_of
from repairecon.buying.offers import today_of
from repairecon.rebuild_or_buy.evaluate import Pieces, inputs_of
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.work import OUTPUTS
from repairecon.records import Case

DAYS = OUTPUTS.index("days")
MOST_CHANCES = 8


@dataclass(frozen=True)
class DueDate:
    """``within`` days from now; ``missed`` cost once beyond it, ``day_after`` for each day more [home money]."""

    within: float
    missed: float
    day_after: float

    @staticmethod
    def of(case: Case) -> DueDate | None:
        """That of a case, if it has one."""
        needed = case.needed
        if needed is None or (needed.within_days is None and not needed.by):
            return None
        within = needed.within_days
        if within is None:
            within = float((date.fromisoformat(needed.by) - today_of(case.wishes)).days)
        return DueDate(within, mean_of(needed.cost_missed), mean_of(needed.cost_day_after))

    def cost(self, days: Any) -> Any:
        """What so many days out of service add."""
        beyond = np.maximum(days - self.within, 0.0)
        return self.missed * (beyond > 0.0) + self.day_after * beyond


def exactly(model: Model, due: DueDate, pieces: Pieces) -> tuple[float, float] | None:
    """Chance of being back by the date and expected cost of missing it, leaf by leaf; None where days are not sure."""
    chances = sorted({i for p in pieces for i, _ in p.chances})
    terms = {int(k) for p in pieces for o, k in zip(p.bill.output, p.bill.term, strict=True) if o == DAYS}
    inputs = {i for k in terms for i in inputs_of(model.program.terms[k])} - set(chances)
    if len(chances) > MOST_CHANCES or not all(
        model.inputs[i].range.sure and not model.inputs[i].is_chance for i in inputs
    ):
        return None
    back, cost = 0.0, 0.0
    for came in product((0.0, 1.0), repeat=len(chances)):
        p = float(
            np.prod(
                [model.inputs[i].mean if c else 1.0 - model.inputs[i].mean for i, c in zip(chances, came, strict=True)]
            )
        )
        if p > 0.0:
            days = model.at(fixed=dict(zip(chances, came, strict=True))).by_leaf(pieces, (0.0, 0.0, 1.0))
            back += p * float(model.tree.chance @ (days <= due.within + 1e-9))
            cost += p * float(model.tree.chance @ due.cost(np.where(days <= due.within + 1e-9, 0.0, days)))
    return back, cost
