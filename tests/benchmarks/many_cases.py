"""Many cases: cases a second with one and two processes and through a cluster against the plain loop; memory; first
result.

Run: python tests/benchmarks/many_cases.py [cases] [--large]. Ratios are of one run; invented cases.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from repairecon.many import each
from repairecon.read.starter import new_case
from repairecon.rebuild_or_buy.command import case_line, case_lines

DRAWS = 1024


def made(place: Path, count: int) -> list[str]:
    """So many cases of three kinds, each with prices of its own."""
    kinds = ("raw water pump", "alternator", "starter motor")
    return [
        str(new_case(place / f"{k:05d}", kinds[k % 3], price_new=300.0 + k, price_kit=40.0 + k / 9, wait_days=5.0))
        for k in range(count)
    ]


def timed(results: Iterator[object]) -> tuple[float, float]:
    """Seconds to the first result and to the last."""
    start = time.perf_counter()
    next(results)
    first = time.perf_counter() - start
    for _ in results:
        pass
    return first, time.perf_counter() - start


def cluster(place: Path, workers: int) -> tuple[str, list[subprocess.Popen[bytes]]]:
    """A scheduler and workers on this machine."""
    import json

    file = place / "scheduler.json"
    command = [sys.executable, "-m"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    words = ["distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(file)]
    started = [subprocess.Popen([*command, *words, "--host", "127.0.0.1"], **quiet)]  # type: ignore[call-overload]
    while not file.exists():
        time.sleep(0.05)
    address = json.loads(file.read_text())["address"]
    for _ in range(workers):
        words = ["distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny"]
        started.append(subprocess.Popen([*command, *words], cwd=place, **quiet))  # type: ignore[call-overload]
    time.sleep(3.0)
    return address, started


def shown(name: str, count: int, plain: float, times: tuple[float, float]) -> None:
    """One line of the table."""
    first, last = times
    print(f"{name:24} {count / last:8.2f} cases/s  {plain / last:5.2f} x the plain loop  first after {first:5.2f} s")


def main() -> None:
    """Print the ratios."""
    count = next((int(a) for a in sys.argv[1:] if a.isdigit()), 60)
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        folders = made(place / "cases", count)
        case_line(folders[0], DRAWS)  # what is loaded once is no matter of the ways to go
        plain = timed(case_line(f, DRAWS) for f in folders)
        shown("plain loop", count, plain[1], plain)
        for workers in (1, 2):
            shown(f"{workers} process(es)", count, plain[1], timed(case_lines(folders, DRAWS, workers=workers)))
        address, started = cluster(place, 2)
        try:
            shown("cluster, 2 workers", count, plain[1], timed(case_lines(folders, DRAWS, scheduler=address)))
        finally:
            for process in started:
                process.kill()
        for many in (100, 1_000, 10_000) if "--large" in sys.argv else (100, 1_000):
            for _ in each(len, (folders[k % count] for k in range(many)), 2):
                pass
            used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"memory after {many:6} things through 2 processes: {used:.0f} MB")


if __name__ == "__main__":
    main()
