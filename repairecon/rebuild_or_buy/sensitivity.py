"""What the choice hangs on: every number of a case, where another way takes over, and how far each moves the lead.

Expected totals are straight lines in every price, hour and day as long as the buys that follow an ended rebuild stay as
they are, and a long wait's is curved only by the other waits of its order. So each number's flip is first read off its
line, then made exact with those buys chosen anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np

from repairecon.buying.inputs import LongestWait, Product, inputs_of
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.draws import PACE, SLOTS
from repairecon.rebuild_or_buy.evaluate import AtMeans
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import Range

REACH = 5.0
"""Times its mean up to which a number's flip is looked for."""
MOST = 12
"""Flips and swings that are worked out."""


@dataclass(frozen=True)
class Number:
    """One number on which the choice may hang.

    ``totals(x)`` are the expected totals (W,) with the number's mean at x, ``known(x)`` with the number known to be x;
    both choose the buys after an ended rebuild anew. ``slopes`` of the totals now, None where they are not straight
    lines. ``item`` is the part or way whose price it is, ``index`` its place among the inputs (-1: none of them).
    """

    name: str
    unit: str
    now: float
    low: float
    high: float
    source: str
    totals: Callable[[float], Floats]
    slopes: Floats | None
    item: str = ""
    index: int = -1
    range: Range | None = None
    known: Callable[[float], Floats] | None = None
    takeover: Callable[[], float] | None = None

    @cached_property
    def most(self) -> float:
        """Price at which another quote is taken instead; inf where there is none."""
        return inf if self.takeover is None else self.takeover()

    def at(self, x: float) -> Floats:
        """Expected totals with the number known to be x."""
        return self.totals(x) if self.known is None else self.known(x)


def choice_totals(
    model: Model,
    factors: Mapping[int, float] | None = None,
    fixed: Mapping[int, float] | None = None,
    hour: float | None = None,
    day: float | None = None,
) -> Floats:
    """Expected totals (W,), ways not allowed at infinity; inputs scaled or held, own hours and days at other worths."""
    weights = 1.0, model.own_hour if hour is None else hour, model.lost_day if day is None else day
    totals = model.expected(factors, hour, day, fixed) @ np.array(weights) + model.late
    return np.where(model.allowed, totals, np.inf)


def lead_of(totals: Floats, best: int) -> float:
    """By how much the best way leads the next; below 0 once another is cheaper."""
    others = np.delete(totals, best)
    return float(others.min() - totals[best]) if len(others) else np.inf


def slopes_of(model: Model, coefficients: Floats) -> Floats:
    """Change of sums of terms (W, T) with each input (W, J), the other inputs of a product at their means."""
    means = np.array([x.mean for x in model.inputs])
    slopes = np.zeros((len(coefficients), len(means)))
    for k, term in enumerate(model.program.terms):
        if isinstance(term, Product):
            for n, i in enumerate(term.inputs):
                rest = [means[j] for m, j in enumerate(term.inputs) if m != n]
                slopes[:, i] += coefficients[:, k] * float(np.prod(rest))
    return slopes


def numbers(model: Model) -> list[Number]:
    """Every uncertain or sure number of the case, then the worth of an own hour and of a lost day."""
    weights, at = np.array(model.weights), model.plain.at
    # days are no straight line in waits of an order, and in bench work under one
    curved = {i for term in model.program.terms if isinstance(term, LongestWait) for i in inputs_of(term)}
    coefficients = np.array([weights @ at.coefficients(pieces) for pieces in model.plain.all_ways()])
    slopes = slopes_of(model, coefficients)
    found = []
    for i, x in enumerate(model.inputs):
        if not (x.is_chance or x.mean <= 0 or i == model.program.lost_day):
            found.append(_input_number(model, i, None if i in curved else slopes[:, i]))
    return [*found, *_worths(model)]


