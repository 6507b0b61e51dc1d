"""What sampling costs for how sure a figure, as ratios in one run: python tests/benchmarks/sampling_problem.py

(a) drawing the same number of uniforms in blocks; plain vectorised numpy; two general-purpose libraries that propagate
uncertainty (``pip install -e '.[bench]'``; left out where they are missing), scaled up from few draws. What is
compared of sampled figures is variance times time: how many times longer the other takes for the same standard error.
``--chart growth.png`` draws how cost grows with draws, leaves and ways; ``--quick`` takes fewer draws.

One run on two cores, 1,000,000 draws of 54 streams (a):

    joint draws with ranges and ranking of 5 ways   3.2 (a); plain numpy 45, chaospy 727, mcerp 1,731
    ten exact expected costs                        0.003 (a)
    memory above start                              7.2 MB allocated, 8.6 resident (2.5 of it code)
    chance of being cheapest, variance x time       16 (16,384 draws) to 60 (131,072) times plain numpy
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "rebuild_or_buy"), str(TESTS / "benchmarks")]

import other_libraries  # noqa: E402
from plain_numpy import PlainNumpy  # noqa: E402
from reference_case import branch, case, span  # noqa: E402
from reference_problem import MEMORY, fresh, timed, uniforms  # noqa: E402

from repairecon.rebuild_or_buy.model import Model  # noqa: E402
from repairecon.rebuild_or_buy.outcomes import sample  # noqa: E402
from repairecon.rebuild_or_buy.tree import grow  # noqa: E402
from repairecon.records import Case  # noqa: E402

FEW, SEEDS = 20_000, 12
LIBRARIES = {"mcerp": other_libraries.by_mcerp, "chaospy": other_libraries.by_chaospy}


def model_of(made: Case) -> Model:
    return Model(made, grow(made), {})


def row(what: str, seconds: float, a: float, target: str = "") -> None:
    print(f"{what:<66}{seconds:>10.4f} s{seconds / a:>12.4g} x (a)   {target}")


def together(work: Callable[[], object], draws: int, streams: int, runs: int = 7) -> tuple[float, float]:
    """Best times of a piece of work and of (a), taken in turns [s]."""
    times = [(timed(work, 1), timed(lambda: uniforms(streams, draws), 1)) for _ in range(runs)]
    return min(t for t, _ in times), min(t for _, t in times)


def others(model: Model, draws: int) -> dict[str, float]:
    """Seconds for a number of draws by each library that is there."""
    found = {}
    for name, work in LIBRARIES.items():
        if find_spec(name):
            found[name] = timed(lambda w=work: w(model, FEW), 1) * draws / FEW
    return found


def spread(work: Callable[[int], np.ndarray]) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean and variance over seeds of some figures, and seconds for each."""
    found, times = [], []
    for seed in range(SEEDS):
        start = time.perf_counter()
        found.append(work(seed))
        times.append(time.perf_counter() - start)
    return np.mean(found, axis=0), np.var(found, axis=0, ddof=1), float(np.median(times))


def gains(what: str, work: Callable[[int], np.ndarray], per_draw: dict[str, float]) -> None:
    """Variance times time of chances against independent draws at so many seconds each."""
    p, variance, seconds = spread(work)
    used = p > 0.01
    one = (p * (1 - p))[used] / (variance[used] * seconds)
    for name, each in per_draw.items():
        gain = one * each
        each_way = ", ".join(f"{g:.0f}" for g in gain)
        print(f"{what:<50}{1e3 * seconds:>7.0f} ms  {name:<12}{np.exp(np.log(gain).mean()):>9.0f} x   ({each_way})")


def growth(path: Path, streams: int) -> None:
    """Seconds of sampling beside draws, leaves and ways."""
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator, StrMethodFormatter

    def widened(events: int, ways: int) -> Case:
        made, cost = case(), span(1, 2, 5)
        extra = tuple(
            branch(f"extra {k}", outcome, 0.5, "strip", outside_cost=span(0, 0, 0) if outcome == "good" else cost)
            for k in range(events)
            for outcome in ("good", "bad")
        )
        new = made.way("new")
        more = tuple(replace(new, way=f"new {k}", price=span(820 + k, 880 + k, 990 + k)) for k in range(ways))
        return replace(made, branches=(*made.branches, *extra), ways=(*made.ways, *more))

    def seconds(made: Case, draws: int = 100_000) -> float:
        model = model_of(made)
        return timed(lambda: sample(model, draws, 1), 2)

    draws = [10_000, 30_000, 100_000, 300_000]
    leaves, ways = [0, 1, 2, 3, 4, 5], [0, 2, 5, 10, 15]
    panels = (
        ("draws", draws, [seconds(case(), n) for n in draws]),
        ("leaves (100,000 draws)", [96 * 2**k for k in leaves], [seconds(widened(k, 0)) for k in leaves]),
        ("ways (100,000 draws)", [5 + k for k in ways], [seconds(widened(0, k)) for k in ways]),
    )
    figure = Figure(figsize=(12, 3.8), layout="constrained")
    for ax, (name, x, y) in zip(figure.subplots(1, 3), panels, strict=True):
        ax.plot(x, y, "o-", color="#0072b2", label="sampling")
        if name == "draws":
            alone = [timed(lambda n=n: uniforms(streams, n), 2) for n in x]
            ax.plot(x, alone, "s--", color="#d55e00", label="uniforms alone")
            ax.legend(frameon=False)
        ax.xaxis.set_major_locator(MaxNLocator(5))
        ax.xaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
        ax.set(xlabel=name, ylabel="seconds", ylim=(0, None))
        ax.spines[["top", "right"]].set_visible(False)
    figure.savefig(path, dpi=110)
    print(f"written: {path}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="200,000 draws instead of 1,000,000")
    parser.add_argument("--chart", type=Path, help="write a picture of how cost grows")
    asked = parser.parse_args()
    draws = 200_000 if asked.quick else 1_000_000
    model = model_of(case())
    streams = sum(not x.range.sure or x.is_chance for x in model.inputs) + 2
    engine, a = together(lambda: sample(model, draws, 1), draws, streams)
    print(f"(a) {draws:,} x {streams} uniforms in blocks: {a:.3f} s; {len(model.tree.chance)} leaves")
    row(f"{draws:,} joint draws, ranges and ranking of {len(model.ways)} ways", engine, a, "target 4")
    per_draw = {"plain numpy": timed(lambda: PlainNumpy(case(), FEW * 5, 1).answer(), 3) / (FEW * 5)}
    row(f"the same by plain numpy, scaled from {5 * FEW:,}", per_draw["plain numpy"] * draws, a)
    for name, seconds in others(model, draws).items():
        row(f"the same by {name}, totals only, scaled from {FEW:,}", seconds, a)
        per_draw[name] = seconds / draws
    row("ten exact expected costs", timed(lambda: (model.expected(), model.expected()), 20), a, "target 0.05")
    paths = sys.path[:4]
    for size in (draws // 4, draws):
        held, traced = (float(fresh(MEMORY.format(paths=paths, draws=size, trace=t))) for t in (False, True))
        print(f"memory above start at {size:,} draws: {held:.1f} MB resident, {traced:.1f} MB traced   target 8")
    print("chance of being cheapest, variance x time against independent draws (each way):   target 15")
    gains("this job, 16,384 draws", lambda s: sample(model, 16_384, s).p_cheapest, per_draw)
    gains("this job, 131,072 draws", lambda s: sample(model, 131_072, s).p_cheapest, per_draw)
    if asked.chart:
        growth(asked.chart, streams)


if __name__ == "__main__":
    main()
