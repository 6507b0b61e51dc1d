"""The signs before and behind a bearing number: sealing, clearance, class, steel, cage, ring, bore."""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

from repairecon.standards.tables import Row, by
from repairecon.standards.words import GAP, Text

_JOINED = (
    (re.compile(r"ABEC[ -]?(\d)"), r"ABEC\1"),
    (re.compile(r"\bC[ -](\d)\b"), r"C\1"),
    (re.compile(r"\b2[ -](?=RS|RZ|Z\b|ZR)"), "2"),
    (re.compile(r"\bP6/?3\b"), "P6 C3"),
    (re.compile(r"\bCO\b"), "C0"),
)
_BEFORE = {"S", "W"}
_TOKEN = re.compile(rf"[^\s\-/.,;:()_+\[\]{GAP}]+")
ANGLES = {"B": "40", "A": "30", "E": "30", "AC": "25", "C": "15", "BE": "40", "BEP": "40", "BM": "40", "BECB": "40"}
"""Contact angle [degrees] by the letter behind an angular contact number (trade catalogues, from memory)."""


class Marks(NamedTuple):
    """What the signs beside a number say."""

    said: dict[str, str]
    rows: list[Row]
    clashing: list[str]
    unread_joined: bool


def _code(row: Row) -> tuple[str]:
    return (row["code"],)


@cache
def _pieces() -> re.Pattern[str]:
    codes = sorted((c for c in by("bearing_marks", _code) if c not in _BEFORE), key=len, reverse=True)
    return re.compile("|".join(map(re.escape, codes)))


def _split(token: str) -> list[str]:
    """The codes that a token is made of without a rest, the longest first; empty if there is a rest."""
    for length in range(len(token), 0, -1):
        if _pieces().fullmatch(token[:length]):
            rest = _split(token[length:])
            if rest or length == len(token):
                return [token[:length], *rest]
    return []


def one_writing(words: str) -> str:
    """Signs that are written apart, written together: ABEC 5, C 3, 2-RS, P63."""
    for pattern, instead in _JOINED:
        words = pattern.sub(instead, words)
    return words


def take_marks(text: Text, prefix: str, end: int) -> Marks:
    """Take the signs anywhere beside a number whose gap ends at a place, in any order."""
    table = by("bearing_marks", _code)
    said: dict[str, list[str]] = {}
    used: list[Row] = []
    unread = False
    if prefix:
        said["material"] = ["stainless"]
        used.append(table["S" if prefix == "S" else "W" if prefix == "W" else "SS"])
    for token in list(_TOKEN.finditer(text.left)):
        joined = token.start() >= end and not re.search(rf"[\s,;()\[\]{GAP}]", text.left[end : token.start()])
        codes = _split(token[0])
        if codes and (joined or len(codes) == 1 or any(map(str.isdigit, token[0]))):
            text.cut(*token.span())
            end = token.end() if joined else end
            for code in codes:
                said.setdefault(table[code]["feature"], []).append(table[code]["value"])
                used.append(table[code])
        elif joined:
            unread = True
            end = token.end()
    return _sum_up(said, used, unread)


def _sum_up(said: dict[str, list[str]], used: list[Row], unread: bool) -> Marks:
    found: dict[str, str] = {}
    clashing: list[str] = []
    for feature, values in said.items():
        found[feature] = _both_sides(values) if feature == "sealing" else values[0]
        if feature != "sealing" and len(set(values)) > 1:
            clashing.append(f"says two things of its {feature}: {' and '.join(dict.fromkeys(values))}")
    if "one" not in str(said.get("sealing", ["one"])[0]) and len(set(said["sealing"])) > 1:
        clashing.append(f"says two things of its sealing: {' and '.join(dict.fromkeys(said['sealing']))}")
    return Marks(found, used, clashing, unread)


def _both_sides(values: list[str]) -> str:
    one = [v for v in values if v.startswith("one ")]
    two = [v for v in values if not v.startswith("one ")]
    if two:
        return two[0]
    if len(one) == 1:
        return one[0]
    kinds = sorted({v.removeprefix("one ") for v in one})
    return f"two {kinds[0]}s" if len(kinds) == 1 else " and ".join(f"one {k}" for k in kinds)
