"""The only randomness: one stream a named input, drawn in blocks.

A stream depends on the seed and on the input's name alone, so that a new quote leaves the
draws of every other input as they were. Values come from tables of conditional means at
``CELLS`` equal steps of chance, which keep the mean of each range exactly.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from repairecon.chance.inputs import Input
from repairecon.formulas import ranges
from repairecon.formulas.cells import cell_means

BLOCK = 8192
CELLS = 4096
Z_CELLS = 4096
Z_MAX = 6.0
Z_STEPS = Z_CELLS / (2 * Z_MAX)
Floats = NDArray[np.float64]


def generator(seed: int, name: str) -> np.random.Generator:
    """The random stream of a name."""
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, crc32(name.encode())])))


def mean_table(x: Input) -> Floats:
    """Conditional mean of a range in each of CELLS equal steps of chance."""
    r = x.range
    edges = np.linspace(0.0, 1.0, CELLS + 1)
    return cell_means(edges, r.low, r.likely, r.high, r.shape)


def normal_table(x: Input) -> Floats:
    """Conditional mean of a range in each of Z_CELLS steps of a standard normal score."""
    from scipy import special

    r = x.range
    z = np.linspace(-Z_MAX, Z_MAX, Z_CELLS + 1)
    z[0], z[-1] = -np.inf, np.inf
    p = special.ndtr(z)
    weight = np.diff(p)
    table = cell_means(p, r.low, r.likely, r.high, r.shape)
    far = weight < 1e-7
    table[far] = ranges.quantile((p[1:] + p[:-1])[far] / 2, r.low, r.likely, r.high, r.shape)
    return table


def _indices(bits: np.random.BitGenerator, index: NDArray[np.intp]) -> None:
    """Table indices, four from each 64 random bits."""
    raw = bits.random_raw(-(-len(index) // 4))
    np.right_shift(raw.view(np.uint16)[: len(index)], 4, out=index, casting="unsafe")


class _Steps:
    """An input drawn by table look-up."""

    def __init__(self, x: Input, seed: int, index: NDArray[np.intp]) -> None:
        self.table = mean_table(x)
        self.bits = generator(seed, x.key).bit_generator
        self.index = index

    def draw(self, n: int, out: Floats) -> None:
        index = self.index[:n]
        _indices(self.bits, index)
        self.table.take(index, out=out[:n], mode="clip")


def score_table() -> Floats:
    """Conditional mean of a standard normal score in each of CELLS equal steps of chance, its variance kept at one."""
    from scipy import special

    edges = special.ndtri(np.linspace(0.0, 1.0, CELLS + 1))
    density = np.exp(-0.5 * edges**2) / np.sqrt(2.0 * np.pi)
    means = -np.diff(density) * CELLS
    return np.asarray(means / means.std())


class _Hours:
    """Hours that share the owner's common pace, by a normal score counted in steps of the table."""

    def __init__(self, x: Input, seed: int, scores: Floats, index: NDArray[np.intp], score: Floats) -> None:
        self.table = normal_table(x)
        self.bits = generator(seed, x.key).bit_generator
        self.scores, self.index, self.score = scores, index, score

    def draw(self, n: int, pace: Floats, out: Floats) -> None:
        z, index = self.score[:n], self.index[:n]
        _indices(self.bits, index)
        self.scores.take(index, out=z, mode="clip")
        z += pace[:n]
        np.copyto(index, z, casting="unsafe")
        self.table.take(index, out=out[:n], mode="clip")


class _Chance:
    """One with the chance given, else nought."""

    def __init__(self, x: Input, seed: int) -> None:
        self.p = x.range.likely
        self.stream = generator(seed, x.key)

    def draw(self, n: int, out: Floats) -> None:
        self.stream.random(out=out[:n])
        np.less(out[:n], self.p, out=out[:n], casting="unsafe")


