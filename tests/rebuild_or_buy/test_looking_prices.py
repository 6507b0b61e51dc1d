"""What knowing a price is worth, against quadrature over values added up by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import pytest
from plain_numbers import mean, quantile
from reference_case import branch, quotes, supplier, terms, way
from scipy import integrate
from small_case import part, small, sure
from test_looking import here
from test_stages import model_of

from repairecon.rebuild_or_buy.bench import event_worth, price_worth
from repairecon.rebuild_or_buy.sensitivity import numbers
from repairecon.records import Case, Range


class Known(NamedTuple):
    """A price of the small case and the value of the best rule once it is known, added up by hand."""

    name: str
    made: Callable[[Range], Case]
    value: Callable[[float], float]


# A cracked casing (0.4) is found after two days of stripping, a day at 1.
KNOWN = {
    "kit": Known(
        "price of kit",
        lambda r: small(parts=(replace(part("kit", 1, sure(10)), price=r),)),
        lambda x: min(503, 0.4 * 505 + 0.6 * min(x + 15, 505)),
    ),
    "new": Known(
        "price of new",
        lambda r: small(ways=(small().ways[0], replace(small().ways[1], price=r))),
        lambda x: min(x + 3, 0.4 * (x + 5) + 0.6 * min(115, x + 5)),
    ),
}
SPREAD = {"kit": (50, 300, 900), "new": (25, 150, 450)}
SHAPES = ("pert", "triangular", "uniform", "lognormal")


def by_quadrature(known: Known, r: Range) -> float:
    """Expected saving: the value at the mean less the mean of the values."""
    informed, error = integrate.quad(lambda p: known.value(quantile(r, p)), 0, 1, limit=400, epsabs=1e-4, epsrel=1e-7)
    assert error < 1e-3
    return known.value(mean(r)) - informed


def worth_of(made: Case, name: str) -> tuple[float, float]:
    model = model_of(made)
    return price_worth(model, here(model), next(n for n in numbers(model) if n.name == name))


@pytest.mark.parametrize(("which", "shape"), [(n, s) for n in KNOWN for s in SHAPES])
def test_the_worth_of_a_price_and_its_error_against_quadrature(which: str, shape: str) -> None:
    r = Range(*SPREAD[which], shape)  # type: ignore[arg-type]
    worth, error = worth_of(KNOWN[which].made(r), KNOWN[which].name)
    exact = by_quadrature(KNOWN[which], r)
    assert abs(worth - exact) <= error + 2e-3
    assert worth == pytest.approx(exact, abs=0.001 * (quantile(r, 0.95) - quantile(r, 0.05)))
    assert worth >= 0


def test_a_sure_price_is_worth_nothing() -> None:
    assert worth_of(small(), "price of kit") == (0.0, 0.0)


def test_knowing_a_price_that_a_rival_quote_undercuts() -> None:
    near, far = (supplier(name, carriage=sure(0), lead_days=sure(10)) for name in ("near", "far"))
    offers = tuple(
        replace(quotes()[0], item="kit", supplier=s, quoted=r)
        for s, r in (("near", Range(100, 200, 300, "uniform")), ("far", sure(210)))
    )
    rebuilt = small(parts=(replace(part("kit", 1, None), price=None),), suppliers=(near, far), quotes=offers)
    # Near's uniform 100..300 is taken at its mean of 200; known, it is near's up to 210 and far's above; sound 0.6.
    paid = ((210**2 - 100**2) / 2 + 90 * 210) / 200
    assert worth_of(rebuilt, "price of kit at near")[0] == pytest.approx(0.6 * (200 - paid), abs=0.5)


def sent_off(p_cracked: float, **prices: Range) -> Case:
    """The unit is sent away for 50; given up there it costs 20, and one of two others is bought."""
    rows = (
        branch("casing", "sound", 1 - p_cracked, "strip"),
        branch("casing", "cracked", p_cracked, "strip", ends_rebuild=True),
        branch("the used one", "good", 0.5, "first run", ways=("used",)),
        branch("the used one", "worn", 0.5, "first run", ways=("used",), outside_cost=sure(900)),
    )
    ways = (
        way("away", "send away", sure(50), lead_days=None, strip_charge=sure(20)),
        *(way(w, "new" if w == "new" else "second-hand", r, lead_days=None) for w, r in prices.items()),
    )
    return small(branches=rows, ways=ways, tasks=(), parts=(), terms=terms(cost_lost_day=sure(0), cost_own_hour=0.0))


def test_knowing_the_price_of_what_is_bought_after_sending_away() -> None:
    made = sent_off(0.8, new=Range(100, 300, 500, "uniform"), copy=sure(400))
    worth, error = worth_of(made, "price of new")

    def value(x: float) -> float:
        return min(x, 400, 0.2 * 50 + 0.8 * (20 + min(x, 400)))

    exact = value(300) - integrate.quad(lambda p: value(100 + 400 * p), 0, 1, points=[0.5, 0.75], limit=100)[0]
    assert worth == pytest.approx(exact, abs=error + 0.5)


def test_knowing_of_a_unit_bought_after_sending_away() -> None:
    model = model_of(sent_off(0.1, new=sure(500), used=sure(100)))
    made = here(model)
    # Unknown: 0.9 x 50 + 0.1 x (20 + 500); known to be good, the used one follows at 100.
    assert made.value() == pytest.approx(97)
    assert event_worth(model, made, model.tree.column("the used one")) == pytest.approx(0.5 * 0.1 * (500 - 100))


def test_knowing_a_price_that_turns_nothing_within_its_range() -> None:
    """Nursed along, no day is lost: 400 to 600 for the new one that follows, and 3 more if taken now; the copy at 700
    is dearer throughout, though not at twice the price of the new one."""
    ways = (
        way("new", "new", Range(400, 500, 600, "uniform"), lead_days=sure(3)),
        way("copy", "pattern", sure(700), lead_days=sure(3)),
        way("nurse it", "carry on", until_days=sure(60)),
    )
    assert worth_of(small(branches=(), ways=ways, tasks=(), parts=()), "price of new") == (0.0, 0.0)
