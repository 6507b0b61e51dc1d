"""The charts of this job; each takes a frame, the currency and a caption that says what to do, and returns its axes."""

from __future__ import annotations

from repairecon.rebuild_or_buy.chart_curves import chance_below
from repairecon.rebuild_or_buy.chart_days import money_against_days
from repairecon.rebuild_or_buy.chart_flips import flips
from repairecon.rebuild_or_buy.chart_ranges import cost_ranges
from repairecon.rebuild_or_buy.chart_spare import spare_worth
from repairecon.rebuild_or_buy.chart_stream import damage_tree
from repairecon.rebuild_or_buy.chart_swings import swings
from repairecon.rebuild_or_buy.chart_tree_shape import prune
from repairecon.rebuild_or_buy.chart_years import cost_over_years
from repairecon.show.page import alt_text, save_png, show

__all__ = [
    "alt_text",
    "chance_below",
    "cost_over_years",
    "cost_ranges",
    "damage_tree",
    "flips",
    "money_against_days",
    "prune",
    "save_png",
    "show",
    "spare_worth",
    "swings",
]
