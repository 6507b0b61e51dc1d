"""What one parcel from one supplier costs at the door: terms, border and lines; the rules of taxing; the price.

:func:`price_parcel` is the one truth: the program that looks for baskets is held to it to half a cent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor, inf

from repairecon.formulas.integer_program import Program

CLOSE = 1e-6
"""Money and kilograms are compared with limits to this much, so that noise in the last digit decides nothing."""
ABOVE = 1e-3
"""What is over a limit is over it by this much money at least."""
CHARGES = ("goods", "core", "carriage", "insurance", "card_fee", "duty", "vat", "handling", "vat_back", "core_refund")
"""The charges of a line, in the order in which they fall."""


@dataclass(frozen=True)
class ParcelTerms:
    """A supplier's terms at point values; money in the supplier's money but for ``cost_handling``.

    ``bands`` are (up to kg, carriage), both rising; with any, they take the place of ``carriage`` and nothing heavier
    than the last goes as one parcel. Give none where a weight is not known.
    """

    exchange: float = 1.0
    vat_included: bool = True
    vat_rate: float = 0.0
    imported: bool = False
    carriage: float = 0.0
    bands: tuple[tuple[float, float], ...] = ()
    free_above: float | None = None
    minimum_order: float = 0.0
    discount_rate: float = 0.0
    card_fee_rate: float = 0.0
    insurance_rate: float = 0.0
    cost_handling: float = 0.0
    by_hand: bool = False

    @property
    def net(self) -> float:
        """Home money for one of the supplier's money as quoted, free of the supplier's VAT."""
        return self.exchange / (1.0 + self.vat_rate) if self.vat_included else self.exchange


@dataclass(frozen=True)
class Border:
    """Tax at home and the rules at the border, in home money; see :func:`price_parcel` for their meaning."""

    home_vat_rate: float = 0.0
    duty_free_up_to: float = 0.0
    vat_free_up_to: float = 0.0
    flat_duty_rate: float | None = None
    flat_duty_up_to: float = 0.0
    hand_allowance: float = 0.0
    vat_back: bool = False


@dataclass(frozen=True)
class Line:
    """One line of a quote: (from packs, price of a pack) rising from 1 pack, in the supplier's money.

    ``weight_kg`` and ``core``, a surcharge until the old one is handed in, are of a piece.
    """

    prices: tuple[tuple[int, float], ...]
    pack: int = 1
    minimum_packs: int = 1
    weight_kg: float = 0.0
    duty_rate: float = 0.0
    core: float = 0.0

    def price(self, packs: int) -> float:
        """Price of each pack when so many are bought."""
        return [price for start, price in self.prices if start <= max(packs, 1)][-1]

    def packs_for(self, pieces: int) -> int:
        """Fewest packs that are sold and hold so many pieces; a pack cannot be broken."""
        return max(self.minimum_packs, -(-pieces // self.pack))

    def at_factor(self, factor: float) -> Line:
        return replace(self, prices=tuple((start, price * factor) for start, price in self.prices))


@dataclass(frozen=True)
class TaxRule:
    """How duty (at the lines' own rates where no flat one is given) and VAT are taken, and from which parcels.

    ``value_up_to`` limits the goods value of the whole consignment, ``dutiable_up_to`` and ``dutiable_from`` the value
    of what is subject to duty.
    """

    duty_by: str
    flat_rate: float | None = 0.0
    vat_rate: float = 0.0
    vat_back: bool = False
    value_up_to: float = inf
    dutiable_up_to: float = inf
    dutiable_from: float = 0.0

    def duty_rate(self, own: float) -> float:
        """Rate for a line; goods free of duty by their own rate stay free at the flat one."""
        return own if self.flat_rate is None or own <= 0.0 else self.flat_rate

    def burden(self, own: float) -> float:
        """Duty and VAT that is not given back, a unit of value at the border."""
        duty = self.duty_rate(own)
        return duty + (0.0 if self.vat_back else self.vat_rate * (1.0 + duty))


def tax_rules(terms: ParcelTerms, border: Border) -> tuple[TaxRule, ...]:
    """The ways in which a parcel may be taxed at the border, the most lenient first: the first that it keeps holds.

    Without a border, or carried by hand, the thresholds of consignments do not apply. A parcel of no value is at or
    under any threshold, even one of 0. Council Regulation (EC) No 1186/2009, articles 23 and 41; Council Regulation
    (EEC) No 2658/87, annex I, part one, section II D (the flat rate is on goods subject to duty, not on those free of
    it); the numbers from memory.
    """
    if not terms.imported:
        return (TaxRule("no border"),)
    flat = border.flat_duty_rate is not None
    duties: list[tuple[str, float | None, float, float, float]]
    duties = [("own rates", None, inf, inf, border.flat_duty_up_to if flat else 0.0)]
    if flat:
        duties.insert(0, ("flat rate", border.flat_duty_rate, inf, border.flat_duty_up_to, 0.0))
    if not terms.by_hand:
        duties.insert(0, ("none", 0.0, border.duty_free_up_to, inf, 0.0))
    vats = [(0.0, border.vat_free_up_to), (border.home_vat_rate, inf)][terms.by_hand :]
    return tuple(
        TaxRule(by, rate, vat, border.vat_back, min(value, limit), up_to, start)
        for by, rate, value, up_to, start in duties
        for vat, limit in vats
    )


@dataclass(frozen=True)
class LandedLine:
    """What one line costs at the door, each charge as a figure of its own [home money]; they add up to ``total``.

    ``goods`` to ``card_fee`` are free of VAT, ``vat`` is all of it; ``vat_back`` and ``core_refund`` are negative.
    ``free_packs`` went in under the traveller's allowance. ``quoted_price`` is of a pack, before discount.
    """

    packs: int
    quoted_price: float
    goods: float
    core: float
    carriage: float
    insurance: float
    card_fee: float
    duty: float
    vat: float
    handling: float
    vat_back: float
    core_refund: float
    free_packs: int

    @property
    def total(self) -> float:
        return float(sum(getattr(self, name) for name in CHARGES))


@dataclass(frozen=True)
class LandedParcel:
    """A parcel line by line; ``quoted_goods`` after discount in the supplier's money, ``duty_by`` as its rule."""

    lines: tuple[LandedLine, ...]
    quoted_goods: float
    weight_kg: float
    carriage_free: bool
    duty_by: str

    def charge(self, name: str) -> float:
        return float(sum(getattr(line, name) for line in self.lines))

    @property
    def total(self) -> float:
        return sum(line.total for line in self.lines)


def parcel_carriage(terms: ParcelTerms, quoted_goods: float, weight_kg: float) -> float:
    """Carriage of a parcel as quoted: nothing from ``free_above`` of goods (after discount) on, else its weight band's.

    ValueError for a parcel [kg] heavier than the last band.
    """
    if terms.free_above is not None and quoted_goods >= terms.free_above - CLOSE:
        return 0.0
    if not terms.bands:
        return terms.carriage
    for up_to_kg, quoted in terms.bands:
        if weight_kg <= up_to_kg + CLOSE:
            return quoted
    raise ValueError(f"a parcel of {weight_kg} kg is heavier than the last weight band")


def set_against_allowance(
    items: Sequence[tuple[float, int, bool, float]], allowance: float, most: float, least: float
) -> tuple[int, ...] | None:
    """Which packs a traveller sets against the allowance: those that save most; None if the limits cannot be kept.

    Of each item: goods value of a pack [home money], packs carried, whether it is subject to duty, duty and VAT saved
    by a pack let in free [home money]; ``most`` and ``least`` value that may remain subject to duty [home money]. Whole
    packs only, since one item's value may not be split (Directive 2007/74/EC, article 7, from memory); that the
    traveller may choose the items is common practice, no source. A knapsack of whole numbers, solved to the end.
    """
    if sum(value * n for value, n, _, _ in items) <= allowance + CLOSE / 2 and least <= 0.0 <= most:
        return tuple(n for _, n, _, _ in items)  # all goes in free: no choice to be made
    if len(items) == 1 and items[0][0] > 0.0:  # thousands of quotes are priced alone
        ((value, n, dutiable, _),) = items
        k = min(n, floor((min(allowance, value * n - least if dutiable else inf) + CLOSE / 2) / value))
        return (k,) if k >= 0 and (not dutiable or value * (n - k) <= most + CLOSE / 2) else None
    program = Program()
    free = [program.column(-saved, float(n), whole=True) for _, n, _, saved in items]
    program.row([(k, value) for k, (value, _, _, _) in zip(free, items, strict=True)], high=allowance + CLOSE / 2)
    left = sum(value * n for value, n, dutiable, _ in items if dutiable)
    subject = [(k, value) for k, (value, _, dutiable, _) in zip(free, items, strict=True) if dutiable]
    program.row(subject, left - most, left - least + CLOSE / 2)
    found = program.solve(60.0, gap=0.0)
    return None if found.point is None else tuple(int(k + 0.5) for k in found.point)


class _Bought:
    """A line as it is bought; its share of the parcel and the packs that go in free come once all lines are known."""

    share, carriage, free_packs = 0.0, 0.0, 0

    def __init__(self, terms: ParcelTerms, line: Line, packs: int) -> None:
        self.line, self.packs, self.price = line, packs, line.price(packs)
        self.quoted = packs * self.price * (1.0 - terms.discount_rate)
        self.core = terms.net * packs * line.core * line.pack
        self.value = terms.net * self.quoted + self.core

    def landed(self, terms: ParcelTerms, border: Border, rule: TaxRule) -> LandedLine:
        """Its charges, once the rule of the parcel is known."""
        goods = terms.net * self.quoted
        billed = goods + self.core + self.carriage
        insurance, card_fee = terms.insurance_rate * billed, terms.card_fee_rate * billed
        if terms.imported:
            taxed = (billed + insurance) * (1.0 - self.free_packs / self.packs)
            duty = taxed * rule.duty_rate(self.line.duty_rate)
            vat = (taxed + duty) * rule.vat_rate
        else:
            duty, vat = 0.0, terms.vat_rate * (billed + insurance + card_fee)
        tax_on_refund = 0.0 if terms.imported or border.vat_back else terms.vat_rate
        return LandedLine(
            packs=self.packs, quoted_price=self.price, goods=goods, core=self.core, carriage=self.carriage,
            insurance=insurance, card_fee=card_fee, duty=duty, vat=vat, handling=terms.cost_handling * self.share,
            vat_back=-vat if border.vat_back else 0.0,
            core_refund=-self.core * (1.0 + tax_on_refund), free_packs=self.free_packs,
        )  # fmt: skip


def price_parcel(
    terms: ParcelTerms, lines: Sequence[Line], packs: Sequence[int], border: Border | None = None
) -> LandedParcel:
    """Landed cost of a parcel, line by line.

    A break price holds for all packs of its line. The discount comes off goods, not off carriage or core. Free carriage
    and minimum order go by goods as quoted, after discount, without core. Insurance and card fee are on goods, core and
    carriage. All charges of the supplier carry VAT like the goods; on export it is taken off. Charges of the whole
    parcel are shared over the lines by goods value with core, equally if that is 0.

    At the border: no duty on a consignment of up to ``duty_free_up_to`` of goods value (with core, without carriage and
    tax), no VAT up to ``vat_free_up_to``; a flat rate instead of the lines' own where what is subject to duty is worth
    up to ``flat_duty_up_to``, goods free of duty staying free; else each line's own rate. Duty is on goods, core,
    carriage and insurance, VAT on these and the duty; the card fee is in neither. Handling is charged once a parcel.
    Carried by hand, an allowance takes the place of these thresholds: packs of up to that value go in free whole, the
    best choice of them being made, together with their share of carriage. Each parcel by hand is one journey. Of a core
    surcharge all comes back, with the supplier's VAT but not with duty and VAT paid at the border. A buyer registered
    for VAT gets all VAT back. ValueError for less than the minimum order, fewer packs than are sold, or too heavy a
    parcel.

    Revenue (Ireland), "How to calculate duty and VAT on goods from outside the EU", example under "Standard rate of
    duty, plus VAT"; Regulation (EU) No 952/2013, articles 70 and 71; Directive 2006/112/EC, articles 85 and 86 (the
    article numbers from memory). Shares by value, charges of supplier and carrier: common practice, no source.

    >>> parcel = price_parcel(ParcelTerms(carriage=8.0, vat_included=False, vat_rate=0.25), [Line(((1, 20.0),))], [2])
    >>> parcel.charge("vat"), parcel.total
    (12.0, 60.0)
    """
    if any(n < line.minimum_packs for n, line in zip(packs, lines, strict=True)):
        raise ValueError("fewer packs than are sold")
    border = border or Border()
    bought = [_Bought(terms, line, n) for line, n in zip(lines, packs, strict=True)]
    spent = sum(b.quoted for b in bought)
    if spent < terms.minimum_order - CLOSE:
        raise ValueError(f"goods of {spent} are under the minimum order of {terms.minimum_order}")
    weight, value = sum(b.packs * b.line.weight_kg * b.line.pack for b in bought), sum(b.value for b in bought)
    carried = terms.net * parcel_carriage(terms, spent, weight)
    for b in bought:
        b.share = b.value / value if value > 0.0 else 1.0 / len(lines)
        b.carriage = carried * b.share
    rule = _rule(terms, border, bought)
    landed = tuple(b.landed(terms, border, rule) for b in bought)
    carriage_free = terms.free_above is not None and spent >= terms.free_above - CLOSE
    return LandedParcel(landed, spent, weight, carriage_free=carriage_free, duty_by=rule.duty_by)


def _rule(terms: ParcelTerms, border: Border, bought: Sequence[_Bought]) -> TaxRule:
    """The rule of taxing that holds for the parcel; the packs of each line that go in free are noted."""
    rules = tax_rules(terms, border)
    if terms.imported and terms.by_hand and border.hand_allowance > 0.0:
        return _rule_by_hand(rules, terms, border.hand_allowance, bought)
    value, subject = sum(b.value for b in bought), sum(b.value for b in bought if b.line.duty_rate > 0.0)
    kept = (r for r in rules if value <= r.value_up_to + CLOSE and subject <= r.dutiable_up_to + CLOSE)
    return next(kept)  # the last rule has no limits


def _rule_by_hand(rules: Sequence[TaxRule], terms: ParcelTerms, allowance: float, bought: Sequence[_Bought]) -> TaxRule:
    """The rule under which least is paid with the allowance set against the packs that save most."""
    found: list[tuple[float, TaxRule, tuple[int, ...]]] = []
    for rule in rules:
        taxed = [(b.value + b.carriage) * (1.0 + terms.insurance_rate) for b in bought]
        burdens = [t * rule.burden(b.line.duty_rate) for t, b in zip(taxed, bought, strict=True)]
        items = [
            (b.value / b.packs, b.packs, b.line.duty_rate > 0.0, burden / b.packs)
            for b, burden in zip(bought, burdens, strict=True)
        ]
        least = rule.dutiable_from + ABOVE if rule.dutiable_from > 0.0 else 0.0
        free = set_against_allowance(items, allowance, rule.dutiable_up_to, least)
        if free is not None:
            left = sum(x * (1.0 - k / b.packs) for x, k, b in zip(burdens, free, bought, strict=True))
            found.append((left, rule, free))
    if not found:  # what is subject to duty lies within a hair of the limit
        return rules[-1]
    _, rule, free = min(found, key=lambda entry: entry[0])
    for b, packs in zip(bought, free, strict=True):
        b.free_packs = packs
    return rule
