"""Uncertain numbers in plain Python: one draw of each, or the mean of each. Nothing of the engine in it."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from repairecon.records import Range

Z90 = 1.2815515655446004  # standard normal value that 90 % of cases stay below
Name = tuple[str, ...]
Floats = NDArray[np.float64]


class Bill:
    """Cash, own hours and days of a piece of work."""

    def __init__(self, cash: float = 0.0, hours: float = 0.0, days: float = 0.0) -> None:
        self.cash, self.hours, self.days = cash, hours, days

    def __add__(self, other: Bill) -> Bill:
        return Bill(self.cash + other.cash, self.hours + other.hours, self.days + other.days)

    def times(self, k: float) -> Bill:
        return Bill(self.cash * k, self.hours * k, self.days * k)


def beta_of(r: Range) -> tuple[float, float]:
    """Beta-PERT as it was published: alpha = 1 + 4 (likely - low) / (high - low)."""
    alpha = 1.0 + 4.0 * (r.likely - r.low) / (r.high - r.low)
    return alpha, 6.0 - alpha


def lognormal_of(r: Range) -> tuple[float, float]:
    """sigma and scale of a curve through the 10 %, 50 % and 90 % values."""
    sigma = math.log((r.high - r.likely) / (r.likely - r.low)) / Z90
    return sigma, (r.high - r.likely) / math.expm1(sigma * Z90)


def quantile(r: Range, p: float) -> float:
    """The value that a share p of cases stay below."""
    if r.sure:
        return r.likely
    if r.shape == "pert":
        return r.low + (r.high - r.low) * float(special.betaincinv(*beta_of(r), p))
    if r.shape == "uniform":
        return r.low + (r.high - r.low) * p
    if r.shape == "lognormal":
        sigma, scale = lognormal_of(r)
        return r.likely + scale * math.expm1(sigma * float(special.ndtri(p)))
    turn = (r.likely - r.low) / (r.high - r.low)
    if p < turn:
        return r.low + math.sqrt(p * (r.high - r.low) * (r.likely - r.low))
    return r.high - math.sqrt((1 - p) * (r.high - r.low) * (r.high - r.likely))


def chance_below(r: Range, x: Floats) -> Floats:
    """Share of cases below each x, in closed form."""
    if r.shape == "lognormal":
        sigma, scale = lognormal_of(r)
        inner = np.maximum((x - r.likely) / scale + 1.0, 1e-300)
        return np.asarray(special.ndtr(np.log(inner) / sigma))
    if r.sure:
        return np.asarray(x > r.low, dtype=float)
    share = np.clip((x - r.low) / (r.high - r.low), 0.0, 1.0)
    if r.shape == "uniform":
        return share
    if r.shape == "pert":
        return np.asarray(special.betainc(*beta_of(r), share))
    middle = (r.likely - r.low) / (r.high - r.low)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(share < middle, share**2 / middle, 1 - (1 - share) ** 2 / (1 - middle))


def mean(r: Range) -> float:
    """Expected value of a range."""
    if r.sure:
        return r.likely
    if r.shape == "lognormal":
        sigma, scale = lognormal_of(r)
        return r.likely + scale * math.expm1(sigma**2 / 2)
    weight = {"pert": 4.0, "triangular": 1.0, "uniform": 0.0}[r.shape]
    return (r.low + weight * r.likely + r.high) / (weight + 2.0)


@cache
def mean_of_longest(waits: tuple[Range, ...], floor: float) -> float:
    """floor plus the integral of the chance that one of them lasts longer, by the midpoint rule."""
    far, n = max(quantile(r, 1 - 1e-9) for r in waits), 4000
    s = (np.arange(n) + 0.5) / n
    x = floor + (far - floor) * s * s  # finer near the floor
    longer = 1.0 - np.prod([chance_below(r, x) for r in waits], axis=0)
    return floor + max(far - floor, 0.0) * float((longer * 2 * s).sum()) / n


class OneDraw:
    """One draw of every uncertain number; asked for the same name it gives the same value."""

    def __init__(self, rng: random.Random, correlation: float) -> None:
        self.rng, self.known = rng, dict[Name, float]()
        self.pace = rng.gauss(0.0, 1.0) * math.sqrt(correlation)
        self.own = math.sqrt(1.0 - correlation)

    def number(self, name: Name, r: Range, hours: bool = False) -> float:
        if r.sure:
            return r.likely
        if name not in self.known:
            self.known[name] = self._draw(r, hours)
        return self.known[name]

    def _draw(self, r: Range, hours: bool) -> float:
        if hours:
            z = self.pace + self.own * self.rng.gauss(0.0, 1.0)
            return quantile(r, 0.5 * math.erfc(-z / math.sqrt(2.0)))
        if r.shape == "pert":
            return r.low + (r.high - r.low) * self.rng.betavariate(*beta_of(r))
        return quantile(r, self.rng.random())

    def longest(self, waits: Sequence[tuple[Name, Range]], floor: float) -> float:
        return max([floor, *(self.number(name, r) for name, r in waits)])

    def happens(self, name: Name, p: float) -> float:
        if name not in self.known:
            self.known[name] = float(self.rng.random() < p)
        return self.known[name]

    def either(self, name: Name, p: float, yes: Callable[[], Bill], no: Callable[[], Bill]) -> Bill:
        return yes() if self.happens(name, p) else no()


class Means:
    """The same questions answered with expected values; all numbers are independent of each other."""

    def __init__(self) -> None:
        self.known = dict[int, tuple[Range, float]]()

    def number(self, _name: Name, r: Range, _hours: bool = False) -> float:
        if id(r) not in self.known:
            self.known[id(r)] = r, mean(r)  # with the range itself: no other gets its id
        return self.known[id(r)][1]

    def longest(self, waits: Sequence[tuple[Name, Range]], floor: float) -> float:
        ranges = dict(waits).values()
        return mean_of_longest(tuple(ranges), floor) if ranges else floor

    def happens(self, _name: Name, p: float) -> float:
        return p

    def either(self, _name: Name, p: float, yes: Callable[[], Bill], no: Callable[[], Bill]) -> Bill:
        return yes().times(p) + no().times(1.0 - p)


Numbers = OneDraw | Means
