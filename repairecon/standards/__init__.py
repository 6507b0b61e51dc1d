"""Dimension tables of standard parts, whether one part is the same as another, and what a measured one can be."""

from __future__ import annotations

from repairecon.standards.equivalents import equivalent, identify
from repairecon.standards.limits import judge_seal_shaft, judge_wear, shelf_life
from repairecon.standards.measured import size_key, which_part

__all__ = ["equivalent", "identify", "judge_seal_shaft", "judge_wear", "shelf_life", "size_key", "which_part"]
