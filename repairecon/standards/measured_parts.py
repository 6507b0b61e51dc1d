"""Parts that tables list against measured sizes: how far each may be off its nominal size, and which parts fit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from itertools import product
from typing import NamedTuple

from repairecon.records.standards import Candidate
from repairecon.standards import bearings
from repairecon.standards.fasteners import rings
from repairecon.standards.tables import Row, rows, said_of
from repairecon.standards.words import exact, shown

_BUILDS = ("ball", "roller", "needle", "taper", "thrust", "angular", "self-aligning")
_FREE = ("l",)
"""A length that is cut to fit or wears, so it is named and not looked up."""


class Measures(NamedTuple):
    """Measured sizes [mm] by label, and those without a label in their order; ``hints`` are the words beside them."""

    named: Mapping[str, Decimal]
    bare: tuple[Decimal, ...]
    hints: str

    @property
    def many(self) -> int:
        """How many sizes were measured."""
        return len(self.named) + len(self.bare)


class Option(NamedTuple):
    """A listed part: its name, nominal sizes [mm] by letter, note and status; lower ``rank`` is named first."""

    name: str
    dims: Mapping[str, Decimal]
    note: str
    status: str
    rank: int = 0


@dataclass
class Answer:
    """Parts with how far they are off (0 best), notes, and near ones that it cannot be."""

    parts: list[tuple[Decimal, Candidate]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)

    def add(self, off: Decimal, name: str, kind: str, gaps: Mapping[str, Decimal], note: str, status: str) -> None:
        """One more part that it can be; ``gaps`` are measured less nominal [mm]."""
        shown_gaps = {letter: float(gap) for letter, gap in gaps.items()}
        self.parts.append((off, Candidate(name, kind, shown_gaps, note, status)))


@cache
def letters(kind: str) -> Mapping[str, Row]:
    """How each size of a kind is measured, by its letter: labels, and how far it may be off."""
    return {row["name"]: row for row in said_of(kind, "letter")}


@cache
def options(kind: str) -> tuple[Option, ...]:
    """The listed parts of a kind, of several of one name the first."""
    found: dict[str, Option] = {}
    for option in _listed(kind):
        found.setdefault(option.name, option)
    return tuple(found.values())


def _listed(kind: str) -> Iterator[Option]:
    yield from {"rolling bearing": _bearings, "circlip": _circlips, "carbon brush": _brushes}.get(kind, tuple)()
    for entry in said_of(kind, "parts"):
        table, *columns = entry["value"].split()
        for row in rows(table):
            dims = {c: exact(row[column]) for c, column in (pair.split("=") for pair in columns) if row.get(column)}
            name, note = entry["name"].format(**row).replace(" - ", " "), (entry["says"] or "{note}")
            if kind == "O-ring" and row.get("standard", "").startswith("JIS"):
                name = f"JIS {name}"
            rank = int(entry["rank"] or row.get("form", "").startswith("taper"))
            if dims and name[:1].strip():  # not where the table has no such name
                yield Option(name, dims, note.format(**{"note": "", **row}), row["status"], rank)


def _bearings() -> Iterator[Option]:
    for part in bearings.listed():
        status, rank = part.row["status"], int(part.type != bearings.DEEP_GROOVE)
        note = part.type if status == "published" else f"{part.type}; {status}"
        yield Option(part.name.replace(" ", ""), part.dims, note, status, rank)
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


def _brushes() -> Iterator[Option]:
    sizes = [(row["t_or_a_or_r_mm"], row["status"]) for row in rows("brushes_sizes")]
    for (t, status), (a, _) in product(sizes, repeat=2):
        yield Option(f"brush {t}x{a}", {"t": exact(t), "a": exact(a)}, "preferred sizes", status)


def fits(kind: str, sizes: Measures) -> Answer:
    """The listed parts of a kind whose every measured size lies between its limits."""
    answer, tries, near = Answer(), _tries(kind, sizes), list[tuple[Decimal, str]]()
    claims = [word for word in _BUILDS if word in sizes.hints and kind == bearings.KIND]
    for values, option in product(tries, options(kind)):
        gaps = {c: values[c] - option.dims[c] for c in letters(kind) if c in values.keys() & option.dims.keys()}
        if not gaps or values.keys() - set(_FREE) - gaps.keys():
            continue
        off = {c: _off(kind, c, option.dims[c], gap) for c, gap in gaps.items()}
        second, largest = sorted([Decimal(0), *off.values()])[-2:]
        if largest <= 1:
            # a bearing said to be of balls comes before one of rollers, which stays: the words may be wrong
            unlike = not all(word in option.note for word in claims)
            score = sum(off.values(), Decimal(0)) / len(off) + option.rank + 3 * unlike
            name = option.name + "".join(f"x{shown(values[c])}" for c in _FREE if c in values)
            answer.add(score, name, kind, gaps, option.note, option.status)
        elif largest < 40 and second <= 1:
            worst = max(off, key=lambda c: off[c])
            label, nominal = letters(kind)[worst]["value"].split("|")[0], shown(option.dims[worst])
            near.append((largest, f"{option.name}: its {label} is {nominal} mm, measured {shown(values[worst])}"))
    answer.notes = [row["value"] for row in said_of(kind, "note") if tries]
    answer.misses = [said for _, said in sorted(near)[:3]]
    return answer


def _tries(kind: str, sizes: Measures) -> list[dict[str, Decimal]]:
    """The sizes by letter; of either letters a part has or needs one only, so that a bare size may be of each."""
    either = " ".join(row["value"] for row in said_of(kind, "either")).split()
    assigned = filter(None, (_assign(kind, sizes, skip) for skip in ("", *either)))
    return list({tuple(values.items()): values for values in assigned}.values())


def _assign(kind: str, sizes: Measures, skipped: str) -> dict[str, Decimal]:
    """Measured sizes by the letters of a kind; a label that the kind does not have makes none."""
    values: dict[str, Decimal] = {}
    for name, value in sizes.named.items():
        named = [c for c, row in letters(kind).items() if name in row["value"].split("|")]
        # on a seal or ring between a shaft and a bore, the bore is outside
        if name == "bore" and "shaft" in sizes.named:
            named = [c for c in named if c == "D"] or named
        letter = next((c for c in named if c not in values), "")
        if not letter:
            return {}
        values[letter] = value
    free = [c for c in letters(kind) if c not in values and c != skipped]
    return {} if len(sizes.bare) > len(free) else values | dict(zip(free, sizes.bare, strict=False))


def _off(kind: str, letter: str, nominal: Decimal, gap: Decimal) -> Decimal:
    """How far a size is off its nominal one, 1 at the limit."""
    low, high = _limits(kind, letter, nominal)
    if low >= 0 or high <= 0:
        return abs(gap - (low + high) / 2) / ((high - low) / 2)
    return gap / high if gap > 0 else gap / low


@cache
def _limits(kind: str, letter: str, nominal: Decimal) -> tuple[Decimal, Decimal]:
    """How far a size may be off its nominal one: an amount, a share of the nominal size (n), the tolerance IT11."""
    if kind == "hose":  # from the least to the largest bore of a nominal size (ISO 1307)
        row = next(r for r in rows("hose_bores") if exact(r["bore_nominal_mm"]) == nominal)
        return exact(row["bore_min_mm"]) - nominal, exact(row["bore_max_mm"]) - nominal
    ends = [Decimal(0), Decimal(0)]
    for k, column in enumerate(("low_mm", "high_mm")):
        for sign, number, share in re.findall(r"([-+]?) ?([\d.]+|IT11)( n)?", letters(kind)[letter][column]):
            tolerances = (row["value"] for row in said_of(kind, "IT11") if nominal <= exact(row["name"]))
            value = exact(next(tolerances) if number == "IT11" else number)
            ends[k] += (-value if sign == "-" else value) * (nominal if share else 1)
    return ends[0], ends[1]
