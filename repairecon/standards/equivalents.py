"""The same part without the badge: is an offered part the same as the wanted one, near it, or not?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from repairecon.records import Designation, Equivalence
from repairecon.standards import (
    bearing_names,
    bearings,
    belt_names,
    belts,
    lip_seals,
    material_names,
    materials,
    orings,
    rings_keys,
)
from repairecon.standards.judging import Judging
from repairecon.standards.writing import plain

_KINDS = (bearing_names.KIND, belt_names.KIND, orings.KIND, lip_seals.KIND, rings_keys.CIRCLIP, rings_keys.KEY,
          rings_keys.WOODRUFF)  # fmt: skip
_COMPARE: dict[str, Callable[[Designation, Designation, Judging], None]] = {
    bearing_names.KIND: bearings.compare,
    belt_names.KIND: belts.compare,
    orings.KIND: orings.compare,
    lip_seals.KIND: lip_seals.compare,
    rings_keys.CIRCLIP: rings_keys.compare,
    rings_keys.KEY: rings_keys.compare,
    rings_keys.WOODRUFF: rings_keys.compare,
    material_names.KIND: materials.no_size,
}
_RUBBER = (orings.KIND, lip_seals.KIND, material_names.KIND)


def identify(text: str, kind: str = "") -> Designation | None:
    """What a written name of a standard part says, or None where it names none.

    ``kind`` (a ``Designation.kind``) helps where a writing may mean several: ``25x40x7``, ``117``, ``Z``.
    """
    words = plain(text)
    found = _read(words, kind) if words else None
    return None if found is None else replace(found, text=text)


def _read(words: str, kind: str) -> Designation | None:
    hinted: dict[str, Callable[[], Designation | None]] = {
        bearing_names.KIND: lambda: bearing_names.read(words, True),
        belt_names.KIND: lambda: belt_names.read(words, True),
        orings.KIND: lambda: orings.read(words, True),
        lip_seals.KIND: lambda: lip_seals.read(words, True),
    }
    if kind == material_names.KIND:
        return material_names.read(words)
    if kind in hinted:
        return hinted[kind]()
    if kind in _KINDS:
        return rings_keys.read(words, kind)
    readers = (rings_keys.read, _said, belt_names.read, bearing_names.read, lip_seals.read, orings.read,
               material_names.read)  # fmt: skip
    return next((found for read in readers if (found := read(words)) is not None), None)


def _said(words: str) -> Designation | None:
    """A name that says its kind in words."""
    if orings.says(words):
        return orings.read(words, True)
    if lip_seals.says(words):
        return lip_seals.read(words, True)
    return bearing_names.read(words) if bearing_names.says(words) else None


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
        reasons = tuple(f"{_shown(text)} could not be read as the name of a standard part" for text in unread)
        return Equivalence("unknown", reasons, (), want, offer)
    want, offer = _of(want, material_wanted), _of(offer, material_offered)
    judging = Judging(want, offer)
    if want.kind != offer.kind:
        judging.refuse(f"{offer.size or offered} is a {offer.kind}, {want.size or wanted} a {want.kind}", "kind")
        return judging.done()
    _COMPARE[want.kind](want, offer, judging)
    if want.kind in _RUBBER:
        materials.compare_hardness(want, offer, judging)
        materials.compare(want.marks.get("material", ""), offer.marks.get("material", ""), fluid, judging)
    return judging.done()


def _shown(text: str) -> str:
    return repr(text if isinstance(text, str) and len(text) <= 60 else f"{str(text)[:60]}...")


def _with_help(text: str, part: Designation | None, other: Designation | None) -> Designation | None:
    """A name read again as of the kind of the other one, where alone it says nothing or something else."""
    if other is None or (part is not None and part.kind == other.kind):
        return part
    helped = identify(text, other.kind)
    sure = part is not None and part.listed
    return part if helped is None or (sure and not helped.listed) else helped


def _of(part: Designation, material: str) -> Designation:
    """The part with the material that was told beside its name."""
    told = material_names.material_of(material) or plain(material)
    if not told or (part.kind == bearing_names.KIND and told == "steel"):
        return part
    return replace(part, marks={**part.marks, "material": told})
