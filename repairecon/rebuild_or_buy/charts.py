"""The pictures of an answer with what to do said under each; those of money drawn here: ranges, chances, days.

Those that draw take a frame, the name of the home money, a caption, and axes to draw in (a new figure without); each
returns the axes drawn in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.transforms import Bbox

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy import charts_tree, charts_years
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital

from repairecon.show.plots import (  # isort: skip
    BESIDE, DASHES, HALO, INK, LINES, LOW, MAIN, MAIN_TINT, PALE, QUIET, Margins, Place, axis_label, chance_said,
    check, error_of, figure_of, inches, inches_down, limits, may_be_chosen, money_said, money_ticks, per_inch, slot,
    stage, tall, ticks, wrap, write,
)  # fmt: skip
from repairecon.show.words import chance_words, days_words, money, number


# ---- the pictures of an answer ------------------------------------------------------------------
def _chosen(answer: Answer) -> str:
    """The way of the advice; the cheapest for this job where none is advised."""
    return answer.advice.way if answer.advice.way in answer.table.index else answer.verdict.best


def ranges(answer: Answer, ax: Axes | None = None) -> Axes:
    """What each way costs, from the good case to the bad."""
    chosen, steady, currency = _chosen(answer), answer.verdict.steadiest, answer.case.terms.currency
    rows = answer.table.loc[[chosen, steady]]
    over, mildest = (money(p, currency, se) for p, se in rows[["total_p90", "total_p90_se"]].to_numpy())
    caption = f"Keep {over} ready before you begin: {chosen} has the mildest bad case."
    if chosen != steady:
        caption = (
            f"Look at the right-hand ends first: if you could not bear {over} for {chosen}, "
            f"take {steady}, which stays under {mildest} nine times in ten."
        )
    return cost_ranges(answer.table, currency, caption, ax)


def curves(answer: Answer, ax: Axes | None = None) -> Axes:
    """The chance that a way costs no more than a sum."""
    chosen, currency = _chosen(answer), answer.case.terms.currency
    middle = money(answer.table.loc[chosen, "total_p50"], currency, answer.table.loc[chosen, "total_p90_se"])
    caption = (
        "Find the sum that you can spend on the lower scale and take the way whose line is highest there: "
        f"{middle} is enough half the time for {chosen}."
    )
    return chance_below(answer.curves, currency, caption, ax)


def days(answer: Answer, ax: Axes | None = None) -> Axes:
    """Cash against days out of service."""
    chosen, fast = _chosen(answer), answer.verdict.fastest
    within, soonest = (days_words(answer.table.loc[way, "days_p90"]) for way in (chosen, fast))
    caption = f"Lower and further left is better: {chosen} is the soonest, back within {soonest} nine times in ten."
    if chosen != fast:
        caption = (
            f"Lower and further left is better. {capital(chosen)} is back within {within} nine times in ten; if you "
            f"sail before that, take {fast}: within {soonest}."
        )
    return money_against_days(answer.table, answer.case.terms.currency, caption, ax)


def tree(answer: Answer, ax: Axes | None = None, keep: int = charts_tree.KEEP_ENDS) -> Axes:
    """What may be found inside, with so many ends at most."""
    ended = answer.leaves["chance"][answer.leaves["ends_rebuild"]].sum()
    bad = answer.leaves.loc[(answer.leaves["chance"] * answer.leaves["expected_extra_cost"]).idxmax()]
    currency = answer.case.terms.currency
    dear = money(bad["expected_extra_cost"], currency)
    caption = (
        f"Follow the broad streams from the left. {capital(chance_words(ended))} that the rebuild ends in a bought "
        f"unit on top of what is spent; the course that weighs most adds {dear} ({chance_words(bad['chance'])})."
    )
    return charts_tree.damage_tree(answer.nodes, currency, caption, ax, keep)


def swings(answer: Answer, ax: Axes | None = None) -> Axes:
    """How far each number moves the lead of the cheapest way."""
    crossing = [s.number for s in answer.swings if min(s.lead_low, s.lead_high) < 0]
    caption = f"No single number takes {answer.verdict.best} out of the lead between its good and its bad case."
    if crossing:
        caption = f"Find out more about {crossing[0]} first: it alone can take {answer.verdict.best} out of the lead."
    frame = pd.DataFrame([vars(s) for s in answer.swings]).assign(lead_now=answer.verdict.gap)
    return charts_years.swings(frame, answer.case.terms.currency, caption, ax)


def years(answer: Answer, ax: Axes | None = None) -> Axes:
    """What each way that may be chosen costs over the years."""
    h, fan = answer.horizon, answer.horizon.fan
    allowed = answer.table.index[answer.table["allowed"]]
    caption = (
        f"Take the way that lies lowest at the year in which you mean to sell: at {number(h.years.horizon_years)} "
        f"years it is {h.best}."
    )
    return charts_years.cost_over_years(fan[fan["way"].isin(allowed)], answer.case.terms.currency, caption, ax)


def spare(answer: Answer, ax: Axes | None = None) -> Axes:
    """What a spare aboard is worth."""
    h = answer.horizon
    caption = (
        "Carry the spare whose line is highest at the days more that a failure away takes you (the case says "
        f"{days_words(mean_of(h.years.days_away))}), and none where all lie under the line."
    )
    return charts_years.spare_worth(h.spare_lines, answer.case.terms.currency, caption, ax)


# ---- what each way costs ------------------------------------------------------------------------
def cost_ranges(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar from the good case to the bad case for each way, the cheapest on average on top.

    Parameters
    ----------
    table
        A row a way: ``total_p10``, ``total_p50``, ``total_p90``, ``total_mean``, ``cash_mean``
        [home money], ``allowed`` (may it be chosen), ``why_not`` (the reason if it may not);
        ``total_p90_se`` (standard error of a sampled range) if there is one: it limits the digits shown.
    """
    check(table, ["total_mean", "total_p10", "total_p50", "total_p90", "cash_mean"])
    rows = table.sort_values("total_mean", kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=0.23 * width, right=0.2 * width, axis=0.3)
    texts = [(wrap(str(way), margins.left - 0.15), wrap(_cost_words(row, currency), 0.57 * width),
              wrap(_mean_words(row, currency), margins.right - 0.15)) for way, row in rows.iterrows()]  # fmt: skip
    heights = [max(tall(name), tall(mean), 0.24 + tall(said)) + 0.2 for name, said, mean in texts]
    ax = stage(ax, "What each way costs, all in", caption, sum(heights), margins, least=LOW)
    ax.set_xlim(*limits(rows[["total_p10", "total_p90", "total_mean", "cash_mean"]].to_numpy(float).ravel()))
    inches_down(ax, sum(heights))
    money_ticks(ax, "x", currency)
    top = 0.0
    for (way, row), (name, said, mean), height in zip(rows.iterrows(), texts, heights, strict=True):
        _cost_bar(ax, str(way), row, top + (height - 0.24 - tall(said)) / 2 + 0.1, said)
        ink = INK if may_be_chosen(row) else QUIET
        write(ax, (0.0, top + height / 2), name, BESIDE, (-9.0, 0.0), ha="right", color=ink)
        write(ax, (1.0, top + height / 2), mean, BESIDE, (9.0, 0.0), color=ink)
        top += height
    return ax


