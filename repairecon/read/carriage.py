"""carriage.csv to weight bands, and what suppliers.csv says of carriage."""

from __future__ import annotations

from repairecon.read import values
from repairecon.read.names import key
from repairecon.read.problems import shown
from repairecon.read.reading import NOTHING, Reading
from repairecon.read.rows import Row
from repairecon.records import Range, WeightBand


def bands(reading: Reading) -> dict[str, tuple[WeightBand, ...]]:
    """Weight bands by key of the supplier, lightest first."""
    made: dict[str, list[WeightBand]] = {}
    for row in reading.tables["carriage.csv"].rows:
        reading.keep_note(row)
        _take(reading, row, made)
    return {name: tuple(some) for name, some in made.items()}


def _take(reading: Reading, row: Row, made: dict[str, list[WeightBand]]) -> None:
    name = row.required("supplier", "name the supplier")
    if name and not reading.suppliers.find(name) and reading.sellers_known:
        row.fault("supplier", shown(name), reading.suppliers.advice(row.problems, name))
    row.required("up_to_kg", "write the heaviest parcel of this band in kilograms")
    up_to = row.number("up_to_kg", values.KILOGRAMS)
    if not row.has_range("quoted"):
        row.fault("quoted_likely", "nothing", "write the carriage of such a parcel, in the supplier's money")
    quoted = reading.amount(row, "quoted", values.MONEY)
    if up_to is None:
        return
    lighter = made.setdefault(key(name), [])
    if lighter and up_to <= lighter[-1].up_to_kg:
        row.fault(
            "up_to_kg",
            f"{values.plain(up_to)} after {values.plain(lighter[-1].up_to_kg)}",
            "write the bands of a supplier from the lightest to the heaviest, each weight once",
        )
    elif lighter and _falls(lighter[-1].quoted, quoted):
        row.fault(
            "quoted_likely",
            f"{values.plain(quoted.likely)} after {values.plain(lighter[-1].quoted.likely)} for a lighter parcel",
            "write a carriage that does not fall with the weight (a lighter parcel may go at the price of a heavier)",
        )
    else:
        lighter.append(WeightBand(up_to, quoted))


def _falls(lighter: Range, heavier: Range) -> bool:
    """Whether any number of a carriage is below that of a lighter parcel."""
    return heavier is not NOTHING and any(
        getattr(heavier, at) < getattr(lighter, at) for at in ("low", "likely", "high")
    )


def flat(reading: Reading, row: Row, known: tuple[WeightBand, ...]) -> Range:
    """Carriage whatever the weight: as given, else that of the lightest band."""
    if known and not row.has_range("carriage"):
        return known[0].quoted
    return reading.amount(row, "carriage", values.MONEY)


def free_above(reading: Reading, row: Row, known: tuple[WeightBand, ...]) -> float | None:
    """The goods from which on nothing is charged; it needs a charge below."""
    goods = row.number("free_above", values.MONEY)
    if goods is not None and not known and not row.has_range("carriage") and reading.tables["carriage.csv"].whole:
        row.fault(
            "carriage_likely",
            f"nothing, beside free_above {values.plain(goods)}",
            "write the carriage of a smaller order, or its bands in carriage.csv",
        )
    return goods
