"""The pictures of an answer with what to do said under each; those with a row or a point a way or number drawn here.
Those that draw take a frame, the name of the home money, a caption, and axes to draw in (a new figure without); each
returns the axes drawn in."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy import charts_lines, charts_tree
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.show.layout import capital

from repairecon.show.plots import (  # isort: skip
    BESIDE, INK, LINE, MAIN, MAIN_TINT, NO_BREAK, QUIET, TURN, TURN_DARK, TURN_TINT, Margins, axis_label, framing,
    inches, limits, money_said, money_ticks, name_rows, per_inch, slot, tall, with_unit, wrap, write,
)  # fmt: skip
from repairecon.show.words import chance_words, days_words, number


# ---- the pictures of an answer ------------------------------------------------------------------
def ranges(answer: Answer, ax: Axes | None = None) -> Axes:
    """What each way costs, from the good case to the bad."""
    chosen, steady = answer.advice.way, answer.verdict.steadiest
    bad_cases = answer.table.loc[[chosen, steady], ["total_p90", "total_p90_se"]].to_numpy()
    over, mildest = (answer.money(p90, se) for p90, se in bad_cases)
    caption = (
        f"Look at the right-hand ends first: one time in ten {chosen} comes to more than {over}; {steady} has the "
        f"mildest bad case, {mildest}."
    )
    return cost_ranges(answer.table, answer.case.terms.currency, caption, ax)


def curves(answer: Answer, ax: Axes | None = None) -> Axes:
    chosen = answer.advice.way
    middle = answer.money(answer.table.loc[chosen, "total_p50"], answer.table.loc[chosen, "total_p90_se"])
    caption = (
        "Find the sum that you can spend on the lower scale and take the way whose line is highest there: "
        f"{middle} is enough half the time for {chosen}."
    )
    return charts_lines.chance_below(answer.curves, answer.case.terms.currency, caption, ax)


def days(answer: Answer, ax: Axes | None = None) -> Axes:
    chosen, fast = answer.advice.way, answer.verdict.fastest
    within, soonest = (days_words(answer.table.loc[way, "days_p90"]) for way in (chosen, fast))
    caption = (
        f"Lower and further left is better. {capital(chosen)} is back within {within} nine times in ten; the soonest "
        f"is {fast}, within {soonest}."
    )
    return charts_lines.money_against_days(answer.table, answer.case.terms.currency, caption, ax)


def tree(answer: Answer, ax: Axes | None = None, keep: int = charts_tree.KEEP_ENDS) -> Axes:
    """What may be found inside, with so many ends at most."""
    ended = answer.leaves["chance"][answer.leaves["ends_rebuild"]].sum()
    bad = answer.leaves.loc[(answer.leaves["chance"] * answer.leaves["expected_extra_cost"]).idxmax()]
    dear = answer.money(bad["expected_extra_cost"])
    caption = (
        f"Follow the broad streams from the left. {capital(chance_words(ended))} that the rebuild ends in a bought "
        f"unit on top of what is spent; the course that weighs most adds {dear} ({chance_words(bad['chance'])})."
    )
    return charts_tree.damage_tree(answer.nodes, answer.case.terms.currency, caption, ax, keep)


def swings(answer: Answer, ax: Axes | None = None) -> Axes:
    """How far each number moves the lead of the cheapest way."""
    crossing = [s.number for s in answer.swings if min(s.lead_low, s.lead_high) < 0]
    caption = f"No single number takes {answer.verdict.best} out of the lead between its good and its bad case."
    if crossing:
        caption = f"Find out more about {crossing[0]} first: it alone can take {answer.verdict.best} out of the lead."
    frame = pd.DataFrame([vars(s) for s in answer.swings]).assign(lead_now=answer.verdict.gap)
    return lead_swings(frame, answer.case.terms.currency, caption, ax)


def years(answer: Answer, ax: Axes | None = None) -> Axes:
    h, fan = answer.horizon, answer.horizon.fan
    allowed = answer.table.index[answer.table["allowed"]]
    caption = (
        f"Take the way that lies lowest at the year in which you mean to sell: at {number(h.years.horizon_years)} "
        f"years it is {h.best}."
    )
    return charts_lines.cost_over_years(fan[fan["way"].isin(allowed)], answer.case.terms.currency, caption, ax)


def spare(answer: Answer, ax: Axes | None = None) -> Axes:
    h = answer.horizon
    caption = (
        "Carry the spare whose line is highest at the days more that a failure away takes you (the case says "
        f"{days_words(mean_of(h.years.days_away))}), and none where all lie under the line."
    )
    return charts_lines.spare_worth(h.spare_lines, answer.case.terms.currency, caption, ax)


# ---- what each way costs ------------------------------------------------------------------------
def cost_ranges(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar from the good case to the bad case for each way, the cheapest on average on top. ``table`` is that of the
    answer: ``total_p10``, ``total_p50``, ``total_p90``, ``total_mean``, ``cash_mean`` [home money], ``total_p90_se``
    (limits the digits shown), ``allowed``, ``why_not``."""
    rows = table.sort_values("total_mean", kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=0.2 * width, right=0.36 * width, axis=0.3)
    texts = [wrap(_cost_words(row, currency), margins.right - 0.15) for _, row in rows.iterrows()]
    ax, middles = name_rows(ax, "What each way costs, all in", caption, list(rows.index), margins,
                            row=[tall(text) + 0.15 for text in texts])  # fmt: skip
    ax.set_xlim(*limits(rows[["total_p10", "total_p90", "total_mean", "cash_mean"]].to_numpy(float).ravel()))
    money_ticks(ax, "x", currency)
    for (way, row), text, y in zip(rows.iterrows(), texts, middles, strict=True):
        look: dict[str, Any] = {"facecolor": MAIN_TINT, "edgecolor": MAIN, "linewidth": 1.2}
        if not row["allowed"]:
            look = {"facecolor": "white", "edgecolor": QUIET, "linewidth": 0.9, "hatch": "////"}
        bar = Rectangle((row["total_p10"], y - 0.08), row["total_p90"] - row["total_p10"], 0.16, gid=f"range {way}")
        bar.set(zorder=2, **look)
        ax.add_patch(bar)
        mark: dict[str, Any] = {"mec": "white", "clip_on": False}
        ink = MAIN if row["allowed"] else QUIET
        ax.plot([row["total_mean"]], [y], "o", ms=8, color=ink, zorder=4, gid=f"mean {way}", **mark)
        ax.plot([row["cash_mean"]], [y], "D", ms=5.5, color=INK, zorder=3, gid=f"cash {way}", **mark)
        write(ax, (1.0, y), text, BESIDE, (9.0, 0.0), color=INK if row["allowed"] else QUIET)
    return ax


