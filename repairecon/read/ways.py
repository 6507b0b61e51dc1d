"""ways.csv to records, completed with defaults; the lives of the units that the ways put in service; lives.csv."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from repairecon.read.columns import CASE
from repairecon.read.defaults import Defaults
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading
from repairecon.read.tables import NOTHING, Row
from repairecon.records import ASSUMED, WAY_KINDS, OwnLife, Range, Source, Unit, Way

BOUGHT = ("new", "pattern", "second-hand")
"""Kinds that can be bought while the old unit is kept."""

PRICED = ("send away", "exchange", *BOUGHT)
"""Kinds with a price of their own."""

IN_BOUGHT = "the way named in 'bought'"

KINDS = ("rebuild", "new", "buy and rebuild", "rebuild and spare")
"""Kinds of way of a case folder that names none, as ``name.*`` in the defaults names them."""

_LIFE = ("life_years", "life_hours", "life_shape", "wear_kept", "p_early")

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
        return bool(self.kind) and WAY_KINDS[self.kind].buys and self.kind not in PRICED

    def blank(self, column: str, found: str, rebuild: str) -> None:
        """Note a figure on a way that takes it from elsewhere."""
        write = f"it is that of {IN_BOUGHT}" if self.pair else rebuild
        self.row.fault(column, found, f"leave it blank: {write}")


def ways(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str]) -> tuple[Way, ...]:
    """Ways as written, completed with defaults; the default ones if none are given."""
    if not reading.tables["ways.csv"].given:
        return default_ways(reading, quotes_lead)
    kinds: dict[str, str] = {}
    lines = []
    for row, name in rows:
        row.required_value("kind")
        kind = row.choice("kind")
        if name:
            kinds[name] = kind
        lines.append(_Line(row, name, kind, kinds))
    made = tuple(_way(reading, line, quotes_lead) for line in lines)
    return tuple(w for w in made if w.kind and w.way)


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
    )


def _price(reading: Reading, line: _Line) -> Range | None:
    row, name, kind = line.row, line.name, line.kind
    price = row.range("price")
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
    told = kind == "new" and "price_new" in three.section.bad
    if name and reading.tables["quotes.csv"].whole and not told and not reading.ordering:
        row.fault("price_likely", "nothing", f"write a price, or a row for {shown(name)} in quotes.csv")
    return None


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


def default_names(defaults: Defaults) -> list[str]:
    """Names of the default ways."""
    return [str(defaults.peek(f"name.{kind}")) for kind in KINDS]


def default_ways(reading: Reading, quotes_lead: set[str]) -> tuple[Way, ...]:
    """The ways of a case that knows only the price of new and of the kit."""
    names = dict(zip(KINDS, default_names(reading.defaults), strict=True))
    reading.defaults.note("ways", "; ".join(names.values()), "", "assumed, no source: no ways.csv")
    made = []
    for kind, name in names.items():
        way = replace(BLANK, way=name, kind=kind, old_unit=old_unit(reading, name, kind))
        if kind == "new":
            price = _price_of_new(reading, name)
            lead = None if key(name) in quotes_lead else reading.wait()
            source = price.source if price else Source(CASE)
            way = replace(way, price=price, lead_days=lead, p_never=never(reading, name, kind), source=source)
        elif WAY_KINDS[kind].buys:
            way = replace(way, bought=names["new"])
        made.append(way)
    return tuple(made)


def _price_of_new(reading: Reading, name: str) -> Range | None:
    price, section = reading.three.price_new, reading.three.section
    if price is None and key(name) in reading.quoted:
        return None
    if price is None and not reading.ordering and "price_new" not in section.bad and reading.toml_whole:
        section.fault("price_new", "nothing", "write the price of a new unit, or add ways.csv")
    return price if price is not None or reading.ordering else NOTHING


def never(reading: Reading, name: str, kind: str) -> float:
    """Chance that a way of this kind never comes; 0 where its quotes say."""
    if reading.quoted.get(key(name)):
        return 0.0
    return reading.defaults.number(f"p_never.{kind}", name)


def old_unit(reading: Reading, name: str, kind: str) -> str:
    """What becomes of the old unit where the case does not say."""
    return reading.defaults.text(f"old_unit.{kind}", name) if kind else BLANK.old_unit


def lives_wanted(rows: list[tuple[Row, str]]) -> bool:
    """True if a row says something of a life, right or wrong."""
    return any(row.has(name) or row.has_range(name) for row, _ in rows for name in _LIFE)


def with_lives(rows: list[tuple[Row, str]], made: tuple[Way, ...], unit: Unit, defaults: Defaults) -> tuple[Way, ...]:
    """The ways with their lives; a pair of which nothing is said has that of the way it puts in service."""
    written = {name: row.these(*_LIFE) for row, name in rows}
    silent = dict.fromkeys(_LIFE)
    singles = [w for w in made if _base_kind(w) == w.kind]
    lived = {w.way: _completed(w, written.get(w.way, silent), unit, defaults) for w in singles}
    here = next((lived[w.way] for w in singles if w.kind == "rebuild"), None)
    for way in made:
        if way.way not in lived:
            base = lived.get(way.bought) if way.traits.in_service == "bought" else here
            lived[way.way] = _completed(way, _inherited(written.get(way.way, silent), base), unit, defaults)
    return tuple(lived[w.way] for w in made)


def _base_kind(way: Way) -> str:
    """The kind whose defaults hold for the unit in service: a pair has those of what it puts there."""
    pair = way.traits.buys and way.traits.rebuilds
    if not pair:
        return way.kind
    return "new" if way.traits.in_service == "bought" else "rebuild"


def _inherited(given: dict[str, Any], base: Way | None) -> dict[str, Any]:
    """The life of a pair, completed from the way that it puts in service."""
    if base is None:
        return given
    silent = given["life_years"] is None and given["life_hours"] is None
    whose = {name: silent if name in ("life_years", "life_hours") else given[name] is None for name in _LIFE}
    return {name: getattr(base, name) if whose[name] else given[name] for name in _LIFE}


def _completed(way: Way, given: dict[str, Any], unit: Unit, defaults: Defaults) -> Way:
    """A life in hours alone stays one: no life in years is assumed beside it."""
    kind, name = _base_kind(way), way.way
    life = dict(given)
    if life["life_years"] is None and life["life_hours"] is None:
        share = defaults.number(f"life_share.{kind}", name, life_of=name)
        life["life_years"] = _usual(unit, defaults, name).scaled(share)
    if life["life_shape"] is None:
        life["life_shape"] = defaults.number("life_shape", life_of=name)
    if life["wear_kept"] is None:
        life["wear_kept"] = defaults.number(f"wear_kept.{kind}", name, life_of=name)
    if life["p_early"] is None:
        life["p_early"] = defaults.number("p_early", life_of=name)
    return replace(way, **life)


def _usual(unit: Unit, defaults: Defaults, life_of: str) -> Range:
    """Median life of a new unit of this kind: about what the owner expects, else by kind."""
    expected = unit.expected_life_years
    if not expected:
        return defaults.life_years(unit.kind, life_of)
    by = defaults.range("life_multiples", life_of=life_of)
    return Range(by.low * expected, by.likely * expected, by.high * expected, by.shape, by.source)


def own_lives(reading: Reading, made: tuple[Way, ...]) -> tuple[OwnLife, ...]:
    """Lives as written; none without the file."""
    by_key = {key(w.way): w for w in made}
    return tuple(_own_life(reading, row, by_key) for row in reading.tables["lives.csv"].rows)


def _own_life(reading: Reading, row: Row, made: dict[str, Way]) -> OwnLife:
    reading.keep_note(row)
    row.required_value("way", "failed")
    word = row.text("way")
    name = reading.name_of(row, "way", reading.ways, "an unknown way ")
    way = made.get(key(word))
    if way and way.traits.buys and way.traits.rebuilds:
        row.fault("way", f"{shown(word)}, which has two units", "name the way whose unit it is")
    if not row.has("years") and not row.has("hours"):
        row.fault("years", "neither years nor hours", "write the years that it stood, the hours that it ran, or both")
    failed = row.yes_if_written("failed") or False
    return OwnLife(way=name, failed=failed, source=row.source, **row.these("years", "hours"))
