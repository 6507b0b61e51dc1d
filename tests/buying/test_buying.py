"""The orders of a rebuild: the cheapest basket for each demand, as sums of inputs. Figures are invented."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from plain_basket import parcel_cost
from quote_cases import case_of
from wide_case import wide

import repairecon
from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.parts import full as summary
from repairecon.records import RepaireconError

HOME = 'vat_rate = 0.21\ncurrency = "EUR"\nexchange_date = 2026-10-01\n[money.exchange]\nGBP = 1.2\n'
TOML = "[money]\n" + HOME + "[owner]\ncost_lost_day = {day}\n[customs]\nas_of = 2026-01-01\nduty_free_up_to = 60\n"
PARTS = [{"part": "seal", "quantity": 2}, {"part": "bearing"}, {"part": "shaft"}]
SUPPLIERS = [
    {"supplier": "dealer", "carriage_likely": 9, "free_above": 60, "discount_rate": 0.05, "lead_days_likely": 12},
    {"supplier": "stockist", "vat": "ex", "carriage_likely": 8, "minimum_order": 15, "card_fee_rate": 0.02,
     "lead_days_likely": 3},
    {"supplier": "abroad", "currency": "GBP", "vat": "ex", "vat_rate": 0, "carriage_likely": 14, "imported": "yes",
     "duty_rate": 0.05, "cost_handling": 12, "insurance_rate": 0.01, "lead_days_likely": 20},
]  # fmt: skip
QUOTES = [
    {"item": "seal", "supplier": "dealer", "quoted_likely": 24},
    {"item": "seal", "supplier": "stockist", "quoted_likely": 9, "pack": 2, "breaks": "3 at 7"},
    {"item": "seal", "supplier": "abroad", "quoted_likely": 8},
    {"item": "bearing", "supplier": "dealer", "quoted_likely": 40},
    {"item": "bearing", "supplier": "stockist", "quoted_likely": 11},
    {"item": "bearing", "supplier": "abroad", "quoted_likely": 21, "quoted_core_likely": 5},
    {"item": "shaft", "supplier": "dealer", "quoted_likely": 130},
    {"item": "shaft", "supplier": "abroad", "quoted_likely": 70, "duty_rate": 0},
]


def stepped_case(folder, day=0):
    return case_of(folder / "case", PARTS, SUPPLIERS, QUOTES, TOML.format(day=day))


SEARCHED: dict[tuple[tuple[str, int], ...], list[tuple[float, float]]] = {}


def every_choice(buying, wanted):
    """Cost and wait of every number of packs up to one more than needed of every offer, priced by the plain loop.

    The cases differ in what a day costs alone, which is in neither: each demand is searched once.
    """
    offers = [k for part in wanted for k in buying.by_item[part]]
    spans = [range(wanted[buying.offers[k].quote.item] // buying.lines[k].pack + 3) for k in offers]
    priced: dict[tuple[str, tuple[tuple[int, int], ...]], float | None] = {}
    for packs in itertools.product(*spans):
        got: dict[str, int] = {}
        parcels: dict[str, list[tuple[int, int]]] = {}
        for k, n in zip(offers, packs, strict=True):
            if n:
                o = buying.offers[k]
                got[o.quote.item] = got.get(o.quote.item, 0) + n * o.quote.pack
                parcels.setdefault(o.supplier.supplier, []).append((k, n))
        if any(got.get(part, 0) < pieces for part, pieces in wanted.items()):
            continue
        for s, lines in parcels.items():
            if (s, tuple(lines)) not in priced:
                parcel = [(buying.lines[k], n) for k, n in lines]
                priced[s, tuple(lines)] = parcel_cost(buying.terms[s], parcel, buying.border)
        costs = [priced[s, tuple(lines)] for s, lines in parcels.items()]
        if None not in costs:
            yield sum(costs), max(buying.days[k] for k, n in zip(offers, packs, strict=True) if n)


def by_plain_search(buying, wanted, day):
    key = tuple(wanted.items())
    if key not in SEARCHED:
        SEARCHED[key] = list(every_choice(buying, wanted))
    return min(cost + day * wait for cost, wait in SEARCHED[key])


@pytest.mark.parametrize("day", [0, 0.5, 2, 15])
@pytest.mark.parametrize(
    "wanted", [{"seal": 2, "bearing": 1}, {"shaft": 1}, {"seal": 2, "bearing": 1, "shaft": 1}, {"seal": 4}]
)
def test_an_order_is_the_cheapest_of_all_with_its_wait(tmp_path, wanted, day):
    buying = Buying(stepped_case(tmp_path, day))
    lines = buying.order(tuple(wanted.items()))
    cost = sum(p.landed for p in lines) + day * max(mean_of(p.lead) for p in lines)
    assert cost == pytest.approx(by_plain_search(buying, wanted, day), abs=0.006)


def test_at_leisure_the_wait_costs_nothing(tmp_path):
    buying = Buying(stepped_case(tmp_path, 15))
    wanted = {"seal": 2, "bearing": 1, "shaft": 1}
    lines = buying.order(tuple(wanted.items()), leisure=True)
    assert sum(p.landed for p in lines) == pytest.approx(by_plain_search(buying, wanted, 0.0), abs=0.006)


def test_lines_are_straight_in_what_is_quoted(tmp_path):
    """A price a hundredth higher, the whole parcel priced anew by the plain loop: the line's own factor."""
    buying = Buying(stepped_case(tmp_path))
    for demand in ((("seal", 2), ("bearing", 1)), (("shaft", 1),), (("bearing", 1), ("shaft", 1))):
        for p in buying.order(demand):
            k = next(i for i, o in enumerate(buying.offers) if o.quote is p.quote)
            same = [q for q in buying.order(demand) if q.supplier is p.supplier]
            places = [next(i for i, o in enumerate(buying.offers) if o.quote is q.quote) for q in same]
            at = [(buying.lines[i], q.packs) for i, q in zip(places, same, strict=True)]
            more = [(x.at_factor(1.01) if x is buying.lines[k] else x, n) for x, n in at]
            terms, rules = buying.terms[p.supplier.supplier], buying.border
            rise = parcel_cost(terms, more, rules) - parcel_cost(terms, at, rules)
            assert p.goods * mean_of(p.range) * 0.01 == pytest.approx(rise, rel=2e-3)
            dearer = replace(terms, carriage=terms.carriage * 1.01)
            carried = parcel_cost(dearer, at, rules) - parcel_cost(terms, at, rules)
            assert sum(q.carriage for q in same) * terms.carriage * 0.01 == pytest.approx(carried, rel=2e-3, abs=1e-9)


