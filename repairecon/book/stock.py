"""What the movements of a book add up to: stock by place, lots, movements as records, what is to be bought again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import NamedTuple

from repairecon.book import schema
from repairecon.book.amounts import HOURS, MONEY, RATE, amount
from repairecon.book.cards import Cards, letters, listed
from repairecon.book.ledger import Rows
from repairecon.read.problems import key
from repairecon.records import Found, Locker, Lot, Movement, ReorderLine, StockLine

_FIELDS = (
    "movement, on_date, kind, item, quantity, locker_from, locker_to, cost_unit, currency, rate, quoted_unit, person, "
    "unit, hours, lot, cure_date, reference, note, undoes, corrects, written_at, order_line"
)
class Step(NamedTuple):
    """What lots need to know of a movement; whole numbers as in the book, 0 for no locker."""

    movement: int
    item: int
    quantity: int
    locker_from: int
    locker_to: int
    undoes: int
    on_date: str
    lot: str
    cost_unit: int | None
    cure_date: str


Heap = dict[int, int]
"""Quantity left, by the movement that brought it in."""


class LotsWalk:
    """The lots of every place as movements go by, and those that each movement took or brought; the oldest go first.

    They are derived, never stored: a book corrected later then tells them right.
    """

    def __init__(self, steps: Iterable[Step]) -> None:
        self.places: dict[tuple[int, int], Heap] = {}
        self.taken: dict[int, Heap] = {}
        self.came: dict[int, Step] = {}
        for step in steps:
            if step.quantity:
                self._take(step)

    def _take(self, step: Step) -> None:
        if step.locker_from:
            lots = self._out(step)
        elif step.undoes in self.taken:
            lots = self.taken[step.undoes]
        else:
            lots = {step.movement: step.quantity}
            self.came[step.movement] = step
        self.taken[step.movement] = lots
        if step.locker_to:
            heap = self.places.setdefault((step.item, step.locker_to), {})
            for lot, quantity in lots.items():
                heap[lot] = heap.get(lot, 0) + quantity

    def oldest_first(self, heap: Heap, label: str = "") -> list[int]:
        """The lots of a heap in the order in which they go, those of a label first."""
        came = self.came
        return sorted(heap, key=lambda m: (not (label and came[m].lot == label), came[m].on_date, m))

    def _out(self, step: Step) -> Heap:
        """What leaves a place: what is undone, or the lot named, then the oldest."""
        heap = self.places.get((step.item, step.locker_from), {})
        taken: Heap = {}
        left = step.quantity
        order = self.oldest_first(heap, step.lot)
        back = [(lot, many) for lot, many in self.taken.get(step.undoes, {}).items() if lot in heap]
        for lot, most in [*back, *((lot, left) for lot in order)]:
            part = min(left, most, heap.get(lot, 0))
            if part:
                taken[lot] = taken.get(lot, 0) + part
                heap[lot] -= part
                left -= part
                if not heap[lot]:
                    del heap[lot]
        return taken


class Stock(Cards):
    """The side of a spares book that is only read."""

    def stock(self, item: str | None = None) -> tuple[StockLine, ...]:
        """How many of each item lie in each locker."""
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
            parts = (
                card.name, card.system, *card.units, card.makers_number, card.cross_reference, card.designation,
                card.material, card.locker, card.note, *(line.locker for line in here),
            )  # fmt: skip
            written = "\n".join(map(letters, parts))
            if wanted and all(word in written for word in wanted):
                found.append(Found(item=card, stock=tuple(here)))
        return tuple(found)

    def lots(self, item: str | None = None) -> tuple[Lot, ...]:
        """What is left of each lot in each place, the oldest taken first; their sum is the stock."""
        number = None if item is None else self.find("item", item)
        with self.ledger.reading():
            walk, where = self.lots_walk(number), self.lockers_by_number()
            names = self.names("item", (place[0] for place in walk.places))
        return tuple(
            _lot(names[item_number], where[locker], heap[lot], walk.came[lot])
            for (item_number, locker), heap in sorted(walk.places.items())
            for lot in walk.oldest_first(heap)
        )

    def lots_walk(self, item: int | None = None) -> LotsWalk:
        """The lots of one item or of all, from its first movement on."""
        which, values = ("", ()) if item is None else (" WHERE item = ?", (item,))
        rows = self.ledger.rows(
            "SELECT movement, item, quantity, coalesce(locker_from, 0), coalesce(locker_to, 0), coalesce(undoes, 0), "
            f"on_date, lot, cost_unit, cure_date FROM movements{which} ORDER BY movement",
            values,
        )
        return LotsWalk(Step(*row) for row in rows)

    def lots_taken(self, movement: Movement) -> tuple[Lot, ...]:
        """The lots that a movement took or brought, with the place that they came from, else went to."""
        walk, named = self.lots_walk(movement.item_number), movement.locker_from or movement.locker_to
        place = next(k for k in self.lockers() if k.name == named)
        taken = walk.taken.get(movement.number, {})
        return tuple(_lot(movement.item, place, quantity, walk.came[lot]) for lot, quantity in taken.items())

    def movements(self, item: str | None = None) -> tuple[Movement, ...]:
        """Movements of one item or of all, in the order in which they were written."""
        if item is None:
            return self.movements_where()
        return self.movements_where("item = ?", (self.find("item", item),))

    def movements_where(self, where: str = "1", values: tuple[object, ...] = ()) -> tuple[Movement, ...]:
        """Movements that a condition in SQL picks."""
        with self.ledger.reading():
            lockers, units, undone_by = self.names("locker"), self.names("unit"), self.undone_by()
            rows = self.ledger.rows(f"SELECT {_FIELDS} FROM movements WHERE {where} ORDER BY movement", values)
            names = self.names("item", (r[3] for r in rows))
        return tuple(
            Movement(
                number=r[0], on_date=r[1], kind=r[2], item_number=r[3], item=names[r[3]], quantity=amount(r[4]),
                locker_from=lockers.get(r[5], ""), locker_to=lockers.get(r[6], ""), cost_unit=amount(r[7], MONEY),
                currency=r[8], rate=amount(r[9], RATE), quoted_unit=amount(r[10], MONEY), person=r[11],
                unit=units.get(r[12], ""), hours=amount(r[13], HOURS), lot=r[14], cure_date=r[15],
                reference=r[16], note=r[17], undoes=r[18], corrects=r[19], undone_by=undone_by.get(r[0]),
                written_at=r[20], order_line=r[21],
            )
            for r in rows
        )  # fmt: skip

    def standing(self, where: str = "1", values: tuple[object, ...] = ()) -> tuple[Movement, ...]:
        """Movements that a condition in SQL picks, without undoings and what they undid."""
        undone_by = self.undone_by()
        found = self.movements_where(f"undoes IS NULL AND {where}", values)
        return tuple(m for m in found if stands(m.number, undone_by))

    def undone_by(self) -> dict[int, int]:
        """The counter-movement of each movement that has one."""
        return dict(self.ledger.rows("SELECT undoes, movement FROM movements WHERE undoes IS NOT NULL"))

    def lent(self, item: str) -> dict[str, Decimal]:
        """How many of an item each borrower has."""
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
            cards = self.items_by_number() if only is None else {only: self.item_by_number(only)}
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
    """What lies aboard, ashore and is lent, of thousandths by locker."""
    sums = {"aboard": 0, "ashore": 0, "lent": 0}
    for locker, quantity in held.items():
        sums[where[locker].kind] += quantity
    return {kind: amount(q) for kind, q in sums.items()}


def _lot(name: str, place: Locker, quantity: int, came: Step) -> Lot:
    return Lot(
        item_number=came.item, item=name, locker=place.name, locker_kind=place.kind, quantity=amount(quantity),
        came_by=came.movement, came_on=came.on_date, cost_unit=amount(came.cost_unit, MONEY), lot=came.lot,
        cure_date=came.cure_date,
    )  # fmt: skip
