"""What the readers of a case share: faults, defaults and which were used, money, who works, the names of things."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cache, cached_property, partial
from typing import TYPE_CHECKING, Any, TypeVar, cast

from repairecon.kinds import facts, kinds
from repairecon.read.columns import CASE
from repairecon.read.files import HERE
from repairecon.read.problems import Names, Problems, clean, closest, key, shown, shown_value
from repairecon.read.tables import Entry, Row, Table
from repairecon.read.toml_file import TomlFile
from repairecon.read.values import plain
from repairecon.records import ASSUMED, WAY_GROUPS, WAY_KINDS, Assumed, FromStock, Labour, OnHand, Part, Range, Source

if TYPE_CHECKING:
    from repairecon.read.boat import BoatPapers

T = TypeVar("T")
CODE = re.compile(r"[A-Za-z]{3}")
_TAXED = ("cost", "outside_cost", "core_surcharge", "core_carriage")
"""Charges that hold the tax or not as ``vat`` of their row says."""
AS_IT_STANDS = "the figure for EUR taken as it stands"  # in money of which no rate is known
DEFINITION = "by the kind of way"  # source of what follows from the kind of way: nothing is assumed there


@cache
def shipped(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text(encoding="utf-8"))


def as_text(value: Any) -> str:
    """A default as the list of assumed figures shows it."""
    if isinstance(value, Range):
        value = [value.low, value.likely, value.high]
    if isinstance(value, list):
        return " / ".join(as_text(v) for v in value)
    return plain(value) if isinstance(value, int | float) else str(value)


class Defaults:
    def __init__(self) -> None:
        self._values = shipped("defaults.toml")
        self._used: dict[tuple[str, str], Assumed] = {}

    @property
    def used(self) -> tuple[Assumed, ...]:
        return tuple(self._used.values())

    def note(self, name: str, value: str, unit: str, source: str, life_of: str = "") -> None:
        """List something assumed, and the way whose life hangs on it."""
        known = self._used.setdefault((name, value), Assumed(name, value, unit, source))
        if life_of and life_of not in known.ways:
            self._used[name, value] = replace(known, ways=(*known.ways, life_of))

    def _take(self, name: str, of: str, unit: str = "", life_of: str = "") -> Any:
        entry = self._values[name]
        title = f"{name.split('.')[0]} ({of})" if of else name
        if entry["source"] == DEFINITION:
            return entry["value"]
        self.note(title, as_text(entry["value"]), unit or entry["unit"], entry["source"], life_of)
        return entry["value"]

    def has(self, name: str) -> bool:
        return name in self._values

    def peek(self, name: str) -> Any:
        return self._values[name]["value"]

    def text(self, name: str, of: str = "") -> str:
        return str(self._take(name, of))

    def number(self, name: str, of: str = "", unit: str = "", life_of: str = "") -> float:
        return float(self._take(name, of, unit, life_of))

    def range(self, name: str, of: str = "", unit: str = "", life_of: str = "") -> Range:
        value = self._take(name, of, unit, life_of)
        low, likely, high = value if isinstance(value, list) else (value, value, value)
        return Range(float(low), float(likely), float(high), source=Source(ASSUMED, None, self._values[name]["source"]))

    def money(self, name: str, unit: str, currency: str, exchange: Mapping[str, float]) -> Range:
        """Default money, which is known in EUR, in home money, listed."""
        known = "EUR" in (currency, *exchange)
        per = f"EUR {unit}" if known else f"{currency} {unit}, {AS_IT_STANDS}"
        return self.range(name, unit=per).scaled(1.0 if currency == "EUR" else exchange.get("EUR", 1.0))

    def record(self, kind: type[T], entry: Entry, /, **given: Any) -> T:
        """A record of what is written, and of the defaults that columns name where nothing is, listed as used."""
        names = {f.name for f in fields(cast(Any, kind))} - given.keys()
        readers: dict[str, Any] = {"range": self.range, "number": self.number, "fraction": self.number}
        for name, column in entry.declared.items():
            if name in names and column.default.startswith("@"):
                given[name], default = entry.read(name), column.default[1:]
                if given[name] in (None, ""):
                    read = readers.get(column.type, self.text)
                    given[name] = int(self.number(default)) if column.type == "whole" else read(default)
        return entry.record(kind, **given)

    def life_years(self, kind: str, life_of: str = "") -> Range:
        """Median life of a new unit of a kind, in years of standing."""
        known = facts(kind).life_years if kind in kinds() else None
        if known is None:
            return self.range("life_years", life_of=life_of)
        words, unit = as_text(known), self._values["life_years"]["unit"]
        self.note(f"life_years ({kind})", words, unit, f"assumed: {known.source.note}", life_of)
        return known


def cautions(classes: tuple[str, ...]) -> tuple[str, ...]:
    """What each class of units whose failure can hurt asks for, cautions for every unit, and who has the last word."""
    said = shipped("cautions.toml")
    return (*(f"{c.capitalize()}: {said['barred']}" for c in classes), *said["general"], said["law"])


class ThreeNumbers:
    """Price of new, price of the kit, days to wait, as far as given; ``section`` says where."""

    def __init__(self, toml: TomlFile, defaults: Defaults) -> None:
        self.section = section = toml.section("three_numbers")
        self.price_new, self.price_kit, wait = (section.range(n) for n in ("price_new", "price_kit", "wait_days"))
        if wait and wait.sure and not isinstance(section.value("wait_days"), list | dict) and wait.likely > 0:
            by = defaults.range("wait_multiples")  # waits run late more than early
            wait = Range(wait.low * by.low, wait.likely * by.likely, wait.high * by.high, wait.shape, wait.source)
        self.wait_days = wait


class Money:
    """Currency, tax and exchange; a default rate is listed once it is needed."""

    def __init__(self, toml: TomlFile, defaults: Defaults) -> None:
        self._defaults = defaults
        section = toml.section("money")
        code = section.text("currency")
        if code and not CODE.fullmatch(code):
            section.fault("currency", shown(code), "write a three-letter code such as EUR")
            code = ""
        self.currency = code.upper() or defaults.text("currency")
        self._vat = section.number("vat_rate")
        self.named = {self.currency}
        self.exchange: dict[str, float] = {}
        rates = toml.section("money.exchange")
        for name in rates.cells:
            if not CODE.fullmatch(name):
                rates.fault(name, f"a currency {shown(name)}", "write a three-letter code such as GBP")
                continue
            self.named.add(name.upper())
            if (rate := rates.number(name)) is not None:
                self.exchange[name.upper()] = rate
        if self.exchange.get(self.currency, 1.0) != 1.0:
            rates.fault(self.currency, plain(self.exchange[self.currency]), "write 1: it is the home currency")
        self.exchange_date = section.date("exchange_date")
        given = section.value("exchange")
        self.whole = toml.whole and "currency" not in section.bad and (given is None or isinstance(given, dict))
        if self.exchange and not self.exchange_date and "exchange_date" not in section.bad:
            defaults.text("exchange_date")

    @property
    def vat_rate(self) -> float:
        """The home rate of value added tax, because something needs it."""
        return self._defaults.number("vat_rate") if self._vat is None else self._vat

    @property
    def vat_rate_unlisted(self) -> float:
        """The home rate, whether or not anything needs it."""
        return float(self._defaults.peek("vat_rate")) if self._vat is None else self._vat

    def with_vat(self, price: Range, vat: str) -> Range:
        return price.scaled(1.0 + self.vat_rate) if vat == "ex" and price.high > 0 else price

    def charge(self, row: Row, name: str) -> Range:
        """A charge with tax, as the row's ``vat`` says; none when blank."""
        return self.with_vat(row.amount(name), row.choice("vat"))

    def assumed(self, name: str, unit: str) -> Range:
        return self._defaults.money(name, unit, self.currency, self.exchange)


