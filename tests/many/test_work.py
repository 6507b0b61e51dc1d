"""Many things at once: the same results in the same order whoever works, none lost or doubled."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from repairecon.many import AHEAD, Lost, each
from repairecon.records import RepaireconError


def squared(x: int) -> float:
    """What is asked of a worker."""
    return x**0.5 * x


def logged(job: tuple[str, int]) -> int:
    """Leaves a line in a file for each time that it is worked on."""
    place, x = job
    with Path(place).open("a") as file:
        file.write(f"{x}\n")
    return x


def dies_once(job: tuple[str, int]) -> int:
    """Kills its process the first time that 5 comes."""
    place, x = job
    mark = Path(place) / "died"
    if x == 5 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return x


def always_dies(x: int) -> int:
    """Kills its process whenever 5 comes."""
    if x == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    return x


def faulty(x: int) -> int:
    """Raises as an owner's fault does."""
    if x == 3:
        raise RepaireconError("three")
    return x


def slow(x: int) -> int:
    """Long enough for a scheduler to be killed meanwhile."""
    time.sleep(0.2)
    return x


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_the_same_in_the_same_order(workers: int) -> None:
    assert list(each(squared, range(40), workers)) == [squared(x) for x in range(40)]
    assert list(each(squared, [], workers)) == []


@pytest.mark.parametrize("workers", [1, 2])
def test_faults_come_out_as_they_are(workers: int) -> None:
    with pytest.raises(RepaireconError, match="three"):
        list(each(faulty, range(6), workers))


def test_only_some_are_under_way() -> None:
    asked: list[int] = []

    def things() -> Iterator[int]:
        for x in range(1000):
            asked.append(x)
            yield x

    results = each(squared, things(), 2)
    next(results)
    assert len(asked) <= 2 * AHEAD + 1
    results.close()  # type: ignore[attr-defined]


def test_a_worker_that_dies_loses_nothing(tmp_path: Path) -> None:
    assert list(each(dies_once, [(str(tmp_path), x) for x in range(20)], 2)) == list(range(20))


def test_what_kills_each_worker_is_given_up_alone() -> None:
    assert list(each(always_dies, range(12), 2)) == [Lost(x) if x == 5 else x for x in range(12)]


def _address(file: Path) -> str:
    """What a scheduler wrote of where it is; "" until it is written."""
    try:
        return str(json.loads(file.read_text())["address"])
    except (OSError, ValueError):
        return ""


# ---- a cluster, with a real scheduler and worker processes on this machine ------------------------
@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler; its process first, then those of two workers that are not started again."""
    pytest.importorskip("distributed")
    started: list[subprocess.Popen[bytes]] = []
    env = dict(os.environ, PYTHONPATH=os.pathsep.join([str(Path(__file__).parent), *filter(None, sys.path)]))

    def start(*words: str) -> None:
        command = [sys.executable, "-m", "distributed.cli." + words[0], *words[1:]]
        started.append(subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))

    file = tmp_path / "scheduler.json"
    start("dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(file), "--host", "127.0.0.1")
    until = time.monotonic() + 60
    # the file is there before it is written: empty or half a line is "not yet"
    while not (address := _address(file)) and time.monotonic() < until:
        time.sleep(0.05)
    assert address, "no scheduler after a minute"
    for _ in range(2):
        start("dask_worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny",
              "--local-directory", str(tmp_path))  # fmt: skip
    yield address, started
    for process in started:
        process.kill()
        process.wait()


def test_a_cluster_gives_the_same_loses_nothing_with_a_worker_and_says_that_it_went(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    """One cluster from its start to its end, as starting it is most of the work."""
    address, (scheduler, worker, _) = cluster
    assert list(each(squared, range(30), scheduler=address)) == [squared(x) for x in range(30)]
    # a worker dies
    results = each(logged, [(str(tmp_path / "log"), x) for x in range(60)], scheduler=address)
    got = [next(results) for _ in range(3)]
    worker.send_signal(signal.SIGKILL)
    assert [*got, *results] == list(range(60))
    assert set(map(int, (tmp_path / "log").read_text().split())) == set(range(60))
    # the scheduler goes away
    results = each(slow, range(100), scheduler=address)
    got = [next(results) for _ in range(3)]
    scheduler.send_signal(signal.SIGKILL)
    with pytest.raises(RepaireconError, match="went away; what was finished is kept"):
        got.extend(results)
    assert got == list(range(len(got)))


def test_no_scheduler_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("repairecon.many.PATIENCE", "1s")
    with pytest.raises(RepaireconError, match="no answer from"):
        list(each(squared, range(3), scheduler="tcp://127.0.0.1:9"))
