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
    price, name = reading.three.price_kit, reading.defaults.text("name.part")
    if price is None and beneath:
        for row in beneath:
            reading.assume(f"part: {row.text('part')}", row, "price")
        return tuple(_part(reading, row, row.text("part"), quotes_lead) for row in beneath)
    if price is None and key(name) not in reading.quoted:
        write = "write the price of the rebuild kit, or add parts.csv"
        reading.three.section.check((reading.toml_whole, "price_kit", "nothing", write))
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
    both = row.has("event") and row.has("price_of")
    row.check((both, "price_of", f"{shown(price_of)} beside the event {shown(event)}",
               "keep one of the two: a look tells of an event or of a price"))  # fmt: skip
    if both:
        price_of = ""
    elif event:
        event = row.named("event", tree.events, "an unknown event ")
    elif price_of:
        price_of = _price_of(reading, row, priced.get(key(price_of)))
    p_right = _p_right(reading, row, name, tree)
    look = reading.record(Look, row, look=name, event=event, price_of=price_of, p_right=p_right)
    if row.assumed:
        spans = (("hours", look.hours, "h"), ("days", look.days, "days"))
        brings = [f"{as_text(span)} {unit}" for column, span, unit in spans if row.has_range(column)]
        said = "; ".join([f"right {as_text(p_right)}", *brings])
        reading.defaults.note(f"look: {name}", said, "low / likely / high", row.text("source"))
    return look


def _price_of(reading: Reading, row: Row, asked: Part | Way | None) -> str:
    part, way = reading.part_or_way(row, "price_of")
    if isinstance(asked, Part) and not way:
        reading.check_wanted(asked, "a look in looks.csv asks for it")
    elif isinstance(asked, Way) and asked.kind not in PRICED:
        found = f"{row.shown('price_of')}, a way of kind {asked.kind} with no price of its own"
        row.fault("price_of", found, f"name a part, or a way of kind {', '.join(PRICED)}")
    return part or way or row.text("price_of")


def _p_right(reading: Reading, row: Row, name: str, tree: Outcomes) -> float:
    """Chance that the look shows what is the case; a price that is asked is taken as right."""
    written, said = row.shown("p_right"), row.number("p_right")
    if row.has("price_of"):
        doubted = not row.has("event") and said not in (None, 1.0)
        write = "leave it blank or write 1: a price that you are told is taken as right"
        row.check((doubted, "p_right", written, write))
        return 1.0
    given, names = reading.number(row, "p_right", name), tree.outcomes.get(key(row.text("event")))
    if names is not None and names.whole:
        among = max(len(names), 2)  # of one, whether it happens at all
        least = -(-100 // among) * Decimal("0.01")
        write = f"a look that is right less often than guessing tells nothing: give at least {least}"
        row.check((said is not None and said < Decimal(1) / among, "p_right", written, write))
    return given


# ---- suppliers and quotes --------------------------------------------------------------------------
def suppliers(reading: Reading, rows: list[tuple[Row, str]]) -> tuple[Supplier, ...]:
    of_all, money, made = _all_bands(reading), reading.money, list[Supplier]()
    for row, name in rows:
        bands, currency = of_all.get(key(name), []), row.text("currency").upper()
        vat_included, imported = row.choice("vat") == "in", row.yes("imported")
        vat_rate, free_above = row.number("vat_rate"), row.number("free_above")
        if vat_rate is None:
            vat_rate = money.vat_rate if imported or not vat_included else money.vat_rate_unlisted
        charged = bands or row.has_range("carriage") or not reading.tables["carriage.csv"].whole
        write = f"give its rate under [money.exchange] in case.toml, or write one of: {', '.join(sorted(money.named))}"
        row.check(
            (currency and money.whole and currency not in money.named, "currency", shown(currency), write),
            (free_above is not None and not charged, "carriage_likely",
             f"nothing, beside free_above {plain(free_above or 0.0)}",
             "write the carriage of a smaller order, or its bands in carriage.csv"),
        )  # fmt: skip
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
        write = "write the carriage of such a parcel, in the supplier's money"
        row.check((not row.has_range("quoted"), "quoted_likely", "nothing", write))
        if up_to is None:
            continue
        lighter = made.setdefault(key(name), [])
        last = lighter[-1] if lighter else WeightBand(0.0, NOTHING)
        falls = quoted is not NOTHING and any(getattr(quoted, at) < getattr(last.quoted, at) for at in ENDS)
        if up_to <= last.up_to_kg:
            write = "write the bands of a supplier from the lightest to the heaviest, each weight once"
            row.fault("up_to_kg", f"{plain(up_to)} after {plain(last.up_to_kg)}", write)
        elif falls:
            found = f"{plain(quoted.likely)} after {plain(last.quoted.likely)} for a lighter parcel"
            rule = "write a carriage that does not fall with the weight"
            row.fault("quoted_likely", found, f"{rule} (a lighter parcel may go at the price of a heavier)")
        else:
            lighter.append(WeightBand(up_to, quoted))
    return made


def quotes(reading: Reading) -> tuple[Quote, ...]:
    """Quotes; a blank chance of never is -1, filled in with that of the way later."""
    rows, made = reading.tables["quotes.csv"].rows, list[Quote]()
    for row in rows:
        quoted, p_never = row.amount("quoted"), row.number("p_never")
        last, given = row.date("valid_until"), row.date("quoted_on")
        row.check((not row.has_range("quoted"), "quoted_likely", "nothing",
                   "write the price as quoted, in the supplier's money"))  # fmt: skip
        part, way = reading.part_or_way(row, "item")
        row.check(
            (last and last < given, "valid_until", f"{last}, before quoted_on {given}",
             "write the last day on which the quote holds"),
            (part and not way and p_never, "p_never", row.shown("p_never"),
             "leave it blank and put a 'part no longer available' row in events.csv"),
        )  # fmt: skip
        made.append(reading.record(
            Quote, row, item=part or way or row.text("item"),
            supplier=row.named("supplier", reading.suppliers, whole=reading.sellers_known), quoted=quoted,
            p_never=-1.0 if p_never is None else p_never, breaks=_breaks(row, quoted), valid_until=last,
        ))  # fmt: skip
    missing = list(dict.fromkeys(q.supplier for q in made if q.supplier))
    if missing and not reading.tables["suppliers.csv"].given:
        named = ", ".join(shown(m) for m in missing[:6]) + (", ..." if len(missing) > 6 else "")
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
