"""What the movements of a book add up to: stock by place, lots, movements as records, what is to be bought again."""

from __future__ import annotations

import datetime
import math
import os
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

from repairecon import records
from repairecon.book import schema
from repairecon.book.cards import TEXTS, Cards, letters, listed
from repairecon.book.ledger import Rows
from repairecon.book.schema import MOVEMENT, amount, as_said
from repairecon.read.boat import boat_folder, book_path, today_of
from repairecon.read.case_folder import read_case
from repairecon.read.problems import key
from repairecon.records import Case, Found, Item, Locker, Lot, Movement, OnHand, ReorderLine, SpareWish, StockLine

if TYPE_CHECKING:  # a case alone needs no book: its command starts without one
    from repairecon.book.spares_book import SparesBook

_FIELDS = ("movement", *MOVEMENT, "written_at")
Heap = dict[int, Decimal]  # quantity left, by the movement that brought it in


class LotsWalk:
    """The lots of every place (item and locker), and those that each movement took or brought: never stored."""

    def __init__(self, movements: Iterable[Movement]) -> None:
        self.places: dict[tuple[int, str], Heap] = defaultdict(dict)
        self.taken: dict[int, Heap] = {}
        self.came: dict[int, Movement] = {}
        for m in movements:
            if not m.quantity:
                continue
            if m.locker_from:
                lots = self._out(m)
            elif m.undoes in self.taken:
                lots = self.taken[m.undoes]
            else:
                lots = {m.number: m.quantity}
                self.came[m.number] = m
            self.taken[m.number] = lots
            for lot, quantity in lots.items() if m.locker_to else ():
                heap = self.places[m.item_number, m.locker_to]
                heap[lot] = heap.get(lot, Decimal(0)) + quantity

    def oldest_first(self, heap: Heap, label: str = "") -> list[int]:
        """The lots of a heap in the order in which they go, those of a label first."""
        came = self.came
        return sorted(heap, key=lambda m: (not (label and came[m].lot == label), came[m].on_date, m))

    def _out(self, m: Movement) -> Heap:
        """What leaves a place: what is undone, or the lot named, then the oldest."""
        heap = self.places[m.item_number, m.locker_from]
        taken: Heap = {}
        left = m.quantity
        back = [(lot, many) for lot, many in self.taken.get(m.undoes or 0, {}).items() if lot in heap]
        for lot, most in [*back, *((lot, left) for lot in self.oldest_first(heap, m.lot))]:
            part = min(left, most, heap.get(lot, Decimal(0)))
            if part:
                taken[lot] = taken.get(lot, Decimal(0)) + part
                heap[lot] -= part
                left -= part
                if not heap[lot]:
                    del heap[lot]
        return taken

    def lot(self, number: int, place: Locker, quantity: Decimal) -> Lot:
        """What is left in a place of what a movement brought."""
        m = self.came[number]
        return Lot(
            item_number=m.item_number, item=m.item, locker=place.name, locker_kind=place.kind, quantity=quantity,
            came_by=m.number, came_on=m.on_date, cost_unit=m.cost_unit, lot=m.lot, cure_date=m.cure_date,
        )  # fmt: skip


