"""suppliers.csv and quotes.csv to records."""

from __future__ import annotations

from collections.abc import Mapping

from repairecon.read import breaks, carriage, values
from repairecon.read.names import key
from repairecon.read.problems import shown
from repairecon.read.reading import NOTHING, Reading
from repairecon.read.rows import Row
from repairecon.records import QUOTE_CLASSES, Quote, Supplier, WeightBand

DELIVERY = ("post", "by hand")


def suppliers(reading: Reading, rows: list[tuple[Row, str]]) -> tuple[Supplier, ...]:
    """Who quotes."""
    bands = carriage.bands(reading)
    return tuple(_supplier(reading, row, name, bands.get(key(name), ())) for row, name in rows)


def _supplier(reading: Reading, row: Row, name: str, bands: tuple[WeightBand, ...]) -> Supplier:
    reading.keep_note(row)
    money = reading.money
    currency = row.text("currency").upper()
    if currency and currency not in money.named and money.whole:
        known = sorted(money.named)
        row.fault(
            "currency",
            shown(currency),
            f"give its rate under [money.exchange] in case.toml, or write one of: {', '.join(known)}",
        )
    vat_included = row.choice("vat", ("in", "ex"), "in") == "in"
    imported = row.yes("imported")
    vat_rate = row.number("vat_rate", values.FRACTION)
    if vat_rate is None:
        vat_rate = money.vat_rate if imported or not vat_included else money.vat_rate_unlisted
    return Supplier(
        name,
        row.text("role"),
        currency or money.currency,
        vat_included,
        vat_rate,
        imported,
        row.number("duty_rate", values.FRACTION) or 0.0,
        row.number("cost_handling", values.MONEY) or 0.0,
        carriage.flat(reading, row, bands),
        row.range("lead_days", values.DAYS),
        row.source,
        bands,
        carriage.free_above(reading, row, bands),
        row.number("minimum_order", values.MONEY) or 0.0,
        row.number("discount_rate", values.FRACTION) or 0.0,
        row.number("card_fee_rate", values.FRACTION) or 0.0,
        row.number("insurance_rate", values.FRACTION) or 0.0,
        row.choice("delivery", DELIVERY, DELIVERY[0]) == DELIVERY[1],
    )


def quoted_items(reading: Reading) -> dict[str, bool]:
    """Keys of the items that have a quote, right or wrong; True if all of them give p_never."""
    items: dict[str, bool] = {}
    for row in reading.tables["quotes.csv"].rows:
        item = key(row.text("item"))
        if item:
            items[item] = items.get(item, True) and row.has("p_never")
    return items


def quotes(reading: Reading) -> tuple[Quote, ...]:
    """Quotes; a blank chance of never is filled in with that of the way later."""
    table = reading.tables["quotes.csv"]
    missing: dict[str, None] = {}
    made = tuple(_quote(reading, row, missing) for row in table.rows)
    if missing:
        named = ", ".join(shown(m) for m in list(missing)[:6]) + (", ..." if len(missing) > 6 else "")
        reading.problems.add(
            "suppliers.csv", None, "", "no rows", f"add a row for each of {named}: quotes.csv names them"
        )
    return made


def _quote(reading: Reading, row: Row, missing: dict[str, None]) -> Quote:
    reading.keep_note(row)
    item = row.required("item", "name the part or the way")
    part, way = reading.parts.find(item), reading.ways.find(item)
    if item and not part and not way and reading.parts.whole and reading.ways.whole:
        row.fault("item", shown(item), reading.items.advice(row.problems, item))
    if part and way:
        row.fault("item", f"{shown(item)}, a part and a way", "give one of the two another name")
    supplier = row.required("supplier", "name the supplier")
    if supplier and not reading.suppliers.find(supplier) and reading.suppliers.whole:
        if reading.tables["suppliers.csv"].given:
            row.fault("supplier", shown(supplier), reading.suppliers.advice(row.problems, supplier))
        else:
            missing[supplier] = None
    if not row.has_range("quoted"):
        row.fault("quoted_likely", "nothing", "write the price as quoted, in the supplier's money")
    p_never = row.number("p_never", values.FRACTION)
    if part and not way and p_never:
        row.fault(
            "p_never",
            shown(row.cells["p_never"]),
            "leave it blank and put a 'part no longer available' row in events.csv",
        )
    quoted = reading.amount(row, "quoted", values.MONEY)
    return Quote(
        part or way or item,
        reading.suppliers.find(supplier) or supplier,
        quoted,
        int(row.number("pack", values.COUNT) or 1),
        row.choice("part_class", QUOTE_CLASSES, ""),
        row.range("lead_days", values.DAYS),
        -1.0 if p_never is None else p_never,
        row.date("quoted_on"),
        row.source,
        breaks.price_breaks(row, quoted),
        int(row.number("minimum_packs", values.COUNT) or 1),
        row.number("weight_kg", values.KILOGRAMS),
        row.number("duty_rate", values.FRACTION),
        reading.amount(row, "quoted_core", values.MONEY),
        row.text("designation"),
        row.text("material"),
        _valid_until(row),
        row.yes("take_near"),
    )


def _valid_until(row: Row) -> str:
    """The quote's own last day, not before the day that it was given."""
    last, given = row.date("valid_until"), row.date("quoted_on")
    if last and given and last < given:
        row.fault("valid_until", f"{last}, before quoted_on {given}", "write the last day on which the quote holds")
    return last


def items_with_days(made: tuple[Quote, ...], known: Mapping[str, Supplier]) -> set[str]:
    """Keys of the items whose quotes all say when they come."""
    days: dict[str, bool] = {}
    for quote in made:
        seller = known.get(key(quote.supplier))
        told = quote.lead_days is not None or (seller is not None and seller.lead_days is not None)
        days[key(quote.item)] = days.get(key(quote.item), True) and told
    return {item for item, told in days.items() if told}


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
