"""The same part without the badge: is an offered part the same as the wanted one, near it, or not?"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

from repairecon.records import Designation, Equivalence
from repairecon.standards import bearings, belts, electrical, fasteners, rubber, seals
from repairecon.standards.findings import Found, Judging, compare_features, denied, finish
from repairecon.standards.tables import said_of
from repairecon.standards.words import ANY, Text, kinds_said, plain


class Family(NamedTuple):
    """How names of a kind are read and compared; ``alone``: also where a name does not say the kind."""

    read: Callable[[Text], Found | None]
    compare: Callable[[Judging], None]
    alone: bool = True


MAKERS = "maker's number"


def _read_makers(text: Text) -> Found | None:
    """A part that no public standard sizes: its maker's number."""
    number = text.take(r"(?<![\w])[A-Z]{0,4}[- ]?\d[\w./-]{2,}(?!\w)")
    if number is None or re.search(r"\dX\d", number[0]):
        return None
    return Found(MAKERS, re.sub(r"[\s./-]", "", number[0]), listed=False)


def _compare_makers(judging: Judging) -> None:
    unsized = "no public standard sizes such a part"
    if judging.wanted.size == judging.offered.size:
        judging.note(f"{unsized}: the two bear the same maker's number")
        judging.caution("Compared by the maker's number alone: lay the old part beside the new one.")
    else:
        differ = f"{unsized}, and the maker's numbers differ: ask the seller which number it replaces, and measure"
        judging.unknown(differ, "number")


FAMILIES = {
    fasteners.THREADED: Family(fasteners.read_thread, fasteners.compare_threads),
    fasteners.CIRCLIP: Family(fasteners.read_ring, fasteners.compare_keyed, alone=False),
    fasteners.KEY: Family(fasteners.read_key, fasteners.compare_keyed, alone=False),
    fasteners.WOODRUFF: Family(fasteners.read_woodruff, fasteners.compare_keyed, alone=False),
    fasteners.PIN: Family(fasteners.read_pin, fasteners.compare_keyed, alone=False),
    rubber.HOSE: Family(rubber.read_hose, rubber.compare_hoses, alone=False),
    seals.PUMP_SEAL: Family(seals.read_pump_seal, seals.compare_pump_seals),
    electrical.FUSE: Family(electrical.read_fuse, electrical.compare_electrical, alone=False),
    electrical.RELAY: Family(electrical.read_relay, electrical.compare_electrical, alone=False),
    electrical.LAMP: Family(electrical.read_lamp, electrical.compare_electrical),
    electrical.BRUSH: Family(electrical.read_sized, electrical.compare_electrical, alone=False),
    electrical.BATTERY: Family(electrical.read_battery, electrical.compare_electrical),
    belts.RIBBED: Family(belts.read_ribbed, belts.compare_profiles),
    belts.TOOTHED: Family(belts.read_toothed, belts.compare_profiles),
    belts.V_BELT: Family(belts.read_v_belt, belts.compare_v_belts),
    bearings.KIND: Family(bearings.read, bearings.compare),
    seals.LIP_SEAL: Family(seals.read_lip_seal, seals.compare_lip_seals),
    seals.O_RING: Family(seals.read_ring, seals.compare_rings),
    MAKERS: Family(_read_makers, _compare_makers, alone=False),
    rubber.RUBBER: Family(rubber.read_rubber, rubber.no_size),
}
"""The families by kind; a name that says no kind is tried in this order."""
_RUBBER = (seals.O_RING, seals.LIP_SEAL, rubber.RUBBER, rubber.HOSE, seals.PUMP_SEAL)
_NEGATION = re.compile(
    r"\b(?:NOT(?: AN?| THE)?(?: SAME AS)?|INSTEAD OF|IN PLACE OF|IN LIEU OF|RATHER THAN|"
    r"UNLIKE|EXCEPT|OTHER THAN|DIFFERENT (?:FROM|TO)|NICHT|STATT|ANSTATT|PAS|WAS|FORMERLY|NO LONGER)\b(?!\.)"
)
_CLAUSE_END = re.compile(r"[,;:()]|\bBUT\b|\bSONDERN\b|$")


def identify(text: str, kind: str = "") -> Designation | None:
    """What a written name of a standard part says, or None where it names none.

    ``kind`` (a ``Designation.kind``) helps where a writing may mean several: ``25x40x7``, ``117``, ``Z``.
    """
    words = plain(text)
    found = _read(words, kind) if words else None
    return None if found is None else replace(found, text=text)


