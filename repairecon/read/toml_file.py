"""TOML files such as case.toml to sections of checked values, each with the line it stands on; and values to TOML."""

from __future__ import annotations

import json
import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from repairecon.read import values
from repairecon.read.columns import ANY, CASE, ENDS, Column, sections
from repairecon.read.files import Unreadable, decoded, read_text
from repairecon.read.problems import SURE, Problems, clean, closest, shown, shown_value, undecoded
from repairecon.read.tables import Ends, Entry
from repairecon.records import Source

_HEADER = re.compile(r"^\s*\[\[?([^\[\]]+)\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*("[^"]*"|'[^']*'|[\w.-]+)\s*=""")
_AT_LINE = re.compile(r"\(at line ([0-9]+), column [0-9]+\)|\(at end of document\)")


@dataclass(kw_only=True)
class Section(Entry):
    """One table of the file, its values read with faults noted."""

    _number = staticmethod(values.toml_number)
    _yes = staticmethod(values.toml_yes)

    name: str
    lines: Mapping[str, int] = field(default_factory=dict)
    nth: int = 0
    inherited: Mapping[str, Source] = field(default_factory=dict)
    """Where a key stands that is not of this file."""

    def place(self, name: str) -> tuple[int | None, str]:
        """The line of a key, else of the section, as far as it can be found; and the key with its section."""
        path = f"{self.name}#{self.nth}" if self.nth else self.name
        return self.lines.get(f"{path}.{name}", self.lines.get(path)), f"{self.name}.{name}"

    def source(self, key: str) -> Source:
        """Where a key stands."""
        return self.inherited.get(f"{self.name}.{key}") or Source(self.file, *self.place(key))

    def lacks(self, name: str) -> bool:
        """True if it is absent or blank."""
        value = self.written(name)
        return name not in self.bad and (value is None or (isinstance(value, str) and not clean(value).strip()))

    def text(self, name: str) -> str:
        """Text, clean and on one line; empty if absent or wrong."""
        return self._taken(name, values.toml_words) or ""

    def words(self, name: str) -> tuple[str, ...]:
        """Several words, clean; one may stand without its list."""
        value = self.value(name)
        listed = [] if value is None else [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not all(isinstance(v, str) for v in listed):
            self.fault(name, shown_value(value), self.declared[name].write)
            return ()
        return tuple(" ".join(clean(v).split()) for v in listed)

    def column(self, name: str) -> Column:
        """How it is declared, by its name or for keys of any name."""
        return self.declared[name if name in self.declared else ANY]

    def _ends(self, name: str) -> Ends | None:
        value = self.value(name)
        ends, shape = {"likely": value}, "pert"
        if isinstance(value, list) and len(value) == 3:
            ends = dict(zip(ENDS, value, strict=True))
        elif isinstance(value, list):
            self.fault(name, shown_value(value), "write one number or [low, likely, high]")
        elif isinstance(value, dict):
            for key in [key for key in value if key not in (*ENDS, "shape")]:
                self.fault(name, f"an unknown key {shown(key)}", self.problems.advice(key, (*ENDS, "shape")))
            ends, shape = value, clean(str(value.get("shape", shape)))
        if value is None or (name in self.bad and not isinstance(value, dict)):
            return None
        return ends, shape, dict.fromkeys((*ENDS, "shape"), name), self.source(name)

    def only_known(self) -> Section:
        """Note unknown keys; a misspelt one is read as what it was meant to be."""
        known = tuple(self.declared)
        for name in [] if ANY in known else [name for name in self.cells if name not in known]:
            self.fault(name, f"an unknown key {shown(name)}", self.problems.advice(name, known))
            near = closest(name, known, cutoff=SURE)
            if near and near not in self.cells:
                self.cells[near] = self.cells[name]
        return self


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
        ).only_known()  # fmt: skip
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
        """The tables written ``[[name]]``."""
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


def read_toml(source: Path | bytes, problems: Problems, file: str = CASE) -> TomlFile:
    """case.toml or another such file, or its bytes; its faults of form noted."""
    none = TomlFile(problems, {}, {}, whole=False, file=file)
    try:
        text = clean(decoded(source)) if isinstance(source, bytes) else read_text(source)
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    except Unreadable as error:
        absent = file == CASE and "no such" in error.found
        write = "write a case.toml with [unit] and [three_numbers]" if absent else error.write
        problems.add(file, None, "", error.found, write)
        return none
    if undecoded(text):
        for number, line in enumerate(text.split("\n"), start=1):
            if undecoded(line):
                write = "save the file as UTF-8 and write the letters marked ? again"
                problems.add(file, number, "", shown(line), write)
        text = text.encode("utf-8", "replace").decode("utf-8")
    try:
        return TomlFile(problems, tomllib.loads(text), places_in(text), whole=True, file=file)
    except (ValueError, RecursionError) as error:
        where = _AT_LINE.search(str(error))
        lines = text.split("\n")
        row = int(where[1] or len(lines)) if where else None
        found = shown(lines[row - 1]) if row else "a file that is not TOML"
        reason = _AT_LINE.sub("", str(error)).strip() if isinstance(error, tomllib.TOMLDecodeError) else "too deep"
        problems.add(file, row, "", found, f"write key = value as in TOML ({shown(reason)[1:-1]})")
    return none


def toml_value(value: object) -> str:
    """A value as TOML has it."""
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
