"""Charts with a line or a point a way, named beside it: the years, a spare, money against days; and what-if. Each takes
and returns what those of ``charts`` do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.what_if import WhatIf

from repairecon.show.plots import (  # isort: skip
    BESIDE, DASHES, INK, LINES, MAIN, NO_BREAK, PALE, QUIET, REST_TINT, SIZE, Margins, axis_label,
    end_margin, figure_of, limits, money_said, money_ticks, name_rows, slot, stage, tall, ticks, wrap, write,
)  # fmt: skip
from repairecon.show.words import days_words, tenths, whole

Floats = np.ndarray[Any, np.dtype[np.float64]]
FANS = 3  # most ways that get a fan; the dearer ones get a thin line
STEPS, MOST = 25, 4  # points of a line of what-if, most ways there
DOTTED = (0, (1, 2))


@dataclass(frozen=True)
class _Lines:
    """Lines of points (x, y) by name, what is said of each, and what the axes are called and say."""

    courses: Mapping[str, Floats]
    said: Sequence[str]
    title: str
    caption: str
    across: str
    up: str
    say: Callable[[float], str]
    whole: bool = True
    bold: int = len(LINES)

    def ink(self, place: int) -> str:
        return LINES[place % len(LINES)] if place < self.bold else QUIET

    def drawn(self, reach: Iterable[float], currency: str, ax: Axes | None, air: float = 0.0) -> Axes:
        """The lines in axes that reach round some amounts, and a share of ``air`` further."""
        margins = Margins(left=1.3, right=end_margin(slot(ax)[0]), axis=0.55)
        room = margins.right - 0.2
        texts = [_text(name, more, room) for name, more in zip(self.courses, self.said, strict=True)]
        ax = stage(ax, self.title, self.caption, max(2.8, 1.15 * sum(map(tall, texts))), margins)
        xs = np.concatenate([points[:, 0] for points in self.courses.values()] or [np.zeros(1)])
        first, last = float(xs.min()), float(xs.max())
        ax.set_xlim(first - (0.0 if last > first else 0.5), last + 0.06 * (last - first or 1.0))
        low, high = limits(reach)
        ax.set_ylim(low - air * (high - low), high + air * (high - low))
        ticks(ax, "x", self.say, integer=self.whole)
        money_ticks(ax, "y", currency)
        axis_label(ax, "x", self.across)
        axis_label(ax, "y", self.up)
        for place, (name, points) in enumerate(self.courses.items()):
            style: dict[str, Any] = {"linewidth": 1.0, "zorder": 2}
            if place < self.bold:
                style = {"linewidth": 2.2, "zorder": 4, "linestyle": DASHES[place % len(DASHES)]}
            ax.plot(*points.T, color=self.ink(place), gid=f"course {name}", **style)
            ax.plot(*points[-1:].T, "o", ms=5, color=self.ink(place), mec="white", zorder=5)
        looks = [(self.ink(k), "bold" if k < self.bold else "normal") for k in range(len(self.courses))]
        ends = [points[-1] for points in self.courses.values()]
        name_points(ax, ends, list(zip(self.courses, self.said, strict=True)), room, looks)
        return ax


def name_points(
    ax: Axes, points: Sequence[Any], said: Sequence[tuple[str, str]], room: float, looks: Sequence[tuple[str, str]]
) -> None:
    """Names (and more, if room) in the right margin, led to from their points. ``looks``: ink and weight of each."""
    up, (low, high) = ax.bbox.height / figure_of(ax).dpi, ax.get_ylim()
    texts = [_text(name, more, room) for name, more in said]
    if 1.08 * sum(map(tall, texts)) > up:
        texts = [_text(name, "", room) for name, _ in said]
    scale, right = up / (high - low), ax.get_xlim()[1]
    places = spread([scale * (y - low) for _, y in points], [1.08 * tall(text) for text in texts], 0.0, up)
    for (x, y), place, text, (ink, weight) in zip(points, places, texts, looks, strict=True):
        level = low + place / scale
        ax.plot([x, right], [y, level], color=ink, linewidth=0.9, linestyle=DOTTED, clip_on=False)
        write(ax, (1.0, level), text, BESIDE, (6.0, 0.0), color=ink, weight=weight)


def _text(name: str, more: str, room: float) -> str:
    """Name and what else is said of a line, as wide as the margin allows bold letters."""
    return wrap(f"{name}\n{more}" if more else name, room, SIZE * 1.12)


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Places as near as possible (least squares) to the wanted ones, in their order and clear of each other. They stay
    between ``low`` and ``high`` if that is wide enough for all sizes, else they start at ``low``."""
    from scipy.optimize import isotonic_regression

    order = np.argsort(wanted, kind="stable")
    size = np.asarray(sizes, dtype=float)[order]
    stacked = np.cumsum(size) - size / 2
    start = isotonic_regression(np.asarray(wanted, dtype=float)[order] - stacked).x
    places = np.empty(len(size))
    places[order] = np.clip(start, low, max(low, high - size.sum())) + stacked
    return [float(place) for place in places]


