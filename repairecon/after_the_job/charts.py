"""The pictures of this job: each takes a frame and a caption that says what to do, and returns its axes."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.after_the_job import words
from repairecon.after_the_job.job import AfterTheJob
from repairecon.show.plots import (
    HALO,
    INK,
    LOW,
    MAIN,
    MAIN_TINT,
    NO_BREAK,
    QUIET,
    TURN,
    TURN_DARK,
    Margins,
    axis_label,
    chance_said,
    check,
    inches_down,
    limits,
    money_said,
    show,
    slot,
    stage,
    tall,
    ticks,
    wrap,
    write,
)
from repairecon.show.words import chance_words, number, whole

KINDS = {"chance": "Chances before and after", "hours": "Your hours over your guesses, before and after"}
"""Titles of what moved."""

EDGE_SCORE, FAR = 1.2816, 4.0
"""Normal scores of the ends of a range, and from which on a dot stands at the edge."""

NEXT_IF_DEARER = {
    "found inside": "no estimate is to blame for that; look first next time",
    "days": "ask for the days in writing next time, or widen their range",
    "hours": "let your own record correct the hours of the next case",
    "price": "quote before you choose",
}
NEXT_IF_CHEAPER = {
    "found inside": "that was luck; leave the chances to the log",
    "days": "expect fewer days next time",
    "hours": "let your own record correct the hours of the next case",
    "price": "take these prices into the next case",
}
"""What follows for next time, by the largest reason."""


def bridge_chart(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
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


def held_chart(frame: pd.DataFrame, caption: str = "", ax: Axes | None = None) -> Axes:
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


def chances_chart(frame: pd.DataFrame, caption: str = "", ax: Axes | None = None) -> Axes:
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


def moved_chart(frame: pd.DataFrame, title: str, unit: str = "", caption: str = "", ax: Axes | None = None) -> Axes:
    """Two bars a figure: the range believed before, in grey, and below it the one after.

    Parameters
    ----------
    frame
        A row a figure: ``name``, ``before``, ``before_low``, ``before_high``, ``after``, ``low``, ``high``.
    title
        What the figures are.
    unit
        "chance", or what a number counts.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    columns = ["before", "before_low", "before_high", "after", "low", "high"]
    check(frame, columns, ["name"])
    width = slot(ax)[0]
    margins = Margins(left=0.32 * width, right=0.22 * width, axis=0.35)
    names = [wrap(str(name), margins.left - 0.2) for name in frame["name"]]
    heights = [max(tall(name) + 0.12, 0.46) for name in names]
    ax = stage(ax, title, caption, sum(heights), margins, least=LOW)
    ax.set_xlim(*((0.0, 1.0) if unit == "chance" else limits(frame[columns].to_numpy(float).ravel())))
    inches_down(ax, sum(heights))
    say = chance_words if unit == "chance" else lambda x: _counted(number(x), unit)
    ticks(ax, "x", chance_words if unit == "chance" else number)
    top = 0.0
    for (_, row), name, height in zip(frame.iterrows(), names, heights, strict=True):
        y = top + height / 2
        ends = (("before", "before_low", "before_high", -0.09, QUIET, "s"), ("after", "low", "high", 0.09, MAIN, "o"))
        for middle, low, high, shift, ink, mark in ends:
            ax.plot([row[low], row[high]], [y + shift] * 2, color=ink, linewidth=3.0, solid_capstyle="butt",
                    gid=f"{middle} {row['name']}")  # fmt: skip
            ax.plot(row[middle], y + shift, mark, ms=7, color=ink, mec="white", zorder=3)
        beside = ("axes fraction", "data")
        write(ax, (0.0, y), name, beside, (-9.0, 0.0), ha="right")
        write(ax, (1.0, y - 0.09), f"before {say(row['before'])}", beside, (9.0, 0.0), color=QUIET)
        write(ax, (1.0, y + 0.09), f"now {say(row['after'])}", beside, (9.0, 0.0), color=INK, weight="bold")
        top += height
    return ax


