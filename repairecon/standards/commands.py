"""The words and the plain data of two commands: which part is it, and is it the same part."""

from __future__ import annotations

from repairecon.records import Designation, Equivalence
from repairecon.standards.equivalents import equivalent
from repairecon.standards.materials import fluids_of
from repairecon.standards.measured import named_as, which_part

_VERDICTS = {
    "same": "the same part",
    "near": "near, not the same: take it only if you allow what differs",
    "not": "not the part",
    "unknown": "not clear from this: ask before you order",
}


def which_part_answer(measured: str, kind: str = "") -> tuple[str, dict[str, object]]:
    """What a measured part can be: the words for the screen, and plain data (``measured parts notes not``)."""
    found = which_part(measured, kind)
    lines = [f"Measured {found.measured}"]
    lines.append("It can be:" if found.parts else "No listed part fits.")
    for part in found.parts:
        status = f" [{part.status}]" if part.status not in ("", "published") else ""
        lines.append(f"  {named_as(part)}{f': {part.note}' if part.note else ''}{status}")
    if found.ruled_out:
        lines.append("It cannot be:")
        lines += [f"  {words}" for words in found.ruled_out]
    lines += [f"Note: {words}" for words in found.notes]
    lines.append("Check every size against the old part before you order.")
    return "\n".join(lines), found.as_json()


def same_part(wanted: str, offered: str, fluid: str = "") -> tuple[str, dict[str, object]]:
    """Whether an offered part is the wanted one: the words for the screen, and plain data.

    The data hold ``verdict``, ``reasons``, ``differs``, ``caution``, ``status``, ``sources`` and ``parts``, the wanted
    one first.
    """
    found = equivalent(wanted, offered, fluid=fluid)
    lines = [f"Wanted {wanted}, offered {offered}: {found.verdict}: {_VERDICTS[found.verdict]}."]
    lines += [f"  {reason}" for reason in found.reasons]
    lines += [f"  Caution: {words}" for words in found.caution]
    if fluid and not fluids_of(fluid):
        lines.append(f"  The fluid {fluid!r} is not in the table of materials: nothing is judged about it.")
    if found.status:
        lines.append(f"  Least sure table row used: {found.status}.")
    return "\n".join(lines), _data(found, fluid)


def _data(found: Equivalence, fluid: str) -> dict[str, object]:
    parts = [_part(p, found.gaps if p is found.offered else {}) for p in (found.wanted, found.offered)]
    return {
        "verdict": found.verdict,
        "reasons": list(found.reasons),
        "differs": list(found.differs),
        "caution": list(found.caution),
        "status": found.status,
        "sources": list(found.sources),
        "fluid_known": bool(fluids_of(fluid)) if fluid else None,
        "parts": parts,
    }


def _part(part: Designation | None, gaps: object) -> dict[str, object]:
    if part is None:
        return {"designation": "", "kind": "", "gaps": {}}
    sizes = dict(gaps) if isinstance(gaps, dict) else {}
    return {"designation": part.size or part.text, "kind": part.kind, "gaps": sizes, "sizes": dict(part.dims)}