class LabourBook:
    """Who works at what rate; a default rate is listed once somebody of that name works."""

    def __init__(self, toml: TomlFile, money: Money, defaults: Defaults) -> None:
        self._money, self._defaults = money, defaults
        self.rates: dict[str, Labour] = {}
        self.names = Names(["owner"], whole=toml.whole)
        labour = toml.section("labour")
        for name, value in labour.cells.items():
            by = " ".join(clean(name).split())
            if key(by) == "owner":
                line, write = toml.lines.get(f"labour.{name}"), "write [owner] cost_own_hour instead"
                toml.problems.add(CASE, line, f"labour.{by}", "a rate for the owner", write)
                continue
            self.names.add(by)
            if not isinstance(value, dict):
                labour.fault(name, shown_value(value), f'write a section headed [labour."{by}"]')
                continue
            section = toml.section(f"labour.{name}", of="labour.*")
            rate, vat = section.range("cost_hour"), section.choice("vat")
            if rate is not None:
                self.rates[by] = Labour(by, money.with_vat(rate, vat))

    def find(self, name: str) -> str:
        default = f"labour.{key(name)}"
        if name not in self.names and self._defaults.has(default):
            rate = self._money.assumed(default, "per hour, tax not included")
            self.names.add(key(name))
            self.rates[key(name)] = Labour(key(name), self._money.with_vat(rate, "ex"))
        return self.names.find(name)


