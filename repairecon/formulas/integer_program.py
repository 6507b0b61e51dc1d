"""A mixed-integer program written down column by column and row by row, and solved by scipy's HiGHS."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Sum = list[tuple[int, float]]
"""A weighted sum of columns."""


@dataclass(frozen=True)
class Found:
    """The best point found, or None, and the bound under which no point lies."""

    point: NDArray[np.float64] | None
    bound: float
    impossible: bool


class Program:
    """Least cost over columns within bounds, some of them whole, with rows between limits."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.upper: list[float] = []
        self.whole: list[int] = []
        self._cells: list[tuple[int, int, float]] = []
        self._blocks: list[tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]] = []
        self._limits: list[tuple[float, float]] = []

    def column(self, cost: float = 0.0, upper: float = inf, whole: bool = False) -> int:
        """A new column from 0 up; its number."""
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, terms: Iterable[tuple[int, float]], low: float = -inf, high: float = inf) -> None:
        """A weighted sum of columns held between two limits."""
        number = len(self._limits)
        self._cells.extend((number, column, weight) for column, weight in terms if weight != 0.0)
        self._limits.append((low, high))

    def columns(self, cost: NDArray[np.float64], upper: NDArray[np.float64], whole: bool = False) -> NDArray[np.int64]:
        """New columns from 0 up; their numbers in the shape of their costs."""
        start, costs = len(self.cost), cost.ravel().tolist()
        self.cost += costs
        self.upper += upper.ravel().tolist()
        self.whole += [int(whole)] * len(costs)
        return np.arange(start, len(self.cost)).reshape(cost.shape)

    def rows(self, columns: NDArray[np.int64], weights: NDArray[np.float64], high: NDArray[np.float64]) -> None:
        """The same sums, weights (sums, terms), of each line of columns (lines, terms), up to high (lines, sums)."""
        number = len(self._limits) + np.arange(high.size).reshape(high.shape)
        of_sum, term = np.nonzero(weights)
        each = np.broadcast_to(weights[of_sum, term], (len(columns), len(term)))
        self._blocks.append((number[:, of_sum].ravel(), columns[:, term].ravel(), each.ravel()))
        self._limits += [(-inf, x) for x in high.ravel().tolist()]

    def solve(self, seconds: float, gap: float = 1e-8, whole: bool = True, at_most: float = inf) -> Found:
        """Branch and bound to a relative gap, or as far as the time given [s] goes; no point dearer than ``at_most``.

        Where there is such a limit, columns are held down first by their reduced costs. Nemhauser, Wolsey, Integer and
        Combinatorial Optimization, 1988, ch. II.5 (reduced-cost fixing; the chapter from memory).
        """
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        if not self.cost:
            return Found(np.zeros(0), 0.0, False)
        single = np.array(self._cells, dtype=float).reshape(-1, 3).T
        rows, columns, weights = map(np.concatenate, zip(single, *self._blocks, strict=True))
        table = csr_array((weights, (rows.astype(int), columns.astype(int))), shape=(len(self._limits), len(self.cost)))
        constraints = [LinearConstraint(table, *np.array(self._limits).T)] if self._limits else []
        cost, upper = np.array(self.cost), np.array(self.upper)
        if at_most < inf:
            if (held := self._held_down(table, at_most)) is None:
                return Found(None, inf, True)
            upper = held
            constraints.append(LinearConstraint(cost, ub=at_most))
        options = {"mip_rel_gap": gap, "time_limit": max(seconds, 0.01)}
        for presolve in (True, False):  # presolve fails now and then, with a "solve error", where the search does not
            with _quiet():
                found = milp(
                    cost,
                    constraints=constraints,
                    integrality=np.array(self.whole) * whole,
                    bounds=Bounds(0.0, upper),
                    options={**options, "presolve": presolve},
                )
            if found.status != 4:
                break
        if found.status == 2:
            return Found(None, inf, True)
        bound = getattr(found, "mip_dual_bound", None)
        if bound is None:
            bound = found.fun if found.status == 0 else -inf
        return Found(found.x, float(bound), False)

    def _held_down(self, table: csr_array, at_most: float) -> NDArray[np.float64] | None:
        """How far each column can go where no point may cost more; None where the relaxation costs more already."""
        from scipy.optimize import linprog
        from scipy.sparse import vstack

        upper, (low, high) = np.array(self.upper), np.array(self._limits).reshape(-1, 2).T
        some = vstack([table[high < inf], -table[low > -inf]])
        limits = np.concatenate([high[high < inf], -low[low > -inf]])
        with _quiet():
            found = linprog(self.cost, some, limits, bounds=np.column_stack([np.zeros(len(upper)), upper]))
        if found.status == 2 or (found.status == 0 and found.fun > at_most):
            return None
        if found.status != 0:
            return upper
        dear = found.lower.marginals > 1e-6
        reach = (at_most - found.fun + 1e-6) / found.lower.marginals[dear]
        reach = np.where(np.array(self.whole)[dear] > 0, np.floor(reach + 1e-6), reach)
        upper[dear] = np.minimum(upper[dear], reach)
        return upper


# HiGHS writes "...transformNewIntegerFeasibleSolution tmpSolver.run();" to the process's standard output by a bare
# printf whenever it mends a point, whatever disp says: seen in HiGHS 1.8.0 (scipy 1.15.0) and 1.12.0 (scipy 1.17.1).
# A bare printf passes by sys.stdout, so contextlib.redirect_stdout does not catch it, and it would break --json and
# show in the cells of a notebook. Hence the descriptor itself is turned aside while the solver runs. Drop all below
# once the lowest scipy allowed has a HiGHS without that line (1.16 has none).

_ONE_AT_A_TIME = threading.Lock()
"""Two solves that each put the other's stream back would leave none."""


def _others_print() -> bool:
    """Whether other threads may print to the very stream that is turned aside: noise is better than a loss."""
    try:
        return threading.active_count() > 1 and sys.stdout.fileno() == 1
    except (OSError, AttributeError, ValueError):  # nothing is printed there: a notebook, a test, no stream at all
        return False


@contextmanager
def _quiet() -> Iterator[None]:
    if _others_print():
        yield
        return
    with _ONE_AT_A_TIME:
        try:
            import ctypes

            flush = ctypes.CDLL(None).fflush
            flush(None)
            kept, (out, into) = os.dup(1), os.pipe()
        except (OSError, TypeError, AttributeError):  # no such C library, or no such stream: nothing to be done
            yield
            return
        os.set_blocking(into, False)  # what does not fit is lost, not waited for
        os.dup2(into, 1)
        try:
            yield
        finally:
            flush(None)
            os.dup2(kept, 1)
            for stream in (kept, out, into):
                os.close(stream)
