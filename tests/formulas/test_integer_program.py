"""Small programs against every point; the solver leaves the streams of the process as they were."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import product

import numpy as np
import pytest
from scipy import optimize

from repairecon.formulas import integer_program
from repairecon.formulas.integer_program import Program


@pytest.mark.parametrize("seed", range(12))
def test_against_every_point(seed: int) -> None:
    """Whole columns from 0 to a bound, rows with one limit or both; now and then no point fits."""
    rng = np.random.default_rng(seed)
    cost, upper = rng.integers(-9, 10, 4).astype(float), rng.integers(0, 4, 4)
    table, low = rng.integers(-3, 4, (2, 4)), rng.integers(-4, 5, 2).astype(float)
    high = low + rng.integers(0, 6, 2)
    low[seed % 2], program = -np.inf, Program()
    numbers = [program.column(c, float(u), True) for c, u in zip(cost, upper, strict=True)]
    assert numbers == [0, 1, 2, 3]
    for row, least, most in zip(table, low, high, strict=True):
        program.row(zip(numbers, map(float, row), strict=True), least, most)
    points = np.array(list(product(*(range(u + 1) for u in upper))))
    sums = points @ table.T
    fits = ((sums >= low) & (sums <= high)).all(axis=1)
    found = program.solve(10.0)
    assert found.impossible == (not fits.any())
    if found.impossible:
        assert (found.point, found.bound) == (None, np.inf)
        return
    best = (points[fits] @ cost).min()
    assert cost @ found.point == pytest.approx(best)
    assert found.point == pytest.approx(np.round(found.point))
    assert best - 1e-6 <= found.bound + 1e-6 * abs(best) <= best + 1e-6 * (1 + abs(best))
    assert program.solve(10.0, whole=False).bound <= best + 1e-9
    # a limit of cost leaves the best point where it may cost as much, and none where it may not
    assert cost @ program.solve(10.0, at_most=best + 2.0).point == pytest.approx(best)
    assert cost @ program.solve(10.0, at_most=best).point == pytest.approx(best)
    assert program.solve(10.0, at_most=best - 0.5).impossible


@pytest.mark.parametrize("seed", range(6))
def test_rows_in_bulk_are_those_one_by_one(seed: int) -> None:
    """Lines of columns under the same sums: against a program written column by column and row by row."""
    rng = np.random.default_rng(seed)
    cost, upper = -rng.integers(0, 9, (3, 2)).astype(float), rng.integers(1, 4, (3, 2)).astype(float)
    weights, high = rng.integers(0, 3, (2, 2)).astype(float), rng.integers(1, 6, (3, 2)).astype(float)
    bulk, single = Program(), Program()
    bulk.rows(bulk.columns(cost, upper, True), weights, high)
    for line, costs in enumerate(cost):
        numbers = [single.column(c, u, True) for c, u in zip(costs, upper[line], strict=True)]
        for row, most in zip(weights, high[line], strict=True):
            single.row(zip(numbers, row, strict=True), high=most)
    points = np.array(list(product(*(range(int(u) + 1) for u in upper.ravel())))).reshape(-1, 3, 2)
    fits = (points @ weights.T <= high).all(axis=(1, 2))
    best = (points[fits] * cost).sum(axis=(1, 2)).min()
    for program in (bulk, single):
        found = program.solve(10.0)
        assert np.dot(program.cost, found.point) == pytest.approx(best)


def test_columns_that_need_not_be_whole() -> None:
    # least 2x + 3y with x + y >= 2.5, x <= 1: by hand x = 1, y = 1.5, of cost 6.5; with y whole y = 2 and x = 0.5, 7
    for whole, point in ((False, [1.0, 1.5]), (True, [0.5, 2.0])):
        program = Program()
        x, y = program.column(2.0, 1.0), program.column(3.0, whole=whole)
        program.row([(x, 1.0), (y, 1.0)], low=2.5)
        found = program.solve(10.0)
        assert found.point == pytest.approx(point)
        assert found.bound == pytest.approx(np.dot([2.0, 3.0], point))
        assert program.solve(10.0, whole=False).bound == pytest.approx(6.5)
    free = Program()
    free.column(1.0)
    assert free.solve(1.0).point == pytest.approx([0.0])  # from 0 up, without a row
    free.column()
    assert (free.cost, free.upper, free.whole) == ([1.0, 0.0], [np.inf, np.inf], [0, 0])
    nothing = Program().solve(1.0)
    assert (len(nothing.point), nothing.bound, nothing.impossible) == (0, 0.0, False)


def test_without_time_there_is_a_bound_and_perhaps_a_point() -> None:
    rng = np.random.default_rng(1)
    program = Program()
    weights = rng.integers(10, 90, (12, 60)).astype(float)
    columns = [program.column(-float(v), 1.0, True) for v in rng.integers(10, 90, 60)]
    for row in weights:
        program.row(zip(columns, row, strict=True), high=float(row.sum() / 3))
    found = program.solve(0.0, gap=0.0)
    assert not found.impossible
    assert found.bound < 0.0
    if found.point is not None:
        assert found.bound <= np.dot(program.cost, found.point) + 1e-9
        assert (weights @ found.point <= weights.sum(axis=1) / 3 + 1e-6).all()


SOLVE = """
import os, sys, threading
from repairecon.formulas.integer_program import Program