class Stock(Cards):
    """The side of a spares book that is only read."""

    def stock(self, item: str | None = None) -> tuple[StockLine, ...]:
        with self.ledger.reading():
            where = self.lockers_by_number()
            rows = self._stock_rows(None if item is None else self.find("item", item))
            names = self.names("item", (r[0] for r in rows))
        return tuple(
            StockLine(item_number=i, item=names[i], locker=where[k].name, locker_kind=where[k].kind, quantity=amount(q))
            for i, k, q in rows
        )

    def _stock_rows(self, item: int | None) -> Rows:
        """Item, locker and thousandths; of one item without adding up all others first, as the view ``stock`` would."""
        if item is None:
            return self.ledger.rows("SELECT item, locker, quantity FROM stock ORDER BY item, locker")
        return self.ledger.rows(
            "SELECT item, locker, sum(quantity) FROM ("
            "SELECT item, locker_to AS locker, quantity FROM movements WHERE item = ?1 AND locker_to IS NOT NULL "
            "UNION ALL SELECT item, locker_from, -quantity FROM movements WHERE item = ?1 AND locker_from IS NOT NULL) "
            "GROUP BY locker HAVING sum(quantity) <> 0 ORDER BY locker",
            (item,),
        )

    def places(self, item: int) -> dict[int, int]:
        """Thousandths of an item in each locker that has any."""
        return {locker: quantity for _, locker, quantity in self._stock_rows(item)}

    def search(self, text: str) -> tuple[Found, ...]:
        """Items on whose card, or in whose locker, all these words stand, each with where it lies."""
        wanted = [letters(word) for word in text.split() if letters(word)]
        with self.ledger.reading():
            cards = self.items_by_number()
            lying: dict[int, list[StockLine]] = defaultdict(list)
            for line in self.stock():
                lying[line.item_number].append(line)
        found = []
        for number, card in cards.items():
            here = lying[number]
            said = (card.name, card.locker, *card.units, *(getattr(card, name) for name in TEXTS))
            written = "\n".join(map(letters, (*said, *(line.locker for line in here))))
            if wanted and all(word in written for word in wanted):
                found.append(Found(item=card, stock=tuple(here)))
        return tuple(found)

    def lots(self, item: str | None = None) -> tuple[Lot, ...]:
        """What is left of each lot in each place, the oldest taken first; their sum is the stock."""
        with self.ledger.reading():
            walk, lockers = LotsWalk(self.movements(item)), self.lockers()
        return tuple(
            walk.lot(number, place, heap[number])
            for item_number, place in product(sorted({item_number for item_number, _ in walk.places}), lockers)
            if (heap := walk.places.get((item_number, place.name)))
            for number in walk.oldest_first(heap)
        )

    def lots_taken(self, movement: Movement) -> tuple[Lot, ...]:
        """The lots that a movement took or brought, with the place that they came from, else went to."""
        walk = LotsWalk(self.movements(movement.item))
        place = next(k for k in self.lockers() if k.name == (movement.locker_from or movement.locker_to))
        return tuple(walk.lot(n, place, quantity) for n, quantity in walk.taken.get(movement.number, {}).items())

    def movements(self, item: str | None = None) -> tuple[Movement, ...]:
        """Movements of one item or of all, in the order in which they were written."""
        if item is None:
            return self.movements_where()
        return self.movements_where("item = ?", (self.find("item", item),))

    def movements_where(self, where: str = "1", values: tuple[object, ...] = ()) -> tuple[Movement, ...]:
        with self.ledger.reading():
            lockers, units, undone_by = self.names("locker"), self.names("unit"), self.undone_by()
            of = ", ".join(_FIELDS)
            rows = self.ledger.rows(f"SELECT {of} FROM movements WHERE {where} ORDER BY movement", values)
            names = self.names("item", (r[3] for r in rows))
        made = []
        for row in rows:
            said = as_said(_FIELDS, row)
            number, item = said.pop("movement"), said["item"]
            said |= {"item": names[item], "unit": units.get(said["unit"], "")}
            said |= {side: lockers.get(said[side], "") for side in ("locker_from", "locker_to")}
            made.append(Movement(number=number, item_number=item, undone_by=undone_by.get(number), **said))
        return tuple(made)

    def standing(self, where: str = "1", values: tuple[object, ...] = ()) -> tuple[Movement, ...]:
        """Movements that a condition in SQL picks, without undoings and what they undid."""
        undone_by = self.undone_by()
        found = self.movements_where(f"undoes IS NULL AND {where}", values)
        return tuple(m for m in found if stands(m.number, undone_by))

    def units(self) -> tuple[records.UnitAboard, ...]:
        """All units, with the newest reading of the clock: that of the card, or of what was fitted since."""
        columns = ("number", *schema.CARDS["unit"])
        with self.ledger.reading():
            read = self.standing("unit IS NOT NULL AND hours IS NOT NULL")
            cards = self.ledger.rows(f"SELECT unit, {', '.join(columns[1:])} FROM current_units ORDER BY unit")
        newest = {m.unit: {"hours": m.hours, "hours_on": m.on_date} for m in sorted(read, key=lambda m: m.on_date)}
        made = []
        for said in (as_said(columns, row) for row in cards):
            seen = newest.get(said["name"])
            if seen and (said["hours"] is None or said["hours_on"] < seen["hours_on"]):
                said |= seen
            made.append(records.UnitAboard(**said))
        return tuple(made)

    def undone_by(self) -> dict[int, int]:
        return dict(self.ledger.rows("SELECT undoes, movement FROM movements WHERE undoes IS NOT NULL"))

    def lent(self, item: str) -> dict[str, Decimal]:
        columns, which = "person, quantity, locker_to", "item = ? AND ? IN (locker_to, locker_from)"
        sql = f"SELECT {columns} FROM movements WHERE {which} ORDER BY movement"
        names: dict[str, str] = {}
        sums: dict[str, int] = defaultdict(int)
        for person, quantity, to in self.ledger.rows(sql, (self.find("item", item), schema.LENT_NUMBER)):
            who = names.setdefault(key(person), person)
            sums[who] += quantity if to == schema.LENT_NUMBER else -quantity
        return {who: amount(q) for who, q in sums.items() if q}

    def reorder_list(self, only: int | None = None) -> tuple[ReorderLine, ...]:
        """Carried items (or one, by number) under their minimum, critical ones first, then those most short."""
        with self.ledger.reading():
            cards = self.items_by_number(only)
            where, undone_by = self.lockers_by_number(), self.undone_by()
            held: dict[int, dict[int, int]] = defaultdict(dict)
            for item, locker, quantity in self._stock_rows(only):
                held[item][locker] = quantity
            wanted = {k: by_kind(held[k], where) for k, card in cards.items() if card.carried and card.minimum}
            few = {k: sums for k, sums in wanted.items() if sums["aboard"] < cards[k].minimum}
            which, values = ("", ()) if only is None else (" AND item = ?", (only,))
            sql = f"SELECT item, movement FROM movements WHERE kind = 'bought'{which} ORDER BY movement"
            bought = self.ledger.rows(sql, values)
            numbers = {item: m for item, m in bought if item in few and stands(m, undone_by)}
            last = {m.item_number: m for m in self.movements_where(f"movement IN ({listed(numbers.values())})")}
        made = [
            ReorderLine(item=cards[k], **sums, short=cards[k].minimum - sums["aboard"], last=last.get(k))
            for k, sums in few.items()
        ]
        return tuple(sorted(made, key=lambda r: (not r.item.critical, -r.short / r.item.minimum, r.item.name)))


