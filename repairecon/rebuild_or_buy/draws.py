"""The only randomness: evenly spread points by named input, drawn in blocks. What an input draws depends on the seed
and on its name alone, so that a new quote leaves the draws of all others as they were. Only the few inputs that tell
most (``first``) take their columns from a Sobol sequence in that order, so that they go evenly together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING, Any, NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import Input
from repairecon.formulas import ranges
from repairecon.formulas.ranges import cell_means
from repairecon.rebuild_or_buy.tree import Floats, Ints
from repairecon.records import Range, Years

if TYPE_CHECKING:
    from repairecon.rebuild_or_buy.lives import Clocks

BLOCK, REPLICATES, SLOTS = 8192, 16, 12  # draws in a block at most, independent parts of all, inputs that go evenly
BITS, DIGITS, LOW = 16, 32, 6  # digits of a point's number, of a coordinate, of a number that are looked up together
FIRST, LAST = 9, 13  # bits of the first and of the longest stretch of points
PACE = "pace"
CELL_DIGITS = 12
CELLS = 1 << CELL_DIGITS  # steps of chance
Z_CELLS, Z_MAX = 4096, 6.0  # steps of a normal score, and how far they reach
Z_STEPS = Z_CELLS / (2 * Z_MAX)
Singles = NDArray[np.float32]


# ---- values by steps of chance: tables of conditional means keep the mean of each range ----
@lru_cache(maxsize=64)
def value_table(r: Range, normal: bool = False) -> Floats:
    """Conditional mean of a range in each of CELLS equal steps of chance, or of Z_CELLS steps of a normal score."""
    if not normal:
        return cell_means(np.linspace(0.0, 1.0, CELLS + 1), r.low, r.likely, r.high, r.shape)
    from scipy import special

    z = np.linspace(-Z_MAX, Z_MAX, Z_CELLS + 1)
    z[0], z[-1] = -np.inf, np.inf
    p = special.ndtr(z)
    table = cell_means(p, r.low, r.likely, r.high, r.shape)
    far = np.diff(p) < 1e-7
    table[far] = ranges.quantile((p[1:] + p[:-1])[far] / 2, r.low, r.likely, r.high, r.shape)
    return table


def by_steps(r: Range, uniform: Floats) -> Floats:
    return np.asarray(value_table(r).take((uniform * CELLS).astype(np.intp)))


# ---- evenly spread points: the digits of the number of a point, times a matrix of zeros and ones, are those of its
# coordinate; a matrix is kept by its columns, each one whole number ----
_PRIMITIVE = (
    (1, 0, (1,)), (2, 1, (1, 3)), (3, 1, (1, 3, 1)), (3, 2, (1, 1, 1)), (4, 1, (1, 1, 3, 3)), (4, 4, (1, 3, 5, 13)),
    (5, 2, (1, 1, 5, 5, 17)), (5, 4, (1, 1, 5, 5, 5)), (5, 7, (1, 1, 7, 11, 19)), (5, 11, (1, 1, 5, 1, 1)),
    (5, 13, (1, 1, 1, 3, 11)), (5, 14, (1, 3, 5, 5, 31)), (6, 1, (1, 3, 3, 9, 7, 49)), (6, 13, (1, 1, 1, 15, 21, 21)),
    (6, 16, (1, 3, 1, 13, 27, 49)),
)  # fmt: skip
"""Degree and coefficients of a primitive polynomial, and the first odd numbers, of dimensions 2 to 16:
S. Joe, F. Y. Kuo, SIAM J. Sci. Comput. 30 (2008) 2635-2654, their first 16 rows, from memory."""


def sobol_columns(dimensions: int, bits: int) -> Ints:
    """Columns (dimensions, bits) of the generator matrices of a Sobol sequence; digit k of a coordinate is bit k."""
    columns = np.zeros((dimensions, bits), dtype=np.int64)
    columns[0] = 1 << np.arange(bits)
    for row, (degree, polynomial, first) in zip(columns[1:], _PRIMITIVE, strict=False):
        m = list(first[:bits])
        for k in range(degree, bits):
            new = m[k - degree] ^ (m[k - degree] << degree)
            for i in range(1, degree):
                if polynomial >> (degree - 1 - i) & 1:
                    new ^= m[k - i] << i
            m.append(new)
        row[:] = [sum((m[k] >> (k - digit) & 1) << digit for digit in range(k + 1)) for k in range(bits)]
    return columns


def random_columns(random: NDArray[Any]) -> Ints:
    """Columns (..., bits) of upper triangular matrices with ones on the diagonal, from random whole numbers."""
    given = np.asarray(random, dtype=np.int64)
    one = np.int64(1) << np.arange(given.shape[-1])
    return np.asarray((given & (one - 1)) | one)


def scrambled(columns: NDArray[Any], random: NDArray[Any], digits: int) -> Ints:
    """Columns with their digits mixed by a random lower triangular matrix (J. Matousek 1998): means stay unbiased."""
    given, mixing = np.asarray(columns, dtype=np.int64), np.asarray(random, dtype=np.int64)
    mixed = np.zeros(np.broadcast_shapes(given.shape, mixing.shape), dtype=np.int64)
    for k in range(mixing.shape[-1]):
        top = 1 << (digits - 1 - k)
        mixed ^= np.where(given >> k & 1, (mixing[..., k, None] & (top - 1)) | top, 0)
    return mixed


def xor_table(columns: NDArray[Any]) -> Ints:
    """Coordinates (..., 2**bits) of the points 0, 1, 2, ...: sums without carrying of the columns of their set bits."""
    given = np.asarray(columns, dtype=np.int64)
    table = np.zeros((*given.shape[:-1], 1 << given.shape[-1]), dtype=np.int64)
    for k in range(given.shape[-1]):
        np.bitwise_xor(table[..., : 1 << k], given[..., k, None], out=table[..., 1 << k : 2 << k])
    return table


def replicate_se(totals: NDArray[Any], counts: NDArray[Any]) -> Any:
    """Standard error of ``sum(totals) / sum(counts)`` over replicates (two or more, the last axis), from their spread.
    A ratio estimate: W. G. Cochran, Sampling Techniques, 3rd ed., ch. 6; A. B. Owen, Monte Carlo theory, methods and
    examples, ch. 17 (both from memory)."""
    x, n = np.asarray(totals, dtype=float), np.asarray(counts, dtype=float)
    used, whole = int((n > 0).sum()), n.sum()
    away = x - n * (x.sum(axis=-1, keepdims=True) / whole)
    return np.sqrt(used / (used - 1) * (away * away).sum(axis=-1))[()] / whole


class Stretch(NamedTuple):
    """Points ``start`` and on of some replicates; ``counts`` of them each, of a whole stretch of 2**bits."""

    start: int
    bits: int
    replicates: Ints
    counts: Ints


def rounds() -> Iterator[tuple[int, int]]:
    """First point and bits of every round of stretches; a round at 0 begins anew with other columns."""
    first = [(0, FIRST), *((1 << k, k) for k in range(FIRST, LAST))]
    yield from first
    yield from ((start, LAST) for start in range(1 << LAST, 1 << BITS, 1 << LAST))
    while True:
        yield from ((start, LAST) for start in range(0, 1 << BITS, 1 << LAST))


def stretches(draws: int) -> Iterator[Stretch]:
    """Blocks of a number of draws, shared out equally among the replicates round by round."""
    for start, bits in rounds():
        now = min(draws, REPLICATES << bits)
        counts = now // REPLICATES + (np.arange(REPLICATES) < now % REPLICATES)
        together = min(1 << (BLOCK // int(counts[0])).bit_length() - 1, REPLICATES) if counts[0] else REPLICATES
        for r in range(0, REPLICATES, together):
            if counts[r]:
                yield Stretch(start, bits, np.arange(r, r + together), counts[r : r + together])
        draws -= now
        if not draws:
            return


def ends_round(draws: int) -> bool:
    """Whether a number of draws gives every replicate as many whole rounds."""
    each = draws / REPLICATES
    return next(done for done in accumulate(1 << bits for _, bits in rounds()) if done >= each) == each


class Points:
    """The points of one stretch, sorted by their place among the leaves: ``place`` in 0..1, ``replicate`` of each."""

    def __init__(self, stretch: Stretch, columns: Ints, shift: Ints, place_shift: Ints) -> None:
        bits, reps = stretch.bits, stretch.replicates
        turns = place_shift[reps, None] >> (DIGITS - 1 - np.arange(BITS))
        turns[:, bits:] = stretch.start >> np.arange(bits, BITS)
        base = shift[:, reps] ^ np.bitwise_xor.reduce(columns[:, reps] * (turns & 1), axis=-1)
        turned = columns[:, reps, :bits][..., ::-1]
        self.low, self.high = xor_table(turned[..., :LOW]), xor_table(turned[..., LOW:]) ^ base[..., None]
        begin = int(xor_table(1 << np.arange(BITS)[::-1])[stretch.start]) << (DIGITS - BITS)
        left = DIGITS - bits
        part = (((begin ^ place_shift[reps]) & ((1 << left) - 1)) + 0.5) / (1 << left)
        numbers, moved = xor_table(1 << np.arange(bits)[::-1]), place_shift[reps] >> left
        number = np.concatenate([numbers[:n] ^ by for n, by in zip(stretch.counts, moved, strict=True)])
        which = np.repeat(np.arange(len(part)), stretch.counts)
        self.place = (number + part[which]) / (1 << bits)
        order = np.argsort(self.place, kind="stable")
        self.place, which, number = self.place[order], which[order], number[order]
        self.replicate = reps[which]
        self._low_at = (which << LOW) + (number & ((1 << LOW) - 1))
        self._high_at = (which << (bits - LOW)) + (number >> LOW)
        self.n = len(self.place)

    def digits(self, source: int, kept: int) -> Ints:
        """First binary digits of a source's coordinates."""
        low, high = self.low[source] >> (DIGITS - kept), self.high[source] >> (DIGITS - kept)
        return np.asarray(high.ravel().take(self._high_at) ^ low.ravel().take(self._low_at))


