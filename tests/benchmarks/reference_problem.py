"""How long the reference problem takes, as ratios in one run: python tests/benchmarks/reference_problem.py

(a) drawing the same number of uniforms in blocks, (b) straightforward vectorised numpy, (c) a plain
loop in Python. Times are for comparing on one machine in one run, never a test. ``--quick`` stops
at 100,000 draws.
"""

from __future__ import annotations

import argparse
import random
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "rebuild_or_buy"), str(TESTS / "benchmarks")]

from plain_loop import PlainCase  # noqa: E402
from plain_numpy import PlainNumpy  # noqa: E402
from reference_case import case  # noqa: E402

from repairecon.rebuild_or_buy.model import Model  # noqa: E402
from repairecon.rebuild_or_buy.outcomes import sample  # noqa: E402
from repairecon.rebuild_or_buy.tree import grow  # noqa: E402

BLOCK = 8192
TARGET_RATIO, TARGET_MB, TARGET_IMPORT = 6.0, 64.0, 1.3
MEMORY = """
import sys, tracemalloc
sys.path[:0] = {paths!r}
from reference_case import case
from reference_problem import peak
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import sample
from repairecon.rebuild_or_buy.tree import grow
model = Model(case(), grow(case()), {{}})
before = peak()
if {trace}:
    tracemalloc.start()
sample(model, {draws}, 1)
print(tracemalloc.get_traced_memory()[1] / 1e6 if {trace} else peak() - before)
"""


def peak() -> float:
    """Largest memory that this process ever held [MB]."""
    status = Path("/proc/self/status")
    if status.exists():  # what getrusage gives on Linux is that of the parent where it was larger
        return float(re.search(r"VmHWM:\s+(\d+) kB", status.read_text())[1]) * 1024 / 1e6  # type: ignore[index]
    import resource

    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def timed(work: Callable[[], object], repeats: int) -> float:
    """Best of some runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def uniforms(streams: int, draws: int) -> None:
    """As many uniforms as the problem has uncertain inputs, one generator an input, in blocks."""
    generators = [np.random.default_rng(k) for k in range(streams)]
    block = np.empty((streams, BLOCK))
    for start in range(0, draws, BLOCK):
        n = min(BLOCK, draws - start)
        for generator, row in zip(generators, block, strict=True):
            generator.random(out=row[:n])


def fresh(code: str) -> float:
    """What a new interpreter prints."""
    command = [sys.executable, "-c", code]
    return float(subprocess.run(command, capture_output=True, text=True, check=True, cwd=TESTS.parent).stdout)


def import_seconds(name: str) -> float:
    return fresh(f"import time; t = time.perf_counter(); import {name}; print(time.perf_counter() - t)")


def agree(draws: int) -> float:
    """Largest gap between the means of plain numpy and the exact ones [standard errors]."""
    plain = PlainNumpy(case(), draws, 3).answer()
    outcomes = sample(Model(case(), grow(case()), {}), 2, 0)
    assert plain["ways"] == list(outcomes.ways)
    se = np.where(plain["se"] > 0, plain["se"], np.inf)
    return float((np.abs(plain["mean"] - outcomes.mean[:, :4]) / se).max())


def speed(sizes: list[int]) -> None:
    model = Model(case(), grow(case()), {})
    streams = sum(not x.range.sure or x.is_chance for x in model.inputs) + 2
    loops = 2000
    plain, rng = PlainCase(case()), random.Random(1)
    loop = timed(lambda: [plain.draw(rng) for _ in range(loops)], 1) / loops
    print(f"{len(model.tree.chance)} leaves, {len(model.ways)} ways, {streams} streams")
    heads = ("draws", "engine s", "(a) s", "(b) s", "(c) s", "engine/(a)", "(b)/(a)", "(c)/(a)")
    print(*(f"{h:>10}" for h in heads))
    a = 0.0
    for draws in sizes:
        repeats = 5
        a = timed(lambda n=draws: uniforms(streams, n), repeats)
        engine = timed(lambda n=draws: sample(model, n, 1), repeats)
        b = timed(lambda n=draws: PlainNumpy(case(), n, 1).answer(), 1)
        c = loop * draws
        row = (engine, a, b, c, engine / a, b / a, c / a)
        print(f"{draws:>10}", *(f"{x:>10.3f}" for x in row))
    print(f"target at 1,000,000 draws: engine/(a) <= {TARGET_RATIO:g}; (c) is scaled up from {loops} draws")
    exact = timed(lambda: model.expected(), 20)
    print(f"exact expected costs of all ways: {1e3 * exact:.2f} ms = {exact / a:.4f} (a) of {sizes[-1]:,} draws")
    built = timed(lambda: Model(case(), grow(case()), {}), 5)
    print(f"building the model: {1e3 * built:.1f} ms")


def memory(draws: int) -> None:
    paths = sys.path[:4]
    held = fresh(MEMORY.format(paths=paths, draws=draws, trace=False))
    traced = fresh(MEMORY.format(paths=paths, draws=draws, trace=True))
    print(f"peak memory above start at {draws:,} draws: {held:.1f} MB resident, {traced:.1f} MB traced")
    print(f"target: <= {TARGET_MB:g} MB")


def imports() -> None:
    ours, theirs = [], []
    for _ in range(7):
        ours.append(import_seconds("repairecon"))
        theirs.append(import_seconds("pandas"))
    a, b = statistics.median(ours), statistics.median(theirs)
    print(f"import: repairecon {a:.3f} s, pandas {b:.3f} s, ratio {a / b:.2f} (target <= {TARGET_IMPORT:g})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="stop at 100,000 draws")
    sizes = [10_000, 100_000] if parser.parse_args().quick else [10_000, 100_000, 1_000_000]
    print(f"plain numpy against the exact means: within {agree(50_000):.1f} standard errors")
    speed(sizes)
    memory(sizes[-1])
    imports()


if __name__ == "__main__":
    main()
