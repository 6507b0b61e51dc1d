"""Which listed sizes a measured part lies near, by kind: tolerance of the new part and the sense of its wear."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from repairecon.records.standards import Candidate
from repairecon.standards import measured_options as options
from repairecon.standards.measured_options import Option
from repairecon.standards.tables import rows
from repairecon.standards.words import exact, shown

Window = tuple[Decimal, Decimal]
FREE = ("l",)
"""A length that is cut to fit or wears, so it is named and not looked up."""
IT11 = ((10, "0.09"), (18, "0.11"), (30, "0.13"), (50, "0.16"), (80, "0.19"), (120, "0.22"), (180, "0.25"),
        (500, "0.40"))  # fmt: skip
"""Tolerance IT11 [mm] up to a diameter [mm] (ISO 286-1): a seal's shaft is h11, so it may be that much thinner."""


@dataclass
class Measures:
    """Measured sizes [mm] by label, and those without a label in their order; ``hints`` are the words beside them."""

    named: dict[str, Decimal]
    bare: list[Decimal]
    hints: str = ""


class Spec(NamedTuple):
    """How a kind is measured: which label means which letter, in what order, and how far a size may be off."""

    labels: Mapping[str, tuple[str, ...]]
    options: Callable[[], tuple[Option, ...]]
    window: Callable[[str, Decimal], Window]
    notes: tuple[str, ...]
    counts: tuple[int, ...]
    either: tuple[str, ...] = ()
    """Letters of which a part has or needs one only, so that a bare size may be of either."""


@dataclass
class Answer:
    """Parts with how far they are off (0 best), notes, and near ones that it cannot be."""

    parts: list[tuple[Decimal, Candidate]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)


def fits(kind: str, spec: Spec, sizes: Measures) -> Answer:
    """The listed parts of a kind whose every measured size lies in its window."""
    answer = Answer(notes=list(spec.notes))
    near: list[tuple[Decimal, str]] = []
    tries = [v for skipped in ((), *((c,) for c in spec.either)) if (v := _assign(spec, sizes, skipped))]
    for values in {tuple(v.items()): v for v in tries}.values():
        _hold(kind, spec, values, sizes.hints, answer, near)
    if not tries:
        return Answer()
    answer.parts = list({p.designation: (off, p) for off, p in sorted(answer.parts, key=_first)[::-1]}.values())[::-1]
    answer.misses = [said for _, said in sorted(near)[:3]]
    return answer


def _first(pair: tuple[Decimal, Candidate]) -> Decimal:
    return pair[0]


def _hold(
    kind: str, spec: Spec, values: Mapping[str, Decimal], hints: str, answer: Answer, near: list[tuple[Decimal, str]]
) -> None:
    """Hold one reading of the sizes against every listed part."""
    for option in spec.options():
        gaps = {c: values[c] - option.dims[c] for c in spec.labels if c in values and c in option.dims}
        if len(gaps) < len(set(values) - set(FREE)):
            continue
        off = [_off(gap, spec.window(c, option.dims[c])) for c, gap in gaps.items()]
        if max(off) <= 1:
            shown_gaps = {c: float(gap) for c, gap in gaps.items()}
            score = sum(off, Decimal(0)) / len(off) + option.rank + 3 * _unlike_words(option, hints)
            length = "".join(f"x{shown(values[c])}" for c in FREE if c in values)
            answer.parts.append((score, Candidate(option.name + length, kind, shown_gaps, option.note, option.status)))
        elif sum(o > 1 for o in off) == 1 and max(off) < 40:
            letter = max(gaps, key=lambda c: _off(gaps[c], spec.window(c, option.dims[c])))
            near.append((max(off), f"{option.name}: its {_called(spec, letter)} is {shown(option.dims[letter])} mm, "
                                   f"measured {shown(values[letter])}"))  # fmt: skip


def _unlike_words(option: Option, hints: str) -> bool:
    """A bearing said to be of balls is named before one of rollers, which stays on the list: the words may be wrong."""
    if "bearing" not in option.note and "needle" not in option.note:
        return False
    claims = [w for w in ("ball", "roller", "needle", "taper", "thrust", "angular", "self-aligning") if w in hints]
    return bool(claims) and not all(w in option.note for w in claims)


