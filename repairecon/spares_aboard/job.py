"""The job spares-aboard: what is aboard, where, what it is worth, what expires, what to buy, carry and ask for."""

from __future__ import annotations

import datetime
import math
import os
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from operator import attrgetter
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from repairecon import records
from repairecon.book.ledger import damaged
from repairecon.book.spares_book import SparesBook, book_at, passage_for
from repairecon.book.stock import piece_of, read_case_aboard, stands
from repairecon.read import values
from repairecon.read.boat import BoatPapers, boat_around, read_boat, same_part, today_of
from repairecon.read.closed import FOLDER as DECIDED
from repairecon.read.orders import AskLine
from repairecon.read.problems import key
from repairecon.read.reading import Defaults
from repairecon.read.toml_records import PERIOD
from repairecon.read.values import Misread
from repairecon.records import RepaireconError
from repairecon.show.sheet import Panel, Shown
from repairecon.show.words import quantity
from repairecon.spares_aboard import demand, holdings
from repairecon.spares_aboard.boat_units import BoatAround
from repairecon.spares_aboard.carry import Carried
from repairecon.spares_aboard.demand import CaseWorth
from repairecon.spares_aboard.holdings import Valued, Worth

LOOKED_THROUGH = 20_000
"""Movements up to which a book is looked through each time, which takes a second; beyond that only ``check`` does."""


class SparesAnswer(Shown):
    """All that the job found; the book is read at once, at one moment, the rest worked out when it is asked for.

    ``shelf`` has a row a lot of rubber, the most pressing first, ``expiring`` those that are over, wait for an
    inspection or run out before the passage ends; ``turning`` whole units, and the day by which to turn each by hand.
    ``receipts`` is what is left of each purchase with its movement, ``holdings`` a row an item and locker, their value
    ``by_locker``, ``by_system`` and (``by_date``) by the month of purchase; ``insurance`` a list for an insurer.
    ``carry`` has a row an item: have, buy, carry, p_short before and after, worth, cost, and why. ``budget_curve`` has
    a row a purchase, in the order in which money is best spent. ``missing`` is worth having and is not bought,
    ``surplus`` costs more by lying there than it saves. ``spend`` is what the purchases cost, ``most_lost`` what
    another choice could be worth more, at most [home money]; ``risk`` that of being without, with what is aboard and
    with what is bought. ``cases`` are whole units whose worth as spare is that of their own case. BookFileError from a
    book that is not as it was written.
    """

    def __init__(self, book: SparesBook, passage: records.Passage, today: datetime.date, home: Path | None) -> None:
        few = book.ledger.rows("SELECT count(*) FROM movements")[0][0] <= LOOKED_THROUGH
        if few and (wrong := book.check()):
            raise damaged(book.ledger.path, "; ".join(wrong[:3]))
        with book.ledger.reading():
            about, undone_by = book.about, book.undone_by()
            self._items, self._units, self._stock = book.items_by_number(), book.units(), book.stock()
            self._movements, self._lots, self.below_minimum = book.movements(), book.lots(), book.reorder_list()
        self._standing = [m for m in self._movements if m.undoes is None and stands(m.number, undone_by)]
        self.passage, self.today, self._home = passage, today, home
        # Defaults are listed as they are used: a list of its own for each part, the same in any order of asking
        self._of_period, self._of_carry, self._of_turning = (Defaults() for _ in range(3))
        self.boat, self.figures = about.get("boat", "") or book.ledger.path.stem, about.get("figures", "")
        self.currency, self.budget = about.get("home_currency", "EUR"), passage.budget
        days, more = (
            self._of_period.number(name) if said is None else said
            for name, said in (("passage_days", passage.days), ("resupply_days", passage.resupply_days))
        )
        self.passage_days, self.period_days, self.running_hours = days, days + more, passage.running_hours
        self.until = today + datetime.timedelta(days=math.ceil(days))

    def said(self) -> Panel:
        """Whose spares, and what to buy and throw away."""
        from repairecon.spares_aboard.screen import verdict

        return verdict(self)

    @cached_property
    def shelf(self) -> pd.DataFrame:
        kinds = {m.number: m.kind for m in self._movements}
        inspected = {w.item for w in self.passage.items if w.inspected}
        return holdings.shelf_table(self._lots, self._items, kinds, inspected, (self.today, self.until))

    def _in_state(self, *states: str) -> pd.DataFrame:
        return self.shelf[self.shelf["state"].isin(states)].reset_index(drop=True)

    @cached_property
    def expiring(self) -> pd.DataFrame:
        return self._in_state(holdings.OVER, holdings.INSPECT, holdings.RUNS_OUT)

    @cached_property
    def turning(self) -> pd.DataFrame:
        return holdings.turning_table(self._lots, self._items, self.passage, self._of_turning, self.until)

    @cached_property
    def _valued(self) -> Valued:
        return holdings.value(self._movements, self._standing, self._items)

    @cached_property
    def holdings(self) -> pd.DataFrame:
        over = holdings.out_of_date(self._in_state(holdings.OVER))
        return holdings.holdings(self._stock, self._items, self._valued, over)

    receipts = property(attrgetter("_valued.receipts"))
    by_locker = cached_property(lambda self: holdings.by(self.holdings, "locker"))
    by_system = cached_property(lambda self: holdings.by(self.holdings, "system"))
    insurance = cached_property(lambda self: holdings.insurance(self._items, self.holdings))

    @cached_property
    def by_date(self) -> pd.DataFrame:
        return self.receipts.assign(month=self.receipts["on_date"].str[:7]).groupby("month")[["left", "value"]].sum()

    @cached_property
    def worth(self) -> Worth:
        """What all the spares are worth."""
        sums = {name: float(self.holdings[name].sum()) for name in ("fifo", "average", "written_down")}
        replacement = float(self.insurance["replacement"].sum())
        return Worth(**sums, replacement=replacement, unknown=self._valued.unknown)

    @cached_property
    def cases(self) -> tuple[CaseWorth, ...]:
        return tuple(demand.case_worth(w) for w in self.passage.items if w.case)

    @cached_property
    def _carried(self) -> Carried:
        passage, defaults = self.passage, self._of_carry
        out = holdings.out_of_date(self._in_state(holdings.OVER, holdings.INSPECT))
        look = demand.Look(
            items=self._items, passage=passage, days=self.period_days, hours=self.running_hours,
            record=demand.record_of(self._standing, self._units, self.today), cases={c.item: c for c in self.cases},
            defaults=defaults, today=self.today, currency=self.currency,
            around=BoatAround(self._home, self.today) if self._home else None,
        )  # fmt: skip
        covers, lines = look.covers, []  # first: defaults are listed as they are used
        for card in self._items.values():
            here = [s for s in self._stock if s.item_number == card.number and s.locker_kind == "aboard"]
            lying = float(sum(s.quantity for s in here))
            in_date = max(lying - sum(out.get((card.number, s.locker), 0.0) for s in here), 0.0)
            line = demand.line_of(look, card, (lying, in_date), self._valued.last.get(card.number))
            lines += [line] if line else []
        assurance = passage.assurance if passage.assurance is not None else defaults.number("assurance")
        return Carried(lines, (passage.budget, passage.weight_kg, passage.room_litres), covers, assurance)

    carry = property(attrgetter("_carried.carry"))
    budget_curve = property(attrgetter("_carried.curve"))
    missing = property(attrgetter("_carried.missing"))
    surplus = property(attrgetter("_carried.surplus"))
    spend = property(attrgetter("_carried.program.spend"))
    most_lost = property(attrgetter("_carried.program.most_lost"))
    risk = property(attrgetter("_carried.risk"))

    @cached_property
    def assumed(self) -> tuple[records.Assumed, ...]:
        """Every default that the whole answer rests on."""
        _ = self._carried, self.turning
        listed = (*self._of_period.used, *self._of_carry.used, *self._of_turning.used)
        return tuple(dict.fromkeys(listed))


