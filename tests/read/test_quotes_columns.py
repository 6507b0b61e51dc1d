"""The terms of suppliers and quotes, the border and the wishes of an order: read as written, faults told."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest
from case_makers import CASE, GOOD, QUOTES, SUPPLIERS, THREE, cell, cells, faults, toml, write

from repairecon.read import read_case
from repairecon.records import Case, Customs, OrderWishes, PriceBreak

ORDER_NAMES = {"customs_as_of", "buyer", "deadline_by", "price_inflation_rate", "old_after_days"}


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Case:
    return read_case(write(tmp_path_factory.mktemp("good"), GOOD))


def test_suppliers_as_written(good: Case) -> None:
    stockist, abroad = good.suppliers
    assert (stockist.free_above, stockist.minimum_order, stockist.discount_rate) == (120, 15, 0.05)
    assert (abroad.free_above, abroad.card_fee_rate, abroad.insurance_rate) == (None, 0.02, 0.01)
    assert (stockist.by_hand, abroad.by_hand) == (False, True)
    assert [(b.up_to_kg, b.quoted.low, b.quoted.high) for b in stockist.bands] == [(2, 8, 8), (20, 13, 18)]
    assert str(stockist.bands[1].quoted.source) == "carriage.csv:3"
    assert abroad.bands == ()


def test_quotes_as_written(good: Case) -> None:
    seal, theirs, new = good.quotes
    assert seal.breaks == (PriceBreak(5, 6.10), PriceBreak(10, 5.40))
    assert (seal.minimum_packs, seal.weight_kg, seal.duty_rate) == (2, 0.04, None)
    assert (seal.designation, seal.material, seal.valid_until) == ("40x62x10", "NBR", "2026-12-31")
    assert (theirs.breaks, theirs.minimum_packs, theirs.duty_rate, theirs.designation) == ((), 1, 0.012, "")
    assert (new.quoted_core.likely, theirs.quoted_core.high, new.weight_kg) == (90, 0, 24)


def test_parts_as_written(good: Case) -> None:
    seal, circlip, bearing, shaft = good.parts
    assert (seal.material, seal.fluid, bearing.fluid) == ("NBR", "gear oil", "gear oil")
    assert [p.makers_only for p in (seal, circlip, bearing, shaft)] == [False, False, False, True]


def test_border_and_wishes_as_written(good: Case) -> None:
    assert good.customs == Customs(
        as_of="2026-07-01",
        duty_free_up_to=150,
        vat_free_up_to=0,
        flat_duty_rate=0.025,
        flat_duty_up_to=700,
        hand_allowance=300,
        buyer="private",
    )
    wishes = good.wishes
    assert (wishes.today, wishes.deadline_days, wishes.deadline_by) == ("2026-10-05", 21, "P90")
    assert (wishes.most_parcels, wishes.without, wishes.old_after_days) == (3, ("specialist abroad",), 60)


def test_every_key_reaches_its_field(tmp_path: Path) -> None:
    """Each with a value of its own, so that no two are mixed up."""
    customs = {
        "as_of": "2026-02-03",
        "duty_free_up_to": 151,
        "vat_free_up_to": 22,
        "flat_duty_rate": 0.031,
        "flat_duty_up_to": 702,
        "hand_allowance": 303,
        "buyer": "VAT-registered",
    }
    order = {
        "today": "2026-10-07",
        "deadline_days": 17.5,
        "deadline_by": "likely",
        "most_parcels": 2,
        "without": ["bearing stockist"],
        "price_inflation_rate": 0.041,
        "old_after_days": 77,
    }
    assert set(customs) == {f.name for f in fields(Customs)}
    assert set(order) == {f.name for f in fields(OrderWishes)}
    head = GOOD[CASE].split("[customs]")[0]
    lines = ["[customs]", *(f"{k} = {_toml(v)}" for k, v in customs.items())]
    lines += ["[order]", *(f"{k} = {_toml(v)}" for k, v in order.items()), "[labour.yard]", "cost_hour = 60"]
    case = read_case(write(tmp_path, {**GOOD, CASE: head + "\n".join(lines)}), order=True)
    assert {k: getattr(case.customs, k) for k in customs} == customs
    assert {k: getattr(case.wishes, k) for k in order} == {**order, "without": ("bearing stockist",)}
    assert not ORDER_NAMES & {a.name for a in case.assumed}


def _toml(value: object) -> str:
    return str(value) if isinstance(value, int | float) else repr(value).replace("'", '"')


def test_defaults_are_listed_for_an_order_alone(tmp_path: Path) -> None:
    folder = write(tmp_path, {**GOOD, CASE: THREE})
    files = {**GOOD, CASE: GOOD[CASE].split("[customs]")[0] + "[labour.yard]\ncost_hour = 60\n"}
    folder = write(tmp_path, files)
    assert not ORDER_NAMES & {a.name for a in read_case(folder, years=True).assumed}
    case = read_case(folder, order=True)
    listed = {a.name: a for a in case.assumed}
    assert ORDER_NAMES & set(listed) == ORDER_NAMES - {"deadline_by"}  # no deadline, so it does not matter how
    assert all("assumed" in listed[n].source for n in ORDER_NAMES & set(listed))
    assert (case.customs, case.wishes) == (Customs(), OrderWishes())
    assert case.wishes.today == ""


def test_a_case_of_three_numbers_is_as_before(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, {CASE: THREE}))
    assert (case.customs, case.wishes) == (Customs(), OrderWishes())
    assert not ORDER_NAMES & {a.name for a in case.assumed}


def test_bands_stand_for_carriage_that_is_left_blank(tmp_path: Path) -> None:
    """Where the weights are not known the lightest parcel is taken."""
    case = read_case(write(tmp_path, cell(SUPPLIERS, 2, "carriage_likely", "")))
    assert case.suppliers[0].carriage.likely == 8
    assert case.suppliers[0].free_above == 120
    assert str(case.suppliers[0].carriage.source) == "carriage.csv:2"


def test_a_minimum_above_free_carriage_is_no_fault(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, cell(SUPPLIERS, 2, "minimum_order", "200")))
    assert case.suppliers[0].minimum_order == 200


def test_equal_break_prices_are_no_fault(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, cell(QUOTES, 2, "breaks", " 5 AT 6.90 ;10 at 6.9; ")))
    assert case.quotes[0].breaks == (PriceBreak(5, 6.9), PriceBreak(10, 6.9))


def test_free_carriage_without_carriage(tmp_path: Path) -> None:
    files = cells((SUPPLIERS, 3, "free_above", "300"), (SUPPLIERS, 3, "carriage_likely", ""))
    (fault,) = faults(write(tmp_path, files))
    assert (fault.file, fault.row, fault.column) == (SUPPLIERS, 3, "carriage_likely")
    assert fault.found == "nothing, beside free_above 300"


# a piece of case.toml, what stands there instead, where the fault is, what it found and says
IN_TOML = [
    ("as_of = 2026-07-01", 'as_of = "July"', "customs.as_of", "'July'", "year-month-day"),
    ("flat_duty_rate = 0.025", "flat_duty_rate = 2.5", "customs.flat_duty_rate", "2.5", "give 0.025 for 2.5 %"),
    ("flat_duty_rate = 0.025\n", "", "customs.flat_duty_rate", "nothing", "up to flat_duty_up_to"),
    ("flat_duty_up_to = 700\n", "", "customs.flat_duty_up_to", "nothing", "up to which flat_duty_rate holds"),
    ("hand_allowance = 300", "hand_allowanc = 300", "customs.hand_allowanc", "unknown key", "'hand_allowance'"),
    ("hand_allowance = 300", "hand_allowance = -3", "customs.hand_allowance", "-3", "not less than 0"),
    ("hand_allowance = 300", 'buyer = "company"', "customs.buyer", "'company'", "'private', 'vat-registered'"),
    ("today = 2026-10-05", "today = 5", "order.today", "'5'", "year-month-day"),
    ("deadline_days = 21", "deadline_days = -1", "order.deadline_days", "-1", "not less than 0"),
    ("deadline_days = 21", 'deadline_by = "P80"', "order.deadline_by", "'P80'", "p90"),
    ("most_parcels = 3", "most_parcels = 0", "order.most_parcels", "0", "not less than 1"),
    ("most_parcels = 3", "most_parcels = 2.5", "order.most_parcels", "2.5", "whole number"),
    ('["Specialist  abroad"]', '["specialst abroad"]', "order.without", "'specialst abroad'", "did you mean"),
    ('["Specialist  abroad"]', "[3]", "order.without", "'[3]'", "a list of suppliers"),
    ("old_after_days = 60", "old_after_days = -60", "order.old_after_days", "-60", "not less than 0"),
    ("old_after_days = 60", "price_inflation_rate = 3", "order.price_inflation_rate", "3", "give 0.03 for 3 %"),
]


@pytest.mark.parametrize(("old", "new", "column", "found", "advice"), IN_TOML, ids=[c[1] or c[0] for c in IN_TOML])
def test_one_wrong_value_is_one_fault(tmp_path: Path, old: str, new: str, column: str, found: str, advice: str) -> None:
    (fault,) = faults(write(tmp_path, toml(old, new)))
    assert (fault.file, fault.column) == (CASE, column)
    assert found in fault.found
    assert advice in fault.write
