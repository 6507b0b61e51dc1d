"""The same work on many things: in turn, on the cores of this machine, or on a cluster. One path for all: a result
depends on its own thing alone, so the figures are the same to the last digit. Only so many things are under way at a
time, so that memory does not grow with their number."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import Any, Generic, TypeVar

from repairecon.records import RepaireconError

T = TypeVar("T")
R = TypeVar("R")
AHEAD = 4  # things under way for each worker: enough that none waits for the next

PATIENCE = "5s"  # how long a cluster may take to answer


@dataclass(frozen=True)
class Lost(Generic[T]):
    """A thing without a result: each worker that took it up died."""

    thing: T


def cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def each(work: Callable[[T], R], things: Iterable[T], workers: int = 1, scheduler: str = "") -> Iterator[R | Lost[T]]:
    """Work on each thing; the results in the order of the things. ``work`` is a function of a module, as it is sent to
    other processes; what it raises comes out here. Things are taken up a few at a time, by so many ``workers`` (1: this
    process alone), or by a cluster whose ``scheduler`` is named as in ``tcp://host:8786``: RepaireconError if it cannot
    be reached or goes away; what was given out stands."""
    if scheduler:
        yield from _on_a_cluster(work, iter(things), scheduler)
    elif workers <= 1:
        yield from map(work, things)
    else:
        yield from _on_cores(work, iter(things), workers)


def _in_order(
    things: Iterator[T],
    submit: Callable[[T], Any],
    room: Callable[[], int],
    under_way: deque[tuple[T, Any]],
    result: Callable[[T, Any], Any],
) -> Iterator[Any]:
    """The results one by one, no more things under way than there is room for."""
    while True:
        for thing in islice(things, max(room() - len(under_way), 0)):
            under_way.append((thing, None))  # before it is handed out: what breaks there must not lose it
            under_way[-1] = (thing, submit(thing))
        if not under_way:
            return
        done = result(*under_way[0])
        under_way.popleft()
        yield done


def _on_cores(work: Callable[[T], R], things: Iterator[T], workers: int) -> Iterator[R | Lost[T]]:
    """In order; when a worker dies all that were under way are begun anew, each by itself."""
    under_way: deque[tuple[T, Any]] = deque()
    while True:
        with ProcessPoolExecutor(workers) as pool:
            begin: Any = partial(pool.submit, work)  # type: ignore[call-arg]
            with suppress(BrokenProcessPool):
                yield from _in_order(things, begin, lambda: AHEAD * workers, under_way, lambda _, made: made.result())
                return
        while under_way:
            thing, _ = under_way.popleft()
            # in a process of its own: others at work beside it may have been the ones that died
            with ProcessPoolExecutor(1) as pool:
                try:
                    done: R | Lost[T] = pool.submit(work, thing).result()
                except BrokenProcessPool:
                    done = Lost(thing)
            yield done


def _on_a_cluster(work: Callable[[T], R], things: Iterator[T], scheduler: str) -> Iterator[R | Lost[T]]:
    """In order; whatever a broken connection is called, it comes out as a sentence: of the work only our own errors."""
    try:
        from distributed import Client
        from distributed.scheduler import KilledWorker
    except ImportError as error:
        raise RepaireconError("a scheduler needs the extra fleet: pip install 'repairecon[fleet]'") from error
    try:
        client: Any = Client(scheduler, timeout=PATIENCE, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise RepaireconError(
            f"scheduler: no answer from {scheduler!r}; start one there, or leave it out to work on this machine"
        ) from error

    def result(thing: T, future: Any) -> Any:
        try:
            return future.result()
        except KilledWorker:
            return Lost(thing)

    def room() -> int:
        return AHEAD * max(int(sum(client.nthreads().values())), 1)

    with client:
        try:
            yield from _in_order(things, partial(client.submit, work, pure=False), room, deque(), result)
        except RepaireconError:
            raise
        except Exception as error:
            raise RepaireconError(
                f"scheduler: {scheduler} went away; what was finished is kept, begin again to go on"
            ) from error
