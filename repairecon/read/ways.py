"""ways.csv to records, completed with defaults."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from repairecon.read import values
from repairecon.read.defaults import as_text
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading
from repairecon.read.tables import NOTHING, Row
from repairecon.records import ASSUMED, NO_WAY, WAY_KINDS, Range, Source, Way

BOUGHT = ("new", "pattern", "second-hand")
"""Kinds that can be bought while the old unit is kept."""

PRICED = ("send away", "exchange", *BOUGHT)
"""Kinds with a price of their own."""

FOR_A_WHILE = ("carry on", "temporary")
"""Kinds after which the lasting repair is still due."""

MAY_COST = (*FOR_A_WHILE, "without", "own spare")
"""Kinds that may have a price."""

_ONLY_FOR = {
    "until_days": (*FOR_A_WHILE, "without"),
    "until_hours": (*FOR_A_WHILE, "without"),
    "p_fails": FOR_A_WHILE,
    "more_cost": FOR_A_WHILE,
    "works_meanwhile": FOR_A_WHILE,
    "then": FOR_A_WHILE,
    "p_dead": ("own spare",),
    "price_covers": ("send away",),
}
"""Columns that are for some kinds alone."""

IN_BOUGHT = "the way named in 'bought'"

BLANK = Way(
    way="",
    kind="",
    price=None,
    lead_days=None,
    p_never=0.0,
    instead="",
    fitting_hours=NOTHING,
    fitting_by="owner",
    core_surcharge=NOTHING,
    core_carriage=NOTHING,
    p_refund=0.0,
    core_if_stripped=False,
    strip_charge=NOTHING,
    bought="",
    life_years=None,
    warranty_months=None,
    old_unit="kept",
    old_unit_price=NOTHING,
    note="",
    source=Source(ASSUMED),
)
"""A way of which nothing is said."""


@dataclass(frozen=True)
class _Line:
    """A row of ways.csv with its name and kind (empty where wrong) and the kinds of all ways."""

    row: Row
    name: str
    kind: str
    kinds: dict[str, str]

    @property
    def pair(self) -> bool:
        """True for a way that buys one and rebuilds the other."""
        return bool(self.kind) and WAY_KINDS[self.kind].buys and bool(WAY_KINDS[self.kind].rebuilds)

    def blank(self, column: str, found: str, rebuild: str) -> None:
        """Note a figure on a way that takes it from elsewhere."""
        write = f"it is that of {IN_BOUGHT}" if self.pair else rebuild
        self.row.fault(column, found, f"leave it blank: {write}")


def ways(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str]) -> tuple[Way, ...]:
    """Ways as written, and the default ones beneath them."""
    kinds: dict[str, str] = {}
    lines = []
    for row, name in rows:
        row.required_value("kind")
        kind = row.choice("kind")
        if name:
            kinds[name] = kind
        lines.append(_Line(row, name, kind, kinds))
    _list_assumed(reading, [line for line in lines if line.row.assumed])
    made = tuple(_way(reading, line, quotes_lead) for line in lines)
    return tuple(w for w in made if w.kind and w.way)


def _list_assumed(reading: Reading, lines: list[_Line]) -> None:
    """List the default ways, with the prices that nobody has asked yet."""
    bare = [line for line in lines if not line.row.has_range("price")]
    if bare:
        reading.defaults.note("ways", "; ".join(line.name for line in bare), "", bare[0].row.text("source"))
    for line in lines:
        price = line.row.range("price")
        if price is not None:
            words = as_text([price.low, price.likely, price.high])
            reading.defaults.note(f"way: {line.name}", words, reading.money.currency, line.row.text("source"))


def fits(reading: Reading, row: Row, rows: list[Row], kit: bool) -> bool:
    """Whether a default way may stand beside the owner's: under a name of its own, and with a price."""
    kind, name = WAY_KINDS[row.text("kind")], key(row.text("way"))
    if any(key(other.text("way")) == name for other in rows if not other.assumed):
        return False
    priced = reading.three.price_new is not None or name in reading.quoted
    if kind.kind == "new":
        return priced
    bought = key(row.text("bought"))
    there = any(key(other.text("way")) == bought for other in rows)
    return (kit or kind.rebuilds != "here") and (not bought or (there and priced))


