"""TOML files such as case.toml to sections of checked values, each with the line it stands on; and values to TOML."""

from __future__ import annotations

import json
import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from repairecon.read import values
from repairecon.read.columns import ANY, CASE, ENDS, Column, sections
from repairecon.read.files import Unreadable, decoded, read_data
from repairecon.read.problems import SURE, Problems, clean, closest, key, shown, shown_value, undecoded
from repairecon.read.tables import Ends, Entry
from repairecon.read.values import Limits, Misread
from repairecon.records import Source

_HEADER = re.compile(r"^\s*\[\[?([^\[\]]+)\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*("[^"]*"|'[^']*'|[\w.-]+)\s*=""")
_AT_LINE = re.compile(r"\(at line ([0-9]+), column [0-9]+\)|\(at end of document\)")


@dataclass(kw_only=True)
class Section(Entry):
    """One table of the file, its values read with faults noted."""

    name: str
    lines: Mapping[str, int] = field(default_factory=dict)
    nth: int = 0
    inherited: Mapping[str, Source] = field(default_factory=dict)  # where a key stands that is not of this file

    def place(self, name: str) -> tuple[int | None, str]:
        """The line of a key, else of its section, as far as it can be found."""
        path = f"{self.name}#{self.nth}" if self.nth else self.name
        return self.lines.get(f"{path}.{name}", self.lines.get(path)), f"{self.name}.{name}"

    def source(self, name: str) -> Source:
        return self.inherited.get(f"{self.name}.{name}") or Source(self.file, *self.place(name))

    def lacks(self, name: str) -> bool:
        value = self.written(name)
        return name not in self.bad and (value is None or (isinstance(value, str) and not clean(value).strip()))

    def _number(self, value: Any, limits: Limits) -> float | Misread:
        if isinstance(value, str):
            read = values.number(value.strip(), limits)
            return read if isinstance(read, Misread) else Misread(f"write {value.strip()} without quote marks")
        if isinstance(value, bool) or not isinstance(value, int | float):
            return Misread("write a number such as 12.50")
        try:
            return values.within(float(value), limits)
        except OverflowError:
            return Misread(f"write {values.plain(limits.high)} at most")

    def _yes(self, value: Any) -> bool | Misread:
        return value if isinstance(value, bool) else Misread("write true or false")

    def text(self, name: str) -> str:
        """Text, clean and on one line; empty if absent or wrong."""
        value = self.value(name)
        if value is not None and not isinstance(value, str):
            self.fault(name, shown_value(value), "write words in double quotes")
            return ""
        return " ".join(clean(value or "").split())

    def words(self, name: str) -> tuple[str, ...]:
        """Several words, clean; one may stand without its list."""
        value = self.value(name)
        listed = [] if value is None else [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not all(isinstance(v, str) for v in listed):
            self.fault(name, shown_value(value), self.declared[name].write)
            return ()
        return tuple(" ".join(clean(v).split()) for v in listed)

    def column(self, name: str) -> Column:
        return self.declared[name if name in self.declared else ANY]

    def _ends(self, name: str) -> Ends | None:
        value = self.value(name)
        ends, shape = {"likely": value}, "pert"
        if isinstance(value, list) and len(value) == 3:
            ends = dict(zip(ENDS, value, strict=True))
        elif isinstance(value, list):
            self.fault(name, shown_value(value), "write one number or [low, likely, high]")
        elif isinstance(value, dict):
            for unknown in [word for word in value if word not in (*ENDS, "shape")]:
                self.fault(name, f"an unknown key {shown(unknown)}", self.problems.advice(unknown, (*ENDS, "shape")))
            ends, shape = value, clean(str(value.get("shape", shape)))
        if value is None or (name in self.bad and not isinstance(value, dict)):
            return None
        return ends, shape, dict.fromkeys((*ENDS, "shape"), name), self.source(name)


@dataclass
class TomlFile:
    """The tables of a file; ``whole`` is False where it could not be read."""

    problems: Problems
    data: dict[str, Any]
    lines: Mapping[str, int]
    whole: bool
    file: str = CASE
    inherited: dict[str, Source] = field(default_factory=dict)

    def _section(self, name: str, cells: dict[str, Any], of: str, nth: int = 0) -> Section:
        section = Section(
            file=self.file, name=name, cells=dict(cells), problems=self.problems, declared=sections(self.file)[of],
            lines=self.lines, nth=nth, inherited=self.inherited,
        )  # fmt: skip
        known = tuple(section.declared)
        for name in () if ANY in known else (name for name in cells if name not in known):
            section.fault(name, f"an unknown key {shown(name)}", self.problems.advice(name, known))
            near = closest(name, known, cutoff=SURE)  # a misspelt one is read as what it was meant to be
            if near and near not in section.cells:
                section.cells[near] = section.cells[name]
        if self.whole:
            section.check_needed()
        return section

    def section(self, name: str, of: str = "") -> Section:
        """A table by its dotted name, empty if absent; ``of`` is the section that declares its keys."""
        value: Any = self.data
        for part in name.split(".", 1):
            value = value.get(part, {}) if isinstance(value, dict) else {}
        if not isinstance(value, dict):
            self._not_a_table(name, value)
            value = {}
        return self._section(name, value, of or name)

    def sections(self, name: str) -> list[Section]:
        value = self.data.get(name, [])
        listed = [value] if isinstance(value, dict) else value
        if not isinstance(listed, list) or not all(isinstance(v, dict) for v in listed):
            self._not_a_table(name, value, f"[[{name}]]")
            return []
        return [self._section(name, v, name, nth) for nth, v in enumerate(listed)]

    def check_sections(self) -> None:
        """Note sections that nothing reads."""
        known = [name for name in sections(self.file) if "." not in name]
        for name in self.data:
            if name not in known:
                line = self.lines.get(name) or self.lines.get(f".{name}")
                found = f"an unknown section {shown(name)}"
                self.problems.add(self.file, line, name, found, self.problems.advice(name, known))

    def _not_a_table(self, name: str, value: object, header: str = "") -> None:
        line = next((self.lines[n] for n in (f".{name}", name) if n in self.lines), None)
        self.problems.add(self.file, line, name, shown_value(value), f"write a section headed {header or f'[{name}]'}")


def places_in(text: str) -> dict[str, int]:
    """Line of each section and key, as far as a look at each line tells."""
    lines: dict[str, int] = {}
    seen: Counter[str] = Counter()
    section = ""
    for number, line in enumerate(text.split("\n"), start=1):
        header, assigned = _HEADER.match(line), _KEY.match(line)
        if header:
            name = ".".join(p.strip().strip("\"'") for p in header[1].split("."))
            section = f"{name}#{seen[name]}" if seen[name] else name
            seen[name] += 1
            lines[section] = number
        elif assigned:
            lines.setdefault(f"{section}.{assigned[1].strip(chr(34) + chr(39))}", number)
    return lines


def read_toml(source: Path | bytes, problems: Problems, file: str = CASE, rows: Sequence[int] = ()) -> TomlFile:
    """A TOML file, or its bytes, its faults of form noted; ``rows`` are those of a sheet that stand for its lines."""
    none = TomlFile(problems, {}, {}, whole=False, file=file)
    try:
        text = clean(decoded(source if isinstance(source, bytes) else read_data(source)))
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    except Unreadable as error:
        absent = file == CASE and "no such" in error.found
        write = "write a case.toml with [unit] and [three_numbers]" if absent else error.write
        problems.add(file, None, "", error.found, write)
        return none
    for number, line in enumerate(text.split("\n"), start=1):
        if undecoded(line):
            write = "save the file as UTF-8 and write the letters marked ? again"
            problems.add(file, number, "", shown(line), write)
    text = text.encode("utf-8", "replace").decode("utf-8")
    try:
        lines = {name: rows[line - 1] if rows else line for name, line in places_in(text).items()}
        return TomlFile(problems, tomllib.loads(text), lines, whole=True, file=file)
    except (ValueError, RecursionError) as error:
        where = _AT_LINE.search(str(error))
        texts = text.split("\n")
        row = int(where[1] or len(texts)) if where else None
        found = shown(texts[row - 1]) if row else "a file that is not TOML"
        reason = _AT_LINE.sub("", str(error)).strip() if isinstance(error, tomllib.TOMLDecodeError) else "too deep"
        problems.add(file, row, "", found, f"write key = value as in TOML ({shown(reason)[1:-1]})")
    return none


def toml_value(value: object) -> str:
    if isinstance(value, dict):
        return f"{{{', '.join(f'{toml_key(name)} = {toml_value(v)}' for name, v in value.items())}}}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def toml_key(name: str) -> str:
    """A key as TOML has it, in quote marks where it needs them."""
    return name if name.isidentifier() and name.isascii() else toml_value(name)


def toml_lines(header: str, entries: Mapping[str, object]) -> Iterator[str]:
    """A table with its header, such as ``[learned]``; what is None is left out."""
    yield header
    yield from (f"{toml_key(name)} = {toml_value(value)}" for name, value in entries.items() if value is not None)
    yield ""


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
