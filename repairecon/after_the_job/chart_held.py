"""Where past jobs fell in their stated ranges, and whether ranks are spread as they should be."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.show.plots import (
    HALO,
    INK,
    LOW,
    MAIN,
    MAIN_TINT,
    QUIET,
    TURN,
    TURN_DARK,
    Margins,
    axis_label,
    chance_said,
    check,
    inches_down,
    slot,
    stage,
    ticks,
    wrap,
    write,
)
from repairecon.show.words import number, whole

EDGE_SCORE = 1.2816
FAR = 4.0


def held(frame: pd.DataFrame, caption: str = "", ax: Axes | None = None) -> Axes:
    """A dot a job in the scale of its own stated range, a row a quantity.

    Parameters
    ----------
    frame
        A row a quantity: ``quantity``, ``places`` (normal scores of what came), ``inside`` and ``of`` (how many of how
        many lay in the range), ``says`` (what follows).
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in; 0 is the middle of a range, the shaded band reaches from its low to its high end.
    """
    check(frame, ["inside", "of"], ["quantity", "says", "places"])
    width = slot(ax)[0]
    margins = Margins(left=0.14 * width, right=0.26 * width, axis=0.5)
    rows = 0.62
    ax = stage(ax, "Where jobs fell in the ranges stated for them", caption, rows * len(frame), margins, least=LOW)
    ax.set_xlim(-FAR - 0.3, FAR + 0.3)
    inches_down(ax, rows * len(frame))
    ax.axvspan(-EDGE_SCORE, EDGE_SCORE, color=MAIN_TINT, zorder=0, gid="stated range")
    ax.set_xticks([-EDGE_SCORE, 0.0, EDGE_SCORE], ["one in ten\nstated below", "half", "one in ten\nstated above"])
    for k, (_, row) in enumerate(frame.iterrows()):
        places = np.asarray(row["places"], dtype=float)
        y = rows * (k + 0.5)
        out = np.abs(places) > EDGE_SCORE
        spread = y + 0.16 * _swarm(places)
        for chosen, ink, mark in ((~out, MAIN, "o"), (out, TURN, "D")):
            ax.plot(np.clip(places[chosen], -FAR, FAR), spread[chosen], mark, ms=5.5, color=ink, mec="white", mew=0.6,
                    gid=f"{'outside' if mark == 'D' else 'inside'} {row['quantity']}")  # fmt: skip
        write(ax, (0.0, y), wrap(str(row["quantity"]), margins.left - 0.2), ("axes fraction", "data"), (-9.0, 0.0),
              ha="right", weight="bold")  # fmt: skip
        said = f"{whole(row['inside'])} of {whole(row['of'])} inside\n{row['says']}"
        bad = row["says"] in ("too narrow", "too wide")
        write(ax, (1.0, y), said, ("axes fraction", "data"), (9.0, 0.0), color=TURN_DARK if bad else INK)
    return ax


def _swarm(places: np.ndarray) -> np.ndarray:
    """Steps up and down that keep neighbours apart."""
    order, steps = np.argsort(places, kind="stable"), np.zeros(len(places))
    steps[order] = np.resize([0.0, 1.0, -1.0, 0.5, -0.5], len(places))
    return steps


def rank_bars(counts: pd.DataFrame, band: tuple[float, float], title: str, caption: str = "",
               ax: Axes | None = None) -> Axes:  # fmt: skip
    """Bars of how often a truth fell at each place among what was expected, with the band they should keep to.

    Parameters
    ----------
    counts
        A row a bar: ``low`` and ``high`` (from 0, below all that was expected, to 1), ``count``.
    band
        Counts between which nine bars in ten should end.
    title
        What is ranked.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    check(counts, ["low", "high", "count"])
    width = slot(ax)[0]
    margins = Margins(left=0.08 * width, right=0.2 * width, axis=0.55)
    ax = stage(ax, title, caption, 2.4, margins, least=LOW)
    top = max(float(counts["count"].max()), band[1]) * 1.15
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(0.0, top)
    ticks(ax, "y", whole, integer=True)
    ticks(ax, "x", number)
    axis_label(ax, "x", "place of the truth: 0 below all, 1 above all that was expected")
    for k, row in counts.reset_index(drop=True).iterrows():
        out = not band[0] <= row["count"] <= band[1]
        span = row["high"] - row["low"]
        look: dict[str, Any] = {"facecolor": TURN if out else MAIN, "hatch": "//" if out else None}
        corner = (row["low"] + 0.05 * span, 0.0)
        ax.add_patch(Rectangle(corner, 0.9 * span, row["count"], edgecolor="white", zorder=2, gid=f"bar {k}", **look))
    ax.axhspan(*band, color=QUIET, alpha=0.25, zorder=3, gid="band")
    said = wrap(f"even: nine bars in ten end between {whole(band[0])} and {whole(band[1])}", margins.right - 0.2)
    write(ax, (1.0, sum(band) / 2), said, ("axes fraction", "data"), (8.0, 0.0), color=QUIET)
    return ax


def honest_chances(frame: pd.DataFrame, caption: str = "", ax: Axes | None = None) -> Axes:
    """How often things came that had been given a chance, a mark a group of chances with its range.

    Parameters
    ----------
    frame
        A row a group: ``stated``, ``happened``, ``low``, ``high`` (chances), ``many``.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    check(frame, ["stated", "happened", "low", "high", "many"])
    width = slot(ax)[0]
    margins = Margins(left=0.16 * width, right=0.28 * width, axis=0.55)
    ax = stage(ax, "Stated chances and what came", caption, 3.0, margins, least=LOW)
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(0.0, 1.0)
    ticks(ax, "x", chance_said)
    ticks(ax, "y", chance_said)
    axis_label(ax, "x", "chance stated")
    ax.plot([0, 1], [0, 1], color=QUIET, linewidth=1.0, linestyle=(0, (4, 3)), zorder=1, gid="honest")
    for k, row in frame.reset_index(drop=True).iterrows():
        out = not row["low"] <= row["stated"] <= row["high"]
        ink = TURN if out else MAIN
        ax.plot([row["stated"]] * 2, [row["low"], row["high"]], color=ink, linewidth=2.0, gid=f"range {k}", zorder=2)
        ax.plot(row["stated"], row["happened"], "D" if out else "o", ms=8, color=ink, mec="white", gid=f"group {k}",
                clip_on=False, zorder=3)  # fmt: skip
        write(ax, (row["stated"], row["happened"]), f"of {whole(row['many'])}", "data", (10.0, 0.0), color=QUIET,
              path_effects=HALO)  # fmt: skip
    said = wrap("on the dashed line: came as often as stated; a mark above it came more often", margins.right - 0.2)
    write(ax, (1.0, 0.5), said, "axes fraction", (10.0, 0.0), color=QUIET)
    return ax
