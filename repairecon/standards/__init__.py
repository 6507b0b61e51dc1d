"""Dimension tables of standard parts, whether one part is the same as another, and what a measured one can be."""

from __future__ import annotations

from repairecon.standards.equivalents import equivalent, identify
from repairecon.standards.measured import which_part
from repairecon.standards.rubber import shelf_life

__all__ = ["equivalent", "identify", "shelf_life", "which_part"]
