"""What the choice hangs on: every number of a case, where another way takes over, and how far each moves the lead.
Expected totals are straight lines in nearly every number as long as the buys that follow an ended rebuild stay as they
are: each number's flip is first read off its line, then made exact with those buys chosen anew."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import inf

import numpy as np

from repairecon.buying.inputs import LongestWait, Product, inputs_of
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.draws import PACE, SLOTS
from repairecon.rebuild_or_buy.evaluate import AtMeans
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import Range, Source

REACH = 5.0  # times its mean up to which a number's flip is looked for
MOST = 12  # flips and swings that are worked out
HOUR, DAY = "worth of an own hour", "cost of a day out of service"


def choice(
    model: Model, changed: Mapping[int, Range] | None = None, hour: float | None = None, day: float | None = None
) -> Floats:
    """Expected cash, own hours, days and total of each way (W, 4), barred ones at infinity; some inputs changed."""
    chooser = model.chooser(model.at(changed), hour, day)
    three = chooser.expected()
    return np.column_stack([three, np.where(model.allowed, three @ np.array(chooser.weights) + model.late, np.inf)])


def lead_of(totals: Floats, best: int) -> float:
    """By how much the best way leads the next; below 0 once another is cheaper."""
    others = np.delete(totals, best)
    return float(others.min() - totals[best]) if len(others) else np.inf


@dataclass(frozen=True, eq=False)
class Number:
    """One number on which the choice may hang. ``slopes`` of the totals now, None where they are not straight lines;
    ``index`` its place among the inputs, -1 for the owner's own figures."""

    model: Model = field(repr=False)
    name: str
    unit: str
    now: float
    low: float
    high: float
    range: Range
    slopes: Floats | None
    index: int = -1
    item: str = ""  # the part or way whose price it is

    def totals(self, x: float) -> Floats:
        """Expected totals (W,) with its mean at x, the buys after an ended rebuild chosen anew."""
        if self.name == HOUR:
            return choice(self.model, hour=x)[:, 3]
        if self.name == DAY:
            return choice(self.model, day=x)[:, 3]
        return choice(self.model, {self.index: self.model.inputs[self.index].range.scaled(x / self.now)})[:, 3]

    def known(self, x: float) -> Floats:
        """The same with the number known to be x."""
        return self.totals(x) if self.slopes is not None else choice(self.model, {self.index: Range(x, x, x)})[:, 3]

    @property
    def source(self) -> str:
        return str(self.range.source)

    @cached_property
    def most(self) -> float:
        """Price at which another quote is taken instead; inf where there is none."""
        offer = -1 if self.index < 0 else self.model.inputs[self.index].offer
        return inf if offer < 0 else self.model.buying.takeover(offer)

    @cached_property
    def ends(self) -> tuple[float, float]:
        """One in ten is lower, one in ten higher."""
        r = self.range
        low, high = ranges.quantile(np.array([0.1, 0.9]), r.low, r.likely, r.high, r.shape)
        return float(low), float(high)


def _slopes(model: Model, coefficients: Floats) -> Floats:
    """Change of sums of terms (W, T) with each input (W, J), the other inputs of a product at their means."""
    means = np.array([x.mean for x in model.inputs])
    slopes = np.zeros((len(coefficients), len(means)))
    for k, term in enumerate(model.program.terms):
        if isinstance(term, Product):
            for n, i in enumerate(term.inputs):
                rest = [means[j] for m, j in enumerate(term.inputs) if m != n]
                slopes[:, i] += coefficients[:, k] * float(np.prod(rest))
    return slopes


def _coefficients(model: Model, at: AtMeans) -> Floats:
    """What each term counts in the total of each way (W, T)."""
    return np.array([np.array(model.weights) @ at.coefficients(pieces) for pieces in model.plain.all_ways()])


