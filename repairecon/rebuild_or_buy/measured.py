"""What was measured at the bench as findings: judged by the limits of the kind, then held against the tree."""

from __future__ import annotations

from repairecon.kinds.facts import kinds
from repairecon.kinds.words import meaning
from repairecon.kinds.worn import Judgement, measures, worn
from repairecon.records import Case, RepaireconError


def findings_measured(case: Case, measured: str) -> str:
    """Findings that measurements stand for.

    Parameters
    ----------
    case : Case
        Its unit's kind has the limits.
    measured : str
        ``measure=value`` pieces joined by ``;``, as in ``seal track groove=0.2``.

    Returns
    -------
    str
        ``event=outcome`` pieces as ``found`` takes them; empty where all is within its limit.
    """
    pieces = [piece.partition("=") for piece in filter(None, map(str.strip, measured.split(";")))]
    if pieces and case.unit.kind not in kinds():
        raise RepaireconError("measured: no limits are known for this kind of unit; say what was found with --found")
    judged = [_judged(case, measure.strip(), value.strip()) for measure, _, value in pieces]
    return "; ".join(_finding(case, j) for j in judged if j.verdict == "worn")


def _judged(case: Case, measure: str, value: str) -> Judgement:
    found = worn(case.unit.kind, measure, value or None)
    if not found.measure:
        known = ", ".join(measures(case.unit.kind))
        raise RepaireconError(f"measured: {measure!r} is no measure of a {case.unit.kind}; write one of: {known}")
    if found.verdict == "ask":
        raise RepaireconError(f"measured: {found.measure} {value}: {found.note or 'write the figure with its unit'}")
    return found


def _finding(case: Case, judged: Judgement) -> str:
    """The outcome whose words are nearest to the measure, what is then done breaking ties."""
    place, then = set(meaning(judged.measure)), set(meaning(judged.what_then))
    ranked = []
    for b in case.branches:
        words = set(meaning(b.outcome))
        if place & words:
            ranked.append((len(place & words), len(then & words), b.chance, b.key))
    if not ranked:
        raise RepaireconError(
            f"measured: {judged.measure} is past its limit ({judged.limit}; then: {judged.what_then}), and no outcome "
            "of this case says so; name it with --found"
        )
    return max(ranked)[-1]
