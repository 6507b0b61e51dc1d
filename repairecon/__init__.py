"""Rebuild or buy: the reckoning for a boat owner whose unit has failed."""

from repairecon.files.case_folder import read_case
from repairecon.files.share import copy_notebooks
from repairecon.files.starter import new_case
from repairecon.jobs.answer import Answer, Verdict
from repairecon.jobs.rebuild_or_buy import rebuild_or_buy
from repairecon.jobs.rules import screen
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
    "new_case",
    "read_case",
    "rebuild_or_buy",
    "screen",
]
