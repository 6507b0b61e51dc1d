"""What a look is worth: published decisions, sums by hand, quadrature, and what must hold whatever the case."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike
from reference_case import branch, case, span, terms, way
from small_case import small, sure
from staged_cases import staged_case
from test_stages import BARRED, model_of

from repairecon.formulas import tree as tree_formulas
from repairecon.rebuild_or_buy.bench import Worth, event_worth, look_worth, looks
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import numbers
from repairecon.rebuild_or_buy.stages import Decision, decision
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE
from repairecon.records import Case, Look, Source

seeds = st.integers(0, 2**32 - 1)


def here(model: Model) -> Decision:
    return decision(model)


def at_once(chance: ArrayLike, cost: ArrayLike) -> Decision:
    """A choice to be made now among ways, nothing seen: ``cost`` (leaves, ways)."""
    p, c = np.asarray(chance, dtype=float), np.asarray(cost, dtype=float)
    return bare(p, np.zeros((1, len(p)), dtype=np.int64), c[None])


def bare(p: np.ndarray, ids: np.ndarray, stop: np.ndarray) -> Decision:
    """Stages at each of which one may stop, and must at the last; costs from the start, nothing of them told apart."""
    names = tuple(f"way {k}" for k in range(stop.shape[2]))
    never, nobody = np.full(len(p), NEVER_ENDS), np.zeros(len(p), dtype=bool)
    points = tuple(range(-1, len(ids) - 1))
    return Decision(
        chance=p, points=points, ids=ids, stop_cost=stop, go_cost=np.full(len(p), np.inf), spent=np.zeros(ids.shape),
        actions=names, ends=never, other=nobody,
    )  # fmt: skip


def perfect(states: ArrayLike) -> np.ndarray:
    column = np.asarray(states)
    return tree_formulas.look_likelihood(column, int(column.max()) + 1, 1.0)


# ---- published decisions ----------------------------------------------------------------------
# Shenoy, Operations Research 40 (1992), section 1, Tables I-II, restating Raiffa, Decision Analysis (1968): the oil
# wildcatter, thousands of dollars. Net payoffs of drilling and cost of the test were read there; the prior is from
# memory of Raiffa, the chances of (no, open, closed structure) were seen on another public page.
PRIOR, PAYOFF, TEST = [0.5, 0.3, 0.2], [-70.0, 50.0, 200.0], 10.0
SHOWS = [[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]]
SOILS, SEISMIC = ("dry", "wet", "soaking"), ("no structure", "open", "closed")
TOP = 200.0


def test_oil_wildcatter_as_a_decision() -> None:
    made = at_once(PRIOR, [[-x, 0.0] for x in PAYOFF])
    assert made.value() == pytest.approx(-20.0)
    # Worth 22.5 with the test (printed, +- 0.05). EVPI 35 and EVSI 12.5 are derived, not printed there.
    look = look_worth(made, np.array(SHOWS))
    assert -made.value() + look - TEST == pytest.approx(22.5, abs=0.05)
    assert look == pytest.approx(12.5, abs=1e-9)
    assert look_worth(made, perfect([0, 1, 2])) == pytest.approx(35.0, abs=1e-9)


def wildcatter() -> Case:
    """The same as a case: drilling is free of charge and its soil costs; not to drill costs the most it pays."""
    soil = tuple(
        branch("soil", s, p, "later", ways=("pattern",), outside_cost=sure(TOP - x))
        for s, p, x in zip(SOILS, PRIOR, PAYOFF, strict=True)
    )
    shows = tuple(
        branch("seismic", o, p, "", f"soil={s}")
        for s, row in zip(SOILS, SHOWS, strict=True)
        for o, p in zip(SEISMIC, row, strict=True)
    )
    ways = (
        way("drill", "pattern", sure(0), lead_days=None),
        way("do not", "new", sure(TOP), lead_days=None),
    )
    look = Look(
        look="seismic test",
        event="seismic",
        price_of="",
        cost=sure(TEST),
        hours=sure(0),
        days=sure(0),
        p_right=1.0,
        source=Source("looks.csv", 2),
    )
    return small(branches=(*soil, *shows), ways=ways, tasks=(), parts=(), looks=(look,))


def test_oil_wildcatter_as_a_case() -> None:
    model = model_of(wildcatter())
    made = here(model)
    assert TOP - made.value() == pytest.approx(20.0)
    (seismic,) = looks(model, made, numbers(model))
    assert event_worth(model, made, model.tree.column("soil")) == pytest.approx(35.0)  # derived
    assert (seismic.evsi, seismic.cost) == (pytest.approx(12.5), TEST)
    assert 20.0 + seismic.net == pytest.approx(22.5, abs=0.05)


def test_one_chance_event_against_a_sure_alternative() -> None:
    # Clemen, Making Hard Decisions, solutions manual, problem 12.2: A pays 20, 10, 5, 0 with chances 0.1, 0.2, 0.6,
    # 0.1, B pays 6: expected values 7.0 and 6.0, with information 8.2, its worth 1.2.
    made = at_once([0.1, 0.2, 0.6, 0.1], [[-20, -6], [-10, -6], [-5, -6], [0, -6]])
    assert made.value() == pytest.approx(-7.0, abs=0.005)
    worth = look_worth(made, perfect(range(4)))
    assert worth == pytest.approx(1.2, abs=0.005)
    assert worth - made.value() == pytest.approx(8.2, abs=0.005)


def test_submit_or_not() -> None:
    # Decision Trees: a primer for decision-making professionals, section 2.4.2: submitting leads to 895,000, 695,000
    # or -105,000 with chances 0.3, 0.6, 0.1, worth 675,000; not submitting to -100,000.
    made = at_once([0.3, 0.6, 0.1], [[-895_000, 100_000], [-695_000, 100_000], [105_000, 100_000]])
    assert made.value() == pytest.approx(-675_000, abs=0.5)
    assert made.rule.stages[0].choice.tolist() == [0]


def test_a_die_rolled_up_to_three_times() -> None:
    # Mathematics Stack Exchange, "The expected payoff of a dice game": 4.6 recurring with three rolls at will.
    states, chance = tree_formulas.enumerate_leaves([[((), np.full(6, 1 / 6))]] * 3)
    ids = np.array([tree_formulas.information_sets(states, range(k + 1))[0] for k in range(3)])
    pays = -(states.T[:, :, None] + 1.0)
    made = bare(chance, ids, pays)
    assert -made.value() == pytest.approx(14 / 3, abs=1e-12)
    # With the first two throws kept from being taken: the mean of the last, 3.5.
    assert -made.from_point(1).value() == pytest.approx(3.5, abs=1e-12)


# ---- two uncertainties, apart and together ------------------------------------------------------
def together(model: Model, *events: str) -> np.ndarray:
    """Showings of several events at once."""
    ids, n = tree_formulas.information_sets(model.tree.states, [model.tree.column(e) for e in events])
    return np.eye(n)[ids]


def test_two_doubtful_units_by_hand() -> None:
    rows = tuple(
        branch(f"the {w}", o, 0.5, "later", ways=(w,), outside_cost=sure(c))
        for w in ("used", "copy")
        for o, c in (("good", 0), ("bad", 900))
    )
    ways = (
        way("used", "second-hand", sure(100), lead_days=None),
        way("copy", "pattern", sure(150), lead_days=None),
        way("new", "new", sure(500), lead_days=None),
    )
    model = model_of(small(branches=rows, ways=ways, tasks=(), parts=()))
    made = here(model)
    assert made.value() == pytest.approx(500)  # against 550 and 600
    one, other = (event_worth(model, made, model.tree.column(f"the {w}")) for w in ("used", "copy"))
    assert one == pytest.approx(500 - (0.5 * 100 + 0.5 * 500))
    assert other == pytest.approx(500 - (0.5 * 150 + 0.5 * 500))
    # Both known: used if good, else the copy if good, else new. Less than the sum, more than either.
    both = look_worth(made, together(model, "the used", "the copy"))
    assert both == pytest.approx(500 - (0.5 * 100 + 0.25 * 150 + 0.25 * 500))


def test_worth_nothing_apart_and_much_together() -> None:
    # Closed form: two fair coins, way 0 costs 1 where they agree, way 1 where they differ.
    states = np.array([[0, 0], [0, 1], [1, 0], [1, 1]])
    agree = (states[:, 0] == states[:, 1]).astype(float)
    made = at_once(np.full(4, 0.25), np.stack([agree, 1 - agree], axis=1))
    assert look_worth(made, perfect(states[:, 0])) == pytest.approx(0.0)
    assert look_worth(made, perfect(states[:, 1])) == pytest.approx(0.0)
    assert look_worth(made, np.eye(4)) == pytest.approx(0.5)


@settings(max_examples=50, deadline=None)
@given(seeds, st.sampled_from((-1, 2)), st.floats(0.0, 1.0))
def test_what_must_hold_of_every_look(seed: int, done: int, p_right: float) -> None:
    model = model_of(staged_case(seed), {}, done)
    made = here(model)
    worths = [event_worth(model, made, e) for e in range(len(model.tree.events))]
    both = look_worth(made, together(model, *model.tree.events[:2]))
    everything = look_worth(made, np.eye(len(made.chance)))
    assert max(worths[:2]) - 1e-9 <= both <= everything + 1e-9
    for e, worth in enumerate(worths):
        column, n = model.tree.states[:, e], len(model.tree.outcomes[e])
        sample = look_worth(made, tree_formulas.look_likelihood(column, n, p_right))
        assert 0.0 <= sample <= worth + 1e-9
        assert look_worth(made, tree_formulas.look_likelihood(column, n, 1 / n)) == pytest.approx(0.0, abs=1e-9)


def test_knowing_what_is_seen_anyway_before_a_choice_is_worth_nothing() -> None:
    # Standing at the stripped unit the casing is seen, free of charge, before anything is decided.
    model = model_of(small(), done=STAGE["strip"])
    assert event_worth(model, here(model), 0) == pytest.approx(0.0, abs=1e-12)
    # Before it, knowing saves the two days of stripping a cracked one: 0.4 x 2.
    start = model_of(small())
    assert event_worth(start, here(start), 0) == pytest.approx(0.8)


# ---- another unit to blame ----------------------------------------------------------------------
def test_is_it_this_unit_at_all_by_hand() -> None:
    rows = (
        branch("this unit", "to blame", 0.5, ways=("all",)),
        branch("this unit", "is not", 0.5, ways=("all",), not_this_unit=True),
    )
    t = terms(cost_lost_day=sure(1), cost_own_hour=1.0, elsewhere_days=2.0)
    look = Look(
        look="swap the cable",
        event="this unit",
        price_of="",
        cost=sure(0.1),
        hours=sure(0.2),
        days=sure(0),
        p_right=0.9,
        source=Source("looks.csv", 2),
    )
    model = model_of(small(branches=rows, terms=t, looks=(look,)))
    made = here(model)
    # Rebuilding 115, elsewhere in vain 2 days and 12 own hours: left first, 0.5 x 129 = 64.5.
    assert made.value() == pytest.approx(64.5)
    (said,) = looks(model, made, numbers(model))
    assert said.evpi == pytest.approx(64.5 - 0.5 * 115)
    # Right 9 times in 10: "is not" leaves 0.1 x 129; "to blame" 115 against 0.9 x 129.
    assert said.evsi == pytest.approx(64.5 - (0.5 * 12.9 + 0.5 * 115))
    assert said.cost == pytest.approx(0.1 + 0.2 * 1.0)
    assert said.net == pytest.approx(said.evsi - 0.3)


# ---- the list of looks ----------------------------------------------------------------------------
def listed_looks() -> tuple[list[Worth], Model]:
    asked = (
        Look(
            look="drain the oil",
            event="bearings",
            price_of="",
            cost=span(4, 5, 9),
            hours=span(0.2, 0.5, 1),
            days=sure(0),
            p_right=0.75,
            source=Source("looks.csv", 2),
        ),
        Look(
            look="ring the dealer",
            event="",
            price_of="new",
            cost=sure(0),
            hours=sure(0.5),
            days=span(0, 1, 3),
            p_right=1.0,
            source=Source("looks.csv", 3),
        ),
        Look(
            look="lamp through the port",
            event="casing",
            price_of="",
            cost=sure(2),
            hours=sure(0),
            days=sure(0),
            p_right=0.6,
            source=Source("looks.csv", 4),
        ),
    )
    model = model_of(case(looks=asked), BARRED | {"exchange": False})
    return list(looks(model, here(model), numbers(model))), model


def test_the_list_of_looks() -> None:
    said, model = listed_looks()
    assert [w.look for w in said] == [x.look for x in model.case.looks]
    drain, ring, lamp = said
    # Own hours at 18, a day at its PERT mean.
    day = (10 + 4 * 25 + 60) / 6
    assert drain.cost == pytest.approx((4 + 4 * 5 + 9) / 6 + 18 * (0.2 + 4 * 0.5 + 1) / 6)
    assert ring.cost == pytest.approx(18 * 0.5 + day * (0 + 4 * 1 + 3) / 6)
    assert 0 < drain.evsi < drain.evpi
    assert ring.about == "price of new"
    for w in said:
        assert w.net == pytest.approx(w.evsi - w.cost)
        assert w.evpi >= w.evsi >= 0
    for w in (drain, lamp):
        assert w.evpi == pytest.approx(event_worth(model, here(model), model.tree.column(w.about)))