def test_a_late_order_pays_its_own_carriage(tmp_path):
    buying = Buying(stepped_case(tmp_path))
    together = sum(p.landed for p in buying.order((("seal", 2), ("bearing", 1))))
    apart = sum(p.landed for p in (*buying.order((("seal", 2),)), *buying.order((("bearing", 1),))))
    assert apart > together + 8.0


@pytest.mark.parametrize("order", ["now", "after strip"])
def test_trying_every_set_agrees_with_the_program(order):
    """The wide case has straight terms: both ways of choosing must come to the same cost."""
    case = wide(order)
    tried, programmed = Buying(case), Buying(case)
    programmed.__dict__["straight"] = {}
    parts = [p.part for p in case.parts if p.part in tried.by_item]
    for size in (1, 2, 5, len(parts)):
        demand = tuple((p, 3) for p in parts[:size])
        for leisure in (False, True):
            costs = [
                sum(p.landed for p in lines)
                + (0.0 if leisure else b.cost_day * max((mean_of(p.lead) for p in lines if p.lead), default=0))
                for b in (tried, programmed)
                for lines in [b.order(demand, leisure)]
            ]
            assert costs[0] == pytest.approx(costs[1], abs=0.006)


def test_a_price_is_left_where_another_quote_takes_over(tmp_path):
    case = case_of(
        tmp_path / "case", [{"part": "seal"}], [{"supplier": "a"}, {"supplier": "b", "carriage_likely": 4}],
        [{"item": "seal", "supplier": "a", "quoted_likely": 10}, {"item": "seal", "supplier": "b", "quoted_likely": 9}],
        "[owner]\ncost_lost_day = 0\n",
    )  # fmt: skip
    buying = Buying(case)
    assert buying.takeover(buying.alone("seal", 1).offer) == pytest.approx(13.0)


def test_what_may_not_be_taken_is_said(tmp_path):
    parts = [{"part": "bearing", "standard_size": "6203-2RS"}]
    quotes = [{"item": "bearing", "supplier": "dealer", "quoted_likely": 5, "designation": "6303-2RS"}]
    case = case_of(tmp_path / "case", parts, SUPPLIERS[:1], quotes)
    with pytest.raises(RepaireconError, match="not the part"):
        Buying(case).order((("bearing", 1),))


def test_a_rebuild_buys_by_the_same_rules_as_an_order(tmp_path):
    """The dealer's at 48 is the same; 6203-ZZ has shields for seals: near; "LB 12-B" is in no table: unknown."""
    parts = [{"part": "bearing", "standard_size": "6203-2RS"}]
    sellers = [{"supplier": name} for name in ("dealer", "stockist", "market")]
    quotes = [
        {"item": "bearing", "supplier": "dealer", "quoted_likely": 48, "designation": "6203-2RS"},
        {"item": "bearing", "supplier": "stockist", "quoted_likely": 6, "designation": "6203-ZZ"},
        {"item": "bearing", "supplier": "market", "quoted_likely": 2, "designation": "LB 12-B"},
    ]
    buying = Buying(case_of(tmp_path / "case", parts, sellers, quotes))
    assert buying.alone("bearing", 1).landed == pytest.approx(48.0)
    (question,) = buying.questions
    assert question.startswith("bearing: ask market whether LB 12-B is 6203-2RS (")
    text = " ".join(summary(repairecon.rebuild_or_buy(buying.case, draws=100), "prices").split())
    assert "Ask before you order - Bearing: ask market whether LB 12-B is 6203-2RS (" in text
    quotes[1]["take_near"] = "yes"
    assert Buying(case_of(tmp_path / "case2", parts, sellers, quotes)).alone("bearing", 1).landed == pytest.approx(6.0)


