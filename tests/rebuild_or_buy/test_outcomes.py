"""The engine against an independent walk of the case in plain Python, and properties of its answer."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from plain_loop import PlainCase
from reference_case import case, span
from scipy import stats
from wide_case import wide

from repairecon.rebuild_or_buy.draws import BLOCK, REPLICATES
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import QUANTITIES, Outcomes, Tally, sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import ORDER_TIMES, WAY_KINDS, Case

ALLOWED = {"second-hand": False}
LOOPS = 1500
DRAWS = 5 * BLOCK


def model_of(made: Case, allowed: dict[str, bool] | None = None) -> Model:
    return Model(made, grow(made), ALLOWED if allowed is None else allowed)


@cache
def engine(order: str = "after measure", draws: int = DRAWS, seed: int = 7) -> Outcomes:
    return sample(model_of(wide(order)), draws, seed)


@cache
def drawn(name: str, draws: int, seed: int) -> Outcomes:
    return sample(model_of({"reference": case, "wide": wide}[name]()), draws, seed)


@cache
def looped() -> NDArray[np.float64]:
    """(draws, ways, quantities) of the plain loop."""
    rng = random.Random(11)
    plain = PlainCase(wide(), ALLOWED)
    return np.array([plain.draw(rng) for _ in range(LOOPS)])


def test_the_wide_case_has_every_lasting_kind_of_way() -> None:
    others = {"own spare", "carry on", "temporary", "without"}  # in new_ways_case
    assert {w.kind for w in wide().ways} == set(WAY_KINDS) - others


WALKS = [
    *((order, ALLOWED) for order in ORDER_TIMES),
    ("after measure", {}),
    ("after measure", {"exchange": False, "new": False}),
]


@pytest.mark.parametrize(("order", "barred"), WALKS, ids=str)
def test_exact_means_against_the_plain_walk(order: str, barred: dict[str, bool]) -> None:
    made = wide(order)
    plain = np.array(PlainCase(made, barred).expected())
    outcomes = sample(model_of(made, barred), 2, 0)
    assert_allclose(outcomes.mean[:, :4], plain, rtol=2e-6)
    assert_allclose(outcomes.mean[:, 4], plain[:, 3] - made.terms.cost_own_hour * plain[:, 1], rtol=2e-6)


def test_exact_means_of_the_reference_case_against_the_plain_walk() -> None:
    outcomes = sample(model_of(case()), 2, 0)
    assert_allclose(outcomes.mean[:, :4], np.array(PlainCase(case(), ALLOWED).expected()), rtol=2e-6)


def test_exact_means_against_the_plain_loop() -> None:
    x = looped()
    se = x.std(axis=0, ddof=1) / np.sqrt(LOOPS)
    off = np.abs(x.mean(axis=0) - engine().mean[:, :4]) / se
    assert off.max() < 4, (off.max(), np.unravel_index(off.argmax(), off.shape))


@pytest.mark.parametrize("p", [0.1, 0.5, 0.9])
def test_quantiles_against_the_plain_loop(p: float) -> None:
    x, outcomes = looped(), engine()
    quantile = np.array([[float(t[q].quantile(p)) for q in range(4)] for t in outcomes.tallies])
    share = (x <= quantile).mean(axis=0)
    se = np.sqrt(p * (1 - p) * (1 / LOOPS + 1 / DRAWS))
    assert np.abs(share - p).max() < 4 * se


def test_chance_of_being_cheapest_against_the_plain_loop() -> None:
    total = looped()[:, :, 3].copy()
    allowed = np.array([ALLOWED.get(w.way, True) for w in wide().ways])
    total[:, ~allowed] = np.inf
    wins = np.bincount(total.argmin(axis=1), minlength=len(allowed)) / LOOPS
    outcomes = engine()
    se = np.sqrt(np.maximum(outcomes.p_cheapest * (1 - outcomes.p_cheapest), 1 / LOOPS) / LOOPS)
    assert (np.abs(wins - outcomes.p_cheapest) < 4.2 * se).all()
    regret = np.where(allowed, total - total.min(axis=1, keepdims=True), 0.0)
    off = np.abs(regret.mean(axis=0) - outcomes.regret)[allowed] / (regret.std(axis=0) / np.sqrt(LOOPS))[allowed]
    assert off.max() < 4
    below = (looped()[:, :, None, 3] < looped()[:, None, :, 3]).mean(axis=0)
    assert np.abs(below - outcomes.beats).max() < 4.2 * 0.5 / np.sqrt(LOOPS)


@pytest.mark.parametrize("order", ["now", "after measure"])
def test_sampled_means_within_four_standard_errors_of_the_exact(order: str) -> None:
    outcomes = engine(order)
    assert (np.abs(outcomes.sampled_mean - outcomes.mean) < 4 * outcomes.sampled_se).all()


def test_shares_of_being_cheapest() -> None:
    outcomes = engine()
    assert outcomes.p_cheapest.sum() == pytest.approx(1.0, abs=1e-12)
    barred = outcomes.ways.index("second-hand")
    assert outcomes.p_cheapest[barred] == 0
    assert (outcomes.regret[np.arange(len(outcomes.ways)) != barred] >= 0).all()
    assert (outcomes.beats + outcomes.beats.T <= 1 + 1e-12).all()


def test_of_equal_ways_the_simpler_has_the_first_place() -> None:
    made = case(ways=(*case().ways, replace(case().way("new"), way="new again")), quotes=case().quotes)
    twin = replace(made.way("new"), price=span(1, 1, 1))
    made = replace(made, ways=(replace(twin, way="a", lead_days=None), replace(twin, way="b", lead_days=None)))
    outcomes = sample(model_of(made, {}), 500, 1)
    assert outcomes.p_cheapest.tolist() == [1.0, 0.0]


def test_same_seed_same_answer_bit_for_bit() -> None:
    made = case()
    for seed in (0, 5):
        a, b = (sample(model_of(made), BLOCK + 77, seed) for _ in range(2))
        for name in ("sampled_mean", "sampled_se", "p_cheapest", "regret", "beats"):
            assert_array_equal(getattr(a, name), getattr(b, name))
        for s, t in zip(a.tallies, b.tallies, strict=True):
            for q in range(len(QUANTITIES)):
                assert_array_equal(s[q].counts, t[q].counts)
    other = sample(model_of(made), BLOCK + 77, 1)
    assert not np.array_equal(other.sampled_mean, a.sampled_mean)


def test_own_time_at_nought_and_at_another_rate() -> None:
    free, dear = (sample(Model(wide(), grow(wide()), ALLOWED, own_hour=h), 100, 1) for h in (0.0, 200.0))
    assert_allclose(free.mean[:, 3], free.mean[:, 4])
    said = wide(terms=replace(wide().terms, cost_own_hour=200.0))
    assert_allclose(dear.mean[:, :4], np.array(PlainCase(said, ALLOWED).expected()), rtol=2e-6)


PRICED = [f"part {k}" for k in range(12)] + [w.way for w in wide().ways if w.price or w.kind == "send away"]


def dearer(made: Case, item: str, by: float) -> Case:
    """The same case with one price up by a sum: the part's or way's own, and all quotes of it."""

    def up(r):  # type: ignore[no-untyped-def]
        return None if r is None else replace(r, low=r.low + by, likely=r.likely + by, high=r.high + by)

    return replace(
        made,
        parts=tuple(replace(p, price=up(p.price)) if p.part == item else p for p in made.parts),
        ways=tuple(replace(w, price=up(w.price)) if w.way == item else w for w in made.ways),
        quotes=tuple(replace(q, quoted=up(q.quoted)) if q.item == item else q for q in made.quotes),
    )


@cache
def sure_to_come() -> Model:
    comes = wide(ways=tuple(replace(w, p_never=0.0) for w in wide().ways))
    return model_of(replace(comes, quotes=tuple(replace(q, p_never=0.0) for q in comes.quotes)))


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(PRICED), st.floats(0.5, 400.0))
def test_no_way_gets_cheaper_when_a_price_rises(item: str, by: float) -> None:
    # With every way sure to come, and choices made again. A way that may never come is done instead of by
    # one chosen on its own price; see below.
    before = sure_to_come()
    after = model_of(dearer(before.case, item, by)).expected()
    assert (after @ before.weights >= before.expected() @ before.weights - 1e-6).all()


@settings(max_examples=8, deadline=None)
@given(st.sampled_from([w.way for w in case().ways if w.price]), st.floats(1.0, 300.0))
def test_in_no_draw_does_a_way_get_cheaper_when_its_price_rises(name: str, by: float) -> None:
    a, b = drawn("reference", 2000, 4), sample(model_of(dearer(case(), name, by)), 2000, 4)
    i = a.ways.index(name)
    before, after = a.sample[i], b.sample[i]
    assert (after >= before - 1e-6).all()
    if not case().way(name).p_never:
        assert_allclose(after - before, by, rtol=1e-6, atol=0.05)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.01, 500.0))
def test_ranking_does_not_know_the_currency(k: float) -> None:
    a, b = drawn("wide", 3000, 2), sample(model_of(rescaled(wide(), k)), 3000, 2)
    assert_allclose(b.mean[:, [0, 3, 4]], a.mean[:, [0, 3, 4]] * k, rtol=1e-9)
    assert_allclose(b.mean[:, 1:3], a.mean[:, 1:3], rtol=1e-9)
    assert_allclose(b.p_cheapest, a.p_cheapest, atol=2 / 3000)
    assert_allclose(b.regret, a.regret * k, rtol=1e-6)


def rescaled(made: Case, k: float) -> Case:
    """All home money times k; the pound now costs k times as much."""
    t = made.terms
    terms = replace(
        t,
        exchange={c: x * k for c, x in t.exchange.items()},
        labour={n: replace(w, cost_hour=w.cost_hour.scaled(k)) for n, w in t.labour.items()},
        cost_own_hour=t.cost_own_hour * k,
        cost_lost_day=t.cost_lost_day.scaled(k),
    )
    at_home = {s.supplier for s in made.suppliers if s.currency == t.currency}
    return replace(
        made,
        terms=terms,
        parts=tuple(replace(p, price=p.price and p.price.scaled(k)) for p in made.parts),
        tasks=tuple(replace(x, cost=x.cost.scaled(k)) for x in made.tasks),
        branches=tuple(replace(b, outside_cost=b.outside_cost.scaled(k)) for b in made.branches),
        ways=tuple(
            replace(
                w,
                price=w.price and w.price.scaled(k),
                core_surcharge=w.core_surcharge.scaled(k),
                core_carriage=w.core_carriage.scaled(k),
                strip_charge=w.strip_charge.scaled(k),
                old_unit_price=w.old_unit_price.scaled(k),
            )
            for w in made.ways
        ),
        suppliers=tuple(
            replace(
                s,
                cost_handling=s.cost_handling * k,
                carriage=s.carriage.scaled(k) if s.supplier in at_home else s.carriage,
            )
            for s in made.suppliers
        ),
        quotes=tuple(replace(q, quoted=q.quoted.scaled(k)) if q.supplier in at_home else q for q in made.quotes),
    )


@pytest.mark.parametrize("p", [0.001, 0.1, 0.5, 0.9, 0.99])
def test_tally_quantiles_against_the_sorted_values(p: float) -> None:
    x = np.random.default_rng(8).gamma(2.0, 30.0, 6 * BLOCK)
    tally = Tally(x[:BLOCK])
    for k, block in enumerate(x.reshape(6, BLOCK)):
        tally.add(block, k if k % 2 else np.arange(BLOCK) % REPLICATES)
    inverted = np.quantile(x, p, method="inverted_cdf")
    assert float(tally.quantile(p)) == pytest.approx(inverted, abs=2 * tally.width)
    assert float(tally.chance_up_to(np.array([inverted]))[0]) == pytest.approx(p, abs=4e-3)


@pytest.mark.parametrize("p", [0.1, 0.5, 0.9])
def test_standard_error_of_a_quantile_of_independent_draws(p: float) -> None:
    # sqrt(p (1 - p) / n) / f(x), the gamma density being known; mean of 20 times 15 degrees of freedom
    rng, said = np.random.default_rng(9), []
    for _ in range(20):
        x = rng.gamma(2.0, 30.0, BLOCK)
        tally = Tally(x)
        tally.add(x, np.arange(BLOCK) % REPLICATES)
        said.append(tally.quantile_se(p) ** 2)
    exact = stats.gamma(2.0, scale=30.0)
    wanted = np.sqrt(p * (1 - p) / BLOCK) / exact.pdf(exact.ppf(p))
    assert np.sqrt(np.mean(said)) == pytest.approx(wanted, rel=4 / np.sqrt(2 * 300))


def test_tally_of_one_value() -> None:
    tally = Tally(np.full(100, 7.0))
    tally.add(np.full(100, 7.0), 3)
    assert tally.quantile(np.array([0.1, 0.5, 0.9])).tolist() == [7.0] * 3


def test_as_many_draws_as_the_verdict_needs() -> None:
    found = sample(model_of(case()), None, 3)
    totals = np.where(model_of(case()).allowed, found.mean[:, 3], np.inf)
    best, second = np.argsort(totals)[:2]
    for way in (best, second):
        assert found.tallies[way][3].quantile_se(0.9) <= abs(found.mean[way, 3]) / 600
    assert found.beats_se[best, second] <= 0.0025
    p = found.beats[best, second]
    assert found.draws < p * (1 - p) / 0.0025**2  # what independent draws would take
    # Stopping early changes nothing of what was drawn: as many draws asked for give the same, bit for bit.
    same = sample(model_of(case()), found.draws, 3)
    assert_array_equal(found.p_cheapest, same.p_cheapest)
    assert_array_equal(found.sampled_mean, same.sampled_mean)


def test_draws_go_on_until_the_figures_are_sure() -> None:
    # The dearer the lost day, the wider the totals; half the draws would not have been enough.
    made = case(terms=replace(case().terms, cost_lost_day=span(5, 60, 400)))
    found = sample(model_of(made), None, 3)
    few = sample(model_of(made), found.draws // 2, 3)
    assert found.draws > BLOCK
    best, second = np.argsort(found.mean[:, 3])[:2]
    errors = [few.tallies[w][3].quantile_se(0.9) / abs(few.mean[w, 3]) * 600 for w in (best, second)]
    assert max(*errors, few.beats_se[best, second] / 0.0025) > 1.0