def stands(movement: int, undone_by: Mapping[int, int]) -> bool:
    """False for what was undone, unless the undoing was undone."""
    held = True
    while movement in undone_by:
        movement, held = undone_by[movement], not held
    return held


def by_kind(held: Mapping[int, int], where: Mapping[int, Locker]) -> dict[str, Decimal]:
    sums = {"aboard": 0, "ashore": 0, "lent": 0}
    for locker, quantity in held.items():
        sums[where[locker].kind] += quantity
    return {kind: amount(q) for kind, q in sums.items()}


# ---- on hand, for a job that may take it -----------------------------------------------------------
_RULE = "ISO 2230:2002"
_GROUP_RUBBER: Mapping[str, str] = {"A": "NR", "B": "NBR", "C": "EPDM"}
"""A rubber of each group of ISO 2230, for what is a kit or of an unknown rubber of that group."""
_EPOCH = datetime.date(1970, 1, 1).toordinal()


def day_number(day: datetime.date | str) -> float:
    if not day:
        return math.nan
    return float((datetime.date.fromisoformat(day) if isinstance(day, str) else day).toordinal() - _EPOCH)


def day_of(number: float) -> datetime.date:
    return datetime.date.fromordinal(int(number) + _EPOCH)


def last_day(card: Item, start: datetime.date | str, inspected: bool = False) -> float:
    """Day number on which what is so old runs out; endless for what is no rubber, nan where no day is known."""
    from repairecon.formulas import valuation
    from repairecon.standards.rubber import shelf_life

    first, more = math.inf, 0.0  # initial years of storage, and what an inspection adds
    rubbers = filter(None, (card.material, _GROUP_RUBBER.get(card.shelf_group, "")))
    lives = (x for rubber in rubbers for x in shelf_life(rubber, 0) if x.rule == _RULE and x.last_year is not None)
    if life := next(lives, None):
        first = float(life.last_year or 0)
        more = float(life.last_year_if_inspected or first) - first
    return float(valuation.expiry_day(day_number(start), first, more, inspected=inspected))


