"""``[customs]`` and ``[order]`` of case.toml: the terms at the border, and what the owner asks of an order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from repairecon.read import values
from repairecon.read.defaults import Defaults
from repairecon.read.problems import shown
from repairecon.read.reading import Reading
from repairecon.read.text import clean
from repairecon.read.toml_file import TomlFile
from repairecon.read.toml_section import Section, shown_value
from repairecon.records import Customs, OrderWishes, Supplier

_CUSTOMS = (
    "as_of",
    "duty_free_up_to",
    "vat_free_up_to",
    "flat_duty_rate",
    "flat_duty_up_to",
    "hand_allowance",
    "buyer",
)
_ORDER = (
    "today",
    "deadline_days",
    "deadline_by",
    "most_parcels",
    "without",
    "price_inflation_rate",
    "old_after_days",
)


def customs(toml: TomlFile, sellers: Sequence[Supplier], defaults: Defaults) -> Customs:
    """Terms at the border; their date and the buyer matter once somebody sells from beyond it."""
    section = toml.section("customs", _CUSTOMS)
    flat, up_to = section.number("flat_duty_rate", values.FRACTION), section.number("flat_duty_up_to", values.MONEY)
    if flat is not None and up_to is None and "flat_duty_up_to" not in section.bad:
        section.fault("flat_duty_up_to", "nothing", "write the goods value up to which flat_duty_rate holds")
    if up_to and flat is None and "flat_duty_rate" not in section.bad:
        section.fault("flat_duty_rate", "nothing", "write the rate that holds up to flat_duty_up_to")
    as_of = section.date("as_of")
    if not as_of and "as_of" not in section.bad and any(s.imported for s in sellers):
        defaults.text("customs_as_of")
    buyer = section.choice("buyer", ("private", "vat-registered"), "") or defaults.text("buyer")
    return Customs(
        as_of=as_of,
        duty_free_up_to=section.number("duty_free_up_to", values.MONEY) or 0.0,
        vat_free_up_to=section.number("vat_free_up_to", values.MONEY) or 0.0,
        flat_duty_rate=flat,
        flat_duty_up_to=up_to or 0.0,
        hand_allowance=section.number("hand_allowance", values.MONEY) or 0.0,
        buyer="VAT-registered" if buyer == "vat-registered" else "private",
    )


def wishes(toml: TomlFile, reading: Reading, defaults: Defaults) -> OrderWishes:
    """What the owner asks of an order; a blank ``today`` is left to whoever reckons."""
    section = toml.section("order", _ORDER)

    def number(name: str, limits: values.Limits) -> float:
        given = section.number(name, limits)
        return defaults.number(name) if given is None else given

    deadline = section.number("deadline_days", values.DAYS)
    by = section.choice("deadline_by", ("likely", "p90"), "")
    if not by:
        by = (defaults.text("deadline_by") if deadline is not None else str(defaults.peek("deadline_by"))).casefold()
    counted: Literal["likely", "P90"] = "likely" if by == "likely" else "P90"
    parcels = section.number("most_parcels", values.COUNT)
    return OrderWishes(
        today=section.date("today"),
        deadline_days=deadline,
        deadline_by=counted,
        most_parcels=None if parcels is None else int(parcels),
        without=_without(section, reading),
        price_inflation_rate=number("price_inflation_rate", values.FRACTION),
        old_after_days=number("old_after_days", values.DAYS),
    )


def _without(section: Section, reading: Reading) -> tuple[str, ...]:
    """Suppliers left out, spelt as in suppliers.csv."""
    given = section.get("without")
    if given is None:
        return ()
    given = [given] if isinstance(given, str) else given
    if not isinstance(given, list) or not all(isinstance(name, str) for name in given):
        section.fault("without", shown_value(given), 'write a list of suppliers, as in ["chandler"]')
        return ()
    found = []
    suppliers = reading.suppliers
    for name in (clean(word) for word in given):
        spelt = suppliers.find(name)
        if not spelt and reading.sellers_known:
            section.fault("without", f"an unknown supplier {shown(name)}", suppliers.advice(section.problems, name))
        found.append(spelt or name)
    return tuple(dict.fromkeys(found))
