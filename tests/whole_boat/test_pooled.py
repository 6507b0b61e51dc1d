"""One budget over all boats against every choice tried."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from repairecon.read.starter import new_boat
from repairecon.whole_boat.answer import BoatLine, _ladder, _within, pools, whole_boat
from repairecon.whole_boat.units import UnitLine
from repairecon.whole_boat.words import first_screen


def unit(name: str, p: float, price: float) -> UnitLine:
    """A unit as far as a pool asks (invented)."""
    return UnitLine(
        unit=name, kind=name, count=1, critical=False, age_years=None, hours=None, p_fails=p, due_years=5.0,
        price_new=price, spare_cost=0.08 * price, maker_number=f"no {name}", p_fails_a_year=p, cost_without=600.0,
        lost_day=40.0, order_days=10.0, bring_days=2.0,
    )  # fmt: skip


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> list[BoatLine]:
    """Four boats at one base and one elsewhere."""
    new_boat(tmp_path_factory.mktemp("f") / "b")
    plain = whole_boat(tmp_path_factory.getbasetemp() / "f0" / "b")
    rng = np.random.default_rng(4)
    units = [[unit("pump", p, 500.0), unit("starter", p / 2, 300.0), unit("winch", p / 3, 900.0)]
             for p in rng.uniform(0.1, 0.4, 5)]  # fmt: skip
    names = [("a", "north"), ("b", "north"), ("c", "North"), ("d", "north"), ("e", "south")]
    return [replace(plain, boat=n, base=b, units=tuple(u)) for (n, b), u in zip(names, units, strict=True)]


@pytest.mark.parametrize("budget", [None, 0.0, 400.0, 900.0, 1500.0])
def test_the_best_within_a_budget_against_every_choice(fleet: list[BoatLine], budget: float | None) -> None:
    north, south = fleet[:4], fleet[4:]
    ladders = [_ladder([(b, b.units[k]) for b in some]) for some in (north, south) for k in range(3)]
    tried = [
        sum(r.saves for r in choice)
        for choice in product(*ladders)
        if budget is None or sum(r.cost for r in choice) <= budget
    ] if budget is not None else [sum(max(r.saves for r in ladder) for ladder in ladders)]  # fmt: skip
    found = list(_within(ladders, budget))
    assert sum(p.saves for p in found) == pytest.approx(max(tried), abs=1e-6)
    assert sum(p.saves for p in pools(fleet, budget)) == pytest.approx(max(tried), abs=1e-6)


def test_what_a_pool_says(fleet: list[BoatLine]) -> None:
    found = pools(fleet)
    assert {p.base for p in found} <= {"north", "south"}
    assert max(len(p.boats) for p in found) == 4
    assert "Spares to share" in first_screen(fleet, found)
    assert pools(fleet[:1]) == pools([fleet[0]])
