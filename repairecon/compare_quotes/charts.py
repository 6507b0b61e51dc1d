"""What is paid to each supplier, charge by charge; and money against days of an order.

Each takes a frame, the name of the home money, a caption that says what to do, and axes to draw in (a new figure
without); each returns the axes drawn in.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.transforms import Affine2D, Bbox, ScaledTranslation

from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.tables import BY_DAYS, by_supplier

from repairecon.show.plots import (  # isort: skip
    BESIDE, HALO, INK, LINE, MAIN, QUIET, Margins, Picture, axis_label, end_margin, figure_of, inches, limits,
    money_said, money_ticks, name_rows, per_inch, slot, stage, ticks, wrap, write,
)  # fmt: skip
from repairecon.show.words import days_words, money, share

FILLS = (("#1f6fa8", ""), ("#f0b35a", ""), ("#22303c", ""), ("#cbe1f0", "////"), ("#b5567f", ""), ("#e4e8eb", "...."))
"""Fill and hatch of each charge in turn: told apart by lightness and pattern as well as by colour."""
WHITE_ON = ("#1f6fa8", "#22303c", "#b5567f")
BAR, ROW = 0.34, 0.62
LOW, HIGH = 5.0, 6.0
"""Heights on a narrow page [inch]."""


def parcels_picture(answer: QuotesAnswer) -> Picture:
    """What each supplier of the basket is paid."""
    b = answer.basket
    part = share((b["landed"].sum() - b["goods"].sum()) / answer.total if answer.total else 0.0)
    caption = f"Send these orders. Of what you pay, {part} is carriage, tax and charges, not goods."
    return Picture(partial(landed_by_supplier, by_supplier(b), answer.case.terms.currency, caption), HIGH)


def days_picture(answer: QuotesAnswer) -> Picture:
    """Money against days."""
    f, currency = answer.frontier, answer.case.terms.currency
    first, last = f.iloc[0], f.iloc[-1]
    caption = (
        f"If a day out of use costs you less than the line falls in a day, wait: from {days_words(first['days'])} to "
        f"{days_words(last['days'])} it falls by {money(first['total'] - last['total'], currency)}."
    )
    if BY_DAYS in answer.late:
        caption = "What waiting saves was not searched to the end in the time allowed."
    elif len(f) < 2:
        caption = "Waiting longer saves nothing: order now."
    return Picture(partial(order_against_days, f, currency, caption), LOW)


def landed_by_supplier(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar a supplier (a row of ``table``), cut into what the goods and each charge come to.

    A column a charge in the order drawn [home money, 0 or more], at most six; charges that nobody takes are left out.
    """
    rows = table.loc[table.sum(axis=1).sort_values(ascending=False, kind="stable").index]
    rows = rows[[c for c in rows.columns if rows[c].abs().sum() > 0]]
    if rows.shape[1] > len(FILLS):
        raise ValueError(f"{rows.shape[1]} charges are more than the {len(FILLS)} that can be told apart")
    width = slot(ax)[0]
    margins = Margins(left=0.23 * width, right=0.13 * width, axis=0.3, top=0.34)
    title = "What each supplier is paid, landed"
    ax, middles = name_rows(ax, title, caption, list(rows.index), margins, row=ROW, least=2.0)
    ax.set_xlim(0.0, 1.02 * float(rows.sum(axis=1).max()) or 1.0)
    money_ticks(ax, "x", currency)
    _key(ax, [str(c) for c in rows.columns])
    for y, (supplier, row) in zip(middles, rows.iterrows(), strict=True):
        _bar(ax, str(supplier), row.to_numpy(float).tolist(), y, currency)
        write(ax, (1.0, y), money_said(float(row.sum()), currency), BESIDE, (9.0, 0.0), weight="bold")
    return ax


