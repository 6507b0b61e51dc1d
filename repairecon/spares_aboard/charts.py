"""What lies aboard: its value by place, when it expires, and what the risk of being without costs."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.show.plots import (
    HALO,
    INK,
    MAIN,
    MAIN_TINT,
    QUIET,
    REST_TINT,
    TURN,
    TURN_DARK,
    TURN_TINT,
    Margins,
    axis_label,
    check,
    end_margin,
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
from repairecon.show.words import chance_words

BAR, ROW = 0.28, 0.4
YEAR = 365.25


def value_by_place(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar a place: what its spares are worth, and what was written down because it is out of date.

    Parameters
    ----------
    table
        A row a place: ``value`` left and ``written_down`` [home money, 0 or more].
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in, the dearest place on top.
    """
    check(table, ["value", "written_down"])
    rows = table.sort_values("value", ascending=False, kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=0.25 * width, right=0.26 * width, axis=0.3)
    names = [wrap(str(name), margins.left - 0.15) for name in rows.index]
    heights = [max(ROW, tall(name) + 0.1) for name in names]
    ax = stage(ax, "What the spares are worth, place by place", caption, sum(heights), margins, least=2.0)
    ax.set_xlim(0.0, 1.03 * float((rows["value"] + rows["written_down"]).max()) or 1.0)
    inches_down(ax, sum(heights))
    ticks(ax, "x", lambda v: money_said(v, currency))
    top, beside = 0.0, ("axes fraction", "data")
    for name, (place, row), height in zip(names, rows.iterrows(), heights, strict=True):
        value, lost, y = float(row["value"]), float(row["written_down"]), top + height / 2
        look: dict[str, Any] = {"height": BAR, "zorder": 2, "linewidth": 0.9}
        ax.add_patch(Rectangle((0.0, y - BAR / 2), value, facecolor=MAIN, gid=f"value {place}", **look))
        if lost > 0:
            ax.add_patch(
                Rectangle((value, y - BAR / 2), lost, facecolor="white", edgecolor=QUIET, hatch="////",
                          gid=f"written down {place}", **look)
            )  # fmt: skip
        said = money_said(value, currency) + (f", {money_said(lost, currency)} written down" if lost > 0 else "")
        write(ax, (0.0, y), name, beside, (-9.0, 0.0), ha="right")
        write(ax, (1.0, y), wrap(said, margins.right - 0.2), beside, (9.0, 0.0), color=INK)
        top += height
    return ax


