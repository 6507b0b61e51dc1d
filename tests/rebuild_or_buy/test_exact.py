"""Exact distributions against draws, closed forms, the exact means and finer reckonings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from reference_case import branch, case, span, task, terms, way
from scipy import stats
from small_case import part, small, sure
from wide_case import wide

from repairecon import read_case
from repairecon.formulas.convolve import chance_up_to
from repairecon.rebuild_or_buy import exact
from repairecon.rebuild_or_buy.exact import exact_distribution, quantiles
from repairecon.rebuild_or_buy.exact_nodes import node_counts
from repairecon.rebuild_or_buy.exact_rows import way_rows
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes, sample
from repairecon.rebuild_or_buy.tally import BINS
from repairecon.rebuild_or_buy.world import grow
from repairecon.records import Case, Range, RepaireconError

Floats = NDArray[np.float64]
Masses = tuple[float, float, Floats]
DRAWS = 200_000
MADE = {
    "reference": case(),
    "wide": wide(),
    "wide, ordered now": wide("now"),
    "wide, after removal": wide("after removal"),
}
SOME = [(name, i) for name in ("reference", "wide") for i in range(len(MADE[name].ways))]
EVERY = [*SOME, *((name, i) for name in MADE if "," in name for i in (0, 8))]


@cache
def model(name: str) -> Model:
    return Model(MADE[name], grow(MADE[name]), {})


@cache
def found(name: str, i: int, quantity: str) -> Masses:
    return exact_distribution(model(name), i, quantity)


@cache
def drawn(name: str) -> Outcomes:
    return sample(model(name), DRAWS, 5)


def mean_of(distribution: Masses) -> float:
    start, step, masses = distribution
    return start + step * float(masses @ np.arange(len(masses)))


def variance_of(distribution: Masses) -> float:
    start, step, masses = distribution
    points = start + step * np.arange(len(masses))
    return float(masses @ (points - mean_of(distribution)) ** 2)


def distribution(made: Case, way_name: str, quantity: str = "total") -> Masses:
    m = Model(made, grow(made), {})
    return exact_distribution(m, m.ways.index(way_name), quantity)


# ---- every way of the big cases -----------------------------------------------------------
@pytest.mark.parametrize(("name", "i"), EVERY)
def test_mean_is_the_exact_one(name: str, i: int) -> None:
    m = model(name)
    expected = m.expected()[i]
    assert mean_of(found(name, i, "total")) == pytest.approx(float(m.total(expected)), rel=1e-6)
    assert mean_of(found(name, i, "cash")) == pytest.approx(float(expected[0]), rel=1e-6)


@pytest.mark.parametrize(("name", "i"), EVERY)
def test_chances_are_chances(name: str, i: int) -> None:
    for quantity in ("total", "cash"):
        masses = found(name, i, quantity)[2]
        assert masses.min() >= 0.0
        assert masses.sum() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("name", "i"), SOME)
@pytest.mark.parametrize(("quantity", "q"), [("total", 3), ("cash", 0)])
def test_every_chance_within_the_noise_of_draws(name: str, i: int, quantity: str, q: int) -> None:
    tally = drawn(name).tallies[i][q]
    upper = tally.start + tally.width * np.arange(1, BINS + 1)
    shares = np.cumsum(tally.counts) / DRAWS
    gap = np.abs(chance_up_to(*found(name, i, quantity), upper) - shares).max()
    # Dvoretzky, Kiefer, Wolfowitz with Massart's constant: P(gap > e) <= 2 exp(-2 n e**2); once in 100,000
    noise = np.sqrt(np.log(2.0 / 1e-5) / (2.0 * DRAWS))
    assert gap < noise + exact.TOLERANCE, (gap, noise)


@pytest.mark.parametrize(("name", "i"), SOME)
def test_variance_against_draws(name: str, i: int) -> None:
    s = drawn(name)
    tally = s.tallies[i][3]
    share = tally.counts / tally.counts.sum()
    spread = np.sqrt(share @ (tally.middles - share @ tally.middles) ** 2)
    kurtosis = 30.0 if any(r.shape == "lognormal" for r in _leads(name, i)) else 3.0
    off = np.sqrt(variance_of(found(name, i, "total"))) / spread - 1.0
    assert abs(off) < 4.0 * np.sqrt(kurtosis / DRAWS) / 2.0 + 1e-3


def _leads(name: str, i: int) -> list[Range]:
    w = MADE[name].ways[i]
    own = [w.lead_days, *(q.lead_days for q in MADE[name].quotes if q.item in (w.way, w.bought, "pattern"))]
    return [r for r in [*own, *(x.lead_days for x in MADE[name].ways)] if r is not None] if own else []


@pytest.mark.parametrize(("name", "i"), [("reference", k) for k in range(5)] + [("wide", 0), ("wide", 4)])
def test_few_values_stand_for_all_paces_and_lost_days(name: str, i: int, monkeypatch: pytest.MonkeyPatch) -> None:
    coarse = found(name, i, "total")
    monkeypatch.setattr(exact, "node_counts", lambda *_: (25, 20, 4))
    fine = exact_distribution(model(name), i, "total", 4096)
    x = coarse[0] + coarse[1] * np.arange(0.0, len(coarse[2]), 0.5)
    assert np.abs(chance_up_to(*coarse, x) - chance_up_to(*fine, x)).max() < 2.0 * exact.TOLERANCE


def test_more_values_where_they_move_the_sum_more() -> None:
    m = model("reference")
    counts = [node_counts(m, exact.pieces_of(way_rows(m, i, "total")), 1e-4) for i in (1, 3)]
    assert counts[1][1] > counts[0][1]


def test_quantiles_are_those_of_the_distribution() -> None:
    d = found("reference", 0, "total")
    at = quantiles(model("reference"), 0, [0.1, 0.5, 0.9])
    np.testing.assert_allclose(chance_up_to(*d, at), [0.1, 0.5, 0.9], atol=1e-9)


# ---- closed forms on tiny cases -----------------------------------------------------------
def bare(*ways: object, **changes: object) -> Case:
    """Nothing but the ways: no parts, tasks or events."""
    return small(parts=(), tasks=(), branches=(), ways=ways, **changes)


X = np.linspace(480.0, 820.0, 341)


def pert(x: Floats | float, low: float, likely: float, high: float) -> Floats:
    a = 1.0 + 4.0 * (likely - low) / (high - low)
    return np.asarray(stats.beta.cdf(x, a, 6.0 - a, loc=low, scale=high - low))


def test_one_price_has_its_own_cdf() -> None:
    d = distribution(bare(way("new", "new", span(500, 560, 800), lead_days=None)), "new", "cash")
    np.testing.assert_allclose(chance_up_to(*d, X), pert(X, 500, 560, 800), atol=2e-6)


def test_a_sure_way_is_one_number() -> None:
    start, _, masses = distribution(bare(way("new", "new", sure(500.0), lead_days=sure(3.0))), "new")
    assert (start, masses[0]) == (503.0, 1.0)


def test_two_leaves_are_mixed() -> None:
    dead = branch("arrival", "dead", 0.3, "first run", ways=("new",), outside_cost=span(100, 130, 190))
    made = replace(
        bare(way("new", "new", sure(500.0), lead_days=None)),
        branches=(branch("arrival", "works", 0.7, "first run", ways=("new",)), dead),
    )
    d = distribution(made, "new", "cash")
    x = np.linspace(505.0, 700.0, 300)
    np.testing.assert_allclose(chance_up_to(*d, x), 0.7 + 0.3 * pert(x - 500.0, 100, 130, 190), atol=1e-4)


def test_a_refund_comes_with_its_chance() -> None:
    core = {"core_surcharge": sure(150.0), "p_refund": 0.8}
    exchange = way("exchange", "exchange", span(500, 560, 600), lead_days=None, **core)
    d = distribution(bare(exchange), "exchange", "cash")
    wanted = 0.8 * pert(X, 500, 560, 600) + 0.2 * pert(X - 150.0, 500, 560, 600)
    np.testing.assert_allclose(chance_up_to(*d, X), wanted, atol=2e-5)
    uncertain = replace(exchange, core_surcharge=span(100, 150, 220))
    d = distribution(bare(uncertain), "exchange", "cash")
    nodes, weights = np.polynomial.legendre.leggauss(200)
    s = 160.0 + 60.0 * nodes
    density = stats.beta.pdf((s - 100.0) / 120.0, 1.0 + 4.0 * 50 / 120, 5.0 - 4.0 * 50 / 120) * weights / 2.0
    kept = pert(X[:, None] - s, 500, 560, 600) @ density
    np.testing.assert_allclose(chance_up_to(*d, X), 0.8 * pert(X, 500, 560, 600) + 0.2 * kept, atol=2e-5)


def test_never_gives_the_other_way_after_the_wait() -> None:
    made = bare(
        way("second-hand", "second-hand", span(500, 520, 560), lead_days=None, p_never=0.25, instead="new"),
        way("new", "new", span(600, 640, 700), lead_days=sure(4.0)),
    )  # a lost day costs 1, given up after 30 days
    d = distribution(made, "second-hand")
    wanted = 0.75 * pert(X, 500, 520, 560) + 0.25 * pert(X - 34.0, 600, 640, 700)
    np.testing.assert_allclose(chance_up_to(*d, X), wanted, atol=2e-5)


def test_days_times_an_uncertain_cost_of_a_day() -> None:
    made = bare(
        way("new", "new", span(500, 560, 600), lead_days=sure(10.0)),
        terms=terms(cost_lost_day=Range(5, 10, 15, "uniform"), cost_own_hour=0.0),
    )
    d = distribution(made, "new")
    nodes, weights = np.polynomial.legendre.leggauss(100)
    wanted = pert(X[:, None] - 10.0 * (10.0 + 5.0 * nodes), 500, 560, 600) @ weights / 2.0
    np.testing.assert_allclose(chance_up_to(*d, X), wanted, atol=2.0 * exact.TOLERANCE)


def test_hours_at_an_hours_price_and_hours_that_go_alike() -> None:
    """Two jobs of a yard at one price, their hours correlated: variance of ``p (a + b)`` by quadrature."""
    hours, rho = span(2, 4, 9), 0.6
    made = bare(
        way("new", "new", span(500, 560, 600), lead_days=None),
        terms=terms(hours_correlation=rho, cost_lost_day=sure(0.0)),
    )
    made = replace(made, tasks=(task("a", "first run", "yard", hours), task("b", "first run", "yard", hours)))
    d = distribution(made, "new", "cash")
    z, w = np.polynomial.hermite_e.hermegauss(80)
    w = w / w.sum()
    conditional = [float(_pert_quantile(np.sqrt(rho) * c + np.sqrt(1 - rho) * z, 2, 4, 9) @ w) for c in z]
    m = float(np.array(conditional) @ w)
    both = float(np.array(conditional) ** 2 @ w)
    square = float(_pert_quantile(z, 2, 4, 9) ** 2 @ w)
    price = stats.beta(1 + 4 * 12 / 35, 5 - 4 * 12 / 35, loc=60, scale=35)  # yard: 60, 72, 95
    p, p2 = price.mean(), price.var() + price.mean() ** 2
    new = stats.beta(1 + 4 * 0.6, 5 - 4 * 0.6, loc=500, scale=100)
    assert mean_of(d) == pytest.approx(new.mean() + 2 * m * p, rel=1e-7)
    assert variance_of(d) == pytest.approx(new.var() + p2 * 2 * (square + both) - (2 * m * p) ** 2, rel=2e-4)


def _pert_quantile(z: Floats, low: float, likely: float, high: float) -> Floats:
    a = 1.0 + 4.0 * (likely - low) / (high - low)
    return np.asarray(stats.beta.ppf(stats.norm.cdf(z), a, 6.0 - a, loc=low, scale=high - low))


def test_two_orders_wait_for_one_supplier() -> None:
    """Kit ordered at once from two suppliers, a seal later from the first: ``max(x, y) + x`` days."""
    made = small(
        tasks=(),
        parts=(part("kit", 100, None), part("pump", 100, None), part("seal", 10, None, "damage")),
        branches=(branch("run", "leaks", 1.0, "first run", parts=(("seal", 1),)),),
        ways=(way("rebuild", "rebuild"),),
        suppliers=tuple(
            replace(case().suppliers[0], supplier=s, carriage=sure(0.0), lead_days=lead)
            for s, lead in (("one", span(2, 5, 12)), ("two", span(4, 6, 20)))
        ),
        quotes=tuple(
            replace(case().quotes[0], item=item, supplier=s, quoted=price)
            for item, s, price in (
                ("kit", "one", span(80, 100, 140)),
                ("pump", "two", sure(100.0)),
                ("seal", "one", sure(100.0)),
            )
        ),
        terms=terms(cost_lost_day=sure(1.0), cost_own_hour=0.0),
    )
    d = distribution(made, "rebuild")
    t, w = np.polynomial.legendre.leggauss(400)
    x = 7.0 + 5.0 * t
    a = 1.0 + 4.0 * 3 / 10
    density = stats.beta.pdf((x - 2) / 10.0, a, 6 - a) / 10.0 * 5.0 * w
    waits = np.linspace(0.0, 40.0, 801)
    by_wait = np.array([float((density * (2 * x <= y) * pert(y - x, 4, 6, 20)).sum()) for y in waits])
    kit = stats.beta(1 + 4 * 20 / 60, 5 - 4 * 20 / 60, loc=80, scale=60)
    price = 110.0 + 30.0 * t
    at = np.linspace(285.0, 370.0, 80)
    chance = [float(kit.pdf(price) * 30.0 * w @ np.interp(z - 200.0 - price, waits, by_wait)) for z in at]
    np.testing.assert_allclose(chance_up_to(*d, at), chance, atol=3e-4)
    longest = np.maximum(x, 4.0) + _mean_above(x)
    assert mean_of(d) - 200.0 - kit.mean() == pytest.approx(float(density @ (x + longest)), rel=1e-5)


def _mean_above(floor: Floats) -> Floats:
    """Integral of the second supplier's survival from the larger of 4 and the floor."""
    t, w = np.polynomial.legendre.leggauss(100)
    low = np.maximum(floor, 4.0)
    y = (20.0 + low)[:, None] / 2.0 + (20.0 - low)[:, None] / 2.0 * t
    return np.asarray((1.0 - pert(y, 4, 6, 20)) @ w * (20.0 - low) / 2.0)


