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
from repairecon.formulas.ranges import cell_means
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.stages import Decision, decision
from repairecon.rebuild_or_buy.tree import STAGE, Floats
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


def _likelihood(model: Model, event: int, p_right: float) -> Floats:
    return tree_formulas.look_likelihood(model.tree.states[:, event], len(model.tree.outcomes[event]), p_right)


def event_worth(model: Model, made: Decision, event: int) -> float:
    """Expected value of perfect information on one event."""
    if np.ptp(model.tree.states[:, event]) == 0:
        return 0.0
    return look_worth(made, _likelihood(model, event, 1.0))


def number_worth(model: Model, made: Decision, number: Number) -> tuple[float, float]:
    """Expected value of knowing a price or a wait before choosing, and the most by which it may be off.

    The least cost is concave in a price: over each step its mean lies between the chord of the step's ends and its
    value at the step's conditional mean, and the middle of the two is taken. For a wait that is an estimate.
    """
    r = number.range
    if r is None or r.sure or number.index < 0:
        return 0.0, 0.0
    at = _decisions(model, made, number)
    p = np.linspace(0.0, 1.0, STEPS + 1)
    means = cell_means(p, r.low, r.likely, r.high, r.shape)
    edges = ranges.quantile(np.clip(p, TAIL, 1.0 - TAIL), r.low, r.likely, r.high, r.shape)
    middle, ends = (np.array([at(min(float(x), number.most)).value() for x in xs]) for xs in (means, edges))
    part = (means - edges[:-1]) / np.diff(edges)
    chord = ends[:-1] + part * np.diff(ends)
    above, below = float(middle.mean()), float(chord.mean())
    return max(made.value() - (above + below) / 2, 0.0), abs(above - below) / 2


def _decisions(model: Model, made: Decision, number: Number) -> Callable[[float], Decision]:
    """The staged choice with the number known; costs are straight lines in a price, so two points draw them."""
    r = number.range
    assert r is not None

    def known(x: float) -> Decision:
        return decision(model, None, model.chooser(model.at(fixed={number.index: x})), more=made.more)

    if made.depths is not None or number.slopes is None or _chooses_anew(model, number.index, r):
        return known
    here, there = known(number.now), known(2.0 * number.now)

    def on_the_line(x: float) -> Decision:
        part, costs = x / number.now - 1.0, []
        for a, b in ((here.stop_cost, there.stop_cost), (here.go_cost, there.go_cost)):
            with np.errstate(invalid="ignore"):
                costs.append(np.where(np.isfinite(a), a + part * (b - a), np.inf))
        return replace(here, stop_cost=costs[0], go_cost=costs[1])

    return on_the_line


def _chooses_anew(model: Model, index: int, r: Range) -> bool:
    """Whether another unit is bought after a failed sending away at one end of the range than at the other."""
    low, high = (model.chooser(model.at(fixed={index: x})) for x in (r.low, 2.0 * r.high))
    ways = sorted({i for i, _ in model.program.away})
    return any(not np.array_equal(low.bought_after(i), high.bought_after(i)) for i in ways)


def _steps(r: Range, count: int) -> Floats:
    return cell_means(np.linspace(0.0, 1.0, count + 1), r.low, r.likely, r.high, r.shape)


def _rough_worth(number: Number) -> float:
    """What knowing the number is worth before choosing a way now: to rank by."""
    r = number.range
    if r is None or r.sure or number.index < 0:
        return 0.0
    if number.slopes is None:
        lines = np.array([number.at(float(x)) for x in _steps(r, 3)]).T
    else:
        slopes = np.where(np.isfinite(number.slopes), number.slopes, 0.0)
        lines = number.totals(number.now)[:, None] + slopes[:, None] * (_steps(r, 2 * STEPS) - number.now)
    return float(lines.mean(axis=1).min() - lines.min(axis=0).mean())


def looks(model: Model, made: Decision, listed: Sequence[Number]) -> list[Worth]:
    """Every look of the case and every event and uncertain price without one, best net worth first."""
    found = [*looks_at_hand(model, made, listed), *_events(model, made), *_prices(model, made, listed)]
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
        error, amounts = 0.0, [mean_of(r) for r in (look.cost, look.hours, look.days)]
        cost = float(np.dot(model.weights, amounts))
        if look.event:
            event = model.tree.column(look.event)
            perfect = event_worth(model, made, event)
            sample = look_worth(made, _likelihood(model, event, look.p_right)) if look.p_right < 1.0 else perfect
        else:
            number = by_item.get(look.price_of)
            perfect, error = number_worth(model, made, number) if number else (0.0, 0.0)
            sample = perfect
        about = look.event or f"price of {look.price_of}"
        yield Worth(look.look, about, perfect, sample, cost, sample - cost, True, error)


def _events(model: Model, made: Decision) -> Iterator[Worth]:
    named = {look.event for look in model.case.looks}
    for event, name in enumerate(model.tree.events):
        if name not in named:
            worth = event_worth(model, made, event)
            yield Worth(f"know {name} beforehand", name, worth, worth, 0.0, worth, False)


def _prices(model: Model, made: Decision, listed: Sequence[Number]) -> Iterator[Worth]:
    named = {look.price_of for look in model.case.looks if look.price_of}
    ranked = sorted((n for n in listed if n.item not in named), key=lambda n: -_rough_worth(n))
    for number in ranked[:MOST_NUMBERS]:
        worth, error = number_worth(model, made, number)
        yield Worth(f"know the {number.name} beforehand", number.name, worth, worth, 0.0, worth, False, error)
