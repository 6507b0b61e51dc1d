"""Is the file sound: by SQLite's own tests and by what must hold in any ledger."""

from __future__ import annotations

from repairecon.book.ledger import Ledger

_RULES = {
    "movements that are not numbered 1, 2, 3 and so on": (
        "SELECT count(*) FROM movements HAVING count(*) <> coalesce(max(movement), 0)"
    ),
    "less than nothing in a locker": "SELECT 1 FROM stock WHERE quantity < 0 LIMIT 1",
    "an item, a locker or a unit without a card": (
        "SELECT 1 FROM items WHERE item NOT IN (SELECT item FROM item_versions) "
        "UNION ALL SELECT 1 FROM lockers WHERE locker NOT IN (SELECT locker FROM locker_versions) "
        "UNION ALL SELECT 1 FROM units WHERE unit NOT IN (SELECT unit FROM unit_versions) LIMIT 1"
    ),
    "a counter-movement that is no mirror": (
        "SELECT 1 FROM movements u JOIN movements m ON m.movement = u.undoes WHERE u.quantity <> m.quantity "
        "OR u.item <> m.item OR u.locker_from IS NOT m.locker_to OR u.locker_to IS NOT m.locker_from LIMIT 1"
    ),
}


def check(ledger: Ledger) -> tuple[str, ...]:
    """What is wrong, in words; nothing if all is well."""
    with ledger.reading():
        found = [str(row[0]) for row in ledger.rows("PRAGMA integrity_check") if row[0] != "ok"]
        found += [f"a line of {row[0]} that belongs to nothing" for row in ledger.rows("PRAGMA foreign_key_check")]
        found += [what for what, sql in _RULES.items() if ledger.rows(sql)]
    return tuple(found)