def _cost_words(row: pd.Series[Any], currency: str) -> str:
    se = error_of(row, "total_p90_se")
    half, bad = money_said(row["total_p50"], currency, se), money_said(row["total_p90"], currency, se)
    sure = row["total_p10"] == row["total_p90"]
    words = f"nearly always {half}" if sure else f"half the time under {half}, 1 in 10 over {bad}"
    return words if may_be_chosen(row) else f"{words}\nleft out: {row.get('why_not') or 'not allowed'}"


def _mean_words(row: pd.Series[Any], currency: str) -> str:
    mean, cash = money_said(row["total_mean"], currency), money_said(row["cash_mean"], currency)
    return f"● average {mean}\n◆ cash only {cash}"


def _cost_bar(ax: Axes, way: str, row: pd.Series[Any], y: float, said: str) -> None:
    """Bar and marks of a way; its words under it start at its low end unless they would leave the plot."""
    low, high, allowed = float(row["total_p10"]), float(row["total_p90"]), may_be_chosen(row)
    look: dict[str, Any] = {"facecolor": MAIN_TINT, "edgecolor": MAIN, "linewidth": 1.2}
    if not allowed:
        look = {"facecolor": "white", "edgecolor": QUIET, "linewidth": 0.9, "hatch": "////"}
    ax.add_patch(Rectangle((low, y - 0.08), high - low, 0.16, gid=f"range {way}", zorder=2, **look))
    mark: dict[str, Any] = {"mec": "white", "clip_on": False}
    ink = MAIN if allowed else QUIET
    ax.plot([row["total_mean"]], [y], "o", ms=8, color=ink, zorder=4, gid=f"mean {way}", **mark)
    ax.plot([row["cash_mean"]], [y], "D", ms=5.5, color=INK, zorder=3, gid=f"cash {way}", **mark)
    first, last = ax.get_xlim()
    need = max(map(inches, said.split("\n"))) * per_inch(ax)
    write(ax, (max(first, min(low, last - need)), y + 0.15), said, va="top", color=QUIET, path_effects=HALO)


