"""What the season may cost, unit by unit."""

from __future__ import annotations

from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.records import DAYS_A_YEAR
from repairecon.show import plots
from repairecon.show.plots import BESIDE, INK, MAIN, Margins, money_said, wrap, write
from repairecon.show.words import chance_words, days_words
from repairecon.whole_boat.answer import RENEW, SPARE, BoatLine
from repairecon.whole_boat.units import UnitLine

BAR = 0.26


def season_chart(b: BoatLine, ax: Axes | None = None) -> Axes:
    """A bar a unit: what its failures are expected to cost in the season, and the chance that it fails."""
    units = sorted((u for u in b.units if u.expected is not None), key=lambda u: -(u.expected or 0.0))
    rows = [{"unit": f"{u.unit} ({u.count})" if u.count > 1 else u.unit, "expected": u.expected, "p": u.p_fails}
            for u in units]  # fmt: skip
    title = f"What fails within {days_words(b.season.years * DAYS_A_YEAR)} is expected to cost"
    return season_costs(pd.DataFrame(rows, columns=["unit", "expected", "p"]), b.currency, title, caption(b), ax)


def season_costs(frame: pd.DataFrame, currency: str, title: str, caption: str, ax: Axes | None = None) -> Axes:
    """A bar a row of ``frame``: ``unit``, ``expected`` [home money], ``p`` that it fails; the dearest on top."""
    plots.check(frame, ["expected", "p"], ["unit"])
    width = plots.slot(ax)[0]
    margins = Margins(left=0.25 * width, right=0.27 * width, axis=0.3)
    ax, middles = plots.name_rows(ax, title, caption, list(frame["unit"]), margins, row=0.42, least=2.0)
    ax.set_xlim(0.0, 1.03 * float(frame["expected"].max()) or 1.0)
    plots.money_ticks(ax, "x", currency)
    for y, (_, row) in zip(middles, frame.iterrows(), strict=True):
        look: dict[str, Any] = {"facecolor": MAIN, "zorder": 2, "gid": f"expected {row['unit']}"}
        ax.add_patch(Rectangle((0.0, y - BAR / 2), float(row["expected"]), BAR, **look))
        said = f"{money_said(row['expected'], currency)}; fails {chance_words(row['p'])}"
        write(ax, (1.0, y), wrap(said, margins.right - 0.2), BESIDE, (9.0, 0.0), color=INK)
    return ax


def caption(b: BoatLine) -> str:
    """What to do about the dearest unit."""
    dearest = max(b.units, key=lambda u: u.expected or 0.0)
    return f"Begin with the longest bar, {dearest.unit}: {_todo(b, dearest)}."


def _todo(b: BoatLine, unit: UnitLine) -> str:
    """What pays for a unit before it fails."""
    pays = {step.kind for step in b.steps if step.of == unit.unit}
    if SPARE in pays:
        return "a spare aboard pays"
    if RENEW in pays:
        return "renewing it before it fails pays"
    if b.spares and unit.unit in b.spares.units:
        return "its spare is aboard, keep that in order"
    return "neither a spare nor renewing it pays, so look after it and keep the money ready"