# ---- hours that all go alike ---------------------------------------------------------------
def test_hours_that_all_go_alike_are_one_number() -> None:
    """Two jobs of a yard, 2 and 3 times as long as a third of the owner: 12.5 times one PERT, all told."""
    made = bare(
        way("new", "new", sure(500.0), lead_days=None),
        terms=terms(hours_correlation=1.0, cost_lost_day=sure(0.0), cost_own_hour=10.0),
    )
    yard = replace(made.terms.labour["yard"], cost_hour=sure(60.0))
    made = replace(made, terms=replace(made.terms, labour={**made.terms.labour, "yard": yard}))
    tasks = [("a", "yard", span(4, 8, 18)), ("b", "yard", span(6, 12, 27)), ("c", "owner", span(2, 4, 9))]
    made = replace(made, tasks=tuple(task(name, "first run", by, hours) for name, by, hours in tasks))
    d = distribution(made, "new")
    x = np.linspace(1150.0, 3300.0, 400)
    np.testing.assert_allclose(chance_up_to(*d, x), pert((x - 500.0) / (60 * 5 + 10), 2, 4, 9), atol=exact.TOLERANCE)


@pytest.mark.parametrize("name", ["reference", "wide"])
def test_hours_that_all_go_alike_against_draws(name: str) -> None:
    alike = replace(MADE[name], terms=replace(MADE[name].terms, hours_correlation=1.0))
    _against_draws(Model(alike, grow(alike), {}), range(len(alike.ways)))


