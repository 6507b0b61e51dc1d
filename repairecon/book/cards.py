"""The cards of items, lockers and units: every change is a further version, so the past stays readable."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

from repairecon.book import schema
from repairecon.book.ledger import Ledger
from repairecon.book.schema import Amount, Scale, Sort, as_said, choice, kept, month_or_day, pieces, words
from repairecon.read import values
from repairecon.read.problems import Problems, key, shown
from repairecon.records import LOCKER_KINDS, MEASURES, SHELF_GROUPS, BookError, Item, Locker
from repairecon.standards.equivalents import equivalent, identify

TEXTS = ("system", "makers_number", "cross_reference", "designation", "material", "needs", "note")
SHARES = ("weight_kg", "volume_litres", "resale_rate")
MOST_ALIKE = 8  # names offered in place of one that is not known


class Cards:
    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger

    def item(self, name: str) -> Item:
        """An item by name, an earlier name, maker's number, cross-reference or standard size."""
        return self.item_by_number(self.find("item", name))

    def items(self) -> tuple[Item, ...]:
        return tuple(self.items_by_number().values())

    def lockers(self) -> tuple[Locker, ...]:
        """All lockers, with the one that stands for what is lent out."""
        return tuple(self.lockers_by_number().values())

    def add_item(self, name: str, **fields: Any) -> Item:
        """A new item; ``fields`` are those of the record Item."""
        return self.item_by_number(self._write("item", {"name": name, **fields}))

    def add_locker(self, name: str, place: str = "", **fields: str) -> None:
        self._write("locker", {"name": name, "place": place, **fields})

    def add_unit(self, name: str, kind: str = "", hours: Amount | None = None, **fields: Any) -> None:
        self._write("unit", {"name": name, "kind": kind, "hours": hours, **fields})

    def write_card(self, sort: Sort, called: str, /, **fields: Any) -> bool:
        """Add an item, a locker or a unit, or change the one of just this name; True if it is new."""
        known = key(called) in map(key, self.names(sort).values())  # a number or a size might be another part's
        if not known and "name" in fields:  # what is to be renamed must be there
            raise BookError(f"the book has no {sort} {shown(called)} to be called otherwise")
        self._write(sort, fields if known else {"name": called, **fields}, called if known else None)
        return not known

    def lockers_by_number(self) -> dict[int, Locker]:
        rows = self.ledger.rows("SELECT locker, name, place, kind, note FROM current_lockers ORDER BY locker")
        return {r[0]: Locker(number=r[0], name=r[1], place=r[2], kind=r[3], note=r[4]) for r in rows}

    def items_by_number(self, only: int | None = None) -> dict[int, Item]:
        """All items, or one, as their cards read now."""
        which = "" if only is None else f"WHERE item = {int(only)} "
        with self.ledger.reading():
            lockers, units = self.names("locker"), self.names("unit")
            columns = ", ".join(schema.CARDS["item"])
            rows = self.ledger.rows(f"SELECT item, {columns} FROM current_items {which}ORDER BY item")
        made = {}
        for number, *cells in rows:
            said = as_said(schema.CARDS["item"], cells)
            said |= {"units": tuple(units[int(u)] for u in said["units"].split(";") if u)}
            said |= {"locker": lockers[said["locker"]] if said["locker"] else ""}
            said |= {name: bool(said[name]) for name in ("critical", "carried")}
            made[number] = Item(number=number, **said)
        return made

    def item_by_number(self, number: int) -> Item:
        return self.items_by_number(number)[number]

    def names(self, sort: Sort, only: Iterable[int] | None = None) -> dict[int, str]:
        """The names of all things of a sort, or of some, as they read now."""
        some = "" if only is None else f"WHERE {sort} IN ({listed(set(only))}) "
        return dict(self.ledger.rows(f"SELECT {sort}, name FROM current_{sort}s {some}ORDER BY {sort}"))

    def find(self, sort: Sort, name: str) -> int:
        """The number of a thing by its name whatever its case; else a sentence with the nearest name."""
        spelt = self.ledger.rows(f"SELECT DISTINCT {sort} FROM {sort}_versions WHERE name = ?", (str(name),))
        now_called = self.names(sort, (r[0] for r in spelt))
        if name not in now_called.values():  # as it is spelt it is found without a look at all others
            now_called = self.names(sort)
        wanted = key(str(name))
        for number, known in now_called.items():
            if key(known) == wanted:
                return int(number)
        marks = ("makers_number, cross_reference, designation FROM current_items", "name FROM item_versions")
        for other in marks if sort == "item" and wanted else ():  # by a number or size, else by an earlier name
            rows = self.ledger.rows(f"SELECT item, {other}")
            more = list(dict.fromkeys(r[0] for r in rows if wanted in map(key, r[1:])))
            if len(more) == 1:
                return int(more[0])
            if more:
                several = f"several items ({', '.join(shown(now_called[k]) for k in more)})"
                raise BookError(f"{shown(name)} is the number or size of {several}: name the one you mean")
        words = wanted.split()
        alike = [n for n in now_called.values() if words and all(word in key(n) for word in words)]
        advice = Problems().advice(str(name), tuple(now_called.values()))
        if alike:  # as many as a search for these words would show
            advice = f"write one of: {', '.join(map(shown, alike[:MOST_ALIKE]))}"
        raise BookError(f"the book has no {sort} {shown(str(name))}: {advice}")

    def _write(self, sort: Sort, fields: Mapping[str, Any], called: str | None = None) -> int:
        with self.ledger.writing():
            number = None if called is None else self.find(sort, called)
            columns = self._columns(sort, number, fields if number else {"name": "", **fields})
            if number is None:
                number = int(self.ledger.rows(f"SELECT coalesce(max({sort}), 0) + 1 FROM {sort}s")[0][0])
                self.ledger.insert(f"{sort}s", {sort: number})
            else:
                known = schema.CARDS[sort]
                before = self.ledger.rows(f"SELECT {', '.join(known)} FROM current_{sort}s WHERE {sort} = ?", (number,))
                columns = dict(zip(known, before[0], strict=True)) | columns
            self.ledger.insert(f"{sort}_versions", {sort: number, **columns})
        return number

    def _columns(self, sort: Sort, number: int | None, fields: Mapping[str, Any]) -> dict[str, Any]:
        for name in fields:
            if name not in schema.CARDS[sort]:
                raise BookError(f"{sort}: no such field {shown(name)}; {Problems().advice(name, schema.CARDS[sort])}")
        if sort == "locker" and number == schema.LENT_NUMBER:
            raise BookError(f"{shown(schema.LENT)} is where the book keeps what is lent: it stays as it is")
        card = self.item_by_number(number) if sort == "item" and number else None
        said = {name: value for name, value in fields.items() if name not in ("hours", "hours_on")}
        if fields.get("hours") is not None:
            said |= {"hours": fields["hours"], "hours_on": fields.get("hours_on") or self.ledger.today()}
        said.setdefault("measure", card.measure if card else "piece")
        made = {name: self._column(sort, name, said, number) for name in said if name in schema.CARDS[sort]}
        if card and self.ledger.rows("SELECT 1 FROM movements WHERE item = ? LIMIT 1", (number,)):
            if identify(card.designation) and identify(made.get("designation", "")):
                self.refuse_other_part(card, made["designation"], made.get("material", card.material))
            if made["measure"] != card.measure:
                raise BookError("measure: the item has movements already; add a new item with that measure instead")
        return made

    def _column(self, sort: Sort, name: str, said: Mapping[str, Any], number: int | None) -> Any:
        value = said[name]
        if (sort, name) in READERS:
            return READERS[sort, name](value)
        if name == "name":
            return self._free_name(sort, value, number)
        if name == "minimum":
            return pieces(value, str(said["measure"]).strip().casefold(), "minimum", above=False)
        if name == "locker":
            return self.find("locker", value) if value else None
        if name == "units":
            named = value.split(";") if isinstance(value, str) else value
            return ";".join(str(self.find("unit", n)) for n in dict.fromkeys(named) if n.strip())
        return words(value, name)

    def _free_name(self, sort: Sort, name: str, number: int | None) -> str:
        line = words(name, f"{sort} name", required=True)
        others = (known for other, known in self.names(sort).items() if other != number and key(known) == key(line))
        if taken := next(others, ""):
            raise BookError(f"there is a {sort} {shown(taken)} already: use another name, or change that one")
        return line

    def refuse_other_part(self, card: Item, designation: str, material: str = "") -> None:
        """BookError for a standard size that is not that of the card: no card is two parts."""
        said = words(designation, "designation")
        ours, theirs = letters(card.designation), letters(said)
        if not ours or not theirs or ours == theirs:
            return
        found = equivalent(card.designation, said, material_wanted=card.material, material_offered=material)
        shorter = found.verdict == "unknown" and (ours.startswith(theirs) or theirs.startswith(ours))
        if found.verdict != "same" and not shorter:
            why = f" ({found.reasons[0]})" if found.reasons and found.verdict != "unknown" else ""
            other = f"{shown(said)} is not the {shown(card.designation)} of {shown(card.name)}{why}"
            raise BookError(f"{other}: give it a card of its own")