def test_all_parts_that_cannot_be_priced_are_said_at_once(tmp_path):
    parts = [{"part": name, "standard_size": "6203-2RS"} for name in ("front", "rear", "middle")]
    quotes = [{"item": p["part"], "supplier": "dealer", "quoted_likely": 5, "designation": "6303-2RS"} for p in parts]
    case = case_of(tmp_path / "case", parts, SUPPLIERS[:1], [*quotes[:2], quotes[2] | {"designation": "6203-2RS"}])
    buying = Buying(case)
    with pytest.raises(RepaireconError) as caught:
        buying.order(buying.plan)
    assert [line.split(":")[1] for line in str(caught.value).splitlines()] == ["2", "3"]


def test_quotes_age_only_on_a_day_that_the_case_names(tmp_path):
    quote = [{"item": "seal", "supplier": "dealer", "quoted_likely": 10, "quoted_on": "2020-01-01"}]
    grown = "[order]\nprice_inflation_rate = 0.1\n"
    case = case_of(tmp_path / "case", [{"part": "seal"}], [{"supplier": "dealer"}], quote, grown)
    assert Buying(case).alone("seal", 1).landed == pytest.approx(10.0)
    dated = case_of(
        tmp_path / "case2", [{"part": "seal"}], [{"supplier": "dealer"}], quote, grown + "today = 2022-01-01\n"
    )
    # two years of 10 %: 12.10 by hand, a day of a leap year apart
    assert Buying(dated).alone("seal", 1).landed == pytest.approx(12.10, abs=0.01)


def test_packs_of_two_quotes_may_be_mixed(tmp_path):
    """Three pieces: a pack of two at 10 and one at 6, 16; neither 2 packs (20) nor 3 single ones (18)."""
    quotes = [
        {"item": "seal", "supplier": "dealer", "quoted_likely": 10, "pack": 2},
        {"item": "seal", "supplier": "dealer", "quoted_likely": 6},
    ]
    case = case_of(tmp_path / "case", [{"part": "seal", "quantity": 3}], [{"supplier": "dealer"}], quotes)
    buying = Buying(case)
    assert sum(p.landed for p in buying.order(buying.plan)) == pytest.approx(16.0)
    mixed = buying.order(buying.plan)
    assert [p.packs for p in mixed] == [1, 1]
    assert len({(p.offer, p.lead_key, p.again) for p in mixed}) == 2


def test_a_second_quote_of_a_supplier_is_a_number_of_its_own(tmp_path):
    """One piece takes the single one at 6; five take the pack of five at 20: two prices, not one."""
    quotes = [
        {"item": "seal", "supplier": "dealer", "quoted_likely": 6, "lead_days_likely": 2},
        {"item": "seal", "supplier": "dealer", "quoted_likely": 20, "pack": 5, "lead_days_likely": 9},
    ]
    case = case_of(
        tmp_path / "case", [{"part": "seal"}], [{"supplier": "dealer"}], quotes, "[owner]\ncost_lost_day = 0\n"
    )
    buying = Buying(case)
    taken = [buying.order((("seal", n),))[0] for n in (1, 5)]
    assert [p.landed for p in taken] == pytest.approx([6.0, 20.0])
    assert [mean_of(p.range) for p in taken] == [6.0, 20.0]
    assert [mean_of(p.lead) for p in taken] == [2.0, 9.0]
    assert [(p.again, p.lead_key) for p in taken] == [
        ("", "days:seal@dealer"), (", quote 2", "days:seal@dealer, quote 2"),
    ]  # fmt: skip


def test_the_only_order_that_can_be_made_has_no_other_to_lose_to(tmp_path):
    """Free of charge from either, but the stockist's least order is never reached: the dealer's stays, at any price."""
    case = case_of(
        tmp_path / "case", [{"part": "seal"}], [{"supplier": "dealer"}, {"supplier": "stockist", "minimum_order": 15}],
        [{"item": "seal", "supplier": name, "quoted_likely": 0} for name in ("dealer", "stockist")],
    )  # fmt: skip
    buying = Buying(case)
    (line,) = buying.order((("seal", 1),))
    assert line.supplier.supplier == "dealer"
    assert buying.takeover(line.offer) == float("inf")


def test_quotes_of_which_no_order_can_be_made_are_said(tmp_path):
    case = case_of(
        tmp_path / "case", [{"part": "seal"}], [{"supplier": "stockist", "minimum_order": 15}],
        [{"item": "seal", "supplier": "stockist", "quoted_likely": 0}],
    )  # fmt: skip
    with pytest.raises(RepaireconError, match="minimum orders"):
        Buying(case).order((("seal", 1),))