def on_hand(book: SparesBook, today: datetime.date | None = None, job: str = "") -> tuple[OnHand, ...]:
    """Spares that lie aboard, whole pieces of them, rubber in date ``today`` (default: that of the book), by name.

    ``job`` is the folder name of the job that may take it: what came by orders of other open jobs waits for those.
    """
    from repairecon.book.spares_book import passage_for

    wishes = {w.item: w for w in passage_for(book.ledger.path, book).items}
    cards = book.items_by_number()
    day = day_number(today or book.ledger.today())
    lying: dict[int, list[Lot]] = defaultdict(list)
    waiting = book.waiting_for_others(job) if job else frozenset()
    for lot in book.lots():
        card = cards[lot.item_number]
        wish = wishes.get(card.name)
        late = last_day(card, lot.cure_date or lot.came_on, bool(wish and wish.inspected)) < day
        if not late and lot.came_by not in waiting and lot.locker_kind == "aboard" and card.measure == "piece":
            lying[card.number].append(lot)
    made = []
    for card, lots in ((cards[number], sorted(some, key=lambda lot: lot.came_on)) for number, some in lying.items()):
        costs = [float(lot.cost_unit) for lot in lots if lot.cost_unit is not None]
        if many := int(sum(lot.quantity for lot in lots)):
            made.append(replace(
                piece_of(card), quantity=many, price=costs[-1] if costs else None, since=lots[0].came_on,
                whole=whole_unit(card, wishes.get(card.name)),
            ))  # fmt: skip
    return tuple(sorted(made, key=lambda x: x.item))


def whole_unit(card: Item, wish: SpareWish | None) -> bool:
    """Whether an item is a unit complete: as the owner says, else by the word in its name."""
    from repairecon.read.reading import Defaults

    if wish is not None and wish.whole_unit is not None:
        return wish.whole_unit
    word = str(Defaults().peek("whole_unit_word")).casefold()
    return word in card.name.casefold().replace(",", " ").split()


def piece_of(card: Item) -> OnHand:
    """A piece of an item, to hold against the parts of a job."""
    return OnHand(item=card.name, units=card.units, designation=card.designation, material=card.material,
                  makers_number=card.makers_number, quantity=1, price=None, whole=False, since="")  # fmt: skip


def read_case_aboard(folder: str | os.PathLike[str], years: bool = False, order: bool | None = None) -> Case:
    """A case as :func:`read_case` has it, the spares aboard its boat taken into account; ``from_stock`` says which.

    CaseError with every fault of the case, BookError if the book cannot be read.
    """
    home = boat_folder(folder)
    path = book_path(home) if home else None
    if home is None or path is None:
        return read_case(folder, years, order)
    from repairecon.book.spares_book import book_at

    with book_at(path) as book:
        stock = on_hand(book, today_of(home), os.path.basename(os.path.realpath(folder)))  # noqa: PTH119
    return read_case(folder, years, order, stock=stock)
