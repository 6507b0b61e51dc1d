"""Which part or way of the case a row of a supplier's list is about; never found by likeness."""

from __future__ import annotations

from repairecon.read.names import Names, key
from repairecon.read.problems import Problems, shown
from repairecon.read.quotes_table import QuotesTable
from repairecon.records import Case


class Items:
    """Finds items by name, by what the supplier quoted before, by standard size."""

    def __init__(self, case: Case, table: QuotesTable) -> None:
        self._names = Names([*(p.part for p in case.parts), *(w.way for w in case.ways)])
        self._sizes: dict[str, list[str]] = {}
        for part in case.parts:
            if part.standard_size:
                self._sizes.setdefault(key(part.standard_size), []).append(part.part)
        self._rows: dict[tuple[str, str], list[int]] = {}
        self._called: dict[tuple[str, str], dict[str, None]] = {}
        self._problems = Problems()
        for row in table.rows():
            item, seller = table.get(row, "item"), table.get(row, "supplier")
            self.note(row, item, seller)
            called = table.get(row, "designation")
            if called:
                spelt = self._names.find(item) or item
                self._called.setdefault((key(seller), key(called)), {})[spelt] = None

    def note(self, row: int, item: str, seller: str) -> None:
        """Remember that a row of quotes.csv quotes an item."""
        self._rows.setdefault((key(item), key(seller)), []).append(row)

    def quoted(self, item: str, seller: str) -> list[int]:
        """Rows of quotes.csv in which the supplier quotes the item."""
        return self._rows.get((key(item), key(seller)), [])

    def find(self, name: str, designation: str, seller: str) -> tuple[str, str]:
        """The item, or why there is none."""
        if name and (found := self._names.find(name)):
            return found, ""
        for sort, known in (
            ("quotes of this supplier for", list(self._called.get((key(seller), key(designation)), {}))),
            ("parts of the size", self._sizes.get(key(designation), [])),
        ):
            if designation and len(known) == 1:
                return known[0], ""
            if designation and known:
                some = ", ".join(shown(n) for n in known[:6])
                return "", f"{len(known)} {sort} {shown(designation)}: {some}; name the item"
        word = name or designation
        if not word:
            return "", "no item"
        near = self._problems.advice(word, [*self._names, *self._sizes], "no part, way or standard size of that name")
        return "", f"{shown(word)}: {near}"
