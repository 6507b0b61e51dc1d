"""Frames as the charts take them, and each chart drawn from one. All figures here are invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from chart_checks import CAPTION, WAYS
from matplotlib.axes import Axes

from repairecon.rebuild_or_buy import charts, charts_lines

WHY_NOT = "it keeps the sea out, and price alone does not choose that"


def ways_table(many: int, seed: int = 0) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    mean = random.uniform(300, 1900, many)
    days = random.lognormal(2.3, 0.8, many)
    return pd.DataFrame({
        "total_mean": mean, "total_p10": 0.8 * mean, "total_p50": 0.95 * mean, "total_p90": 1.5 * mean,
        "cash_mean": 0.7 * mean, "cash_p10": 0.6 * mean, "cash_p90": 0.9 * mean,
        "days_p10": 0.6 * days, "days_p50": days, "days_p90": 2.5 * days,
        "total_p90_se": 0.0, "allowed": [place != 4 for place in range(many)],
        "why_not": [WHY_NOT if place == 4 else "" for place in range(many)],
    }, index=WAYS[:many])  # fmt: skip


def tree_rows(levels: list[list[tuple[str, float]]]) -> pd.DataFrame:
    """Every outcome of an event follows every outcome of the one before."""
    rows: list[dict[str, Any]] = []

    def grow(parent: int, level: int) -> None:
        for label, chance in levels[level]:
            key = len(rows)
            rows.append({
                "id": key, "parent": parent, "label": label, "event": f"event {level}", "chance": chance,
                "extra_cost": 0.0 if label == "good" else 40.0 * key,
                "ends_rebuild": label == "beyond repair",
                "note": "buy the exchange unit" if label == "beyond repair" else "",
            })  # fmt: skip
            if level + 1 < len(levels) and label != "beyond repair":
                grow(key, level + 1)

    grow(-1, 0)
    return pd.DataFrame(rows)


DEEP = tree_rows([
    [("all jobs", 1.0)], [("good", 0.7), ("salt got in", 0.3)],
    [("good", 0.6), ("grooved", 0.33), ("beyond repair", 0.07)],
    [("good", 0.8), ("rough, to be pressed out", 0.2)], [("good", 0.9), ("a lug breaks", 0.1)],
])  # fmt: skip
SWINGS = pd.DataFrame([
    ("price of the exchange unit", "EUR", 500.0, 900.0, -90.0, 420.0),
    ("wait for parts", "days", 5.0, 25.0, 330.0, -140.0),
    ("days in the yard", "days", 2.0, 50.0, 300.0, 60.0),
    ("own hours on the bench and in the bilge", "hours", 6.0, 16.0, 280.0, 120.0),
    ("price of an own hour", "EUR an hour", 0.0, 30.0, 290.0, -20.0),
    ("scrap", "EUR", 0.0, 20.0, 205.0, 210.0),
    ("kit $x^2$", "EUR", 90.0, 90.0, 210.0, 210.0),
    ("lift-out", "EUR", 300.0, 500.0, 220.0, 170.0),
    ("machine shop", "EUR", 80.0, 200.0, 350.0, 100.0),
], columns=["number", "unit", "value_low", "value_high", "lead_low", "lead_high"]).assign(lead_now=210.0)  # fmt: skip


def years(many: int) -> pd.DataFrame:
    rows = [(way, year, 500.0 + 90.0 * k + (60.0 + 13.0 * (7 * k % many)) * year)
            for k, way in enumerate(WAYS[:many]) for year in range(16)]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["way", "year", "mean"])
    return frame.assign(p10=0.8 * frame["mean"], p90=1.5 * frame["mean"], mean_se=0.0)


def spares(many: int) -> pd.DataFrame:
    rows = [(f"{way}, spare aboard", days, -75.0 * k + (10.0 + 4.0 * k) * (days - 5.0))
            for k, way in enumerate(WAYS[:many]) for days in range(0, 31, 2)]  # fmt: skip
    return pd.DataFrame(rows, columns=["combination", "days_saved", "worth"])


MAKERS: dict[str, Any] = {
    "cost_ranges": ways_table, "money_against_days": lambda many: ways_table(many, seed=many),
    "damage_tree": lambda many: DEEP.head(6 * many), "lead_swings": lambda many: SWINGS.head(many),
    "cost_over_years": years, "spare_worth": spares,
}  # fmt: skip


def draw(name: str, frame: pd.DataFrame, ax: Axes | None = None, caption: str = CAPTION) -> Axes:
    """A chart by its name."""
    module = next(m for m in (charts_lines, charts) if hasattr(m, name))
    found: Axes = getattr(module, name)(frame, "EUR", caption, ax)
    return found
