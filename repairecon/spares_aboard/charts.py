"""What lies aboard: its value by place, when it expires, and what the risk of being without costs.

Each chart takes a frame, a caption that says what to do, said below it, and axes to draw in (a new figure without), and
returns the axes.
"""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.records import DAYS_A_YEAR
from repairecon.show import plots
from repairecon.show.plots import BESIDE, HALO, INK, MAIN, QUIET, TURN, Margins, money_said, wrap, write
from repairecon.show.words import chance_words, money, price, whole
from repairecon.spares_aboard.holdings import INSPECT, OVER, RUNS_OUT
from repairecon.spares_aboard.job import SparesAnswer

BAR, MOST_DRAWN, MEDIUM, LEAST = 0.28, 18, 5.0, 1.8
"""Thickness of a bar [inch], days, lots drawn, heights of pictures on a narrow page without their rows [inch]."""


def risk_picture(answer: SparesAnswer) -> plots.Picture:
    """What being without costs, and in what order to buy."""
    c, curve, risk = answer.currency, answer.budget_curve, answer.risk
    bought = answer.spend, risk.cost_then, risk.p_critical_then
    caption = "Nothing more is worth its money for this passage."
    if len(curve) > 1:
        first, most = curve.iloc[1], money(curve["spend"].iloc[-1], c)
        caption = (
            f"Buy from the left for as long as the line falls steeply: {first['item']} first, for "
            f"{price(first['spend'], c)}; beyond {most} nothing more pays. This is the order; the list advised, the "
            "dot, may lie under the line, as it weighs all purchases together."
        )
    return plots.Picture(partial(risk_against_money, curve, c, bought, answer.budget, caption), MEDIUM)


def places_picture(answer: SparesAnswer) -> plots.Picture:
    """The value by locker, and what to count first; something lies there."""
    places = answer.by_locker.assign(value=answer.by_locker["fifo"] - answer.by_locker["written_down"])
    first = f"Count {places.index[0]} first: most of the money lies there."
    caption = f"{first} Throw away what is hatched, lest it be trusted."
    return plots.Picture(partial(value_by_place, places, answer.currency, caption), LEAST + 0.35 * len(places))


def expiry_picture(answer: SparesAnswer) -> plots.Picture:
    """The most pressing lots, an item named once a locker, and what to do with how many."""
    lots = answer.shelf.drop_duplicates(["item", "locker"]).head(MOST_DRAWN)
    lots = lots.set_index(lots["item"] + " (" + lots["locker"] + ")")
    lots["good_until"] = lots["extended_until"].where(lots["inspected"], lots["good_until"])
    acts = {OVER: "throw away {}", INSPECT: "inspect {} before you trust them",
            RUNS_OUT: "replace {} that run out on the way"}  # fmt: skip
    counts = answer.shelf["state"].value_counts()
    what = ", ".join(said.format(whole(counts[s])) for s, said in acts.items() if s in counts)
    nothing = "Nothing runs out before the passage ends; use the topmost first."
    caption = f"Before you sail: {what}." if what else nothing
    draw = partial(expiry_timeline, lots, answer.today, answer.until, caption)
    return plots.Picture(draw, LEAST + 0.5 * len(lots))