def _input_number(model: Model, i: int, slopes: Floats | None) -> Number:
    x = model.inputs[i]
    return Number(
        name=x.label, unit=x.unit, now=x.mean, low=x.range.low, high=x.range.high, source=str(x.range.source),
        totals=lambda value: choice_totals(model, {i: value / x.mean}), slopes=slopes, item=x.item, index=i,
        range=x.range, known=(lambda value: choice_totals(model, fixed={i: value})) if slopes is None else None,
        takeover=(lambda: model.buying.takeover(x.offer)) if x.offer >= 0 else None,
    )  # fmt: skip


def _worths(model: Model) -> tuple[Number, Number]:
    """What an own hour and a day out of service are worth: the owner's own figures."""
    home, day, base = model.case.terms.currency, model.case.terms.cost_lost_day, model.expected()
    return (
        Number(
            name="worth of an own hour", unit=f"{home} an hour", now=model.own_hour, low=0.0, high=3.0 * model.own_hour,
            source="", totals=lambda value: choice_totals(model, hour=value), slopes=base[:, 1],
        ),
        Number(
            name="cost of a day out of service", unit=f"{home} a day", now=model.lost_day, low=day.low, high=day.high,
            source=str(day.source), totals=lambda value: choice_totals(model, day=value), slopes=base[:, 2], range=day,
        ),
    )  # fmt: skip


# ---- flips --------------------------------------------------------------------------------
@dataclass(frozen=True)
class Flip:
    """A number, where it stands, and where another way takes over at the mean."""

    number: str
    unit: str
    value_now: float
    value_flip: float
    to_way: str
    low: float
    high: float
    source: str

    @property
    def within_range(self) -> bool:
        """Whether the flip lies inside the number's own range."""
        return self.low <= self.value_flip <= self.high


def _far(now: float, value: float) -> float:
    return abs(value - now) / max(now, 1e-9)


def flips(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Flip]:
    """Nearest flip of each number, down to 0 and up to REACH times its mean; nearest first.

    At most MOST are made exact and returned; the expected totals of the best way and of the way named are equal at
    ``value_flip``.
    """
    found = []
    for number, guess, end in _guesses(model, numbers(model) if listed is None else listed, best):
        value = _exact(number, guess, end, best)
        if value is not None:
            past = number.totals(value + 1e-6 * (end - number.now))
            to = model.ways[int(np.where(np.arange(len(past)) == best, np.inf, past).argmin())]
            found.append(Flip(
                number=number.name, unit=number.unit, value_now=number.now, value_flip=value, to_way=to,
                low=number.low, high=number.high, source=number.source,
            ))  # fmt: skip
    return sorted(found, key=lambda flip: _far(flip.value_now, flip.value_flip))[:MOST]


def _guesses(model: Model, listed: Sequence[Number], best: int) -> Iterator[tuple[Number, float, float]]:
    """The nearest crossings of straight lines on the way to an end, then the numbers whose totals are no straight line
    and may flip: number, guess and end."""
    totals, most_days = model.totals, _most_days(model, best)
    lead, apart = lead_of(totals, best), float(np.abs(totals[np.isfinite(totals)]).max())
    straight, curved = [], []
    for number in listed:
        reach = max(REACH * number.now, number.high, apart / 5 if number.now == 0 else 0.0)
        for end in (0.0, reach):
            if end == number.now:
                continue
            if number.slopes is None:
                if lead < most_days[number.index] * abs(end - number.now) * (1.0 + 1e-9):
                    curved.append((lead / most_days[number.index], number, end))
            elif (value := _crossing(number, totals, best, end)) is not None:
                straight.append((_far(number.now, value), number, value, end))
    kept = 0
    for _, number, value, end in sorted(straight, key=lambda guess: guess[0]):
        if kept < MOST and value < number.most:  # beyond that price another quote is taken
            kept += 1
            yield number, value, min(end, number.most)
    yield from ((number, end, end) for _, number, end in sorted(curved, key=lambda guess: guess[0])[: 2 * MOST])


