"""The demo's answer, worked out once."""

from __future__ import annotations

from pathlib import Path

import pytest

import repairecon
from repairecon.compare_quotes.job import QuotesAnswer


@pytest.fixture(scope="session")
def demo() -> QuotesAnswer:
    """The quotes of the engine service; what lies around the basket is shared, too."""
    return repairecon.compare_quotes(repairecon.read_case(Path(__file__).parents[2] / "data" / "engine_service"))
