"""ways.csv and lives.csv to records, completed with defaults: what each way costs, and how long its unit lasts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from repairecon.read.problems import Names, key, shown
from repairecon.read.reading import Defaults, Reading
from repairecon.read.tables import NOTHING, Row
from repairecon.records import DAYS_A_YEAR, NO_WAY, WAY_KINDS, OwnLife, Range, Unit, Way

BOUGHT = ("new", "pattern", "second-hand")  # kinds that can be bought while the old unit is kept
PRICED = ("send away", "exchange", *BOUGHT)  # kinds with a price of their own
FOR_A_WHILE = ("carry on", "temporary")  # kinds after which the lasting repair is still due
MAY_COST = (*FOR_A_WHILE, "without", "own spare")  # kinds that may have a price
SERVED = "write the years that it served, the hours that it ran, or both"
LIFE = ("life_years", "life_hours", "life_shape", "wear_kept", "p_early")
PAIRS = tuple(k.kind for k in WAY_KINDS.values() if k.buys and k.rebuilds)
"""Kinds that buy one unit and rebuild the other."""
_OR_KINDS = f"{', '.join(BOUGHT[:-1])} or {BOUGHT[-1]}"


def ways(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str]) -> tuple[Way, ...]:
    """Ways as written, and the default ones beneath them; their lives as written, None where nothing is said."""
    kinds = {name: row.choice("kind") for row, name in rows if name}
    bare = [(row, name) for row, name in rows if row.assumed and not row.has_range("price")]
    if bare:  # prices that nobody has asked yet
        reading.defaults.note("ways", "; ".join(name for _, name in bare), "", bare[0][0].text("source"))
    for row, name in rows:
        if row.assumed and row.has_range("price"):
            reading.assume(f"way: {name}", row, "price")
    made = [_way(reading, row, name, kinds, quotes_lead) for row, name in rows]
    return tuple(w for w in made if w.kind and w.way)


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


def _way(reading: Reading, row: Row, name: str, kinds: Mapping[str, str], quotes_lead: set[str]) -> Way:
    kind, defaults = row.choice("kind"), reading.defaults
    price, surcharge = _price(reading, row, name, kind), reading.money.charge(row, "core_surcharge")
    lead, strip_charge = row.range("lead_days"), reading.money.charge(row, "strip_charge")
    if kind in PRICED and not row.has_range("lead_days") and key(name) not in quotes_lead:
        lead = defaults.range("away_days", name) if kind == "send away" else reading.wait()
    p_never, of = _p_never(reading, row, name, kind), reading.three.price_new or price
    p_refund = reading.number(row, "p_refund", name) if surcharge.high > 0 else row.number("p_refund") or 0.0
    if kind == "send away" and not row.has_range("strip_charge") and of is not None:
        strip_charge = defaults.range("strip_charge_share", name).scaled(of.likely)
    _check_blank(row, kind)
    then = key(row.text("then"))
    if then not in ("", NO_WAY):
        then = row.named("then", reading.ways)
        passing = kinds.get(then) in MAY_COST[:3]
        row.check((passing, "then", row.shown("then"), "name a lasting way, or none if nothing more is due"))
    way = reading.record(
        Way, row, way=name, kind=kind, price=price, price_covers=row.yes_if_written("price_covers"),
        lead_days=lead, p_never=p_never, instead=_instead(reading, row, name, kinds), core_surcharge=surcharge,
        p_refund=p_refund, strip_charge=strip_charge, bought=_bought(reading, row, name, kinds),
        old_unit=row.choice("old_unit") or (defaults.text(f"old_unit.{kind}", name) if kind else "kept"),
        until_days=_until(reading, row, kind), then=then, note=row.note(),
    )  # fmt: skip
    if way.price_covers is False:
        reading.labour.find("specialist")  # somebody is paid for what the price does not cover
    return way


def _check_blank(row: Row, kind: str) -> None:
    """Note figures that a way of its kind takes from elsewhere, a pair from the way that it buys."""
    if not kind:
        return
    for column in row.misplaced(kind):
        shown_at = f"{column.name}_likely" if row.has_range(column.name) else column.name
        write = f"leave it blank: it is for {' and '.join(column.only)}"
        row.fault(shown_at, f"{column.name} on a way of kind {kind}", write)
    price = "parts.csv and tasks.csv make the cost"
    gone = "nothing has to come" if kind in MAY_COST else "put a 'part no longer available' row in events.csv"
    if kind in PAIRS:
        price = gone = "it is that of the way named in 'bought'"
    costs_elsewhere = kind not in (*PRICED, *MAY_COST)
    row.check(
        (costs_elsewhere and row.has_range("price"), "price_likely", f"a price on a way of kind {kind}",
         f"leave it blank: {price}"),
        (kind not in PRICED and row.number("p_never"), "p_never", row.shown("p_never"),
         f"leave it blank: {gone}"),
    )  # fmt: skip


def _until(reading: Reading, row: Row, kind: str) -> Range | None:
    """Days until the lasting repair, from running hours where those are given."""
    days, hours = row.range("until_days"), row.range("until_hours")
    given = row.has_range("until_days") or row.has_range("until_hours") or row.yes("never")
    row.check(
        (days and hours, "until_hours_likely", "hours beside days", "keep one of the two"),
        (hours and not reading.hours_a_year, "until_hours_likely", "running hours, and no hours_a_year",
         "write hours_a_year under [years] in case.toml, or until_days instead"),
        (kind in FOR_A_WHILE and not given, "until_days_likely", "nothing",
         "write the days until the lasting repair is done"),
    )  # fmt: skip
    return hours.scaled(DAYS_A_YEAR / reading.hours_a_year) if hours and not days and reading.hours_a_year else days


def _price(reading: Reading, row: Row, name: str, kind: str) -> Range | None:
    three = reading.three
    if kind in MAY_COST or (kind in PRICED and row.has_range("price")):
        price = row.range("price")
        return price and reading.money.with_vat(price, row.choice("vat"))
    if kind not in PRICED or key(name) in reading.quoted:
        return None
    if kind == "new" and three.price_new is not None:
        return three.price_new
    if reading.ordering:
        return None
    if row.assumed:  # the price of a new unit, one of the three numbers, is not there
        write = "write the price of a new unit, or add ways.csv"
        three.section.check((reading.toml_whole, "price_new", "nothing", write))
        return NOTHING
    lacks = name and reading.tables["quotes.csv"].whole and not (kind == "new" and "price_new" in three.section.bad)
    row.check((lacks, "price_likely", "nothing", f"write a price, or a row for {shown(name)} in quotes.csv"))
    return None


def _p_never(reading: Reading, row: Row, name: str, kind: str) -> float:
    """Chance that it never comes; 0 where its quotes say."""
    if kind not in PRICED:
        return 0.0
    if row.has("p_never") or reading.quoted.get(key(name)):
        return row.number("p_never") or 0.0
    return reading.defaults.number(f"p_never.{kind}", name)


def _instead(reading: Reading, row: Row, name: str, kinds: Mapping[str, str]) -> str:
    may = ("exchange", *BOUGHT)
    found = reading.ways.find(row.named("instead", reading.ways))
    written = row.shown("instead")
    row.check(
        (found and found == name, "instead", written, "name another way: this is what is done if this one never comes"),
        (kinds.get(found, "") not in ("", *may), "instead", written, f"name a way of kind {', '.join(may)}"),
    )
    return found


def _bought(reading: Reading, row: Row, name: str, kinds: Mapping[str, str]) -> str:
    word, kind, whole = row.text("bought"), row.choice("kind"), reading.ways.whole
    if kind not in PAIRS:
        row.check((word and kind, "bought", shown(word), "leave it blank: only the pairs name what is bought"))
        return ""
    may, found = [n for n, of in kinds.items() if of in BOUGHT], reading.ways.find(word)
    new = [n for n in may if kinds[n] == "new"]
    if not word and len(new) == 1:
        reading.defaults.note(f"bought ({name})", new[0], "way", "assumed: the only way of kind new")
        return new[0]
    of_kind, named = f"way of kind {_OR_KINDS}", ", ".join(shown(n) for n in may[:12])
    not_bought = word and found not in may and kinds.get(found) != "" and (found or whole)
    row.check(
        (kinds.get(found) == "exchange", "bought", shown(word),
         "name a way that leaves you the old unit: an exchange takes it"),
        (not_bought, "bought", shown(word), row.problems.advice(word, may, f"name a {of_kind}")),
        (not row.has("bought") and whole and "" not in kinds.values(), "bought", "nothing",
         f"write one of: {named}" if may else f"add a {of_kind}"),
    )  # fmt: skip
    return found


# ---- how long the unit lasts -------------------------------------------------------------------------
def speak_of_lives(rows: list[tuple[Row, str]]) -> bool:
    return any(row.has(name) or row.has_range(name) for row, _ in rows for name in LIFE)


def with_lives(made: tuple[Way, ...], unit: Unit, defaults: Defaults) -> tuple[Way, ...]:
    """The ways with their lives; a pair of which nothing is said has that of the way it puts in service."""
    lived = {w.way: _completed(w, unit, defaults) for w in made if w.kind not in PAIRS}
    here = next((lived[w.way] for w in made if w.kind == "rebuild"), None)
    for pair in (w for w in made if w.kind in PAIRS):
        base = (lived.get(pair.bought) if pair.traits.in_service == "bought" else here) or pair
        said = LIFE[:2] if pair.life_years or pair.life_hours else ()  # one of the two is enough
        wants = {x: getattr(base, x) for x in LIFE if x not in said and getattr(pair, x) is None}
        lived[pair.way] = _completed(replace(pair, **wants), unit, defaults)
    return tuple(lived[w.way] for w in made)


def _completed(way: Way, unit: Unit, defaults: Defaults) -> Way:
    """A life in hours alone stays one: no life in years is assumed beside it. A unit left as it is has none."""
    if way.traits.in_service not in ("rebuilt", "bought"):
        return replace(way, life_shape=Way.life_shape, wear_kept=Way.wear_kept, p_early=Way.p_early)
    # a pair has the defaults of what it puts in service
    kind = {"bought": "new", "rebuilt": "rebuild"}[way.traits.in_service] if way.kind in PAIRS else way.kind
    more: dict[str, Any] = {}
    if way.life_years is None and way.life_hours is None:
        share, expected = defaults.number(f"life_share.{kind}", way.way, life_of=way.way), unit.expected_life_years
        # the median of a new one of this kind: about what the owner expects, else by kind
        usual = (defaults.range("life_multiples", life_of=way.way).scaled(expected) if expected
                 else defaults.life_years(unit.kind, way.way))  # fmt: skip
        more["life_years"] = usual.scaled(share)
    for figure, default, of in (("life_shape", "life_shape", ""), ("wear_kept", f"wear_kept.{kind}", way.way),
                                ("p_early", "p_early", "")):  # fmt: skip
        if getattr(way, figure) is None:
            more[figure] = defaults.number(default, of, life_of=way.way)
    return replace(way, **more)


def own_lives(reading: Reading, made: tuple[Way, ...]) -> tuple[OwnLife, ...]:
    pairs = Names(w.way for w in made if w.kind in PAIRS)
    lives = []
    for row in reading.tables["lives.csv"].rows:
        name = row.named("way", reading.ways, "an unknown way ")
        if name in pairs:
            row.fault("way", f"{shown(row.text('way'))}, which has two units", "name the way whose unit it is")
        row.either("years", "hours", SERVED)
        lives.append(reading.record(OwnLife, row, way=name, failed=row.yes("failed")))
    return tuple(lives)
