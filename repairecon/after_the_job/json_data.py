"""After the job as plain data for other programs."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite
from typing import Any

from repairecon.after_the_job import told as after_told
from repairecon.after_the_job.answer import AfterTheJob


def as_json(found: AfterTheJob) -> dict[str, Any]:
    """Dictionaries, lists, numbers and text; home money, chances 0..1; None where there is no closed job."""
    data = {
        "name": found.name,
        "unit": found.case.unit.name if found.case else None,
        "currency": after_told.currency_of(found) or None,
        "decision": asdict(found.decision) if found.decision else None,
        "first_run": found.first_run or None,
        "bridge": _bridge(found),
        "hindsight": _hindsight(found),
        "coverage": {
            "ranges": [{**asdict(h), "sentence": after_told.held(h)} for h in found.held],
            "chances": _chances(found),
        },
        "learned": {
            **asdict(found.learned),
            "shifts": [asdict(s) for s in found.shifts],
            "sentences": after_told.learned(found),
        },
        "movements": [{**asdict(m), "source": str(m.source)} for m in found.movements],
        "jobs": list(found.log.jobs),
    }
    plain: dict[str, Any] = _plain(data)
    return plain


def _bridge(found: AfterTheJob) -> dict[str, Any] | None:
    b = found.bridge
    if b is None:
        return None
    told = after_told.bridge(b, after_told.currency_of(found))
    return {**asdict(b), "difference": b.difference, "groups": b.groups, "sentence": told}


def _hindsight(found: AfterTheJob) -> dict[str, Any] | None:
    h, currency = found.hindsight, after_told.currency_of(found)
    if h is None:
        return None
    told = [after_told.judged(h), after_told.then(h, currency), after_told.now(h, currency)]
    return {**asdict(h), "sentences": told}


def _chances(found: AfterTheJob) -> dict[str, Any] | None:
    c = found.calibration
    if c is None:
        return None
    groups = [g._asdict() for g in c.groups]
    return {**asdict(c), "parts": c.parts._asdict(), "groups": groups, "sentence": after_told.chances(found)}


def _plain(x: Any) -> Any:
    """Numbers that JSON has no word for become None; tuples lists; sources text."""
    if isinstance(x, dict):
        return {str(k): _plain(v) for k, v in x.items()}
    if isinstance(x, list | tuple):
        return [_plain(v) for v in x]
    return None if isinstance(x, float) and not isfinite(x) else x