def _called(spec: Spec, letter: str) -> str:
    return spec.labels[letter][0]


def _off(gap: Decimal, window: Window) -> Decimal:
    low, high = window
    if low >= 0 or high <= 0:
        return abs(gap - (low + high) / 2) / ((high - low) / 2)
    return gap / high if gap > 0 else gap / low


def _assign(spec: Spec, sizes: Measures, skipped: tuple[str, ...] = ()) -> dict[str, Decimal]:
    """Measured sizes by the letters of a kind; a label that the kind does not have makes none."""
    values: dict[str, Decimal] = {}
    for name, value in sizes.named.items():
        letters = [c for c, labels in spec.labels.items() if name in labels]
        # on a seal or ring between a shaft and a bore, the bore is outside
        if name == "bore" and "shaft" in sizes.named:
            letters = [c for c in letters if c == "D"] or letters
        letter = next((c for c in letters if c not in values), "")
        if not letter:
            return {}
        values[letter] = value
    free = [c for c in spec.labels if c not in values and c not in skipped]
    if len(sizes.bare) > len(free):
        return {}
    return values | dict(zip(free, sizes.bare, strict=False))


def _fixed(**windows: tuple[str, str]) -> Callable[[str, Decimal], Window]:
    exact_windows = {c: (Decimal(low), Decimal(high)) for c, (low, high) in windows.items()}
    return lambda letter, _nominal: exact_windows[letter]


def _lip(letter: str, nominal: Decimal) -> Window:
    """A worn shaft is thinner than h11 allows; a seal's outside is pressed in, so it is larger than its bore."""
    if letter == "d":
        tolerance = next(Decimal(t) for up_to, t in IT11 if nominal <= up_to)
        return -(tolerance + Decimal("0.1")), Decimal("0.05")
    return (Decimal("-0.12"), Decimal("0.4")) if letter == "D" else (Decimal("-0.4"), Decimal("0.4"))


def _rubber(letter: str, nominal: Decimal) -> Window:
    """A ring sets flat and wears thin, or swells; a caliper squeezes it."""
    if letter == "cs":
        return -(nominal * Decimal("0.05") + Decimal("0.03")), nominal * Decimal("0.05") + Decimal("0.03")
    return -(nominal * Decimal("0.015") + Decimal("0.1")), nominal * Decimal("0.03") + Decimal("0.1")


def _thread(letter: str, nominal: Decimal) -> Window:
    if letter == "major":
        return -(Decimal("0.15") + nominal * Decimal("0.008")), Decimal("0.06")
    return (Decimal("-0.04"), Decimal("0.04")) if letter == "pitch" else (Decimal("-0.3"), Decimal("0.3"))


def _hose(_letter: str, nominal: Decimal) -> Window:
    """From the least to the largest bore of a nominal size (ISO 1307)."""
    row = next(r for r in rows("hose_bores") if exact(r["bore_nominal_mm"]) == nominal)
    return exact(row["bore_min_mm"]) - nominal, exact(row["bore_max_mm"]) - nominal


