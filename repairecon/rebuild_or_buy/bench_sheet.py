"""One page to take to the bench: made from the case and from what is known of its kind of unit; as text or as A4."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from repairecon.kinds import facts, match_kind, match_symptom, settle
from repairecon.kinds.tables import of_kind
from repairecon.kinds.words import meaning
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.stages import LEAVE
from repairecon.records import STAGES, WAY_GROUPS, Case
from repairecon.show.layout import capital
from repairecon.show.report import filled
from repairecon.show.words import times_words

_OWN_TASKS, _OWN_EVENTS, _OWN_LOOKS = "tasks.csv", "events.csv", "looks.csv"
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
_BOX, _BLANK = "[ ]", "________"
"""To tick, and to write on."""
# letters on the sheet -> size of type that keeps it on one page of A4
_SIZES = ((2600, 9.2), (3200, 8.6), (3700, 8.0), (4300, 7.5), (5200, 6.9), (6400, 6.3))
_SMALLEST = 5.7


@dataclass(frozen=True)
class Measure:
    """Something to measure: its limit as it is known, beside which the value is written, and what to do then."""

    name: str
    limit: str
    what_then: str = ""

    @property
    def said(self) -> str:
        """The limit in words."""
        return f"limit: {self.limit}" + (f" (else: {self.what_then})" if self.what_then else "")


@dataclass(frozen=True)
class SheetStep:
    """One step: what to do, who, what to look at, what to tick, what to measure."""

    stage: str
    work: str
    by: str = "owner"
    needed: str = "always"
    look_at: tuple[str, ...] = ()
    tick: tuple[tuple[str, tuple[str, ...]], ...] = ()
    measures: tuple[Measure, ...] = ()

    @property
    def heading(self) -> str:
        """What to do, with who and when where that is not the owner, always."""
        who = "" if self.by == "owner" else f" [{self.by}]"
        when = {"always": "", "if found": " (only if found)", "ashore": " (ashore)"}[self.needed]
        return f"{capital(self.work)}{who}{when}"


@dataclass(frozen=True)
class BenchSheet:
    """What stands on the page, in its order. ``stop`` is the stop rule in words, ``call`` who to call."""

    title: str
    taken_as: str
    cautions: tuple[str, ...]
    who_may: str
    tools: tuple[str, ...]
    consumables: tuple[str, ...]
    arrange: tuple[str, ...]
    steps: tuple[SheetStep, ...]
    never_again: tuple[str, ...]
    for_supplier: tuple[str, ...]
    stop: tuple[str, ...]
    call: tuple[str, ...]
    figures: str = ""

    @property
    def at_hand(self) -> list[tuple[str, str]]:
        """What is wanted before the first step: title and items."""
        titled = (("Tools", self.tools), ("To be used up", self.consumables), ("To arrange", self.arrange))
        return [(title, ", ".join(items)) for title, items in titled if items]

    @property
    def after(self) -> list[tuple[str, tuple[str, ...]]]:
        """What stands below the steps: title and lines."""
        call = tuple(line if line.endswith(".") else f"{line} {_BLANK}" for line in self.call)
        photographs = "For the supplier: photographs and numbers"
        return [("Stop", self.stop), ("Never used again", self.never_again), (photographs, self.for_supplier),
                ("Who to call", call)]  # fmt: skip


def bench_sheet(case: Case, answer: Answer | None = None) -> BenchSheet:
    """The bench sheet of a case.

    Parameters
    ----------
    case : Case
        Its own work, events, parts and sizes go over those of its kind.
    answer : Answer, optional
        Gives the stop rule; without it the sheet names what ends a rebuild of this kind.

    Returns
    -------
    BenchSheet
        To be shown by ``as_text`` or ``as_html``.
    """
    return _Maker(case).sheet(answer)


class _Maker:
    """A case beside what is known of its kind and of its symptom."""

    def __init__(self, case: Case) -> None:
        unit, guessed = case.unit, any(a.name == "kind of unit" for a in case.assumed)
        self.case = case
        # what the owner calls the unit: its kind, unless that was only read from its name
        self.match = settle(match_kind(unit.name if guessed or not unit.kind else unit.kind), unit.symptom)
        self.known = facts(self.match.kind) if self.match.certainty in ("exact", "taken as") else None
        self.symptom = match_symptom(self.known.kind, unit.symptom).symptom if self.known else ""
        self.own_events = [b for b in case.branches if b.source.file == _OWN_EVENTS and b.seen_at in STAGES[:-2]
                           and self.for_rebuild(b.ways)]  # fmt: skip

    def sheet(self, answer: Answer | None) -> BenchSheet:
        unit = self.case.unit
        tasks = self.known.tasks if self.known else ()
        used = (u for t in tasks for u in t.consumables if "none" not in u)
        return BenchSheet(
            title=f"{unit.name}: {unit.symptom}" if unit.symptom else unit.name,
            taken_as=self.taken_as(),
            cautions=self.cautions(),
            who_may=_WHO[self.match.own_rebuild],
            tools=_once(u for t in tasks if t.by == "owner" for u in t.tools) if self.known else _GENERAL_TOOLS,
            consumables=_once(used),
            # a row without work: a hire, a berth, a call-out
            arrange=tuple(t.task for t in self.case.tasks
                          if t.source.file == _OWN_TASKS and t.hours.high == 0 and self.for_rebuild(t.ways)),
            steps=self.steps(),
            never_again=self.never_again(),
            for_supplier=self.for_supplier(),
            stop=self.stop(answer),
            call=self.call(),
            figures=f"figures: {unit.figures}" if unit.figures else "",
        )  # fmt: skip

    def for_rebuild(self, ways: Sequence[str]) -> bool:
        """Whether a ways cell speaks of the own rebuild, a blank one does."""
        way = next((w for w in self.case.ways if w.traits.rebuilds == "here"), None)
        names = {way.way, way.kind} if way is not None else {"rebuild"}
        names |= {group for group, members in WAY_GROUPS.items() if "rebuild" in members}
        return not ways or not names.isdisjoint(ways)

    def taken_as(self) -> str:
        if self.known is None:
            ask = self.match.certainty == "ask"
            doubt = f"{self.match.said}; until that is settled" if ask else "kind of unit not known here"
            return f"{doubt}: the general sheet"
        said = f"{self.known.kind}, {self.symptom}" if self.symptom else self.known.kind
        return f"taken as: {said}" if self.match.certainty == "taken as" or self.symptom else said

    def cautions(self) -> tuple[str, ...]:
        """The kind's and the case's; what cuts the unit off from sea, current, fuel and load comes first."""
        said = list(self.match.cautions)
        for line in self.case.unit.cautions:
            words = meaning(line)
            # the case may say the same in other words
            if all(len(words & meaning(known)) < _SAME * len(words) for known in said):
                said.append(line)
        return tuple(sorted(_once(said), key=lambda line: not _ISOLATES.search(line)))

    # ---- steps -----------------------------------------------------------------------------------
    def work(self) -> list[SheetStep]:
        """The steps in order: the case's own, else the kind's, else the general ones."""
        own = [t for t in self.case.tasks if t.source.file == _OWN_TASKS and t.hours.high > 0]
        if self.known is not None and not own:
            return [SheetStep(stage=t.stage, work=t.name, by=t.by, needed=t.needed) for t in self.known.tasks]
        needed = {t.name: t.needed for t in self.known.tasks} if self.known else {}
        tasks = sorted((t for t in (own or self.case.tasks)
                        if t.hours.high > 0 and t.stage != "later" and self.for_rebuild(t.ways)),
                       key=lambda t: STAGES.index(t.stage))  # fmt: skip
        made = [SheetStep(t.stage, t.task, by=t.by, needed=needed.get(t.task, "always")) for t in tasks]
        if len(made) > _MOST_STEPS:
            left = f"{len(made) - _MOST_STEPS} more: see {_OWN_TASKS}"
            made = [*made[:_MOST_STEPS], SheetStep(made[_MOST_STEPS - 1].stage, left)]
        return made or [SheetStep(stage, stage) for stage in STAGES[:-1]]

    def steps(self) -> tuple[SheetStep, ...]:
        """The work with what to look at, to tick and to measure put beside the step where it is met."""
        steps = self.work()

        def at(stage: str, text: str) -> int:
            """Of the stage's steps the one whose words fit best, always-done ones first."""
            place, said = STAGES.index(stage), meaning(text)
            nearest = min((STAGES.index(s.stage) for s in steps), key=lambda k: (abs(k - place), k))
            here = [k for k, s in enumerate(steps) if STAGES.index(s.stage) == nearest]
            return max(here, key=lambda k: (len(said & meaning(work[k])), steps[k].needed == "always", -k))

        work = [s.work for s in steps]
        for stage, measure in self.limits():
            k = at(stage, measure.name)
            steps[k] = replace(steps[k], measures=(*steps[k].measures, measure))
        for stage, text in (*self.looks(), *self.causes()):
            k = at(stage, text)
            steps[k] = replace(steps[k], look_at=(*steps[k].look_at, text))
        for stage, event, outcomes in self.events():
            k = at(stage, event)
            steps[k] = replace(steps[k], tick=(*steps[k].tick, (event, outcomes)))
        return tuple(steps)

    def limits(self) -> Iterator[tuple[str, Measure]]:
        if self.known is None:
            yield from (("measure", Measure(*row)) for row in _GENERAL_LIMITS)
            return
        stages = {row["measure"]: row["stage"] for _, row in of_kind("limit_stages", self.known.kind)}
        for _, row in of_kind("limits", self.known.kind):
            then = row["what_then"].removeprefix("-")
            yield stages[row["measure"]], Measure(row["measure"], row["limit"], then)

    def asked(self) -> list[str]:
        """The symptom, or all of the kind where it is not known."""
        return [self.symptom] if self.symptom else list(self.known.symptoms) if self.known else []

    def looks(self) -> list[tuple[str, str]]:
        """Looks before anything comes apart, the case's own or the mechanic's for this symptom."""
        names = [x.look for x in self.case.looks if x.source.file == _OWN_LOOKS and x.event]
        if not names and self.known is not None:
            each = _MOST_LOOKS if len(self.asked()) == 1 else 1
            names = [x.name for s in self.asked() for x in self.known.looks_of(s)[:each]]
        return [("outside", name) for name in names if not _BY_TELEPHONE.search(name)][:_MOST_LOOKS]

    def causes(self) -> list[tuple[str, str]]:
        """What may be found, likeliest first, with what cures it; the case's own events say that themselves."""
        if self.known is None or not self.symptom or self.own_events:
            return []
        found: dict[str, list[tuple[str, str]]] = {}
        for f in sorted(self.known.failures_of(self.symptom), key=lambda f: -f.chance.likely):
            cure = next((f" ({r.name})" for r in self.known.remedies_of(f)), "")
            found.setdefault(f.seen_at, []).append((f.seen_at, f"may be: {f.cause}{cure}"))
        return [pair for pairs in found.values() for pair in pairs[:_MOST_CAUSES]]

    def events(self) -> list[tuple[str, str, tuple[str, ...]]]:
        """Findings of the case's own tree, to be ticked."""
        outcomes: dict[tuple[str, str], dict[str, None]] = {}
        for b in self.own_events:
            outcomes.setdefault((b.seen_at, b.event), {})[b.outcome] = None
        ticks = [(stage, event, tuple(seen)) for (stage, event), seen in outcomes.items()]
        left = len(ticks) - _MOST_EVENTS
        more = [(ticks[-1][0], f"{left} more events", (f"see {_OWN_EVENTS}",))] if left > 0 else []
        return [*ticks[:_MOST_EVENTS], *more]

    # ---- parts, stop rule, calls -------------------------------------------------------------------
    def never_again(self) -> tuple[str, ...]:
        """What is always renewed, by the case with its sizes, by the kind with where to read them."""
        mine = [p for p in self.case.parts if p.needed == "always" and p.source.file == "parts.csv"]
        many = (f"{p.quantity} x " if p.quantity > 1 else "" for p in mine)
        sizes = (f", {p.standard_size}" if p.standard_size else "" for p in mine)
        said = [f"{n}{p.part}{size}" for n, p, size in zip(many, mine, sizes, strict=True)][:_MOST_PARTS]
        if len(mine) > _MOST_PARTS:
            said.append(f"{len(mine) - _MOST_PARTS} more: see parts.csv")
        for r in self.known.always_renew if self.known else ():
            said.append(f"{r.part} ({r.why}{f'; {r.usual_sizes}' if r.usual_sizes else ''})")
        return _once(said) or ("every seal, gasket, split pin, lock washer and lock nut that comes off",)

    def for_supplier(self) -> tuple[str, ...]:
        """Photographs, then numbers: what a counter asks."""
        renewed = self.known.always_renew if self.known else ()
        words = [*(r.generic for r in renewed), *(f"{p.part} {p.description}" for p in self.case.parts)]
        text = " ".join(words).casefold()
        all_of_them = self.known is None and not any(name.casefold() in text for name in _MEASURED)
        sizes = [f"{name}: {what}" for name, what in _MEASURED.items() if all_of_them or name.casefold() in text]
        group = _BY_GROUP.get(self.known.group) if self.known else None
        return _once((*_SUPPLIER, *((group,) if group else ()), *sizes))

    def stop(self, answer: Answer | None) -> tuple[str, ...]:
        """The rule in words: from the answer, else what ends a rebuild of this kind."""
        leave_it = "Stop before it is opened: that is for the specialist or the licensed hand."
        bar = (leave_it,) if self.match.own_rebuild == _LICENSED else ()
        if answer is not None and (lines := tuple(_stop_rule(answer))):
            return (*bar, *lines)
        ends = [f"{b.event}: {b.outcome}" for b in self.own_events if b.ends_rebuild]
        if self.known is not None and not ends:
            ends = [f.cause for f in self.known.failures if f.mend == "end" and f.this_unit]
        lines = tuple(f"Stop and ask what a new one costs if: {end}." for end in _once(ends)[:_MOST_STOPS])
        return (*bar, *lines, "Stop when parts, work outside and hours still to come cost more than buying from here.")

    def call(self) -> tuple[str, ...]:
        """Who does what an owner does not, whom to ask for prices, and whom in need."""
        others: dict[str, list[str]] = {}
        tasks = [(t.by, t.name) for t in self.known.tasks] if self.known else []
        tasks += [(t.by, t.task) for t in self.case.tasks if t.source.file == _OWN_TASKS]
        for by, work in tasks:
            if by != "owner":
                others.setdefault(by, []).append(work)
        lines = [f"{by}, for: {'; '.join(_once(work)[:4])}" for by, work in others.items()]
        lines += [f"supplier: {s.supplier}" for s in self.case.suppliers[:3]]
        if self.known is not None:
            looks = [x.name for s in self.asked() for x in self.known.looks_of(s)]
            lines += [name for name in looks if _BY_TELEPHONE.search(name)][:2]
        return (*(lines or ["a mechanic who knows this unit", "a supplier of its parts"]), _HELP)


