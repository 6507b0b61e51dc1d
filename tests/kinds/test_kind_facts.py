"""Facts and shares of each kind against common sense: tests of order, with the reason beside each."""

from __future__ import annotations

import pytest

from repairecon.kinds import facts, kinds, own_hours, share

# common practice, no source: more to take apart, heavier, or more parts in line
MORE_HOURS = [
    ("gearbox", "locker fan"),
    ("gearbox", "raw water pump"),
    ("outboard power head", "gearbox"),
    ("windlass", "winch"),
    ("raw water pump", "electric bilge pump"),
    ("alternator", "gas locker regulator"),
    ("heat exchanger", "thermostat housing"),
    ("hydraulic steering", "hand bilge pump"),
]
# a box or block that is eaten ends a rebuild, a winch has only pawls to renew
MORE_GIVEN_UP = [("gearbox", "winch"), ("outboard power head", "raw water pump"), ("battery charger", "alternator")]
# plain visible work against shims, rings and jets
MORE_DONE_AGAIN = [
    ("gearbox", "winch"),
    ("outboard carburettor", "thermostat housing"),
    ("injection pump", "alternator"),
]


@pytest.mark.parametrize(("more", "less"), MORE_HOURS)
def test_hours_stand_in_order(more: str, less: str) -> None:
    assert own_hours(more).likely > own_hours(less).likely


@pytest.mark.parametrize(("more", "less"), MORE_GIVEN_UP)
def test_given_up_stands_in_order(more: str, less: str) -> None:
    assert share(more, "given up: full rebuild").likely > share(less, "given up: full rebuild").likely


@pytest.mark.parametrize(("more", "less"), MORE_DONE_AGAIN)
def test_done_again_stands_in_order(more: str, less: str) -> None:
    assert share(more, "done again: full rebuild").likely > share(less, "done again: full rebuild").likely


@pytest.mark.parametrize("kind", kinds())
def test_shares_of_a_kind_stand_in_order(kind: str) -> None:
    # in the accounts seals put in alone came back; a bench does better than a first-timer
    again = [share(kind, f"done again: {depth}").likely for depth in ("specialist", "full rebuild", "seals only")]
    assert again == sorted(set(again))
    # who takes less apart finds less that ends the job
    assert share(kind, "given up: seals only").likely < share(kind, "given up: full rebuild").likely
    bought = [share(kind, f"dead on arrival: {way}").likely for way in ("new", "pattern", "exchange", "second-hand")]
    assert bought == sorted(bought)
    assert bought[-1] >= 3 * bought[0] - 1e-9


def test_the_wrong_unit_is_rare_for_a_gland_and_common_for_an_injection_pump() -> None:
    # told by whoever gathered the rows: from 0.1 (gland) to 0.7 (injection pump) before any look
    def wrong_unit(kind: str, symptom: str) -> float:
        return sum(f.range("chance").likely for f in facts(kind).failures_of(symptom) if not f.yes("this_unit"))

    assert wrong_unit("stern gland", "drips too much, or at rest") == pytest.approx(0.1, abs=0.03)
    chances = [wrong_unit("injection pump", symptom) for symptom in facts("injection pump").symptoms]
    assert sum(chances) / len(chances) == pytest.approx(0.7, abs=0.05)


def test_an_unknown_kind_has_the_general_shares() -> None:
    # owners' accounts, common practice: 11 of 100 done again, about one in six given up
    assert share("", "done again: full rebuild").likely == pytest.approx(0.11)
    assert share("", "given up: full rebuild").likely == pytest.approx(0.17)
    with pytest.raises(KeyError, match="no share is called"):
        share("winch", "eaten by gulls")


def test_prices_stand_in_order() -> None:
    # ratios.csv: a kit 0.2, 0.4, 0.95 of new
    known = facts("raw water pump")
    kit, used, exchange = known.ratios.get("kit"), known.ratios.get("second-hand"), known.ratios.get("exchange")
    assert kit is not None
    assert used is not None
    assert exchange is not None
    assert (kit.low, kit.likely, kit.high) == (0.2, 0.4, 0.95)
    assert used.likely < exchange.likely < 1
    assert facts("hand bilge pump").ratios.get("exchange") is None


@pytest.mark.parametrize("kind", kinds())
def test_facts_are_whole(kind: str) -> None:
    known = facts(kind)
    assert known is facts(kind)
    assert known.life_years is not None
    assert {t["stage"] for t in known.tasks} <= {"outside", "removal", "strip", "measure", "reassembly", "first run"}
    for symptom in known.symptoms:
        orders = [look.number("order") for look in known.looks_of(symptom)]
        assert orders == list(range(1, len(orders) + 1))
        assert known.carry_on_of(symptom)
    for record in (*known.tasks, *known.failures, *known.looks, *known.remedies, *known.carry_on):
        assert record.source.note, record


def test_unknown_condition_takes_the_strictest_row_of_carrying_on() -> None:
    drip = "water drips from the hole between pump and engine"
    assert facts("raw water pump").carry_on_of(drip)["may_carry_on"] == "never"


def test_a_condition_that_is_not_said_is_not_the_mild_one() -> None:
    # an engine that dies without volts: the row without a condition is the milder
    assert facts("alternator").carry_on_of("no charge")["may_carry_on"] == "to the next port"


def test_an_unknown_kind_is_said() -> None:
    with pytest.raises(KeyError, match="no kind that is known here"):
        facts("toaster")