def _flag(value: Any, name: str) -> int:
    read = values.yes_no(value) if isinstance(value, str) else bool(value)
    if isinstance(read, values.Misread):
        raise schema.wrong(name, value, read.write)
    return int(read)


def _share(value: Any, name: str, most: int = 1_000_000) -> float | None:
    found = kept(None if value is None else str(value), Scale(6, most, rounds=True), name)
    return None if found is None else found / 1_000_000


READERS: Mapping[tuple[Sort, str], Callable[[Any], Any]] = {
    ("locker", "kind"): partial(choice, options=LOCKER_KINDS[:2], what="kind of locker"),
    ("item", "measure"): partial(choice, options=MEASURES, what="measure"),
    ("item", "shelf_group"): partial(choice, options=SHELF_GROUPS, what="shelf group"),
    ("item", "critical"): partial(_flag, name="critical"), ("item", "carried"): partial(_flag, name="carried"),
    ("item", "weight_kg"): partial(_share, name="weight_kg"),
    ("item", "volume_litres"): partial(_share, name="volume_litres"),
    ("item", "resale_rate"): partial(_share, name="resale_rate", most=1),
    ("unit", "hours"): partial(kept, scale=schema.HOURS, what="hours on the clock"),
    ("unit", "hours_on"): partial(month_or_day, what="date of the hours"),
}  # fmt: skip
"""How fields of a card are read, but for free words and those that hang on other cards."""


def listed(numbers: Iterable[int]) -> str:
    return ", ".join(map(str, numbers))


def letters(text: str) -> str:
    """Words whatever their dashes and spaces, as numbers and sizes are typed in many ways."""
    return "".join(c for c in text.casefold() if c.isalnum())
