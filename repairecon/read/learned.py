"""learned.toml: what an owner's own jobs say, read by a case that asks for it."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from repairecon.read import values
from repairecon.read.names import key
from repairecon.read.problems import Problems
from repairecon.read.toml_file import TomlFile, read_toml
from repairecon.read.toml_section import Section
from repairecon.read.values import Limits
from repairecon.read.writing import write_whole
from repairecon.records import ChanceCount, HoursBias, Learned, LearnedLife, Source

FILE = "learned.toml"
FACTOR = Limits(0.0, 100.0, above=True)
RATE = Limits(-0.9, 10.0)
_HEAD = """# What your own jobs say. A case uses it only if its case.toml says so:
#     [learned]
#     use = true
# and this file lies beside it. Counts are of your jobs; a job on another kind of unit counts for `strength` of one.
"""


def asked_for(toml: TomlFile, folder: str) -> Learned | None:
    """What was learned, if the case asks for it."""
    section = toml.section("learned", ("use", "first_time"))
    use, first_time = (_yes(section, name, default) for name, default in (("use", False), ("first_time", True)))
    if not use:
        return None
    path = Path(folder) / FILE
    if not path.is_file():
        section.fault("use", "true, and no learned.toml beside case.toml", "put it there, or write false")
        return None
    return _read(path, toml.problems, first_time)


def _yes(section: Section, name: str, default: bool) -> bool:
    value = section.get(name)
    if value is None or isinstance(value, bool):
        return default if value is None else value
    section.fault(name, str(value)[:40], "write true or false")
    return default


def read_learned(path: str | os.PathLike[str]) -> Learned:
    """Read what was learned.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    Learned
        Counts, biases, drift and lives.

    Raises
    ------
    CaseError
        With every fault of the file.
    """
    problems = Problems()
    learned = _read(Path(path), problems, True)
    problems.stop_if_any()
    return learned


class _Own(Problems):
    """Faults of this file, told under its own name."""

    def __init__(self, problems: Problems) -> None:
        super().__init__()
        self.problems = problems

    def add(self, file: str, row: int | None, column: str, found: str, write: str) -> None:  # noqa: ARG002
        self.problems.add(FILE, row, column, found, write)


def _read(path: Path, problems: Problems, first_time: bool) -> Learned:
    toml = read_toml(path, _Own(problems))
    head = toml.section("learned", ("jobs", "strength", "drift_rate"))
    return Learned(
        jobs=int(_needed(head, "jobs", Limits(0.0, 1e6, whole=True)) if toml.whole else 0),
        strength=_needed(head, "strength", values.FRACTION) if toml.whole else 0.0,
        chances=tuple(_chance(s) for s in toml.sections("chance", ("unit", "event", "given", "outcome", "count"))),
        hours=tuple(
            _hours(s) for s in toml.sections("hours", ("group", "first_time", "factor", "low", "high", "jobs"))
        ),
        drift_rate=head.number("drift_rate", RATE),
        lives=tuple(_life(s) for s in toml.sections("life", ("unit", "way_kind", "years", "hours", "failed"))),
        first_time=first_time,
        source=Source(FILE),
    )


def _needed(section: Section, name: str, limits: Limits) -> float:
    if not section.has(name):
        section.fault(name, "nothing", "write a number")
    return section.number(name, limits) or 0.0


def _chance(s: Section) -> ChanceCount:
    event, outcome = s.required("event", "name the event"), s.required("outcome", "name the outcome")
    return ChanceCount(
        unit=key(s.text("unit")),
        event=event,
        given=s.text("given"),
        outcome=outcome,
        count=_needed(s, "count", values.WEIGHT),
    )


def _hours(s: Section) -> HoursBias:
    factor, low, high = (_needed(s, name, FACTOR) for name in ("factor", "low", "high"))
    jobs = int(_needed(s, "jobs", Limits(0.0, 1e6, whole=True)))
    return HoursBias(
        group=s.required("group", "name the stage"),
        first_time=_yes(s, "first_time", True),
        factor=factor,
        low=low,
        high=high,
        jobs=jobs,
    )


def _life(s: Section) -> LearnedLife:
    return LearnedLife(
        unit=key(s.text("unit")),
        way_kind=s.required("way_kind", "name the kind of way"),
        years=s.number("years", values.LIFE_YEARS),
        hours=s.number("hours", values.LIFE_HOURS),
        failed=_yes(s, "failed", False),
    )


def _line(name: str, value: object) -> str:
    if isinstance(value, bool):
        return f"{name} = {str(value).lower()}"
    return f"{name} = {json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)}"


def learned_text(learned: Learned) -> str:
    """What was learned as the text of the file.

    Parameters
    ----------
    learned
        What the log says.

    Returns
    -------
    str
        TOML.
    """
    drift = [] if learned.drift_rate is None else [_line("drift_rate", learned.drift_rate)]
    lines = [_HEAD, "[learned]", _line("jobs", learned.jobs), _line("strength", learned.strength), *drift]
    tables: tuple[tuple[str, Sequence[object]], ...] = (
        ("chance", learned.chances),
        ("hours", learned.hours),
        ("life", learned.lives),
    )
    for name, records in tables:
        for record in records:
            entries = asdict(record).items()  # type: ignore[call-overload]
            lines += ["", f"[[{name}]]", *(_line(k, v) for k, v in entries if v is not None)]
    return "\n".join(lines) + "\n"


def write_learned(path: str | os.PathLike[str], learned: Learned) -> None:
    """Write what was learned, whole or not at all.

    Parameters
    ----------
    path
        The file; an older one is replaced.
    learned
        What the log says.

    Raises
    ------
    RepaireconError
        If it cannot be written; the old file is then as it was.
    """
    write_whole(path, learned_text(learned))
