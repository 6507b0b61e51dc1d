"""At what value of which number the choice flips.

Expected totals are straight lines in every price, hour and day as long as the buys that follow
an ended rebuild stay as they are, and a long wait's is bent only by the other waits of its order.
So each number's flip is first read off its line, then made exact with those buys chosen anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.chance.model import Model

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
class _Number:
    """One number that may flip the choice: exact totals at a value, and their slopes now."""

    name: str
    unit: str
    now: float
    low: float
    high: float
    source: str
    totals: Callable[[float], Floats]
    slopes: Floats | None
    most: float = np.inf


def _totals(model: Model, expected: Floats, hour: float, lost_day: float) -> Floats:
    """Expected totals (W,), ways not allowed at infinity."""
    total = expected[:, 0] + hour * expected[:, 1] + lost_day * expected[:, 2]
    return np.where(model.allowed, total, np.inf)


def _lead(totals: Floats, best: int) -> float:
    """By how much the best way leads the next; below nought once another is cheaper."""
    others = np.delete(totals, best)
    return float(others.min() - totals[best]) if len(others) else np.inf


def _numbers(model: Model, hour: float) -> Iterator[_Number]:
    rows, chance = model.leaf_rows(), model.world.chance
    choice = model.choose(rows, hour)
    bent = model.bent_inputs

    def fixed(factors: dict[int, float] | None) -> Floats:
        held = np.array([np.array(r) for r in model.evaluate(model.leaf_rows(factors), choice)]) @ chance
        return np.asarray(held)

    base = fixed(None)
    for i, x in enumerate(model.inputs):
        mean = x.mean
        if x.is_chance or mean <= 0 or x.key == "lost day":
            continue

        def by_input(value: float, i: int = i, mean: float = mean) -> Floats:
            return _totals(model, model.expected({i: value / mean}, hour), hour, model.lost_day)

        slopes = None if i in bent else (fixed({i: 2.0}) - base) @ [1.0, hour, model.lost_day] / mean
        r = x.range
        yield _Number(x.label, x.unit, mean, r.low, r.high, str(r.source), by_input, slopes, x.takeover)
    home, day = model.case.terms.currency, model.case.terms.cost_lost_day
    yield _Number(
        "worth of an own hour", f"{home} an hour", hour, 0.0, 3.0 * hour, "",
        lambda v: _totals(model, model.expected(None, v), v, model.lost_day), base[:, 1],
    )  # fmt: skip
    yield _Number(
        "cost of a day out of service", f"{home} a day", model.lost_day, day.low, day.high, str(day.source),
        lambda v: _totals(model, model.expected(None, hour, v), hour, v), base[:, 2],
    )  # fmt: skip


def _guess(number: _Number, totals: Floats, best: int, end: float) -> float:
    """Where the straight lines first cross on the way to ``end``; ``end`` if they do not."""
    if number.slopes is None:
        return end
    closing = number.slopes[best] - number.slopes
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (totals - totals[best]) / closing
    crossings = number.now + away[np.isfinite(away) & (away * (end - number.now) > 0)]
    within = crossings[(crossings - end) * (crossings - number.now) <= 0]
    return float(within[np.abs(within - number.now).argmin()]) if len(within) else end


def _exact(number: _Number, best: int, guess: float, end: float) -> float | None:
    """The value at which the lead is gone, buys after an ended rebuild chosen anew."""
    from scipy import optimize

    def lead(x: float) -> float:
        return _lead(number.totals(x), best)

    scale = 1e-9 * max(abs(number.totals(number.now)[best]), 1.0)
    at_guess = lead(guess)
    if guess != end and abs(at_guess) <= scale:
        return guess
    start, stop = (number.now, guess) if at_guess < 0 else (guess, end)
    if lead(stop) >= 0:
        return None
    return float(optimize.brentq(lead, start, stop, xtol=1e-10 * max(abs(end), 1.0)))


def flips(model: Model, own_hour: float, best: int) -> list[Flip]:
    """Nearest flip of each number, down to nought and up to REACH times its mean; nearest first.

    At most TOLD are made exact and returned; the expected totals of the best way and of the
    way named are equal at ``value_flip``.
    """
    totals = _totals(model, model.expected(None, own_hour), own_hour, model.lost_day)
    apart = float(np.abs(totals[np.isfinite(totals)]).max())
    guesses = []
    for number in _numbers(model, own_hour):
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