def _most_days(model: Model, best: int) -> Floats:
    """By how much the lead may shrink at most for a day more or less of each wait or of work under one (J,).

    The longest of several moves by no more than the one that is moved.
    """
    at, weights = model.plain.at, np.array(model.weights)
    coefficients = np.array([weights @ at.coefficients(pieces) for pieces in model.plain.all_ways()])
    apart = np.abs(coefficients - coefficients[best]).max(axis=0)
    most = np.zeros(len(model.inputs))
    for k, term in enumerate(model.program.terms):
        if isinstance(term, LongestWait):
            for i, per_unit in (*((i, 1.0) for i in term.waits), *term.floor):
                most[i] += apart[k] * abs(per_unit)
        else:
            for i in term.inputs:
                rest = float(np.prod([model.inputs[j].mean for j in term.inputs if j != i]))
                most[i] += apart[k] * abs(rest)
    return most


def _crossing(number: Number, totals: Floats, best: int, end: float) -> float | None:
    assert number.slopes is not None
    closing = number.slopes[best] - number.slopes
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (totals - totals[best]) / closing
    crossings = number.now + away[np.isfinite(away) & (away * (end - number.now) > 0)]
    within = crossings[(crossings - end) * (crossings - number.now) < 0]
    return float(within[np.abs(within - number.now).argmin()]) if len(within) else None


def _exact(number: Number, guess: float, end: float, best: int) -> float | None:
    """The value at which the lead is gone, buys after an ended rebuild chosen anew."""
    from scipy import optimize

    def lead(x: float) -> float:
        return lead_of(number.totals(x), best)

    at_guess = lead(guess)
    if guess != end and abs(at_guess) <= 1e-9 * max(abs(number.totals(number.now)[best]), 1.0):
        return guess
    start, stop = (number.now, guess) if at_guess < 0 else (guess, end)
    if lead(stop) >= 0:
        return None
    return float(optimize.brentq(lead, start, stop, xtol=1e-10 * max(abs(end), 1.0)))


# ---- swings -------------------------------------------------------------------------------
@dataclass(frozen=True)
class Swing:
    """By how much the best way leads the next with a number at its P10 and P90, others as expected."""

    number: str
    unit: str
    value_low: float
    value_high: float
    lead_low: float
    lead_high: float
    best_low: str
    best_high: str

    @property
    def wide(self) -> float:
        """By how much the lead moves."""
        return abs(self.lead_high - self.lead_low)


def swings(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Swing]:
    """The numbers that move the lead of the best way most between their P10 and P90, widest first."""
    listed = numbers(model) if listed is None else listed
    ranked = sorted((n for n in listed if n.range is not None and not n.range.sure), key=lambda n: -_pull(n, best))
    least = 1e-9 * max(abs(float(model.totals[best])), 1.0)
    found = [s for s in (_swing(model, n, best) for n in ranked[: 2 * MOST]) if s.wide > least]
    return sorted(found, key=lambda s: -s.wide)[:MOST]


def _ends(number: Number) -> tuple[float, float]:
    r = number.range
    assert r is not None
    low, high = ranges.quantile(np.array([0.1, 0.9]), r.low, r.likely, r.high, r.shape)
    return float(low), float(high)


def _pull(number: Number, best: int) -> float:
    """How far the number may move some way against the best, by its straight line; curved ones come first."""
    if number.slopes is None:
        return np.inf
    low, high = _ends(number)
    return float(np.abs(number.slopes - number.slopes[best]).max() * (high - low))


def _swing(model: Model, number: Number, best: int) -> Swing:
    low, high = _ends(number)
    high = min(high, number.most)
    at_low, at_high = number.at(low), number.at(high)
    names = [model.ways[int(t.argmin())] for t in (at_low, at_high)]
    return Swing(
        number=number.name, unit=number.unit, value_low=low, value_high=high, lead_low=lead_of(at_low, best),
        lead_high=lead_of(at_high, best), best_low=names[0], best_high=names[1],
    )  # fmt: skip


