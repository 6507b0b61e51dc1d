"""One page to take to the bench: made from the case and from what is known of its kind of unit."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from repairecon.kinds import KindFacts, KindMatch, SymptomMatch, facts, match_kind, match_symptom, settle
from repairecon.kinds.tables import of_kind
from repairecon.kinds.words import meaning
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.stages import LEAVE
from repairecon.records import STAGES, WAY_GROUPS, Branch, Case, Part, Task, Way
from repairecon.show.words import times_words

_OWN_TASKS, _OWN_EVENTS, _OWN_LOOKS = "tasks.csv", "events.csv", "looks.csv"
_MOST_STEPS, _MOST_LOOKS, _MOST_CAUSES, _MOST_STOPS, _MOST_PARTS, _MOST_EVENTS = 18, 5, 3, 4, 12, 16
_SAME = 0.7
_ISOLATES = re.compile(
    r"\b(close|shut|off|breaker|battery|stopped|plug|locked|lock|lash|lashed|ashore|gauge at nothing)\b", re.I
)
_BY_TELEPHONE = re.compile(r"\b(telephone|call|ask)\b")
_WHO = {
    "yes": "An owner may open it.",
    "with care": "An owner may open it with care: the proof at the first run is part of the job.",
    "licensed practice only": "Not for an owner: licensed practice or a specialist opens it. Outside checks only.",
}
_LICENSED = {
    "licensed practice only": ("Stop before it is opened: that is for the specialist or the licensed hand.",),
}
_SUPPLIER = (
    "name plate whole and readable: type, number, year",
    "all round it before it comes off, leads and hoses marked",
    "mounting face and shaft end with a rule beside them",
    "parts laid out in the order they came off",
    "each seal in its place: which way its lip looks",
    "the damage, close, with a rule beside it",
)
_BY_GROUP = {
    "electric machine": "volts, amps or watts, turning direction, teeth or pulley, terminals",
    "pump": "inlet side, drive (slot, tongue, key, pulley), hose sizes",
    "gears": "ratio, hand of turning, oil, end fittings",
    "shaft and seal": "shaft diameter, length, taper, thread, tube bore",
    "cooling and exhaust": "end cap faces, hose sizes, bolt circle",
}
_SIZES = {
    "lip seal": "shaft x bore x width, lips, spring, rubber",
    "O-ring": "inside diameter x section, rubber",
    "bearing": "the number with every sign behind it; else bore x outside x width",
    "belt": "the number; else top width and length",
    "gasket": "the old one kept flat",
    "hose": "bore, length, bends",
}
_GENERAL_TOOLS = (
    *("camera, marker, labels, boxes", "spanners, circlip pliers, puller", "caliper, feelers, straight edge, rule"),
    *("multimeter", "torch, mirror"),
)
_GENERAL_LIMITS = (
    ("groove in a shaft at its seal", "a finger nail catches in it", "sleeve or new shaft"),
    ("play or roughness of a bearing", "none to be felt", "new bearing"),
    ("crack, or a face eaten under its seal", "none", "ask what a new one costs"),
    ("insulation of a winding against its housing", "1 megohm, 500 V test", "dry, rewind"),
)
"""For a unit of no known kind; the limits are those of raw water pump and generator set in limits.csv."""
_HELP = "Sinking, fire or somebody hurt: distress call on VHF channel 16; ashore the emergency number."


@dataclass(frozen=True)
class Measure:
    """Something to measure: its limit as it is known, beside which the value is written, and what to do then."""

    name: str
    limit: str
    what_then: str = ""


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
    match = settle(match_kind(_named(case)), case.unit.symptom)
    known = facts(match.kind) if match.certainty in ("exact", "taken as") else None
    symptom = match_symptom(known.kind, case.unit.symptom) if known else None
    work = _work(case, known)
    steps = _steps(case, known, symptom, work)
    return BenchSheet(
        title=f"{case.unit.name}: {case.unit.symptom}" if case.unit.symptom else case.unit.name,
        taken_as=_taken_as(match, known, symptom),
        cautions=_cautions(match, case),
        who_may=_WHO[match.own_rebuild],
        tools=_once(tool for t in known.tasks if t.by == "owner" for tool in t.tools) if known else _GENERAL_TOOLS,
        consumables=_once(used for t in known.tasks for used in t.consumables if "none" not in used) if known else (),
        arrange=tuple(t.task for t in case.tasks if _charge(case, t)),
        steps=steps,
        never_again=_never_again(case, known),
        for_supplier=_for_supplier(case, known),
        stop=(*_LICENSED.get(match.own_rebuild, ()), *_stop(case, known, answer)),
        call=_call(case, known, symptom),
        figures=case.unit.figures,
    )


def _named(case: Case) -> str:
    """What the owner calls the unit: its kind, unless that was only read from its name."""
    guessed = any(a.name == "kind of unit" for a in case.assumed)
    return case.unit.name if guessed or not case.unit.kind else case.unit.kind


def _once(items: Iterable[str]) -> tuple[str, ...]:
    """The items in their order, none twice, whatever its commas."""
    first: dict[str, str] = {}
    for item in items:
        first.setdefault(re.sub(r"[^a-z0-9]+", " ", item.casefold()).strip(), item)
    return tuple(first.values())


def _cautions(match: KindMatch, case: Case) -> tuple[str, ...]:
    """The kind's and the case's; what cuts the unit off from sea, current, fuel and load comes first."""
    told = list(match.cautions)
    for line in case.unit.cautions:
        words = meaning(line)
        # the case may say the same in other words
        if all(len(words & meaning(known)) < _SAME * len(words) for known in told):
            told.append(line)
    return tuple(sorted(_once(told), key=lambda line: not _ISOLATES.search(line)))


def _taken_as(match: KindMatch, known: KindFacts | None, symptom: SymptomMatch | None) -> str:
    if known is None:
        doubt = f"{match.said}; until that is settled" if match.certainty == "ask" else "kind of unit not known here"
        return f"{doubt}: the general sheet"
    told = f", {symptom.symptom}" if symptom is not None and symptom.symptom else ""
    return f"taken as: {known.kind}{told}" if match.certainty == "taken as" or told else known.kind


# ---- steps ---------------------------------------------------------------------------------------
def _rebuild(case: Case) -> Way | None:
    return next((w for w in case.ways if w.traits.rebuilds == "here"), None)


def _for_rebuild(case: Case, ways: Sequence[str]) -> bool:
    """Whether a ways cell speaks of the own rebuild, a blank one does."""
    way = _rebuild(case)
    names = {way.way, way.kind} if way is not None else {"rebuild"}
    names |= {group for group, members in WAY_GROUPS.items() if "rebuild" in members}
    return not ways or not names.isdisjoint(ways)


def _charge(case: Case, task: Task) -> bool:
    """A row without work: a hire, a berth, a call-out, to be arranged beforehand."""
    return task.source.file == _OWN_TASKS and task.hours.high == 0 and _for_rebuild(case, task.ways)


def _work(case: Case, known: KindFacts | None) -> list[SheetStep]:
    """The steps in order: the case's own, else the kind's, else the general ones."""
    own = [t for t in case.tasks if t.source.file == _OWN_TASKS and t.hours.high > 0]
    needed = {t.name: t.needed for t in known.tasks} if known else {}
    if known is not None and not own:
        return [SheetStep(stage=t.stage, work=t.name, by=t.by, needed=t.needed) for t in known.tasks]
    tasks = [t for t in (own or case.tasks) if t.hours.high > 0 and t.stage != "later" and _for_rebuild(case, t.ways)]
    tasks = sorted(tasks, key=lambda t: STAGES.index(t.stage))
    made = [SheetStep(stage=t.stage, work=t.task, by=t.by, needed=needed.get(t.task, "always")) for t in tasks]
    if len(made) > _MOST_STEPS:
        left = len(made) - _MOST_STEPS
        made = [*made[:_MOST_STEPS], SheetStep(stage=made[-1].stage, work=f"{left} more: see {_OWN_TASKS}")]
    return made or [SheetStep(stage=s, work=s) for s in STAGES[:-1]]


def _steps(
    case: Case, known: KindFacts | None, symptom: SymptomMatch | None, work: list[SheetStep]
) -> tuple[SheetStep, ...]:
    """The work with what to look at, to tick and to measure put beside the step where it is met."""
    measures: dict[int, list[Measure]] = {}
    for stage, measure in _limits(known):
        measures.setdefault(_place(work, stage, measure.name), []).append(measure)
    look_at: dict[int, list[str]] = {}
    for stage, text in (*_looks(case, known, symptom), *_causes(case, known, symptom)):
        look_at.setdefault(_place(work, stage, text), []).append(text)
    tick: dict[int, list[tuple[str, tuple[str, ...]]]] = {}
    for stage, event, outcomes in _events(case):
        tick.setdefault(_place(work, stage, event), []).append((event, outcomes))
    return tuple(
        SheetStep(
            stage=step.stage,
            work=step.work,
            by=step.by,
            needed=step.needed,
            look_at=tuple(look_at.get(k, ())),
            tick=tuple(tick.get(k, ())),
            measures=tuple(measures.get(k, ())),
        )
        for k, step in enumerate(work)
    )


def _place(work: Sequence[SheetStep], stage: str, text: str) -> int:
    """The step at which something is met: of its stage the one whose words fit best, always-done ones first."""
    at = STAGES.index(stage)
    nearest = min(work, key=lambda s: (abs(STAGES.index(s.stage) - at), STAGES.index(s.stage))).stage
    here = [k for k, s in enumerate(work) if s.stage == nearest]
    said = meaning(text)
    return max(here, key=lambda k: (len(said & meaning(work[k].work)), work[k].needed == "always", -k))


def _limits(known: KindFacts | None) -> list[tuple[str, Measure]]:
    if known is None:
        return [("measure", Measure(*row)) for row in _GENERAL_LIMITS]
    stages = {row["measure"]: row["stage"] for _, row in of_kind("limit_stages", known.kind)}
    return [
        (
            stages[row["measure"]],
            Measure(row["measure"], row["limit"], "" if row["what_then"] == "-" else row["what_then"]),
        )
        for _, row in of_kind("limits", known.kind)
    ]


def _looks(case: Case, known: KindFacts | None, symptom: SymptomMatch | None) -> list[tuple[str, str]]:
    """Looks before anything comes apart, the case's own or the mechanic's for this symptom."""
    own = [x.look for x in case.looks if x.source.file == _OWN_LOOKS and x.event]
    if not own and known is not None:
        asked = [symptom.symptom] if symptom is not None and symptom.symptom else list(known.symptoms)
        each = _MOST_LOOKS if len(asked) == 1 else 1
        own = [x.name for s in asked for x in known.looks_of(s)[:each]]
    own = [name for name in own if not _BY_TELEPHONE.search(name)]
    return [("outside", name) for name in own[:_MOST_LOOKS]]


def _causes(case: Case, known: KindFacts | None, symptom: SymptomMatch | None) -> list[tuple[str, str]]:
    """What may be found, likeliest first, with what cures it; the case's own events say that themselves."""
    if known is None or symptom is None or not symptom.symptom or _own_events(case):
        return []
    found: dict[str, list[tuple[str, str]]] = {}
    for f in sorted(known.failures_of(symptom.symptom), key=lambda f: -f.chance.likely):
        remedies = [r.name for r in known.remedies_of(f)]
        cure = f" ({remedies[0]})" if remedies else ""
        here = found.setdefault(f.seen_at, [])
        if len(here) < _MOST_CAUSES:
            here.append((f.seen_at, f"may be: {f.cause}{cure}"))
    return [pair for pairs in found.values() for pair in pairs]