@dataclass(kw_only=True)
class Reading:
    problems: Problems
    defaults: Defaults
    three: ThreeNumbers
    money: Money
    labour: LabourBook
    tables: dict[str, Table]
    toml_whole: bool = True
    ordering: bool = False  # quotes alone are compared: what nobody quotes for needs no price of its own
    as_decided: bool = False  # read by the rules of the day on which the case was decided
    parts: Names = field(default_factory=Names)
    ways: Names = field(default_factory=Names)
    suppliers: Names = field(default_factory=Names)
    quoted: dict[str, bool] = field(default_factory=dict)  # key of each item quoted; True if all quotes give p_never
    notes: dict[str, str] = field(default_factory=dict)
    hours_a_year: float | None = None  # running hours of the unit, where the case gives them
    boat: BoatPapers | None = None
    stock: tuple[OnHand, ...] = ()
    from_stock: tuple[FromStock, ...] = ()
    merged: dict[str, list[Row]] = field(default_factory=dict)  # rows by file, the owner's laid over the default ones

    @cached_property
    def _items(self) -> Names:
        return Names([*self.parts, *self.ways])

    @cached_property
    def _ways_words(self) -> Names:
        return Names([*self.ways, *WAY_KINDS, *WAY_GROUPS])

    @cached_property
    def _part_rows(self) -> dict[int, Row]:
        return {row.row: row for row in self.tables["parts.csv"].rows}

    @property
    def sellers_known(self) -> bool:
        """True if an unknown supplier is a fault of its own: where quotes.csv lacks them all, that is one fault."""
        none = not self.tables["suppliers.csv"].given and self.tables["quotes.csv"].given
        return self.suppliers.whole and not none

    def rows(self, file: str) -> list[Row]:
        """The rows of a file, the owner's laid over the default ones."""
        return self.merged.get(file, self.tables[file].rows)

    def number(self, row: Row, column: str, of: str = "", default: str = "") -> float:
        """A number as written, 0 where it is wrong; its default, listed, where nothing is."""
        given = row.number(column)
        return given or 0.0 if row.has(column) else self.defaults.number(default or column, of)

    def wait(self) -> Range:
        return self.three.wait_days or self.defaults.range("lead_days")

    def record(self, kind: type[T], row: Row, /, **given: Any) -> T:
        """A record of a row: its fields as the columns of that name are declared, but for those that are given."""
        if not {f.name for f in fields(cast(Any, kind))} & {"note", "description"}:
            self.keep_note(row)
        return row.record(kind, partial(self._value, row), **{"source": row.source, **given})

    def keep_note(self, row: Row) -> None:
        if note := row.note():
            self.notes[str(row.source)] = note

    def assume(self, name: str, row: Row, column: str, unit: str = "") -> None:
        """List a figure of a default row, in home money if it has no other unit."""
        self.defaults.note(name, as_text(row.amount(column)), unit or self.money.currency, row.text("source"))

    def _value(self, row: Row, name: str) -> Any:
        column = row.declared[name]
        if column.type == "worker":
            worker = row.text(name) or "owner"
            found = self.labour.find(worker)
            if not found and self.labour.names.whole:
                near = closest(worker, [*self.labour.names, "yard", "machine shop"])
                add = f'write owner, or add [labour."{shown(worker)[1:-1]}"]'
                row.fault(name, shown(worker), f"did you mean {shown(near)}?" if near else add)
            return found or worker
        if column.type == "ways":
            whole, known = self.ways.whole, self._ways_words
            words = [row.named("ways", known, whole=whole, word=word) for word in row.listed("ways")]
            return tuple(dict.fromkeys(word for word in words if word in known))
        taxed = name in _TAXED and "vat" in row.declared
        return self.money.charge(row, name) if taxed else row.read(name)

    def part_or_way(self, row: Row, column: str) -> tuple[str, str]:
        """The part and the way that a cell names; that it is both or neither is a fault."""
        word = row.text(column)
        part, way = self.parts.find(word), self.ways.find(word)
        if part and way:
            row.fault(column, f"{shown(word)}, a part and a way", "give one of the two another name")
        elif word and not part and not way and self.parts.whole and self.ways.whole:
            row.fault(column, f"an unknown part or way {shown(word)}", self._items.advice(row.problems, word))
        return part, way

    def check_priced(self, row: Row, name: str, why: str) -> None:
        """A part that is wanted needs a price, its own or quoted."""
        if key(name) not in self.quoted and not self.ordering and self.tables["quotes.csv"].whole:
            row.fault("price_likely", "nothing", f"write a price, or a row for {shown(name)} in quotes.csv ({why})")

    def check_wanted(self, part: Part, why: str) -> None:
        """The same for a part that is needed by damage only, once something wants it."""
        row = self._part_rows.get(part.source.row or 0)
        if row and part.needed == "damage" and not row.has_range("price") and "price_likely" not in row.bad:
            self.check_priced(row, part.part, why)

    def check_named(self, part: Part) -> None:
        """A part that is needed by damage only does nothing if no damage takes it."""
        row = self._part_rows.get(part.source.row or 0)
        if row and part.part and not self.ordering and self.tables["events.csv"].whole:
            write = "name it under parts in events.csv or remedies.csv, or write always"
            row.fault("needed", f"{shown(part.part)}, which no outcome takes", write)


def named_rows(read: Sequence[Row], column: str, whole: bool = True) -> tuple[list[tuple[Row, str]], Names]:
    """Rows with their names; blank and repeated names are faults."""
    names, rows, first = Names(whole=whole), [], dict[str, int]()
    for row in read:
        name = row.text(column)
        if not name:
            names.whole = names.whole and not row.has(column)
        elif not names.add(name):
            row.fault(column, f"{shown(name)} again", f"use another name: row {first[key(name)]} has this one")
            name = ""
        first.setdefault(key(name), row.row)
        rows.append((row, name))
    return rows, names