SPECS: Mapping[str, Spec] = {
    "rolling bearing": Spec(
        {"d": ("inner", "bore", "shaft"), "D": ("outer", "diameter"), "B": ("width", "thickness", "height")},
        options.bearings_options,
        _fixed(d=("-0.06", "0.06"), D=("-0.06", "0.06"), B=("-0.15", "0.08")),
        (
            "note the seals or shields (2RS, ZZ, open), the clearance (C3), the cage and "
            "stainless steel: they are not in the size",
            "balls or rollers, the number of rows and the outer race tell apart bearings of one size",
        ),
        (3,),
    ),
    "lip seal": Spec(
        {"d": ("shaft", "inner"), "D": ("bore", "outer"), "b": ("width", "thickness", "height")},
        options.seals_options,
        _lip,
        (
            "measure the shaft beside the worn track: the lip itself is smaller than its shaft when free",
            "note the lips (dust lip), rubber or metal outside, the material, a helix and its direction",
            "feel the shaft where the lip ran: on a groove a new seal of any make will leak",
        ),
        (3,),
    ),
    "O-ring": Spec(
        {"id": ("inner", "bore"), "cs": ("section", "thickness", "width"), "od": ("outer", "diameter")},
        options.orings_options,
        _rubber,
        (
            "a caliper cannot tell 3.50, 3.53 and 3.55 on rubber: the groove or the maker decides",
            "a used ring is set flat or swollen: measure the groove too; note the material and the hardness",
        ),
        (2, 3),
    ),
    "circlip": Spec(
        {"shaft": ("shaft", "inner", "diameter"), "bore": ("bore", "outer"), "s": ("thickness", "width")},
        options.circlips_options,
        _fixed(shaft=("-0.25", "0.12"), bore=("-0.12", "0.25"), s=("-0.08", "0.06")),
        ("the nominal size is that of the shaft or bore, not of the ring; the heavy type is thicker",),
        (2,),
        ("shaft", "bore"),
    ),
    "parallel key": Spec(
        {"b": ("width",), "h": ("height", "thickness"), "l": ("length",)},
        options.keys_options,
        _fixed(b=("-0.1", "0.1"), h=("-0.2", "0.1")),
        ("note the length and the form: A round ends, B square ends",),
        (2, 3),
    ),
    "Woodruff key": Spec(
        {"b": ("width", "thickness"), "h": ("height",), "D": ("diameter", "length")},
        options.woodruff_options,
        _fixed(b=("-0.05", "0.04"), h=("-0.3", "0.2"), D=("-0.4", "0.3")),
        ("an inch key is loose in a metric slot and the reverse: measure the width to 0.01 mm",),
        (2, 3),
        ("h",),
    ),
    "pump shaft seal": Spec(
        {"d1": ("shaft", "inner", "diameter")},
        options.pump_seals_options,
        _fixed(d1=("-0.15", "0.05")),
        (
            "measure the seat bore, the seat depth and the working length too: outside EN "
            "12756 they are the maker's own",
        ),
        (1,),
    ),
    "carbon brush": Spec(
        {"t": ("thickness",), "a": ("width",), "l": ("length", "height")},
        options.brushes_options,
        _fixed(t=("-0.3", "0.05"), a=("-0.3", "0.05")),
        ("t is along the turning direction, a along the shaft; the length wears, so ask for that of the new one",),
        (2, 3),
    ),
    "lamp": Spec(
        {"length": ("length",), "diameter": ("diameter", "width")},
        options.festoons_options,
        _fixed(length=("-0.6", "0.6"), diameter=("-1", "1")),
        ("read power and voltage on the cap",),
        (1, 2),
    ),
    "pin": Spec(
        {"d": ("diameter", "inner"), "l": ("length",)},
        options.pins_options,
        _fixed(d=("-0.12", "0.15")),
        ("a spring pin is larger than its hole before it is driven in; say slotted or coiled, heavy or light",),
        (1, 2),
    ),
    "hose": Spec(
        {"bore": ("bore", "inner", "diameter")},
        options.hoses_options,
        _hose,
        (
            "note what it carries, the printed standard (a fuel hose without its mark is "
            "unfit), wire or no wire, the length",
        ),
        (1,),
    ),
    "threaded part": Spec(
        {"major": ("major", "outer", "diameter"), "pitch": ("pitch",), "tpi": ("tpi",)},
        options.threads_options,
        _thread,
        (
            "see whether the thread is parallel or tapered, and 55 or 60 degrees: BSP and NPT do not fit each other",
            "a male thread is measured here; note the length, the head, the steel and its mark",
        ),
        (2,),
    ),
    "fuse": Spec(
        {"diameter": ("diameter", "width"), "length": ("length",)},
        options.fuses_options,
        _fixed(diameter=("-0.3", "0.3"), length=("-0.6", "0.6")),
        ("note the current, the speed letter and the voltage printed on the cap",),
        (2,),
    ),
    "battery": Spec(
        {"length": ("length",), "width": ("width",), "height": ("height",)},
        options.batteries_options,
        _fixed(length=("-10", "10"), width=("-10", "10"), height=("-10", "10")),
        ("note where the poles are, the hold-down, the capacity and the kind (flooded, AGM)",),
        (3,),
    ),
}
