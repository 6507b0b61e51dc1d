"""How far the large sweeps go: a fixed sample as a rule, everything with REPAIRECON_FULL_SWEEPS=1."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TypeVar

from hypothesis import settings

Item = TypeVar("Item")
FULL = os.environ.get("REPAIRECON_FULL_SWEEPS") == "1"
SHARE = 7
"""One case in so many is taken as a rule."""


def sample(items: Sequence[Item], first: int = 0) -> Sequence[Item]:
    """Every seventh item from a place on, the same at every run; all of them in a full sweep."""
    return items if FULL else items[first % SHARE :: SHARE]


def examples(most: int) -> settings:
    """Settings for generated cases: so many in a full sweep, a seventh, always the same, as a rule."""
    return settings(max_examples=most if FULL else most // SHARE, deadline=None, derandomize=not FULL)
