"""Whether a shaft is hard and smooth enough for a lip seal."""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from repairecon.standards.tables import Row, rows
from repairecon.standards.words import exact


class Shaft(NamedTuple):
    """What one rule says of a shaft."""

    rule: str
    ok: bool
    reasons: tuple[str, ...]
    note: str
    status: str
    source: str


def judge_seal_shaft(hardness_hrc: float, roughness_um: float, speed_m_s: float) -> tuple[Shaft, ...]:
    """What each rule says of a shaft of a hardness (HRC), a roughness Ra [um] and a speed at the lip [m/s]."""
    hardness, roughness, speed = exact(hardness_hrc), exact(roughness_um), exact(speed_m_s)
    return tuple(_judged(row, hardness, roughness) for row in rows("seal_shafts") if _holds(row, speed))


def _holds(row: Row, speed: Decimal) -> bool:
    over, to = exact(row["speed_over_m_s"]), row["speed_to_m_s"]
    # a rule that starts at zero holds for a standing shaft too
    return (over < speed or over == speed == 0) and (not to or speed <= exact(to))


def _judged(row: Row, hardness: Decimal, roughness: Decimal) -> Shaft:
    reasons = []
    if hardness < exact(row["hrc_min"]):
        reasons.append(f"asks {row['hrc_min']} HRC at least, the shaft has {hardness}")
    if not exact(row["Ra_min_um"]) <= roughness <= exact(row["Ra_max_um"]):
        reasons.append(f"asks Ra {row['Ra_min_um']} to {row['Ra_max_um']} um, the shaft has {roughness}")
    return Shaft(row["rule"], not reasons, tuple(reasons), row["note"], row["status"], row["source"])
