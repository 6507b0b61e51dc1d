"""The ways of a case that names none, and what a kind of way is taken to be."""

from __future__ import annotations

from dataclasses import replace

from repairecon.read.defaults import Defaults
from repairecon.read.names import key
from repairecon.read.parts_tasks import wait
from repairecon.read.reading import NOTHING, Reading
from repairecon.read.toml_section import FILE
from repairecon.records import ASSUMED, WAY_KINDS, Range, Source, Way

KINDS = ("rebuild", "new", "buy and rebuild", "rebuild and spare")
"""Kinds of way of a case folder that names none, as ``name.*`` in the defaults names them."""

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
            lead = None if key(name) in quotes_lead else wait(reading)
            source = price.source if price else Source(FILE)
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
