"""The pictures of an answer with what to do said under each; those with a row or a point a way or number drawn here.
Those that draw take a frame, the name of the home money, a caption, and axes to draw in (a new figure without); each
returns the axes drawn in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.rebuild_or_buy import charts_lines
from repairecon.rebuild_or_buy.answer import Answer

from repairecon.show.plots import (  # isort: skip
    BESIDE, HALO, INK, LINE, MAIN, MAIN_TINT, NO_BREAK, QUIET, TURN, TURN_DARK, TURN_TINT, Margins,
    axis_label, chance_said, framing, inches, limits, money_said, money_ticks, name_rows, per_inch, slot, tall, ticks,
    wrap, write,
)  # fmt: skip
from repairecon.show.words import days_words, measured


# ---- the pictures of an answer ------------------------------------------------------------------
def ranges(answer: Answer, ax: Axes | None = None) -> Axes:
    caption = "Look at the right-hand ends first: one time in ten it comes to more."
    return cost_ranges(answer.table, answer.case.terms.currency, caption, ax)


def days(answer: Answer, ax: Axes | None = None) -> Axes:
    caption = "Lower and further left is better; the lines reach from the good case to the bad one."
    return charts_lines.money_against_days(answer.table, answer.case.terms.currency, caption, ax)


def tree(answer: Answer, ax: Axes | None = None) -> Axes:
    caption = "Go down the rows as you open it, each a part of the one above it; where one says stop, go no further."
    return damage_tree(answer.nodes, answer.case.terms.currency, caption, ax)


def swings(answer: Answer, ax: Axes | None = None) -> Axes:
    crossing = [s.number for s in answer.swings if min(s.lead_low, s.lead_high) < 0]
    caption = f"No single number takes {answer.verdict.best} out of the lead between its good and its bad case."
    if crossing:
        caption = f"Find out more about {crossing[0]} first: it alone can take {answer.verdict.best} out of the lead."
    frame = pd.DataFrame([vars(s) for s in answer.swings]).assign(lead_now=answer.verdict.gap)
    return lead_swings(frame, answer.case.terms.currency, caption, ax)


def years(answer: Answer, ax: Axes | None = None) -> Axes:
    fan, allowed = answer.horizon.fan, answer.table.index[answer.table["allowed"]]
    caption = "Take the way that lies lowest at the year in which you mean to sell."
    return charts_lines.cost_over_years(fan[fan["way"].isin(allowed)], answer.case.terms.currency, caption, ax)


def spare(answer: Answer, ax: Axes | None = None) -> Axes:
    caption = "Carry the spare whose line is highest at the days more that a failure away takes; none in the grey."
    return charts_lines.spare_worth(answer.horizon.spare_lines, answer.case.terms.currency, caption, ax)


def cost_ranges(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar from the good case to the bad case for each way, the cheapest on average on top. ``table`` is that of the
    answer: ``total_p10``, ``total_p50``, ``total_p90``, ``total_mean``, ``cash_mean`` [home money], ``total_p90_se``
    (limits the digits shown), ``allowed``, ``why_not``."""
    rows = table.sort_values("total_mean", kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=0.23 * width, right=0.36 * width, axis=0.3)
    texts = []
    for _, row in rows.iterrows():
        half, bad = (money_said(row[column], currency, row["total_p90_se"]) for column in ("total_p50", "total_p90"))
        mean, cash = (money_said(row[column], currency) for column in ("total_mean", "cash_mean"))
        sure = row["total_p10"] == row["total_p90"]
        words = f"nearly always {half}" if sure else f"half the time under {half},\n1 in 10 over {bad}"
        left_out = "" if row["allowed"] else f"\nleft out: {row['why_not'] or 'not allowed'}"
        texts.append(wrap(f"● average {mean}\n◆ cash only {cash}\n{words}{left_out}", margins.right - 0.15))
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


# ---- what moves the lead ---------------------------------------------------------------------------
ROWS, LEAST = 9, 0.05  # most rows, least move of the lead that matters [share of the greatest]
TITLE = "How the lead of the best way moves with each number"


