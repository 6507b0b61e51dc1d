"""A tree too large to be laid out: events that only add costs count by their chances, and no cost changes by it."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module
from math import prod

import numpy as np
import pytest
from numpy.testing import assert_allclose
from plain_loop import PlainCase
from reference_case import branch
from small_case import part, small, sure

from repairecon.rebuild_or_buy.bench_words import bench
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.stages import decision
from repairecon.rebuild_or_buy.tree import Finding, grow
from repairecon.records import Case, Look, RepaireconError

TREE = import_module("repairecon.rebuild_or_buy.tree")


@pytest.fixture
def few(monkeypatch):
    """Every event that can be is averaged."""
    monkeypatch.setattr(TREE, "MOST_LEAVES", 1)
    monkeypatch.setattr(TREE, "FEW_LEAVES", 1)


def two(event: str, p: float, stage: str = "strip", **what: object) -> list:
    return [branch(event, "yes", p, stage, **what), branch(event, "no", 1.0 - p, stage)]


def with_events(*rows: object, **changes: object) -> Case:
    made = small(**changes)
    return replace(made, branches=(*made.branches, *rows))


GROOVE = [
    branch("groove", "light", 0.3, "measure", extra_hours=sure(2)),
    branch("groove", "deep", 0.25, "measure", outside_cost=sure(40)),
    branch("groove", "through", 0.05, "measure", extra_days=sure(6)),
    branch("groove", "none", 0.4, "measure"),
]
SEAT = [  # another chance where the casing is cracked
    branch("seat", "worn", 0.9, "outside", given="casing=cracked", extra_hours=sure(3)),
    branch("seat", "sound", 0.1, "outside", given="casing=cracked"),
    branch("seat", "worn", 0.2, "outside", extra_hours=sure(5)),
    branch("seat", "sound", 0.8, "outside"),
]


@pytest.mark.usefixtures("few")
@pytest.mark.parametrize(
    "rows",
    [
        two("stud", 0.3, extra_hours=sure(4)),
        two("stud", 0.3, "first run", outside_cost=sure(90), by="yard"),
        GROOVE,
        SEAT,
        [*GROOVE, *SEAT, *two("stud", 0.6, "removal", extra_hours=sure(1), ways=("all",))],
    ],
)
def test_averaged_events_cost_what_the_leaves_say_one_by_one(rows):
    """Against a plain walk over every leaf, written from the documents."""
    made = with_events(*rows)
    model = Model(made, grow(made), {})
    assert model.tree.averaged == {b.event for b in rows}
    assert len(model.tree.chance) == 2
    assert_allclose(model.expected(), np.array(PlainCase(made, {}).expected())[:, :3], rtol=1e-12)


@pytest.mark.usefixtures("few")
def test_a_part_from_the_shelf_is_averaged_and_one_that_is_waited_for_is_not():
    made = with_events(*two("stud", 0.3, parts=(("bolts", 2),)))
    for lead, averaged in ((None, {"stud"}), (sure(5), set())):
        case = replace(made, parts=(*made.parts, part("bolts", 7, lead, needed="found")))
        model = Model(case, grow(case), {})
        assert model.tree.averaged == averaged
        assert_allclose(model.expected(), np.array(PlainCase(case, {}).expected())[:, :3], rtol=1e-12)


def test_twenty_independent_events_by_arithmetic():
    """0.6 the casing is sound, then each event adds its hours as often as it comes up."""
    chances = [0.05 + 0.04 * k for k in range(20)]
    rows = [b for k, p in enumerate(chances) for b in two(f"e{k}", p, "measure", extra_hours=sure(1.0 + k % 3))]
    made = with_events(*rows)
    tree = grow(made)
    assert len(tree.chance) <= TREE.FEW_LEAVES
    assert len(tree.events) + len(tree.averaged) == 21
    hours = 0.6 * sum(p * (1.0 + k % 3) for k, p in enumerate(chances))
    model = Model(made, tree, {})
    bare = Model(small(), grow(small()), {})
    more = model.expected()[0] - bare.expected()[0]
    assert_allclose(more[:2], [0.0, hours], atol=1e-9)


@pytest.mark.usefixtures("few")
def test_draws_of_averaged_events():
    """The sampled chance that none of four comes up is the product of the chances, as is the mean."""
    chances = [0.5, 0.2, 0.4, 0.1]
    made = with_events(*(b for k, p in enumerate(chances) for b in two(f"e{k}", p, "first run", extra_hours=sure(50))))
    made = replace(made, branches=made.branches[2:])
    answer = rebuild_or_buy(made, draws=40_000, seed=3)
    assert len(answer.model.tree.averaged) == 4
    out = answer.outcomes
    off = np.abs(out.sampled_mean - out.mean)[0]
    assert (off <= 5 * out.sampled_se[0] + 1e-9).all()
    none = prod(1 - p for p in chances)
    least = out.tallies[0][1]
    assert float(least.chance_up_to(np.array([25.0]))[0]) == pytest.approx(none, abs=0.01)


def test_what_moves_most_stays_laid_out(monkeypatch):
    monkeypatch.setattr(TREE, "MOST_LEAVES", 8)
    monkeypatch.setattr(TREE, "FEW_LEAVES", 8)
    sizes = {"small": 1.0, "large": 40.0, "middle": 9.0}
    made = with_events(*(b for e, h in sizes.items() for b in two(e, 0.5, extra_hours=sure(h))))
    assert grow(made).averaged == {"small"}


@pytest.mark.usefixtures("few")
def test_what_is_found_or_looked_at_or_depended_on_stays_laid_out():
    rows = [*two("stud", 0.3, extra_hours=sure(4)), *two("pin", 0.3, extra_hours=sure(4))]
    look = Look(
        look="tap it", event="pin", price_of="", cost=sure(0), hours=sure(0.1), days=sure(0), p_right=1.0,
        source=rows[0].source,
    )  # fmt: skip
    made = with_events(*rows)
    found = grow(made, [Finding("stud", "yes")])
    assert found.averaged == {"pin"}
    assert found.chance == pytest.approx([0.6, 0.4])
    assert grow(replace(made, looks=(look,))).averaged == {"stud"}
    leaning = [replace(b, given=(("stud", "yes"),)) for b in two("pin", 0.5, extra_hours=sure(2))]
    assert grow(with_events(*two("stud", 0.3, extra_hours=sure(4)), *leaning)).averaged == {"pin"}


def test_many_findings_leave_few_courses():
    """Twenty found one by one: what is ruled out is left out as it is laid out."""
    rows = [b for k in range(20) for b in two(f"e{k}", 0.5, extra_hours=sure(1))]
    found = [Finding(f"e{k}", "yes") for k in range(20)]
    tree = grow(with_events(*rows), found)
    assert not tree.averaged
    assert tree.chance == pytest.approx([0.6, 0.4])


def test_a_rule_that_does_not_look_is_worth_no_more(monkeypatch):
    """The freedom to stop with every event seen costs no more than with some not looked at; here it costs less."""
    made = with_events(*two("stud", 0.5, extra_hours=sure(900)))
    whole = decision(Model(made, grow(made), {})).value()
    monkeypatch.setattr(TREE, "MOST_LEAVES", 1)
    monkeypatch.setattr(TREE, "FEW_LEAVES", 1)
    blind = decision(Model(made, grow(made), {})).value()
    assert whole < blind - 1.0


def test_where_nothing_can_be_averaged_it_is_refused_with_what_to_thin_out(monkeypatch):
    monkeypatch.setattr(TREE, "MOST_LEAVES", 1)
    monkeypatch.setattr(TREE, "AT_ALL", 1)
    with pytest.raises(RepaireconError, match="the limit is 1: put outcomes that cost about the same together"):
        grow(small())


@pytest.mark.usefixtures("few")
def test_the_answer_says_what_the_rule_leaves_out():
    answer = rebuild_or_buy(with_events(*two("stud", 0.3, extra_hours=sure(4))), draws=500)
    assert "not looked at by this rule, as there are too many to lay out: stud." in " ".join(bench(answer))
    plain = rebuild_or_buy(small(), draws=500)
    assert "not looked at" not in " ".join(bench(plain))
