"""The signs before and behind a bearing number: sealing, clearance, class, steel, cage, ring, bore."""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

from repairecon.standards.figures import NUMBER
from repairecon.standards.tables import Row, by

TRIPLE = re.compile(rf"(?<![\w.])({NUMBER})X({NUMBER})X({NUMBER})(?![\w.])")
_JOINED = (
    (re.compile(r"ABEC[ -]?(\d)"), r"ABEC\1"),
    (re.compile(r"\bC[ -](\d)\b"), r"C\1"),
    (re.compile(r"\b2[ -](?=RS|RZ|Z\b|ZR)"), "2"),
    (re.compile(r"\bP6/?3\b"), "P6 C3"),
    (re.compile(r"\bCO\b"), "C0"),
)
_BEFORE = {"S", "W"}


class Marks(NamedTuple):
    """What the signs behind a number say."""

    said: dict[str, str]
    rows: list[Row]
    unread: list[str]


def _code(row: Row) -> tuple[str]:
    return (row["code"],)


@cache
def _pieces() -> re.Pattern[str]:
    codes = sorted((c for c in by("bearing_marks", _code) if c not in _BEFORE), key=len, reverse=True)
    return re.compile("|".join(map(re.escape, codes)))


def _split(token: str) -> list[str]:
    """The codes that a token is made of without a rest, the longest first; empty if there is a rest."""
    if not token:
        return []
    for length in range(len(token), 0, -1):
        if _pieces().fullmatch(token[:length]):
            rest = _split(token[length:])
            if rest or length == len(token):
                return [token[:length], *rest]
    return []


def _tokens(behind: str) -> list[tuple[str, bool]]:
    """Signs behind the number, and whether each is joined to it by no more than a hyphen or slash."""
    for pattern, instead in _JOINED:
        behind = pattern.sub(instead, behind)
    found: list[tuple[str, bool]] = []
    joined = True
    for gap, token in re.findall(r"([\s\-/.,;:()_+\[\]]*)([^\s\-/.,;:()_+\[\]]+)", behind):
        joined = joined and not re.search(r"[\s,;()\[\]]", gap)
        found.append((token, joined))
    return found


def _speaks(codes: list[str], token: str, joined: bool) -> bool:
    """True if a token is a mark and no word that only looks like one."""
    if not codes:
        return False
    return joined or len(codes) == 1 or any(map(str.isdigit, token))


def read_marks(before: str, behind: str) -> Marks:
    """Features by the signs before and behind a bearing number, in any order."""
    table = by("bearing_marks", _code)
    said: dict[str, list[str]] = {}
    marks = Marks({}, [], [])
    if before:
        said["material"] = ["stainless"]
        marks.rows.append(table["S" if before == "S" else "W" if before == "W" else "SS"])
    for token, joined in _tokens(behind):
        codes = _split(token)
        if _speaks(codes, token, joined):
            for code in codes:
                row = table[code]
                said.setdefault(row["feature"], []).append(row["value"])
                marks.rows.append(row)
        elif joined or (re.search(r"\d", token) and re.search(r"[A-Z]", token) and not TRIPLE.fullmatch(token)):
            marks.unread.append(token)
    for feature, values in said.items():
        if feature == "sealing":
            marks.said[feature] = _both_sides(values)
        else:
            marks.said[feature] = values[0]
            marks.unread.extend(v for v in values[1:] if v != values[0])
    return marks


def _both_sides(values: list[str]) -> str:
    one = [v for v in values if v.startswith("one ")]
    two = [v for v in values if not v.startswith("one ")]
    if two:
        return two[0]
    if len(one) == 1:
        return one[0]
    kinds = sorted({v.removeprefix("one ") for v in one})
    return f"two {kinds[0]}s" if len(kinds) == 1 else " and ".join(f"one {k}" for k in kinds)
