"""What one parcel from one supplier costs at the door, line by line, with the rules of the whole consignment."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.buying.landed import import_charges
from repairecon.buying.parcel_terms import (
    CHARGES,
    CLOSE,
    Border,
    LandedLine,
    LandedParcel,
    Line,
    ParcelTerms,
    TaxRule,
    tax_rules,
)

__all__ = [
    "CHARGES",
    "Border",
    "LandedLine",
    "LandedParcel",
    "Line",
    "ParcelTerms",
    "parcel_carriage",
    "price_parcel",
    "set_against_allowance",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_BORDER = Border()
_ABOVE = 1e-3
"""What is over a limit is over it by this much money at least."""


def parcel_carriage(terms: ParcelTerms, quoted_goods: float, weight_kg: float) -> float:
    """Carriage of a parcel.

    Parameters
    ----------
    terms : ParcelTerms
        The supplier's terms [supplier's money].
    quoted_goods : float
        Goods as quoted, after discount [supplier's money].
    weight_kg : float
        Weight of the parcel [kg].

    Returns
    -------
    float
        Carriage as quoted [supplier's money].

    Notes
    -----
    Nothing from ``free_above`` of goods on; else by the first weight band that holds the parcel, or one
    charge where there are no bands. ValueError for a parcel heavier than the last band.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> terms = ParcelTerms(bands=((2.0, 9.0), (10.0, 15.0)), free_above=200.0)
    >>> parcel_carriage(terms, 120.0, 2.5), parcel_carriage(terms, 200.0, 40.0)
    (15.0, 0.0)
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
    values: ArrayLike,
    dutiable: Sequence[bool],
    packs: Sequence[int],
    saved: ArrayLike,
    limits: tuple[float, float, float],
) -> tuple[int, ...] | None:
    """Which packs a traveller sets against the allowance: those that save most.

    Parameters
    ----------
    values : array
        Goods value of a pack of each line [home money].
    dutiable : sequence of bool
        Whether the line is subject to duty.
    packs : sequence of int
        Packs carried of each line [packs].
    saved : array
        Duty and VAT saved by each pack let in free [home money].
    limits : tuple of 3 floats
        Allowance; most and least value that may remain subject to duty [home money].

    Returns
    -------
    tuple of int or None
        Packs let in free of each line [packs]; None if the limits cannot be kept.

    Notes
    -----
    Whole packs only: the allowance does not split one item. The choice is the traveller's, so the best
    one is taken: a knapsack of whole numbers, solved exactly by branch and bound.

    References
    ----------
    Directive 2007/74/EC, article 7 (the value of an individual item may not be split up; from memory).
    That the traveller may choose the items: common practice, no source.

    Examples
    --------
    >>> saved = [104.0, 115.0, 156.0]
    >>> set_against_allowance([400.0, 500.0, 600.0], [True, False, True], [1, 1, 1], saved, (430.0, 700.0, 0.0))
    (1, 0, 0)
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    allowance, most, least = limits
    value, count = np.asarray(values, dtype=float), np.asarray(packs, dtype=float)
    subject = np.where(np.asarray(dutiable, dtype=bool), value, 0.0)
    whole = float(subject @ count)
    rows = LinearConstraint(
        np.vstack([value, subject]),
        [-np.inf, whole - most],
        [allowance + CLOSE / 2, whole - least + CLOSE / 2],
    )
    found = milp(
        -np.asarray(saved, dtype=float),
        constraints=rows,
        integrality=np.ones(len(value)),
        bounds=Bounds(0.0, count),
        options={"mip_rel_gap": 0.0},
    )
    return None if found.x is None else tuple(int(k + 0.5) for k in found.x)


def price_parcel(
    terms: ParcelTerms, lines: Sequence[Line], packs: Sequence[int], border: Border = NO_BORDER
) -> LandedParcel:
    """Landed cost of a parcel, line by line.

    Parameters
    ----------
    terms : ParcelTerms
        The supplier's terms [supplier's money; handling in home money].
    lines : sequence of Line
        What is bought [supplier's money].
    packs : sequence of int
        Packs of each line, at least one [packs].
    border : Border
        Tax at home and rules at the border [home money].

    Returns
    -------
    LandedParcel
        Every charge of every line [home money].

    Notes
    -----
    A break price holds for all packs of its line. The discount comes off goods, not off carriage or
    core. Free carriage and minimum order go by goods as quoted, after discount, without core.
    Insurance and card fee are on goods, core and carriage. All charges of the supplier carry VAT like
    the goods; on export it is taken off. Charges of the whole parcel are shared over the lines by
    goods value with core, equally if that is 0.

    At the border: no duty on a consignment of up to ``duty_free_up_to`` of goods value (with core, without
    carriage and tax), no VAT up to ``vat_free_up_to``; a flat rate instead of the lines' own where what
    is subject to duty is worth up to ``flat_duty_up_to``, goods free of duty staying free; else each
    line's own rate. Duty is on goods, core, carriage and insurance, VAT on these and the duty; the card
    fee is in neither. Handling is charged once a parcel. Carried by hand, an allowance
    takes the place of these thresholds: packs of up to that value go in free whole, the best choice of them being
    made, together with their share of carriage. Each parcel by hand is one journey with one allowance.

    Of a core surcharge ``core_refund_rate`` comes back, with the supplier's VAT but not with duty and VAT
    paid at the border. A buyer registered for VAT gets all VAT back.

    ValueError for less than the minimum order, fewer packs than are sold, or too heavy a parcel.

    References
    ----------
    Revenue (Ireland), "How to calculate duty and VAT on goods from outside the EU", example under
    "Standard rate of duty, plus VAT"; Regulation (EU) No 952/2013, articles 70 and 71; Directive
    2006/112/EC, articles 85 and 86 (the article numbers from memory). Shares by value, charges of
    supplier and carrier: common practice, no source.

    Examples
    --------
    >>> parcel = price_parcel(ParcelTerms(carriage=8.0, vat_included=False, vat_rate=0.25), [Line(((1, 20.0),))], [2])
    >>> parcel.charge("vat"), parcel.total
    (12.0, 60.0)
    """
    if len(lines) != len(packs) or not lines or min(packs) < 1:
        raise ValueError("give at least one line, and at least one pack of each")
    if any(n < line.minimum_packs for n, line in zip(packs, lines, strict=True)):
        raise ValueError("fewer packs than are sold")
    count = np.asarray(packs, dtype=float)
    price = np.array([line.price(n) for n, line in zip(packs, lines, strict=True)])
    quoted = count * price * (1.0 - terms.discount_rate)
    if quoted.sum() < terms.minimum_order - CLOSE:
        raise ValueError(f"goods of {quoted.sum()} are under the minimum order of {terms.minimum_order}")
    core = terms.net * count * np.array([line.core * line.pack for line in lines])
    weight = float(count @ np.array([line.weight_kg * line.pack for line in lines]))
    goods, value = terms.net * quoted, terms.net * quoted + core
    share = value / value.sum() if value.sum() > 0.0 else np.full(len(lines), 1.0 / len(lines))
    quoted_carriage = parcel_carriage(terms, float(quoted.sum()), weight)
    carriage = terms.net * quoted_carriage * share
    insurance, card_fee = terms.insurance_rate * (value + carriage), terms.card_fee_rate * (value + carriage)
    rule, free = _rule_and_free_packs(terms, border, lines, packs, value, value + carriage + insurance)
    if terms.imported:
        kept = 1.0 - free / count
        own = np.array([rule.duty_rate(line.duty_rate, border) for line in lines])
        duty, _, vat = import_charges(value * kept, carriage * kept, insurance * kept, own, rule.vat_rate(border))
    else:
        duty, vat = np.zeros(len(lines)), terms.vat_rate * (value + carriage + insurance + card_fee)
    tax_on_refund = 0.0 if terms.imported or border.vat_back else terms.vat_rate
    refund = core * np.array([line.core_refund_rate for line in lines]) * (1.0 + tax_on_refund)
    back = vat if border.vat_back else np.zeros(len(lines))
    charges = (goods, core, carriage, insurance, card_fee, duty, vat, terms.cost_handling * share, -back, -refund)
    by_line = [dict(zip(CHARGES, map(float, row), strict=True)) for row in np.transpose(charges)]
    landed = tuple(
        LandedLine(packs=int(n), quoted_price=float(price[i]), free_packs=int(free[i]), **by_line[i])
        for i, n in enumerate(packs)
    )
    is_free = terms.free_above is not None and bool(quoted.sum() >= terms.free_above - CLOSE)
    return LandedParcel(landed, float(quoted.sum()), weight, float(value.sum()), is_free, rule.duty_by, rule.vat_free)


def _rule_and_free_packs(
    terms: ParcelTerms, border: Border, lines: Sequence[Line], packs: Sequence[int], value: Floats, taxed: Floats
) -> tuple[TaxRule, Floats]:
    """The rule of taxing that holds for the parcel, and the packs of each line that go in free."""
    none = np.zeros(len(lines))
    dutiable = [line.duty_rate > 0.0 for line in lines]
    subject = float(value[np.array(dutiable)].sum())
    by_hand = terms.imported and terms.by_hand and border.hand_allowance > 0.0
    if not by_hand:
        for rule in tax_rules(terms, border):
            if value.sum() <= rule.value_up_to + CLOSE and subject <= rule.dutiable_up_to + CLOSE:
                return rule, none
        raise AssertionError("the last rule has no limits")
    found: list[tuple[float, TaxRule, Floats]] = []
    for rule in tax_rules(terms, border):
        burden = taxed * np.array([rule.burden(line.duty_rate, border) for line in lines])
        least = rule.dutiable_from + _ABOVE if rule.dutiable_from > 0.0 else 0.0
        chosen = set_against_allowance(
            value / packs, dutiable, packs, burden / packs, (border.hand_allowance, rule.dutiable_up_to, least)
        )
        if chosen is not None:
            free = np.array(chosen, dtype=float)
            found.append((float(burden @ (1.0 - free / packs)), rule, free))
    if not found:  # what is subject to duty lies within a hair of the limit
        return tax_rules(terms, border)[-1], none
    _, rule, free = min(found, key=lambda entry: entry[0])
    return rule, free