def _own_events(case: Case) -> list[Branch]:
    inside = [b for b in case.branches if b.source.file == _OWN_EVENTS and b.seen_at in STAGES[:-2]]
    return [b for b in inside if _for_rebuild(case, b.ways)]


def _events(case: Case) -> list[tuple[str, str, tuple[str, ...]]]:
    """Findings of the case's own tree, to be ticked."""
    outcomes: dict[tuple[str, str], dict[str, None]] = {}
    for b in _own_events(case):
        outcomes.setdefault((b.seen_at, b.event), {})[b.outcome] = None
    told = [(stage, event, tuple(seen)) for (stage, event), seen in outcomes.items()]
    left = len(told) - _MOST_EVENTS
    return told if left <= 0 else [*told[:_MOST_EVENTS], (told[-1][0], f"{left} more events", (f"see {_OWN_EVENTS}",))]


# ---- parts, stop rule, calls ------------------------------------------------------------------------
def _never_again(case: Case, known: KindFacts | None) -> tuple[str, ...]:
    """What is always renewed, by the case with its sizes, by the kind with where to read them."""
    mine = [p for p in case.parts if p.needed == "always" and p.source.file == "parts.csv"]
    told = [_with_size(p) for p in mine[:_MOST_PARTS]]
    if len(mine) > _MOST_PARTS:
        told.append(f"{len(mine) - _MOST_PARTS} more: see parts.csv")
    for r in known.always_renew if known else ():
        size = f"; {r.usual_sizes}" if r.usual_sizes else ""
        told.append(f"{r.part} ({r.why}{size})")
    return _once(told) or ("every seal, gasket, split pin, lock washer and lock nut that comes off",)