def generator(seed: int, name: str) -> np.random.Generator:
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, crc32(name.encode())])))


class Block(NamedTuple):
    """Drawn inputs (J, n), the leaf and the replicate of each draw; the arrays are used again for the next block."""

    values: Singles
    leaf: NDArray[np.intp]
    replicate: NDArray[np.intp] | int


class Draws:
    """Blocks of drawn inputs and leaves, bit for bit by the seed. ``first``: inputs (or ``PACE``) that tell most."""

    def __init__(
        self, inputs: Sequence[Input], leaf_chance: Floats, correlation: float, seed: int, first: Sequence[str] = ()
    ) -> None:
        from scipy import special

        self.cumulative = np.cumsum(leaf_chance)
        self.cumulative /= self.cumulative[-1]
        self.values = np.empty((len(inputs), BLOCK), dtype=np.float32)
        self.uncertain = [k for k, x in enumerate(inputs) if not x.range.sure or (x.is_chance and 0 < x.mean < 1)]
        for k, x in enumerate(inputs):
            if k not in self.uncertain:
                self.values[k] = x.range.likely
        self.inputs = inputs
        # conditional means of a standard normal score in equal steps of chance, its variance kept at one
        edges = special.ndtri(np.linspace(0.0, 1.0, CELLS + 1))
        means = -np.diff(np.exp(-0.5 * edges**2) / np.sqrt(2.0 * np.pi)) * CELLS
        scores = means / means.std() * Z_STEPS
        self.pace_table = (scores * np.sqrt(correlation) + Z_CELLS / 2).astype(np.float32)
        self.scores = (scores * np.sqrt(1.0 - correlation)).astype(np.float32)
        self.alike = [inputs[k].shared_hours and correlation > 0.0 for k in self.uncertain]
        # values by steps of what is no chance
        self.tables = [None if inputs[k].is_chance else value_table(inputs[k].range, alike).astype(np.float32)
                       for k, alike in zip(self.uncertain, self.alike, strict=True)]  # fmt: skip
        names = [*(inputs[k].key for k in self.uncertain), PACE]
        self.streams = [generator(seed, name).bit_generator for name in names]
        self.tree = generator(seed, "tree")
        self.slots = [names.index(name) for name in first if name in names][:SLOTS]

    def _columns(self) -> tuple[Ints, Ints, Ints]:
        """Scrambled columns (sources, replicates, BITS) and shifts of all sources, and the shift among the leaves."""
        raw = np.array([s.random_raw(REPLICATES * (BITS + 1)) for s in self.streams]).reshape(-1, REPLICATES, BITS + 1)
        upper, lower = (raw >> np.uint64(32)).astype(np.int64), (raw & np.uint64(0xFFFFFFFF)).astype(np.int64)
        columns = random_columns(upper[..., :BITS])
        columns[self.slots] = sobol_columns(1 + len(self.slots), BITS)[1:, None]
        shift = self.tree.integers(0, 1 << DIGITS, REPLICATES)
        return scrambled(columns, lower[..., :BITS], DIGITS), lower[..., BITS], shift

    def leaves(self, points: Points) -> NDArray[np.intp]:
        """Leaf of each point, in ascending order: each leaf as often as its chance has it."""
        edges = np.searchsorted(points.place, self.cumulative)
        edges[-1] = points.n
        return np.repeat(np.arange(len(edges)), np.diff(edges, prepend=0))

    def blocks(self, draws: int) -> Iterator[Block]:
        """Block by block; every draw belongs to one of some independent replicates of like size."""
        for stretch in stretches(draws):
            if stretch.start == 0 and stretch.replicates[0] == 0:
                columns, shift, place_shift = self._columns()
            points = Points(stretch, columns, shift, place_shift)
            pace = self.pace_table.take(points.digits(len(self.uncertain), CELL_DIGITS))
            for source, (k, alike, table) in enumerate(zip(self.uncertain, self.alike, self.tables, strict=True)):
                out = self.values[k, : points.n]
                if table is None:
                    out[:] = points.digits(source, DIGITS) < self.inputs[k].mean * 2.0**DIGITS
                    continue
                index = points.digits(source, CELL_DIGITS)
                if alike:
                    index = (self.scores.take(index) + pace).astype(np.intp)
                table.take(index, out=out, mode="clip")
            replicate = int(points.replicate[0]) if len(stretch.replicates) == 1 else points.replicate
            yield Block(self.values[:, : points.n], self.leaves(points), replicate)


