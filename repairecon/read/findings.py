"""What is found as the work goes on, kept in case.toml: each finding, stage and measurement is typed once."""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Mapping
from pathlib import Path

from repairecon.read.case_folder import file_of, open_case
from repairecon.read.case_workbook import is_workbook
from repairecon.read.case_workbook_out import file_bytes, keep_files
from repairecon.read.columns import CASE
from repairecon.read.files import decoded, write_all
from repairecon.read.problems import Names, clean, key, shown
from repairecon.read.toml_file import places_in, toml_lines
from repairecon.records import STAGES, Case, RepaireconError

_WORD = re.compile(r"\w+")


def keep_findings(
    folder: str | os.PathLike[str], found: Mapping[str, str], stage: str = "", measured: Mapping[str, str] | None = None
) -> Case:
    """Keep in a case, a folder or a workbook, what was found, and give the case as it is then.

    ``found`` is the outcome by event, as in events.csv (an empty one takes the finding back), ``stage`` the last that
    is done, ``measured`` a value with its unit by measure. RepaireconError, and nothing written, if there are faults.
    """
    place = Path(folder)
    case, reading = open_case(place)
    reading.problems.stop_if_any()
    names, said = Names([*(b.event for b in case.branches), *(b.outcome for b in case.branches)]), dict[str, str]()
    for event, outcome in found.items():
        if event != outcome:
            said[names.find(event) or event] = names.find(outcome) or outcome
            continue
        # without its event it is that of the only outcome that has all its words
        words = set(key(outcome).split())
        alike = (b for b in case.branches if words <= set(_WORD.findall(key(b.outcome))))
        meant = dict.fromkeys((b.event, b.outcome) for b in alike)
        if len(meant) != 1:
            seen = [(b.event, b.outcome) for b in case.branches if b.seen_at in STAGES[:4]]
            known = dict.fromkeys(f"{e}={o}" for e, o in meant or seen)
            raise RepaireconError(f"found: {shown(outcome)}; write one of: {'; '.join(known)}")
        said |= dict([*meant])
    return _write(place, {"found": said, "measured": measured or {}, "done": {"stage": stage} if stage else {}})


def keep_changes(folder: str | os.PathLike[str], sections: Mapping[str, Mapping[str, str | float]]) -> Path:
    """Write keys of case.toml by section if the case is then sound; gives the path of the copy made before."""
    place = Path(folder)
    path = place if is_workbook(place) else file_of(place, CASE) or place / CASE
    copies = (path.with_name(f"{path.stem}_before{n or ''}{path.suffix}") for n in itertools.count())
    copy, before = next(c for c in copies if not os.path.lexists(c)), path.read_bytes()
    _write(place, sections)
    write_all(copy.parent, {copy.name: before})
    return copy


def _write(place: Path, sections: Mapping[str, Mapping[str, str | float]]) -> Case:
    text = clean(decoded(file_bytes(place, CASE)))
    for section, entries in sections.items():
        text = with_keys(text, section, entries)
    made, reading = open_case(place, instead={CASE: text.encode("utf-8")})
    reading.problems.stop_if_any()
    keep_files(place, {CASE: text.encode("utf-8")})
    return made


def with_keys(text: str, section: str, entries: Mapping[str, str | float]) -> str:
    """TOML text with keys of a section written, replaced or (where empty) taken out; all else stays as it is."""
    if not entries:
        return text
    places = places_in(text)
    lines = text.split("\n")
    if section not in places:
        lines = [*text.rstrip("\n").split("\n"), "", f"[{section}]", ""]
    start = places.get(section, len(lines) - 1)
    gone = {f"{section}.{key(name)}" for name in entries}
    old = {line for path, line in places.items() if key(path) in gone}
    made = [*toml_lines("", {name: None if value == "" else value for name, value in entries.items()})][1:-1]
    kept = [line for number, line in enumerate(lines[start:], start + 1) if number not in old]
    return "\n".join([*lines[:start], *made, *kept]).rstrip("\n") + "\n"
