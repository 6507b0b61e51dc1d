"""The charts: the only package that draws.

Every chart takes a frame, the currency and a caption that says what to do, and returns its axes
(``ax`` or, without one, those of a new figure of laptop width). A given ``ax`` is kept to the
place it had: names, title and caption are drawn inside that place.
"""

from __future__ import annotations

from repairecon.show.charts.before_after import before_after
from repairecon.show.charts.bridge import bridge
from repairecon.show.charts.curves import chance_below
from repairecon.show.charts.days import money_against_days
from repairecon.show.charts.flips import flips
from repairecon.show.charts.held import held, honest_chances, rank_bars
from repairecon.show.charts.holdings import expiry_timeline, risk_against_money, value_by_place
from repairecon.show.charts.page import alt_text, save_png, show
from repairecon.show.charts.parcels import landed_by_supplier, order_against_days
from repairecon.show.charts.ranges import cost_ranges
from repairecon.show.charts.spare import spare_worth
from repairecon.show.charts.stream import damage_tree
from repairecon.show.charts.swings import swings
from repairecon.show.charts.tree_shape import prune
from repairecon.show.charts.ways_map import best_way_map
from repairecon.show.charts.years import cost_over_years

__all__ = [
    "alt_text",
    "before_after",
    "best_way_map",
    "bridge",
    "chance_below",
    "cost_over_years",
    "cost_ranges",
    "damage_tree",
    "expiry_timeline",
    "flips",
    "held",
    "honest_chances",
    "landed_by_supplier",
    "money_against_days",
    "order_against_days",
    "prune",
    "rank_bars",
    "risk_against_money",
    "save_png",
    "show",
    "spare_worth",
    "swings",
    "value_by_place",
]