def _by_name(frame: pd.DataFrame, name: str, along: str, height: str, sign: float = 1.0) -> dict[str, pd.DataFrame]:
    """The rows of each line in order, the line that ends lowest first, or highest with a ``sign`` of -1."""
    lines = {str(key): rows.sort_values(along) for key, rows in frame.groupby(name, sort=False)}
    return dict(sorted(lines.items(), key=lambda line: sign * float(line[1][height].iloc[-1])))


def cost_over_years(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What each way has cost by the end of each year: the average as a line, of the cheapest a fan of the good and bad.
    ``frame`` has a row a way and year: ``way``, ``year``, ``mean``, ``p10``, ``p90`` (what it has cost by then) and
    ``mean_se`` [home money]."""
    rows = _by_name(frame, "way", "year", "mean")
    ends = [way.iloc[-1] for way in rows.values()]
    said = [f"{money_said(end['mean'], currency, end['mean_se'])} on average" for end in ends]
    courses = {way: points[["year", "mean"]].to_numpy(float) for way, points in rows.items()}
    title = "What each way costs over the years; 8 times in 10 it stays in the shade"
    lines = _Lines(courses, said, title, caption, "year", "cost so far, all in",
                   lambda v: whole(v).replace(",", ""), bold=FANS)  # fmt: skip
    fans = dict(list(rows.items())[:FANS])
    edges = pd.concat(fans)[["p10", "p90"]].to_numpy(float).ravel()
    ax = lines.drawn([0.0, *frame["mean"], *edges], currency, ax)
    for place, (way, fan) in enumerate(fans.items()):
        edge: dict[str, Any] = {"color": lines.ink(place), "linewidth": 0.7, "alpha": 0.5, "zorder": 3}
        shade: dict[str, Any] = {"color": lines.ink(place), "alpha": 0.13, "linewidth": 0.0, "zorder": 1}
        ax.fill_between(fan["year"], fan["p10"], fan["p90"], gid=f"fan {way}", **shade)
        ax.plot(fan["year"], fan["p10"], gid=f"good {way}", **edge)
        ax.plot(fan["year"], fan["p90"], gid=f"bad {way}", **edge)
    return ax


def spare_worth(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What a spare is worth if a failure away takes so many days more: a line for each combination. ``frame`` has a row
    a combination and number of days: ``combination`` (its name), ``days_saved`` at each failure away, beside the wait
    that it saves at every one [day], ``worth`` of the spare (below 0 it costs more than it saves) [home money]."""
    rows = _by_name(frame, "combination", "days_saved", "worth", sign=-1.0)
    courses = {name: points[["days_saved", "worth"]].to_numpy(float) for name, points in rows.items()}
    title = "What the spare is worth; in the grey it costs more than it saves"
    lines = _Lines(courses, [_pays(course) for course in courses.values()], title, caption,
                   "days more that a failure away from base takes", "worth of the spare", days_words)  # fmt: skip
    ax = lines.drawn([0.0, *frame["worth"]], currency, ax, air=0.06)
    ax.axhspan(ax.get_ylim()[0], 0.0, color=REST_TINT, linewidth=0.0, zorder=0)
    ax.axhline(0.0, color=QUIET, linewidth=1.6, zorder=2, gid="zero")
    return ax


def _pays(course: Floats) -> str:
    """From how many whole saved days on the spare pays, if its line crosses zero once."""
    days, worth = course.T
    pays = worth >= 0.0
    turns = np.flatnonzero(pays[1:] != pays[:-1])
    if len(turns) == 0:
        return "pays throughout" if pays[0] else "pays nowhere here"
    if len(turns) > 1:
        return ""
    at = int(turns[0])
    even = float(days[at] - worth[at] * (days[at + 1] - days[at]) / (worth[at + 1] - worth[at]))
    said = f"up to {days_words(np.floor(even))}" if pays[0] else f"from {days_words(np.ceil(even))}"
    return f"pays {said.replace(' ', NO_BREAK)}"


def money_against_days(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Every way as a point of days out of service and cash, its good and bad case as whiskers; the beaten ones grey: an
    allowed way is no worse on days and cash, and better on one of them. ``table`` is that of the answer: ``days_p10``,
    ``days_p50``, ``days_p90`` [day], ``cash_p10``, ``cash_mean``, ``cash_p90`` [home money], ``allowed``."""
    points = table[["days_p50", "cash_mean"]].to_numpy(float)
    rivals = points[table["allowed"].to_numpy(bool)]
    better = (rivals <= points[:, None]).all(axis=2) & (rivals < points[:, None]).any(axis=2)
    margins = Margins(left=1.3, right=end_margin(slot(ax)[0]), axis=0.55)
    said, looks = [], []
    for (way, row), beaten in zip(table.iterrows(), better.any(axis=1), strict=True):
        numbers = "" if beaten else f"{days_words(row['days_p50'])}, {money_said(row['cash_mean'], currency)}"
        said.append((str(way), "\n".join(filter(None, (numbers, "" if row["allowed"] else "not allowed")))))
        looks.append((QUIET if beaten else MAIN, "normal" if beaten else "bold"))
    room = margins.right - 0.2
    height = max(2.6 + 0.25 * len(table), 1.15 * sum(tall(_text(*one, room)) for one in said))
    ax = stage(ax, "Cash against days out of service; grey ways are worse on both", caption, height, margins)
    ax.set_xlim(*limits(table[["days_p10", "days_p50", "days_p90"]].to_numpy(float).ravel(), 1.0))
    ax.set_ylim(*limits(table[["cash_p10", "cash_mean", "cash_p90"]].to_numpy(float).ravel()))
    ticks(ax, "x", days_words)
    money_ticks(ax, "y", currency)
    axis_label(ax, "x", "out of service: half the time no longer")
    axis_label(ax, "y", "cash out, on average")
    for (way, row), (x, y), (ink, _) in zip(table.iterrows(), points, looks, strict=True):
        whisker: dict[str, Any] = {"color": ink, "linewidth": 1.4, "alpha": 0.4, "zorder": 2}
        ax.plot([row["days_p10"], row["days_p90"]], [y, y], gid=f"days {way}", **whisker)
        ax.plot([x, x], [row["cash_p10"], row["cash_p90"]], gid=f"cash {way}", **whisker)
        face = ink if row["allowed"] else "white"
        ax.plot([x], [y], "o", ms=9, color=face, mec=ink, mew=1.6, zorder=4, gid=f"way {way}", clip_on=False)
    name_points(ax, points, said, room, looks)
    return ax


# ---- what if ------------------------------------------------------------------------------------
def totals(what: WhatIf) -> Axes:
    now, before = what.expected[:, 3], what.with_values({})[:, 3]
    order = [int(i) for i in np.argsort(now, kind="stable") if np.isfinite(now[i])]
    width, ways, currency = slot(None)[0], what.answer.model.ways, what.case.terms.currency
    margins = Margins(left=0.26 * width, right=0.14 * width, axis=0.45)
    caption = "Take the shortest bar; the mark is where it stood before."
    ax, middles = name_rows(None, "All in, on average", caption, [ways[i] for i in order], margins, row=0.4, least=2.2)
    ax.set_xlim(0.0, 1.05 * max([*now[order], *before[order][np.isfinite(before[order])], 1.0]))
    money_ticks(ax, "x", currency)
    for nth, (i, y) in enumerate(zip(order, middles, strict=True)):
        ax.barh(y, now[i], 0.2, color=MAIN if nth == 0 else PALE, edgecolor=INK, linewidth=0.6)
        ax.plot([before[i]] * 2, [y - 0.2, y + 0.2], color=INK, linewidth=1.6)
        write(ax, (1.0, y), money_said(now[i], currency), BESIDE, (9.0, 0.0), weight="bold" if nth == 0 else "normal")
    return ax


def along(what: WhatIf, dial: Number) -> Axes:
    """What the cheapest ways come to over the range of one number, and where it stands."""
    grid = np.linspace(dial.low, dial.high, STEPS)
    totals = np.array([what.with_values({**what.values, dial.name: x})[:, 3] for x in grid]).T
    order = [i for i in np.argsort(totals.min(axis=1), kind="stable") if np.isfinite(totals[i]).all()][:MOST]
    ways, currency, now = what.answer.model.ways, what.case.terms.currency, what.values.get(dial.name, dial.now)
    said = [money_said(float(np.interp(now, grid, totals[i])), currency) for i in order]
    lines = _Lines({ways[i]: np.column_stack([grid, totals[i]]) for i in order}, said, f"All in, by {dial.name}",
                   "Where two lines cross the lower one takes over.", dial.unit, "", tenths, whole=False)  # fmt: skip
    ax = lines.drawn(totals[order].ravel() if order else [0.0], currency, None)
    ax.axvline(now, color=QUIET, linewidth=1.0)
    return ax
