"""What the movements of a book add up to: stock by place, lots, movements as records, what is to be bought again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from repairecon.book import schema
from repairecon.book.amounts import HOURS, MONEY, RATE, amount
from repairecon.book.cards import MANY, Cards, letters
from repairecon.book.ledger import Rows
from repairecon.read.problems import key
from repairecon.records import MOVEMENT_KINDS, Found, Locker, Lot, Movement, ReorderLine, StockLine

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_FIELDS = (
    "movement, on_date, kind, item, quantity, locker_from, locker_to, cost_unit, currency, rate, quoted_unit, person, "
    "unit, hours, lot, cure_date, reference, note, undoes, corrects, written_at, order_line"
)
_WHOLE = (
    "movement", "item", "quantity", "locker_from", "locker_to", "cost_unit", "unit", "hours", "undoes", "corrects",
)  # fmt: skip
_MISSING = {"cost_unit": -1, "hours": -1}


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
            every = "SELECT item, locker, quantity FROM stock ORDER BY item, locker"
            rows = self.ledger.rows(every) if item is None else self._stock_of(self.find("item", item))
            names = self.names("item", (r[0] for r in rows))
        return tuple(
            StockLine(item_number=i, item=names[i], locker=where[k].name, locker_kind=where[k].kind, quantity=amount(q))
            for i, k, q in rows
        )

    def _stock_of(self, item: int) -> Rows:
        """The view ``stock`` for one item, without adding up all others first."""
        return self.ledger.rows(
            "SELECT item, locker, sum(quantity) FROM ("
            "SELECT item, locker_to AS locker, quantity FROM movements WHERE item = ?1 AND locker_to IS NOT NULL "
            "UNION ALL SELECT item, locker_from, -quantity FROM movements WHERE item = ?1 AND locker_from IS NOT NULL) "
            "GROUP BY locker HAVING sum(quantity) <> 0 ORDER BY locker",
            (item,),
        )

    def places(self, item: int) -> dict[int, int]:
        """Thousandths of an item in each locker that has any."""
        return dict(row[1:] for row in self._stock_of(item))

    def search(self, text: str) -> tuple[Found, ...]:
        """Items on whose card, or in whose locker, all these words stand, each with where it lies."""
        wanted = [letters(word) for word in text.split() if letters(word)]
        with self.ledger.reading():
            cards = self.items_by_number()
            lying: dict[int, list[StockLine]] = {}
            for line in self.stock():
                lying.setdefault(line.item_number, []).append(line)
        found = []
        for number, card in cards.items():
            here = lying.get(number, [])
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

    def undone_by(self) -> dict[int, int]:
        """The counter-movement of each movement that has one."""
        return dict(self.ledger.rows("SELECT undoes, movement FROM movements WHERE undoes IS NOT NULL"))

    def _last_bought(self, item: int, undone_by: Mapping[int, int]) -> int | None:
        sql = "SELECT movement FROM movements WHERE kind = 'bought' AND item = ? ORDER BY movement DESC"
        return next((m for (m,) in self.ledger.rows(sql, (item,)) if stands(m, undone_by)), None)

    def lent(self, item: str) -> dict[str, Decimal]:
        """How many of an item each borrower has."""
        columns, which = "person, quantity, locker_to", "item = ? AND ? IN (locker_to, locker_from)"
        sql = f"SELECT {columns} FROM movements WHERE {which} ORDER BY movement"
        names: dict[str, str] = {}
        sums: dict[str, int] = {}
        for person, quantity, to in self.ledger.rows(sql, (self.find("item", item), schema.LENT_NUMBER)):
            who = key(person)
            names.setdefault(who, person)
            sums[who] = sums.get(who, 0) + (quantity if to == schema.LENT_NUMBER else -quantity)
        return {names[who]: amount(q) for who, q in sums.items() if q}

    def reorder_list(self, only: int | None = None) -> tuple[ReorderLine, ...]:
        """Carried items (or one, by number) under their minimum, critical ones first, then those most short."""
        with self.ledger.reading():
            few = self._under_minimum() if only is None else self._one_under_minimum(only)
            where, undone_by = self.lockers_by_number(), self.undone_by()
            cards = self.items_by_number() if only is None else {k: self.item_by_number(k) for k in few}
            numbers = [m for k in few if (m := self._last_bought(k, undone_by)) is not None]
            last: dict[int, Movement] = {}
            for k in range(0, len(numbers), MANY):
                part = tuple(numbers[k : k + MANY])
                bought = self.movements_where(f"movement IN ({', '.join('?' * len(part))})", part)
                last |= {m.item_number: m for m in bought}
        sums = {k: by_kind(held, where) for k, held in few.items()}
        made = [
            ReorderLine(item=cards[k], **s, short=cards[k].minimum - s["aboard"], last=last.get(k))
            for k, s in sums.items()
        ]
        return tuple(sorted(made, key=lambda r: (not r.item.critical, -r.short / r.item.minimum, r.item.name)))

    def _one_under_minimum(self, item: int) -> dict[int, dict[int, int]]:
        card, held = self.item_by_number(item), self.places(item)
        aboard = by_kind(held, self.lockers_by_number())["aboard"]
        return {item: held} if card.carried and aboard < card.minimum else {}

    def _under_minimum(self) -> dict[int, dict[int, int]]:
        """What lies where of the carried items that have fewer aboard than their minimum."""
        rows = self.ledger.rows(
            "SELECT c.item, s.locker, coalesce(s.quantity, 0), c.minimum, l.kind FROM current_items c "
            "LEFT JOIN stock s ON s.item = c.item LEFT JOIN current_lockers l ON l.locker = s.locker "
            "WHERE c.carried AND c.minimum > 0 ORDER BY c.item, s.locker"
        )
        held: dict[int, dict[int, int]] = {}
        missing: dict[int, int] = {}
        for item, locker, quantity, minimum, kind in rows:
            here = held.setdefault(item, {})
            missing.setdefault(item, minimum)
            if locker is not None:
                here[locker] = quantity
                missing[item] -= quantity if kind == "aboard" else 0
        return {item: found for item, found in held.items() if missing[item] > 0}

    def columns(self) -> dict[str, NDArray[np.generic]]:
        """All movements as one array a field, in the order in which they were written; fast for many.

        Whole numbers as in the book: ``quantity`` and ``hours`` in thousandths, ``cost_unit`` in millionths of home
        money; 0 for no locker, no unit, nothing undone or corrected; -1 for no cost, no hours. ``on_date`` and
        ``cure_date`` are days (NaT for none). ``kind`` is the place in ``records.MOVEMENT_KINDS``, ``lot`` and
        ``person`` are text. ``stands`` is False for what was undone and for counter-movements: the rows that stand
        alone give the same sums.
        """
        import numpy as np

        codes = " ".join(f"WHEN '{kind}' THEN {code}" for code, kind in enumerate(MOVEMENT_KINDS))
        whole = ", ".join(f"coalesce({name}, {_MISSING.get(name, 0)})" for name in _WHOLE)
        with self.ledger.reading():
            numbers = self.ledger.rows(f"SELECT {whole}, CASE kind {codes} END FROM movements ORDER BY movement")
            texts = self.ledger.rows("SELECT on_date, cure_date, lot, person FROM movements ORDER BY movement")
            undone_by = self.undone_by()
        table = np.array(numbers, dtype=np.int64).reshape(-1, len(_WHOLE) + 1)
        made: dict[str, NDArray[np.generic]] = {name: table[:, k].copy() for k, name in enumerate((*_WHOLE, "kind"))}
        on_date, cure_date, lot, person = zip(*texts, strict=True) if texts else ((), (), (), ())
        for name, days in (("on_date", on_date), ("cure_date", cure_date)):
            made[name] = np.array([cell or "NaT" for cell in days], dtype="datetime64[D]")
        made["lot"], made["person"] = np.array(lot, dtype=object), np.array(person, dtype=object)
        stand = table[:, _WHOLE.index("undoes")] == 0
        for movement in undone_by:
            if not stands(movement, undone_by):
                stand[movement - 1] = False  # movements are numbered from 1 without a gap
        made["stands"] = stand
        return made


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
