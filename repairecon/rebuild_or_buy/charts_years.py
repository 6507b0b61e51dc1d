"""Charts of the years, of the worth of a spare, and of what moves the choice.

Each takes a frame, the name of the home money, a caption that says what to do, and axes to draw in (a new figure
without); each returns the axes drawn in.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

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
    leads = frame[["lead_low", "lead_high"]].to_numpy(float)
    moves, worst = np.abs(leads - frame[["lead_now"]].to_numpy(float)).max(axis=1), leads.min(axis=1)
    weight = moves / (moves.max() or 1.0) + (worst < 0.0)  # one that can flip the choice weighs more
    said = [_swing_words(row, currency, margins) for _, row in frame.iterrows()]
    rows = pd.concat([frame.reset_index(drop=True).assign(move=moves, worst=worst), pd.DataFrame(said)], axis=1)
    rows = rows.iloc[np.argsort(-weight, kind="stable")]
    for many in range(min(ROWS, max(1, int((weight >= LEAST).sum()))), 0, -1):
        rest = wrap(_rest_words(rows.iloc[many:], currency), (margins.left + margins.right) / 0.42)
        kept = rows.iloc[:many].sort_values("worst", kind="stable")
        total = HEAD + float(kept["tall"].sum()) + (tall(rest) + 0.08 if rest else 0.0)
        if total <= room:
            break
    ax = stage(ax, TITLE, caption, total, margins, least=LOW)
    _swing_scales(ax, kept)
    inches_down(ax, total)
    money_ticks(ax, "x", currency)
    _head(ax, kept, currency)
    top = HEAD
    for _, row in kept.iterrows():
        _row(ax, row, top + row["tall"] / 2)
        top += row["tall"]
    write(ax, (0.0, total), rest, BESIDE, (-72.0 * margins.left, 0.0), va="bottom", color=QUIET)
    return ax


def _swing_words(row: pd.Series[Any], currency: str, margins: Margins) -> dict[str, Any]:
    """What is said of a number: its name, its two values and what becomes of the lead; and the height of it [inch]."""
    low, high = (f"if {with_unit(float(row[end]), str(row['unit']), currency)}" for end in ("value_low", "value_high"))
    worst, end = min((float(row["lead_low"]), low), (float(row["lead_high"]), high), key=lambda pair: pair[0])
    amount = money_said(abs(worst), currency)
    said = f"stays ahead, by {amount} at least"
    if worst < 0.0:
        both = " at both ends," if max(row["lead_low"], row["lead_high"]) < 0.0 else ""
        said = f"another way is cheaper{both} by {amount} {end}"
    said, name = wrap(said, margins.right - 0.15), wrap(str(row["number"]), margins.left - 0.15, SIZE * 1.12)
    low, high = (text.replace(" ", NO_BREAK) for text in (low, high))
    height = max(tall(name), tall(said), 2 * SLANT + LINE) + 0.16
    return {"name": name, "low": low, "high": high, "said": said, "tall": height}


def _rest_words(rest: pd.DataFrame, currency: str) -> str:
    """What is said of the numbers that are not drawn."""
    if rest.empty:
        return ""
    most, flip = money_said(float(rest["move"].max()), currency), int((rest["worst"] < 0.0).sum())
    many = "1 more number, not drawn, moves" if len(rest) == 1 else f"{len(rest)} more numbers, not drawn, move"
    return f"{many} the lead by {most} at most{f'; {flip} can flip the choice' if flip else ''}."


def _swing_scales(ax: Axes, kept: pd.DataFrame) -> None:
    """An axis with zero in it and room for the values beside the ends of the lines."""
    low, high = limits([0.0, *kept[["lead_low", "lead_high", "lead_now"]].to_numpy(float).ravel()])
    width = (ax.get_xlim()[1] - ax.get_xlim()[0]) / per_inch(ax)
    pairs = (((row["lead_low"], 0, row["low"]), (row["lead_high"], 1, row["high"])) for _, row in kept.iterrows())
    ends = [sorted(pair) for pair in pairs]
    for scale in np.linspace(width, 0.25 * width, 80) / (high - low):  # inches to a unit of money
        before = max(0.0, *(0.16 + inches(first[2]) - scale * (first[0] - low) for first, _ in ends))
        after = max(0.0, *(0.16 + inches(last[2]) - scale * (high - last[0]) for _, last in ends))
        if before + after + scale * (high - low) <= width:
            break
    ax.set_xlim(low - before / scale, high + after / scale)
    label = "lead over the next way; upper end: 1 in 10 lower, lower end: 1 in 10 higher"
    axis_label(ax, "x", wrap(label, width))


def _head(ax: Axes, kept: pd.DataFrame, currency: str) -> None:
    """The mark at zero and the lead as the case stands, named above the lines."""
    now, bottom = float(kept["lead_now"].iloc[0]), HEAD + float(kept["tall"].sum())
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


def _row(ax: Axes, row: pd.Series[Any], y: float) -> None:
    """One number: its line, the flipped part of it, and the values at its ends."""
    name, ends = str(row["number"]), np.array([float(row["lead_low"]), float(row["lead_high"])])
    heights, now, order = np.array([y - SLANT, y + SLANT]), float(row["lead_now"]), np.argsort(ends)

    def at(lead: float) -> float:
        return float(np.interp(lead, ends[order], heights[order]))

    style: dict[str, Any] = {"linewidth": 2.6, "solid_capstyle": "round", "zorder": 3}
    ax.plot(ends, heights, color=MAIN, gid=f"swing {name}", **style)
    if ends.min() < 0.0:
        worst = order[0]
        part = ([ends[worst], 0.0], [heights[worst], at(0.0)]) if ends.max() > 0.0 else (ends, heights)
        ax.plot(*part, color=TURN, gid=f"flipped {name}", **(style | {"zorder": 4}))
    if ends.min() <= now <= ends.max() and ends.min() < ends.max():
        ax.plot([now], [at(now)], "o", ms=9, color=MAIN, mec="white", zorder=6, gid=f"now {name}")
    left = -1 if ends[0] <= ends[1] else 1
    for text, end, height, side in zip((row["low"], row["high"]), ends, heights, (left, -left), strict=True):
        ax.plot([end], [height], "o", ms=5, color=TURN if end < 0.0 else MAIN, mec="white", zorder=5)
        align = "right" if side < 0 else "left"
        write(ax, (float(end), float(height)), text, shift=(7.0 * side, 0.0), ha=align, path_effects=WIDE_HALO)
    write(ax, (0.0, y), row["name"], BESIDE, (-9.0, 0.0), ha="right", weight="bold")
    write(ax, (1.0, y), row["said"], BESIDE, (9.0, 0.0), color=TURN_DARK if ends.min() < 0.0 else INK)
