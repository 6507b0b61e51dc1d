"""One page to take to the bench: made from the case and from what is known of its kind of unit; as text or as A4."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from repairecon.kinds import facts, match_kind, match_symptom, settle
from repairecon.kinds.facts import KindFacts, of_kind
from repairecon.kinds.words import meaning
from repairecon.rebuild_or_buy import bench_words
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.records import STAGES, WAY_GROUPS, Case
from repairecon.show.layout import capital, section, wrapped
from repairecon.show.report import filled

_MOST_STEPS, _MOST_LOOKS, _MOST_CAUSES, _MOST_STOPS, _MOST_PARTS, _MOST_EVENTS = 18, 5, 3, 4, 12, 16
_SAME = 0.7
_ISOLATES = re.compile(
    r"\b(close|shut|off|breaker|battery|stopped|plug|locked|lock|lash|lashed|ashore|gauge at nothing)\b", re.I
)
_BY_TELEPHONE = re.compile(r"\b(telephone|call|ask)\b")
_LICENSED = "licensed practice only"
_WHO = {
    "yes": "An owner may open it.",
    "with care": "An owner may open it with care: the proof at the first run is part of the job.",
    _LICENSED: "Not for an owner: licensed practice or a specialist opens it. Outside checks only.",
}
_SUPPLIER = (
    "name plate whole and readable: type, number, year", "all round it before it comes off, leads and hoses marked",
    "mounting face and shaft end with a rule beside them", "parts laid out in the order they came off",
    "each seal in its place: which way its lip looks", "the damage, close, with a rule beside it",
)  # fmt: skip
_BY_GROUP = {
    "electric machine": "volts, amps or watts, turning direction, teeth or pulley, terminals",
    "pump": "inlet side, drive (slot, tongue, key, pulley), hose sizes",
    "gears": "ratio, hand of turning, oil, end fittings",
    "shaft and seal": "shaft diameter, length, taper, thread, tube bore",
    "cooling and exhaust": "end cap faces, hose sizes, bolt circle",
}
_MEASURED = {
    "lip seal": "shaft x bore x width, lips, spring, rubber", "O-ring": "inside diameter x section, rubber",
    "bearing": "the number with every sign behind it; else bore x outside x width",
    "belt": "the number; else top width and length", "gasket": "the old one kept flat", "hose": "bore, length, bends",
}  # fmt: skip
"""What a supplier asks of a part whose number is gone."""
_GENERAL_TOOLS = ("camera, marker, labels, boxes", "spanners, circlip pliers, puller",
                  "caliper, feelers, straight edge, rule", "multimeter", "torch, mirror")  # fmt: skip
_GENERAL_LIMITS = (
    ("groove in a shaft at its seal", "a finger nail catches in it", "sleeve or new shaft"),
    ("play or roughness of a bearing", "none to be felt", "new bearing"),
    ("crack, or a face eaten under its seal", "none", "ask what a new one costs"),
    ("insulation of a winding against its housing", "1 megohm, 500 V test", "dry, rewind"),
)
"""For a unit of no known kind; the limits are those of raw water pump and generator set in limits.csv."""
_HELP = "Sinking, fire or somebody hurt: distress call on VHF channel 16; ashore the emergency number."
_BOX, _BLANK = "[ ]", "________"  # to tick, and to write on
# letters on the sheet -> size of type that keeps it on one page of A4
_SIZES = ((2600, 9.2), (3200, 8.6), (3700, 8.0), (4300, 7.5), (5200, 6.9), (6400, 6.3))
_SMALLEST = 5.7


@dataclass
class SheetStep:
    """One step: what to do, who, what to look at, what to tick, what to measure (its name, and its limit in words)."""

    stage: str
    work: str
    by: str = "owner"
    needed: str = "always"
    look_at: list[str] = field(default_factory=list)
    tick: list[tuple[str, Sequence[str]]] = field(default_factory=list)
    measures: list[tuple[str, str]] = field(default_factory=list)

    @property
    def heading(self) -> str:
        """What to do, with who and when where that is not the owner, always."""
        who = "" if self.by == "owner" else f" [{self.by}]"
        when = {"always": "", "if found": " (only if found)", "ashore": " (ashore)"}[self.needed]
        return f"{capital(self.work)}{who}{when}"


class BenchSheet:
    """What stands on the page: the case's own work, events, parts and sizes over those of its kind. ``answer`` gives
    the stop rule; without it the sheet names what ends a rebuild of this kind."""

    def __init__(self, case: Case, answer: Answer | None = None) -> None:
        unit, guessed = case.unit, any(a.name == "kind of unit" for a in case.assumed)
        self.case, self.answer = case, answer
        # what the owner calls the unit: its kind, unless that was only read from its name
        self.match = settle(match_kind(unit.name if guessed or not unit.kind else unit.kind), unit.symptom)
        self.known = facts(self.match.kind) if self.match.certainty in ("exact", "taken as") else KindFacts()
        self.symptom = match_symptom(self.known.kind, unit.symptom).symptom
        asked = [self.symptom] if self.symptom else self.known.symptoms
        self.mechanics = [[x["look"] for x in self.known.looks_of(s)] for s in asked]
        self.own_tasks = _own(case.tasks, "tasks.csv")
        self.own_events = [b for b in _own(case.branches, "events.csv")
                           if b.seen_at in STAGES[:-2] and self.for_rebuild(b.ways)]  # fmt: skip
        self.title = f"{unit.name}: {unit.symptom}" if unit.symptom else unit.name
        self.figures = f"figures: {unit.figures}" if unit.figures else ""
        self.who_may = _WHO[self.match.own_rebuild]

    def for_rebuild(self, ways: Sequence[str]) -> bool:
        """Whether a ways cell speaks of the own rebuild, a blank one does."""
        way = next((w for w in self.case.ways if w.traits.rebuilds == "here"), None)
        names = {way.way, way.kind} if way is not None else {"rebuild"}
        names |= {group for group, members in WAY_GROUPS.items() if "rebuild" in members}
        return not ways or not names.isdisjoint(ways)

    @property
    def taken_as(self) -> str:
        if not self.known.kind:
            ask = self.match.certainty == "ask"
            doubt = f"{self.match.said}; until that is settled" if ask else "kind of unit not known here"
            return f"{doubt}: the general sheet"
        if self.symptom:
            return f"taken as: {self.known.kind}, {self.symptom}"
        return f"taken as: {self.known.kind}" if self.match.certainty == "taken as" else self.known.kind

    @property
    def cautions(self) -> list[str]:
        """The kind's and the case's; what cuts the unit off from sea, current, fuel and load comes first."""
        said = list(self.match.cautions)
        for line in self.case.unit.cautions:
            words = meaning(line)
            # the case may say the same in other words
            if all(len(words & meaning(known)) < _SAME * len(words) for known in said):
                said.append(line)
        return sorted(_once(said), key=lambda line: not _ISOLATES.search(line))

    @property
    def at_hand(self) -> list[tuple[str, str]]:
        tools = _once(u for t in self.known.tasks if t["by"] == "owner" for u in t.several("special_tools", ","))
        tools = tools if self.known.kind else list(_GENERAL_TOOLS)
        used = _once(u for t in self.known.tasks for u in t.several("consumables", ",") if "none" not in u)
        # rows without work: a hire, a berth, a call-out
        arrange = [t.task for t in self.own_tasks if t.hours.high == 0 and self.for_rebuild(t.ways)]
        titled = (("Tools", tools), ("To be used up", used), ("To arrange", arrange))
        return [(title, ", ".join(items)) for title, items in titled if items]

    def work(self) -> list[SheetStep]:
        """The steps in order: the case's own, else the kind's, else the general ones."""
        own = [t for t in self.own_tasks if t.hours.high > 0]
        if self.known.kind and not own:
            return [SheetStep(t["stage"], t["task"], t["by"], t["needed"]) for t in self.known.tasks]
        needed = {t["task"]: t["needed"] for t in self.known.tasks}
        tasks = sorted((t for t in (own or self.case.tasks)
                        if t.hours.high > 0 and t.stage != "later" and self.for_rebuild(t.ways)),
                       key=lambda t: STAGES.index(t.stage))  # fmt: skip
        made = [SheetStep(t.stage, t.task, t.by, needed.get(t.task, "always")) for t in tasks]
        if len(made) > _MOST_STEPS:
            left = f"{len(made) - _MOST_STEPS} more: see tasks.csv"
            made = [*made[:_MOST_STEPS], SheetStep(made[_MOST_STEPS - 1].stage, left)]
        return made or [SheetStep(stage, stage) for stage in STAGES[:-1]]

    @cached_property
    def steps(self) -> list[SheetStep]:
        """The work with what to look at, to tick and to measure put beside the step where it is met."""
        steps = self.work()
        at = [STAGES.index(step.stage) for step in steps]

        def step(stage: str, text: str) -> SheetStep:
            """Of the stage's steps the one whose words fit best, always-done ones first."""
            place, said = STAGES.index(stage), meaning(text)
            nearest = min(at, key=lambda k: (abs(k - place), k))
            here = [s for k, s in zip(at, steps, strict=True) if k == nearest]
            return max(here, key=lambda s: (len(said & meaning(s.work)), s.needed == "always"))

        stages = {row["measure"]: row["stage"] for _, row in of_kind("limit_stages", self.known.kind)}
        limits = [(stages[row["measure"]], row["measure"], row["limit"], row["what_then"].removeprefix("-"))
                  for _, row in of_kind("limits", self.known.kind)]  # fmt: skip
        for stage, name, limit, then in limits or [("measure", *row) for row in _GENERAL_LIMITS]:
            said = f"limit: {limit}" + (f" (else: {then})" if then else "")
            step(stage, name).measures.append((name, said))
        for stage, text in (*self.looks(), *self.causes()):
            step(stage, text).look_at.append(text)
        found: dict[tuple[str, str], dict[str, None]] = {}  # findings of the case's own tree, to be ticked
        for b in self.own_events:
            found.setdefault((b.seen_at, b.event), {})[b.outcome] = None
        ticks = [(stage, event, tuple(seen)) for (stage, event), seen in found.items()]
        if (left := len(ticks) - _MOST_EVENTS) > 0:
            ticks[_MOST_EVENTS:] = [(ticks[-1][0], f"{left} more events", ("see events.csv",))]
        for stage, event, seen in ticks:
            step(stage, event).tick.append((event, seen))
        return steps

    def looks(self) -> list[tuple[str, str]]:
        """Looks before anything comes apart, the case's own or the mechanic's for this symptom."""
        each = _MOST_LOOKS if len(self.mechanics) == 1 else 1
        names = [x.look for x in _own(self.case.looks, "looks.csv") if x.event]
        names = names or [name for looks in self.mechanics for name in looks[:each]]
        return [("outside", name) for name in names if not _BY_TELEPHONE.search(name)][:_MOST_LOOKS]

    def causes(self) -> list[tuple[str, str]]:
        """What may be found, likeliest first, with what cures it; the case's own events say that themselves."""
        if self.own_events:
            return []
        found: dict[str, list[tuple[str, str]]] = {}
        for f in sorted(self.known.failures_of(self.symptom), key=lambda f: -f.range("chance").likely):
            cure = next((f" ({r['remedy']})" for r in self.known.remedies_of(f)), "")
            found.setdefault(f["seen_at"], []).append((f["seen_at"], f"may be: {f['cause']}{cure}"))
        return [pair for pairs in found.values() for pair in pairs[:_MOST_CAUSES]]

    # ---- what stands below the steps ---------------------------------------------------------------
    @property
    def stop(self) -> list[str]:
        """The rule in words: that of the advice, on its basis; else what ends a rebuild of this kind."""
        leave_it = "Stop before it is opened: that is for the specialist or the licensed hand."
        bar = [leave_it] if self.match.own_rebuild == _LICENSED else []
        if self.answer is not None and (lines := bench_words.stop_rule(self.answer, self.answer.advice.stops)):
            return [*bar, *lines]
        ends = [f"{b.event}: {b.outcome}" for b in self.own_events if b.ends_rebuild]
        ends = ends or [f["cause"] for f in self.known.failures if f["mend"] == "end" and f.yes("this_unit")]
        lines = [f"Stop and ask what a new one costs if: {end}." for end in _once(ends)[:_MOST_STOPS]]
        return [*bar, *lines, "Stop when parts, work outside and hours still to come cost more than buying from here."]

    @property
    def after(self) -> list[tuple[str, Sequence[str]]]:
        """Titles and lines: when to stop, what is always renewed, what a counter asks, whom to call."""
        supplier = "For the supplier: photographs and numbers"
        return [("Stop", self.stop), ("Never used again", self._renewed()), (supplier, self._supplier()),
                ("Who to call", self._call())]  # fmt: skip

    def _renewed(self) -> list[str]:
        """By the case with its sizes, by the kind with where to read them."""
        mine = [p for p in _own(self.case.parts, "parts.csv") if p.needed == "always"]
        parts = [f"{f'{p.quantity} x ' if p.quantity > 1 else ''}{p.part}{p.standard_size and f', {p.standard_size}'}"
                 for p in mine[:_MOST_PARTS]]  # fmt: skip
        if len(mine) > _MOST_PARTS:
            parts.append(f"{len(mine) - _MOST_PARTS} more: see parts.csv")
        for r in self.known.always_renew:
            parts.append(f"{r['part']} ({'; '.join(filter(None, (r['why'], r['usual_sizes'])))})")
        return _once(parts) or ["every seal, gasket, split pin, lock washer and lock nut that comes off"]

    def _supplier(self) -> list[str]:
        """Photographs, then numbers."""
        words = [r["generic"] for r in self.known.always_renew]
        text = " ".join([*words, *(f"{p.part} {p.description}" for p in self.case.parts)]).casefold()
        numbers = [f"{name}: {sizes}" for name, sizes in _MEASURED.items() if name.casefold() in text]
        if not numbers and not self.known.kind:
            numbers = [f"{name}: {sizes}" for name, sizes in _MEASURED.items()]
        return _once(filter(None, (*_SUPPLIER, _BY_GROUP.get(self.known.group), *numbers)))

    def _call(self) -> list[str]:
        """Who does what an owner does not, whom to ask for prices, and whom in need."""
        others: dict[str, list[str]] = {}
        for by, work in [*((t["by"], t["task"]) for t in self.known.tasks), *((t.by, t.task) for t in self.own_tasks)]:
            others.setdefault(by, []).append(work)
        call = [f"{by}, for: {'; '.join(_once(work)[:4])}" for by, work in others.items() if by != "owner"]
        call += [f"supplier: {s.supplier}" for s in self.case.suppliers[:3]]
        call += [name for looks in self.mechanics for name in looks if _BY_TELEPHONE.search(name)][:2]
        call = call or ["a mechanic who knows this unit", "a supplier of its parts"]
        return [*(f"{who} {_BLANK}" for who in call), _HELP]