def _once(items: Iterable[str]) -> tuple[str, ...]:
    """The items in their order, none twice, whatever its commas."""
    first: dict[str, str] = {}
    for item in items:
        first.setdefault(re.sub(r"[^a-z0-9]+", " ", item.casefold()).strip(), item)
    return tuple(first.values())


def _stop_rule(answer: Answer) -> Iterator[str]:
    shown = [s for s in answer.stop_when if s.findings]
    for point, action in dict.fromkeys((s.point, s.action) for s in shown):
        stops = [s for s in shown if (s.point, s.action) == (point, action)]
        when = "; or ".join(" with ".join(f"{e}: {o}" for e, o in s.findings) for s in stops[:_MOST_STOPS])
        rarer = "; or in rarer cases (see the answer)" if len(stops) > _MOST_STOPS else ""
        do = action if action == LEAVE else f"stop and take {action}"
        often = times_words(sum(s.chance for s in stops))
        yield f"After {STAGES[point]}, {do} if {when}{rarer} ({often}); else go on."
    for s in answer.stop_when:
        if not s.findings and s.action != LEAVE:
            yield f"After {STAGES[s.point]}, stop and take {s.action}."


# ---- as text -------------------------------------------------------------------------------------
def as_text(sheet: BenchSheet, width: int = 100) -> str:
    """The sheet for a terminal or a text printer so many letters wide, cautions first."""
    head = [f"Bench sheet: {sheet.title}", sheet.taken_as, sheet.figures]
    first = ("Before anything is opened", (*sheet.cautions, sheet.who_may))
    sections = [first, *((title, (items,)) for title, items in sheet.at_hand)]
    parts = ["\n".join(textwrap.fill(line, width) for line in head if line)]
    parts += [_listed(title, lines, width) for title, lines in sections]
    parts.append("Step by step\n" + "\n".join(_step_text(step, width) for step in sheet.steps))
    parts += [_listed(title, lines, width) for title, lines in sheet.after if lines]
    return "\n\n".join(parts) + "\n"


