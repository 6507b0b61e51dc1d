"""What to ask suppliers for: what is below its minimum, what is worth carrying, what her open jobs want and lack."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from repairecon.book.on_hand import piece_of, read_case_aboard
from repairecon.book.spares_book import book_at
from repairecon.read.boat import BoatPapers, boat_around, read_boat, same_part
from repairecon.read.closed import FOLDER as DECIDED
from repairecon.read.orders import AskLine
from repairecon.read.problems import key
from repairecon.records import Case, Item, Part, RepaireconError
from repairecon.show.layout import wrapped
from repairecon.show.words import quantity
from repairecon.spares_aboard.job import spares_aboard


@dataclass(frozen=True)
class ShoppingList:
    """What to ask for; ``left_out`` are jobs that could not be read, with why; ``papers`` those of the boat."""

    lines: tuple[AskLine, ...]
    left_out: tuple[tuple[str, str], ...]
    papers: BoatPapers


class _Lacks(NamedTuple):
    """What a job lacks: pieces of a part, the name of its card (None: on no card), who quoted for it."""

    job: str
    case: Case
    part: Part
    pieces: int
    card: str | None
    sellers: tuple[str, ...]


def shopping_list(book: str | os.PathLike[str]) -> ShoppingList:
    """What the boat around a book is to be bought, a line a thing, for whatever reasons.

    It is asked of those who sold it before or quoted for it, else of all in suppliers.csv. RepaireconError if the book
    lies in no boat's folder, or there is nobody to ask; CaseError with the faults of her papers.
    """
    home = boat_around(book)
    if home is None:
        raise RepaireconError("the book lies in no boat's folder: begin one with new-boat, and put the book there")
    papers = read_boat(home)
    with book_at(book) as opened:
        answer = spares_aboard(opened, boat=home)
        cards = {c.name: c for c in opened.items()}
        movements = opened.movements()
    sold = {c: [m.person for m in movements if m.item == c and m.kind == "bought" and m.person] for c in cards}
    lacking, left_out = _of_jobs(home, list(cards.values()))
    below = {line.item.name: float(line.short) for line in answer.below_minimum}
    carry = {r.item: r.buy * r.at_a_time for r in answer.carry.itertuples() if r.buy}
    carry |= {r.item: float(r.units) for r in answer.missing.itertuples() if r.why}
    sellers = {key(r.text("supplier")): r.text("supplier") for r in papers.tables["suppliers.csv"].rows}
    lines = []
    for name, card in cards.items():
        jobs = [x for x in lacking if x.card == name]
        if name in below or name in carry or jobs:  # the greater of what its minimum and the carry list want
            said = ((below, "below its minimum"), (carry, "worth carrying"))
            why = [f"{quantity(of[name])} {words}" for of, words in said if of.get(name)]
            many = max(below.get(name, 0.0), carry.get(name, 0.0))
            lines.append(_line(jobs, name, card.designation, card.material, card.measure, many, sold[name], why))
    lines += _of_parts([x for x in lacking if x.card is None])
    asked = tuple(_asked(line, sellers) for line in lines)
    return ShoppingList(asked, left_out, papers)


def _of_jobs(home: Path, cards: Sequence[Item]) -> tuple[list[_Lacks], tuple[tuple[str, str], ...]]:
    """What open jobs want beyond what lies aboard, and the jobs that could not be read."""
    made: list[_Lacks] = []
    failed: list[tuple[str, str]] = []
    for folder in map(Path, read_boat(home).jobs):
        if (folder / DECIDED).exists():
            continue
        try:
            case = read_case_aboard(folder, order=True)
        except RepaireconError as error:
            failed.append((folder.name, "; ".join(str(error).splitlines())))
            continue
        aboard = {x.part: x.have for x in case.from_stock}
        for part in case.parts:
            pieces = part.quantity - aboard.get(part.part, 0)
            if part.needed == "always" and pieces > 0:
                card = next((c.name for c in cards if same_part(piece_of(c), part, case.unit)), None)
                quoted = tuple(q.supplier for q in case.quotes if q.item == part.part)
                made.append(_Lacks(folder.name, case, part, pieces, card, quoted))
    return made, tuple(failed)


def _line(
    jobs: Sequence[_Lacks], item: str, designation: str, material: str, measure: str = "piece", pieces: float = 0.0,
    sold: Sequence[str] = (), why: Sequence[str] = (),
) -> AskLine:  # fmt: skip
    return AskLine(
        item=item, designation=designation, material=material, measure=measure,
        pieces=pieces + float(sum(x.pieces for x in jobs)), suppliers=(*sold, *(s for x in jobs for s in x.sellers)),
        why=(*why, *(f"{x.pieces} for the job {x.job}" for x in jobs)),
    )  # fmt: skip


def _of_parts(lacking: Sequence[_Lacks]) -> list[AskLine]:
    """Parts of jobs that stand on no card: one line a name, size and material."""
    by: dict[tuple[str, ...], list[_Lacks]] = {}
    for x in lacking:
        by.setdefault((key(x.part.part), key(x.part.standard_size), key(x.part.material)), []).append(x)
    names = [name for name, *_ in by]
    made = []
    for (name, *_), jobs in by.items():
        part = jobs[0].part
        item = part.part if names.count(name) == 1 else f"{part.part}, {jobs[0].case.unit.name}"
        made.append(_line(jobs, item, part.standard_size, part.material))
    return made


def _asked(line: AskLine, sellers: dict[str, str]) -> AskLine:
    known = tuple(dict.fromkeys(sellers.get(key(s), s) for s in line.suppliers)) or tuple(sellers.values())
    if not known:
        raise RepaireconError(f"{line.item}: nobody to ask; add a row to suppliers.csv of the boat")
    return replace(line, suppliers=known)


def in_words(found: ShoppingList) -> str:
    """The list as text."""
    lines = []
    for x in found.lines:
        size = " ".join(filter(None, (x.designation, x.material)))
        what = f"{quantity(x.pieces, x.measure)} {x.item}{f' [{size}]' if size else ''}"
        said = f"{what}: {', '.join(x.why)}. Ask {', '.join(x.suppliers)}."
        lines.append(wrapped(f"- {said}"))
    lines += [wrapped(f"- Left out: {job}: {why}") for job, why in found.left_out]
    return "\n".join(["What to ask for", *(lines or ["- Nothing."])])