def numbers(model: Model) -> list[Number]:
    """Every uncertain or sure number of the case, then the worth of an own hour and of a lost day."""
    # days are no straight line in waits of an order, and in bench work under one
    curved = {i for term in model.program.terms if isinstance(term, LongestWait) for i in inputs_of(term)}
    slopes, found = _slopes(model, _coefficients(model, model.plain.at)), list[Number]()
    for i, x in enumerate(model.inputs):
        if not (x.is_chance or x.mean <= 0 or i == model.program.lost_day):
            r, straight = x.range, None if i in curved else slopes[:, i]
            found.append(Number(model, x.label, x.unit, x.mean, r.low, r.high, r, straight, i, x.item))
    home, day, hour, base = model.case.terms.currency, model.case.terms.cost_lost_day, model.own_hour, model.expected()
    sure = Range(hour, hour, hour, source=Source(""))
    return [
        *found,
        Number(model, HOUR, f"{home} an hour", hour, 0.0, 3.0 * hour, sure, base[:, 1]),
        Number(model, DAY, f"{home} a day", model.lost_day, day.low, day.high, day, base[:, 2]),
    ]


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
        return self.low <= self.value_flip <= self.high


def _far(now: float, value: float) -> float:
    return abs(value - now) / max(now, 1e-9)


def flips(model: Model, best: int, listed: Sequence[Number] | None = None) -> list[Flip]:
    """Nearest flip of each number, down to 0 and up to REACH times its mean; nearest first. At most MOST are made exact
    and returned; the expected totals of the best way and of the way named are equal at ``value_flip``."""
    found = []
    for x, guess, end in _guesses(model, numbers(model) if listed is None else listed, best):
        value, lead = None, lead_of(x.totals(guess), best)
        if guess != end and abs(lead) <= 1e-9 * max(abs(x.totals(x.now)[best]), 1.0):
            value = guess
        else:  # buys after an ended rebuild are chosen anew: it may lie beyond the guess
            start, stop = (x.now, guess) if lead < 0 else (guess, end)
            value = lead_gone(x, best, start, stop, 1e-10 * max(abs(end), 1.0))
        if value is not None:
            past = x.totals(max(value + 1e-6 * (end - x.now), 0.0))  # one may turn at nothing, but for rounding
            past[best] = np.inf
            to = model.ways[int(past.argmin())]
            found.append(Flip(x.name, x.unit, x.now, value, to, x.low, x.high, x.source))
    return sorted(found, key=lambda flip: _far(flip.value_now, flip.value_flip))[:MOST]


def lead_gone(number: Number, best: int, start: float, end: float, right: float) -> float | None:
    """The value between two, to so much, at which the best way's lead is gone; None where it still leads at the end."""
    from scipy import optimize

    def lead(x: float) -> float:
        return lead_of(number.totals(x), best)

    if lead(end) >= 0:
        return None
    return float(optimize.brentq(lead, start, end, xtol=right))


def _guesses(model: Model, listed: Sequence[Number], best: int) -> Iterator[tuple[Number, float, float]]:
    """Number, guess and end: the nearest crossings of straight lines, then the curved numbers that may flip."""
    totals, coefficients = model.totals, _coefficients(model, model.plain.at)
    # by how much the lead may shrink at most for a day more or less of each wait or of work under one (J,): the longest
    # of several moves by no more than the one that is moved
    differ = np.abs(coefficients - coefficients[best]).max(axis=0)
    most_days = _slopes(model, differ[None])[0]
    for k, term in enumerate(model.program.terms):
        if isinstance(term, LongestWait):
            for i, per_unit in (*((i, 1.0) for i in term.waits), *term.floor):
                most_days[i] += differ[k] * abs(per_unit)
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
                continue
            with np.errstate(divide="ignore", invalid="ignore"):
                away = (totals - totals[best]) / (number.slopes[best] - number.slopes)
            crossings = number.now + away[np.isfinite(away) & (away * (end - number.now) > 0)]
            within = crossings[(crossings - end) * (crossings - number.now) < 0]
            if len(within):
                value = float(within[np.abs(within - number.now).argmin()])
                straight.append((_far(number.now, value), number, value, end))
    kept = 0
    for _, number, value, end in sorted(straight, key=lambda guess: guess[0]):
        if kept < MOST and value < number.most:  # beyond that price another quote is taken
            kept += 1
            yield number, value, min(end, number.most)
    yield from ((number, end, end) for _, number, end in sorted(curved, key=lambda guess: guess[0])[: 2 * MOST])


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


