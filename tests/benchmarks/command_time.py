"""Processor time of the windlass case, piece by piece: python tests/benchmarks/command_time.py

Seconds of this process (not of the clock, as other work on the machine would count) beside (a), drawing 1,000,000 x 53
uniforms in blocks in the same run: the ordinary command, its sisters, and exact ranges way by way, each on a fresh
model and again with what ways share already worked out. ``--exact`` leaves the commands out.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import sys
import time
from collections.abc import Callable
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "chance"), str(TESTS / "benchmarks")]

from reference_case import case  # noqa: E402
from reference_problem import uniforms  # noqa: E402
from repairecon.rebuild_or_buy.exact import exact_distribution  # noqa: E402

from repairecon import read_case  # noqa: E402
from repairecon.__main__ import main as command  # noqa: E402
from repairecon.rebuild_or_buy.model import Model  # noqa: E402
from repairecon.rebuild_or_buy.tree import grow  # noqa: E402
from repairecon.records import Case  # noqa: E402

FOLDER = TESTS.parent / "data" / "windlass"
DRAWS, STREAMS = 1_000_000, 53


def spent(work: Callable[[], object], repeats: int = 3) -> float:
    """Least processor time of some runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def run(*words: str) -> None:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
        command(["rebuild-or-buy", str(FOLDER), *words])


def exact_ways(name: str, made: Case, a: float) -> None:
    """Each way's total and cash on a fresh model and on one that knows its curves."""
    for quantity in ("total", "cash"):
        both = [0.0, 0.0]
        for i, way in enumerate(way.way for way in made.ways):
            models = [Model(made, grow(made), {}) for _ in range(3)]
            for m in models:
                m.expected()
            fresh = iter(models)
            cold = spent(lambda i=i, q=quantity, fresh=fresh: exact_distribution(next(fresh), i, q))
            warm = spent(lambda i=i, q=quantity, m=models[0]: exact_distribution(m, i, q))
            both = [both[0] + cold, both[1] + warm]
            print(f"{name:10}{quantity:6}{way:36}{1e3 * cold:>9.1f}{1e3 * warm:>9.1f} ms{warm / a:>9.3f} x (a)")
        cold, warm = both
        print(f"{name:10}{quantity:6}{'all ways':36}{1e3 * cold:>9.1f}{1e3 * warm:>9.1f} ms{warm / a:>9.3f} x (a)")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--exact", action="store_true", help="exact ranges only")
    asked = parser.parse_args()
    a = spent(lambda: uniforms(STREAMS, DRAWS))
    print(f"(a) {DRAWS:,} x {STREAMS} uniforms in blocks: {a:.3f} s; exact ranges fresh, then warm")
    exact_ways("reference", case(), a)
    exact_ways("windlass", read_case(FOLDER), a)
    if not asked.exact:
        for words in ((), ("--exact",), ("--horizon-years", "0")):
            seconds = spent(lambda words=words: run(*words), 2)
            print(f"{'rebuild-or-buy ' + ' '.join(words):52}{seconds:>9.2f} s {seconds / a:>9.1f} x (a)")


if __name__ == "__main__":
    main()
