"""Rebuild or buy: what it costs a boat owner whose unit has failed.

The jobs are loaded when they are first asked for, so that the import itself is light.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

from repairecon.records import (  # isort: skip
    BookError, Branch, Case, CaseError, Fault, FindingError, Part, Quote, Range, ReceiveLine, RepaireconError,
    Source, Supplier, Task, Terms, Unit, Way,
)  # fmt: skip

if TYPE_CHECKING:
    from repairecon.after_the_job.job import after_the_job, decide
    from repairecon.book.csv_folder import book_from_csv, export_book
    from repairecon.book.spares_book import book_at, open_book
    from repairecon.compare_quotes.job import QuotesAnswer, compare_quotes
    from repairecon.read.case_folder import read_case
    from repairecon.read.closed import read_closed, read_log
    from repairecon.read.starter import copy_notebooks, new_case
    from repairecon.rebuild_or_buy.advice import Verdict, screen
    from repairecon.rebuild_or_buy.answer import Answer
    from repairecon.rebuild_or_buy.job import rebuild_or_buy
    from repairecon.rebuild_or_buy.what_if import what_if
    from repairecon.spares_aboard.job import SparesAnswer, spares_aboard
    from repairecon.standards.equivalents import equivalent
    from repairecon.whole_boat.answer import whole_boat

__all__ = [
    "Answer", "BookError", "Branch", "Case", "CaseError", "Fault", "FindingError", "Part", "Quote", "QuotesAnswer",
    "Range", "ReceiveLine", "RepaireconError", "Source", "SparesAnswer", "Supplier", "Task", "Terms", "Unit",
    "Verdict", "Way", "after_the_job", "book_at", "book_from_csv", "compare_quotes", "copy_notebooks",
    "decide", "equivalent", "export_book", "new_case", "open_book", "read_case", "read_closed", "read_log",
    "rebuild_or_buy", "screen", "spares_aboard", "what_if", "whole_boat",
]  # fmt: skip

_FOUND_IN = {
    "Answer": "rebuild_or_buy.answer", "QuotesAnswer": "compare_quotes.job", "SparesAnswer": "spares_aboard.job",
    "Verdict": "rebuild_or_buy.advice", "after_the_job": "after_the_job.job", "book_at": "book.spares_book",
    "book_from_csv": "book.csv_folder", "compare_quotes": "compare_quotes.job",
    "copy_notebooks": "read.starter", "decide": "after_the_job.job", "equivalent": "standards.equivalents",
    "export_book": "book.csv_folder", "new_case": "read.starter", "open_book": "book.spares_book",
    "read_case": "read.case_folder", "read_closed": "read.closed", "read_log": "read.closed",
    "rebuild_or_buy": "rebuild_or_buy.job", "screen": "rebuild_or_buy.advice",
    "spares_aboard": "spares_aboard.job", "what_if": "rebuild_or_buy.what_if", "whole_boat": "whole_boat.answer",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from repairecon.show.report import version

        return version()
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_FOUND_IN[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Face(ModuleType):
    """A job's folder has the name of its function: ``repairecon.rebuild_or_buy`` stays the function.

    Importing the folder would otherwise put the module in its place.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _FOUND_IN and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Face
