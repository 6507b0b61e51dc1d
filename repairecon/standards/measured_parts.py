"""Which listed parts a measured one lies near, by kind: tolerance of the new part and the sense of its wear.

``measured_kinds.csv`` says how a kind is measured: its letters with their labels and how far each may be off, the
tables that list its parts, and what else to note.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from itertools import product
from types import MappingProxyType
from typing import NamedTuple

from repairecon.records.standards import Candidate
from repairecon.standards import bearings
from repairecon.standards.rings_keys import rings
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import exact, shown

FREE = ("l",)
"""A length that is cut to fit or wears, so it is named and not looked up."""
_IT11 = ((10, "0.09"), (18, "0.11"), (30, "0.13"), (50, "0.16"), (80, "0.19"), (120, "0.22"), (180, "0.25"),
         (500, "0.40"))  # fmt: skip
"""Tolerance IT11 [mm] up to a diameter [mm] (ISO 286-1): a seal's shaft is h11, so it may be that much thinner."""


@dataclass
class Measures:
    """Measured sizes [mm] by label, and those without a label in their order; ``hints`` are the words beside them."""

    named: dict[str, Decimal]
    bare: list[Decimal]
    hints: str = ""


class Option(NamedTuple):
    """A listed part: its name, nominal sizes [mm] by letter, note and status; lower ``rank`` is named first."""

    name: str
    dims: Mapping[str, Decimal]
    note: str
    status: str
    rank: int = 0


class Spec(NamedTuple):
    """How a kind is measured: labels and limits by letter, how many sizes, and what else to note.

    Of the letters in ``either`` a part has or needs one only, so that a bare size may be of each.
    """

    labels: Mapping[str, tuple[str, ...]]
    limits: Mapping[str, tuple[str, str]]
    notes: tuple[str, ...]
    counts: tuple[int, ...]
    either: tuple[str, ...]


@dataclass
class Answer:
    """Parts with how far they are off (0 best), notes, and near ones that it cannot be."""

    parts: list[tuple[Decimal, Candidate]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)


@cache
def labels() -> Mapping[str, str]:
    """What a written label is the label of."""
    said = [(row["name"], row["value"]) for row in rows("measured_kinds") if row["role"] == "label"]
    return MappingProxyType({word: name for name, words in said for word in words.split("|")})


@cache
def specs() -> Mapping[str, Spec]:
    """How each kind is measured."""
    found: dict[str, Spec] = {}
    for kind in dict.fromkeys(r["kind"] for r in rows("measured_kinds") if r["role"] == "letter"):
        own = [r for r in rows("measured_kinds") if r["kind"] == kind]
        letters = {r["name"]: r for r in own if r["role"] == "letter"}
        counts, either = (" ".join(r["value"] for r in own if r["role"] == role) for role in ("counts", "either"))
        found[kind] = Spec(
            labels={c: tuple(r["value"].split("|")) for c, r in letters.items()},
            limits={c: (r["low_mm"], r["high_mm"]) for c, r in letters.items()},
            notes=tuple(r["value"] for r in own if r["role"] == "note"),
            counts=tuple(map(int, counts.split())),
            either=tuple(either.split()),
        )
    return MappingProxyType(found)


@cache
def options(kind: str) -> tuple[Option, ...]:
    """The listed parts of a kind."""
    own = {"rolling bearing": _bearings, "circlip": _circlips, "hose": _hoses, "carbon brush": _brushes}
    if kind in own:
        return tuple(own[kind]())
    found: dict[str, Option] = {}
    for entry in (r for r in rows("measured_kinds") if r["kind"] == kind and r["role"] == "parts"):
        table, *columns = entry["value"].split()
        for row in rows(table):
            pairs = (column.split("=") for column in columns)
            dims = {c: exact(row[column]) for c, column in pairs if row.get(column)}
            if dims:
                option = _option(kind, entry["name"].format(**row), dims, row)
                found.setdefault(option.name, option)
    return tuple(found.values())


def _option(kind: str, name: str, dims: Mapping[str, Decimal], row: Row) -> Option:
    note, rank = row.get("note", ""), 0
    if kind == "O-ring" and row.get("standard", "").startswith("JIS"):
        name = f"JIS {name}"
    elif kind == "pin":
        name, note = name.replace(" - ", " "), row["item"]
    elif kind == "parallel key":
        note = "the length is cut to the keyway; say the form A or B"
    elif kind == "threaded part" and row["form"].startswith("taper"):
        rank = 1
    return Option(name, dims, note, row["status"], rank)


def _bearings() -> Iterator[Option]:
    for part in bearings.listed():
        status = part.row["status"]
        note = part.type if status == "published" else f"{part.type}; {status}"
        yield Option(part.name.replace(" ", ""), part.dims, note, status, int(part.type != bearings.DEEP_GROOVE))
        if part.row.get("series") == "NU22":
            # ISO 15: the spherical roller bearing of dimension series 22 has the same three sizes
            number, note = part.name.replace("NU 22", "222"), "spherical roller bearing, ISO 15 dimension series 22"
            yield Option(number, part.dims, note, "from memory", 2)


def _circlips() -> Iterator[Option]:
    for (nominal, place, type_), row in rings().items():
        thick = exact(row.get("thickness_s_mm") or row["thickness_mm"])
        standard = "DIN 6799" if type_ == "E" else "DIN 471" if place == "shaft" else "DIN 472"
        name = f"{standard}{' heavy' if type_ == 'heavy' else ''} {shown(nominal)}x{shown(thick)}"
        yield Option(name, {place: nominal, "s": thick}, f"for a {place}", row["status"], int(type_ == "E"))


