"""``repairecon new-case FOLDER`` and ``repairecon notebooks FOLDER``."""

from __future__ import annotations

import argparse
from typing import Any

from repairecon.read.starter import copy_notebooks, new_case


def add(jobs: Any) -> None:
    """Add both to the command line."""
    starter = jobs.add_parser("new-case", help="write a commented starter folder")
    starter.add_argument("folder")
    starter.set_defaults(run=_new_case)
    copies = jobs.add_parser("notebooks", help="copy the notebooks and the demo cases into a folder")
    copies.add_argument("folder")
    copies.set_defaults(run=_notebooks)


def _new_case(args: argparse.Namespace) -> None:
    new_case(args.folder)
    print(f"Wrote a starter case to {args.folder}. Edit case.toml, then: repairecon rebuild-or-buy {args.folder}")


def _notebooks(args: argparse.Namespace) -> None:
    copy_notebooks(args.folder)
    print(f"Copied the notebooks and the demo cases to {args.folder}. Open them with: jupyter lab {args.folder}")
