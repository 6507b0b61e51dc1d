"""A new boat out of the owner's own lists: her folder and her spares book, whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from repairecon.book.own_list import plan_import, refuse, write_import
from repairecon.book.spares_book import begin_book
from repairecon.read.boat import BOOK
from repairecon.read.problems import shown
from repairecon.read.starter import empty_folder, new_boat
from repairecon.read.units_list import UnitsList, read_units_list
from repairecon.records import CaseError, Fault, RepaireconError, SheetError

LOCKER = "aboard"
"""Where spares lie whose row names no locker."""
Taken = tuple[str, int, tuple[str, ...]]


def boat_from_lists(
    folder: str | os.PathLike[str], name: str = "", currency: str = "", *, units: Path | None = None,
    spares: Path | None = None,
) -> tuple[Taken, ...]:  # fmt: skip
    """Write a boat's folder (new or empty) with her spares book, out of lists under whatever headings.

    Of each list its name, the rows taken, and the headings of which nothing was taken. RepaireconError if something is
    there already or cannot be written; SheetError with every fault of both lists. Nothing is written then.
    """
    target = empty_folder(folder)
    faults: list[Fault] = []
    listed = UnitsList(b"", 0, ())
    try:
        listed = read_units_list(units) if units else listed
    except CaseError as error:
        faults += error.faults
    home = next(p for p in target.absolute().parents if p.is_dir())
    taken: list[Taken] = [(units.name, listed.many, listed.left_out)] if units else []
    try:
        with tempfile.TemporaryDirectory(prefix=".new-boat-", dir=home) as place:
            made = Path(place) / "boat"
            money = new_boat(made, name, currency, listed.data)
            taken += _spares(made / BOOK, money, spares, faults)
            refuse(faults, SheetError)
            target.parent.mkdir(parents=True, exist_ok=True)
            made.rename(target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise RepaireconError(f"{shown(str(target))} could not be written: {reason}; nothing was written") from error
    return tuple(taken)


def _spares(path: Path, currency: str, spares: Path | None, faults: list[Fault]) -> list[Taken]:
    """Begin the book, and take the list in if it has no fault."""
    with begin_book(path, currency) as book:
        if spares is None:
            return []
        try:
            plan = plan_import(book, spares, locker=LOCKER)
        except CaseError as error:
            faults += error.faults
            return []
        faults += plan.faults
        if not faults:
            write_import(book, plan)
        return [(spares.name, len(plan.lines), plan.left_out)]