# ---- inputs that are drawn most evenly -----------------------------------------------------
LEAVES = 64
"""Leaves, spread evenly by chance, over which the inputs are ranked by what they move."""


def most_moving(model: Model) -> list[str]:
    """Keys of the inputs (the common pace of hours among them) that move the totals most, most first.

    Each is moved by one standard deviation, all else at its mean; what counts is its share of the spread of any
    allowed way's total or of the difference of any two.
    """
    effects = _effects(model)[model.allowed]
    a, b = np.triu_indices(len(effects), 1)
    both = np.concatenate([effects, effects[a] - effects[b]]) ** 2
    share = (both / np.maximum(both.sum(axis=1, keepdims=True), 1e-300)).max(axis=0)
    names = [*(x.key for x in model.inputs), PACE]
    order = sorted(range(len(names)), key=lambda k: (-float(share[k]), names[k]))
    return [names[k] for k in order if share[k] > 0.0][:SLOTS]


def _effects(model: Model) -> Floats:
    """What one standard deviation of each input, and of the pace, adds to the mean total of each way (W, J + 1)."""
    program, inputs, rho = model.program, model.inputs, model.case.terms.hours_correlation
    spreads = np.array([_spread(model, i) for i in range(len(inputs))])
    hours = np.array([x.shared_hours for x in inputs], dtype=bool)
    at, weights, ways = _over_some_leaves(model), np.array(model.weights), model.plain.all_ways()
    expected = np.array([at.expected(pieces) for pieces in ways])
    coefficients = np.array([weights @ at.coefficients(pieces) for pieces in ways])
    effects = slopes_of(model, coefficients) * spreads
    for k, term in enumerate(program.terms):
        if isinstance(term, LongestWait):
            for i in term.waits:
                effects[:, i] += coefficients[:, k] * (_longest(model, term, i, spreads[i]) - at.terms[k])
    effects[:, program.lost_day] += expected[:, 2] * spreads[program.lost_day]
    for i in model.never.values():
        at.inputs[i] += spreads[i]
        effects[:, i] += (np.array([at.expected(pieces) for pieces in ways]) - expected) @ weights
        at.inputs[i] -= spreads[i]
    pace = effects[:, hours].sum(axis=1, keepdims=True) * np.sqrt(rho)
    effects[:, hours] *= np.sqrt(1.0 - rho)
    return np.concatenate([effects, pace], axis=1)


def _over_some_leaves(model: Model) -> AtMeans:
    """The model at the means of its inputs over leaves spread evenly by chance, the longest wait that of the means."""
    cumulative = np.cumsum(model.tree.chance)
    some = np.searchsorted(cumulative / cumulative[-1], (np.arange(LEAVES) + 0.5) / LEAVES)
    chance = np.bincount(some, minlength=len(cumulative)) / LEAVES
    terms = model.plain.at.terms.copy()
    for k, term in enumerate(model.program.terms):
        if isinstance(term, LongestWait):
            terms[k] = _longest(model, term)
    return AtMeans(model.program, chance, np.array([x.mean for x in model.inputs]), terms, {})


def _longest(model: Model, term: LongestWait, moved: int = -1, by: float = 0.0) -> float:
    """The longest of some waits at their means, one of them moved."""
    waits = [model.inputs[i].mean + (by if i == moved else 0.0) for i in term.waits]
    return max([*waits, sum(k * model.inputs[i].mean for i, k in term.floor)])


def _spread(model: Model, i: int) -> float:
    x = model.inputs[i]
    if x.is_chance:
        return float(np.sqrt(x.mean * (1.0 - x.mean)))
    r = x.range
    return float(np.sqrt(ranges.variance(r.low, r.likely, r.high, r.shape)))
