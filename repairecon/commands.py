"""The command line, a module a job: each adds its words and says what to run."""

from __future__ import annotations

import argparse
from typing import Any

from repairecon.after_the_job import command as after_the_job
from repairecon.compare_quotes import command as compare_quotes
from repairecon.rebuild_or_buy import command as rebuild_or_buy
from repairecon.spares_aboard import command as spares_aboard

COMMANDS = (rebuild_or_buy, compare_quotes, spares_aboard, after_the_job)


def add_all(jobs: Any) -> None:
    """Add every command, in the order in which the help shows them."""
    for command in COMMANDS:
        command.add(jobs)
    starter = jobs.add_parser("new-case", help="write a commented starter folder")
    starter.add_argument("folder")
    starter.set_defaults(run=_new_case)
    copies = jobs.add_parser("notebooks", help="copy the notebooks and the demo cases into a folder")
    copies.add_argument("folder")
    copies.set_defaults(run=_notebooks)


def _new_case(args: argparse.Namespace) -> None:
    from repairecon.read.starter import new_case

    new_case(args.folder)
    print(f"Wrote a starter case to {args.folder}. Edit case.toml, then: repairecon rebuild-or-buy {args.folder}")


def _notebooks(args: argparse.Namespace) -> None:
    from repairecon.read.starter import copy_notebooks

    copy_notebooks(args.folder)
    print(f"Copied the notebooks and the demo cases to {args.folder}. Open them with: jupyter lab {args.folder}")