@lru_cache(maxsize=4096)
def _read(words: str, kind: str) -> Designation | None:
    """The designation; of what a name denies only where it says nothing else."""
    denial = _NEGATION.search(words)
    if denial is None:
        return _positive(words, kind)
    end = _CLAUSE_END.search(words, denial.end())
    stop = end.start() if end else len(words)
    said = f"{words[: denial.start()]} ; {words[stop:]}"
    found = _positive(said, kind) if re.search(r"\d", said) else None
    if found is not None and (found.size or found.dims):
        return replace(found, doubts=(*found.doubts, denied(words[denial.start() : stop].strip())))
    part = _positive(f"{words[denial.end() : stop]} ; {said}", kind)
    return part and replace(part, doubts=(*part.doubts, denied(denial[0])), marks={**part.marks, "denied": "yes"})


def _positive(words: str, kind: str) -> Designation | None:
    """What words without a denial say: of the kinds that they name, else of a rubber, else of any kind."""
    named = kinds_said(words)
    said = [k for k in named if k in FAMILIES]
    if kind in FAMILIES and kind not in said and (not said or kind != rubber.RUBBER):
        said.insert(0, kind)
    if belts.V_BELT in said:
        said = [belts.RIBBED, belts.TOOTHED, *said]
    found = next(filter(None, (_of_kind(words, name, True) for name in said)), None)
    if found or set(said) - {MAKERS}:
        return found or _of_kind(words, rubber.RUBBER, False)
    if "ring" in named or "seal" in named:
        return _loose(words, "ring" in named)
    return next(filter(None, (_of_kind(words, name, False) for name in FAMILIES)), None)


def _loose(words: str, ring: bool) -> Designation | None:
    """A name that says no more than ring or seal: an O-ring or a lip seal, one with a size before one without."""
    order = (seals.O_RING, seals.LIP_SEAL) if ring else (seals.LIP_SEAL, seals.O_RING)
    read = [part for name in order if (part := _of_kind(words, name, True))]
    found = [part for part in read if part.size] or [part for part in read if ring and part.kind == seals.O_RING]
    return found[0] if found else _of_kind(words, rubber.RUBBER, False)


def _of_kind(words: str, kind: str, sure: bool) -> Designation | None:
    family = FAMILIES[kind]
    if not (sure or family.alone):
        return None
    text = Text(words, kind, sure)
    # x2 at the end is a number of pieces of such kinds alone of which no size is written so
    pieces = [*said_of(ANY, "quantity", "writings"), *said_of(kind, "quantity", "writings")]
    while any(text.take(row["pattern"]) for row in pieces):
        pass
    text.take_labelled()
    text.take_phrases()
    found = family.read(text)
    if found is None:
        return None
    # a second designation in one name must name the same size
    belt = kind == belts.V_BELT
    probe = Text(text.left, kind, belt and bool(re.search(r"\b[A-EZ] ?\d", text.left)))
    second = kind != rubber.RUBBER and bool(found.size) and (probe.sure or family.alone)
    again = family.read(probe) if second else None
    if again is not None and again.dims:
        text.left = probe.left
        found.others += again.others
        common = set(found.dims) & set(again.dims)
        slack = belts.INCH_ROUNDING if belt else rubber.SAME_SIZE
        apart = any(abs(found.dims[c] - again.dims[c]) > slack for c in common)
        if apart and "x" in again.size:
            found.against.append(f"says {again.size}, but {found.size} is another size")
        elif apart or not common:
            found.others.append((again.size, "unknown", f"it names {found.size} and {again.size}"))
    return finish(text, found)


