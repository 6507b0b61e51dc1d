"""What the choice hangs on: flip values, swings, and which way is best as two numbers move.

Expected totals are straight lines in every price, hour and day as long as the buys that follow
an ended rebuild stay as they are, and a long wait's is bent only by the other waits of its order.
So each number's flip is first read off its line, then made exact with those buys chosen anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.numbers import Number, choice_totals, lead_of, numbers

Floats = NDArray[np.float64]
REACH = 5.0
TOLD = 12


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


def _guess(number: Number, totals: Floats, best: int, end: float) -> float:
    """Where the straight lines first cross on the way to ``end``; ``end`` if they do not."""
    if number.slopes is None:
        return end
    closing = number.slopes[best] - number.slopes
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (totals - totals[best]) / closing
    crossings = number.now + away[np.isfinite(away) & (away * (end - number.now) > 0)]
    within = crossings[(crossings - end) * (crossings - number.now) <= 0]
    return float(within[np.abs(within - number.now).argmin()]) if len(within) else end


def _exact(number: Number, best: int, guess: float, end: float) -> float | None:
    """The value at which the lead is gone, buys after an ended rebuild chosen anew."""
    from scipy import optimize

    def lead(x: float) -> float:
        return lead_of(number.totals(x), best)

    scale = 1e-9 * max(abs(number.totals(number.now)[best]), 1.0)
    at_guess = lead(guess)
    if guess != end and abs(at_guess) <= scale:
        return guess
    start, stop = (number.now, guess) if at_guess < 0 else (guess, end)
    if lead(stop) >= 0:
        return None
    return float(optimize.brentq(lead, start, stop, xtol=1e-10 * max(abs(end), 1.0)))


def flips(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Flip]:
    """Nearest flip of each number, down to nought and up to REACH times its mean; nearest first.

    At most TOLD are made exact and returned; the expected totals of the best way and of the
    way named are equal at ``value_flip``.
    """
    listed = numbers(model) if listed is None else listed
    totals = choice_totals(model, model.expected(), model.own_hour, model.lost_day)
    apart = float(np.abs(totals[np.isfinite(totals)]).max())
    guesses = []
    for number in listed:
        reach = max(REACH * number.now, number.high, apart / 5 if number.now == 0 else 0.0)
        for end in (0.0, min(reach, number.most)):
            if end != number.now:
                guess = _guess(number, totals, best, end)
                if guess != end or number.slopes is None:
                    guesses.append((abs(guess - number.now) / max(number.now, 1e-9), number, guess, end))
    bent = [g for g in guesses if g[1].slopes is None]
    straight = sorted((g for g in guesses if g[1].slopes is not None), key=lambda g: g[0])[:TOLD]
    found = []
    for _, number, guess, end in [*straight, *bent]:
        value = _exact(number, best, guess, end)
        if value is not None:
            past = number.totals(value + 1e-6 * (end - number.now))
            to = model.ways[int(np.where(np.arange(len(past)) == best, np.inf, past).argmin())]
            flip = Flip(number.name, number.unit, number.now, value, to, number.low, number.high, number.source)
            found.append((abs(value - number.now) / max(number.now, 1e-9), flip))
    found.sort(key=lambda pair: pair[0])
    return [flip for _, flip in found][:TOLD]


def swings(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Swing]:
    """The numbers that move the lead of the best way most between their P10 and P90, widest first."""
    listed = numbers(model) if listed is None else listed
    totals = choice_totals(model, model.expected(), model.own_hour, model.lost_day)
    ranked = sorted((n for n in listed if n.range is not None and not n.range.sure), key=lambda n: -_pull(n, best))
    found = [_swing(model, n, best) for n in ranked[: 2 * TOLD]]
    found = [s for s in found if abs(s.lead_high - s.lead_low) > 1e-9 * max(abs(float(totals[best])), 1.0)]
    found.sort(key=lambda s: -abs(s.lead_high - s.lead_low))
    return found[:TOLD]


def _ends(number: Number) -> tuple[float, float]:
    r = number.range
    assert r is not None
    low, high = ranges.quantile(np.array([0.1, 0.9]), r.low, r.likely, r.high, r.shape)
    return float(low), min(float(high), number.most)


def _pull(number: Number, best: int) -> float:
    """How far the number may move some way against the best, by its straight line; bent ones come first."""
    if number.slopes is None:
        return np.inf
    low, high = _ends(number)
    return float(np.abs(number.slopes - number.slopes[best]).max() * (high - low))


def _swing(model: Model, number: Number, best: int) -> Swing:
    low, high = _ends(number)
    at_low, at_high = number.at(low), number.at(high)
    names = [model.ways[int(t.argmin())] for t in (at_low, at_high)]
    return Swing(number.name, number.unit, low, high, lead_of(at_low, best), lead_of(at_high, best), names[0], names[1])


def best_way_map(model: Model, x: Number, y: Number, steps: int = 13) -> pd.DataFrame:
    """Name of the cheapest way on average over a grid of two inputs; rows are y, columns x."""
    xs, ys = (np.linspace(*_span(n), steps) for n in (x, y))
    cells = [[model.ways[int(_grid_totals(model, x, y, float(a), float(b)).argmin())] for a in xs] for b in ys]
    frame = pd.DataFrame(cells, index=ys, columns=xs)
    frame.attrs = {"x": (x.name, x.unit, x.now), "y": (y.name, y.unit, y.now)}
    return frame


def _span(number: Number) -> tuple[float, float]:
    """The number's range, opened to half and twice its mean."""
    return min(number.low, number.now / 2), min(max(number.high, 2 * number.now), number.most)


def _grid_totals(model: Model, x: Number, y: Number, a: float, b: float) -> Floats:
    expected = model.expected({x.index: a / x.now, y.index: b / y.now})
    return choice_totals(model, expected, model.own_hour, model.lost_day)
