"""The pictures of this job.

Each chart takes what it shows, a caption that says what to do, said below it, and axes to draw in (a new figure
without), and returns the axes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.after_the_job import screen
from repairecon.after_the_job.job import AfterTheJob
from repairecon.after_the_job.learning import Shift
from repairecon.after_the_job.log import Held
from repairecon.rebuild_or_buy.sentences import plain
from repairecon.show import plots
from repairecon.show.plots import BESIDE, HALO, INK, MAIN, QUIET, TURN, TURN_DARK, Margins, money_said, write
from repairecon.show.words import chance_words, number, whole

FEW, HIGH = 4.5, 7.0
"""Heights of pictures on a narrow page [inch]."""
EDGE_SCORE, FAR = 1.2816, 4.0
"""Normal scores of the ends of a range, and from which on a dot stands at the edge."""

HOURS = "let your own record correct the hours of the next case"
NEXT = {
    "found inside": (
        "no estimate is to blame for that; look first next time", "that was luck; leave the chances to the log",
    ),
    "days": ("ask for the days in writing next time, or widen their range", "expect fewer days next time"),
    "hours": (HOURS, HOURS),
    "price": ("quote before you choose", "take these prices into the next case"),
}  # fmt: skip
"""What follows for next time, by the largest reason: if it came to more, and if to less."""


def bridge_chart(bars: Sequence[tuple[str, float]], currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar for the estimate, one for each reason hung where the last ended, and one for what it came to.

    ``bars`` are names and amounts from the estimate to the actual [home money]; those between are differences and add
    up.
    """
    width, last = plots.slot(ax)[0], len(bars) - 1
    margins = Margins(left=0.34 * width, right=0.15 * width, axis=0.3)
    title = "From the estimate to what it came to"
    ax, middles = plots.name_rows(ax, title, caption, [name for name, _ in bars], margins, bold=(0, last))
    amounts = np.array([amount for _, amount in bars])
    ends = np.cumsum(amounts)
    starts = ends - amounts
    starts[-1], ends[-1] = 0.0, amounts[-1]
    ax.set_xlim(*plots.limits([*starts, *ends]))
    plots.ticks(ax, "x", lambda v: money_said(v, currency))
    for k, (start, end, y) in enumerate(zip(starts, ends, middles, strict=True)):
        total = k in (0, last)
        ink, shade = (INK, INK) if total else (TURN, TURN_DARK) if end > start else (MAIN, MAIN)
        place = (min(start, end), y - 0.1)
        ax.add_patch(Rectangle(place, abs(end - start), 0.2, facecolor=ink, gid=f"bar {k}", zorder=2))
        if k < last:
            ax.plot([end, end], [y, middles[k + 1]], color=QUIET, linewidth=0.8, zorder=1)
        said = money_said(end, currency) if total else screen.signed(amounts[k], currency).replace(" ", plots.NO_BREAK)
        write(ax, (max(start, end), y), said, "data", (6.0, 0.0), color=shade, path_effects=HALO)
    return ax


def held_chart(held: Sequence[Held], caption: str = "", ax: Axes | None = None) -> Axes:
    """A dot a job in the scale of its own stated range, a row a quantity.

    In the axes 0 is the middle of a range, the shaded band reaches from its low to its high end.
    """
    width = plots.slot(ax)[0]
    margins = Margins(left=0.14 * width, right=0.26 * width, axis=0.5)
    title, names = "Where jobs fell in the ranges stated for them", [h.quantity for h in held]
    ax, middles = plots.name_rows(ax, title, caption, names, margins, row=0.62, bold=range(len(held)))
    ax.set_xlim(-FAR - 0.3, FAR + 0.3)
    ax.axvspan(-EDGE_SCORE, EDGE_SCORE, color=plots.MAIN_TINT, zorder=0, gid="stated range")
    ax.set_xticks([-EDGE_SCORE, 0.0, EDGE_SCORE], ["1 in 10\nunder", "half", "1 in 10\nover"])
    for y, h in zip(middles, held, strict=True):
        places = np.asarray(h.places, dtype=float)
        out, spread = np.abs(places) > EDGE_SCORE, np.zeros(len(places))
        # steps up and down that keep neighbours apart
        spread[np.argsort(places, kind="stable")] = np.resize([0.0, 1.0, -1.0, 0.5, -0.5], len(places))
        for chosen, ink, mark in ((~out, MAIN, "o"), (out, TURN, "D")):
            at = np.clip(places[chosen], -FAR, FAR), y + 0.16 * spread[chosen]
            ax.plot(*at, mark, ms=5.5, color=ink, mec="white", mew=0.6,
                    gid=f"{'outside' if mark == 'D' else 'inside'} {h.quantity}")  # fmt: skip
        shade = TURN_DARK if h.says in ("too narrow", "too wide") else INK
        write(ax, (1.0, y), f"{whole(h.inside)} of {whole(h.of)} inside\n{h.says}", BESIDE, (9.0, 0.0), color=shade)
    return ax


