"""What is found as the work goes on, kept in case.toml: each finding, stage and measurement is typed once."""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Mapping
from pathlib import Path

from repairecon.read.case_folder import file_of, open_case
from repairecon.read.case_workbook import is_workbook, read_case_workbook
from repairecon.read.case_workbook_out import keep_in_workbook
from repairecon.read.columns import CASE
from repairecon.read.files import read_text, write_all, write_whole
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.toml_file import toml_lines
from repairecon.records import STAGES, Case, RepaireconError

_HEADER = re.compile(r"^\s*\[([^\[\]]+)\]\s*(?:#.*)?$")
_WORD = re.compile(r"\w+")
_ANY_HEADER = re.compile(r"^\s*\[")


def keep_findings(
    folder: str | os.PathLike[str], found: Mapping[str, str], stage: str = "", measured: Mapping[str, str] | None = None
) -> Case:
    """Keep in a case what was found.

    Parameters
    ----------
    folder
        Folder of the case, or its workbook.
    found
        Outcome by event, as in events.csv; an outcome left empty takes the finding back.
    stage
        Last stage of the work that is done.
    measured
        Value with its unit, by measure.

    Returns
    -------
    Case
        The case with what is kept now.

    Raises
    ------
    RepaireconError
        If the case has faults without or with what was found; case.toml is then as it was.
    """
    place = Path(folder)
    case, reading = open_case(place)
    reading.problems.stop_if_any()
    said: dict[str, dict[str, str | float]] = {"found": dict(_spelt(case, found)), "measured": dict(measured or {})}
    return _write(place, {**said, "done": {"stage": stage} if stage else {}})


def keep_changes(folder: str | os.PathLike[str], sections: Mapping[str, Mapping[str, str | float]]) -> Path:
    """Write keys of case.toml, and a copy of what it was beside it.

    Parameters
    ----------
    folder
        Folder of the case.
    sections
        Values by key, by section.

    Returns
    -------
    Path
        The copy, ``case_before.toml`` with a number where there is one already.

    Raises
    ------
    RepaireconError
        If the case would have faults; nothing is written then.
    """
    place = Path(folder)
    copies = (place / f"case_before{n or ''}.toml" for n in itertools.count())
    if is_workbook(place):
        copies = (place.with_name(f"{place.stem}_before{n or ''}.xlsx") for n in itertools.count())
    copy = next(c for c in copies if not os.path.lexists(c))
    before = (place if is_workbook(place) else file_of(place, CASE) or place / CASE).read_bytes()
    _write(place, sections)
    write_all(copy.parent, {copy.name: before})
    return copy


def _write(place: Path, sections: Mapping[str, Mapping[str, str | float]]) -> Case:
    book = read_case_workbook(place, Problems()) if is_workbook(place) else None
    path = file_of(place, CASE) or place / CASE
    text = book.toml.decode("utf-8") if book else read_text(path)
    for section, entries in sections.items():
        text = with_keys(text, section, entries)
    made, reading = open_case(place, instead={CASE: text.encode("utf-8")})
    reading.problems.stop_if_any()
    if book:
        keep_in_workbook(place, {CASE: text.encode("utf-8")})
    else:
        write_whole(path, text)
    return made


def pieces(text: str) -> dict[str, str]:
    """``name=value`` pieces joined by ``;``; a piece without a value stands under its own words."""
    split = (piece.partition("=") for piece in text.split(";") if piece.strip())
    return {name.strip(): value.strip() if is_pair else name.strip() for name, is_pair, value in split}


def _spelt(case: Case, found: Mapping[str, str]) -> dict[str, str]:
    """Findings as the tree spells them; one without its event is that of the only outcome that has all its words."""
    names = Names([b.event for b in case.branches] + [b.outcome for b in case.branches])
    said = {}
    for event, outcome in found.items():
        if event != outcome:
            said[names.find(event) or event] = names.find(outcome) or outcome
            continue
        words = set(key(outcome).split())
        meant = {(b.event, b.outcome) for b in case.branches if words <= set(_WORD.findall(key(b.outcome)))}
        if len(meant) != 1:
            seen = [(b.event, b.outcome) for b in case.branches if b.seen_at in STAGES[:4]]
            known = dict.fromkeys(f"{e}={o}" for e, o in meant or seen)
            raise RepaireconError(f"found: {shown(outcome)}; write one of: {'; '.join(known)}")
        said |= dict(meant)
    return said


def with_keys(text: str, section: str, entries: Mapping[str, str | float]) -> str:
    """TOML text with keys of a section written, replaced or (where empty) taken out; all else stays as it is."""
    if not entries:
        return text
    lines = text.split("\n")
    start = next((n for n, line in enumerate(lines) if (m := _HEADER.match(line)) and m[1].strip() == section), None)
    if start is None:
        lines = [*"\n".join(lines).rstrip("\n").split("\n"), "", f"[{section}]", ""]
        start = len(lines) - 2
    end = next((n for n in range(start + 1, len(lines)) if _ANY_HEADER.match(lines[n])), len(lines))
    names = {key(name) for name in entries}
    kept = [line for line in lines[start + 1 : end] if key(_name(line)) not in names]
    made = [*toml_lines("", {name: None if value == "" else value for name, value in entries.items()})][1:-1]
    return "\n".join([*lines[: start + 1], *made, *kept, *lines[end:]]).rstrip("\n") + "\n"


def _name(line: str) -> str:
    """The key that a line assigns, empty for any other line."""
    assigned = re.match(r"""^\s*("[^"]*"|'[^']*'|[\w.-]+)\s*=""", line)
    return assigned[1].strip("\"'") if assigned else ""
