"""The solver leaves the streams of the process as they were, in threads, pipes and after errors."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap

import pytest

from repairecon.formulas.integer_program import Program

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


def piped(text: str) -> list[str]:
    """Lines that a program leaves in a pipe."""
    done = subprocess.run([sys.executable, "-c", SOLVE + textwrap.dedent(text)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_all_that_is_printed_arrives():
    """Before, between and after; also what is still in Python's own buffer when the solver starts."""
    assert piped("print('before'); solve(); print('between'); solve(); print('after')") == [
        "before",
        "between",
        "after",
    ]


def test_threads_that_print_while_others_solve_lose_nothing():
    lines = piped(
        """
        threads = [threading.Thread(target=solve) for _ in range(3)]
        [t.start() for t in threads]
        n = 0
        while any(t.is_alive() for t in threads):
            os.write(1, b"tick\\n")
            n += 1
        [t.join() for t in threads]
        print(n)
        """
    )
    assert lines.count("tick") == int(lines[-1])


def test_solves_in_threads_put_the_stream_back():
    """In a notebook Python prints elsewhere: threads that solve together must still give standard output back."""
    lines = piped(
        """
        import io
        ours, sys.stdout = sys.stdout, io.StringIO()
        threads = [threading.Thread(target=solve) for _ in range(4)]
        [t.start() for t in threads]
        [t.join() for t in threads]
        sys.stdout = ours
        print("after", len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 4)
        """
    )
    assert lines == ["after 4"]


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