def _key(ax: Axes, charges: Sequence[str]) -> None:
    """The charges named over the bars, each behind a patch of its fill."""
    dpi = figure_of(ax).dpi
    across, at = ax.bbox.width / dpi, 0.0
    # shares of the width and inches up, from a line above the plot
    lift = ScaledTranslation(0.0, 17.0 / 72.0 - 0.065, figure_of(ax).dpi_scale_trans)
    above = Affine2D().scale(1.0, dpi / ax.bbox.height).translate(0.0, 1.0) + ax.transAxes + lift
    for charge, (fill, hatch) in zip(charges, FILLS, strict=False):
        patch = Rectangle((at / across, 0.0), 0.16 / across, 0.13, facecolor=fill, hatch=hatch, edgecolor=INK,
                          linewidth=0.6, clip_on=False, gid=f"key {charge}")  # fmt: skip
        patch.set_transform(above)
        ax.add_patch(patch)
        write(ax, (0.0, 1.0), charge, "axes fraction", (72.0 * (at + 0.22), 17.0), gid="key")
        at += 0.22 + inches(charge) + 0.24


def _bar(ax: Axes, supplier: str, parts: Sequence[float], y: float, currency: str) -> None:
    left = 0.0
    for amount, (fill, hatch) in zip(parts, FILLS, strict=False):
        if amount <= 0:
            continue
        ax.add_patch(
            Rectangle((left, y - BAR / 2), amount, BAR, facecolor=fill, hatch=hatch, edgecolor="white",
                      linewidth=0.8, zorder=2, gid=f"paid {supplier}")
        )  # fmt: skip
        said = money_said(amount, currency)
        if (inches(said) + 0.12) * per_inch(ax) < amount:
            ink = "white" if fill in WHITE_ON else INK
            halo: dict[str, Any] = {} if not hatch else {"path_effects": HALO}
            write(ax, (left + amount / 2, y), said, ha="center", color=ink, zorder=4, **halo)
        left += amount


def order_against_days(frontier: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What an order comes to if it must be here within so many days: each step down is money saved by waiting.

    ``frontier`` has a row a basket that no other beats on both: ``days`` [day], ``total`` [home money], ``suppliers``
    (who is ordered from, in words).
    """
    rows = frontier.sort_values("days", kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=1.2, right=end_margin(width), axis=0.55)
    ax = stage(ax, "What the order comes to if it must be here in time", caption, 2.9, margins)
    days, totals = rows["days"].to_numpy(float), rows["total"].to_numpy(float)
    last = max(1.12 * days[-1], days[-1] + 1.0)
    ax.set_xlim(0.0, last)
    low, high = limits(totals, 0.8)
    ax.set_ylim(low, high + 0.06 * (high - low))
    ticks(ax, "x", days_words)
    money_ticks(ax, "y", currency)
    axis_label(ax, "x", "days within which all must be here")
    axis_label(ax, "y", "landed, in all")
    ax.step([*days, last], [*totals, totals[-1]], where="post", color=MAIN, linewidth=2.0, zorder=3, gid="frontier")
    ax.plot(days, totals, "o", ms=7, color=MAIN, mec="white", zorder=4)
    # days and money at the steps with room for them; the end of the line says from whom
    dpi, taken = figure_of(ax).dpi, list[Bbox]()
    for at, total in zip(days[:-1], totals[:-1], strict=True):
        text = f"{days_words(at)}: {money_said(total, currency)}"
        x, y = ax.transData.transform((at, total))
        box = Bbox.from_bounds(x, y + 5.0, (inches(text) + 0.15) * dpi, LINE * dpi)
        if not box.count_overlaps(taken) and box.x1 <= ax.bbox.x1:
            taken.append(box)
            write(ax, (at, total), text, shift=(4.0, 9.0), color=INK, zorder=5, path_effects=HALO)
    text = f"{days_words(days[-1])}: {money_said(totals[-1], currency)}\n{rows['suppliers'].iloc[-1]}"
    write(ax, (1.0, totals[-1]), wrap(text, margins.right - 0.2), BESIDE, (8.0, 0.0), color=QUIET)
    return ax
