"""A case frozen as it was decided, with hashes over all of it; and a closed job, with what then happened."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from repairecon.read.actual import FILE as ACTUAL_FILE
from repairecon.read.actual import read_actual, sheet
from repairecon.read.boat import FROZEN, frozen_papers
from repairecon.read.case_folder import read_case
from repairecon.read.files import write_all
from repairecon.read.problems import Problems, shown
from repairecon.read.toml_file import toml_lines, toml_value
from repairecon.records import Actual, Case, Decision, Figures, RepaireconError

FOLDER, FILE = "decided", "decision.toml"
RULES = 2
"""How cases are read today; see ``Decision``."""
_HEAD = """# The case as it was decided. Nothing in this folder is meant to be changed: what is learned later goes into
# actual.csv beside the case. The hashes show a change that was not meant; they are no proof against one that was.
"""


def _hash(data: bytes) -> str:
    """The same for both kinds of line end, as copies change those."""
    return hashlib.sha256(data.replace(b"\r\n", b"\n")).hexdigest()


def _papers(folder: Path) -> dict[str, bytes]:
    """Files of a case that a decision rests on."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted([*folder.iterdir(), *(folder / FROZEN).glob("*")])
        if path.is_file()
        and path.suffix.casefold() in (".csv", ".toml")
        and path.name.casefold() not in (ACTUAL_FILE, FILE)
        and not path.name.startswith(".")
    }


def _section(name: str, entries: Mapping[str, object]) -> str:
    return "\n" + "\n".join(toml_lines(f"[{name}]", entries))


def _body(decision: Decision, hashes: Mapping[str, str]) -> str:
    head = {
        "way": decision.way,
        "best": decision.best,
        "decided_on": decision.decided_on,
        "seed": decision.seed,
        "draws": decision.draws,
        "found": decision.found,
        "stage": decision.stage,
        "currency": decision.currency,
        "cost_own_hour": float(decision.cost_own_hour),
        "rules": RULES,
    }
    parts = [_HEAD + _section("decision", head), _section("files", hashes)]
    for way, quantities in decision.figures.items():
        for quantity, figures in quantities.items():
            parts.append(_section(f"figures.{toml_value(way)}.{toml_value(quantity)}", asdict(figures)))
    return "".join(parts)


def freeze(folder: str | os.PathLike[str], decision: Decision, case: Case) -> Path:
    """Write the decision, with copies of the case's files, into ``decided`` and the sheet to fill in beside the case.

    Parameters
    ----------
    folder
        Folder of the case.
    decision
        The choice; its seal is not looked at but made here.
    case
        The case, for the names on the sheet.

    Returns
    -------
    Path
        The folder ``decided``.

    Raises
    ------
    RepaireconError
        If there is a decision already, or it cannot be written; nothing is written then.
    """
    place = Path(folder)
    if os.path.lexists(place / FOLDER):
        raise RepaireconError(
            f"{shown(str(place / FOLDER))} is there already: a decision is frozen once; take the folder away by hand "
            "if it was a mistake"
        )
    papers = _papers(place) | frozen_papers(replace(case, folder=str(place)), decision.decided_on)
    body = _body(decision, {name: _hash(data) for name, data in papers.items()})
    files = {f"{FOLDER}/{name}": data for name, data in papers.items()}
    files[f"{FOLDER}/{FILE}"] = f'{body}\n[seal]\nseal = "{_hash(body.encode())}"\n'.encode()
    if not os.path.lexists(place / ACTUAL_FILE):
        files[ACTUAL_FILE] = sheet(case, decision.way).encode()
    write_all(place, files)
    return place / FOLDER


def read_decision(folder: str | os.PathLike[str]) -> Decision:
    """Read a frozen decision and see that nothing of it was changed.

    Parameters
    ----------
    folder
        Folder of the case, in which ``decided`` stands.

    Returns
    -------
    Decision
        The choice; its ``folder`` is that of the frozen case.

    Raises
    ------
    CaseError
        If there is none, or with every file of it that was changed, added or taken away.
    """
    place, problems = Path(folder) / FOLDER, Problems()
    path = place / FILE
    if not path.is_file():
        write = "decide first: after-the-job FOLDER --decide WAY"
        problems.add(f"{FOLDER}/{FILE}", None, "", "no such file", write)
    problems.stop_if_any()
    data = path.read_bytes().replace(b"\r\n", b"\n")
    read = _sealed(data, problems)
    if read is not None:
        _check_files(place, read["files"], problems)
    problems.stop_if_any()
    assert read is not None
    decision = {"rules": 1, **read["decision"]}
    figures = {way: {q: Figures(**f) for q, f in by.items()} for way, by in read.get("figures", {}).items()}
    return Decision(folder=str(place), figures=figures, seal=read["seal"]["seal"], **decision)


def _sealed(data: bytes, problems: Problems) -> dict[str, Any] | None:
    """The content, if its seal is whole."""
    body, mark, _ = data.rpartition(b"\n[seal]\n")
    try:
        read = tomllib.loads(data.decode())
        whole = bool(mark) and read["seal"]["seal"] == _hash(body)
    except (ValueError, KeyError, TypeError):
        whole = False
    if not whole:
        advice = "put back the file as it was written: figures of a decision are not for changing afterwards"
        problems.add(f"{FOLDER}/{FILE}", None, "", "a changed file", advice)
        return None
    return read


def _check_files(place: Path, hashes: Mapping[str, str], problems: Problems) -> None:
    there = _papers(place)
    for name in sorted({*there, *hashes}):
        file = f"{FOLDER}/{name}"
        if name not in there:
            problems.add(file, None, "", "no such file", "put back the copy that was frozen")
        elif name not in hashes:
            problems.add(file, None, "", "a file that the decision did not rest on", "take it out of this folder")
        elif _hash(there[name]) != hashes[name]:
            problems.add(file, None, "", "a file changed since the decision", "put back the copy that was frozen")


@dataclass(frozen=True)
class Closed:
    """A closed job; ``case`` is the frozen one."""

    name: str
    case: Case
    decision: Decision
    actual: Actual


def read_closed(folder: str | os.PathLike[str]) -> Closed:
    """Read a closed job.

    Parameters
    ----------
    folder
        Folder of the case, with ``decided`` and ``actual.csv`` in it.

    Returns
    -------
    Closed
        The frozen case, the decision, what happened.

    Raises
    ------
    CaseError
        With every fault of the decision, else of the case, else of ``actual.csv``.
    """
    decision = read_decision(folder)
    case = read_case(decision.folder, as_decided=decision.rules < RULES)
    if decision.way not in {w.way for w in case.ways}:
        problems = Problems()
        problems.add(f"{FOLDER}/{FILE}", None, "way", shown(decision.way), "name a way of the case")
        problems.stop_if_any()
    name = os.path.basename(os.path.realpath(folder))  # noqa: PTH119
    return Closed(name, case, decision, read_actual(folder, case))
