"""Rebuild or buy: the reckoning for a boat owner whose unit has failed.

The jobs are loaded when they are first asked for, so that the import itself is light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from repairecon.records import (
    Branch,
    Case,
    CaseError,
    Fault,
    FindingError,
    Part,
    Quote,
    Range,
    RepaireconError,
    Source,
    Supplier,
    Task,
    Terms,
    Unit,
    Way,
)

if TYPE_CHECKING:
    from repairecon.files.case_folder import read_case
    from repairecon.files.share import copy_notebooks
    from repairecon.files.starter import new_case
    from repairecon.jobs.answer import Answer, Verdict
    from repairecon.jobs.rebuild_or_buy import rebuild_or_buy
    from repairecon.jobs.rules import screen
    from repairecon.standards.equivalents import equivalent

__all__ = [
    "Answer",
    "Branch",
    "Case",
    "CaseError",
    "Fault",
    "FindingError",
    "Part",
    "Quote",
    "Range",
    "RepaireconError",
    "Source",
    "Supplier",
    "Task",
    "Terms",
    "Unit",
    "Verdict",
    "Way",
    "copy_notebooks",
    "equivalent",
    "new_case",
    "read_case",
    "rebuild_or_buy",
    "screen",
]

_FOUND_IN = {
    "Answer": "jobs.answer",
    "Verdict": "jobs.answer",
    "copy_notebooks": "files.share",
    "equivalent": "standards.equivalents",
    "new_case": "files.starter",
    "read_case": "files.case_folder",
    "rebuild_or_buy": "jobs.rebuild_or_buy",
    "screen": "jobs.rules",
}


def __getattr__(name: str) -> Any:
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_FOUND_IN[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