def _own(records: Iterable[Any], file: str) -> list[Any]:
    """The records that the owner wrote."""
    return [record for record in records if record.source.file == file]


def _once(items: Iterable[str]) -> list[str]:
    """The items in their order, none twice, whatever its commas."""
    first: dict[str, str] = {}
    for item in items:
        first.setdefault(re.sub(r"[^a-z0-9]+", " ", item.casefold()).strip(), item)
    return list(first.values())


def as_text(sheet: BenchSheet, width: int = 100) -> str:
    """The sheet for a terminal or a text printer so many letters wide, cautions first."""
    head = [f"Bench sheet: {sheet.title}", sheet.taken_as, sheet.figures]
    first = ("Before anything is opened", (*sheet.cautions, sheet.who_may))
    parts = ["\n".join(wrapped(line, width=width) for line in head if line)]
    parts += [section(title, lines, width) for title, lines in (first, *((title, [x]) for title, x in sheet.at_hand))]
    lines = ["Step by step"]
    for step in sheet.steps:
        inside = [text if text.startswith("may be: ") else f"look: {text}" for text in step.look_at]
        inside += [f"{event}: {' '.join(f'{_BOX} {o}' for o in outcomes)}" for event, outcomes in step.tick]
        inside += [f"{name}: {_BLANK} {said}" for name, said in step.measures]
        lines.append(wrapped(f"{step.stage}: {step.heading}", f"{_BOX} ", width))
        lines += [textwrap.fill(text, width, initial_indent="    ", subsequent_indent="      ") for text in inside]
    parts.append("\n".join(lines))
    parts += [section(title, lines, width) for title, lines in sheet.after if lines]
    return "\n\n".join(parts) + "\n"


def as_html(sheet: BenchSheet) -> str:
    letters = len(as_text(sheet, 100_000))
    size = next((points for most, points in _SIZES if letters <= most), _SMALLEST)
    quiet = ". ".join(capital(part) for part in (sheet.taken_as, sheet.figures) if part)
    return filled("bench_sheet.html", sheet=sheet, title=capital(sheet.title), quiet=quiet, size=size, blank=_BLANK)