def _hoses() -> Iterator[Option]:
    for row in rows("hose_bores"):
        names = (f"{row['bore_nominal_mm']} mm", row["inch"] and f"{row['inch']} in", row["dash"])
        for rank, name in enumerate(names):
            if name:
                yield Option(name, {"bore": exact(row["bore_nominal_mm"])}, row["note"], row["status"], rank)


def _brushes() -> Iterator[Option]:
    for t, a in product(rows("brushes_sizes"), repeat=2):
        sizes = {"t": t["t_or_a_or_r_mm"], "a": a["t_or_a_or_r_mm"]}
        dims = {letter: exact(size) for letter, size in sizes.items()}
        yield Option(f"brush {sizes['t']}x{sizes['a']}", dims, "preferred sizes", t["status"])


def fits(kind: str, sizes: Measures) -> Answer:
    """The listed parts of a kind whose every measured size lies between its limits."""
    spec = specs()[kind]
    near: list[tuple[Decimal, str]] = []
    tries = [v for skipped in ((), *((c,) for c in spec.either)) if (v := _assign(spec, sizes, skipped))]
    if not tries:
        return Answer()
    best: dict[str, tuple[Decimal, Candidate]] = {}
    for values in {tuple(v.items()): v for v in tries}.values():
        for off, part in _held(kind, values, sizes.hints, near):
            best[part.designation] = min(best.get(part.designation, (off, part)), (off, part), key=lambda pair: pair[0])
    return Answer(list(best.values()), list(spec.notes), [said for _, said in sorted(near)[:3]])


def _held(
    kind: str, values: Mapping[str, Decimal], hints: str, near: list[tuple[Decimal, str]]
) -> Iterator[tuple[Decimal, Candidate]]:
    """Hold one reading of the sizes against every listed part; parts off in one size alone go to ``near``."""
    spec = specs()[kind]
    for option in options(kind):
        gaps = {c: values[c] - option.dims[c] for c in spec.labels if c in values and c in option.dims}
        if not gaps or len(gaps) < len(set(values) - set(FREE)):
            continue
        off = {c: _off(gap, _limits(kind, c, option.dims[c])) for c, gap in gaps.items()}
        worst = max(off, key=lambda c: off[c])
        if off[worst] <= 1:
            score = sum(off.values(), Decimal(0)) / len(off) + option.rank + 3 * _unlike_words(option, hints)
            name = option.name + "".join(f"x{shown(values[c])}" for c in FREE if c in values)
            shown_gaps = {c: float(gap) for c, gap in gaps.items()}
            yield score, Candidate(name, kind, shown_gaps, option.note, option.status)
        elif sum(o > 1 for o in off.values()) == 1 and off[worst] < 40:
            said = f"its {spec.labels[worst][0]} is {shown(option.dims[worst])} mm, measured {shown(values[worst])}"
            near.append((off[worst], f"{option.name}: {said}"))


def _unlike_words(option: Option, hints: str) -> bool:
    """A bearing said to be of balls is named before one of rollers, which stays on the list: the words may be wrong."""
    if "bearing" not in option.note and "needle" not in option.note:
        return False
    claims = [w for w in ("ball", "roller", "needle", "taper", "thrust", "angular", "self-aligning") if w in hints]
    return bool(claims) and not all(w in option.note for w in claims)


def _off(gap: Decimal, limits: tuple[Decimal, Decimal]) -> Decimal:
    low, high = limits
    if low >= 0 or high <= 0:
        return abs(gap - (low + high) / 2) / ((high - low) / 2)
    return gap / high if gap > 0 else gap / low


def _assign(spec: Spec, sizes: Measures, skipped: tuple[str, ...]) -> dict[str, Decimal]:
    """Measured sizes by the letters of a kind; a label that the kind does not have makes none."""
    values: dict[str, Decimal] = {}
    for name, value in sizes.named.items():
        letters = [c for c, words in spec.labels.items() if name in words]
        # on a seal or ring between a shaft and a bore, the bore is outside
        if name == "bore" and "shaft" in sizes.named:
            letters = [c for c in letters if c == "D"] or letters
        letter = next((c for c in letters if c not in values), "")
        if not letter:
            return {}
        values[letter] = value
    free = [c for c in spec.labels if c not in values and c not in skipped]
    return {} if len(sizes.bare) > len(free) else values | dict(zip(free, sizes.bare, strict=False))


@cache
def _limits(kind: str, letter: str, nominal: Decimal) -> tuple[Decimal, Decimal]:
    """How far a size may be off its nominal one: an amount, a share of the nominal size (n), the tolerance IT11."""
    if kind == "hose":  # from the least to the largest bore of a nominal size (ISO 1307)
        row = next(r for r in rows("hose_bores") if exact(r["bore_nominal_mm"]) == nominal)
        return exact(row["bore_min_mm"]) - nominal, exact(row["bore_max_mm"]) - nominal
    low, high = (_amount(words, nominal) for words in specs()[kind].limits[letter])
    return low, high


def _amount(words: str, nominal: Decimal) -> Decimal:
    total = Decimal(0)
    for sign, number, share in re.findall(r"([-+]?) ?([\d.]+|IT11)( n)?", words):
        value = next(Decimal(t) for to, t in _IT11 if nominal <= to) if number == "IT11" else Decimal(number)
        total += (-value if sign == "-" else value) * (nominal if share else 1)
    return total
