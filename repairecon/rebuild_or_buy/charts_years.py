"""Charts of the years, of the worth of a spare, and of what moves the choice.

Each takes a frame, the name of the home money, a caption that says what to do, and axes to draw in (a new figure
without); each returns the axes drawn in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from repairecon.show.plots import (  # isort: skip
    BESIDE, DASHES, HALO, INK, LINE, LINES, LOW, MAIN, NO_BREAK, QUIET, REST_TINT, SIZE, TURN, TURN_DARK, TURN_TINT,
    Margins, axis_label, check, end_margin, end_texts, error_of, framing, inches, inches_down, limits, money_said,
    money_ticks, name_ends, once, per_inch, slot, stage, tall, ticks, with_unit, wrap, write,
)  # fmt: skip
from repairecon.show.words import days_words, whole

Floats = np.ndarray[Any, np.dtype[np.float64]]
FANS = 3
"""Most ways that get a fan; the dearer ones get a thin line."""


def cost_over_years(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What each way has cost by the end of each year: the average as a line, the fan for good and bad cases.

    Parameters
    ----------
    frame
        A row a way and year: ``way``, ``year`` [year], ``mean``, ``p10``, ``p90`` (what it has
        cost by then) [home money]; ``mean_se`` (standard error) if the mean is sampled.

    Returns
    -------
    Axes
        The axes drawn in; the four ways that are cheapest in their last year have a fan.
    """
    check(frame, ["year", "mean", "p10", "p90"], ["way"])
    once(frame, "way", "year")
    courses = _courses(frame, "way", "year", "mean")
    ends = [rows.iloc[-1] for rows in courses.values()]
    said = [f"{money_said(end['mean'], currency, error_of(end, 'mean_se'))} on average" for end in ends]
    title = "What each way costs over the years; 8 times in 10 it stays in the shade"
    ax, texts = _stage_of_lines(list(courses), said, title, caption, ax)
    _across(ax, frame["year"])
    edges = pd.concat(list(courses.values())[:FANS])[["p10", "p90"]].to_numpy(float).ravel()
    ax.set_ylim(*limits([0.0, *frame["mean"].to_numpy(float), *edges]))
    ticks(ax, "x", lambda v: whole(v).replace(",", ""), integer=True)
    money_ticks(ax, "y", currency)
    axis_label(ax, "x", "year")
    axis_label(ax, "y", "cost so far, all in")
    inks = [LINES[place % len(LINES)] if place < FANS else QUIET for place in range(len(courses))]
    for place, ((way, rows), ink) in enumerate(zip(courses.items(), inks, strict=True)):
        points = rows[["year", "mean"]].to_numpy(float)
        style: dict[str, Any] = {"linewidth": 1.0, "zorder": 2}
        if place < FANS:
            style = {"linewidth": 2.2, "zorder": 4, "linestyle": DASHES[place % len(DASHES)]}
            edge: dict[str, Any] = {"color": ink, "linewidth": 0.7, "alpha": 0.5, "zorder": 3}
            shade: dict[str, Any] = {"color": ink, "alpha": 0.13, "linewidth": 0.0, "zorder": 1}
            ax.fill_between(points[:, 0], rows["p10"], rows["p90"], gid=f"fan {way}", **shade)
            ax.plot(points[:, 0], rows["p10"], gid=f"good {way}", **edge)
            ax.plot(points[:, 0], rows["p90"], gid=f"bad {way}", **edge)
        _course(ax, points, ink, f"course {way}", **style)
    weights = ["bold" if place < FANS else "normal" for place in range(len(courses))]
    name_ends(ax, [(float(end["year"]), float(end["mean"])) for end in ends], *texts, inks, weights)
    return ax


def _courses(frame: pd.DataFrame, name: str, along: str, height: str) -> dict[str, pd.DataFrame]:
    """The rows of each line in order, the line that ends lowest first."""
    lines = {str(key): rows.sort_values(along) for key, rows in frame.groupby(name, sort=False)}
    return dict(sorted(lines.items(), key=lambda line: float(line[1][height].iloc[-1])))


def _stage_of_lines(names: Sequence[str], said: Sequence[str], title: str, caption: str,
                    ax: Axes | None) -> tuple[Axes, tuple[list[str], list[str]]]:  # fmt: skip
    """Axes with room at the right for what is said of each line, and the texts there: whole, and names alone."""
    margins = Margins(left=1.3, right=end_margin(slot(ax)[0]), axis=0.55)
    texts, short = (end_texts(names, more, margins.right - 0.2) for more in (said, [""] * len(names)))
    return stage(ax, title, caption, max(2.8, 1.15 * sum(map(tall, texts))), margins), (texts, short)


