"""An owner who minds the bad case: a tolerance and a cap, and when they change the choice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import reference_case as rc
from bench_case import DRAWS, answer, bench_case, sure

from repairecon.records import Case


def risky(**terms: object) -> Case:
    """Rebuild: 155 and 700 more half of the time, so 505; new 520 for sure. The bad case is 855."""
    made = bench_case(branches=tuple(b for b in bench_case().branches if b.event == "shaft"))
    made = replace(made, ways=(made.ways[0], rc.way("new", "new", sure(517), lead_days=sure(3))))
    return replace(made, terms=replace(made.terms, **terms))  # type: ignore[arg-type]


def test_no_tolerance_and_no_cap_change_nothing() -> None:
    said = answer(risky())
    assert said.verdict.best == "rebuild"
    assert said.table.loc["rebuild", "total_mean"] == pytest.approx(505)
    assert (said.risk.best, said.risk.changes) == ("rebuild", False)
    np.testing.assert_allclose(said.risk.frame["certainty_equivalent"], said.table["total_mean"])
    assert (said.risk.frame["p_over_cap"] == 0).all()


def test_a_large_tolerance_is_neutral_and_a_small_one_is_not() -> None:
    large, small = answer(risky(risk_tolerance=1e9)), answer(risky(risk_tolerance=500.0))
    np.testing.assert_allclose(large.risk.frame["certainty_equivalent"], large.table["total_mean"], rtol=1e-5)
    assert (large.risk.best, large.risk.changes) == ("rebuild", False)
    # Closed form: T ln(mean of exp(cost / T)) of 155 and 855, evenly.
    worth = 500 * np.log((np.exp(155 / 500) + np.exp(855 / 500)) / 2)
    assert small.risk.frame.loc["rebuild", "certainty_equivalent"] == pytest.approx(worth, rel=2e-3)
    assert small.risk.frame.loc["new", "certainty_equivalent"] == pytest.approx(520, rel=1e-6)
    assert (small.risk.best, small.risk.changes) == ("new", True)
    assert small.verdict.best == "rebuild"


@pytest.mark.parametrize(
    ("cap", "chance", "best", "changes"),
    [
        (600.0, 0.1, "new", True),
        (600.0, 0.3, "new", True),
        (600.0, 0.6, "rebuild", False),
        (900.0, 0.1, "rebuild", False),
        (400.0, 0.1, "", True),
    ],
)
def test_a_cap_excludes_ways(cap: float, chance: float, best: str, changes: bool) -> None:
    said = answer(risky(cap_cost=cap, cap_chance=chance))
    assert said.risk.frame.loc["rebuild", "p_over_cap"] == pytest.approx(0.5 if cap < 855 else 0.0, abs=1 / DRAWS)
    assert (said.risk.best, said.risk.changes) == (best, changes)
    assert said.verdict.best == "rebuild"
