"""The command line, a module a job: each adds its words and says what to run."""

from __future__ import annotations

from typing import Any

from repairecon.after_the_job import command as after_the_job
from repairecon.compare_quotes import command as compare_quotes
from repairecon.rebuild_or_buy import command as rebuild_or_buy
from repairecon.spares_aboard import command as spares_aboard
from repairecon.spares_aboard import command_copies as copies

COMMANDS = (rebuild_or_buy, compare_quotes, spares_aboard, after_the_job, copies)


def add_all(jobs: Any) -> None:
    """Add every command, in the order in which the help shows them."""
    for command in COMMANDS:
        command.add(jobs)