def lead_swings(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """For each number a line from the lead at its low value to that at its high, the worst fall on top. ``frame`` has a
    row a number: ``number`` (its name), ``unit``, ``value_low``, ``value_high`` (one in ten is lower, one in ten
    higher), ``lead_low``, ``lead_high`` (by how much the best way leads the next at that value, below 0 if another is
    cheaper), ``lead_now`` (the same in all rows) [home money]. Numbers that hardly move the lead are not drawn but
    counted in words."""
    width = slot(ax)[0]
    margins = Margins(left=0.2 * width, right=0.22 * width, axis=0.55, top=2 * LINE + 0.1)
    leads = frame[["lead_low", "lead_high"]].to_numpy(float)
    moves, worst = np.abs(leads - frame[["lead_now"]].to_numpy(float)).max(axis=1), leads.min(axis=1)
    weight = moves / (moves.max() or 1.0) + (worst < 0.0)  # one that can flip the choice weighs more
    said = pd.DataFrame([_swing_words(row, currency, margins) for _, row in frame.iterrows()])
    rows = pd.concat([frame.reset_index(drop=True).assign(worst=worst), said], axis=1)
    rows, many = rows.iloc[np.argsort(-weight, kind="stable")], max(1, int((weight >= LEAST).sum()))
    kept, caption = _that_fit(rows, min(ROWS, many), TITLE, caption, margins, ax)
    kept = kept.sort_values("worst", kind="stable")
    ax, middles = name_rows(ax, TITLE, caption, list(kept["number"]), margins, row=list(kept["tall"]))
    _lead_axis(ax, kept, currency)
    for (_, row), y in zip(kept.iterrows(), middles, strict=True):
        # the line of a number, the flipped part of it, and the values at its ends
        name, ends = str(row["number"]), row[["lead_low", "lead_high"]].to_numpy(float)
        style: dict[str, Any] = {"linewidth": 2.6, "solid_capstyle": "round"}
        ax.plot(ends, [y, y], color=MAIN, gid=f"swing {name}", zorder=3, **style)
        if ends.min() < 0.0:
            ax.plot(np.minimum(ends, 0.0), [y, y], color=TURN, gid=f"flipped {name}", zorder=4, **style)
        left = ends[0] <= ends[1]
        for text, end, first in ((row["low"], ends[0], left), (row["high"], ends[1], not left)):
            ax.plot([end], [y], "o", ms=5, color=TURN if end < 0.0 else MAIN, mec="white", zorder=5)
            write(ax, (float(end), y), text, shift=(-7.0 if first else 7.0, 0.0), ha="right" if first else "left",
                  path_effects=HALO)  # fmt: skip
        write(ax, (1.0, y), row["said"], BESIDE, (9.0, 0.0), color=TURN_DARK if ends.min() < 0.0 else INK)
    return ax


def _that_fit(
    rows: pd.DataFrame, most: int, title: str, caption: str, margins: Margins, ax: Axes | None
) -> tuple[pd.DataFrame, str]:
    """The first rows, at most so many and no more than there is room for; the caption with how many are left out."""
    width, height = slot(ax)
    for many in range(min(most, len(rows)), 0, -1):
        kept, left = rows.iloc[:many], len(rows) - many
        said = f"{caption}\nNot drawn: {left} more." if left else caption
        if not height or kept["tall"].sum() <= height - sum(framing(title, said, width, margins)[2:]):
            break
    return kept, said.strip()


def _swing_words(row: pd.Series[Any], currency: str, margins: Margins) -> dict[str, Any]:
    """What is said of a number: its two values and what becomes of the lead; and the height of it [inch]."""
    unit, leads, ends = str(row["unit"]), (row["lead_low"], row["lead_high"]), (row["value_low"], row["value_high"])
    if unit in ("day", "days"):
        low, high = (f"if {days_words(x)}" for x in ends)
    else:
        low, high = (f"if {money_said(x, currency) if unit == currency else measured(x, unit)}" for x in ends)
    said = f"stays ahead, by {money_said(min(leads), currency)} at least"
    if min(leads) < 0.0:
        both, end = " at both ends," if max(leads) < 0.0 else "", low if leads[0] <= leads[1] else high
        said = f"another way is cheaper{both} by {money_said(-min(leads), currency)} {end}"
    said = wrap(said, margins.right - 0.15)
    low, high = (text.replace(" ", NO_BREAK) for text in (low, high))
    return {"low": low, "high": high, "said": said, "tall": max(tall(said), 2 * LINE) + 0.16}


def _lead_axis(ax: Axes, kept: pd.DataFrame, currency: str) -> None:
    """Zero in it, room beside the ends of the lines; the marks at zero and at the lead now, named above the lines."""
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
    axis_label(ax, "x", wrap("lead over the next way; each end: 1 time in 10", width))
    money_ticks(ax, "x", currency)
    now, (low, high), top = float(kept["lead_now"].iloc[0]), ax.get_xlim(), ax.get_ylim()[1]
    ax.axvspan(low, 0.0, color=TURN_TINT, alpha=0.45, linewidth=0.0, zorder=0)
    ax.axvline(0.0, color=TURN, linewidth=2.0, zorder=2, gid="flip")
    ax.axvline(now, color=MAIN, linewidth=1.0, zorder=2, gid="now")
    lead = f"now {'ahead' if now >= 0.0 else 'behind'} by {money_said(abs(now), currency)}"
    for x, up, text, ink in ((0.0, 1.5, "choice flips here", TURN_DARK), (now, 0.5, lead, MAIN)):
        half = inches(text) * per_inch(ax) / 2
        at = float(np.clip(x, low + half, max(low + half, high - half)))
        write(ax, (at, top), text, shift=(0.0, 72.0 * (up * LINE + 0.03)), ha="center", color=ink)


ROWS_OF_TREE, INDENT, DEEPEST = 18, 0.17, 9
"""Most rows drawn; how far a branch stands in from the one before [inch], no further from so many on."""


def damage_tree(nodes: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What may be found inside: a row a branch under the one that it follows, its bar that part of the other's. Where
    only one thing can follow it has no row. ``nodes`` has a row a branch, each after the one that it follows: ``id``,
    ``parent`` (-1 for the first), ``event``, ``label`` (its outcome), ``chance`` given its parent, ``extra_cost``
    (expected, of the rebuild) [home money], ``ends_rebuild``, ``note``. The likeliest are drawn, as many as there is
    room for, the others counted in words."""
    title = "What may be found inside, and what it adds to the rebuild"
    width = slot(ax)[0]
    margins = Margins(left=0.33 * width, right=0.3 * width, axis=0.55)
    rows = pd.DataFrame(_branches(nodes)).sort_values("joint", ascending=False, kind="stable")
    likeliest = rows.head(ROWS_OF_TREE)
    words = [_branch_words(row, currency, margins) for row in likeliest.to_dict("records")]
    rows = rows.join(pd.DataFrame(words, index=likeliest.index))
    kept, caption = _that_fit(rows, ROWS_OF_TREE, title, caption, margins, ax)
    kept = kept.sort_index()
    ax, middles = name_rows(ax, title, caption, [""] * len(kept), margins, row=list(kept["tall"]))
    ax.set_xlim(0.0, 1.0)
    ticks(ax, "x", chance_said)
    axis_label(ax, "x", "chance in all")
    for row, y in zip(kept.to_dict("records"), middles, strict=True):
        tint, ink = (TURN, TURN_DARK) if row["end"]["ends_rebuild"] else (MAIN, INK)
        place, name = (row["start"], y - 0.07), f"branch {row['row']['id']}"
        ax.add_patch(Rectangle(place, row["joint"], 0.14, facecolor=tint, gid=name))
        write(ax, (0.0, y), row["name"], BESIDE, (72.0 * (row["shift"] - margins.left), 0.0))
        write(ax, (1.0, y), row["said"], BESIDE, (9.0, 0.0), color=ink)
    return ax


def _branches(nodes: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """The rows of a tree from the top: the branch, the last that alone follows it, how deep, its bar."""
    below: dict[int, list[dict[str, Any]]] = {}
    for row in nodes.to_dict("records"):
        below.setdefault(row["parent"], []).append(row)
    left = [(first, 0, 0.0, 1.0) for first in below[-1][::-1]]
    while left:
        row, depth, start, before = left.pop()
        joint = reached = before * row["chance"]
        end = row
        while len(then := below.get(end["id"], [])) == 1:
            end, reached = then[0], reached * then[0]["chance"]
        yield {"row": row, "end": end, "depth": depth, "start": start, "joint": joint}
        following = []
        for child in then:
            following.append((child, depth + 1, start, reached))
            start += reached * child["chance"]
        left += following[::-1]


def _branch_words(branch: dict[str, Any], currency: str, margins: Margins) -> dict[str, Any]:
    """Its name; chance after the branch that it follows, extra cost, and what is done where it ends; its height."""
    row, end, shift = branch["row"], branch["end"], INDENT * min(branch["depth"], DEEPEST)
    name = wrap(": ".join(filter(None, (row["event"], row["label"]))), margins.left - shift - 0.15)
    extra, chance = end["extra_cost"], chance_said(row["chance"]) if row["parent"] >= 0 or row["chance"] < 1.0 else ""
    more = f"{money_said(abs(extra), currency)}{NO_BREAK}{'more' if extra > 0 else 'less'}"
    said = ", ".join(filter(None, (chance, more if abs(extra) >= 0.5 else "")))  # no "EUR 0 less"
    said = "\n".join(filter(None, (said, "ends the rebuild" if end["ends_rebuild"] else "", end["note"])))
    said = wrap(said, margins.right - 0.15)
    return {"shift": shift, "name": name, "said": said, "tall": max(tall(name), tall(said)) + 0.1}
