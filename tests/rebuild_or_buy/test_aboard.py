"""The spare a pair leaves aboard: whether it is there, what it fetches, what replaces it; small cases by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from lived_small import AWAY, TOTAL, UNDELAYED, WORKS, YEARS, combinations, cracked, ledger_of, lives, rows
from reference_case import supplier, way
from small_case import HERE, small, sure

from repairecon.records import Case, Quote, Years

PAIRS = ("buy and rebuild", "rebuild and carry")


def changed(case: Case, name: str, **changes: object) -> Case:
    ways = tuple(replace(w, **changes) if w.way == name else w for w in case.ways)  # type: ignore[arg-type]
    return replace(case, ways=ways)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6])
def test_a_bought_spare_that_never_comes_is_no_spare(share):
    """By hand: 7 times in 10 it is there at all; of what it costs and fetches only that share too."""
    years = replace(YEARS, resale_share=0.2)
    certain = ledger_of(cracked(0.0, years))
    ledger = ledger_of(changed(cracked(0.0, years), "new", p_never=share))
    before, after = combinations(certain), combinations(ledger)
    carried, with_it = "rebuild and carry", 1.0 - share
    assert after[carried].p_works == pytest.approx(with_it * WORKS)
    assert after[carried].worth == pytest.approx(with_it * before[carried].worth)
    assert after[carried].cost == pytest.approx(with_it * before[carried].cost, abs=1e-6)
    swapped, without = 2.0 + UNDELAYED["rebuild"], TOTAL["rebuild"] + AWAY
    failure = with_it * WORKS * swapped + (1.0 - with_it * WORKS) * without
    assert rows(ledger)[carried].cost_failure == pytest.approx(failure)


def test_where_the_new_one_never_comes_the_old_one_is_the_spare_still():
    """Another is bought in its place, or it comes late: the old one, rebuilt at leisure, is aboard either way."""
    before = combinations(ledger_of(cracked(0.0)))["buy and rebuild"]
    after = combinations(ledger_of(changed(cracked(0.0), "new", p_never=0.3)))["buy and rebuild"]
    assert (after.p_works, after.worth) == (pytest.approx(before.p_works), pytest.approx(before.worth))


def with_quote(years: Years) -> Case:
    """New at 400 and 25 % tax from a shop that takes 40 for carriage and asks 80 for the core; used at 200."""
    shop = replace(supplier("shop"), vat_included=False, vat_rate=0.25, carriage=sure(40))
    quote = Quote("new", "shop", sure(400), 1, "", None, 0.0, "", HERE)
    case = replace(cracked(0.0, years), suppliers=(shop,), quotes=(quote,))
    used = replace(way("used", "second-hand", sure(200), lead_days=sure(3)), life_years=sure(5), life_shape=1.0)
    return changed(replace(case, ways=(*case.ways, used)), "new", core_surcharge=sure(80))


@pytest.mark.parametrize(("own", "rebuilt"), [(0, 0.2 * 200), (150, 150)])
def test_what_a_spare_fetches(own, rebuilt):
    """A bought one 0.2 of its price of 500 alone; the old one its own price, or 0.2 of what a used one costs."""
    years = replace(YEARS, discount_rate=0.05, inflation_rate=0.02)
    case = changed(with_quote(years), "buy and rebuild", old_unit_price=sure(own))
    sold = rows(ledger_of(replace(case, years=replace(years, resale_share=0.2))))
    case = changed(case, "buy and rebuild", old_unit_price=sure(0))
    plain = rows(ledger_of(case))
    later = (1.05 / 1.02) ** -10
    for name, fetched in (("rebuild and carry", 100.0), ("buy and rebuild", rebuilt), ("new", 0.0), ("used", 0.0)):
        assert plain[name].present_cost - sold[name].present_cost == pytest.approx(later * fetched), name


def test_a_waived_pair_does_not_rebuild_alone_where_that_is_barred():
    """By hand: waived for the pair alone, each later failure is made good by the new one, not by the cheap rebuild."""
    case = cracked(0.0)
    free, barred = ledger_of(case), ledger_of(case, rebuild=False)
    for name in PAIRS:
        i = free.ways.index(name)
        assert (free.ways[free.plain(i)], barred.ways[barred.plain(i)]) == ("rebuild", "new")
        without = TOTAL["new"] + AWAY
        expected = WORKS * (2.0 + UNDELAYED["new"]) + (1 - WORKS) * without
        assert rows(barred)[name].cost_failure == pytest.approx(expected)


def test_a_pair_whose_parts_are_both_barred_takes_what_may_be_chosen():
    """The exchange, though it is the dearest; where nothing may be chosen but pairs, the cheaper part as waived."""
    exchange = replace(way("exchange", "exchange", sure(900), lead_days=sure(3)), life_years=sure(5))
    case = small(ways=(*lives(), exchange), years=YEARS, branches=())
    ledger = ledger_of(case, rebuild=False, new=False)
    pair = ledger.ways.index("rebuild and carry")
    assert ledger.ways[ledger.plain(pair)] == "exchange"
    alone = ledger_of(case, rebuild=False, new=False, exchange=False)
    assert alone.ways[alone.plain(pair)] == "rebuild"