def _against_draws(m: Model, ways: Iterable[int], draws: int = 1_000_000) -> None:
    """No chance of a total off by more than the noise of a million draws, once in 100,000, and the tolerance."""
    tallies = sample(m, draws, 5).tallies
    noise = np.sqrt(np.log(2.0 / 1e-5) / (2.0 * draws))
    for i in ways:
        tally = tallies[i][3]
        upper = tally.start + tally.width * np.arange(1, BINS + 1)
        gap = np.abs(chance_up_to(*exact_distribution(m, i), upper) - np.cumsum(tally.counts) / tally.counts.sum())
        assert gap.max() < noise + exact.TOLERANCE, (m.ways[i], gap.max(), noise)


# ---- several waits in common ---------------------------------------------------------------
def test_three_waits_in_common_against_draws() -> None:
    """The windlass orders after the strip and again later from two suppliers, both waits without end."""
    made = read_case(Path(__file__).parents[2] / "data" / "windlass")
    m = Model(made, grow(made), {})
    _against_draws(m, [m.ways.index("rebuild here")])


def test_two_endless_waits_in_common_against_draws() -> None:
    endless = Range(1, 6, 20, "lognormal")
    slow = tuple(replace(s, lead_days=endless) for s in MADE["wide"].suppliers)
    made = replace(MADE["wide"], suppliers=slow)
    m = Model(made, grow(made), {})
    _against_draws(m, [0])


