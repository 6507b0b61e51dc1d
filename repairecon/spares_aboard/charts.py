"""The charts of this job; each takes a frame, the currency and a caption that says what to do, and returns its axes."""

from __future__ import annotations

from repairecon.show.plots import alt_text, save_png, show
from repairecon.spares_aboard.chart_holdings import expiry_timeline, risk_against_money, value_by_place

__all__ = [
    "alt_text",
    "expiry_timeline",
    "risk_against_money",
    "save_png",
    "show",
    "value_by_place",
]