def solve():
    for _ in range(40):
        program = Program()
        columns = [program.column(cost=float(k % 5 + 1), upper=9.0, whole=True) for k in range(12)]
        program.row([(c, float(k % 3 + 1)) for k, c in enumerate(columns)], low=17.5)
        program.solve(5.0)
"""


PRINTED = """
print("before"); solve(); print("between"); solve(); print("after")
print("----")

threads = [threading.Thread(target=solve) for _ in range(3)]
[t.start() for t in threads]
n = 0
while any(t.is_alive() for t in threads):
    os.write(1, b"tick\\n")
    n += 1
[t.join() for t in threads]
print(n)
print("----")

import io
ours, sys.stdout = sys.stdout, io.StringIO()
threads = [threading.Thread(target=solve) for _ in range(4)]
[t.start() for t in threads]
[t.join() for t in threads]
sys.stdout = ours
print("after", len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 4)
"""


@pytest.fixture(scope="module")
def piped() -> list[str]:
    """What one program leaves in a pipe, in its three parts."""
    done = subprocess.run([sys.executable, "-c", SOLVE + PRINTED], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.split("----\n")


def test_all_that_is_printed_arrives(piped):
    """Before, between and after; also what is still in Python's own buffer when the solver starts."""
    assert "".join(piped).replace("tick\n", "").splitlines()[:3] == ["before", "between", "after"]


def test_threads_that_print_while_others_solve_lose_nothing(piped):
    whole = "".join(piped).splitlines()
    assert whole.count("tick") == int(whole[-2])


def test_solves_in_threads_put_the_stream_back(piped):
    """In a notebook Python prints elsewhere: threads that solve together must still give standard output back."""
    assert piped[-1].splitlines() == ["after 4"]


def test_an_error_in_the_solver_gives_the_stream_back(monkeypatch):
    def fails(*_: object, **__: object) -> None:
        raise MemoryError

    before = os.fstat(1)
    monkeypatch.setattr("scipy.optimize.milp", fails)
    program = Program()
    program.row([(program.column(cost=1.0), 1.0)], low=1.0)
    with pytest.raises(MemoryError):
        program.solve(1.0)
    assert (os.fstat(1).st_dev, os.fstat(1).st_ino) == (before.st_dev, before.st_ino)


@pytest.mark.parametrize(
    ("threads", "stream", "others"), [(1, 1, False), (2, 1, True), (2, 5, False), (2, None, False), (3, 1, True)]
)
def test_when_others_may_print(monkeypatch, threads, stream, others):
    """Only with further threads, and only where Python prints to the very stream."""

    class Stream:
        def fileno(self) -> int:
            if stream is None:
                raise ValueError("closed")
            return stream

    monkeypatch.setattr("threading.active_count", lambda: threads)
    monkeypatch.setattr(sys, "stdout", Stream())
    assert integer_program._others_print() is others


def test_what_is_written_meanwhile_goes_nowhere(monkeypatch):
    monkeypatch.setattr(integer_program, "_others_print", lambda: False)
    before = [os.fstat(stream).st_ino for stream in (1, 2)]
    with integer_program._quiet():
        assert os.fstat(1).st_ino != before[0]
        assert os.fstat(2).st_ino == before[1]
        assert not os.get_blocking(1)  # what does not fit is lost, not waited for
    assert [os.fstat(stream).st_ino for stream in (1, 2)] == before


def test_a_presolve_that_fails_is_left_out(monkeypatch):
    solver, asked = optimize.milp, []

    def fails_with_presolve(*terms, options, **more):
        asked.append(options["presolve"])
        if options["presolve"]:
            return optimize.OptimizeResult(status=4, x=None, fun=None)
        return solver(*terms, options=options, **more)

    monkeypatch.setattr("scipy.optimize.milp", fails_with_presolve)
    program = Program()
    program.row([(program.column(2.0, 9.0, True), 1.0)], low=2.5)
    found = program.solve(5.0)
    assert (asked, found.point.tolist(), found.bound) == ([True, False], [3.0], pytest.approx(6.0))


def test_a_search_that_ends_without_anything_has_no_bound(monkeypatch):
    ended = optimize.OptimizeResult(status=1, x=None, fun=None)
    monkeypatch.setattr("scipy.optimize.milp", lambda *_, **__: ended)
    program = Program()
    program.column(1.0)
    found = program.solve(1.0)
    assert (found.point, found.bound, found.impossible) == (None, -np.inf, False)


def test_the_usual_gap_is_none_to_speak_of():
    rng = np.random.default_rng(3)
    worth, weights = rng.uniform(10, 90, 30), rng.uniform(10, 90, (3, 30))
    program = Program()
    columns = [program.column(-v, 1.0, True) for v in worth.tolist()]
    for row in weights.tolist():
        program.row(zip(columns, row, strict=True), high=sum(row) / 3)
    usual, exact = program.solve(30.0), program.solve(30.0, gap=0.0)
    assert worth @ usual.point == pytest.approx(worth @ exact.point, rel=2e-8)
