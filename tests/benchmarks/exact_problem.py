"""How long exact one-shot ranges take, as ratios in one run: python tests/benchmarks/exact_problem.py

Beside (a), drawing as many uniforms in blocks as 1,000,000 joint draws of the reference case take, and beside
sampling at equal accuracy. The error of an exact figure is its gap to a much finer reckoning (25 paces, 20 costs of
a lost day, 8,192 points); sampling is charged the draws whose standard error equals that gap, its time shared
equally among the ways, as one run of it serves all. Times are for comparing on one machine in one run, never a test.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "chance"), str(TESTS / "benchmarks")]

from reference_case import case  # noqa: E402
from reference_problem import timed, uniforms  # noqa: E402

from repairecon.chance import exact  # noqa: E402
from repairecon.chance.exact import exact_distribution  # noqa: E402
from repairecon.chance.model import Model  # noqa: E402
from repairecon.chance.outcomes import sample  # noqa: E402
from repairecon.chance.world import grow  # noqa: E402
from repairecon.formulas.convolve import chance_up_to, quantile_of  # noqa: E402

DRAWS, STREAMS, TARGET = 1_000_000, 53, 0.1
QUANTITIES = (("total", 3), ("cash", 0))


def finer(model: Model, way: int, quantity: str) -> tuple[float, float, exact.Floats]:
    """A reckoning with many more values and points."""
    counts, exact.node_counts = exact.node_counts, lambda *_: (25, 20, 4)
    try:
        return exact_distribution(model, way, quantity, 8192)
    finally:
        exact.node_counts = counts


def against_draws(model: Model, draws: int) -> None:
    """Largest gap between exact chances and shares of draws, beside what so many independent draws differ by."""
    outcomes = sample(model, draws, 9)
    for i, way in enumerate(model.ways):
        tally = outcomes.tallies[i][3]
        shares = np.cumsum(tally.counts) / tally.counts.sum()
        gap = np.abs(chance_up_to(*exact_distribution(model, i), tally.edges[1:]) - shares).max()
        noise = 1.63 / draws**0.5
        print(f"{way:26}gap to {draws:,} draws {gap:.6f}; one in a hundred differs by more than {noise:.6f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, help="only compare with so many draws, such as 10000000")
    parser.add_argument("--quick", action="store_true", help="sample 100,000 draws only, to learn the standard errors")
    asked = parser.parse_args()
    draws = 100_000 if asked.quick else DRAWS
    model = Model(case(), grow(case()), {})
    if asked.draws:
        return against_draws(model, asked.draws)
    a = timed(lambda: uniforms(STREAMS, DRAWS), 5)
    outcomes = sample(model, draws, 1)
    each_draw = timed(lambda: sample(model, 100_000, 1), 3) / 100_000 / len(model.ways)
    print(f"(a) {DRAWS:,} x {STREAMS} uniforms in blocks: {a:.3f} s; a draw of one way: {1e9 * each_draw:.0f} ns")
    heads = ("ms", "ms/(a)", "P90", "its error", "advantage", "error below P90", "advantage")
    print(f"{'way':26}{'':6}", *(f"{h:>15}" for h in heads))
    for q, (quantity, column) in enumerate(QUANTITIES):
        whole = 0.0
        for i, way in enumerate(model.ways):
            seconds = timed(lambda i=i, quantity=quantity: exact_distribution(model, i, quantity), 7)
            whole += seconds
            found, fine = exact_distribution(model, i, quantity), finer(model, i, quantity)
            p90 = float(quantile_of(*fine, 0.9))
            error = max(abs(float(quantile_of(*found, 0.9)) - p90), 1e-9)
            off = max(abs(float(chance_up_to(*found, p90)) - 0.9), 1e-9)
            tally = outcomes.tallies[i][column]
            wanted = draws * np.array([(tally.quantile_se(0.9) / error) ** 2, 0.9 * 0.1 / draws / off**2])
            gains = wanted * each_draw / seconds
            row = (1e3 * seconds, seconds / a, p90, error, gains[0], off, gains[1])
            print(f"{way:26}{quantity:6}", *(f"{x:>15.4g}" for x in row))
        print(f"{'all ways':26}{quantity:6} {1e3 * whole:>15.4g} {whole / a:>15.4g}", "" if q else f"target {TARGET}")


if __name__ == "__main__":
    main()
