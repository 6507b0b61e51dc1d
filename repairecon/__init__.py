"""Rebuild or buy: the reckoning for a boat owner whose unit has failed.

The jobs are loaded when they are first asked for, so that the import itself is light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from repairecon.records import (
    BookError,
    Branch,
    Case,
    CaseError,
    Fault,
    FindingError,
    Part,
    Quote,
    Range,
    ReceiveLine,
    RepaireconError,
    Source,
    Supplier,
    Task,
    Terms,
    Unit,
    Way,
)

if TYPE_CHECKING:
    from repairecon.files.book_place import book_at, book_copy
    from repairecon.files.case_folder import read_case
    from repairecon.files.closed import read_closed
    from repairecon.files.job_log import read_log
    from repairecon.files.share import copy_notebooks
    from repairecon.files.spares_book import open_book
    from repairecon.files.spares_csv import book_from_csv, export_book
    from repairecon.files.starter import new_case
    from repairecon.jobs.aboard_answer import SparesAnswer
    from repairecon.jobs.after_the_job import after_the_job
    from repairecon.jobs.answer import Answer, Verdict
    from repairecon.jobs.closing import decide
    from repairecon.jobs.compare_quotes import QuotesAnswer, compare_quotes
    from repairecon.jobs.rebuild_or_buy import rebuild_or_buy
    from repairecon.jobs.rules import screen
    from repairecon.jobs.spares_aboard import spares_aboard
    from repairecon.standards.equivalents import equivalent

__all__ = [
    "Answer",
    "BookError",
    "Branch",
    "Case",
    "CaseError",
    "Fault",
    "FindingError",
    "Part",
    "Quote",
    "QuotesAnswer",
    "Range",
    "ReceiveLine",
    "RepaireconError",
    "Source",
    "SparesAnswer",
    "Supplier",
    "Task",
    "Terms",
    "Unit",
    "Verdict",
    "Way",
    "after_the_job",
    "book_at",
    "book_copy",
    "book_from_csv",
    "compare_quotes",
    "copy_notebooks",
    "decide",
    "equivalent",
    "export_book",
    "new_case",
    "open_book",
    "read_case",
    "read_closed",
    "read_log",
    "rebuild_or_buy",
    "screen",
    "spares_aboard",
]

_FOUND_IN = {
    "Answer": "jobs.answer",
    "QuotesAnswer": "jobs.compare_quotes",
    "SparesAnswer": "jobs.aboard_answer",
    "Verdict": "jobs.answer",
    "after_the_job": "jobs.after_the_job",
    "book_at": "files.book_place",
    "book_copy": "files.book_place",
    "book_from_csv": "files.spares_csv",
    "compare_quotes": "jobs.compare_quotes",
    "copy_notebooks": "files.share",
    "decide": "jobs.closing",
    "equivalent": "standards.equivalents",
    "export_book": "files.spares_csv",
    "new_case": "files.starter",
    "open_book": "files.spares_book",
    "read_case": "files.case_folder",
    "read_closed": "files.closed",
    "read_log": "files.job_log",
    "rebuild_or_buy": "jobs.rebuild_or_buy",
    "screen": "jobs.rules",
    "spares_aboard": "jobs.spares_aboard",
}


def __getattr__(name: str) -> Any:
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_FOUND_IN[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
