"""What the choice hangs on: every number of a case, where another way takes over, and how far each moves the lead.

Expected totals are straight lines in every price, hour and day as long as the buys that follow an ended rebuild stay as
they are, and a long wait's is curved only by the other waits of its order. So each number's flip is first read off its
line, then made exact with those buys chosen anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import LongestWait, Product
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.model import Model
from repairecon.records import Range

Floats = NDArray[np.float64]
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


def choice_totals(model: Model, expected: Floats, hour: float, lost_day: float) -> Floats:
    """Expected totals (W,), ways not allowed at infinity."""
    return np.where(model.allowed, expected @ np.array([1.0, hour, lost_day]) + model.late, np.inf)


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
    weights, at, curved = np.array(model.weights), model.plain.at, model.curved_inputs
    coefficients = np.array([weights @ at.coefficients(pieces) for pieces in model.plain.all_ways()])
    slopes = slopes_of(model, coefficients)
    found = []
    for i, x in enumerate(model.inputs):
        if not (x.is_chance or x.mean <= 0 or i == model.program.lost_day):
            found.append(_input_number(model, i, None if i in curved else slopes[:, i]))
    return [*found, *_worths(model)]


def _input_number(model: Model, i: int, slopes: Floats | None) -> Number:
    x, hour, day = model.inputs[i], model.own_hour, model.lost_day
    mean, r = x.mean, x.range

    def by_mean(value: float) -> Floats:
        return choice_totals(model, model.expected({i: value / mean}, hour), hour, day)

    def known(value: float) -> Floats:
        return choice_totals(model, model.expected(None, hour, fixed={i: value}), hour, day)

    return Number(
        name=x.label, unit=x.unit, now=mean, low=r.low, high=r.high, source=str(r.source), totals=by_mean,
        slopes=slopes, item=x.item, index=i, range=r, known=known if slopes is None else None,
        takeover=(lambda: model.buying.takeover(x.offer)) if x.offer >= 0 else None,
    )  # fmt: skip


def _worths(model: Model) -> tuple[Number, Number]:
    """What an own hour and a day out of service are worth: the owner's own figures."""
    home, day = model.case.terms.currency, model.case.terms.cost_lost_day
    hour, base = model.own_hour, model.expected()

    def by_hour(v: float) -> Floats:
        return choice_totals(model, model.expected(None, v), v, model.lost_day)

    def by_day(v: float) -> Floats:
        return choice_totals(model, model.expected(None, hour, v), hour, v)

    return (
        Number(
            name="worth of an own hour", unit=f"{home} an hour", now=hour, low=0.0, high=3.0 * hour, source="",
            totals=by_hour, slopes=base[:, 1],
        ),
        Number(
            name="cost of a day out of service", unit=f"{home} a day", now=model.lost_day, low=day.low, high=day.high,
            source=str(day.source), totals=by_day, slopes=base[:, 2], range=day,
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


@dataclass(frozen=True)
class _Guess:
    """Where the straight lines of a number first cross on the way to an end."""

    number: Number
    value: float
    end: float

    @property
    def far(self) -> float:
        return abs(self.value - self.number.now) / max(self.number.now, 1e-9)


def flips(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Flip]:
    """Nearest flip of each number, down to 0 and up to REACH times its mean; nearest first.

    At most MOST are made exact and returned; the expected totals of the best way and of the way named are equal at
    ``value_flip``.
    """
    found = []
    for guess in _guesses(model, numbers(model) if listed is None else listed, best):
        value = _exact(guess, best)
        if value is not None:
            number = guess.number
            past = number.totals(value + 1e-6 * (guess.end - number.now))
            to = model.ways[int(np.where(np.arange(len(past)) == best, np.inf, past).argmin())]
            flip = Flip(
                number=number.name, unit=number.unit, value_now=number.now, value_flip=value, to_way=to,
                low=number.low, high=number.high, source=number.source,
            )  # fmt: skip
            found.append((abs(value - number.now) / max(number.now, 1e-9), flip))
    found.sort(key=lambda pair: pair[0])
    return [flip for _, flip in found][:MOST]


def _guesses(model: Model, listed: Sequence[Number], best: int) -> Iterator[_Guess]:
    """The nearest crossings of straight lines, then the numbers whose totals are no straight line and may flip."""
    totals, most_days = model.totals, _most_days(model, best)
    apart = float(np.abs(totals[np.isfinite(totals)]).max())
    straight, curved = [], []
    for number in listed:
        reach = max(REACH * number.now, number.high, apart / 5 if number.now == 0 else 0.0)
        for end in (0.0, reach):
            if end == number.now:
                continue
            if number.slopes is None:
                lead = lead_of(totals, best)
                if lead < most_days[number.index] * abs(end - number.now) * (1.0 + 1e-9):
                    curved.append((lead / most_days[number.index], _Guess(number, end, end)))
                continue
            value = _crossing(number, totals, best, end)
            if value is not None:
                straight.append(_Guess(number, value, end))
    kept = 0
    for guess in sorted(straight, key=lambda g: g.far):
        if kept < MOST and guess.value < guess.number.most:  # beyond that price another quote is taken
            kept += 1
            yield _Guess(guess.number, guess.value, min(guess.end, guess.number.most))
    yield from (guess for _, guess in sorted(curved, key=lambda pair: pair[0])[: 2 * MOST])


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


def _exact(guess: _Guess, best: int) -> float | None:
    """The value at which the lead is gone, buys after an ended rebuild chosen anew."""
    number, end = guess.number, guess.end

    def lead(x: float) -> float:
        return lead_of(number.totals(x), best)

    scale = 1e-9 * max(abs(number.totals(number.now)[best]), 1.0)
    at_guess = lead(guess.value)
    if guess.value != end and abs(at_guess) <= scale:
        return guess.value
    start, stop = (number.now, guess.value) if at_guess < 0 else (guess.value, end)
    if lead(stop) >= 0:
        return None
    from scipy import optimize

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


def swings(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Swing]:
    """The numbers that move the lead of the best way most between their P10 and P90, widest first."""
    listed = numbers(model) if listed is None else listed
    ranked = sorted((n for n in listed if n.range is not None and not n.range.sure), key=lambda n: -_pull(n, best))
    found = [_swing(model, n, best) for n in ranked[: 2 * MOST]]
    least = 1e-9 * max(abs(float(model.totals[best])), 1.0)
    found = [s for s in found if abs(s.lead_high - s.lead_low) > least]
    found.sort(key=lambda s: -abs(s.lead_high - s.lead_low))
    return found[:MOST]


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