def spares_aboard(
    book: SparesBook | str | os.PathLike[str], passage: records.Passage | None = None, *,
    today: datetime.date | str | None = None, boat: str | os.PathLike[str] | None = None, **numbers: float | None,
) -> SparesAnswer:  # fmt: skip
    """Look at a spares book (open, or the file, or a folder of CSV files); nothing is written.

    ``passage`` is what the owner says of it, by default what passage.toml beside the book says (PassageError with every
    fault of it); ``today`` the day of the list, by default that of the passage, else of the boat, else of the clock;
    ``boat`` the folder of the boat whose units the spares serve, by default the one in which the book lies, if any.
    ``numbers`` go before those of the passage: see ``PASSAGE_NUMBERS``. Without a budget all that is worth its price
    is bought; weight and room count as far as the cards tell them.
    """
    _check(numbers)
    if not isinstance(book, SparesBook):
        with book_at(book) as opened:
            said = passage_for(book, opened) if passage is None else passage
            return spares_aboard(opened, said, today=today, boat=boat or boat_around(book), **numbers)
    said = passage_for(book.ledger.path, book) if passage is None else passage
    home = Path(boat) if boat else boat_around(book.ledger.path)
    given: dict[str, Any] = {
        records.PASSAGE_NUMBERS[name][0]: value for name, value in numbers.items() if value is not None
    }
    day = _day(today or said.today or (today_of(home) if home else None) or book.ledger.today())
    return SparesAnswer(book, replace(said, **given), day, home)


def _check(numbers: Mapping[str, float | None]) -> None:
    """Refuse what is no number of a passage, and all that are out of bounds at once."""
    if unknown := numbers.keys() - records.PASSAGE_NUMBERS.keys():
        names = ", ".join(records.PASSAGE_NUMBERS)
        raise TypeError(f"spares_aboard() has no number {sorted(unknown)[0]!r}: {names}")
    most = dict.fromkeys(("passage_days", "resupply_days"), PERIOD.high)
    said = {name: value for name, value in numbers.items() if value is not None}
    wrong = [name for name, v in said.items() if not (math.isfinite(v) and 0.0 <= v <= most.get(name, 1e12))]
    if wrong:
        raise RepaireconError("\n".join(f"{name}: found {said[name]}; write a number of 0 or more" for name in wrong))