class Draws:
    """Blocks of drawn inputs and of leaves; the same seed gives the same blocks, bit for bit."""

    def __init__(self, inputs: Sequence[Input], leaf_chance: Floats, correlation: float, seed: int) -> None:
        self.inputs = inputs
        self.cumulative = np.cumsum(leaf_chance)
        self.cumulative /= self.cumulative[-1]
        self.tree = generator(seed, "tree")
        self.pace_stream = generator(seed, "pace")
        self.share = float(np.sqrt(correlation)) * Z_STEPS
        scores = score_table() * float(np.sqrt(1.0 - correlation)) * Z_STEPS
        self.values = np.empty((len(inputs), BLOCK))
        self.pace = np.empty(BLOCK)
        index, score = np.empty(BLOCK, dtype=np.intp), np.empty(BLOCK)
        self.sources: dict[int, _Steps | _Hours | _Chance] = {}
        for i, x in enumerate(inputs):
            if x.is_chance and 0.0 < x.range.likely < 1.0:
                self.sources[i] = _Chance(x, seed)
            elif x.range.sure:
                self.values[i] = x.range.likely
            elif x.shared_hours and correlation > 0.0:
                self.sources[i] = _Hours(x, seed, scores, index, score)
            else:
                self.sources[i] = _Steps(x, seed, index)

    def leaves(self, n: int) -> NDArray[np.intp]:
        """Leaf of each of n draws, in ascending order: each leaf as often as its chance has it."""
        edges = np.ceil(self.cumulative * n - self.tree.random()).astype(np.intp)
        edges[-1] = n
        counts = np.diff(edges, prepend=0)
        return np.repeat(np.arange(len(counts)), counts)

    def blocks(self, draws: int) -> Iterator[tuple[Floats, NDArray[np.intp]]]:
        """(inputs (J, n), leaves (n,)) block by block; the arrays are used again for the next block."""
        for start in range(0, draws, BLOCK):
            n = min(BLOCK, draws - start)
            pace = self.pace[:n]
            self.pace_stream.standard_normal(out=pace)
            pace *= self.share
            pace += Z_CELLS / 2
            for i, source in self.sources.items():
                if isinstance(source, _Hours):
                    source.draw(n, pace, self.values[i])
                else:
                    source.draw(n, self.values[i])
            yield self.values[:, :n], self.leaves(n)


def failure_times(
    life_years: Floats, life_hours: Floats, shape: float, age_years: float, p_early: float, hours_a_year: float,
    horizon_years: float, paths: int, seed: int, name: str, wear_kept: float = 0.0,
) -> Floats:  # fmt: skip
    """Times of successive failures (K, paths) within the horizon, inf after the last; one median life a path.

    The age with which a unit starts grows by ``wear_kept`` of what it ran.
    """
    stream = generator(seed, f"failures:{name}")
    step = stream.integers(0, len(life_years), paths)
    t = np.zeros(paths)
    times: list[Floats] = []
    while True:
        age = age_years + wear_kept * np.minimum(t, horizon_years)
        life = _standing(stream, life_years[step], shape, age)
        if hours_a_year > 0:
            life = np.minimum(life, _standing(stream, life_hours[step], shape, age * hours_a_year) / hours_a_year)
        t = t + np.where(stream.random(paths) < p_early, 0.0, life)
        if not (t <= horizon_years).any():
            return np.array(times).reshape(len(times), paths)
        times.append(np.where(t <= horizon_years, t, np.inf))


def _standing(stream: np.random.Generator, life: Floats, shape: float, age: Floats) -> Floats:
    """Drawn further lives of units of an age."""
    spread = stream.standard_exponential(len(life))
    with np.errstate(invalid="ignore"):
        drawn = life * ((age / life) ** shape + spread) ** (1.0 / shape) - age
    return np.where(np.isfinite(life), drawn, np.inf)


def path_draws(seed: int, name: str, shape: tuple[int, ...]) -> Floats:
    """Uniform numbers for what happens along the paths."""
    return generator(seed, f"paths:{name}").random(shape)