def equivalent(
    wanted: str, offered: str, *, fluid: str = "", material_wanted: str = "", material_offered: str = ""
) -> Equivalence:
    """Whether an offered standard part can stand for the wanted one, and why.

    ``fluid`` is what a seal or ring meets (seawater, diesel, oil, coolant, grease ...); the materials, if not in the
    names themselves, are rubbers (NBR, EPDM, FKM, CR ...) or, for bearings and circlips, stainless.
    A size that is absent from the tables makes ``unknown``, which does not mean that it does not exist.
    """
    want, offer = identify(wanted), identify(offered)
    want, offer = _with_help(wanted, want, offer), _with_help(offered, offer, want)
    if want is None or offer is None:
        unread = [text for text, part in ((wanted, want), (offered, offer)) if part is None]
        known = (repr(t if isinstance(t, str) and len(t) <= 60 else f"{str(t)[:60]}...") for t in unread)
        reasons = tuple(f"{text} could not be read as the name of a standard part" for text in known)
        return Equivalence("unknown", reasons, (), want, offer, ("Measure it, or write its size as a standard does.",))
    want, offer = _said_beside(want, fluid, material_wanted), _said_beside(offer, "", material_offered)
    judging = Judging(want, offer)
    if fluid and not rubber.fluids_of(fluid):
        judging.note(f"the table of materials does not know {fluid!r}: nothing is said about it")
        judging.caution(f"Ask how the part stands {fluid!r}: the tables do not know it.")
    if want.kind != offer.kind:
        judging.refuse(f"{offer.size or offered} is a {offer.kind}, {want.size or wanted} a {want.kind}", "kind")
        return judging.done()
    compare_features(judging)
    FAMILIES[want.kind].compare(judging)
    if want.kind in _RUBBER:
        rubber.compare_materials(judging, fluid)
    for part, whose in ((want, "wanted"), (offer, "offered")):
        for verdict, says, differs in part.doubts:  # no word that is not understood leaves ``same``
            judging.find(verdict, f"the {whose} name {says}", differs)
    for part, whose in ((offer, "offer"), (want, "wanted part")):
        if "denied" in part.marks:
            _denied(part, whose, judging)
    return judging.done()


def _denied(part: Designation, whose: str, judging: Judging) -> None:
    """A name that says only what a part is not can never be the same."""
    if judging.verdict in ("same", "near"):
        judging.refuse(f"the {whose} says that it is not {part.size}", "kind")
    else:
        judging.verdict = "unknown"
        judging.unknown(f"the {whose} says only what it is not: ask what it is", "kind")


def _with_help(text: str, part: Designation | None, other: Designation | None) -> Designation | None:
    """A name read again as of the kind of the other one, where alone it says nothing or something else."""
    if other is None or (part is not None and part.kind == other.kind):
        return part
    if any(k in FAMILIES and k != other.kind for k in kinds_said(plain(text))):
        return part
    helped = identify(text, other.kind)
    sure = part is not None and part.listed
    return part if helped is None or (sure and not helped.listed) else helped


def _said_beside(part: Designation, fluid: str, material: str) -> Designation:
    """The part with the material that was said beside its name, and with what it meets where its name says nothing."""
    said = rubber.material_of(material) or plain(material)
    marks = dict(part.marks)
    if said and (part.kind, said) != (bearings.KIND, "steel"):
        marks["material"] = said
    met = {names[0] for names in rubber.fluids_of(fluid)}
    if part.kind == fasteners.THREADED and "seawater" in met:
        marks.setdefault("place", "sea water")
    if part.kind == bearings.KIND and met & {"seawater", "water_cold"}:
        marks.setdefault("place", "wet")
    carried = {"seawater": "raw water", "diesel": "diesel fuel", "fuel": "fuel", "glycol_coolant": "coolant"}
    if part.kind == rubber.HOSE and (services := [carried[name] for name in met if name in carried]):
        marks.setdefault("service", services[0])
    return replace(part, marks=marks)


_VERDICTS = {
    "same": "the same part",
    "near": "near, not the same: take it only if you allow what differs",
    "not": "not the part",
    "unknown": "unknown, not clear from this: ask before you order",
}


def same_part(wanted: str, offered: str, fluid: str = "") -> tuple[str, dict[str, object]]:
    """Whether an offered part is the wanted one: the words for the screen, and plain data."""
    found = equivalent(wanted, offered, fluid=fluid)
    known = bool(rubber.fluids_of(fluid)) if fluid else None
    lines = [f"Wanted {wanted}, offered {offered}: {_VERDICTS[found.verdict]}."]
    lines += [f"  {reason}" for reason in found.reasons]
    lines += [f"  Caution: {words}" for words in found.caution]
    if known is False:
        lines.append(f"  The fluid {fluid!r} is not in the table of materials: nothing is judged about it.")
    if found.status:
        lines.append(f"  Least sure table row used: {found.status}.")
    parts = [
        {"designation": "", "kind": "", "gaps": {}} if part is None else
        {"designation": part.size or part.text, "kind": part.kind, "gaps": dict(gaps), "sizes": dict(part.dims)}
        for part, gaps in ((found.wanted, {}), (found.offered, found.gaps))
    ]  # fmt: skip
    lists = {name: list(getattr(found, name)) for name in ("reasons", "differs", "caution")}
    return "\n".join(lines), {"verdict": found.verdict, **lists, "status": found.status,
                              "sources": list(found.sources), "fluid_known": known, "parts": parts}  # fmt: skip
