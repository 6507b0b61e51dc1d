"""ways.csv to records."""

from __future__ import annotations

from dataclasses import dataclass

from repairecon.read import values
from repairecon.read.default_ways import BLANK, default_ways, never, old_unit
from repairecon.read.names import key
from repairecon.read.parts_tasks import VAT, wait
from repairecon.read.problems import shown
from repairecon.read.reading import Reading
from repairecon.read.rows import Row
from repairecon.records import OLD_UNIT_ENDS, WAY_KINDS, Range, Way

BOUGHT = ("new", "pattern", "second-hand")
"""Kinds that can be bought while the old unit is kept."""

PRICED = ("send away", "exchange", *BOUGHT)
"""Kinds with a price of their own."""

IN_BOUGHT = "the way named in 'bought'"


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
        row.required("kind", f"write one of: {', '.join(WAY_KINDS)}")
        kind = row.choice("kind", tuple(WAY_KINDS), "")
        if name:
            kinds[name] = kind
        lines.append(_Line(row, name, kind, kinds))
    made = tuple(_way(reading, line, quotes_lead) for line in lines)
    return tuple(w for w in made if w.kind and w.way)


def _way(reading: Reading, line: _Line, quotes_lead: set[str]) -> Way:
    row, name, kind = line.row, line.name, line.kind
    vat = row.choice("vat", VAT, "in")

    def money(column: str) -> Range:
        return reading.money.with_vat(reading.amount(row, column, values.MONEY), vat)

    price = _price(reading, line, vat)
    surcharge = money("core_surcharge")
    return Way(
        way=name,
        kind=kind,
        price=price,
        lead_days=_lead(reading, line, quotes_lead),
        p_never=_p_never(reading, line),
        instead=_instead(reading, line),
        fitting_hours=reading.amount(row, "fitting_hours", values.HOURS),
        fitting_by=reading.worker(row, "fitting_by"),
        core_surcharge=surcharge,
        core_carriage=money("core_carriage"),
        p_refund=_p_refund(reading, line, surcharge),
        core_if_stripped=row.yes("core_if_stripped"),
        strip_charge=_strip_charge(reading, line, money("strip_charge"), price),
        bought=_bought(reading, line),
        life_years=None,
        warranty_months=row.number("warranty_months", values.MONTHS),
        old_unit=row.choice("old_unit", OLD_UNIT_ENDS, "") or old_unit(reading, name, kind),
        old_unit_price=reading.amount(row, "old_unit_price", values.MONEY),
        note=row.note(),
        source=row.source,
    )


def _price(reading: Reading, line: _Line, vat: str) -> Range | None:
    row, name, kind = line.row, line.name, line.kind
    price = row.range("price", values.MONEY)
    if kind and kind not in PRICED:
        if row.has_range("price"):
            line.blank("price_likely", f"a price on a way of kind {kind}", "parts.csv and tasks.csv make the cost")
        return None
    if price is not None:
        return reading.money.with_vat(price, vat)
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
    lead = line.row.range("lead_days", values.DAYS)
    if line.row.has_range("lead_days") or line.kind not in PRICED or key(line.name) in quotes_lead:
        return lead
    return reading.defaults.range("away_days", line.name) if line.kind == "send away" else wait(reading)


def _p_never(reading: Reading, line: _Line) -> float:
    row = line.row
    given = row.number("p_never", values.FRACTION)
    if line.kind not in PRICED:
        if given and line.kind:
            rebuild = "put a 'part no longer available' row in events.csv"
            line.blank("p_never", shown(row.cells["p_never"]), rebuild)
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
    given = line.row.number("p_refund", values.FRACTION)
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