def _way(reading: Reading, line: _Line, quotes_lead: set[str]) -> Way:
    row, name, kind, money = line.row, line.name, line.kind, reading.money
    price = _price(reading, line)
    surcharge = money.charge(row, "core_surcharge")
    return replace(
        BLANK,
        way=name,
        kind=kind,
        price=price,
        lead_days=_lead(reading, line, quotes_lead),
        p_never=_p_never(reading, line),
        instead=_instead(reading, line),
        fitting_by=reading.worker(row, "fitting_by"),
        core_surcharge=surcharge,
        core_carriage=money.charge(row, "core_carriage"),
        p_refund=_p_refund(reading, line, surcharge),
        strip_charge=_strip_charge(reading, line, money.charge(row, "strip_charge"), price),
        bought=_bought(reading, line),
        old_unit=row.choice("old_unit") or old_unit(reading, name, kind),
        note=row.note(),
        source=row.source,
        **row.these("fitting_hours", "core_if_stripped", "warranty_months", "old_unit_price"),
        **_for_a_while(reading, line),
    )


def _for_a_while(reading: Reading, line: _Line) -> dict[str, Any]:
    """What only some kinds have: until when, what may happen till then and what follows; a spare that may be dead."""
    row, kind = line.row, line.kind
    for column, kinds in _ONLY_FOR.items():
        if kind and kind not in kinds and (row.has(column) or row.has_range(column)):
            shown_at = f"{column}_likely" if row.has_range(column) else column
            row.fault(shown_at, f"{column} on a way of kind {kind}", f"leave it blank: it is for {' and '.join(kinds)}")
    covers = row.yes_if_written("price_covers")
    if covers is False:
        reading.labour.find("specialist")  # somebody is paid for what the price does not cover
    return {
        "price_covers": covers,
        "until_days": _until(reading, line),
        "then": _then(reading, line),
        **row.these("p_fails", "more_cost", "works_meanwhile", "allowed_until", "not_when", "never", "p_dead"),
    }


def _until(reading: Reading, line: _Line) -> Range | None:
    """Days until the lasting repair, from running hours where those are given."""
    row = line.row
    days, hours = row.range("until_days"), row.range("until_hours")
    if days is not None and hours is not None:
        row.fault("until_hours_likely", "hours beside days", "keep one of the two")
    if hours is not None and days is None:
        if reading.hours_a_year:
            return hours.scaled(values.DAYS_A_YEAR / reading.hours_a_year)
        write = "write hours_a_year under [years] in case.toml, or until_days instead"
        row.fault("until_hours_likely", "running hours, and no hours_a_year", write)
    given = row.has_range("until_days") or row.has_range("until_hours")
    if line.kind in FOR_A_WHILE and not given and not row.yes("never"):
        row.fault("until_days_likely", "nothing", "write the days until the lasting repair is done")
    return days


def _then(reading: Reading, line: _Line) -> str:
    """The way taken afterwards, a lasting one."""
    word, row = line.row.text("then"), line.row
    if not word or key(word) == NO_WAY:
        return key(word)
    found = reading.name_of(row, "then", reading.ways, "")
    if line.kinds.get(found) in MAY_COST[:3]:
        row.fault("then", shown(word), "name a lasting way, or none if nothing more is due")
    return found


def _price(reading: Reading, line: _Line) -> Range | None:
    row, name, kind = line.row, line.name, line.kind
    price = row.range("price")
    if kind in MAY_COST:
        return None if price is None else reading.money.with_vat(price, row.choice("vat"))
    if kind and kind not in PRICED:
        if row.has_range("price"):
            line.blank("price_likely", f"a price on a way of kind {kind}", "parts.csv and tasks.csv make the cost")
        return None
    if price is not None:
        return reading.money.with_vat(price, row.choice("vat"))
    if row.has_range("price") or key(name) in reading.quoted or not kind:
        return None
    three = reading.three
    if kind == "new" and three.price_new is not None:
        return three.price_new
    if row.assumed:
        return _price_missing(reading)
    told = kind == "new" and "price_new" in three.section.bad
    if name and reading.tables["quotes.csv"].whole and not told and not reading.ordering:
        row.fault("price_likely", "nothing", f"write a price, or a row for {shown(name)} in quotes.csv")
    return None


def _price_missing(reading: Reading) -> Range | None:
    """The price of a new unit, one of the three numbers, is not there."""
    section = reading.three.section
    if not reading.ordering and "price_new" not in section.bad and reading.toml_whole:
        section.fault("price_new", "nothing", "write the price of a new unit, or add ways.csv")
    return None if reading.ordering else NOTHING