def value_by_place(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar a place, the dearest on top: what its spares are worth, and what was written down as out of date.

    ``table`` has a row a place: ``value`` left and ``written_down`` [home money, 0 or more].
    """
    rows = table.sort_values("value", ascending=False, kind="stable")
    width = plots.slot(ax)[0]
    margins = Margins(left=0.25 * width, right=0.26 * width, axis=0.3)
    title = "What the spares are worth, place by place"
    ax, middles = plots.name_rows(ax, title, caption, list(rows.index), margins, row=0.4, least=2.0)
    ax.set_xlim(0.0, 1.03 * float((rows["value"] + rows["written_down"]).max()) or 1.0)
    plots.money_ticks(ax, "x", currency)
    for y, (place, row) in zip(middles, rows.iterrows(), strict=True):
        value, lost = float(row["value"]), float(row["written_down"])
        look: dict[str, Any] = {"height": BAR, "zorder": 2, "linewidth": 0.9}
        ax.add_patch(Rectangle((0.0, y - BAR / 2), value, facecolor=MAIN, gid=f"value {place}", **look))
        if lost > 0:
            look |= {"facecolor": "white", "edgecolor": QUIET, "hatch": "////"}
            ax.add_patch(Rectangle((value, y - BAR / 2), lost, gid=f"written down {place}", **look))
        said = money_said(value, currency) + (f", {money_said(lost, currency)} written down" if lost > 0 else "")
        write(ax, (1.0, y), wrap(said, margins.right - 0.2), BESIDE, (9.0, 0.0), color=INK)
    return ax


def risk_against_money(
    curve: pd.DataFrame, currency: str, bought: tuple[float, float, float], budget: float | None = None,
    caption: str = "", ax: Axes | None = None,
) -> Axes:  # fmt: skip
    """What being without costs on average, as more is spent on spares in the best order.

    ``curve`` has a row a list: ``spend`` and ``expected_cost`` of being without [home money], ``p_critical_short``
    (chance that anything critical is short); ``bought`` says these three of the list advised, which is marked;
    ``budget`` is what the owner will spend [home money], marked if given.
    """
    rows = curve.sort_values("spend", kind="stable")
    margins = Margins(left=1.2, right=plots.end_margin(plots.slot(ax)[0]), axis=0.55)
    ax = plots.stage(ax, "What being without costs, as more is spent on spares", caption, 2.9, margins)
    spend, cost = rows["spend"].to_numpy(float), rows["expected_cost"].to_numpy(float)
    last = float(max(spend[-1], budget or 0.0)) or 1.0
    ax.set_xlim(0.0, 1.04 * last)
    low, high = plots.limits([0.0, *cost])
    ax.set_ylim(low, high + 0.08 * (high - low))
    plots.money_ticks(ax, "x", currency)
    plots.money_ticks(ax, "y", currency)
    plots.axis_label(ax, "x", "spent on spares, the best buys first")
    plots.axis_label(ax, "y", "cost of being without, on average")
    ax.step([*spend, 1.04 * last], [*cost, cost[-1]], where="post", color=MAIN, linewidth=2.0, zorder=3, gid="risk")
    short = chance_words(float(rows["p_critical_short"].iloc[0]))
    first = f"nothing bought: {money_said(cost[0], currency)}; something critical short {short}"
    write(ax, (0.0, cost[0]), first, "data", (6.0, 8.0), color=INK, path_effects=HALO)
    if budget is not None:
        ax.axvline(budget, color=TURN, linewidth=1.4, linestyle=(0, (4, 2)), zorder=2, gid="budget")
    ax.plot([bought[0]], [bought[1]], "o", ms=8, color=TURN, mec="white", zorder=5, gid="chosen")
    spent, left = (money_said(x, currency) for x in bought[:2])
    words = f"bought as advised: {spent} spent, {left} left, something critical short {chance_words(bought[2])}"
    write(ax, (1.0, bought[1]), wrap(words, margins.right - 0.2), BESIDE, (9.0, 0.0), color=INK)
    return ax


def expiry_timeline(
    table: pd.DataFrame, today: date, until: date | None = None, caption: str = "", ax: Axes | None = None
) -> Axes:
    """How long each item stays fit for use, the first to go on top; with inspection some last longer.

    ``table`` has a row an item, most pressing first: ``good_until`` and ``extended_until`` (dates; the same if no
    extension is allowed). ``today`` is the day of the list, ``until`` the last day of the passage, shaded if given.
    """
    ends = table[["good_until", "extended_until"]].map(_year)
    now, width = _year(today), plots.slot(ax)[0]
    margins = Margins(left=0.3 * width, right=0.24 * width, axis=0.3, top=0.16)
    title = "How long the rubber lasts; beyond the bar only after inspection"
    ax, middles = plots.name_rows(ax, title, caption, list(table.index), margins, row=0.27, least=2.0)
    first, last = float(ends.min().min()), float(ends.max().max())
    ax.set_xlim(max(min(now, first) - 0.2, now - 4.0), min(max(now + 1.0, last) + 0.2, now + 12.0))
    plots.ticks(ax, "x", lambda v: str(int(v)), integer=True)
    if until is not None:
        ax.axvspan(now, _year(until), color=plots.REST_TINT, zorder=0, gid="passage")
    ax.axvline(now, color=INK, linewidth=1.4, zorder=4, gid="today")
    write(ax, (now, 1.0), "today", ("data", "axes fraction"), (0.0, 7.0), ha="center", color=INK)
    low, high = ax.get_xlim()
    for y, item, (good, extended), days in zip(middles, table.index, ends.to_numpy(), table.itertuples(), strict=True):
        # from today to the last good day, or back to it; what inspection may add is pale
        end, late = min(max(good, low), high), good < now
        tint, dark = (plots.TURN_TINT, TURN) if late else (plots.MAIN_TINT, MAIN)
        look: dict[str, Any] = {"height": 0.16, "linewidth": 0.9}
        ax.add_patch(Rectangle((min(end, now), y - 0.08), abs(end - now), facecolor=dark, edgecolor="none", zorder=2,
                               gid=f"life {item}", **look))  # fmt: skip
        if (more := min(extended, high) - max(end, now)) > 0:
            ax.add_patch(Rectangle((max(end, now), y - 0.08), more, facecolor=tint, edgecolor=QUIET, zorder=1,
                                   gid=f"extension {item}", **look))  # fmt: skip
        said = f"{'inspect: due since' if late else 'good until'} {days.good_until:%b %Y}"
        if days.extended_until < today:
            said = f"out of date since {days.extended_until:%b %Y}"
        write(ax, (1.0, y), said, BESIDE, (9.0, 0.0), color=plots.TURN_DARK if late else INK)
    return ax


def _year(day: date) -> float:
    return day.year + (day - date(day.year, 1, 1)).days / DAYS_A_YEAR
