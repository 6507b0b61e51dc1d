"""What a look is worth before it is paid for: a test, a phone call, an hour's measuring.

All is worked out against the best rule with the freedom to stop: events exactly, prices and waits by steps
through their range at the conditional mean of each step.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from repairecon.buying.inputs import mean_of
from repairecon.formulas import ranges
from repairecon.formulas import tree as tree_formulas
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.stages import Decision, decision
from repairecon.rebuild_or_buy.tree import STAGE, Floats, Ints
from repairecon.records import Range

STEPS = 12
TAIL = 1e-4
MOST_NUMBERS = 6


@dataclass(frozen=True)
class Worth:
    """What knowing is worth, and what the look at hand brings, in home money."""

    look: str
    about: str  # the event or the number
    evpi: float  # expected value of perfect information on it
    evsi: float  # that of this look, which may be wrong; of a sure and free one where no look is known
    cost: float  # own hours and days at their price
    net: float  # ``evsi`` less ``cost``
    has_look: bool
    error: float = 0.0  # of the steps taken through a price's range


def look_worth(made: Decision, likelihood: Floats) -> float:
    """Expected value of a showing with ``likelihood`` (L, showings), never below 0; what is bought after a failed
    sending away is chosen anew on what is shown."""
    joint = made.chance[:, None] * likelihood
    p = joint.sum(axis=0)
    shown = sum(p[k] * made.known(joint[:, k] / p[k]).value() for k in np.flatnonzero(p > 0))
    return max(made.value() - float(shown), 0.0)


def event_worth(model: Model, made: Decision, event: int, p_right: float = 1.0) -> float:
    """Expected value of a look at one event; of perfect information where it is always right."""
    states = model.tree.states[:, event]
    if p_right == 1.0 and np.ptp(states) == 0:
        return 0.0
    return look_worth(made, tree_formulas.look_likelihood(states, len(model.tree.outcomes[event]), p_right))


def number_worth(model: Model, made: Decision, number: Number) -> tuple[float, float]:
    """Expected value of knowing a price or a wait before choosing, and the most by which it may be off. The least cost
    is concave in a price: over each step its mean lies between the chord of the step's ends and its value at the step's
    conditional mean, and the middle of the two is taken. For a wait that is an estimate."""
    r = number.range
    if r is None or r.sure or number.index < 0:
        return 0.0, 0.0
    at, means = _decisions(model, made, number, r), _steps(r, STEPS)
    p = np.clip(np.linspace(0.0, 1.0, STEPS + 1), TAIL, 1.0 - TAIL)
    edges = ranges.quantile(p, r.low, r.likely, r.high, r.shape)
    middle, ends = (np.array([at(min(float(x), number.most)).value() for x in xs]) for xs in (means, edges))
    part = (means - edges[:-1]) / np.diff(edges)
    above, below = float(middle.mean()), float((ends[:-1] + part * np.diff(ends)).mean())
    return max(made.value() - (above + below) / 2, 0.0), abs(above - below) / 2


def _decisions(model: Model, made: Decision, number: Number, r: Range) -> Callable[[float], Decision]:
    """The staged choice with the number known; costs are straight lines in a price, so two points draw them."""

    def known(x: float) -> Decision:
        return decision(model, None, model.chooser(model.at(fixed={number.index: x})), more=made.more)

    def bought(x: float) -> list[Ints]:
        """What is bought after a failed sending away."""
        chooser = model.chooser(model.at(fixed={number.index: x}))
        return [chooser.bought_after(i) for i in sorted({i for i, _ in model.program.away})]

    straight = made.depths is None and number.slopes is not None
    if not straight or not np.array_equal(bought(r.low), bought(2.0 * r.high)):
        return known
    here, there = known(number.now), known(2.0 * number.now)

    def on_the_line(x: float) -> Decision:
        part, costs = x / number.now - 1.0, []
        for a, b in ((here.stop_cost, there.stop_cost), (here.go_cost, there.go_cost)):
            with np.errstate(invalid="ignore"):
                costs.append(np.where(np.isfinite(a), a + part * (b - a), np.inf))
        return replace(here, stop_cost=costs[0], go_cost=costs[1])

    return on_the_line


def _steps(r: Range, count: int) -> Floats:
    return ranges.cell_means(np.linspace(0.0, 1.0, count + 1), r.low, r.likely, r.high, r.shape)


def _rough_worth(number: Number) -> float:
    """What knowing the number is worth before choosing a way now: to rank by."""
    r = number.range
    if r is None or r.sure or number.index < 0:
        return 0.0
    if number.slopes is None:
        lines = np.array([number.known(float(x)) for x in _steps(r, 3)]).T
    else:
        slopes = np.where(np.isfinite(number.slopes), number.slopes, 0.0)
        lines = number.totals(number.now)[:, None] + slopes[:, None] * (_steps(r, 2 * STEPS) - number.now)
    return float(lines.mean(axis=1).min() - lines.min(axis=0).mean())


def looks(model: Model, made: Decision, listed: Sequence[Number]) -> list[Worth]:
    """Every look of the case and every event and uncertain price without one, best net worth first."""
    found = [*looks_at_hand(model, made, listed), *_without_a_look(model, made, listed)]
    noise = 1e-9 * max(abs(made.value()), 1.0)
    return in_order([w for w in found if w.has_look or w.evpi > noise])


def in_order(found: Sequence[Worth]) -> list[Worth]:
    """Best net worth first."""
    return sorted(found, key=lambda w: (-w.net, -w.evpi, w.look))


def looks_at_hand(model: Model, made: Decision, listed: Sequence[Number]) -> Iterator[Worth]:
    """Every look that the case names."""
    by_item = {n.item: n for n in listed if n.item}
    # a unit that is off cannot be tested where it sat
    off = {b.event for b in model.case.branches if b.not_this_unit} if model.done >= STAGE["removal"] else set()
    for look in model.case.looks:
        if look.event in off:
            continue
        error, cost = 0.0, float(np.dot(model.weights, [mean_of(r) for r in (look.cost, look.hours, look.days)]))
        if look.event:
            event = model.tree.column(look.event)
            perfect = sample = event_worth(model, made, event)
            if look.p_right < 1.0:
                sample = event_worth(model, made, event, look.p_right)
        else:
            number = by_item.get(look.price_of)
            perfect, error = number_worth(model, made, number) if number else (0.0, 0.0)
            sample = perfect
        about = look.event or f"price of {look.price_of}"
        yield Worth(look.look, about, perfect, sample, cost, sample - cost, True, error)


def _without_a_look(model: Model, made: Decision, listed: Sequence[Number]) -> Iterator[Worth]:
    seen, priced = ({getattr(look, what) for look in model.case.looks} for what in ("event", "price_of"))
    for event, name in enumerate(model.tree.events):
        if name not in seen:
            worth = event_worth(model, made, event)
            yield Worth(f"know {name} beforehand", name, worth, worth, 0.0, worth, False)
    ranked = sorted((n for n in listed if n.item not in priced - {""}), key=lambda n: -_rough_worth(n))
    for number in ranked[:MOST_NUMBERS]:
        worth, error = number_worth(model, made, number)
        yield Worth(f"know the {number.name} beforehand", number.name, worth, worth, 0.0, worth, False, error)
