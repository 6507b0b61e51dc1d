"""Dimension tables of standard parts, and whether one part is the same as another."""

from __future__ import annotations

from repairecon.standards.equivalents import equivalent, identify

__all__ = ["equivalent", "identify"]