def _day(asked: datetime.date | str) -> datetime.date:
    read = values.date(asked)
    if isinstance(read, Misread):
        raise RepaireconError(f"today: found {str(asked)!r}; {read.write}")
    day = datetime.date.fromisoformat(read)
    if not 1950 <= day.year <= 2200:
        raise RepaireconError(f"today: found {read}; write a day between 1950 and 2200")
    return day


# ---- what to ask suppliers for -------------------------------------------------------------------
@dataclass(frozen=True)
class ShoppingList:
    """What to ask for; ``left_out`` are jobs that could not be read, with why; ``papers`` those of the boat."""

    lines: tuple[AskLine, ...]
    left_out: tuple[tuple[str, str], ...]
    papers: BoatPapers


class _Lacks(NamedTuple):
    """What a job lacks: pieces of a part, the name of its card (None: on no card), who quoted for it."""

    job: str
    unit: str
    part: records.Part
    pieces: int
    card: str | None
    sellers: tuple[str, ...]


def shopping_list(book: str | os.PathLike[str]) -> ShoppingList:
    """What the boat around a book is to be bought, a line a thing: what is below its minimum, what is worth carrying,
    what her open jobs want and lack.

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
    lacking, left_out = _of_jobs(papers, cards.values())
    wanted: dict[str, dict[str, float]] = defaultdict(dict)
    for line in answer.below_minimum:
        wanted[line.item.name]["below its minimum"] = float(line.short)
    for r in answer.carry[answer.carry["buy"] > 0].itertuples():
        wanted[r.item]["worth carrying"] = r.buy * r.at_a_time
    for r in answer.missing[answer.missing["why"] != ""].itertuples():
        wanted[r.item]["worth carrying"] = float(r.units)
    sellers = {key(r.text("supplier")): r.text("supplier") for r in papers.tables["suppliers.csv"].rows}
    sold: dict[str, list[str]] = defaultdict(list)
    for m in movements:
        if m.kind == "bought" and m.person:
            sold[m.item].append(m.person)
    lines = []
    for name, card in cards.items():
        jobs = [x for x in lacking if x.card == name]
        if jobs or wanted[name]:
            why = [f"{quantity(pieces)} {words}" for words, pieces in wanted[name].items()]
            # the greater of what its minimum and the carry list want
            lines.append(_line(card, name, jobs, sellers, max(wanted[name].values(), default=0.0), sold[name], why))
    lines += _on_no_card([x for x in lacking if x.card is None], sellers)
    return ShoppingList(tuple(lines), left_out, papers)


def _on_no_card(lacking: Sequence[_Lacks], sellers: Mapping[str, str]) -> Iterator[AskLine]:
    """A line a name, size and material of what has no card; parts of one name also by their unit."""
    alike: dict[tuple[str, ...], list[_Lacks]] = defaultdict(list)
    for x in lacking:
        alike[key(x.part.part), key(x.part.standard_size), key(x.part.material)].append(x)
    names = Counter(name for name, *_ in alike)
    for (name, *_), jobs in alike.items():
        part = jobs[0].part
        yield _line(part, part.part if names[name] == 1 else f"{part.part}, {jobs[0].unit}", jobs, sellers)


def _of_jobs(papers: BoatPapers, cards: Collection[records.Item]) -> tuple[list[_Lacks], tuple[tuple[str, str], ...]]:
    """What open jobs want beyond what lies aboard, and the jobs that could not be read."""
    made: list[_Lacks] = []
    failed: list[tuple[str, str]] = []
    for folder in map(Path, papers.jobs):
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
                made.append(_Lacks(folder.name, case.unit.name, part, pieces, card, quoted))
    return made, tuple(failed)


def _line(
    thing: records.Item | records.Part, name: str, jobs: Sequence[_Lacks], sellers: Mapping[str, str],
    pieces: float = 0.0, sold: Sequence[str] = (), why: Sequence[str] = (),
) -> AskLine:  # fmt: skip
    size, measure = (
        (thing.designation, thing.measure) if isinstance(thing, records.Item) else (thing.standard_size, "piece")
    )
    known = dict.fromkeys(sellers.get(key(s), s) for s in (*sold, *(s for x in jobs for s in x.sellers)))
    if not known and not sellers:
        raise RepaireconError(f"{name}: nobody to ask; add a row to suppliers.csv of the boat")
    return AskLine(
        item=name, designation=size, material=thing.material, measure=measure,
        pieces=pieces + float(sum(x.pieces for x in jobs)),
        suppliers=tuple(known or sellers.values()), why=(*why, *(f"{x.pieces} for the job {x.job}" for x in jobs)),
    )  # fmt: skip
