"""What the commands ``kinds`` and ``worn`` say, as words and as data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from repairecon.kinds.facts import facts, kinds
from repairecon.kinds.names import match_kind
from repairecon.kinds.worn import Judgement, measures, worn

_SAYS = {
    "worn": "Past the limit.",
    "within": "Within the limit.",
    "ask": "Cannot be told yet.",
}


def kinds_listed() -> tuple[str, list[dict[str, Any]]]:
    """Every kind with its other names and who may rebuild it.

    Returns
    -------
    tuple[str, list]
        Text for a terminal, and the same as plain data for JSON.
    """
    known = [facts(kind) for kind in kinds()]
    wide = max(len(k.kind) for k in known)
    lines = [f"{k.kind.ljust(wide)}  own rebuild: {k.own_rebuild}; also {', '.join(k.other_names[:3])}" for k in known]
    data = [
        {
            "kind": k.kind,
            "other_names": list(k.other_names),
            "safety_class": k.safety_class,
            "own_rebuild": k.own_rebuild,
            "symptoms": list(k.symptoms),
            "measures": list(measures(k.kind)),
        }
        for k in known
    ]
    return "\n".join(lines), data


def worn_told(name: str, measure: str, value: str | None = None) -> tuple[str, dict[str, Any]]:
    """Judge a measurement on a unit named as its owner names it.

    Parameters
    ----------
    name, measure : str
        The unit and what was measured, in the owner's words.
    value : str or None
        What was measured, a number with or without its unit, or words.

    Returns
    -------
    tuple[str, dict]
        Text for a terminal, and the same as plain data for JSON.
    """
    match = match_kind(name)
    if match.certainty in ("ask", "none"):
        text = match.question or f"{name}: {match.said}. The kinds that are known are listed by: kinds"
        return text, {"written": name, "kind": "", "verdict": "ask", "note": text, "candidates": list(match.candidates)}
    judged = worn(match.kind, measure, value)
    data = {"written": name, "certainty": match.certainty, **asdict(judged)}
    return _told(judged, match.said), data


def _told(judged: Judgement, said: str) -> str:
    if not judged.measure:
        return f"{said}: {judged.note}"
    lines = [
        f"{said}, {judged.measure}{': ' + judged.value if judged.value else ''}",
        _SAYS[judged.verdict] if judged.value else "",
        f"Limit: {judged.limit}",
        f"Then: {judged.what_then}" if judged.what_then and judged.verdict != "within" else "",
        judged.note,
        f"Source: {judged.source}",
    ]
    return "\n".join(line for line in lines if line)