# ---- what is refused ----------------------------------------------------------------------
def test_another_quantity_is_refused() -> None:
    with pytest.raises(RepaireconError, match="total or cash"):
        distribution(case(), "new", "days")


def test_three_orders_with_endless_waits_in_common_are_refused() -> None:
    endless = Range(1, 6, 20, "lognormal")
    slow = tuple(replace(s, lead_days=endless) for s in MADE["wide, ordered now"].suppliers)
    made = replace(MADE["wide, ordered now"], suppliers=slow)
    with pytest.raises(RepaireconError, match="three or more orders wait for the same suppliers"):
        distribution(made, "rebuild here")


# ---- figures kept of a spectrum -----------------------------------------------------------
@pytest.mark.parametrize(("name", "i"), [("reference", 0), ("wide", 7), ("wide", 9)])
def test_figures_cut_off_do_not_show(name: str, i: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Far fewer figures are reckoned than a grid has; all of them give the same chances."""
    few = found(name, i, "total")
    monkeypatch.setattr(exact, "KEPT", exact.MOST)
    every = exact_distribution(model(name), i, "total")
    x = few[0] + few[1] * np.arange(0.0, len(few[2]), 0.5)
    assert np.abs(chance_up_to(*few, x) - chance_up_to(*every, x)).max() < 1e-7