def risk_against_money(
    curve: pd.DataFrame, currency: str, budget: float | None = None, caption: str = "", ax: Axes | None = None
) -> Axes:
    """What being without costs on average, as more is spent on spares in the best order.

    Parameters
    ----------
    curve
        A row a list: ``spend`` and ``expected_cost`` of being without [home money], ``p_critical_short`` (chance that
        anything critical is short).
    currency
        Name of the home money.
    budget
        What the owner will spend [home money]; marked if given.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    check(curve, ["spend", "expected_cost", "p_critical_short"])
    rows = curve.sort_values("spend", kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=1.2, right=end_margin(width), axis=0.55)
    ax = stage(ax, "What being without costs, as more is spent on spares", caption, 2.9, margins)
    spend, cost = rows["spend"].to_numpy(float), rows["expected_cost"].to_numpy(float)
    last = float(max(spend[-1], budget or 0.0)) or 1.0
    ax.set_xlim(0.0, 1.04 * last)
    low, high = limits([0.0, *cost])
    ax.set_ylim(low, high + 0.08 * (high - low))
    ticks(ax, "x", lambda v: money_said(v, currency))
    ticks(ax, "y", lambda v: money_said(v, currency))
    axis_label(ax, "x", "spent on spares, the best buys first")
    axis_label(ax, "y", "cost of being without, on average")
    ax.step([*spend, 1.04 * last], [*cost, cost[-1]], where="post", color=MAIN, linewidth=2.0, zorder=3, gid="risk")
    at = rows[rows["spend"] <= budget].iloc[-1] if budget is not None else rows.iloc[-1]
    beside = ("axes fraction", "data")
    first = f"nothing bought: {money_said(cost[0], currency)}; something critical short {_chance(rows.iloc[0])}"
    write(ax, (0.0, cost[0]), first, "data", (6.0, 8.0), color=INK, path_effects=HALO)
    if budget is not None:
        ax.axvline(budget, color=TURN, linewidth=1.4, linestyle=(0, (4, 2)), zorder=2, gid="budget")
    ax.plot([at["spend"]], [at["expected_cost"]], "o", ms=8, color=TURN, mec="white", zorder=5, gid="chosen")
    words = "your budget" if budget is not None else "all that pays"
    end = f"{words}: {money_said(at['spend'], currency)} spent, {money_said(at['expected_cost'], currency)} left, " + (
        f"something critical short {_chance(at)}"
    )
    write(ax, (1.0, float(at["expected_cost"])), wrap(end, margins.right - 0.2), beside, (9.0, 0.0), color=INK)
    return ax


def _chance(row: pd.Series[Any]) -> str:
    return chance_words(float(row["p_critical_short"]))


def expiry_timeline(
    table: pd.DataFrame, today: date, until: date | None = None, caption: str = "", ax: Axes | None = None
) -> Axes:
    """How long each item stays fit for use, the first to go on top; with inspection some last longer.

    Parameters
    ----------
    table
        A row an item, most pressing first: ``good_until`` and ``extended_until`` (dates; the same if no
        extension is allowed).
    today
        The day of the list.
    until
        Last day of the passage or season, shaded if given.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in, its scale in calendar years.
    """
    if table.empty:
        raise ValueError("the frame has no rows: there is nothing to draw")
    ends = pd.DataFrame({c: [_year(v) for v in table[c]] for c in ("good_until", "extended_until")})
    now = _year(today)
    width = slot(ax)[0]
    margins = Margins(left=0.3 * width, right=0.24 * width, axis=0.3, top=0.16)
    names = [wrap(str(name), margins.left - 0.15) for name in table.index]
    heights = [max(0.27, tall(name) + 0.06) for name in names]
    ax = stage(ax, "How long the rubber lasts; beyond the bar only after inspection", caption, sum(heights), margins,
               least=2.0)  # fmt: skip
    ax.set_xlim(*_span(ends, now))
    inches_down(ax, sum(heights))
    ticks(ax, "x", lambda v: str(int(v)), integer=True)
    if until is not None:
        ax.axvspan(now, _year(until), color=REST_TINT, zorder=0, gid="passage")
    ax.axvline(now, color=INK, linewidth=1.4, zorder=4, gid="today")
    write(ax, (now, 1.0), "today", ("data", "axes fraction"), (0.0, 7.0), ha="center", color=INK)
    top, beside = 0.0, ("axes fraction", "data")
    for k, (item, name, height) in enumerate(zip(table.index, names, heights, strict=True)):
        good, extended = float(ends["good_until"][k]), float(ends["extended_until"][k])
        y = top + height / 2
        _life(ax, str(item), now, (good, extended), y)
        write(ax, (0.0, y), name, beside, (-9.0, 0.0), ha="right")
        write(ax, (1.0, y), _state(table.iloc[k], today), beside, (9.0, 0.0),
              color=TURN_DARK if good < now else INK)  # fmt: skip
        top += height
    return ax


def _year(day: date) -> float:
    """A day as a calendar year and its part."""
    return day.year + (day - date(day.year, 1, 1)).days / YEAR


def _span(ends: pd.DataFrame, now: float) -> tuple[float, float]:
    low, high = float(ends.min().min()), float(ends.max().max())
    return max(min(now, low) - 0.2, now - 4.0), min(max(now + 1.0, high) + 0.2, now + 12.0)


def _life(ax: Axes, item: str, now: float, ends: tuple[float, float], y: float) -> None:
    """From today to the last good day, or back to it; what inspection may add is pale."""
    low, high = ax.get_xlim()
    good, extended = min(max(ends[0], low), high), min(ends[1], high)
    look: dict[str, Any] = {"height": 0.16, "linewidth": 0.9}
    late = good < now
    start = min(good, now)
    ax.add_patch(
        Rectangle((start, y - 0.08), abs(good - now), facecolor=TURN if late else MAIN, edgecolor="none", zorder=2,
                  gid=f"life {item}", **look)
    )  # fmt: skip
    if extended > max(good, now):
        left = max(good, now)
        ax.add_patch(
            Rectangle((left, y - 0.08), extended - left, facecolor=TURN_TINT if late else MAIN_TINT, edgecolor=QUIET,
                      zorder=1, gid=f"extension {item}", **look)
        )  # fmt: skip


def _state(row: pd.Series[Any], today: date) -> str:
    good, extended = row["good_until"], row["extended_until"]
    if extended < today:
        return f"out of date since {extended:%b %Y}"
    return f"inspect: due since {good:%b %Y}" if good < today else f"good until {good:%b %Y}"
