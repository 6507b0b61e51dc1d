"""A whole job in one act: what came for it and what was fitted, written together, once, or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from repairecon.book import acts, cards, history, receiving, reordering, taking, things
from repairecon.book.amounts import Amount, words
from repairecon.book.ledger import Ledger
from repairecon.read.problems import key, shown
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    FitLine,
    Happened,
    JobInBook,
    Movement,
    ReceiveLine,
)


@dataclass(frozen=True)
class Job:
    """What a job moved; see ``SparesBook.write_job``."""

    reference: str
    received: tuple[ReceiveLine, ...]
    fitted: tuple[FitLine, ...]
    unit: str
    hours: Amount | None = None
    date: acts.When = None
    new_cards: tuple[Mapping[str, Any], ...] = ()
    new_unit: bool = False


class _OnlyShown(Exception):
    """Leaves a transaction so that nothing of it is kept."""

    def __init__(self, shown_job: JobInBook) -> None:
        super().__init__()
        self.job = shown_job


def write_job(ledger: Ledger, job: Job, write: bool) -> JobInBook:
    """All of a job in one transaction; a trial is the same transaction taken back."""
    try:
        with ledger.writing():
            _not_twice(ledger, job.reference)
            _add_cards(ledger, job)
            moved = _Moved(ledger, job)
            moved.write()
            done = JobInBook(job.reference, moved.happened(), reordering.reorder(ledger), write)
            if not write:
                raise _OnlyShown(done)
    except _OnlyShown as only:
        return only.job
    return done


def _not_twice(ledger: Ledger, reference: str) -> None:
    line = words(reference, "reference", required=True)
    rows = ledger.rows("SELECT movement FROM movements WHERE reference = ? AND undoes IS NULL", (line,))
    undone = history.undone(ledger)
    there = [m for (m,) in rows if history.stands(m, undone)]
    if there:
        which = f"movement {there[0]}" if len(there) == 1 else f"movements {', '.join(map(str, there))}"
        raise BookError(
            f"this job is in the book already ({which}): nothing was written. Correct a movement that is wrong, "
            "or undo all of them first"
        )


def _add_cards(ledger: Ledger, job: Job) -> None:
    if job.new_unit and key(job.unit) not in map(key, things.names(ledger, "unit").values()):
        cards.add(ledger, "unit", {"name": job.unit})
    for told in job.new_cards:
        cards.add(ledger, "item", told)


class _Moved:
    """The movements of a job as they are written, and every fault of them."""

    def __init__(self, ledger: Ledger, job: Job) -> None:
        self.ledger, self.job = ledger, job
        self.numbers: dict[int, list[int]] = {}
        self.before: dict[int, Movement | None] = {}
        self.faults: list[str] = []

    def write(self) -> None:
        """What came first, then what was fitted."""
        job = self.job
        try:
            self._keep(receiving.receive(self.ledger, job.received, job.date, job.reference))
        except (BookFileError, BookBusyError):
            raise
        except BookError as error:
            self.faults += str(error).splitlines()[1:] or [str(error)]
        came = not self.faults
        for line in job.fitted:
            if came or not line.lot:  # what did not come cannot be fitted: that is no further fault
                self._fit(line)
        if self.faults:
            raise BookError("the job was not written:\n" + "\n".join(dict.fromkeys(self.faults)))

    def _fit(self, line: FitLine) -> None:
        job = self.job
        try:
            done = taking.fit(
                self.ledger, line.item, job.unit, job.hours, job.date, line.quantity, line.locker or None, line.note,
                line.lot, job.reference,
            )  # fmt: skip
        except (BookFileError, BookBusyError):
            raise
        except BookError as error:
            self.faults.append(f"fitting {shown(line.item)}: {error}")
            return
        self.before.setdefault(done.item.number, done.before)
        self._keep([done])

    def _keep(self, made: Iterable[Happened]) -> None:
        for done in made:
            self.numbers.setdefault(done.item.number, []).extend(m.number for m in done.movements)

    def happened(self) -> tuple[Happened, ...]:
        """What the job left of each item."""
        return tuple(
            acts.happened(self.ledger, item, numbers, self.before.get(item)) for item, numbers in self.numbers.items()
        )
