"""What the season may cost, unit by unit."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.records import DAYS_A_YEAR
from repairecon.show import plots
from repairecon.show.plots import BESIDE, INK, MAIN, Margins, money_said, wrap, write
from repairecon.show.words import chance_words, days_words
from repairecon.whole_boat.answer import RENEW, SPARE, BoatLine

BAR = 0.26


def season_chart(b: BoatLine, ax: Axes | None = None) -> Axes:
    """A bar a unit: what its failures are expected to cost in the season, and the chance that it fails."""
    costs = {f"{u.unit} ({u.count})" if u.count > 1 else u.unit: (u.expected, u.p_fails)
             for u in b.units if u.expected is not None}  # fmt: skip
    names = sorted(costs, key=lambda name: -costs[name][0])
    title = f"What fails within {days_words(b.season.years * DAYS_A_YEAR)} is expected to cost"
    width = plots.slot(ax)[0]
    margins = Margins(left=0.25 * width, right=0.27 * width, axis=0.3)
    ax, middles = plots.name_rows(ax, title, caption(b), names, margins, row=0.42, least=2.0)
    ax.set_xlim(0.0, 1.03 * costs[names[0]][0] or 1.0)
    plots.money_ticks(ax, "x", b.currency)
    for y, name in zip(middles, names, strict=True):
        cost, p = costs[name]
        look: dict[str, Any] = {"facecolor": MAIN, "zorder": 2, "gid": f"expected {name}"}
        ax.add_patch(Rectangle((0.0, y - BAR / 2), cost, BAR, **look))
        said = f"{money_said(cost, b.currency)}; fails {chance_words(p)}"
        write(ax, (1.0, y), wrap(said, margins.right - 0.2), BESIDE, (9.0, 0.0), color=INK)
    return ax


def caption(b: BoatLine) -> str:
    """What to do about the dearest unit."""
    unit = max(b.units, key=lambda u: u.expected or 0.0).unit
    pays = {step.kind for step in b.steps if step.of == unit}
    todo = "neither a spare nor renewing it pays, so look after it and keep the money ready"
    if SPARE in pays:
        todo = "a spare aboard pays"
    elif RENEW in pays:
        todo = "renewing it before it fails pays"
    elif b.spares and unit in b.spares.units:
        todo = "its spare is aboard, keep that in order"
    return f"Begin with the longest bar, {unit}: {todo}."
