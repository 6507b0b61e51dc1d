"""The stop rule as it is told, what findings do to it, and what must hold whatever the case."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from plain_stages import PlainStages
from reference_case import branch, case, terms
from small_case import small, sure
from staged_cases import staged_case
from test_stages import BARRED, model_of
from wide_case import wide

from repairecon.formulas import tree
from repairecon.rebuild_or_buy.bench import Place, StopWhen, look_worth, places, stop_when
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE, decision
from repairecon.rebuild_or_buy.tree import STAGE, Finding, grow, with_findings
from repairecon.records import STAGES, Case, FindingError

seeds = st.integers(0, 2**32 - 1)
dones = st.sampled_from((-1, *range(4)))


def value(model: Model) -> float:
    return decision(model).value()


def reached_in(model: Model) -> list[Place]:
    return list(places(model, decision(model)))


def replayed(place: Place, said: list[StopWhen]) -> set[str]:
    """The actions that the told conditions ask for at a place."""
    fits = {t.action for t in said if t.point == place.point and set(t.findings) <= set(place.findings.items())}
    return fits or {GO_ON}


# ---- the rule as told ------------------------------------------------------------------------
@settings(max_examples=60, deadline=None)
@given(seeds, dones)
def test_the_said_conditions_replay_the_rule_whose_chances_add_up_and_whose_freedom_never_costs(
    seed: int, done: int
) -> None:
    model = model_of(staged_case(seed), {}, done)
    made = decision(model)
    reached = list(places(model, made))
    said = stop_when(reached)
    for place in reached:
        assert replayed(place, said) == {place.choice}, place
    assert sum(t.chance for t in said) == pytest.approx(sum(p.chance for p in reached if p.choice != GO_ON))
    assert all(t.chance > 0 for t in said)
    left = 1.0
    for point in range(done, len(STAGES)):
        here = [p for p in reached if p.point == point]
        assert sum(p.chance for p in here) == pytest.approx(left, abs=1e-12)
        left -= sum(p.chance for p in here if p.choice != GO_ON)
    assert made.value() <= min(committed(model).values()) + 1e-9


@pytest.mark.parametrize(
    ("made", "done", "dear"),
    [(case(), "removal", 1.0), (case(), "strip", 1.0), (case(), "measure", 0.8), (wide(), "measure", 0.8)],
    ids=["reference 1", "reference 2", "reference 3", "wide"],
)
def test_the_said_conditions_replay_the_rule_of_larger_cases(made: Case, done: str, dear: float) -> None:
    ways = tuple(replace(w, price=w.price and w.price.scaled(dear)) for w in made.ways)
    reached = reached_in(model_of(replace(made, ways=ways), BARRED | {"exchange": False}, STAGE[done]))
    said = stop_when(reached)
    assert {p.choice for p in reached} > {GO_ON}
    assert len(said) < sum(p.choice != GO_ON for p in reached)
    assert all(replayed(p, said) == {p.choice} for p in reached)


def test_an_event_that_does_not_happen_is_part_of_the_rule() -> None:
    """A liner is thin in units little neglected only; without one a large fault is sure to come."""
    rows = (
        branch("neglect", "light", 0.5),
        branch("neglect", "heavy", 0.5),
        branch("shaft", "good", 0.5, "strip"),
        branch("shaft", "grooved", 0.5, "strip"),
        branch("liner", "thin", 1.0, "strip", "neglect=light"),
        branch("later fault", "large", 1.0, "reassembly", "neglect=heavy", outside_cost=sure(2000)),
    )
    reached = reached_in(model_of(small(branches=rows)))
    said = stop_when(reached)
    strip = [p for p in reached if p.point == STAGE["strip"]]
    assert sorted(p.choice for p in strip) == [GO_ON, GO_ON, "new", "new"]
    assert all(replayed(p, said) == {p.choice} for p in strip)


@settings(max_examples=30, deadline=None)
@given(seeds, dones)
def test_costs_at_a_place_are_those_still_to_come(seed: int, done: int) -> None:
    """What the stops cost, by the plain walk, with the stages before it already paid."""
    made = staged_case(seed)
    plain = PlainStages(made, {}, done)
    for place in reached_in(model_of(made, {}, done)):
        like = [(p, f) for p, f in plain.leaves if all(e in f and f[e].outcome == o for e, o in place.findings.items())]
        chance = sum(p for p, _ in like)
        assert place.chance == pytest.approx(chance)
        costs = {
            w.way: sum(p * (plain.stop(w, place.point, f) - plain.spent(place.point, f)) for p, f in like) / chance
            for w in plain.stops_at(place.point)
        }
        assert place.cost_stop == pytest.approx(min(costs.values()), abs=1e-9)
        assert costs[place.best_stop] == pytest.approx(place.cost_stop, abs=1e-9)
        least = place.cost_go_on if place.choice == GO_ON else costs[place.choice]
        assert least <= min(place.cost_go_on, place.cost_stop) + 1e-9


# ---- what must hold -------------------------------------------------------------------------
def committed(model: Model) -> dict[str, float]:
    """Expected totals of the allowed ways that rebuild or buy, chosen for good now."""
    total = model.expected() @ [1.0, model.own_hour, model.lost_day]
    one = {w.way for w in model.case.ways if not (w.traits.buys and w.traits.rebuilds)}
    return {w: float(t) for w, t, ok in zip(model.ways, total, model.allowed, strict=True) if ok and w in one}


@pytest.mark.parametrize("done", [-1, 1, 2])
@pytest.mark.parametrize("barred", [{}, BARRED, {"rebuild here": False}], ids=str)
@pytest.mark.parametrize("made", [case(), wide()], ids=["reference", "wide"])
def test_freedom_to_stop_never_costs_in_larger_cases(made: Case, barred: dict[str, bool], done: int) -> None:
    model = model_of(made, barred, done)
    assert value(model) <= min(committed(model).values()) + 1e-6


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_fewer_chances_to_stop_never_save(seed: int) -> None:
    model = model_of(staged_case(seed))
    made = decision(model)
    values = [made.from_point(k).value() for k in made.points]
    assert values[0] == made.value()
    assert all(b >= a - 1e-9 for a, b in pairwise(values))


# ---- findings -------------------------------------------------------------------------------
@settings(max_examples=30, deadline=None)
@given(seeds, dones, st.data())
def test_the_value_after_a_finding_against_the_plain_walk(seed: int, done: int, data: st.DataObject) -> None:
    made = without_ends(staged_case(seed))
    event = data.draw(st.sampled_from(sorted({b.event for b in made.branches})))
    model = model_of(made, {}, done, (Finding(event, "bad"),))
    assert value(model) == pytest.approx(PlainStages(made, {}, done, {event: "bad"}).best(), abs=1e-9)


def without_ends(made: Case) -> Case:
    return replace(made, branches=tuple(replace(b, ends_rebuild=False) for b in made.branches))


@settings(max_examples=30, deadline=None)
@given(seeds, st.data())
def test_a_finding_of_chance_one_changes_nothing(seed: int, data: st.DataObject) -> None:
    made = staged_case(seed)
    seen_at = data.draw(st.sampled_from(["", "outside", "strip", "first run"]))
    sure_thing = replace(made, branches=(*made.branches, branch("deck", "wet", 1.0, seen_at)))
    plain = value(model_of(made))
    for found in ((), (Finding("deck", "wet"),)):
        assert value(model_of(sure_thing, found=found)) == pytest.approx(plain, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(seeds, st.lists(st.floats(0.3, 1.0), min_size=3, max_size=3))
def test_the_order_of_findings_does_not_matter(seed: int, p_right: list[float]) -> None:
    made = staged_case(seed)
    found = [Finding("e0", "bad", p_right[0]), Finding("e1", "good", p_right[1]), Finding("e0", "bad", p_right[2])]
    chances = [with_findings(grow(made), order).chance for order in permutations(found)]
    for chance in chances:
        assert_allclose(chance, chances[0], atol=1e-12)
    # Told all at once or one after the other.
    one_by_one = grow(made)
    for f in found:
        one_by_one = with_findings(one_by_one, [f])
    assert_allclose(one_by_one.chance, chances[0], atol=1e-12)


@settings(max_examples=25, deadline=None)
@given(seeds, dones)
def test_the_answer_averages_over_what_may_be_found(seed: int, done: int) -> None:
    """Knowing an event at once is worth what the values given each outcome save on average."""
    made = staged_case(seed)
    model = model_of(made, {}, done)
    here = decision(model)
    for e, event in enumerate(model.tree.events):
        said = 0.0
        for o, outcome in enumerate(model.tree.outcomes[e]):
            p = float(model.tree.chance[model.tree.states[:, e] == o].sum())
            said += p * value(model_of(made, {}, done, (Finding(event, outcome),)))
        perfect = tree.look_likelihood(model.tree.states[:, e], len(model.tree.outcomes[e]), 1.0)
        assert look_worth(here, perfect) == pytest.approx(here.value() - said, abs=1e-9)
        assert said <= here.value() + 1e-9


def test_a_finding_that_may_be_wrong_by_hand() -> None:
    # Cracked 4 times in 10; a look right 8 times in 10 says so: 0.32 of 0.32 + 0.6 x 0.2.
    world = with_findings(grow(small()), (Finding("casing", "cracked", 0.8),))
    chance = {world.words(k)["casing"]: p for k, p in enumerate(world.chance)}
    assert chance == pytest.approx({"cracked": 0.32 / 0.44, "sound": 0.12 / 0.44})
    cracked = 0.32 / 0.44
    model = Model(small(), world, {})
    assert value(model) == pytest.approx(min(503, (1 - cracked) * 115 + cracked * 505))
    # Three outcomes: the wrong ones share what is left; told twice, it counts twice.
    rows = tuple(branch("shaft", o, p, "measure") for o, p in (("good", 0.5), ("worn", 0.3), ("bent", 0.2)))
    twice = with_findings(grow(small(branches=rows)), (Finding("shaft", "worn", 0.6),) * 2)
    weights = np.array([0.5 * 0.2**2, 0.3 * 0.6**2, 0.2 * 0.2**2])
    assert_allclose(twice.chance, weights / weights.sum())


@pytest.mark.parametrize("p_right", [0.0, -0.1, 1.0001, float("nan")])
def test_a_chance_of_being_right_that_is_none(p_right: float) -> None:
    with pytest.raises(FindingError, match="chance of being right"):
        with_findings(grow(small()), (Finding("casing", "cracked", p_right),))


def test_findings_that_contradict_each_other() -> None:
    both = (Finding("casing", "cracked"), Finding("casing", "sound"))
    with pytest.raises(FindingError, match="cannot all be true"):
        with_findings(grow(small()), both)
    # One of them may be wrong: the sure one stands.
    world = with_findings(grow(small()), (both[0], Finding("casing", "sound", 0.9)))
    assert [world.words(k)["casing"] for k in range(len(world.chance))] == ["cracked"]


# ---- another unit to blame --------------------------------------------------------------------
def blame(seen_at: str = "", p: float = 0.5):  # type: ignore[no-untyped-def]
    return (
        branch("this unit", "to blame", 1 - p, seen_at, ways=("all",)),
        branch("this unit", "is not", p, seen_at, ways=("all",), not_this_unit=True),
    )


def blamed(rows: tuple, elsewhere: float = 2.0) -> Case:  # type: ignore[type-arg]
    t = terms(cost_lost_day=sure(1), cost_own_hour=1.0, elsewhere_days=elsewhere)
    return small(branches=rows, terms=t)


def test_leaving_it_alone_by_hand() -> None:
    # Rebuilding comes to 115. Looking elsewhere takes 2 days of 1, with 6 own hours of 1 each: 14, in vain if
    # this unit is to blame; else the work is saved.
    for p in (0.5, 0.1):
        model = model_of(blamed(blame(p=p)))
        made = decision(model)
        assert made.actions[-1] == LEAVE
        assert made.value() == pytest.approx(min(115, (1 - p) * (115 + 14)))
    sure_of_it = model_of(blamed(blame()), found=(Finding("this unit", "is not"),))
    assert value(sure_of_it) == pytest.approx(0.0)
    other_way = model_of(blamed(blame()), found=(Finding("this unit", "to blame"),))
    assert value(other_way) == pytest.approx(115)


def test_left_alone_after_a_look_round_it() -> None:
    # Nothing is spent by the end of the outside look, and then one knows: 0.5 x 115.
    assert value(model_of(blamed(blame("outside")))) == pytest.approx(57.5)


def test_knowing_of_the_shaft_where_another_unit_may_be_to_blame() -> None:
    shaft = (branch("shaft", "good", 0.5, "measure"), branch("shaft", "bad", 0.5, "measure", outside_cost=sure(900)))
    made = blamed((*blame(), *shaft))
    model = model_of(made)
    here, e = decision(model), model.tree.column("shaft")
    said = [value(model_of(made, found=(Finding("shaft", o),))) for o in ("good", "bad")]
    # Bad: new at 503 after all, not measured first; good: the rebuild at 115. Then left first, as before.
    assert said == pytest.approx([0.5 * (115 + 14), 0.5 * (503 + 14)])
    worth = look_worth(here, tree.look_likelihood(model.tree.states[:, e], 2, 1.0))
    assert worth == pytest.approx(here.value() - sum(said) / 2)