def _with_size(p: Part) -> str:
    many = f"{p.quantity} x " if p.quantity > 1 else ""
    return f"{many}{p.part}, {p.standard_size}" if p.standard_size else f"{many}{p.part}"


def _for_supplier(case: Case, known: KindFacts | None) -> tuple[str, ...]:
    """Photographs, then numbers: what a counter asks."""
    group = _BY_GROUP.get(known.group) if known else None
    generic = dict.fromkeys(r.generic for r in known.always_renew) if known else {}
    words = " ".join((*generic, *(f"{p.part} {p.description}" for p in case.parts))).casefold()
    sizes = [f"{name}: {what}" for name, what in _SIZES.items() if name.casefold() in words]
    if known is None and not sizes:
        sizes = [f"{name}: {what}" for name, what in _SIZES.items()]
    return _once((*_SUPPLIER, *((group,) if group else ()), *sizes))


def _stop(case: Case, known: KindFacts | None, answer: Answer | None) -> tuple[str, ...]:
    """The rule in words: from the answer, else what ends a rebuild of this kind."""
    if answer is not None:
        told = _stop_rule(answer)
        if told:
            return told
    ends = [f"{b.event}: {b.outcome}" for b in _own_events(case) if b.ends_rebuild]
    if known is not None and not ends:
        ends = [f.cause for f in known.failures if f.mend == "end" and f.this_unit]
    lines = [f"Stop and ask what a new one costs if: {end}." for end in _once(ends)[:_MOST_STOPS]]
    lines.append("Stop when parts, work outside and hours still to come cost more than buying from here.")
    return tuple(lines)


