"""Written names of parts brought to one writing: capitals, decimal points, one sign between sizes."""

from __future__ import annotations

import re
import unicodedata

LONGEST = 200
"""Characters; a longer name is no designation."""

_CLEANING = (
    (re.compile(r"(?<=\d),(?=\d)"), "."),
    (re.compile(r"[×✕✖*]"), "X"),
    (re.compile(r"[‐‑‒–—−]"), "-"),
    (re.compile(r"[”″]|''"), '"'),
    (re.compile(r"[Øø∅⌀]"), ""),
    (re.compile(r"(?<=\d)\s*(?:MM)?\s*X\s*(?=\.?\d)"), "X"),
    (re.compile(r"\s+"), " "),
)


def plain(text: str) -> str:
    """The text in the one writing, or empty where it cannot be a name of a part."""
    if not isinstance(text, str) or len(text) > LONGEST:
        return ""
    words = "".join(c for c in unicodedata.normalize("NFC", text).upper() if c.isprintable() or c.isspace())
    # only the digits 0 to 9: others would be read as numbers that nobody printed
    if any(c.isdigit() and c not in "0123456789" for c in words):
        return ""
    for pattern, instead in _CLEANING:
        words = pattern.sub(instead, words)
    return words.strip()


def without(words: str, fillers: str) -> str:
    """The words less some plain words of the trade."""
    return re.sub(r"\s+", " ", re.sub(rf"(?<![\w])(?:{fillers})(?![\w])", " ", words)).strip(" ,;:.()")
