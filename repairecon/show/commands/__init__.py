"""The command line, a module a job: each adds its words and says what to run."""

from __future__ import annotations

from typing import Any

from repairecon.show.commands import (
    after_the_job,
    compare_quotes,
    copies,
    import_quotes,
    rebuild_or_buy,
    spares_aboard,
)

COMMANDS = (rebuild_or_buy, compare_quotes, spares_aboard, after_the_job, import_quotes, copies)


def add_all(jobs: Any) -> None:
    """Add every command, in the order in which the help shows them."""
    for command in COMMANDS:
        command.add(jobs)