def _cost_words(row: pd.Series[Any], currency: str) -> str:
    half, bad = (money_said(row[column], currency, row["total_p90_se"]) for column in ("total_p50", "total_p90"))
    mean, cash = (money_said(row[column], currency) for column in ("total_mean", "cash_mean"))
    sure = row["total_p10"] == row["total_p90"]
    words = f"nearly always {half}" if sure else f"half the time under {half},\n1 in 10 over {bad}"
    left_out = "" if row["allowed"] else f"\nleft out: {row['why_not'] or 'not allowed'}"
    return f"● average {mean}\n◆ cash only {cash}\n{words}{left_out}"


# ---- what moves the lead ---------------------------------------------------------------------------
ROWS, LEAST = 9, 0.05
"""Most rows, least move of the lead that matters [share of the greatest]."""
WIDE_HALO = (withStroke(linewidth=4.0, foreground="white"),)
TITLE = "How the lead of the best way moves with each number"


def lead_swings(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """For each number a line from the lead at its low value to that at its high, the worst fall on top. ``frame`` has a
    row a number: ``number`` (its name), ``unit``, ``value_low``, ``value_high`` (one in ten is lower, one in ten
    higher), ``lead_low``, ``lead_high`` (by how much the best way leads the next at that value, below 0 if another is
    cheaper), ``lead_now`` (the same in all rows) [home money]. Numbers that hardly move the lead are not drawn but
    counted in words."""
    width, height = slot(ax)
    margins = Margins(left=0.2 * width, right=0.22 * width, axis=0.55, top=2 * LINE + 0.1)
    leads = frame[["lead_low", "lead_high"]].to_numpy(float)
    moves, worst = np.abs(leads - frame[["lead_now"]].to_numpy(float)).max(axis=1), leads.min(axis=1)
    weight = moves / (moves.max() or 1.0) + (worst < 0.0)  # one that can flip the choice weighs more
    said = pd.DataFrame([_swing_words(row, currency, margins) for _, row in frame.iterrows()])
    rows = pd.concat([frame.reset_index(drop=True).assign(move=moves, worst=worst), said], axis=1)
    rows = rows.iloc[np.argsort(-weight, kind="stable")]
    for many in range(min(ROWS, max(1, int((weight >= LEAST).sum()))), 0, -1):
        kept, rest = rows.iloc[:many].sort_values("worst", kind="stable"), rows.iloc[many:]
        told = caption
        if len(rest):
            most, flip = money_said(float(rest["move"].max()), currency), int((rest["worst"] < 0.0).sum())
            left = "1 more number, not drawn, moves" if len(rest) == 1 else f"{len(rest)} more numbers, not drawn, move"
            told += f"\n{left} the lead by {most} at most{f'; {flip} can flip the choice' if flip else ''}."
        if not height or kept["tall"].sum() <= height - sum(framing(TITLE, told, width, margins)[2:]):
            break
    ax, middles = name_rows(ax, TITLE, told.strip(), list(kept["number"]), margins, row=list(kept["tall"]))
    _swing_scales(ax, kept)
    money_ticks(ax, "x", currency)
    _marks(ax, float(kept["lead_now"].iloc[0]), currency)
    for (_, row), y in zip(kept.iterrows(), middles, strict=True):
        _swing(ax, row, y)
    return ax


def _swing_words(row: pd.Series[Any], currency: str, margins: Margins) -> dict[str, Any]:
    """What is said of a number: its two values and what becomes of the lead; and the height of it [inch]."""
    low, high = (f"if {with_unit(float(row[end]), str(row['unit']), currency)}" for end in ("value_low", "value_high"))
    leads = row["lead_low"], row["lead_high"]
    said = f"stays ahead, by {money_said(min(leads), currency)} at least"
    if min(leads) < 0.0:
        both, end = " at both ends," if max(leads) < 0.0 else "", low if leads[0] <= leads[1] else high
        said = f"another way is cheaper{both} by {money_said(-min(leads), currency)} {end}"
    said = wrap(said, margins.right - 0.15)
    low, high = (text.replace(" ", NO_BREAK) for text in (low, high))
    return {"low": low, "high": high, "said": said, "tall": max(tall(said), 2 * LINE) + 0.16}


def _swing_scales(ax: Axes, kept: pd.DataFrame) -> None:
    """An axis with zero in it and room for the values beside the ends of the lines."""
    low, high = limits([0.0, *kept[["lead_low", "lead_high", "lead_now"]].to_numpy(float).ravel()])
    width = (ax.get_xlim()[1] - ax.get_xlim()[0]) / per_inch(ax)
    ends = [sorted([(row["lead_low"], 0, row["low"]), (row["lead_high"], 1, row["high"])])
            for _, row in kept.iterrows()]  # fmt: skip
    for scale in np.linspace(width, 0.25 * width, 80) / (high - low):  # inches to a unit of money
        before = max(0.0, *(0.16 + inches(first[2]) - scale * (first[0] - low) for first, _ in ends))
        after = max(0.0, *(0.16 + inches(last[2]) - scale * (high - last[0]) for _, last in ends))
        if before + after + scale * (high - low) <= width:
            break
    ax.set_xlim(low - before / scale, high + after / scale)
    axis_label(ax, "x", wrap("lead over the next way, where the number is as low or as high as 1 time in 10", width))


def _marks(ax: Axes, now: float, currency: str) -> None:
    """The mark at zero and the lead as the case stands, named above the lines, words kept within the plot."""
    (low, high), top = ax.get_xlim(), ax.get_ylim()[1]
    ax.axvspan(low, 0.0, color=TURN_TINT, alpha=0.45, linewidth=0.0, zorder=0)
    ax.axvline(0.0, color=TURN, linewidth=2.0, zorder=2, gid="flip")
    ax.axvline(now, color=MAIN, linewidth=1.0, zorder=2, gid="now")
    lead = f"now {'ahead' if now >= 0.0 else 'behind'} by {money_said(abs(now), currency)}"
    for x, up, text, ink in ((0.0, 1.5, "choice flips here", TURN_DARK), (now, 0.5, lead, MAIN)):
        half = inches(text) * per_inch(ax) / 2
        at = float(np.clip(x, low + half, max(low + half, high - half)))
        write(ax, (at, top), text, shift=(0.0, 72.0 * (up * LINE + 0.03)), ha="center", color=ink)


def _swing(ax: Axes, row: pd.Series[Any], y: float) -> None:
    """One number: its line, the flipped part of it, and the values at its ends."""
    name, ends = str(row["number"]), row[["lead_low", "lead_high"]].to_numpy(float)
    style: dict[str, Any] = {"linewidth": 2.6, "solid_capstyle": "round"}
    ax.plot(ends, [y, y], color=MAIN, gid=f"swing {name}", zorder=3, **style)
    if ends.min() < 0.0:
        ax.plot(np.minimum(ends, 0.0), [y, y], color=TURN, gid=f"flipped {name}", zorder=4, **style)
    left = ends[0] <= ends[1]
    for text, end, first in ((row["low"], ends[0], left), (row["high"], ends[1], not left)):
        ax.plot([end], [y], "o", ms=5, color=TURN if end < 0.0 else MAIN, mec="white", zorder=5)
        write(ax, (float(end), y), text, shift=(-7.0 if first else 7.0, 0.0), ha="right" if first else "left",
              path_effects=WIDE_HALO)  # fmt: skip
    write(ax, (1.0, y), row["said"], BESIDE, (9.0, 0.0), color=TURN_DARK if ends.min() < 0.0 else INK)
