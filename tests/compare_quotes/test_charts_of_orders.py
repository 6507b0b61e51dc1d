"""Charts of orders and of spares draw what they are given, legibly. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import pairwise

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import BAD_FORMULA, CAPTION, WAYS, boxes, by_gid, overlapping, said

from repairecon.compare_quotes import charts
from repairecon.spares_aboard import charts as spares_charts

TODAY = date(2026, 11, 25)
CHARGES = ["goods", "carriage", "handling and fees", "duty", "VAT", "core, refunded later"]


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


def paid(many: int) -> pd.DataFrame:
    random = np.random.default_rng(many)
    return pd.DataFrame(random.uniform(0.0, 300.0, (many, 6)), index=[*WAYS, BAD_FORMULA][:many], columns=CHARGES)


@pytest.mark.parametrize("many", [1, 4, 9])
def test_the_parts_of_a_bar_add_up_to_what_is_paid(many: int) -> None:
    table = paid(many)
    ax = charts.landed_by_supplier(table, "EUR", CAPTION)
    for name, row in table.iterrows():
        parts = ax.findobj(lambda a, n=f"paid {name}": a.get_gid() == n)
        assert sum(p.get_width() for p in parts) == pytest.approx(row.sum())
        ends = sorted((p.get_x(), p.get_x() + p.get_width()) for p in parts)
        assert all(a[1] == pytest.approx(b[0]) for a, b in pairwise(ends)), "no gap, no overlap"
    assert not overlapping(boxes(ax))


def test_a_charge_that_nobody_takes_is_not_named() -> None:
    table = paid(3).assign(duty=0.0)
    spoken = said(charts.landed_by_supplier(table, "EUR"))
    assert "duty" not in spoken
    assert "VAT" in spoken


def test_dearest_supplier_on_top() -> None:
    table = paid(4)
    ax = charts.landed_by_supplier(table, "EUR")
    at = {n: ax.findobj(lambda a, g=f"paid {n}": a.get_gid() == g)[0].get_y() for n in table.index}
    order = sorted(at, key=at.__getitem__)
    assert order == list(table.sum(axis=1).sort_values(ascending=False).index)


@pytest.mark.parametrize("steps", [1, 2, 5, 14])
def test_the_order_steps_down_as_days_are_given(steps: int) -> None:
    frame = pd.DataFrame(
        {
            "days": np.arange(1, steps + 1) ** 1.5,
            "total": 900 * 0.93 ** np.arange(steps),
            "suppliers": [", ".join(WAYS[:2])] * steps,
        }
    )
    ax = charts.order_against_days(frame.sample(frac=1.0, random_state=1), "EUR", CAPTION)
    x, y = by_gid(ax, "frontier").get_data()
    assert list(x[:-1]) == pytest.approx(sorted(frame["days"]))
    assert list(y[:-1]) == pytest.approx(sorted(frame["total"], reverse=True))
    assert not overlapping(boxes(ax))


def test_value_and_what_was_written_down_stand_end_to_end() -> None:
    table = pd.DataFrame({"value": [20.0, 400.0, 0.0], "written_down": [0.0, 50.0, 9.0]}, index=WAYS[:3])
    ax = spares_charts.value_by_place(table, "EUR", CAPTION)
    lost = by_gid(ax, f"written down {WAYS[1]}")
    assert (lost.get_x(), lost.get_width()) == (400.0, 50.0)
    assert any("EUR 50 written down" in text for text in said(ax))
    assert not overlapping(boxes(ax))


@pytest.mark.parametrize("budget", [None, 0.0, 60.0, 999.0])
def test_the_list_advised_is_marked_where_it_lies(budget: float | None) -> None:
    curve = pd.DataFrame(
        {"spend": [0.0, 10.0, 50.0, 90.0], "expected_cost": [500.0, 300.0, 120.0, 90.0],
         "p_critical_short": [0.4, 0.3, 0.1, 0.05]}
    )  # fmt: skip
    bought = 58.0 if budget != 0.0 else 0.0, 110.0, 0.08
    ax = spares_charts.risk_against_money(curve, "EUR", bought, budget, CAPTION)
    (spend,), (cost,) = by_gid(ax, "chosen").get_data()
    assert (spend, cost) == bought[:2]
    spoken = " ".join(" ".join(said(ax)).split())
    assert f"bought as advised: EUR {spend:.0f} spent, EUR 110 left, something critical short 8 in 100" in spoken
    assert not overlapping(boxes(ax))


def test_expiry_says_what_is_late_what_to_inspect_and_what_is_good() -> None:
    table = pd.DataFrame(
        {"good_until": [date(2025, 3, 1), date(2026, 8, 1), date(2031, 2, 1)],
         "extended_until": [date(2026, 3, 1), date(2028, 8, 1), date(2034, 2, 1)]},
        index=WAYS[:3],
    )  # fmt: skip
    ax = spares_charts.expiry_timeline(table, TODAY, date(2027, 9, 1), CAPTION)
    spoken = said(ax)
    assert {"out of date since Mar 2026", "inspect: due since Aug 2026", "good until Feb 2031"} <= set(spoken)
    late, good = by_gid(ax, f"life {WAYS[0]}"), by_gid(ax, f"life {WAYS[2]}")
    # 4.18 years from 25 November 2026 to 1 February 2031 by the calendar
    assert good.get_width() == pytest.approx(4.18, abs=0.02)
    assert late.get_x() < good.get_x()
    assert not overlapping(boxes(ax))
