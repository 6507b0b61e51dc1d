"""parts.csv, tasks.csv, looks.csv, suppliers.csv, carriage.csv and quotes.csv to records."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from repairecon.read import values
from repairecon.read.columns import CASE, ENDS
from repairecon.read.events import Outcomes, outcomes
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading, as_text, named_rows
from repairecon.read.tables import NOTHING, Row
from repairecon.read.values import Misread, plain
from repairecon.read.ways import PRICED
from repairecon.records import Look, Part, PriceBreak, Quote, Range, Source, Supplier, Task, Way, WeightBand

_BREAK = re.compile(r"(\S+)\s+at\s+(.+)", re.IGNORECASE)


# ---- parts, tasks, looks ---------------------------------------------------------------------------
def parts(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str], beneath: list[Row]) -> tuple[Part, ...]:
    """Parts of the rebuild; ``quotes_lead`` are items whose quotes all say when they come.

    Without parts.csv they are the kit: at the price given, else as the rows ``beneath`` have it.
    """
    if reading.tables["parts.csv"].given:
        return tuple(_part(reading, row, name, quotes_lead) for row, name in rows)
    if not len(reading.parts):
        return ()
    price, section = reading.three.price_kit, reading.three.section
    if price is None and beneath:
        for row in beneath:
            reading.assume(f"part: {row.text('part')}", row, "price")
        return tuple(_part(reading, row, row.text("part"), quotes_lead) for row in beneath)
    name = reading.defaults.text("name.part")
    if price is None and key(name) not in reading.quoted:
        if "price_kit" not in section.bad and reading.toml_whole:
            section.fault("price_kit", "nothing", "write the price of the rebuild kit, or add parts.csv")
        price = NOTHING
    lead = None if key(name) in quotes_lead else reading.wait()
    return (Part(part=name, description="", quantity=1, needed="always", price=price, lead_days=lead, standard_size="",
                 source=price.source if price else Source(CASE)),)  # fmt: skip


def _part(reading: Reading, row: Row, name: str, quotes_lead: set[str]) -> Part:
    price, lead, vat = row.range("price"), row.range("lead_days"), row.choice("vat")
    if row.choice("needed") == "always" and name and not row.has_range("price"):
        reading.check_priced(row, name, "always needed")
    if lead is None and not row.has_range("lead_days") and key(name) not in quotes_lead:
        lead = reading.wait()
    taxed = reading.money.with_vat(price, vat) if price else None
    return reading.record(Part, row, part=name, price=taxed, lead_days=lead)


def tasks(reading: Reading) -> tuple[Task, ...]:
    shown_as = (("hours", "h"), ("share_of_kit", "of the price of the kit"), ("cost", ""))
    for row in (row for row in reading.rows("tasks.csv") if row.assumed):
        reading.assume(f"task: {row.text('task')}", row, *next(x for x in shown_as if row.has_range(x[0]) or not x[1]))
    return tuple(reading.record(Task, row) for row in reading.rows("tasks.csv"))


def looks(reading: Reading, parts: Sequence[Part], ways: Sequence[Way]) -> tuple[Look, ...]:
    """Looks as written, and the default ones at events that there are."""
    tree = outcomes(reading)
    priced: dict[str, Part | Way] = {**{key(w.way): w for w in ways}, **{key(p.part): p for p in parts}}
    rows, _ = named_rows(reading.rows("looks.csv"), "look", reading.tables["looks.csv"].whole)
    return tuple(_look(reading, row, name, tree, priced) for row, name in rows)


def _look(reading: Reading, row: Row, name: str, tree: Outcomes, priced: Mapping[str, Part | Way]) -> Look:
    """The event or the price that it tells of is spelt as in its own file."""
    event, price_of = row.text("event"), row.text("price_of")
    row.either("event", "price_of", "name an event of events.csv, or in price_of a part or a way")
    if row.has("event") and row.has("price_of"):
        found = f"{shown(price_of)} beside the event {shown(event)}"
        row.fault("price_of", found, "keep one of the two: a look tells of an event or of a price")
        price_of = ""
    elif event:
        event = row.named("event", tree.events, "an unknown event ")
    elif price_of:
        part, way = reading.part_or_way(row, "price_of")
        asked = priced.get(key(price_of))
        if isinstance(asked, Part) and not way:
            reading.check_wanted(asked, "a look in looks.csv asks for it")
        elif isinstance(asked, Way) and asked.kind not in PRICED:
            found = f"{shown(price_of)}, a way of kind {asked.kind} with no price of its own"
            row.fault("price_of", found, f"name a part, or a way of kind {', '.join(PRICED)}")
        price_of = part or way or price_of
    p_right = _p_right(reading, row, name, tree)
    look = reading.record(Look, row, look=name, event=event, price_of=price_of, p_right=p_right)
    if row.assumed:
        spans = (("hours", look.hours, "h"), ("days", look.days, "days"))
        brings = [f"{as_text(span)} {unit}" for column, span, unit in spans if row.has_range(column)]
        said = "; ".join([f"right {as_text(p_right)}", *brings])
        reading.defaults.note(f"look: {name}", said, "low / likely / high", row.text("source"))
    return look


def _p_right(reading: Reading, row: Row, name: str, tree: Outcomes) -> float:
    """Chance that the look shows what is the case; a price that is asked is taken as right."""
    given = row.number("p_right")
    if row.has("price_of"):
        if given is not None and given < 1.0 and not row.has("event"):
            write = "leave it blank or write 1: a price that you are told is taken as right"
            row.fault("p_right", row.shown("p_right"), write)
        return 1.0
    if not row.has("p_right"):
        return reading.defaults.number("p_right", name)
    names = tree.outcomes.get(key(row.text("event")))
    among = max(len(names), 2) if names is not None and names.whole else 0  # of one, whether it happens at all
    if given is not None and among and given < Decimal(1) / among:
        least = -(-100 // among) * Decimal("0.01")
        write = f"a look that is right less often than guessing tells nothing: give at least {least}"
        row.fault("p_right", row.shown("p_right"), write)
    return 1.0 if given is None else given


# ---- suppliers and quotes --------------------------------------------------------------------------
def suppliers(reading: Reading, rows: list[tuple[Row, str]]) -> tuple[Supplier, ...]:
    of_all, money, made = _all_bands(reading), reading.money, list[Supplier]()
    for row, name in rows:
        bands = of_all.get(key(name), ())
        currency = row.text("currency").upper()
        if currency and currency not in money.named and money.whole:
            known = ", ".join(sorted(money.named))
            write = f"give its rate under [money.exchange] in case.toml, or write one of: {known}"
            row.fault("currency", shown(currency), write)
        vat_included, imported = row.choice("vat") == "in", row.yes("imported")
        vat_rate, free_above = row.number("vat_rate"), row.number("free_above")
        if vat_rate is None:
            vat_rate = money.vat_rate if imported or not vat_included else money.vat_rate_unlisted
        charged = bands or row.has_range("carriage") or not reading.tables["carriage.csv"].whole
        if free_above is not None and not charged:
            found = f"nothing, beside free_above {plain(free_above)}"
            row.fault("carriage_likely", found, "write the carriage of a smaller order, or its bands in carriage.csv")
        carriage = bands[0].quoted if bands and not row.has_range("carriage") else row.amount("carriage")
        made.append(reading.record(
            Supplier, row, supplier=name, currency=currency or money.currency, vat_included=vat_included,
            vat_rate=vat_rate, carriage=carriage, bands=tuple(bands), free_above=free_above,
            by_hand=row.choice("delivery") == "by hand",
        ))  # fmt: skip
    return tuple(made)


def _all_bands(reading: Reading) -> dict[str, list[WeightBand]]:
    made: dict[str, list[WeightBand]] = {}
    for row in reading.tables["carriage.csv"].rows:
        reading.keep_note(row)
        name = row.named("supplier", reading.suppliers, whole=reading.sellers_known)
        up_to, quoted = row.number("up_to_kg"), row.amount("quoted")
        if not row.has_range("quoted"):
            row.fault("quoted_likely", "nothing", "write the carriage of such a parcel, in the supplier's money")
        if up_to is None:
            continue
        lighter = made.setdefault(key(name), [])
        last = lighter[-1] if lighter else WeightBand(0.0, NOTHING)
        falls = any(getattr(quoted, at) < getattr(last.quoted, at) for at in ENDS)
        if up_to <= last.up_to_kg:
            write = "write the bands of a supplier from the lightest to the heaviest, each weight once"
            row.fault("up_to_kg", f"{plain(up_to)} after {plain(last.up_to_kg)}", write)
        elif falls and quoted is not NOTHING:
            found = f"{plain(quoted.likely)} after {plain(last.quoted.likely)} for a lighter parcel"
            rule = "write a carriage that does not fall with the weight"
            row.fault("quoted_likely", found, f"{rule} (a lighter parcel may go at the price of a heavier)")
        else:
            lighter.append(WeightBand(up_to, quoted))
    return made


def quotes(reading: Reading) -> tuple[Quote, ...]:
    """Quotes; a blank chance of never is -1, filled in with that of the way later."""
    missing, made = dict[str, None](), list[Quote]()
    for row in reading.tables["quotes.csv"].rows:
        supplier = row.text("supplier")
        if supplier and not reading.suppliers.find(supplier) and not reading.tables["suppliers.csv"].given:
            missing[supplier] = None
        if not row.has_range("quoted"):
            row.fault("quoted_likely", "nothing", "write the price as quoted, in the supplier's money")
        quoted, p_never = row.amount("quoted"), row.number("p_never")
        last, given = row.date("valid_until"), row.date("quoted_on")
        if last and given and last < given:
            row.fault("valid_until", f"{last}, before quoted_on {given}", "write the last day on which the quote holds")
        item = row.text("item")
        part, way = reading.part_or_way(row, "item")
        if part and not way and p_never:
            write = "leave it blank and put a 'part no longer available' row in events.csv"
            row.fault("p_never", row.shown("p_never"), write)
        made.append(reading.record(
            Quote, row, item=part or way or item,
            supplier=row.named("supplier", reading.suppliers, whole=reading.sellers_known), quoted=quoted,
            p_never=-1.0 if p_never is None else p_never, breaks=_breaks(row, quoted), valid_until=last,
        ))  # fmt: skip
    if missing:
        named = ", ".join(shown(m) for m in list(missing)[:6]) + (", ..." if len(missing) > 6 else "")
        write = f"add a row for each of {named}: quotes.csv names them"
        reading.problems.add("suppliers.csv", None, "", "no rows", write)
    return tuple(made)


def _breaks(row: Row, quoted: Range) -> tuple[PriceBreak, ...]:
    """Lower prices in rising order of packs, prices falling; the first fault of a cell is noted, and none are kept."""
    made: list[PriceBreak] = []
    least, dearest = 1.0, quoted.likely
    for word in row.listed("breaks"):
        match = _BREAK.fullmatch(word)
        packs = values.number(match[1], values.COUNT) if match else Misread("write packs and price")
        price = values.number(match[2].strip(), values.MONEY) if match else packs
        if isinstance(packs, Misread) or isinstance(price, Misread):
            write = next(read.write for read in (packs, price) if isinstance(read, Misread))
            found, write = shown(word), f"{write}, as in 10 at 9.80; 25 at 8.90"
        elif packs <= least:
            found = f"{plain(packs)} packs after {plain(least)}"
            write = "write the breaks from few packs to many, from 2 packs on"
        elif price > dearest and (made or quoted.high > 0):
            found = f"{plain(price)} from {plain(packs)} packs, above {plain(dearest)} for fewer"
            write = "write prices a pack that fall with more packs"
        else:
            made.append(PriceBreak(int(packs), price))
            least, dearest = packs, price
            continue
        row.fault("breaks", found, write)
        return ()
    return tuple(made)


# ---- what quotes say of other tables ---------------------------------------------------------------
def quoted_items(reading: Reading) -> dict[str, bool]:
    """Keys of the items that have a quote, right or wrong; True if all of them give p_never."""
    items: dict[str, bool] = {}
    for row in reading.tables["quotes.csv"].rows:
        if item := key(row.text("item")):
            items[item] = items.get(item, True) and row.has("p_never")
    return items


def days_and_prices(
    reading: Reading, made: Sequence[Quote], known: Mapping[str, Supplier]
) -> tuple[set[str], dict[str, float]]:
    """Keys of items whose quotes all say when they come; cheapest price a piece, tax in, only to scale defaults by."""
    silent, prices = set[str](), dict[str, float]()
    for quote in made:
        item, seller = key(quote.item), known.get(key(quote.supplier))
        if quote.lead_days is None and (seller is None or seller.lead_days is None):
            silent.add(item)
        if seller is not None and quote.quoted is not NOTHING:
            rate = reading.money.exchange.get(seller.currency, 1.0)
            tax = 1.0 if seller.vat_included else 1.0 + seller.vat_rate
            price = quote.quoted.likely / quote.pack * rate * tax
            prices[item] = min(price, prices.get(item, price))
    return {key(q.item) for q in made} - silent, prices


def kit_price(reading: Reading, made: Sequence[Part], quoted: Mapping[str, float]) -> float:
    prices = ((p, p.price.likely if p.price else quoted.get(key(p.part), 0.0)) for p in made if p.needed == "always")
    return reading.three.price_kit.likely if reading.three.price_kit else sum(p.quantity * x for p, x in prices)
