"""suppliers.csv, carriage.csv and quotes.csv to records."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import cast

from repairecon.read import values
from repairecon.read.columns import ENDS
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading
from repairecon.read.tables import NOTHING, Row
from repairecon.read.values import Misread, plain
from repairecon.records import PriceBreak, Quote, Range, Supplier, WeightBand

_BREAK = re.compile(r"(\S+)\s+at\s+(.+)", re.IGNORECASE)


def suppliers(reading: Reading, rows: list[tuple[Row, str]]) -> tuple[Supplier, ...]:
    """Who quotes."""
    bands = _all_bands(reading)
    return tuple(_supplier(reading, row, name, bands.get(key(name), ())) for row, name in rows)


def _supplier(reading: Reading, row: Row, name: str, bands: tuple[WeightBand, ...]) -> Supplier:
    money, currency = reading.money, row.text("currency").upper()
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
    return reading.record(
        Supplier, row, supplier=name, currency=currency or money.currency, vat_included=vat_included, vat_rate=vat_rate,
        carriage=bands[0].quoted if bands and not row.has_range("carriage") else row.amount("carriage"), bands=bands,
        free_above=free_above, by_hand=row.choice("delivery") == "by hand",
    )  # fmt: skip


def _all_bands(reading: Reading) -> dict[str, tuple[WeightBand, ...]]:
    made: dict[str, list[WeightBand]] = {}
    for row in reading.tables["carriage.csv"].rows:
        reading.keep_note(row)
        name = row.named("supplier", reading.suppliers, whole=reading.sellers_known)
        up_to, quoted = row.number("up_to_kg"), row.amount("quoted")
        if not row.has_range("quoted"):
            row.fault("quoted_likely", "nothing", "write the carriage of such a parcel, in the supplier's money")
        if up_to is not None:
            lighter = made.setdefault(key(name), [])
            band = WeightBand(up_to, quoted)
            last = lighter[-1] if lighter else WeightBand(0.0, NOTHING)
            falls = any(getattr(band.quoted, at) < getattr(last.quoted, at) for at in ENDS)
            if lighter and band.up_to_kg <= last.up_to_kg:
                write = "write the bands of a supplier from the lightest to the heaviest, each weight once"
                row.fault("up_to_kg", f"{plain(band.up_to_kg)} after {plain(last.up_to_kg)}", write)
            elif lighter and falls and band.quoted is not NOTHING:
                found = f"{plain(band.quoted.likely)} after {plain(last.quoted.likely)} for a lighter parcel"
                rule = "write a carriage that does not fall with the weight"
                row.fault("quoted_likely", found, f"{rule} (a lighter parcel may go at the price of a heavier)")
            else:
                lighter.append(band)
    return {name: tuple(some) for name, some in made.items()}


def quoted_items(reading: Reading) -> dict[str, bool]:
    """Keys of the items that have a quote, right or wrong; True if all of them give p_never."""
    items: dict[str, bool] = {}
    for row in reading.tables["quotes.csv"].rows:
        item = key(row.text("item"))
        if item:
            items[item] = items.get(item, True) and row.has("p_never")
    return items


def quotes(reading: Reading) -> tuple[Quote, ...]:
    """Quotes; a blank chance of never is -1, filled in with that of the way later."""
    missing: dict[str, None] = {}
    made = tuple(_quote(reading, row, missing) for row in reading.tables["quotes.csv"].rows)
    if missing:
        named = ", ".join(shown(m) for m in list(missing)[:6]) + (", ..." if len(missing) > 6 else "")
        write = f"add a row for each of {named}: quotes.csv names them"
        reading.problems.add("suppliers.csv", None, "", "no rows", write)
    return made


def _quote(reading: Reading, row: Row, missing: dict[str, None]) -> Quote:
    supplier = row.text("supplier")
    if supplier and not reading.suppliers.find(supplier) and not reading.tables["suppliers.csv"].given:
        missing[supplier] = None
    if not row.has_range("quoted"):
        row.fault("quoted_likely", "nothing", "write the price as quoted, in the supplier's money")
    quoted, p_never = row.amount("quoted"), row.number("p_never")
    last, given = row.date("valid_until"), row.date("quoted_on")
    if last and given and last < given:
        row.fault("valid_until", f"{last}, before quoted_on {given}", "write the last day on which the quote holds")
    return reading.record(
        Quote, row, item=_item(reading, row, p_never),
        supplier=row.named("supplier", reading.suppliers, whole=reading.sellers_known), quoted=quoted,
        p_never=-1.0 if p_never is None else p_never, breaks=_breaks(row, quoted), valid_until=last,
    )  # fmt: skip


def _item(reading: Reading, row: Row, p_never: float | None) -> str:
    item = row.text("item")
    part, way = reading.parts.find(item), reading.ways.find(item)
    if item and not part and not way and reading.parts.whole and reading.ways.whole:
        row.fault("item", shown(item), reading.items.advice(row.problems, item))
    if part and way:
        row.fault("item", f"{shown(item)}, a part and a way", "give one of the two another name")
    if part and not way and p_never:
        write = "leave it blank and put a 'part no longer available' row in events.csv"
        row.fault("p_never", row.shown("p_never"), write)
    return part or way or item


def _breaks(row: Row, quoted: Range) -> tuple[PriceBreak, ...]:
    """Lower prices in rising order of packs, prices falling; the first fault of a cell is noted, and none are kept."""
    made: list[PriceBreak] = []
    for word in row.listed("breaks"):
        read = _break(word, made, quoted)
        if isinstance(read, Misread):
            row.fault("breaks", read.found or shown(word), read.write)
            return ()
        made.append(read)
    return tuple(made)


def _break(word: str, before: list[PriceBreak], quoted: Range) -> PriceBreak | Misread:
    match = _BREAK.fullmatch(word)
    if not match:
        return Misread("write packs and price as in 10 at 9.80; 25 at 8.90")
    packs, price = values.number(match[1], values.COUNT), values.number(match[2].strip(), values.MONEY)
    for read in (packs, price):
        if isinstance(read, Misread):
            return Misread(f"{read.write} (packs and price, as in 10 at 9.80)")
    one = PriceBreak(int(cast(float, packs)), cast(float, price))
    least = before[-1].from_packs if before else 1
    dearest = before[-1].quoted if before else quoted.likely
    if one.from_packs <= least:
        found = f"{one.from_packs} packs after {least}"
        return Misread("write the breaks from few packs to many, from 2 packs on", found=found)
    if one.quoted > dearest and (before or quoted.high > 0):
        found = f"{plain(one.quoted)} from {one.from_packs} packs, above {plain(dearest)} for fewer"
        return Misread("write prices a pack that fall with more packs", found=found)
    return one


def items_with_days(made: tuple[Quote, ...], known: Mapping[str, Supplier]) -> set[str]:
    """Keys of the items whose quotes all say when they come."""
    days: dict[str, bool] = {}
    for quote in made:
        seller = known.get(key(quote.supplier))
        says = quote.lead_days is not None or (seller is not None and seller.lead_days is not None)
        days[key(quote.item)] = days.get(key(quote.item), True) and says
    return {item for item, says in days.items() if says}


def bare_prices(reading: Reading, made: tuple[Quote, ...], known: Mapping[str, Supplier]) -> dict[str, float]:
    """Cheapest quoted price a piece by item, tax in, carriage left out: only to scale defaults by."""
    prices: dict[str, float] = {}
    for quote in made:
        seller = known.get(key(quote.supplier))
        if seller is None or quote.quoted is NOTHING:
            continue
        rate = reading.money.exchange.get(seller.currency, 1.0)
        tax = 1.0 if seller.vat_included else 1.0 + seller.vat_rate
        price = quote.quoted.likely / quote.pack * rate * tax
        prices[key(quote.item)] = min(price, prices.get(key(quote.item), price))
    return prices