def _lead(reading: Reading, line: _Line, quotes_lead: set[str]) -> Range | None:
    lead = line.row.range("lead_days")
    if line.row.has_range("lead_days") or line.kind not in PRICED or key(line.name) in quotes_lead:
        return lead
    return reading.defaults.range("away_days", line.name) if line.kind == "send away" else reading.wait()


def _p_never(reading: Reading, line: _Line) -> float:
    row = line.row
    given = row.number("p_never")
    if line.kind not in PRICED:
        if given and line.kind:
            rebuild = "put a 'part no longer available' row in events.csv"
            if line.kind in MAY_COST:
                rebuild = "nothing has to come"
            line.blank("p_never", row.shown("p_never"), rebuild)
        return 0.0
    if row.has("p_never"):
        return given or 0.0
    return never(reading, line.name, line.kind)


def _instead(reading: Reading, line: _Line) -> str:
    word, row = line.row.text("instead"), line.row
    found = reading.ways.find(word) if word else ""
    if word and not found and reading.ways.whole:
        row.fault("instead", shown(word), reading.ways.advice(row.problems, word))
    elif found and found == line.name:
        row.fault("instead", shown(word), "name another way: this is what is done if this one never comes")
    elif found and line.kinds.get(found) and line.kinds[found] not in ("exchange", *BOUGHT):
        row.fault("instead", shown(word), f"name a way of kind {', '.join(('exchange', *BOUGHT))}")
    return found


def _p_refund(reading: Reading, line: _Line, surcharge: Range) -> float:
    given = line.row.number("p_refund")
    if given is not None or line.row.has("p_refund") or surcharge.high == 0:
        return given or 0.0
    return reading.defaults.number("p_refund", line.name)


def _strip_charge(reading: Reading, line: _Line, given: Range, price: Range | None) -> Range:
    of = reading.three.price_new or price
    if line.kind != "send away" or line.row.has_range("strip_charge") or of is None:
        return given
    share = reading.defaults.range("strip_charge_share", line.name)
    low, likely, high = (s * of.likely for s in (share.low, share.likely, share.high))
    return Range(low, likely, high, source=share.source)


def _bought(reading: Reading, line: _Line) -> str:
    """The way of which a pair buys one."""
    word, row = line.row.text("bought"), line.row
    if not line.pair:
        if word and line.kind:
            row.fault("bought", shown(word), "leave it blank: only the pairs name what is bought")
        return BLANK.bought
    may = [n for n, kind in line.kinds.items() if kind in BOUGHT]
    if word:
        found = reading.ways.find(word)
        if line.kinds.get(found) == "exchange":
            row.fault("bought", shown(word), "name a way that leaves you the old unit: an exchange takes it")
        elif found not in may and line.kinds.get(found) != "" and (found or reading.ways.whole):
            row.fault("bought", shown(word), row.problems.advice(word, may, f"name a way of kind {_OR_KINDS}"))
        return found
    new = [n for n in may if line.kinds[n] == "new"]
    if len(new) == 1:
        reading.defaults.note(f"bought ({line.name})", new[0], "way", "assumed: the only way of kind new")
        return new[0]
    if reading.ways.whole and "" not in line.kinds.values() and not row.has("bought"):
        named = ", ".join(shown(n) for n in may[:12])
        row.fault("bought", "nothing", f"write one of: {named}" if may else f"add a way of kind {_OR_KINDS}")
    return ""


_OR_KINDS = f"{', '.join(BOUGHT[:-1])} or {BOUGHT[-1]}"


def never(reading: Reading, name: str, kind: str) -> float:
    """Chance that a way of this kind never comes; 0 where its quotes say."""
    if reading.quoted.get(key(name)):
        return 0.0
    return reading.defaults.number(f"p_never.{kind}", name)


def old_unit(reading: Reading, name: str, kind: str) -> str:
    """What becomes of the old unit where the case does not say."""
    return reading.defaults.text(f"old_unit.{kind}", name) if kind else BLANK.old_unit


def rebuilt_here(row: Row) -> bool:
    """True if a row may be a way that rebuilds the unit at the boat."""
    kind = WAY_KINDS.get(key(row.text("kind")))
    return kind is None or kind.rebuilds == "here"