def moved_chart(moved: Sequence[Shift], title: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Two bars a figure, chances or times a guess: the range believed before, in grey, and below it the one after."""
    chances = moved[0].kind == "chance"
    width = plots.slot(ax)[0]
    margins = Margins(left=0.32 * width, right=0.22 * width, axis=0.35)
    ax, middles = plots.name_rows(ax, title, caption, [plain(s.name) for s in moved], margins, row=0.46)
    ends = [x for s in moved for x in (s.before_low, s.before, s.before_high, s.low, s.after, s.high)]
    ax.set_xlim(*((0.0, 1.0) if chances else plots.limits(ends)))
    say = chance_words if chances else screen.times
    plots.ticks(ax, "x", chance_words if chances else number)
    for y, s in zip(middles, moved, strict=True):
        bars = (("before", s.before, s.before_low, s.before_high, -0.09, QUIET, "s"),
                ("after", s.after, s.low, s.high, 0.09, MAIN, "o"))  # fmt: skip
        for when, middle, low, high, shift, ink, mark in bars:
            ax.plot([low, high], [y + shift] * 2, color=ink, linewidth=3.0, solid_capstyle="butt",
                    gid=f"{when} {plain(s.name)}")  # fmt: skip
            ax.plot(middle, y + shift, mark, ms=7, color=ink, mec="white", zorder=3)
        write(ax, (1.0, y - 0.09), f"before {say(s.before)}", BESIDE, (9.0, 0.0), color=QUIET)
        write(ax, (1.0, y + 0.09), f"now {say(s.after)}", BESIDE, (9.0, 0.0), color=INK, weight="bold")
    return ax


def bridge_caption(found: AfterTheJob) -> str:
    """Under the bridge: the largest reason, and what follows for next time."""
    b = found.bridge
    if b is None or not b.steps:
        return ""
    name, amount = next(iter(b.groups.items()))
    more, less = NEXT.get(name, ("put it into the next case",) * 2)
    said = screen.signed(amount, found.currency)
    return f"The largest reason is {screen.GROUPS[name]} ({said}): {more if amount > 0 else less}."


def held_caption(found: AfterTheJob) -> str:
    worst = max((h for h in found.held if h.says == "too narrow"), key=lambda h: h.factor, default=None)
    if worst is None:
        return "Eight dots in ten belong in the band; nothing here asks for wider ranges."
    return f"Eight dots in ten belong in the band. Make the ranges of {worst.quantity} wider first."


def pictures(found: AfterTheJob) -> Iterator[tuple[str, plots.Picture]]:
    """The pictures as far as there is something to show, each with the part of the answer that it belongs to."""
    if (b := found.bridge) is not None:
        steps = [(screen.step_name(s), s.amount) for s in screen.largest_steps(b)]
        bars = [("estimate", b.estimate["total"]), *steps, ("what it came to", b.actual["total"])]
        yield "bridge", plots.Picture(partial(bridge_chart, bars, found.currency, bridge_caption(found)), HIGH)
    if found.held:
        yield "log", plots.Picture(partial(held_chart, found.held, held_caption(found)), FEW)
    caption = "Grey is what was believed before, with its 8 in 10 range; let the next case use the lower bars."
    titles = {"chance": "Chances before and after", "hours": "Your hours over your guesses, before and after"}
    for kind, title in titles.items():
        if moved := [s for s in screen.most_moved(found, 8) if s.kind == kind]:
            yield "learned", plots.Picture(partial(moved_chart, moved, title, caption), 2.0 + 0.42 * len(moved))
