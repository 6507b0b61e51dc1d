"""Replicates of evenly spread points: which points come in which block, and their digits.

All draws go to ``REPLICATES`` independent sets of points, in stretches of so many points each. A point's number gives
its place among the leaves (by turning its bits round) and, through the columns of each source, the source's digits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas.digital import xor_table

BLOCK = 8192
REPLICATES = 16
BITS = 16
DIGITS = 32
LOW = 6
FIRST = 9
LAST = 13
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Stretch:
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
    if draws % REPLICATES:
        return False
    done, each = 0, draws // REPLICATES
    for _, bits in rounds():
        if done >= each:
            return done == each
        done += 1 << bits
    return False


class Points:
    """The points of one stretch, sorted by their place among the leaves: ``place`` in 0..1, ``replicate`` of each."""

    def __init__(self, stretch: Stretch, columns: Ints, shift: Ints, place_shift: Ints) -> None:
        bits, reps = stretch.bits, stretch.replicates
        self.whole = len(reps) == 1 and int(stretch.counts[0]) == 1 << bits
        turns = place_shift[reps, None] >> (DIGITS - 1 - np.arange(BITS))
        turns[:, bits:] = stretch.start >> np.arange(bits, BITS)
        base = shift[:, reps] ^ np.bitwise_xor.reduce(columns[:, reps] * (turns & 1), axis=-1)
        turned = columns[:, reps, :bits][..., ::-1]
        self.low, self.high = xor_table(turned[..., :LOW]), xor_table(turned[..., LOW:]) ^ base[..., None]
        begin = int(xor_table(1 << np.arange(BITS)[::-1])[stretch.start]) << (DIGITS - BITS)
        left = DIGITS - bits
        part = (((begin ^ place_shift[reps]) & ((1 << left) - 1)) + 0.5) / (1 << left)
        if self.whole:
            self.place = (np.arange(1 << bits) + part[0]) / (1 << bits)
            self.replicate = np.full(1 << bits, reps[0])
        else:
            self._sort(stretch, part, place_shift[reps] >> (DIGITS - bits))
        self.n = len(self.place)

    def _sort(self, stretch: Stretch, part: NDArray[np.float64], moved: Ints) -> None:
        bits = stretch.bits
        turned = xor_table(1 << np.arange(bits)[::-1])
        number = np.concatenate([turned[:n] ^ by for n, by in zip(stretch.counts, moved, strict=True)])
        which = np.repeat(np.arange(len(part)), stretch.counts)
        self.place = (number + part[which]) / (1 << bits)
        order = np.argsort(self.place, kind="stable")
        self.place, which, number = self.place[order], which[order], number[order]
        del order
        self.replicate = stretch.replicates[which]
        self._low_at = (which << LOW) + (number & ((1 << LOW) - 1))
        self._high_at = (which << (bits - LOW)) + (number >> LOW)

    def digits(self, source: int, kept: int, out: NDArray[np.intp]) -> None:
        """First binary digits of a source's coordinates."""
        low, high = self.low[source] >> (DIGITS - kept), self.high[source] >> (DIGITS - kept)
        if self.whole:
            np.bitwise_xor(high[0][:, None], low[0], out=out.reshape(-1, 1 << LOW))
        else:
            np.bitwise_xor(high.ravel().take(self._high_at), low.ravel().take(self._low_at), out=out)