# ---- the chance of staying below ----------------------------------------------------------------
def chance_below(curves: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """For each way a line: the chance that it costs no more than a sum.

    Parameters
    ----------
    curves
        A column a way, the index the cost [home money] ascending, the values chances in 0..1.
    """
    check(curves, list(curves.columns))
    costs = curves.index.to_numpy(dtype=float)
    ways = sorted(curves.columns, key=lambda way: _reaches(costs, curves[way].to_numpy(float), 0.5))
    margins = Margins(left=0.95, right=0.23 * slot(ax)[0], axis=0.55)
    names = [wrap(str(way), margins.right - 0.3) for way in ways]
    ax = stage(ax, "The chance that it costs no more than...", caption, 1.2 * sum(map(tall, names)), margins)
    ax.set_xlim(*limits(costs))
    ax.set_ylim(0.0, 1.03)
    money_ticks(ax, "x", currency)
    parts = [0.0, 0.25, 0.5, 0.75, 1.0]
    ax.set_yticks(parts, [chance_said(p) for p in parts], parse_math=False)
    ax.grid(True, axis="y", color=PALE, linewidth=0.8)
    axis_label(ax, "x", "all-in cost")
    for place, (way, name, level) in enumerate(zip(ways, names, _levels(ax, names), strict=True)):
        chances, ink = curves[way].to_numpy(float), LINES[place % len(LINES)]
        dash = DASHES[place % len(DASHES)]
        ax.plot(costs, chances, color=ink, linewidth=2.0, linestyle=dash, gid=f"curve {way}", zorder=3)
        start = min(_reaches(costs, chances, level), float(costs[-1]))
        on_line = float(np.interp(start, costs, chances)) if start == costs[-1] else level
        ax.plot([start, ax.get_xlim()[1]], [on_line, level], color=ink, linewidth=0.9, linestyle=(0, (1, 2)))
        ax.plot([start], [on_line], "o", ms=6, color=ink, mec="white", zorder=4)
        write(ax, (1.0, level), name, BESIDE, (6.0, 0.0), color=ink, weight="bold")
    return ax


def _reaches(costs: np.ndarray[Any, Any], chances: np.ndarray[Any, Any], level: float) -> float:
    """The cost at which a curve reaches a level; endless if it never does."""
    rising = np.maximum.accumulate(chances)
    if rising[-1] < level:
        return float("inf")
    after = int(np.searchsorted(rising, level))
    # the two points round the level alone: over flat stretches a curve has no one cost for a chance
    near = slice(max(after - 1, 0), after + 1)
    return float(np.interp(level, rising[near], costs[near]))


def _levels(ax: Axes, names: Sequence[str]) -> list[float]:
    """Heights of the labels in the margin, from the top down, evenly spread and apart."""
    low, high = ax.get_ylim()
    shares = np.array([tall(name) for name in names]) * figure_of(ax).dpi / ax.bbox.height * (high - low)
    gap = max(0.0, (0.96 - shares.sum()) / len(names))
    return [float(v) for v in 0.98 - np.cumsum(shares + gap) + (shares + gap) / 2]


# ---- money against days -------------------------------------------------------------------------
def money_against_days(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Every way as a point of days out of service and cash, with its good and bad case as whiskers.

    Parameters
    ----------
    table
        A row a way: ``days_p10``, ``days_p50``, ``days_p90`` [day], ``cash_p10``, ``cash_mean``,
        ``cash_p90`` [home money]; ``allowed`` if some may not be chosen.

    Returns
    -------
    Axes
        The axes drawn in; ways that an allowed way beats on both are grey.
    """
    check(table, ["days_p10", "days_p50", "days_p90", "cash_p10", "cash_mean", "cash_p90"])
    width, margins = slot(ax)[0], Margins(left=1.3, right=0.4, axis=0.55)
    title = "Cash against days out of service; grey ways are worse on both"
    ax = stage(ax, title, caption, 2.6 + 0.25 * len(table), margins)
    ax.set_xlim(*limits(table[["days_p10", "days_p50", "days_p90"]].to_numpy(float).ravel(), 1.0))
    ax.set_ylim(*limits(table[["cash_p10", "cash_mean", "cash_p90"]].to_numpy(float).ravel()))
    ticks(ax, "x", days_words)
    money_ticks(ax, "y", currency)
    axis_label(ax, "x", "out of service: half the time no longer")
    axis_label(ax, "y", "cash out, on average")
    named: dict[str, str] = {}
    beaten = _beaten(table)
    for way, row in table.iterrows():
        _cross(ax, str(way), row, QUIET if way in beaten else MAIN)
        numbers = f"\n{days_words(row['days_p50'])}, {money_said(row['cash_mean'], currency)}"
        barred = "" if may_be_chosen(row) else "\nnot allowed"
        named[str(way)] = f"{wrap(str(way), min(1.9, 0.25 * width))}{'' if way in beaten else numbers}{barred}"
    _label_points(ax, table, named, beaten)
    return ax


def _beaten(table: pd.DataFrame) -> set[Any]:
    """The ways that an allowed way beats: no worse on days and cash, better on one of them."""
    points = table[["days_p50", "cash_mean"]]
    rivals = points[[may_be_chosen(row) for _, row in table.iterrows()]].to_numpy(float)
    pairs = zip(points.index, points.to_numpy(float), strict=True)
    better = {way: (rivals <= at).all(axis=1) & (rivals < at).any(axis=1) for way, at in pairs}
    return {way for way, by in better.items() if by.any()}


def _cross(ax: Axes, way: str, row: pd.Series[Any], ink: str) -> None:
    """A way's point and its whiskers."""
    x, y = float(row["days_p50"]), float(row["cash_mean"])
    whisker: dict[str, Any] = {"color": ink, "linewidth": 1.4, "alpha": 0.4, "zorder": 2}
    ax.plot([row["days_p10"], row["days_p90"]], [y, y], gid=f"days {way}", **whisker)
    ax.plot([x, x], [row["cash_p10"], row["cash_p90"]], gid=f"cash {way}", **whisker)
    face = ink if may_be_chosen(row) else "white"
    ax.plot([x], [y], "o", ms=9, color=face, mec=ink, mew=1.6, zorder=4, gid=f"way {way}", clip_on=False)


def _label_points(ax: Axes, table: pd.DataFrame, named: Mapping[str, str], beaten: set[Any]) -> None:
    """The names beside their points, clear of each other, of the points and if possible of the whiskers."""
    to_points = 72.0 / figure_of(ax).dpi
    move = ax.transData.transform
    dots = to_points * move(table[["days_p50", "cash_mean"]].to_numpy(float))
    taken = [Bbox.from_bounds(x - 6, y - 6, 12, 12) for x, y in dots]
    whiskers = []
    for _, row in table.iterrows():
        x, y = row["days_p50"], row["cash_mean"]
        for ends in ([(row["days_p10"], y), (row["days_p90"], y)], [(x, row["cash_p10"]), (x, row["cash_p90"])]):
            whiskers.append(Bbox(to_points * move(ends)).padded(1.5))
    page = Bbox(to_points * ax.bbox.get_points())
    for (x, y), (way, row) in zip(dots, table.iterrows(), strict=True):
        name, at = named[str(way)], (row["days_p50"], row["cash_mean"])
        size = 72.0 * max(map(inches, name.split("\n"))), 72.0 * tall(name)
        box = _free_place((x, y), size, page, taken, whiskers)
        taken.append(box)
        whiskers += _along((x, y), box)
        near = float(np.clip(x, box.x0, box.x1)) - x, float(np.clip(y, box.y0, box.y1)) - y
        if np.hypot(*near) > 16.0:
            thin = {"arrowstyle": "-", "color": QUIET, "linewidth": 0.7, "shrinkA": 0.0, "shrinkB": 5.0}
            ax.annotate("", at, xytext=near, textcoords="offset points", arrowprops=thin, annotation_clip=False)
        align = "left" if box.x0 >= x else "right" if box.x1 <= x else "center"
        edge = {"left": box.x0, "right": box.x1, "center": (box.x0 + box.x1) / 2}[align] - x
        write(ax, at, name, "data", (edge, (box.y0 + box.y1) / 2 - y), color=QUIET if way in beaten else INK, ha=align,
              zorder=5, path_effects=HALO)  # fmt: skip


def _along(at: Place, box: Bbox) -> list[Bbox]:
    """Small boxes along the line that leads from a point to its label."""
    spots = np.linspace(at, (np.clip(at[0], box.x0, box.x1), np.clip(at[1], box.y0, box.y1)), 14)
    return [Bbox.from_bounds(x - 0.5, y - 0.5, 1, 1) for x, y in spots if np.hypot(x - at[0], y - at[1]) > 10.0]


def _free_place(at: Place, size: Place, page: Bbox, taken: Sequence[Bbox], avoid: Sequence[Bbox]) -> Bbox:
    """The nearest place for a label round a point that covers nothing, else as little as possible."""
    best, least = Bbox.from_bounds(at[0] + 8, at[1], *size), np.inf
    for reach in (8.0, 14.0, 22.0, 34.0, 50.0, 70.0, 95.0, 125.0, 160.0, 200.0, 250.0, 300.0):
        for turn in np.deg2rad([20, 160, 340, 200, 0, 180, 90, 270, 45, 135, 315, 225, 65, 115, 295, 245]):
            x = at[0] + np.cos(turn) * (reach + size[0] / 2) - size[0] / 2
            y = at[1] + np.sin(turn) * (reach + size[1] / 2) - size[1] / 2
            box = Bbox.from_bounds(x, y, *size)
            outside = x < page.x0 or y < page.y0 or box.x1 > page.x1 or box.y1 > page.y1
            crossed = sum(step.count_overlaps(taken) > 0 for step in _along(at, box)[:-1])
            covered = 1000.0 * (box.count_overlaps(taken) + outside) + 25.0 * box.count_overlaps(avoid)
            covered += 60.0 * crossed + reach
            if covered < least:
                best, least = box, covered
    return best