def _counted(words: str, unit: str) -> str:
    if words == "1" and unit == "times":
        return "as guessed"
    return f"{words} {unit.removesuffix('s') if words == '1' else unit}".strip()


def bridge_frame(found: AfterTheJob, most: int = 12) -> pd.DataFrame:
    """The bridge as its chart takes it."""
    b = found.bridge
    if b is None:
        return pd.DataFrame(columns=["name", "amount"])
    bars = [("estimate", b.estimate["total"])]
    bars += [(words.step_name(s), s.amount) for s in words.largest_steps(b, most)]
    return pd.DataFrame([*bars, ("what it came to", b.actual["total"])], columns=["name", "amount"])


def bridge_caption(found: AfterTheJob) -> str:
    """Under the bridge."""
    b, currency = found.bridge, words.currency_of(found)
    if b is None or not b.steps:
        return ""
    name, amount = next(iter(b.groups.items()))
    todo = (NEXT_IF_DEARER if amount > 0 else NEXT_IF_CHEAPER).get(name, "put it into the next case")
    return f"The largest reason is {words.GROUPS.get(name, name)} ({words.signed(amount, currency)}): {todo}."


def held_frame(found: AfterTheJob) -> pd.DataFrame:
    """Where jobs fell, as the chart takes it."""
    columns = ["quantity", "places", "inside", "of", "says"]
    return pd.DataFrame([[getattr(h, c) for c in columns] for h in found.held], columns=columns)


def held_caption(found: AfterTheJob) -> str:
    """Under the places of the jobs."""
    bad = [h for h in found.held if h.says == "too narrow"]
    if bad:
        worst = max(bad, key=lambda h: h.factor)
        return f"Eight dots in ten belong in the band. Make the ranges of {worst.quantity} wider first."
    return "Eight dots in ten belong in the band; nothing here asks for wider ranges."


def chances_frame(found: AfterTheJob) -> pd.DataFrame:
    """Groups of stated chances, as the chart takes them."""
    groups = found.calibration.groups if found.calibration else ()
    return pd.DataFrame([g._asdict() for g in groups], columns=["stated", "happened", "low", "high", "many"])


def chances_caption(found: AfterTheJob) -> str:
    """Under the stated chances."""
    c = found.calibration
    if c is None or c.many < words.LEAST_STATED:
        return "Too few stated chances to tell anything yet: go on writing down what you find."
    off = words.off_groups(c)
    if not off:
        return "Every range meets the dashed line: keep your chances as they are."
    g = max(off, key=lambda g: g.many)
    side = "higher" if g.happened > g.stated else "lower"
    ends = f"{chance_words(g.low)} to {chance_words(g.high)}"
    return f"Where you would say {chance_words(g.stated)}, go {side}: the log leaves {ends} open."


def moved_frame(found: AfterTheJob, kind: str, most: int = 8) -> pd.DataFrame:
    """Figures of a kind before and after, those that moved most."""
    some = [s for s in words.most_moved(found, most) if s.kind == kind]
    columns = ["name", "before", "before_low", "before_high", "after", "low", "high"]
    return pd.DataFrame([[getattr(s, c) for c in columns] for s in some], columns=columns)


def show_bridge(found: AfterTheJob) -> None:
    """Put the bridge on the page, if there is a closed job."""
    if found.bridge is not None:
        show(bridge_chart(bridge_frame(found), words.currency_of(found), bridge_caption(found)))


def show_log(found: AfterTheJob) -> None:
    """Put the pictures of the log on the page, as far as it fills them."""
    if found.held:
        show(held_chart(held_frame(found), held_caption(found)))
    if found.calibration is not None and found.calibration.many >= words.LEAST_STATED:
        show(chances_chart(chances_frame(found), chances_caption(found)))


def show_learned(found: AfterTheJob) -> None:
    """Put what moved on the page."""
    caption = "Grey is what was believed before, with its 8 in 10 range; let the next case use the lower bars."
    for kind, title in KINDS.items():
        frame = moved_frame(found, kind)
        if not frame.empty:
            show(moved_chart(frame, title, "chance" if kind == "chance" else "times", caption))
