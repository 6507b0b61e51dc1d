"""The time that all searches of a job share."""

from __future__ import annotations

import time
from collections.abc import Callable
from math import inf


class Clock:
    """Seconds for searches: it runs from the beginning on, but for pauses, so that no reader's time counts."""

    def __init__(self, seconds: float = 60.0, now: Callable[[], float] = time.perf_counter) -> None:
        self.now, self._ends, self._kept = now, now() + seconds, seconds

    @property
    def left(self) -> float:
        """Until no search is begun any more [s]."""
        return self._ends - self.now()

    def part(self, share: float, most: float = inf) -> Clock:
        """A clock over a share of what is left, running at once; this one runs on."""
        return Clock(min(share * self.left, most), self.now)

    def pause(self) -> None:
        """Let it stand still."""
        self._kept = self.left

    def go_on(self) -> None:
        """Let it run again."""
        self._ends = self.now() + self._kept
