"""The staged choice against a plain walk, every policy there is, an influence-diagram library, and by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from plain_stages import PlainStages
from reference_case import branch, case, terms, way
from small_case import days_task, small, sure
from stage_diagram import GO_ON as GOES_ON
from stage_diagram import diagram_of
from staged_cases import staged_case
from wide_case import wide

from repairecon.rebuild_or_buy.bench import places
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE, Decision, decision
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Finding, grow, with_findings
from repairecon.records import ORDER_TIMES, STAGES, Case

BARRED = {"second-hand": False}


def model_of(
    made: Case, allowed: Mapping[str, bool] | None = None, done: int = -1, found: tuple[Finding, ...] = ()
) -> Model:
    return Model(made, with_findings(grow(made), found), allowed or {}, done)


def decided(made: Case, allowed: Mapping[str, bool] | None = None, done: int = -1) -> Decision:
    model = model_of(made, allowed, done)
    return decision(model)


def at_point(made: Decision, name: str) -> int:
    return made.points.index(STAGE[name])


def leaf_where(model: Model, **outcomes: str) -> int:
    return next(k for k in range(len(model.tree.chance)) if outcomes.items() <= model.tree.words(k).items())


# ---- against the plain walk -----------------------------------------------------------------
WALKS = [
    *((case(terms=terms(order_parts=order)), done) for order in ORDER_TIMES for done in (-1, 2)),
    (wide("after strip"), -1),
]


@pytest.mark.parametrize(("made", "done"), WALKS)
def test_every_cost_against_the_plain_walk(made: Case, done: int) -> None:
    model, plain = model_of(made, BARRED, done), PlainStages(made, BARRED, done)
    engine = decision(model)
    assert engine.actions == tuple(w.way for w in plain.stops)
    by_words = {tuple(sorted((e, r.outcome) for e, r in found.items())): found for _, found in plain.leaves}
    founds = [by_words[tuple(sorted(model.tree.words(k).items()))] for k in range(len(engine.chance))]
    assert len(founds) == len(plain.leaves)
    assert plain.way is not None
    for k, found in enumerate(founds):
        ends = plain.end(plain.way, found)
        here = [s for s, point in enumerate(engine.points) if point <= max(ends, done)]
        costs = [[plain.stop(w, engine.points[s], found) if w in plain.stops_at(engine.points[s]) else np.inf
                  for w in plain.stops] for s in here]  # fmt: skip
        assert_allclose(engine.stop_cost[here, k], costs, rtol=2e-6)
        spent = [plain.spent(engine.points[s], found) for s in here]
        assert_allclose(engine.spent[here, k], spent, rtol=2e-6, atol=1e-9)
        if ends == NEVER_ENDS:
            assert engine.go_cost[k] == pytest.approx(plain.to_the_end(found), rel=2e-6)
        else:
            assert engine.go_cost[k] == np.inf
    assert engine.value() == pytest.approx(plain.best(), rel=2e-6)


MANY = 20_000


@pytest.mark.parametrize("seed", range(80))
def test_no_policy_of_all_does_better(seed: int) -> None:
    made = staged_case(seed)
    for done in (-1, STAGE["strip"]):
        plain = PlainStages(made, {}, done)
        least = min(plain.every_policy()) if plain.policies() <= MANY else plain.best()
        assert decided(made, {}, done).value() == pytest.approx(least, abs=1e-9), done


def test_most_of_those_cases_are_small_enough_to_try_every_policy() -> None:
    counts = [PlainStages(staged_case(seed), {}, STAGE["strip"]).policies() for seed in range(40)]
    assert sum(10 < n <= MANY for n in counts) > 20


@pytest.mark.parametrize("seed", [0, 1, 2, 4, 7, 9])
@pytest.mark.parametrize("done", ["removal", "strip", "measure"])
def test_an_influence_diagram_agrees(seed: int, done: str) -> None:
    # Outside reference: exact inference of pyAgrum on limited-memory influence diagrams.
    gum = pytest.importorskip("pyagrum")
    made = staged_case(seed)
    plain = PlainStages(made, {}, STAGE[done])
    engine = gum.ShaferShenoyLIMIDInference(diagram_of(gum, made, plain))
    assert engine.isSolvable()
    engine.makeInference()
    model = model_of(made, {}, STAGE[done])
    found = decision(model)
    assert found.value() == pytest.approx(-engine.MEU()["mean"], abs=1e-6)
    for place in places(model, found):
        row = found.points.index(place.point)
        table = engine.optimalDecision(f"do {row}")
        known = {e: o for e, o in place.findings.items() if e in table.names}
        choice = GOES_ON if place.choice == GO_ON else place.choice
        if abs(place.cost_go_on - place.cost_stop) > 1e-6:  # of equal ones either will do
            assert table[known | {f"still {row}": "yes", f"do {row}": choice}] == pytest.approx(1.0)


# ---- by hand: a kit of 100 and 10 days, 2 + 2 days on the bench and 1 to assemble; new for 500 in 3 days ----
def test_spent_stage_by_stage_by_hand() -> None:
    model = model_of(small())
    made = decision(model)
    sound, cracked = (leaf_where(model, casing=o) for o in ("sound", "cracked"))
    assert [STAGES[p] if p >= 0 else "now" for p in made.points] == ["now", *STAGES]
    assert_allclose(made.spent[:, sound], [0, 0, 0, 2, 4, 115, 115, 115])
    assert_allclose(made.spent[: at_point(made, "strip") + 1, cracked], [0, 0, 0, 2])
    assert_allclose(made.stop_cost[:, sound, 0] - made.spent[:, sound], 503)
    assert made.go_cost[sound] == pytest.approx(115)
    assert made.go_cost[cracked] == np.inf
    # Sound 6 times in 10: go on; else 2 days are lost and new is bought.
    assert made.value() == pytest.approx(0.6 * 115 + 0.4 * 505)


def test_parts_ordered_early_are_bought_in_vain() -> None:
    # The bench runs inside the wait: 100 + 10 + 1. Cracked: the kit and 2 days are gone.
    assert decided(small("now")).value() == pytest.approx(0.6 * 111 + 0.4 * (102 + 503))
    after_removal = decided(small("after removal"))
    assert_allclose(after_removal.spent[: at_point(after_removal, "strip") + 1, 0], [0, 0, 0, 102])


def swap(**changes: object):  # type: ignore[no-untyped-def]
    return way("swap", "exchange", sure(300), core_surcharge=sure(120), core_carriage=sure(20), p_refund=1.0,
               lead_days=sure(3), **changes)  # fmt: skip


def cracked_with(p: float) -> tuple:  # type: ignore[type-arg]
    return (branch("casing", "sound", 1 - p, "strip"), branch("casing", "cracked", p, "strip", ends_rebuild=True))


def test_an_exchange_loses_its_core_after_the_strip() -> None:
    made = small(ways=(way("rebuild", "rebuild"), swap()), branches=cracked_with(0.9))
    found = decided(made)
    # 300 + 20 carriage + 3 days, the surcharge given back; stripped it is not, and nothing is sent back.
    assert_allclose(found.stop_cost[:, 0, 0], [323] * 3 + [425] + list(found.stop_cost[4:, 0, 0]))
    assert found.value() == pytest.approx(323)  # against 0.1 x 115 + 0.9 x 425 = 394
    assert found.from_point(STAGE["strip"]).value() == pytest.approx(0.1 * 115 + 0.9 * 425)
    rarely = decided(replace(made, branches=cracked_with(0.4)))
    assert rarely.value() == pytest.approx(0.6 * 115 + 0.4 * 425)
    stripped_too = small(ways=(way("rebuild", "rebuild"), swap(core_if_stripped=True)), branches=cracked_with(0.9))
    assert decided(stripped_too).value() == pytest.approx(0.1 * 115 + 0.9 * 325)


def away(**changes: object):  # type: ignore[no-untyped-def]
    return way("away", "send away", sure(250), lead_days=sure(14), strip_charge=sure(80), **changes)


def test_sent_away_only_until_it_is_off() -> None:
    ways = (way("rebuild", "rebuild"), way("new", "new", sure(500), lead_days=sure(3)), away())
    off = (days_task("take off", "removal", 4), *small().tasks)
    made = small(ways=ways, tasks=off)
    model = model_of(made)
    found, sound = decision(model), leaf_where(model, casing="sound")
    a = found.actions.index("away")
    is_open = np.isfinite(found.stop_cost[:, sound, a])
    assert [p for p, yes in zip(found.points, is_open, strict=True) if yes] == [-1, 0, 1]
    # Sound: 250 and 14 days; cracked: 80, 14 days and new. Taking it off is paid once, before or after.
    whole = 4 + 0.6 * (250 + 14) + 0.4 * (80 + 14 + 503)
    assert_allclose(found.chance @ found.stop_cost[:3, :, a].T, [whole] * 3)
    stripped = decided(made, done=STAGE["strip"])
    assert np.isfinite(stripped.stop_cost[0, :, a]).all()  # it may still be sent as it lies there
    assert not np.isfinite(stripped.stop_cost[1:, sound, a]).any()


@pytest.mark.parametrize("name", ["new", "away"])
@pytest.mark.parametrize("done", ["removal", "strip"])
def test_an_outcome_dealt_with_before_is_not_paid_again(name: str, done: str) -> None:
    rows = (branch("paint", "holds it fast", 1.0, "outside", ways=("all",), outside_cost=sure(70)),)
    ways = (way("rebuild", "rebuild"), way("new", "new", sure(500), lead_days=sure(3)), away())
    made = small(ways=ways, branches=rows)
    start, later = model_of(made), model_of(made, done=STAGE[done])
    i = start.ways.index(name)
    assert start.expected()[i, 0] == pytest.approx({"new": 570, "away": 320}[name])
    assert later.expected()[i, 0] == pytest.approx({"new": 500, "away": 250}[name])


@pytest.mark.parametrize("order", ORDER_TIMES)
@pytest.mark.parametrize("done", ["removal", "strip", "measure", "reassembly"])
def test_spent_and_still_to_come_make_the_whole(order: str, done: str) -> None:
    made = case(terms=terms(order_parts=order))
    start, later = model_of(made, BARRED), model_of(made, BARRED, STAGE[done])
    first, rest = decision(start), decision(later)
    assert_allclose(rest.chance, first.chance)
    before = first.spent[at_point(first, done)]
    goes = np.isfinite(first.go_cost)
    assert before[goes].min() > 40
    assert_allclose((before + rest.go_cost)[goes], first.go_cost[goes], rtol=1e-9)
    open_there = later.ends[0] >= STAGE[done]
    both = before[:, None] + rest.stop_cost
    assert_allclose(both[:, open_there], first.stop_cost[at_point(first, done) :, open_there], rtol=1e-9)


def test_work_done_already_is_not_counted() -> None:
    stripped = decided(small(branches=cracked_with(0.4)), done=STAGE["strip"])
    assert stripped.points[0] == STAGE["strip"]
    assert stripped.spent[0].max() == 0.0
    assert stripped.value() == pytest.approx(0.6 * 113 + 0.4 * 503)


def test_what_the_screen_bars_is_never_done() -> None:
    cheap = way("used", "second-hand", sure(1), lead_days=sure(1))
    made = small(ways=(*small().ways, cheap, away()))
    model = model_of(made, {"used": False, "away": False})
    assert decision(model).actions == ("new",)
    no_rebuild = decided(made, {"rebuild": False})
    assert no_rebuild.points == (-1,)
    assert not np.isfinite(no_rebuild.go_cost).any()
    assert set(no_rebuild.actions) == {"new", "used", "away"}
    assert no_rebuild.value() == pytest.approx(2)


def test_an_ended_rebuild_finds_out_no_more() -> None:
    """Cracked for sure at the strip: whether a used one is worn shows only when measured, and nobody measures now."""
    rows = (
        *cracked_with(0.999),
        branch("used one", "good", 0.5, "measure", ways=("second-hand",)),
        branch("used one", "worn", 0.5, "measure", ways=("second-hand",), outside_cost=sure(900)),
    )
    used = way("used", "second-hand", sure(100), lead_days=sure(3))
    made = decided(small(branches=rows, ways=(*small().ways, used)), {"rebuild": True})
    # Unseen, the used one comes to 553: new at 503 now; seen, new or used would come to 303.
    assert made.value() == pytest.approx(503)


def test_an_ended_rebuild_saves_no_work_of_the_buy() -> None:
    bed = replace(days_task("grind the bed", "measure", 20), ways=("all",))
    made = small(tasks=(*small().tasks, bed), branches=cracked_with(0.8))
    # Sound: 115 and the 20 days of the bed; cracked: 2 days of strip, the bed and new.
    assert decided(made).value() == pytest.approx(0.2 * 135 + 0.8 * (2 + 20 + 503))


def test_leaving_is_an_action_only_where_another_unit_may_be_to_blame() -> None:
    assert LEAVE not in decided(case(), BARRED).actions
