"""The two pictures of what-if: what each way comes to now against before, and over the number moved last."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.what_if import WhatIf

from repairecon.show.plots import (  # isort: skip
    BESIDE, DASHES, INK, LINES, MAIN, PALE, QUIET, Margins, axis_label, end_margin, end_texts, inches_down, limits,
    money_said, money_ticks, name_ends, slot, stage, ticks, wrap, write,
)  # fmt: skip
from repairecon.show.words import tenths

ROW, BAR, STEPS, MOST = 0.4, 0.2, 25, 4


def totals(what: WhatIf, ax: Axes | None = None) -> Axes:
    """A bar a way, and a mark where it stood before anything was moved."""
    now, before = what.expected[:, 3], what.with_values({})[:, 3]
    ways, currency = what.answer.model.ways, what.case.terms.currency
    order = [int(i) for i in np.argsort(now, kind="stable") if np.isfinite(now[i])]
    margins = Margins(left=0.26 * slot(ax)[0], right=0.14 * slot(ax)[0], axis=0.45)
    ax = stage(ax, "All in, on average", "Take the shortest bar; the mark is where it stood before.", ROW * len(order),
               margins, least=2.2)  # fmt: skip
    ax.set_xlim(0.0, 1.05 * max([*(now[i] for i in order), *(before[i] for i in order if np.isfinite(before[i])), 1.0]))
    inches_down(ax, ROW * max(len(order), 1))
    money_ticks(ax, "x", currency)
    for nth, i in enumerate(order):
        y = ROW * (nth + 0.5)
        ax.barh(y, now[i], BAR, color=MAIN if nth == 0 else PALE, edgecolor=INK, linewidth=0.6)
        if np.isfinite(before[i]):
            ax.plot([before[i]] * 2, [y - BAR, y + BAR], color=INK, linewidth=1.6)
        write(ax, (0.0, y), wrap(ways[i], margins.left - 0.15), BESIDE, (-9.0, 0.0), ha="right")
        write(ax, (1.0, y), money_said(now[i], currency), BESIDE, (9.0, 0.0), weight="bold" if nth == 0 else "normal")
    return ax


def along(what: WhatIf, dial: Number, ax: Axes | None = None) -> Axes:
    """What the cheapest ways come to over the range of one number, and where it stands."""
    grid = np.linspace(dial.low, dial.high, STEPS)
    lines = np.array([what.with_values({**what.values, dial.name: x})[:, 3] for x in grid]).T
    ways, currency = what.answer.model.ways, what.case.terms.currency
    order = [i for i in np.argsort(lines.min(axis=1), kind="stable") if np.isfinite(lines[i]).all()][:MOST]
    margins = Margins(left=0.9, right=end_margin(slot(ax)[0]), axis=0.62)
    caption = "Where two lines cross the lower one takes over."
    ax = stage(ax, f"All in, by {dial.name}", caption, 2.6, margins, least=3.4)
    ax.set_xlim(dial.low, dial.high)
    shown = lines[order] if order else np.zeros((1, STEPS))
    ax.set_ylim(*limits(shown.ravel()))
    money_ticks(ax, "y", currency)
    ticks(ax, "x", tenths)
    axis_label(ax, "x", dial.unit)
    for nth, i in enumerate(order):
        ax.plot(grid, lines[i], color=LINES[nth], linestyle=DASHES[nth % len(DASHES)], linewidth=2.0)
    now = what.values.get(dial.name, dial.now)
    ax.axvline(now, color=QUIET, linewidth=1.0)
    names = [ways[i] for i in order]
    ends = [(float(dial.high), float(lines[i][-1])) for i in order]
    at_now = [money_said(float(np.interp(now, grid, lines[i])), currency) for i in order]
    texts = end_texts(names, at_now, margins.right - 0.2)
    name_ends(ax, ends, texts, names, LINES[: len(order)], ["bold" if n == 0 else "normal" for n in range(len(order))])
    return ax
