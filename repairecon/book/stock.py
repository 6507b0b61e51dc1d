"""What the ledger adds up to: stock by place, movements as records, what to reorder."""

from __future__ import annotations

from collections.abc import Mapping

from repairecon.book import things
from repairecon.book.amounts import amount
from repairecon.book.ledger import Ledger, Rows
from repairecon.records import Found, Locker, StockLine


def places(ledger: Ledger, item: int) -> dict[int, int]:
    """Thousandths of an item in each locker that has any."""
    return dict(row[1:] for row in _of_one(ledger, item))


def _of_one(ledger: Ledger, item: int) -> Rows:
    """The view ``stock`` for one item, without adding up all others first."""
    return ledger.rows(
        "SELECT item, locker, sum(quantity) FROM ("
        "SELECT item, locker_to AS locker, quantity FROM movements WHERE item = ?1 AND locker_to IS NOT NULL "
        "UNION ALL SELECT item, locker_from, -quantity FROM movements WHERE item = ?1 AND locker_from IS NOT NULL) "
        "GROUP BY locker HAVING sum(quantity) <> 0 ORDER BY locker",
        (item,),
    )


def lines(ledger: Ledger, item: int | None = None) -> tuple[StockLine, ...]:
    """Stock by item and locker."""
    with ledger.reading():
        where = things.lockers(ledger)
        every = "SELECT item, locker, quantity FROM stock ORDER BY item, locker"
        rows = ledger.rows(every) if item is None else _of_one(ledger, item)
        names = things.names(ledger, "item", (r[0] for r in rows))
    return tuple(StockLine(i, names[i], where[k].name, where[k].kind, amount(q)) for i, k, q in rows)


def by_kind(held: Mapping[int, int], where: Mapping[int, Locker]) -> dict[str, int]:
    """Thousandths aboard, ashore and lent."""
    sums = {"aboard": 0, "ashore": 0, "lent": 0}
    for locker, quantity in held.items():
        sums[where[locker].kind] += quantity
    return sums


def search(ledger: Ledger, text: str) -> tuple[Found, ...]:
    """Items on whose card, or in whose locker, all words stand; numbers and sizes whatever their dashes and spaces."""
    wanted = [_bare(word) for word in text.split() if _bare(word)]
    with ledger.reading():
        cards = things.items(ledger)
        lying: dict[int, list[StockLine]] = {}
        for line in lines(ledger):
            lying.setdefault(line.item_number, []).append(line)
    found = []
    for number, card in cards.items():
        here = lying.get(number, [])
        told = (
            card.name, card.system, *card.units, card.makers_number, card.cross_reference, card.designation,
            card.material, card.locker, card.note, *(line.locker for line in here),
        )  # fmt: skip
        written = "\n".join(_bare(part) for part in told)
        if wanted and all(word in written for word in wanted):
            found.append(Found(card, tuple(here)))
    return tuple(found)


def _bare(text: str) -> str:
    return "".join(c for c in text.casefold() if c.isalnum())