def _across(ax: Axes, values: pd.Series[float]) -> None:
    """Limits from the first value to a little past the last."""
    first, last = float(values.min()), float(values.max())
    ax.set_xlim(first - (0.0 if last > first else 0.5), last + 0.06 * (last - first or 1.0))


def _course(ax: Axes, points: Floats, ink: str, gid: str, **style: Any) -> None:
    """A line with a dot at its end."""
    ax.plot(*points.T, color=ink, gid=gid, **style)
    ax.plot(*points[-1:].T, "o", ms=5, color=ink, mec="white", zorder=5)


def spare_worth(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What a spare is worth if a failure away takes so many days more: a line for each combination.

    Parameters
    ----------
    frame
        A row a combination and number of days: ``combination`` (its name), ``days_saved`` at each failure away,
        beside the wait that it saves at every one [day], ``worth`` of the spare (below 0 it costs more than it
        saves) [home money].
    """
    check(frame, ["days_saved", "worth"], ["combination"])
    once(frame, "combination", "days_saved")
    courses = _courses(frame.assign(below=-frame["worth"]), "combination", "days_saved", "below")
    points = [rows[["days_saved", "worth"]].to_numpy(float) for rows in courses.values()]
    title = "What the spare is worth; in the grey it costs more than it saves"
    ax, texts = _stage_of_lines(list(courses), [_pays(course) for course in points], title, caption, ax)
    _across(ax, frame["days_saved"])
    low, high = limits([0.0, *frame["worth"].to_numpy(float)])
    pad = 0.06 * (high - low)
    ax.set_ylim(low - pad, high + pad)
    ax.axhspan(low - pad, 0.0, color=REST_TINT, linewidth=0.0, zorder=0)
    ticks(ax, "x", days_words, integer=True)
    money_ticks(ax, "y", currency)
    axis_label(ax, "x", "days more that a failure away from base takes")
    axis_label(ax, "y", "worth of the spare")
    inks = [LINES[place % len(LINES)] for place in range(len(courses))]
    for place, (name, course, ink) in enumerate(zip(courses, points, inks, strict=True)):
        _course(ax, course, ink, f"worth {name}", linewidth=2.0, linestyle=DASHES[place % len(DASHES)], zorder=3)
    name_ends(ax, [(float(x), float(y)) for x, y in (course[-1] for course in points)], *texts, inks,
              ["bold"] * len(inks))  # fmt: skip
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


ROWS, LEAST, SLANT = 9, 0.05, 0.1
"""Most rows, least move of the lead that matters [share of the greatest], half the fall of a line [inch]."""
WIDE_HALO = (withStroke(linewidth=4.0, foreground="white"),)
HEAD = 2 * LINE + 0.12
TITLE = "How the lead of the best way moves with each number"


def swings(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """For each number a line from the lead at its low value, above, to the lead at its high value, below.

    Parameters
    ----------
    frame
        A row a number: ``number`` (its name), ``unit`` ("days", "chance", the currency or any
        other), ``value_low``, ``value_high`` (one in ten is lower, one in ten higher), ``lead_low``,
        ``lead_high`` (by how much the best way leads the next at that value, below 0 if another is
        cheaper) [home money], ``lead_now`` (the same in all rows) [home money].

    Returns
    -------
    Axes
        The axes drawn in; the number whose lead falls lowest is on top. Numbers that hardly move the lead
        are not drawn but counted in words.
    """
    check(frame, ["value_low", "value_high", "lead_low", "lead_high", "lead_now"], ["number", "unit"])
    if not np.allclose(frame["lead_now"], frame["lead_now"].iloc[0]):
        raise ValueError("lead_now differs between rows: it is the one lead of the case as it stands")
    width, height = slot(ax)
    margins = Margins(left=0.2 * width, right=0.22 * width, axis=0.55)
    room = height - sum(framing(TITLE, caption, width, margins)[2:]) if height else np.inf
    weight = _weights(frame)
    many = min(ROWS, max(1, int((weight >= LEAST).sum())))
    rows = _Rows.of(frame, weight, many, currency, margins)
    while rows.total > room and len(rows.kept) > 1:
        rows = _Rows.of(frame, weight, len(rows.kept) - 1, currency, margins)
    ax = stage(ax, TITLE, caption, rows.total, margins, least=LOW)
    _swing_scales(ax, rows, currency)
    _head(ax, rows, currency)
    top = HEAD
    for (_, row), words, height in zip(rows.kept.iterrows(), rows.words, rows.heights, strict=True):
        _row(ax, row, words, top + height / 2)
        top += height
    write(ax, (0.0, rows.total), rows.rest, BESIDE, (-72.0 * margins.left, 0.0), va="bottom", color=QUIET)
    return ax


class _Words(NamedTuple):
    """What is said of a number: its name, its two values and what becomes of the lead."""

    name: str
    low: str
    high: str
    lead: str


@dataclass(frozen=True)
class _Rows:
    """The numbers that are drawn, what is said of each and its height [inch], and what is said of the rest."""

    kept: pd.DataFrame
    words: Sequence[_Words]
    heights: Sequence[float]
    rest: str

    @classmethod
    def of(cls, frame: pd.DataFrame, weight: Floats, many: int, currency: str, margins: Margins) -> _Rows:
        order = np.argsort(-weight, kind="stable")
        kept = frame.iloc[order[:many]].assign(worst=lambda rows: rows[["lead_low", "lead_high"]].min(axis=1))
        kept = kept.sort_values("worst", kind="stable")
        words = [_words(row, currency, margins) for _, row in kept.iterrows()]
        heights = [max(tall(said.name), tall(said.lead), 2 * SLANT + LINE) + 0.16 for said in words]
        rest = wrap(_rest_words(frame.iloc[order[many:]], currency), (margins.left + margins.right) / 0.42)
        return cls(kept, words, heights, rest)

    @property
    def total(self) -> float:
        return HEAD + sum(self.heights) + (tall(self.rest) + 0.08 if self.rest else 0.0)


def _weights(frame: pd.DataFrame) -> Floats:
    """How far each number moves the lead, as a share of the greatest; one that can flip the choice weighs more."""
    leads = frame[["lead_low", "lead_high"]].to_numpy(float)
    moves = np.abs(leads - frame[["lead_now"]].to_numpy(float)).max(axis=1)
    weights: Floats = moves / (moves.max() or 1.0) + (leads.min(axis=1) < 0.0)
    return weights


def _words(row: pd.Series[Any], currency: str, margins: Margins) -> _Words:
    unit = str(row["unit"])
    low, high = (f"if {with_unit(float(row[name]), unit, currency)}" for name in ("value_low", "value_high"))
    lead = {low: float(row["lead_low"]), high: float(row["lead_high"])}
    worst = min(lead, key=lambda end: lead[end])
    amount = money_said(abs(lead[worst]), currency)
    if max(lead.values()) < 0.0:
        said = f"another way is cheaper at both ends, by {amount} {worst}"
    elif lead[worst] < 0.0:
        said = f"another way is cheaper by {amount} {worst}"
    else:
        said = f"stays ahead, by {amount} at least"
    low, high = (end.replace(" ", NO_BREAK) for end in (low, high))
    name = wrap(str(row["number"]), margins.left - 0.15, SIZE * 1.12)
    return _Words(name, low, high, wrap(said, margins.right - 0.15))


def _rest_words(rest: pd.DataFrame, currency: str) -> str:
    """What is said of the numbers that are not drawn."""
    if rest.empty:
        return ""
    leads = rest[["lead_low", "lead_high"]].to_numpy(float)
    most = money_said(float(np.abs(leads - rest[["lead_now"]].to_numpy(float)).max()), currency)
    flip = int((leads.min(axis=1) < 0.0).sum())
    many = "1 more number, not drawn, moves" if len(rest) == 1 else f"{len(rest)} more numbers, not drawn, move"
    return f"{many} the lead by {most} at most{f'; {flip} can flip the choice' if flip else ''}."


def _swing_scales(ax: Axes, rows: _Rows, currency: str) -> None:
    """A money axis with zero in it and room for the values beside the ends of the lines."""
    low, high = limits([0.0, *rows.kept[["lead_low", "lead_high", "lead_now"]].to_numpy(float).ravel()])
    width = (ax.get_xlim()[1] - ax.get_xlim()[0]) / per_inch(ax)
    for scale in np.linspace(width, 0.25 * width, 80) / (high - low):
        before, after = _beside(rows, scale, low, high)
        if before + after + scale * (high - low) <= width:
            break
    ax.set_xlim(low - before / scale, high + after / scale)
    inches_down(ax, rows.total)
    money_ticks(ax, "x", currency)
    label = "lead over the next way; upper end: 1 in 10 lower, lower end: 1 in 10 higher"
    axis_label(ax, "x", wrap(label, width))


def _beside(rows: _Rows, scale: float, low: float, high: float) -> tuple[float, float]:
    """Room [inch] for the values left and right of the range if a unit of money is so many inches wide."""
    before = after = 0.0
    for (_, row), said in zip(rows.kept.iterrows(), rows.words, strict=True):
        first, last = sorted([(row["lead_low"], 0, said.low), (row["lead_high"], 1, said.high)])
        before = max(before, 0.16 + inches(first[2]) - scale * (first[0] - low))
        after = max(after, 0.16 + inches(last[2]) - scale * (high - last[0]))
    return before, after


def _head(ax: Axes, rows: _Rows, currency: str) -> None:
    """The mark at zero and the lead as the case stands, named above the lines."""
    now, bottom = float(rows.kept["lead_now"].iloc[0]), HEAD + sum(rows.heights)
    for band in ((ax.get_ylim()[1], LINE), (bottom, ax.get_ylim()[0])):  # no grid behind words
        ax.fill_betweenx(band, *ax.get_xlim(), color="white", linewidth=0.0, zorder=1.5)
    ax.fill_betweenx([LINE, bottom], ax.get_xlim()[0], 0.0, color=TURN_TINT, alpha=0.45, linewidth=0.0, zorder=0)
    ax.plot([0.0, 0.0], [LINE, bottom], color=TURN, linewidth=2.0, zorder=2, gid="flip")
    _above(ax, 0.0, LINE / 2, "choice flips here", TURN_DARK)
    lead = money_said(abs(now), currency)
    _above(ax, now, 1.5 * LINE + 0.04, f"● now {'ahead' if now >= 0.0 else 'behind'} by {lead}", MAIN)


def _above(ax: Axes, x: float, y: float, text: str, ink: str) -> None:
    """Words in the middle over a place, kept within the plot."""
    low, high = ax.get_xlim()
    half = inches(text) * per_inch(ax) / 2
    write(ax, (float(np.clip(x, low + half, max(low + half, high - half))), y), text, ha="center", color=ink,
          path_effects=HALO)  # fmt: skip


def _row(ax: Axes, row: pd.Series[Any], said: _Words, y: float) -> None:
    """One number: its line, the flipped part of it, and the values at its ends."""
    name, ends = str(row["number"]), np.array([float(row["lead_low"]), float(row["lead_high"])])
    heights, now = np.array([y - SLANT, y + SLANT]), float(row["lead_now"])
    style: dict[str, Any] = {"linewidth": 2.6, "solid_capstyle": "round", "zorder": 3}
    ax.plot(ends, heights, color=MAIN, gid=f"swing {name}", **style)
    if ends.min() < 0.0:
        at = float(np.interp(0.0, np.sort(ends), heights[np.argsort(ends)]))
        worst = int(ends.argmin())
        part = ([ends[worst], 0.0], [heights[worst], at]) if ends.max() > 0.0 else (ends, heights)
        ax.plot(*part, color=TURN, gid=f"flipped {name}", **(style | {"zorder": 4}))
    for end, height in zip(ends, heights, strict=True):
        ax.plot([end], [height], "o", ms=5, color=TURN if end < 0.0 else MAIN, mec="white", zorder=5)
    if ends.min() <= now <= ends.max() and ends.min() < ends.max():
        at = float(np.interp(now, np.sort(ends), heights[np.argsort(ends)]))
        ax.plot([now], [at], "o", ms=9, color=MAIN, mec="white", zorder=6, gid=f"now {name}")
    left = -1 if ends[0] <= ends[1] else 1
    for text, end, height, side in zip((said.low, said.high), ends, heights, (left, -left), strict=True):
        align = "right" if side < 0 else "left"
        write(ax, (float(end), float(height)), text, shift=(7.0 * side, 0.0), ha=align, path_effects=WIDE_HALO)
    write(ax, (0.0, y), said.name, BESIDE, (-9.0, 0.0), ha="right", weight="bold")
    write(ax, (1.0, y), said.lead, BESIDE, (9.0, 0.0), color=TURN_DARK if ends.min() < 0.0 else INK)
