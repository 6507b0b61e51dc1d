"""From the estimate to what a job came to, a bar a reason."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.show.plots import (
    HALO,
    INK,
    LOW,
    MAIN,
    NO_BREAK,
    QUIET,
    TURN,
    TURN_DARK,
    Margins,
    check,
    inches_down,
    limits,
    money_said,
    slot,
    stage,
    tall,
    ticks,
    wrap,
    write,
)


def bridge(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar for the estimate, one for each reason hung where the last ended, and one for what it came to.

    Parameters
    ----------
    frame
        A row a bar from the estimate (first) to the actual (last): ``name``, ``amount`` [home money]; those between
        are differences and add up.
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    check(frame, ["amount"], ["name"])
    width = slot(ax)[0]
    margins = Margins(left=0.34 * width, right=0.15 * width, axis=0.3)
    names = [wrap(str(name), margins.left - 0.15) for name in frame["name"]]
    heights = [max(tall(name) + 0.1, 0.3) for name in names]
    ax = stage(ax, "From the estimate to what it came to", caption, sum(heights), margins, least=LOW)
    spans = _spans([float(x) for x in frame["amount"]])
    low, high = limits([x for span in spans for x in span])
    ax.set_xlim(low, high)
    inches_down(ax, sum(heights))
    ticks(ax, "x", lambda v: money_said(v, currency))
    top, last = 0.0, len(names) - 1
    for k, (name, height, (start, end)) in enumerate(zip(names, heights, spans, strict=True)):
        middle, whole = top + height / 2, k in (0, last)
        ink = INK if whole else (TURN if end > start else MAIN)
        place = (min(start, end), middle - 0.1)
        ax.add_patch(Rectangle(place, abs(end - start), 0.2, facecolor=ink, gid=f"bar {k}", zorder=2))
        if k < last:
            ax.plot([end, end], [middle, middle + height], color=QUIET, linewidth=0.8, zorder=1)
        write(ax, (0.0, middle), name, ("axes fraction", "data"), (-9.0, 0.0), ha="right",
               weight="bold" if whole else "normal")  # fmt: skip
        said = money_said(end, currency) if whole else _more(float(frame["amount"].iloc[k]), currency)
        shade = INK if whole else (TURN_DARK if end > start else MAIN)
        write(ax, (max(start, end), middle), said, "data", (6.0, 0.0), color=shade, path_effects=HALO)
        top += height
    return ax


def _spans(amounts: list[float]) -> list[tuple[float, float]]:
    """Start and end of each bar."""
    spans, at = [(0.0, amounts[0])], amounts[0]
    for step in amounts[1:-1]:
        spans.append((at, at + step))
        at += step
    return [*spans, (0.0, amounts[-1])]


def _more(amount: float, currency: str) -> str:
    return f"{money_said(abs(amount), currency)} {'more' if amount > 0 else 'less'}".replace(" ", NO_BREAK)