def _stop_rule(answer: Answer) -> tuple[str, ...]:
    lines = []
    for point, action in dict.fromkeys((s.point, s.action) for s in answer.stop_when if s.findings):
        stops = [s for s in answer.stop_when if (s.point, s.action) == (point, action) and s.findings]
        when = "; or ".join(" with ".join(f"{e}: {o}" for e, o in s.findings) for s in stops[:_MOST_STOPS])
        rarer = "; or in rarer cases (see the answer)" if len(stops) > _MOST_STOPS else ""
        do = action if action == LEAVE else f"stop and take {action}"
        often = times_words(sum(s.chance for s in stops))
        lines.append(f"After {STAGES[point]}, {do} if {when}{rarer} ({often}); else go on.")
    always = [s for s in answer.stop_when if not s.findings]
    lines += [f"After {STAGES[s.point]}, stop and take {s.action}." for s in always if s.action != LEAVE]
    return tuple(lines)


def _call(case: Case, known: KindFacts | None, symptom: SymptomMatch | None) -> tuple[str, ...]:
    """Who does what an owner does not, whom to ask for prices, and whom in need."""
    others: dict[str, list[str]] = {}
    tasks = [(t.by, t.name) for t in known.tasks] if known else []
    tasks += [(t.by, t.task) for t in case.tasks if t.source.file == _OWN_TASKS]
    for by, work in tasks:
        if by != "owner":
            others.setdefault(by, []).append(work)
    lines = [f"{by}, for: {'; '.join(_once(work)[:4])}" for by, work in others.items()]
    lines += [f"supplier: {s.supplier}" for s in case.suppliers[:3]]
    if known is not None:
        asked = [symptom.symptom] if symptom is not None and symptom.symptom else list(known.symptoms)
        lines += [x.name for s in asked for x in known.looks_of(s) if _BY_TELEPHONE.search(x.name)][:2]
    return (*(lines or ["a mechanic who knows this unit", "a supplier of its parts"]), _HELP)
