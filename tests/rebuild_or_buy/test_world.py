"""The tree of a case against a Bayesian-network library, and what findings do to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from case_network import NOT, add_certain, group_that_holds, labels_of, network, parents_of, rows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from reference_case import branch, case
from wide_case import wide

from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Finding, branch_touches, grow, with_findings
from repairecon.records import STAGES, Case, FindingError

CASES = {"reference": case(), "wide": wide()}


def sure(found: dict[str, str]) -> list[Finding]:
    return [Finding(event, outcome) for event, outcome in found.items()]


def test_reference_case_has_96_leaves() -> None:
    # 2 of neglect x 3 of bearings x 2 of casing x 2 of shaft x 2 of bolts x 2 of first run.
    assert len(grow(case()).chance) == 2 * 3 * 2 * 2 * 2 * 2


@pytest.mark.parametrize("name", CASES)
def test_chance_of_each_end_against_a_bayesian_network(name: str) -> None:
    gum = pytest.importorskip("pyagrum")
    made = CASES[name]
    net, rows = network(gum, made), rows_of(made)
    way = made.way("rebuild here")
    ending = {r.event: rows[r.event] for r in made.branches if r.ends_rebuild and branch_touches(r, way)}
    parents = {p: labels_of(rows[p]) for e, own in ending.items() for p in [e, *parents_of(own)]}

    def earliest(state: dict[str, str]) -> str:
        ends = [
            STAGES.index(r.seen_at)
            for e, own in ending.items()
            for r in group_that_holds(own, state)
            if r.ends_rebuild and state[e] == r.outcome
        ]
        return STAGES[min(ends)] if ends else NOT

    add_certain(gum, net, "end", parents, [*STAGES, NOT], earliest)
    model = Model(made, grow(made), {})
    ends = model.ends[model.ways.index(way.way)]
    for finding in ({}, {"shaft": "grooved"}, {"neglect": "heavy", "bearings": "rough"}):
        engine = gum.LazyPropagation(net)
        engine.setEvidence(finding)
        engine.makeInference()
        like = with_findings(model.tree, sure(finding))
        kept = np.array([all(model.tree.words(k).get(e) == o for e, o in finding.items()) for k in range(len(ends))])
        for stage in [*STAGES, NOT]:
            number = NEVER_ENDS if stage == NOT else STAGE[stage]
            chance = like.chance[ends[kept] == number].sum()
            assert chance == pytest.approx(engine.posterior("end")[{"end": stage}], abs=1e-12), (
                finding,
                stage,
            )
        if finding == {}:
            assert 0.05 < engine.posterior("end")[{"end": NOT}] < 0.95


@pytest.mark.parametrize("name", CASES)
def test_chance_of_each_outcome_against_a_bayesian_network(name: str) -> None:
    gum = pytest.importorskip("pyagrum")
    made = CASES[name]
    net, world = network(gum, made), grow(made)
    for finding in ({}, {"first run": "leaks", "shaft": "grooved"}, {"bearings": "sound"}):
        engine = gum.LazyPropagation(net)
        engine.setEvidence(finding)
        engine.makeInference()
        after = with_findings(world, sure(finding))
        for e, event in enumerate(world.events):
            for o, outcome in enumerate(world.outcomes[e]):
                chance = after.chance[after.states[:, e] == o].sum()
                assert chance == pytest.approx(engine.posterior(event)[{event: outcome}], abs=1e-12)


def test_branch_rows_hold_where_their_own_condition_does() -> None:
    made = wide()
    world = grow(made)
    assert world.holds.shape == (len(made.branches), len(world.chance))
    rows = rows_of(made)
    for k in range(0, len(world.chance), 7):
        state = dict.fromkeys(rows, NOT) | world.words(k)
        for b, row in enumerate(made.branches):
            holds = row in group_that_holds(rows[row.event], state) and state[row.event] == row.outcome
            assert world.holds[b, k] == holds


chances = st.lists(st.floats(0.01, 1.0), min_size=2, max_size=4).map(lambda x: [v / sum(x) for v in x])


@st.composite
def trees(draw: st.DrawFn) -> Case:
    """Up to five events, each free or given an outcome of an earlier one."""
    rows = []
    for e in range(draw(st.integers(1, 5))):
        conditions = [""]
        if e:
            parent = draw(st.integers(0, e - 1))
            conditions = draw(st.sampled_from([[""], [f"e{parent}=o0"], [f"e{parent}=o0", ""]]))
        for given_ in conditions:
            rows += [branch(f"e{e}", f"o{o}", p, "strip", given_) for o, p in enumerate(draw(chances))]
    return case(branches=tuple(rows))


@settings(max_examples=60, deadline=None)
@given(trees())
def test_leaf_chances_sum_to_one(made: Case) -> None:
    world = grow(made)
    assert world.chance.sum() == pytest.approx(1.0, abs=1e-12)
    assert (world.chance > 0).all()
    assert len({tuple(s) for s in world.states.tolist()}) == len(world.chance)


@settings(max_examples=40, deadline=None)
@given(trees(), st.data())
def test_findings_average_out(made: Case, data: st.DataObject) -> None:
    world = grow(made)
    event = data.draw(st.sampled_from(world.events))
    e = world.column(event)
    total = np.zeros(len(world.chance))
    for o, outcome in enumerate(world.outcomes[e]):
        here = world.states[:, e] == o
        if here.any():
            total[here] = with_findings(world, sure({event: outcome})).chance * world.chance[here].sum()
    absent = world.states[:, e] < 0
    assert_allclose(total[~absent], world.chance[~absent], atol=1e-12)


def test_expectation_over_findings_of_a_way_without_choice() -> None:
    comes = tuple(replace(w, p_never=0.0) for w in wide().ways)  # what is done instead is a choice too
    made = wide(ways=comes, quotes=tuple(replace(q, p_never=0.0) for q in wide().quotes))
    plain = Model(made, grow(made), {})
    world, total = plain.tree, np.zeros((len(made.ways), 3))
    e = world.column("casing")
    for o, outcome in enumerate(world.outcomes[e]):
        chance = world.chance[world.states[:, e] == o].sum()
        total += chance * Model(made, with_findings(grow(made), sure({"casing": outcome})), {}).expected()
    fixed = [i for i, w in enumerate(made.ways) if w.traits.in_service == "bought"]
    assert len(fixed) == 7
    assert_allclose(total[fixed], plain.expected()[fixed], rtol=1e-10)
    # A rebuild may choose better once it knows: never worse in expectation.
    hour, day = made.terms.cost_own_hour, plain.lost_day
    assert (total @ [1, hour, day] <= plain.expected() @ [1, hour, day] + 1e-9).all()


def test_findings_that_cannot_be() -> None:
    world = grow(wide())
    with pytest.raises(FindingError, match="no event 'keel'"):
        with_findings(world, sure({"keel": "bent"}))
    with pytest.raises(FindingError, match=r"no outcome 'bent'.*good, grooved"):
        with_findings(world, sure({"shaft": "bent"}))
    with pytest.raises(FindingError, match="cannot all be true"):
        with_findings(world, sure({"shaft": "good", "gear": "no longer made"}))
