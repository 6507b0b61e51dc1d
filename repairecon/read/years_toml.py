"""The years after the job in case.toml; what it does not say comes from the defaults."""

from __future__ import annotations

from repairecon.read import values
from repairecon.read.case_toml import Money
from repairecon.read.defaults import Defaults
from repairecon.read.toml_file import TomlFile
from repairecon.records import Range, Years

NAME = "years"
_KEYS = (
    "horizon_years",
    "discount_rate",
    "inflation_rate",
    "hours_a_year",
    "p_away",
    "cost_away",
    "days_away",
    "swap_hours",
    "shelf_life_years",
    "shelf_shape",
    "turned_every_years",
    "resale_share",
    "like_units",
    "p_kit_fits",
)


def spoken_of(toml: TomlFile) -> bool:
    """True if the case says something of the years, right or wrong."""
    return NAME in toml.data


def years(toml: TomlFile, money: Money, defaults: Defaults) -> Years:
    """The years as the owner sees them, completed out of ``defaults``."""
    section = toml.section(NAME, _KEYS)

    def number(name: str, limits: values.Limits) -> float:
        given = section.number(name, limits)
        return defaults.number(name) if given is None else given

    def span(name: str, limits: values.Limits) -> Range:
        return section.range(name, limits) or defaults.range(name)

    cost_away = section.range("cost_away", values.MONEY)
    if cost_away is None:
        cost_away = money.from_euro(defaults.range("cost_away", unit=money.per("each time, tax included")))
    return Years(
        horizon_years=number("horizon_years", values.HORIZON),
        discount_rate=number("discount_rate", values.FRACTION),
        inflation_rate=number("inflation_rate", values.FRACTION),
        hours_a_year=number("hours_a_year", values.YEAR_HOURS),
        p_away=number("p_away", values.FRACTION),
        cost_away=cost_away,
        days_away=span("days_away", values.DAYS),
        swap_hours=span("swap_hours", values.HOURS),
        shelf_life_years=number("shelf_life_years", values.LIFE_YEARS),
        shelf_shape=number("shelf_shape", values.LIFE_SHAPE),
        turned_every_years=number("turned_every_years", values.LIFE_YEARS),
        resale_share=number("resale_share", values.FRACTION),
        like_units=int(number("like_units", values.LIKE_UNITS)),
        p_kit_fits=number("p_kit_fits", values.FRACTION),
    )
