"""How long the formulas of the spares take, as ratios in one run: python tests/benchmarks/spares_formulas.py

The baseline is a plain SELECT of the same rows, in order, out of an SQLite table in memory into numpy columns; for
the carry list, a SELECT of one row an item. Invented movements: 200,000 over 10,000 items, receipts and issues in
turn. Times are for comparing on one machine in one run, never a test.
"""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS.parent), str(TESTS / "benchmarks"), str(TESTS / "rebuild_or_buy")]

from reference_problem import timed  # noqa: E402

from repairecon.formulas import carry_program, demand, valuation  # noqa: E402
from repairecon.formulas.carry_program import Mode  # noqa: E402

ITEMS = 10_000


def movements(rows: int) -> np.ndarray:
    """Item, quantity, unit cost; never more out than in."""
    rng = np.random.default_rng(3)
    item = rng.permutation(np.repeat(np.arange(ITEMS), rows // ITEMS))
    order = np.argsort(item, kind="stable")
    turn = np.empty(rows, dtype=np.int64)
    turn[order] = np.arange(rows) % (rows // ITEMS)
    size = rng.integers(1, 6, ITEMS)[item]
    quantity = np.where(turn % 2 == 0, size, -size)
    quantity[turn % 4 == 1] = -1
    return np.stack([item, quantity, rng.integers(100, 20_000, rows)], axis=1)


def table(columns: np.ndarray) -> sqlite3.Connection:
    base = sqlite3.connect(":memory:")
    names = ", ".join(f"c{k} INTEGER" for k in range(columns.shape[1]))
    base.execute(f"CREATE TABLE rows (id INTEGER PRIMARY KEY, {names})")
    marks = ", ".join("?" * columns.shape[1])
    base.executemany(f"INSERT INTO rows VALUES (NULL, {marks})", columns.tolist())
    return base


def select(base: sqlite3.Connection) -> np.ndarray:
    return np.array(base.execute("SELECT * FROM rows ORDER BY id").fetchall())


def show(name: str, seconds: float, baseline: float) -> None:
    print(f"  {name:44} {1e3 * seconds:9.1f} ms {seconds / baseline:8.2f} x SELECT")


def value(rows: int) -> None:
    columns = movements(rows)
    base = table(columns)
    plain = timed(lambda: select(base), 3)
    print(f"{rows:,} movements over {ITEMS:,} items; SELECT of them: {1e3 * plain:.1f} ms")
    item, quantity, price = columns.T.copy()
    nothing = np.full(rows, -1)
    runs = {
        "first in first out": lambda: valuation.fifo(item, quantity, price),
        "moving average": lambda: valuation.moving_average(item, quantity, price, nothing, nothing < -1),
    }
    for name, run in runs.items():
        show(name, timed(run, 3), plain)


def carry(items: int) -> None:
    rng = np.random.default_rng(4)
    mean, have, price = rng.gamma(0.5, 0.4, items), rng.integers(0, 3, items), rng.uniform(5, 400, items)
    short, left = rng.uniform(20, 3000, items), 0.1 * price
    base = table(
        np.stack([np.arange(items), have, (100 * price).astype(np.int64), (100 * short).astype(np.int64)], axis=1)
    )
    plain = timed(lambda: select(base), 5)
    print(f"carry list of {items:,} items; SELECT of them: {1e3 * plain:.1f} ms")

    def wanted() -> list[np.ndarray]:
        return [demand.uncertain_demand(1.5, 1.5 / max(m, 1e-6), 1.0, 24) for m in mean.tolist()]

    asked = wanted()
    show("chances of what is asked for", timed(wanted, 3), plain)

    modes = [Mode(k, ((k, 1),), float(short[k])) for k in range(items)]

    def listed() -> carry_program.Program:
        return carry_program.best_carry(
            asked, modes, have, price, [8] * items, cost_left=left, limits=[(price, 20.0 * items)], seconds=60.0
        )

    found = listed()
    show(f"carry list, at most {found.most_lost:.2f} lost", timed(listed, 1), plain)


def program(units: int) -> None:
    """Units of three parts, a kit and a whole unit each, money and weight."""
    rng = np.random.default_rng(5)
    kinds, things = 3 * units, 5 * units
    modes = []
    for u in range(units):
        for k in range(3):
            kind, first = 3 * u + k, 5 * u
            ways = ((first + k, 1 + k % 2, 200.0), (first + 3, 1, 190.0), (first + 4, 1, 260.0))
            modes += [Mode(kind, ((thing, n),), saved + 100 * k) for thing, n, saved in ways]
    asked = [demand.poisson_demand(m) for m in rng.uniform(0.02, 0.3, kinds)]
    price, weight = np.tile([20.0, 25.0, 30.0, 55.0, 250.0], units), np.tile([0.2, 0.3, 0.2, 0.6, 6.0], units)

    def best() -> carry_program.Program:
        limits = [(price, 90.0 * units), (weight, 4.0 * units)]
        terms = (asked, modes, np.zeros(things), price, [1] * things)
        return carry_program.best_carry(*terms, cost_left=0.05 * price, limits=limits, seconds=30.0)

    found = best()
    print(
        f"program of {units} units, {things} things: {timed(best, 1):.2f} s; worth {found.gain:.0f}, at most"
        f" {found.most_lost:.2f} better"
    )


def main() -> None:
    for rows in (20_000, 200_000):
        value(rows)
    for items in (100, 1_000):
        carry(items)
    for units in (5, 20):
        program(units)


if __name__ == "__main__":
    main()