def swings(model: Model, best: int, listed: Sequence[Number]) -> list[Swing]:
    def pull(x: Number) -> float:
        """How far it may move some way against the best, by its straight line; curved ones come first."""
        low, high = x.ends
        return np.inf if x.slopes is None else float(np.abs(x.slopes - x.slopes[best]).max() * (high - low))

    def swing(x: Number) -> Swing:
        low, high = x.ends[0], min(x.ends[1], x.most)
        at_low, at_high = x.known(low), x.known(high)
        names = (model.ways[int(t.argmin())] for t in (at_low, at_high))
        return Swing(x.name, x.unit, low, high, lead_of(at_low, best), lead_of(at_high, best), *names)

    ranked = sorted((n for n in listed if not n.range.sure), key=lambda n: -pull(n))
    least = 1e-9 * max(abs(float(model.totals[best])), 1.0)
    found = [(abs(s.lead_high - s.lead_low), s) for s in map(swing, ranked[: 2 * MOST])]
    return [s for wide, s in sorted(found, key=lambda pair: -pair[0]) if wide > least][:MOST]


LEAVES = 64  # leaves, spread evenly by chance, over which the inputs are ranked by what they move


def most_moving(model: Model) -> list[str]:
    """Keys of the inputs (the common pace of hours among them) that move the totals most, most first. Each is moved by
    one standard deviation, all else at its mean; what counts is its share of the spread of any allowed way's total or
    of the difference of any two."""
    effects = _effects(model)[model.allowed]
    a, b = np.triu_indices(len(effects), 1)
    both = np.concatenate([effects, effects[a] - effects[b]]) ** 2
    share = (both / np.maximum(both.sum(axis=1, keepdims=True), 1e-300)).max(axis=0)
    ranked = sorted(zip(-share, [*(x.key for x in model.inputs), PACE], strict=True))
    return [name for less, name in ranked if less < 0.0][:SLOTS]


def _effects(model: Model) -> Floats:
    """What one standard deviation of each input, and of the pace, adds to the mean total of each way (W, J + 1)."""
    program, inputs, rho = model.program, model.inputs, model.case.terms.hours_correlation
    variances = [x.mean * (1.0 - x.mean) if x.is_chance else ranges.variance(r.low, r.likely, r.high, r.shape)
                 for x, r in ((x, x.range) for x in inputs)]  # fmt: skip
    spreads, hours = np.sqrt(variances), np.array([x.shared_hours for x in inputs], dtype=bool)
    # the inputs at their means over leaves spread evenly by chance, the longest wait that of the means
    cumulative = np.cumsum(model.tree.chance)
    some = np.searchsorted(cumulative / cumulative[-1], (np.arange(LEAVES) + 0.5) / LEAVES)
    chance, terms = np.bincount(some, minlength=len(cumulative)) / LEAVES, model.plain.at.terms.copy()
    longest = [(k, term) for k, term in enumerate(program.terms) if isinstance(term, LongestWait)]

    def wait(term: LongestWait, moved: int = -1) -> float:
        """The longest of some waits at their means, one of them moved."""
        waits = [inputs[i].mean + (spreads[i] if i == moved else 0.0) for i in term.waits]
        return max([*waits, sum(k * inputs[i].mean for i, k in term.floor)])

    for k, term in longest:
        terms[k] = wait(term)
    at, ways = AtMeans(program, chance, np.array([x.mean for x in inputs]), terms, {}), model.plain.all_ways()
    expected, coefficients = np.array([at.expected(pieces) for pieces in ways]), _coefficients(model, at)
    effects = _slopes(model, coefficients) * spreads
    for k, term in longest:
        for i in term.waits:
            effects[:, i] += coefficients[:, k] * (wait(term, i) - at.terms[k])
    effects[:, program.lost_day] += expected[:, 2] * spreads[program.lost_day]
    for i in model.never.values():
        at.inputs[i] += spreads[i]
        moved = np.array([at.expected(pieces) for pieces in ways]) - expected
        effects[:, i] += moved @ np.array(model.weights)
        at.inputs[i] -= spreads[i]
    pace = effects[:, hours].sum(axis=1, keepdims=True) * np.sqrt(rho)
    effects[:, hours] *= np.sqrt(1.0 - rho)
    return np.concatenate([effects, pace], axis=1)
