"""The words of case.toml: money, labour, owner, the three numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass

from repairecon.read import values
from repairecon.read.defaults import Defaults
from repairecon.read.names import Names, key
from repairecon.read.problems import closest, shown
from repairecon.read.text import clean
from repairecon.read.toml_file import TomlFile
from repairecon.read.toml_section import FILE, Section, shown_value
from repairecon.records import ORDER_TIMES, Labour, Range, Terms

SECTIONS = (
    "unit", "three_numbers", "money", "owner", "labour", "years", "bearing", "customs", "order", "waiver", "learned",
)  # fmt: skip
_THREE = ("price_new", "price_kit", "wait_days")
_MONEY = ("currency", "vat_rate", "exchange_date", "exchange")
_OWNER = (
    "cost_own_hour",
    "cost_lost_day",
    "hours_per_day",
    "hours_correlation",
    "order_parts",
    "give_up_days",
    "near_tie_share",
    "near_tie_chance",
    "risk_tolerance",
    "cap_cost",
    "cap_chance",
    "elsewhere_days",
)
_CODE = re.compile(r"[A-Za-z]{3}")


@dataclass(frozen=True)
class ThreeNumbers:
    """Price of new, price of the kit, days to wait, as far as given; ``section`` says where."""

    price_new: Range | None
    price_kit: Range | None
    wait_days: Range | None
    section: Section


def check_sections(toml: TomlFile) -> None:
    """Note sections that nothing reads."""
    for name in toml.data:
        if name not in SECTIONS:
            line = toml.lines.get(name) or toml.lines.get(f".{name}")
            toml.problems.add(
                FILE, line, name, f"an unknown section {shown(name)}", toml.problems.advice(name, SECTIONS)
            )


def three_numbers(toml: TomlFile, defaults: Defaults) -> ThreeNumbers:
    """The three numbers; a single wait becomes a skewed range."""
    section = toml.section("three_numbers", _THREE)
    wait = section.range("wait_days", values.DAYS)
    if wait and wait.sure and not isinstance(section.get("wait_days"), list | dict) and wait.likely > 0:
        by = defaults.range("wait_multiples")
        wait = Range(wait.low * by.low, wait.likely * by.likely, wait.high * by.high, wait.shape, wait.source)
    return ThreeNumbers(
        section.range("price_new", values.MONEY), section.range("price_kit", values.MONEY), wait, section
    )


class Money:
    """Currency, tax and exchange; a default rate is listed once it is needed."""

    def __init__(self, toml: TomlFile, defaults: Defaults) -> None:
        self._defaults = defaults
        section = toml.section("money", _MONEY)
        code = section.text("currency")
        if code and not _CODE.fullmatch(code):
            section.fault("currency", shown(code), "write a three-letter code such as EUR")
            code = ""
        self.currency = code.upper() or defaults.text("currency")
        self._vat = section.number("vat_rate", values.FRACTION)
        self.exchange = self._exchange(toml.section("money.exchange"))
        self.exchange_date = section.date("exchange_date")
        given = section.get("exchange")
        self.whole = toml.whole and "currency" not in section.bad and (given is None or isinstance(given, dict))
        if self.exchange and not self.exchange_date and "exchange_date" not in section.bad:
            defaults.text("exchange_date")

    def _exchange(self, section: Section) -> dict[str, float]:
        rates: dict[str, float] = {}
        self.named = {self.currency}
        for name in section.values:
            if not _CODE.fullmatch(name):
                section.fault(name, f"a currency {shown(name)}", "write a three-letter code such as GBP")
                continue
            self.named.add(name.upper())
            rate = section.number(name, values.EXCHANGE)
            if rate is not None:
                rates[name.upper()] = rate
        if rates.get(self.currency, 1.0) != 1.0:
            section.fault(self.currency, values.plain(rates[self.currency]), "write 1: it is the home currency")
        return rates

    @property
    def vat_rate(self) -> float:
        """The home rate of value added tax, because something needs it."""
        return self._defaults.number("vat_rate") if self._vat is None else self._vat

    @property
    def vat_rate_unlisted(self) -> float:
        """The home rate, whether or not anything needs it."""
        return float(self._defaults.peek("vat_rate")) if self._vat is None else self._vat

    def with_vat(self, price: Range, vat: str) -> Range:
        """The price with tax."""
        return price.scaled(1.0 + self.vat_rate) if vat == "ex" and price.high > 0 else price

    def per(self, unit: str) -> str:
        """A unit of default money, which is known in EUR."""
        home = self.currency
        if home == "EUR" or "EUR" in self.exchange:
            return f"{home if home == 'EUR' else 'EUR'} {unit}"
        return f"{home} {unit}, the figure for EUR taken as it stands"

    def from_euro(self, amount: Range) -> Range:
        """Default money in home money."""
        return amount.scaled(self.exchange.get("EUR", 1.0)) if self.currency != "EUR" else amount


class LabourBook:
    """Who works at what rate; a default rate is listed once somebody of that name works."""

    def __init__(self, toml: TomlFile, money: Money, defaults: Defaults) -> None:
        self._money, self._defaults = money, defaults
        self.rates: dict[str, Labour] = {}
        self.names = Names(["owner"], whole=toml.whole)
        for name, value in toml.section("labour").values.items():
            by = " ".join(clean(name).split())
            if key(by) == "owner":
                toml.problems.add(
                    FILE,
                    toml.lines.get(f"labour.{name}"),
                    f"labour.{by}",
                    "a rate for the owner",
                    "write [owner] cost_own_hour instead",
                )
            elif not isinstance(value, dict):
                toml.section("labour").fault(name, shown_value(value), f'write a section headed [labour."{by}"]')
                self.names.add(by)
            else:
                section = Section(f"labour.{name}", dict(value), toml.problems, toml.lines)
                self._take(by, section.only(("cost_hour", "vat")))

    def _take(self, by: str, section: Section) -> None:
        self.names.add(by)
        vat = section.choice("vat", ("in", "ex"), "ex")
        rate = section.range("cost_hour", values.MONEY)
        if rate is None and "cost_hour" not in section.bad:
            section.fault("cost_hour", "nothing", "write what an hour costs")
        if rate is not None:
            self.rates[by] = Labour(by, self._money.with_vat(rate, vat))

    def find(self, name: str) -> str:
        """The name of a worker, empty if unknown."""
        found = self.names.find(name)
        default = f"labour.{key(name)}"
        if not found and self._defaults.has(default):
            rate = self._defaults.range(default, unit=self._money.per(self._unit(default)))
            self.names.add(key(name))
            rate = self._money.with_vat(self._money.from_euro(rate), "ex")
            self.rates[key(name)] = Labour(key(name), rate)
            return key(name)
        return found

    def _unit(self, default: str) -> str:
        return "per hour, tax not included" if default else ""

    def advice(self, name: str) -> str:
        """What to write instead of an unknown worker."""
        known = [*self.names, *(n for n in ("yard", "machine shop") if n not in self.names)]
        near = closest(name, known)
        return f"did you mean {shown(near)}?" if near else f'write owner, or add [labour."{shown(name)[1:-1]}"]'


def terms(toml: TomlFile, money: Money, labour: LabourBook, defaults: Defaults, wrong_unit: bool) -> Terms:
    """Money and time terms; ``wrong_unit``: another unit may be to blame."""
    owner = toml.section("owner", _OWNER)

    def number(name: str, limits: values.Limits) -> float:
        given = owner.number(name, limits)
        return defaults.number(name) if given is None else given

    own_hour = owner.number("cost_own_hour", values.MONEY)
    if own_hour is None:
        own_hour = money.from_euro(defaults.range("cost_own_hour", unit=money.per("per hour"))).likely
    lost_day = owner.range("cost_lost_day", values.MONEY)
    if lost_day is None:
        lost_day = money.from_euro(defaults.range("cost_lost_day", unit=money.per("per day")))
    order = owner.choice("order_parts", ORDER_TIMES, "")
    cap_cost = owner.number("cap_cost", values.ABOVE_ZERO_MONEY)
    cap_chance = owner.number("cap_chance", values.FRACTION)
    if cap_cost is not None and cap_chance is None:
        cap_chance = defaults.number("cap_chance")
    elsewhere = owner.number("elsewhere_days", values.DAYS)
    if elsewhere is None and wrong_unit:
        elsewhere = defaults.number("elsewhere_days")
    return Terms(
        currency=money.currency,
        vat_rate=money.vat_rate_unlisted,
        exchange=dict(money.exchange),
        exchange_date=money.exchange_date,
        labour=dict(labour.rates),
        cost_own_hour=own_hour,
        cost_lost_day=lost_day,
        hours_per_day=number("hours_per_day", values.DAY_HOURS),
        hours_correlation=number("hours_correlation", values.FRACTION),
        order_parts=order or defaults.text("order_parts"),
        give_up_days=number("give_up_days", values.ABOVE_ZERO_DAYS),
        near_tie_share=number("near_tie_share", values.FRACTION),
        near_tie_chance=number("near_tie_chance", values.FRACTION),
        risk_tolerance=owner.number("risk_tolerance", values.ABOVE_ZERO_MONEY),
        cap_cost=cap_cost,
        cap_chance=float(defaults.peek("cap_chance")) if cap_chance is None else cap_chance,
        elsewhere_days=elsewhere or 0.0,
    )
