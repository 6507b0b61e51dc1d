"""A written name as words: one writing for all, then every word is taken by a reader or stays behind as unread.

``words.csv`` lists the words that readers share: what kind a part is, what changes nothing, what denies, what names
another thing, and the features of each kind. Sizes written beside a designation (``bore 12.7 mm``) are read here too.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from decimal import Context, Decimal
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from repairecon.standards.tables import rows, said_of

LONGEST = 200
"""Characters; a longer name is no designation."""

INCH = Decimal("25.4")
NUMBER = r"\d+(?:\.\d+)?"
PART = r"(?:\d+[ -])?\d+/\d+|\d*\.\d+|\d+(?:\.\d+)?"
"""A number of inches or mm, also as a fraction."""

ANY = "*"
"""Any kind, where a phrase is only looked for."""

GAP = "¦"
"""Stands where a reader took something."""

_SHOWN = Context(prec=2)
_CLEANING = (
    (re.compile(r"(?<=\d),(?=\d)"), "."),
    (re.compile(r"[×✕✖*]"), "X"),
    (re.compile(r"[‐‑‒–—−]"), "-"),
    (re.compile(r"[”″“]|''"), '"'),
    (re.compile(r"[Øø∅⌀]"), ""),
    (re.compile(r"\s*(?<![A-Z])X\s*(?=\d{1,3}\s*(?:PCS?|PIECES?|STK|OFF|EA)\b)"), " "),
    (re.compile(r'(?<=\d)\s*"\s*X\s*(?=[\d ./-]*\d\s*")'), "X"),
    (re.compile(r"(?<=\d)\s*(?:MM)?\s*X\s*(?=\.?\d)"), "X"),
    (re.compile(r"\s+"), " "),
    (re.compile(r"^ ?OR[ -]?(?=\d+(?:\.\d+)?X)"), "O-RING "),
)
_COUNTS = ("tpi", "ribs", "teeth")
_LETTER_SIZE = r"\b{}\s*[=:]?\s*(?=\d)"
"""A size by its letter of ISO 15, where d and D are two sizes."""
_TOKEN = re.compile(r"[^\s,;:()\[\]+/¦!?=_-]+")
_LONGEST_PHRASE = 6
_UNIT = r"(?:\s*(MM|CM|INCH(?:ES)?|IN|\"))?"
_BEHIND = rf"({PART})(?![\w./]*[X/]\s*\d)"
_NUM = rf"(?<![\w.\-/X#]){_BEHIND}"


class Entry(NamedTuple):
    """What a phrase of the list says: its role, and for a kind or a feature its value."""

    role: str
    kind: str = ""
    feature: str = ""
    value: str = ""
    why: str = ""


class Size(NamedTuple):
    """A size [mm] written beside the name: what it is the size of ('' where not said), and how it was written."""

    label: str
    value: Decimal
    shown: str


def plain(text: str) -> str:
    """The text in the one writing, or empty where it cannot be a name of a part."""
    if not isinstance(text, str) or len(text) > LONGEST:
        return ""
    if all(re.search(_LETTER_SIZE.format(letter), text) for letter in "dD"):
        text = re.sub(_LETTER_SIZE.format("d"), "ID ", re.sub(_LETTER_SIZE.format("D"), "OD ", text))
    letters = unicodedata.normalize("NFD", text)
    kept = unicodedata.normalize("NFC", "".join(c for c in letters if unicodedata.category(c) != "Mn"))
    kept = unicodedata.normalize("NFC", text).upper() if re.search("[а-яА-Я]", text) else kept.upper()
    words = "".join(c for c in kept if c.isprintable() or c.isspace())
    # only the digits 0 to 9: others would be read as numbers that nobody printed
    if GAP in words or any(c.isdigit() and c not in "0123456789" for c in words):
        return ""
    for pattern, instead in _CLEANING:
        words = pattern.sub(instead, words)
    return words.strip()


def exact(value: Decimal | float | str) -> Decimal:
    """A number as it is printed, so that 2.62 - 2.5 is 0.12."""
    return Decimal(str(value))


def shown(value: Decimal | float) -> str:
    """A size as the tables write it, without spare zeros."""
    digits = str(exact(value))
    digits = str(int(exact(value))) if "E" in digits else digits
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def whole(value: Decimal) -> Decimal:
    """The nearest whole number, as names of parts have it (6PK1194, 33.5 in)."""
    return Decimal(int(value + Decimal("0.5")))


def share(part: Decimal, whole: Decimal) -> str:
    """A part of a whole in percent, two digits."""
    return "?" if not whole else shown(_SHOWN.divide(abs(part) * 100, whole))


def any_of(names: Iterable[str]) -> str:
    """The pattern of any of some names, the longest first."""
    return "|".join(map(re.escape, sorted(names, key=len, reverse=True)))


def inches(words: str) -> Decimal | None:
    """A number of inches: 1.25, 1 1/4, 1-1/4 or 3/16."""
    *ones, part = re.split("[ -]+", words)
    top, _, bottom = part.partition("/")
    return sum(map(Decimal, ones), Decimal(top) / Decimal(bottom or 1)) if int(bottom or 1) else None


def millimetres(number: str, unit: str | None) -> Decimal | None:
    """A written number in mm; a fraction without a unit is of inches."""
    value = inches(number)
    if value is None:
        return None
    if unit == "CM":
        return value * 10
    if unit == "MM" or (not unit and "/" not in number):
        return value
    return value * INCH


@cache
def labelled(table: str) -> tuple[re.Pattern[str], re.Pattern[str]]:
    """By the labels of a table: a size before its label (with a unit, or no other size behind), and one behind it."""
    signs = [(row["value"].replace(" ", "_"), row["words"]) for row in rows(table) if row["role"] == "label"]
    label, other, again = ("|".join(f"(?P<{c}{n}>{pattern})" for c, pattern in signs) for n in ("", "2", "3"))
    unit = r"\s*(?:MM|CM|INCH(?:ES)?|IN|\")"
    follows = rf"(?!\s*[=:]?\s*(?:{PART})(?:{unit})?(?!\s*(?:{again})))"
    # of measured sizes no part's number comes last: in 9.95 mm pitch 1.5 the label has its number behind it
    last = "" if table == "words" else rf"(?!\s*[=:]?\s*(?:{PART})(?:{unit})?\s*$)"
    number_first = rf"(?:{_NUM}(?={unit}){_UNIT}\s*(?:{label})(?!\w){last}|{_NUM}\s*(?:{other})(?!\w){follows})"
    return re.compile(number_first), re.compile(rf"(?<![\w.])(?:{label})\s*[=:]?\s*{_BEHIND}{_UNIT}(?![\w]|-\w)")


@cache
def phrases() -> Mapping[str, tuple[Entry, ...]]:
    """The listed phrases by their letters and digits alone, so that spaces and hyphens do not matter."""
    found: dict[str, list[Entry]] = {}
    for row in (r for r in rows("words") if r["role"] != "label"):
        entry = Entry(*(row[name] for name in Entry._fields))
        for phrase in row["words"].split("|"):
            found.setdefault(re.sub(r"[\s/-]", "", plain(phrase)), []).append(entry)
    return MappingProxyType({key: tuple(entries) for key, entries in found.items()})


class Text:
    """A name being read: what a reader takes leaves a gap, so what is left at the end was not understood."""

    def __init__(self, words: str, kind: str = "", sure: bool = False) -> None:
        self.words = self.left = words
        # sure: whether the name says the kind, so that a bare number may be one of its sizes
        self.kind, self.sure = kind, sure
        self.sizes: list[Size] = []
        self.entries: list[tuple[str, Entry]] = []

    def take(self, pattern: str | re.Pattern[str]) -> re.Match[str] | None:
        """Take the first place that a pattern finds."""
        found = re.search(pattern, self.left)
        if found and found[0]:
            self.cut(*found.span())
        return found

    def cut(self, start: int, end: int) -> None:
        """Leave a gap; its width stays, so that places found before stay true."""
        self.left = f"{self.left[:start]}{GAP}{' ' * (end - start - 1)}{self.left[end:]}"

    @property
    def alone(self) -> str:
        """What is left, without gaps and marks of punctuation around it."""
        return self.left.replace(GAP, " ").strip(" ,;:.()-")

    def rest(self) -> tuple[str, ...]:
        """Every word that no reader took."""
        tokens = re.findall(r"[^\s,;:()\[\]¦]+", self.left)
        return tuple(t for t in tokens if re.search(r"[^\W_]|[?~≈\"]", t))

    def take_labelled(self, table: str = "words") -> None:
        """Take the sizes that say what they are the size of, by the labels of a table."""
        if re.search(r"\b(?:[IO]\.?D|BORE)(?![A-Z])", self.left):  # beside these a W is a width, not watts or a steel
            self.left = re.sub(r"\bW(?=\s*[=:]?\s*\d{1,3}(?!\d))|(?<=\dMM )W\b", "WIDTH", self.left)
        for pattern in sorted(labelled(table), key=self._begins):
            for found in list(pattern.finditer(self.left)):
                label = next(name.rstrip("23") for name, said in found.groupdict().items() if said)
                said = [group for group in found.groups() if group]
                digits = next(group for group in said if re.fullmatch(PART, group))
                unit = next((group for group in said if re.fullmatch(r"MM|CM|IN(?:CH(?:ES)?)?|\"", group)), None)
                value = millimetres(digits, None if label in _COUNTS else unit)
                if value is not None:
                    self.sizes.append(Size(label.replace("_", " "), value, found[0].strip()))
                    self.cut(*found.span())

    def _begins(self, pattern: re.Pattern[str]) -> int:
        found = pattern.search(self.left)
        return found.start() if found else len(self.left)

    def take_phrases(self) -> None:
        """Take every listed phrase that may be said of the kind, the longest first."""
        kind, before = self.kind, ""
        for start, end, key, entries in matches(self.left, kind):
            if key == "IN" and re.search(r"[\d\"]\s*$", self.left[:start]):
                continue  # a unit, no word
            entry = _chosen(entries, kind, before, self.left[end:])
            if entry is None:
                before = ""
                continue
            numbers = kind in ("Woodruff key", "maker's number") and re.match(r"\s*\d", self.left[end:])
            if key == "NO" and not self.left[start:end].endswith(".") and not numbers:
                entry = Entry("negation")
            if entry.role == "for" and not _use_follows(self.left[end:], kind):
                entry = Entry("condition")
            self.entries.append((self.left[start:end].strip() or key, entry))
            before = before if entry.role == "harmless" else entry.role
            self.cut(start, end)

    def feature(self, name: str) -> str:
        """What the phrases say of a feature of the kind; empty where they say nothing."""
        return next((e.value for _, e in self.entries if (e.kind, e.feature) == (self.kind, name)), "")

    def drop(self, *features: str) -> None:
        """Leave out what the phrases say of some features: the reader has used it."""
        self.entries = [(w, e) for w, e in self.entries if e.kind != self.kind or e.feature not in features]

    def written(self, *features: str) -> dict[str, str]:
        """Take what the name says of features of its kind, by that of their writings which comes first in it."""
        found: dict[str, str] = {}
        for feature in features:
            writings = said_of(self.kind, feature, "writings")
            ways = [(row["value"], match) for row in writings if (match := re.search(row["pattern"], self.left))]
            if ways:
                value, match = min(ways, key=lambda way: way[1].start())
                self.cut(*match.span())
                named = {name: said for name, said in match.groupdict().items() if said}
                found |= named or {feature: value or next(filter(None, match.groups()))}
        return found

    def sized(self, *labels: str) -> Decimal | None:
        """Take the size [mm] of the first of some labels that was written beside the name."""
        found = next((size for label in labels for size in self.sizes if size.label == label), None)
        if found is None:
            return None
        self.sizes.remove(found)
        return found.value


def matches(words: str, kind: str) -> Iterator[tuple[int, int, str, tuple[Entry, ...]]]:
    """Places of listed phrases with what they may say of a kind, the longest at every place."""
    tokens = list(_TOKEN.finditer(words))
    i = 0
    while i < len(tokens):
        for count in range(min(_LONGEST_PHRASE, len(tokens) - i), 0, -1):
            chosen = tokens[i : i + count]
            between = words[chosen[0].start() : chosen[-1].end()]
            if re.search(r"[,;:()¦]", between) and count > 1:
                continue
            key = "".join(t[0].rstrip(".") if len(t[0]) > 1 else t[0] for t in chosen)
            found = phrases().get(key) or phrases().get(key.removesuffix("S"), ())
            if entries := tuple(e for e in found if e.role != "feature" or kind in (e.kind, ANY)):
                yield chosen[0].start(), chosen[-1].end(), key, entries
                i += count - 1
                break
        i += 1


def _use_follows(behind: str, kind: str) -> bool:
    """Whether the word behind ``for`` or ``of`` names a use or a place; a part for 6203 need not be a 6203."""
    if re.match(rf"\s*(?:THE |A |AN |MY )?(?:{GAP}|$|[,;:)])", behind):
        return True
    first = next(matches(behind, kind), None)
    near = first is not None and not re.sub(r"\b(?:THE|A|AN|MY|OLD)\b", "", behind[: first[0]]).strip(" -")
    return first is not None and near and any("use" in e.role or e.role == "feature" for e in first[3])


_PRIORITY = ("feature", "kind", "use", "place of use", "lack", "negation", "other", "condition", "for", "harmless")


def _chosen(entries: tuple[Entry, ...], kind: str, before: str, behind: str) -> Entry | None:
    """What a phrase says of a kind, by the role of the phrase before it and by what is behind it."""
    ordered = sorted(entries, key=lambda e: (_PRIORITY.index(e.role), e.role == "kind" and e.kind != kind))
    for entry in ordered:
        if "use" not in entry.role:
            return entry
        # a use is one behind for, or before the name of a kind, as in alternator belt
        named, first = before in ("for", "use", "place of use"), next(matches(behind, ""), None)
        if not named and entry.role == "use" and first and not behind[: first[0]].strip(" -"):
            named = first[2].isalpha() and any(e.role == "kind" for e in first[3])
        if named or not any(e.role == "other" for e in ordered):
            return entry if named else Entry("other", value="unknown")
    return None


@cache
def kinds_said(words: str) -> tuple[str, ...]:
    """The kinds of part that some words name, in their order; ``seal`` and ``ring`` only where nothing else is said."""
    found = [next(e.kind for e in entries if e.role == "kind") for *_, entries in matches(words, ANY)
             if any(e.role == "kind" for e in entries)]  # fmt: skip
    exact_kinds = [k for k in dict.fromkeys(found) if k not in ("seal", "ring")]
    return tuple(exact_kinds or dict.fromkeys(found))