def _listed(title: str, lines: Sequence[str], width: int) -> str:
    folded = (textwrap.fill(line, width, initial_indent="- ", subsequent_indent="  ") for line in lines)
    return "\n".join([title, *folded])


def _step_text(step: SheetStep, width: int) -> str:
    inside = [text if text.startswith("may be: ") else f"look: {text}" for text in step.look_at]
    inside += [f"{event}: {' '.join(f'{_BOX} {o}' for o in outcomes)}" for event, outcomes in step.tick]
    inside += [f"{m.name}: {_BLANK} {m.said}" for m in step.measures]
    lines = [(f"{step.stage}: {step.heading}", f"{_BOX} ", "    "), *((text, "    ", "      ") for text in inside)]
    return "\n".join(textwrap.fill(text, width, initial_indent=a, subsequent_indent=b) for text, a, b in lines)


# ---- as a page -----------------------------------------------------------------------------------
def as_html(sheet: BenchSheet) -> str:
    """The sheet as one page of A4 that needs nothing but itself."""
    letters = len(as_text(sheet, 100_000))
    size = next((points for most, points in _SIZES if letters <= most), _SMALLEST)
    quiet = ". ".join(capital(part) for part in (sheet.taken_as, sheet.figures) if part)
    return filled("bench_sheet.html", sheet=sheet, title=capital(sheet.title), quiet=quiet, size=size, blank=_BLANK)
