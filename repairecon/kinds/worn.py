"""A measurement judged against the limit of its kind; what the commands ``kinds`` and ``worn`` say."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

from repairecon.kinds.facts import facts, kinds, of_kind, parts, rows, said_by
from repairecon.kinds.matching import match_kind
from repairecon.kinds.words import fold, meaning

Verdict = Literal["within", "worn", "ask"]

_NUMBER = r"[-+]?\d+(?:[.,]\d+)?(?:/\d+)?"
_TIMES = ("hours", "years", "months", "days")
_NO_SUCH_SIZE = 20
_CELLS: dict[Verdict, str] = {"worn": "worn_words", "within": "good_words"}
_SAYS = {"worn": "Past the limit.", "within": "Within the limit.", "ask": "Cannot be judged yet."}
_BY_TYPE = "By type: the limit comes from manuals of other units, see your book."


@dataclass(frozen=True)
class Judgement:
    """A measure, its limit as written, and what the measurement means.

    ``measure`` is empty where the kind has none of that name. ``ask``: the value decides nothing without what
    ``note`` asks for.
    """

    kind: str
    value: str
    note: str
    verdict: Verdict = "ask"
    measure: str = ""
    limit: str = ""
    what_then: str = ""
    source: str = ""


def measures(kind: str) -> tuple[str, ...]:
    return tuple(row["measure"] for _, row in of_kind("limits", kind))


def worn(kind: str, measure: str, value: str | float | None = None) -> Judgement:
    """Judge what was measured on one of ``kinds()``, the measure in the owner's words.

    ``value`` is a number in the limit's own unit, a number with its unit ("3 thou"), one against another ("10.9 of
    12.4"), or words ("a nail catches"); None asks for the limit alone.
    """
    said, asked = "" if value is None else f"{value}".strip(), meaning(measure)
    # limits whose name shares most of its words with the owner's, best first; those about as near come along
    names = [(meaning(row["measure"]), row) for _, row in of_kind("limits", kind)]
    scored = [(2 * len(asked & name) / (len(asked) + len(name)), row) for name, row in names]
    scored.sort(key=lambda pair: -pair[0])
    likely = [row for score, row in scored if score > 0.25 and score >= 0.6 * scored[0][0]]
    if not likely:
        note = f"no such measure is known of it; known are: {'; '.join(measures(kind))}"
        return Judgement(kind, said, note)
    # a figure belongs to a limit in figures, words to one in words
    row = next((r for r in likely if said and bool(r["unit"]) == bool(re.match(_NUMBER, said))), likely[0])
    verdict, note = _judge(row, said)
    if row["by_type"] == "yes" and "your book" not in note:
        note = f"{note} {_BY_TYPE}".strip()
    return Judgement(kind, said, note, verdict, row["measure"], row["limit"], row["what_then"].removeprefix("-"),
                     said_by(row["source"]))  # fmt: skip


def _wanted(row: Mapping[str, str]) -> str:
    """What kind of value the limit can be compared with."""
    if row["unit"]:
        return f"Give {row['value_is'] or 'the value in ' + row['unit']}."
    words = [*parts(row["worn_words"])[:2], *parts(row["good_words"])[:2]]
    return f"Say it in words, such as: {', '.join(words)}." if words else "Compare it with the limit yourself."


def _judge(row: Mapping[str, str], said: str) -> tuple[Verdict, str]:
    number, note = _number(row, said)
    if number is None:
        for verdict, cell in _CELLS.items():
            if any(fold(p) == fold(said) or frozenset() < meaning(p) <= meaning(said) for p in parts(row[cell])):
                return verdict, ""
        return "ask", note or _wanted(row)
    low, high = float(row["limit_low"]), float(row["limit_high"])
    if (number < 0 and row["unit"] != "C") or (number > _NO_SUCH_SIZE * high and "under" in row["value_is"]):
        return "ask", _wanted(row)
    # a wear limit may be reached, a date or a count of hours is due on its day
    dated = row["unit"] in _TIMES
    past, short = (number >= high, number < low) if dated else (number > high, number <= low)
    if row["worn_when"] == "outside":
        return "within" if low <= number <= high else "worn", note
    if row["worn_when"] == "below":
        past, short = number < low, number >= high
    if past or short:
        return "worn" if past else "within", note
    return "ask", "Between the limits that are known: see your book."


def _number(row: Mapping[str, str], said: str) -> tuple[float | None, str]:
    """The value in the unit of the limit, with what was taken for granted; None where it is no such value."""
    if not row["unit"] and row["worn_when"] == "":
        return None, ""
    of = re.fullmatch(rf"({_NUMBER})\s*v?\s*(?:of|against|/ )\s*({_NUMBER})\s*v?", said.lower())
    if of and row["unit"] == "%":
        part, whole = _value(of[1]), _value(of[2])
        if whole <= 0:
            return None, _wanted(row)
        left = 100 * part / whole
        return (left if row["worn_when"] == "below" else 100 - left), ""
    found = re.match(rf"({_NUMBER})\s*(.*)", said)
    if not found:
        return None, ""
    number, unit = _value(found[1]), found[2].strip().lower().rstrip(".")
    if not row["unit"]:
        return number, ""
    if not unit:
        return number, f"Taken as {row['value_is'] or row['unit']}."
    for line in rows("units"):
        if line["unit"] == row["unit"] and unit in parts(line["written"]):
            return number * float(line["times"]) + float(line["plus"]), ""
    return None, f"{unit} is not a unit of this limit. {_wanted(row)}"


def _value(text: str) -> float:
    """0.2, 0,2 or 1/8 as a number."""
    top, _, bottom = text.replace(",", ".").partition("/")
    return float(top) / (float(bottom or 1) or 1)


def kinds_listed() -> tuple[str, list[dict[str, Any]]]:
    """Every kind with its other names and who may rebuild it: text for a terminal, and plain data."""
    known = [facts(kind) for kind in kinds()]
    wide = max(len(k.kind) for k in known)
    lines = [f"{k.kind.ljust(wide)}  own rebuild: {k.own_rebuild}; also {', '.join(k.other_names[:3])}" for k in known]
    data = [{
        "kind": k.kind, "other_names": list(k.other_names), "safety_class": k.safety_class,
        "own_rebuild": k.own_rebuild, "symptoms": list(k.symptoms), "measures": list(measures(k.kind)),
    } for k in known]  # fmt: skip
    return "\n".join(lines), data


def worn_said(name: str, measure: str, value: str | None = None) -> tuple[str, dict[str, Any]]:
    """Judge a measurement on a unit named as its owner names it: text for a terminal, and plain data."""
    match = match_kind(name)
    if match.certainty in ("ask", "none"):
        text = match.question or f"{name}: {match.said}. The kinds that are known are listed by: kinds"
        return text, {"written": name, "kind": "", "verdict": "ask", "note": text, "candidates": list(match.candidates)}
    judged = worn(match.kind, measure, value)
    lines = [
        f"{match.said}, {judged.measure}{': ' + judged.value if judged.value else ''}",
        _SAYS[judged.verdict] if judged.value else "", f"Limit: {judged.limit}",
        f"Then: {judged.what_then}" if judged.what_then and judged.verdict != "within" else "", judged.note,
        f"Source: {judged.source}",
    ]  # fmt: skip
    text = "\n".join(filter(None, lines)) if judged.measure else f"{match.said}: {judged.note}"
    return text, {"written": name, "certainty": match.certainty, **asdict(judged)}
