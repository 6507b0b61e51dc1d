"""One supplier's parcel as rows of a mixed-integer program: its charges are linear within a way of charging.

A way of charging is a carriage (a weight band, or free) with a rule of taxing at the border, and has one column of
0 or 1. Only duty on carriage, shared over lines by value, is not linear: carriage x (taxes on the lines / value of the
parcel). It is held from below by the value's interval, exactly at the interval's two ends; the intervals are cut finer
where an answer shows that it matters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import ceil, floor, inf

from repairecon.buying.parcel import ABOVE, Border, Line, ParcelTerms, TaxRule, tax_rules
from repairecon.formulas.integer_program import Program, Sum

Offers = dict[int, tuple[Line, int]]
"""Lines that the supplier offers by their index in the order, each with the pieces wanted of its part."""


@dataclass
class Level:
    """Packs of an offer bought at one price: those that are needed, those over, from so many to so many."""

    offer: int
    price: float
    value: float
    kilos: float
    duty_rate: float
    need: int
    start: int
    stop: int
    base: float = 0.0
    useful: int = -1
    over: int = -1
    copies: Sum = field(default_factory=list)

    @property
    def packs(self) -> Sum:
        """All packs of it."""
        return [(self.useful, 1.0)] + ([(self.over, 1.0)] if self.over >= 0 else [])


Taxed = list[tuple[Level, int]]
"""Columns of packs under one rule, each with its level."""


@dataclass(frozen=True)
class Charging:
    """A carriage in home money, net, up to a weight, from goods on, with a rule of taxing and an interval of value."""

    carriage: float
    up_to_kg: float
    is_free: bool
    rule: int
    low: float
    high: float
    chosen: int


def _rules(terms: ParcelTerms, border: Border, lines: Sequence[Line]) -> dict[TaxRule, tuple[float, float]]:
    """The rules of taxing that can matter, each with the least and the most that a unit of carriage can bear.

    Every rule kept multiplies the columns, so one is dropped where a wider one taxes every line alike. A flat rate
    that is nowhere dearer than the own rates is chosen by the program itself wherever it may be, so that the own
    rates need no lower limit.
    """
    worthless = any(line.core == 0.0 and min(price for _, price in line.prices) == 0.0 for line in lines)
    flat = border.flat_duty_rate or 0.0
    kept: dict[TaxRule, list[float]] = {}
    for rule in reversed(tax_rules(terms, border)):
        burdens = [rule.burden(line.duty_rate) for line in lines]
        wider = any(
            burdens == also and k.value_up_to >= rule.value_up_to and k.dutiable_from <= rule.dutiable_from
            and k.dutiable_up_to >= rule.dutiable_up_to
            for k, also in kept.items()
        )  # fmt: skip
        if rule.dutiable_from > 0.0 and all(flat <= line.duty_rate for line in lines if line.duty_rate > 0.0):
            rule = replace(rule, dutiable_from=0.0)
        possible = rule.dutiable_up_to > 0.0 and (rule.value_up_to > 0.0 or worthless)
        if possible and not wider:
            kept[rule] = burdens
    return {rule: (min(some), max(some)) for rule, some in kept.items()}


class ParcelRows:
    """Writes a supplier's parcel into a program: ``used`` is its column of 0 or 1."""

    def __init__(
        self, program: Program, terms: ParcelTerms, border: Border, offers: Offers, cuts: tuple[float, ...] = (),
        margin: float = 0.0,
    ) -> None:  # fmt: skip
        self.program, self.terms, self.border, self.margin = program, terms, border, margin
        domestic_vat = 0.0 if terms.imported or border.vat_back else terms.vat_rate
        self.gross = (1.0 + terms.insurance_rate + terms.card_fee_rate) * (1.0 + domestic_vat)
        self.refund_vat = 1.0 + domestic_vat
        self.taxed = 1.0 + terms.insurance_rate
        self.allowance = border.hand_allowance if terms.imported and terms.by_hand else 0.0
        self._burdens = _rules(terms, border, [line for line, _ in offers.values()])
        if self.allowance:  # what goes in free bears nothing
            self._burdens = {rule: (0.0, most) for rule, (_, most) in self._burdens.items()}
        self.rules = list(self._burdens)
        self.levels: list[Level] = []
        self.excess = -1
        self.used = program.column(upper=1.0)
        for offer, (line, pieces) in offers.items():
            self._offer(offer, line, pieces)
        self.most_value, self.most_kilos = self._mosts(offers)
        self._charging(cuts)
        self._carriage_limits()
        self._taxes()

    # what is possible at all

    def spread(self, rule: TaxRule) -> float:
        """Between the least and the most that carriage can bear under a rule."""
        least, most = self._burdens[rule]
        return most - least

    def _goals(self, price: float, value: float) -> list[tuple[float, float]]:
        """What buying more than is needed could reach, and what a pack brings to it.

        Goods for a minimum order or free carriage; dutiable value for own rates under a dearer flat one; value that
        takes carriage away from goods of a higher duty.
        """
        goals = [(self.terms.minimum_order, price), (self.terms.free_above or 0.0, price)]
        if any(rule.dutiable_from > 0.0 for rule in self.rules):
            goals.append((self.border.flat_duty_up_to + 2 * ABOVE, value))
        if self.terms.imported:
            dearest = max([self.terms.carriage, *(quoted for _, quoted in self.terms.bands)]) * self.terms.net
            goals.append((dearest * self.taxed * max(self.spread(rule) for rule in self.rules), value))
        return [(goal, worth) for goal, worth in goals if goal > 0.0 and worth > 0.0]

    def _mosts(self, offers: Offers) -> tuple[float, float]:
        """No basket of least cost has a parcel worth more, or heavier: what is over is there for a goal alone.

        They are the large constants of the rows below; the nearer they are to what can be, the faster the proof.
        """
        value = kilos = top_value = top_kilos = 0.0
        for level in self.levels:
            line, pieces = offers[level.offer]
            packs = max(line.packs_for(pieces), line.prices[-1][0])
            value, kilos = value + packs * level.value, kilos + packs * level.kilos
            for goal, worth in self._goals(level.price, level.value):
                top_value = max(top_value, goal / worth * level.value)
                top_kilos = max(top_kilos, goal / worth * level.kilos)
            top_value, top_kilos = max(top_value, 2.0 * level.value), max(top_kilos, 2.0 * level.kilos)
        return max(1.0, value + 2.0 * top_value), max(1.0, kilos + 2.0 * top_kilos)

    # packs

    def _levels(self, offer: int, line: Line, pieces: int) -> tuple[list[Level], int]:
        """The prices of a line at which buying can pay, and the most packs that ever pay."""
        net, keep, core = self.terms.net, 1.0 - self.terms.discount_rate, line.core * line.pack
        need = -(-pieces // line.pack)
        last = line.prices[-1][1] * keep
        goals = self._goals(last, net * (last + core))
        goal = max((ceil(goal / worth - 1e-9) for goal, worth in goals), default=0)
        most = max(line.packs_for(pieces), line.prices[-1][0], goal)
        least = line.packs_for(pieces)
        levels = []
        stops = [start - 1 for start, _ in line.prices[1:]] + [most]
        for (start, quoted), stop in zip(line.prices, stops, strict=True):
            start = max(start, line.minimum_packs)
            # a price for more packs than are needed pays only if they cost less than those needed, or reach a goal
            pays = start <= need or start * quoted < line.price(least) * least or goal > need
            if stop >= start and (pays or start == line.minimum_packs):
                price = quoted * keep
                level = Level(
                    offer=offer, price=price, value=net * (price + core), kilos=line.weight_kg * line.pack,
                    duty_rate=line.duty_rate, need=need, start=start, stop=stop,
                )  # fmt: skip
                level.base = level.value * self.gross - net * core * self.refund_vat
                levels.append(level)
        return levels, most

    def _offer(self, offer: int, line: Line, pieces: int) -> None:
        """Columns of the packs of a line, and rows that tie them to the parcel.

        Packs that cover the need are apart from those over it: only so do the rows "packs at most need x used" bind
        tightly, and a parcel is not half opened by the relaxation.
        """
        program, choices = self.program, []
        levels, most = self._levels(offer, line, pieces)
        for level in levels:
            level.useful = program.column(level.base, min(level.stop, level.need), whole=True)
            if most > level.need:
                level.over = program.column(level.base, level.stop, whole=True)
            gate = self.used
            if level.start > 1 or len(levels) > 1:  # all packs bear one price: at most one level, from its start on
                gate = program.column(upper=1.0, whole=True)
                choices.append((gate, 1.0))
                program.row([*level.packs, (gate, -float(level.start))], low=0.0)
                program.row([*level.packs, (gate, -float(level.stop))], high=0.0)
            program.row([(level.useful, 1.0), (gate, -float(min(level.stop, level.need)))], high=0.0)
            if level.over >= 0:
                program.row([(level.over, 1.0), (gate, -float(level.stop))], high=0.0)
        if choices:
            program.row([*choices, (self.used, -1.0)], high=0.0)
        self.levels += levels

    # ways of charging

    def _charging(self, cuts: tuple[float, ...]) -> None:
        """A column for each carriage under each rule within each interval of value; one of them where it is used."""
        terms, program = self.terms, self.program
        self.ways: list[Charging] = []
        choices = [(quoted, up_to, False) for up_to, quoted in terms.bands] or [(terms.carriage, inf, False)]
        if terms.free_above is not None:
            choices.append((0.0, inf, True))
        for r, rule in enumerate(self.rules):
            # intervals are for the tax on carriage alone: none where all lines bear it alike
            edges = [0.0, *(cuts if self.spread(rule) > 0.0 else ()), self.most_value]
            for quoted, up_to_kg, is_free in choices:
                carriage = quoted * terms.net
                cost = carriage * self.gross + terms.cost_handling + carriage * self.taxed * self._burdens[rule][0]
                for low, high in pairwise(edges):
                    chosen = program.column(cost, 1.0, whole=True)
                    self.ways.append(Charging(carriage, up_to_kg, is_free, rule=r, low=low, high=high, chosen=chosen))
        program.row([(way.chosen, 1.0) for way in self.ways] + [(self.used, -1.0)], 0.0, 0.0)

    def _carriage_limits(self) -> None:
        """Goods and weight by which a parcel may be sent, and sent at a carriage."""
        terms, program = self.terms, self.program
        goods = [(c, level.price * w) for level in self.levels for c, w in level.packs]
        free = [way.chosen for way in self.ways if way.is_free]
        least = terms.minimum_order + (self.margin if terms.minimum_order else 0.0)
        if least > 0.0:
            program.row([*goods, (self.used, -least)], low=0.0)
        if free:
            more = max((terms.free_above or 0.0) + self.margin - least, 0.0)
            program.row([*goods, (self.used, -least), *((c, -more) for c in free)], low=0.0)
        if terms.bands:
            kilos = [(c, level.kilos * w) for level in self.levels for c, w in level.packs]
            limits = [(way.chosen, -min(self.most_kilos, way.up_to_kg - self.margin)) for way in self.ways]
            program.row([*kilos, *limits], high=0.0)

    # duty and VAT at the border

    def _taxes(self) -> None:
        """Taxes on goods: on the packs themselves under a single rule, else on a copy of them for each rule."""
        if not self.terms.imported:
            return
        whole = len(self.rules) == 1 and not self.allowance
        for r, rule in enumerate(self.rules):
            carried: Taxed = []
            free: Taxed = []
            for level in self.levels:
                burden = rule.burden(level.duty_rate) * level.value * self.taxed
                if whole:
                    for column, _ in level.packs:
                        self.program.cost[column] += burden
                    carried += [(level, column) for column, _ in level.packs]
                else:
                    self._copy(r, rule, level, burden, carried, free)
            self._limits(r, rule, carried, free)
            self._tax_on_carriage(r, rule, carried, free)
        for level in () if whole else self.levels:
            self.program.row(level.copies + [(c, -w) for c, w in level.packs], 0.0, 0.0)

    def _copy(self, r: int, rule: TaxRule, level: Level, burden: float, carried: Taxed, free: Taxed) -> None:
        """Packs of a level under one rule, and those of them that go in free by hand.

        The copy needs no whole numbers: as one rule holds, it is all of the packs or none. What goes in free is whole.
        """
        program, most = self.program, level.stop
        if level.value > 0.0 and rule.value_up_to < inf:
            most = min(most, floor(rule.value_up_to / level.value + 1e-9))
        packs = program.column(burden, most)
        carried.append((level, packs))
        level.copies.append((packs, 1.0))
        program.row([(packs, 1.0), *((w.chosen, -float(most)) for w in self.ways if w.rule == r)], high=0.0)
        if self.allowance and level.value <= self.allowance + 1e-6:
            most = level.stop if level.value == 0.0 else min(level.stop, floor(self.allowance / level.value + 1e-9))
            free.append((level, program.column(-burden, most, whole=True)))
            program.row([(free[-1][1], 1.0), (packs, -1.0)], high=0.0)

    def _limits(self, r: int, rule: TaxRule, carried: Taxed, free: Taxed) -> None:
        """Thresholds of a rule on the whole consignment, and the allowance."""
        program, margin = self.program, self.margin
        chosen = [w.chosen for w in self.ways if w.rule == r]
        value = [(c, level.value) for level, c in carried]
        dutiable = [(c, level.value) for level, c in carried if level.duty_rate > 0.0]
        dutiable += [(c, -level.value) for level, c in free if level.duty_rate > 0.0]
        if rule.value_up_to < inf:
            program.row([*value, *((c, -rule.value_up_to + margin) for c in chosen)], high=0.0)
        if rule.dutiable_up_to < inf:
            program.row([*dutiable, *((c, -rule.dutiable_up_to + margin) for c in chosen)], high=0.0)
        if rule.dutiable_from > 0.0:
            program.row([*dutiable, *((c, -rule.dutiable_from - ABOVE - margin) for c in chosen)], low=0.0)
        if free:
            within = [(c, level.value) for level, c in free]
            program.row([*within, *((c, -self.allowance + margin) for c in chosen)], high=0.0)

    def _tax_on_carriage(self, r: int, rule: TaxRule, carried: Taxed, free: Taxed) -> None:
        """Taxes on carriage over the least that they can be: each line bears its share by value.

        The tax is carriage x (over / value), ``over`` being value x (burden - least). Divided by the interval's upper
        end it is a lower bound that is exact there; seen from the other side, as the most less what the lines lack of
        it, divided by the lower end, it is exact at the lower end (McCormick's envelope of a quotient).
        """
        program, ways = self.program, [w for w in self.ways if w.rule == r]
        low, high = self._burdens[rule]
        if high <= low or all(w.carriage == 0.0 for w in ways):
            return
        if self.excess < 0:
            self.excess = program.column(1.0)
        value = [(c, level.value) for level, c in carried]
        over = [(c, (rule.burden(level.duty_rate) - low) * level.value) for level, c in carried]
        over += [(c, -rule.burden(level.duty_rate) * level.value) for level, c in free]
        if len({w.low for w in ways}) > 1:
            program.row([*value, *((w.chosen, -w.high) for w in ways)], high=0.0)
            program.row([*value, *((w.chosen, -w.low) for w in ways)], low=0.0)
        for way in ways:
            scale = way.carriage * self.taxed
            if scale == 0.0:
                continue
            slack = scale * (high - low) * self.most_value / way.high  # lifts the row where another way is chosen
            terms = [(c, -weight * scale / way.high) for c, weight in over]
            program.row([(self.excess, 1.0), *terms, (way.chosen, -slack)], low=-slack)
            if way.low > 0.0:
                slack, by = scale * (high - low), scale / way.low
                under = [(c, weight * by * (high - low)) for c, weight in value] + [(c, -w * by) for c, w in over]
                # excess >= slack - (slack by value - over) - slack (1 - chosen)
                program.row([(self.excess, 1.0), *under, (way.chosen, -slack)], low=0.0)


def cells_of(terms: ParcelTerms, border: Border, lines: Sequence[Line], cuts: int) -> int:
    """About how many numbers the rows of a parcel hold with its values cut in so many places; seldom more."""
    free, rules = terms.free_above is not None, len(_rules(terms, border, lines)) if terms.imported else 0
    ways = ((len(terms.bands) or 1) + free) * (1 + cuts)
    each = 3 + 2 * (free + bool(terms.bands) + bool(terms.minimum_order)) + rules * (4 + 2 * ways)
    return sum(len(line.prices) * each + 8 * (len(line.prices) - 1) for line in lines)