def failure_times(clocks: Clocks, years: Years, paths: int, seed: int, name: str) -> Floats:
    """Times of successive failures (K, paths) within the horizon, inf after the last; one median life a path. First
    failures are spread evenly over the paths. The age with which a unit starts grows by ``wear_kept`` of what it
    ran."""
    stream, pace = generator(seed, f"failures:{name}"), years.hours_a_year
    step = np.arange(paths) % len(clocks.life_years)
    # exponential numbers that any run of them spreads evenly: multiples of an irrational number, shifted
    first = [-np.log1p(-((stream.random() + np.arange(paths) * irrational) % 1.0)) for irrational in (5**0.5, 2**0.5)]
    going, t = np.arange(paths), np.zeros(paths)
    times: list[Floats] = []

    def further(spread: Floats, life: Floats, age: Floats) -> Floats:
        with np.errstate(invalid="ignore"):
            drawn = life * ((age / life) ** clocks.shape + spread) ** (1.0 / clocks.shape) - age
        return np.where(np.isfinite(life), drawn, np.inf)

    while True:
        age = clocks.age_years + clocks.wear_kept * t
        spread = [stream.standard_exponential(len(going)) for _ in first] if times else first
        life = further(spread[0], clocks.life_years[step[going]], age)
        if pace > 0:
            hours = further(spread[1], clocks.life_hours[step[going]], age * pace)
            life = np.minimum(life, hours / pace)
        t = t + np.where(stream.random(len(going)) < clocks.p_early, 0.0, life)
        going, t = going[t <= years.horizon_years], t[t <= years.horizon_years]
        if not len(going):
            return np.array(times).reshape(len(times), paths)
        times.append(np.full(paths, np.inf))
        times[-1][going] = t


def path_draws(seed: int, name: str, shape: tuple[int, ...]) -> Floats:
    return generator(seed, f"paths:{name}").random(shape)
