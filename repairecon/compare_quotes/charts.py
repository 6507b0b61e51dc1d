"""The charts of this job; each takes a frame, the currency and a caption that says what to do, and returns its axes."""

from __future__ import annotations

from repairecon.compare_quotes.chart_parcels import landed_by_supplier, order_against_days
from repairecon.show.plots import alt_text, save_png, show

__all__ = [
    "alt_text",
    "landed_by_supplier",
    "order_against_days",
    "save_png",
    "show",
]
