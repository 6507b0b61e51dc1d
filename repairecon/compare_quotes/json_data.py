"""The quotes job as plain data for other programs."""

from __future__ import annotations

from typing import Any

import pandas as pd

from repairecon.compare_quotes.job import QuotesAnswer


def as_json(answer: QuotesAnswer) -> dict[str, Any]:
    """Everything but the pictures; money in the home currency, unrounded."""
    return {
        "job": "compare-quotes",
        "case": answer.case.folder,
        "currency": answer.case.terms.currency,
        "today": answer.today.isoformat(),
        "figures": answer.case.unit.figures,
        "wanted": dict(answer.wanted),
        "wishes": vars(answer.wishes),
        "basket": _rows(answer.basket),
        "total": answer.total,
        "proven": answer.proven,
        "gap": None if answer.gap == float("inf") else answer.gap,
        "days": answer.days,
        "alternatives": _rows(answer.alternatives),
        "frontier": _rows(answer.frontier),
        "equivalents": _rows(answer.equivalents),
        "uncovered": [{"part": part, "why": why} for part, why in answer.uncovered],
        "saved_without_badge": answer.saved_without_badge,
        "quotes": _rows(answer.lines),
        "assumed": [vars(a) for a in answer.assumed],
        "cautions": list(answer.case.unit.cautions),
    }


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain values; what is not a number becomes null."""
    return [{str(k): None if v is None or v != v else v for k, v in row.items()} for row in frame.to_dict("records")]
