"""The charts of this job; each takes a frame, the currency and a caption that says what to do, and returns its axes."""

from __future__ import annotations

from repairecon.after_the_job.chart_before_after import before_after
from repairecon.after_the_job.chart_bridge import bridge
from repairecon.after_the_job.chart_held import held, honest_chances, rank_bars
from repairecon.show.plots import alt_text, save_png, show

__all__ = [
    "alt_text",
    "before_after",
    "bridge",
    "held",
    "honest_chances",
    "rank_bars",
    "save_png",
    "show",
]
