"""How long looking and stopping take, as ratios in one run: python tests/benchmarks/looking_problem.py

Each figure stands beside the plainest piece of work that one could compare it with, timed in the same run.
Times are for comparing on one machine in one run, never a test.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "rebuild_or_buy"), str(TESTS / "benchmarks")]

from reference_case import case  # noqa: E402

from repairecon.formulas import information, ranges, tree  # noqa: E402
from repairecon.rebuild_or_buy.looks import event_worth, looks, number_worth  # noqa: E402
from repairecon.rebuild_or_buy.model import Model  # noqa: E402
from repairecon.rebuild_or_buy.sensitivity import Number, numbers  # noqa: E402
from repairecon.rebuild_or_buy.stages import Decision, decision  # noqa: E402
from repairecon.rebuild_or_buy.tree import grow  # noqa: E402

BARRED = {"second-hand": False, "exchange": False}
PRICE = "days to wait for new"
TARGETS = {"events": 50.0, "large": 20.0}
HEADS = ("what", "s", "beside", "s", "ratio", "target")


def timed(work: Callable[[], object], least: float = 0.2) -> float:
    """Best of some runs of a piece of work, each long enough to be timed [s]."""
    work()
    start = time.perf_counter()
    work()
    count = max(1, int(0.02 / max(time.perf_counter() - start, 1e-7)))
    times, began = [], time.perf_counter()
    while time.perf_counter() - began < least or len(times) < 3:
        start = time.perf_counter()
        for _ in range(count):
            work()
        times.append((time.perf_counter() - start) / count)
    return min(times)


def row(what: str, seconds: float, beside: str, other: float, target: float | None = None) -> None:
    goal = "" if target is None else f"<= {target:g}"
    print(f"{what:<58}{seconds:>11.2e}  {beside:<52}{other:>11.2e}{seconds / other:>9.2g}  {goal}")


def reference_events(model: Model) -> None:
    """Every event of the reference tree against one numpy pass over its leaves and ways."""
    states, chance = model.tree.states, model.tree.chance
    total = model.expected_by_leaf().transpose(1, 2, 0)
    cost = np.ascontiguousarray(total[0] + model.own_hour * total[1] + model.lost_day * total[2])
    once = timed(lambda: information.value_of_each_event(states, chance, cost))
    sweep = timed(lambda: (chance[:, None] * cost).sum(axis=0).min())
    name = f"each of {states.shape[1]} events, {len(chance)} leaves x {cost.shape[1]} ways"
    row(name, once, "one pass: (chance * cost).sum(axis=0).min()", sweep, TARGETS["events"])


def large_tree() -> None:
    """14 binary events and 5 ways against summing an array of that size."""
    rng = np.random.default_rng(4)
    events = [[((), [p, 1 - p])] for p in rng.uniform(0.1, 0.9, 14)]
    states, chance = tree.enumerate_leaves(events)
    cost = rng.uniform(100, 900, (len(chance), 5))
    once = timed(lambda: information.value_of_each_event(states, chance, cost))
    sweep = timed(lambda: cost.sum(axis=0))
    name = f"each of 14 events, {len(chance)} leaves x 5 ways"
    row(name, once, "summing such an array: cost.sum(axis=0)", sweep, TARGETS["large"])


def staged(model: Model) -> None:
    """The staged choice and the list of looks against one exact expectation of all ways."""
    made, listed = decision(model), numbers(model)
    expected = timed(model.expected)
    beside = "exact expected costs of all ways"
    row("the staged choice, costs and rule", timed(lambda: decision(model).value()), beside, expected)
    row("the rule alone", timed(made.value), beside, expected)
    row("every event against the staged choice", timed(lambda: _each(model, made)), beside, expected)
    row("the whole list of looks", timed(lambda: looks(model, made, listed)), beside, expected)


def _each(model: Model, made: Decision) -> list[float]:
    return [event_worth(model, made, e) for e in range(len(model.tree.events))]


def steps_against_nested(model: Model) -> None:
    """Worth of knowing one number: by steps, and by plain nested simulation to the same error."""
    made = decision(model)
    number = next(n for n in numbers(model) if n.name == PRICE)
    worth, told_error = number_worth(model, made, number)
    exact = _by_fine_steps(model, number, 512)
    error = max(abs(worth - exact), told_error, 1e-3)
    seconds = timed(lambda: number_worth(model, made, number))
    one, spread, within = _nested(model, number)
    # The error of their mean falls with the root of their number.
    needed = (spread / error) ** 2
    beside = f"nested simulation, {needed:,.0f} outer x {within} inner draws"
    row(f"worth of {PRICE}: {worth:.2f}, off by {abs(worth - exact):.3f}", seconds, beside, one * needed)
    print(f"{'':<58}error aimed at {error:.3f} (told {told_error:.3f}); worth by 512 steps {exact:.2f}")


def _by_fine_steps(model: Model, number: Number, steps: int) -> float:
    """Midpoints of equal steps of chance, far more of them."""
    assert number.range is not None
    r, p = number.range, (np.arange(steps) + 0.5) / steps
    x = ranges.quantile(p, r.low, r.likely, r.high, r.shape)
    x += number.now - x.mean()
    values = [decision(model, chooser=model.chooser(model.at(fixed={number.index: float(v)}))).value() for v in x]
    return decision(model).value() - float(np.mean(values))


def _nested(model: Model, number: Number, outer: int = 300, inner: int = 256) -> tuple[float, float, int]:
    """Time of one outer draw, the spread of what it saves, and the inner draws.

    Drawn outside: the number; inside: the state of the unit, on whose draws the best rule is made. All else stays at
    its mean and what so few inner draws flatter the rule is not counted: both in favour of nesting.
    """
    assert number.range is not None
    r, rng = number.range, np.random.default_rng(1)
    start, saved = time.perf_counter(), []
    for _ in range(outer):
        x = float(ranges.quantile(rng.random(), r.low, r.likely, r.high, r.shape))
        made = decision(model, chooser=model.chooser(model.at(fixed={number.index: x})))
        drawn = np.bincount(rng.choice(len(made.chance), inner, p=made.chance), minlength=len(made.chance))
        saved.append(made.value(drawn / inner))
    seconds = (time.perf_counter() - start) / outer
    return seconds, float(np.std(saved, ddof=1)), inner


def main() -> None:
    model = Model(case(), grow(case()), BARRED)
    print(f"{HEADS[0]:<58}{HEADS[1]:>11}  {HEADS[2]:<52}{HEADS[3]:>11}{HEADS[4]:>9}  {HEADS[5]}")
    reference_events(model)
    large_tree()
    staged(model)
    steps_against_nested(model)


if __name__ == "__main__":
    main()
