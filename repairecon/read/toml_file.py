"""case.toml to checked values, each with the line it stands on."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.problems import Problems, shown
from repairecon.read.text import Unreadable, read_text, undecoded
from repairecon.read.toml_section import FILE, Section, shown_value

_HEADER = re.compile(r"^\s*\[\[?([^\[\]]+)\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*("[^"]*"|'[^']*'|[\w.-]+)\s*=""")
_AT_LINE = re.compile(r"\(at line ([0-9]+), column [0-9]+\)|\(at end of document\)")


class TomlFile:
    """The tables of case.toml; ``whole`` is False where it could not be read."""

    def __init__(
        self, problems: Problems, data: dict[str, Any], lines: Mapping[str, int], whole: bool, file: str = FILE
    ) -> None:
        self.problems, self.data, self.lines, self.whole, self.file = problems, data, lines, whole, file

    def section(self, name: str, known: Sequence[str] = ()) -> Section:
        """A table by its dotted name, empty if absent."""
        value: Any = self.data
        for part in name.split(".", 1):
            value = value.get(part, {}) if isinstance(value, dict) else {}
        if not isinstance(value, dict):
            self._not_a_table(name, value)
            value = {}
        section = Section(name, dict(value), self.problems, self.lines, file=self.file)
        return section.only(known) if known else section

    def sections(self, name: str, known: Sequence[str]) -> list[Section]:
        """The tables written ``[[name]]``."""
        value = self.data.get(name, [])
        if isinstance(value, dict):
            value = [value]
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self._not_a_table(name, value, f"[[{name}]]")
            return []
        return [
            Section(name, dict(v), self.problems, self.lines, nth, file=self.file).only(known)
            for nth, v in enumerate(value)
        ]

    def _not_a_table(self, name: str, value: object, header: str = "") -> None:
        line = next((self.lines[n] for n in (f".{name}", name) if n in self.lines), None)
        self.problems.add(self.file, line, name, shown_value(value), f"write a section headed {header or f'[{name}]'}")


def _places(text: str) -> dict[str, int]:
    """Line of each section and key, as far as a look at each line tells."""
    lines: dict[str, int] = {}
    section = ""
    for number, line in enumerate(text.split("\n"), start=1):
        header, assigned = _HEADER.match(line), _KEY.match(line)
        if header:
            name = ".".join(p.strip().strip("\"'") for p in header[1].split("."))
            section, nth = name, 0
            while section in lines:
                nth += 1
                section = f"{name}#{nth}"
            lines[section] = number
        elif assigned:
            lines.setdefault(f"{section}.{assigned[1].strip(chr(34) + chr(39))}", number)
    return lines


def read_toml(path: Path, problems: Problems, file: str = FILE) -> TomlFile:
    """case.toml or another such file, its faults of form noted."""
    try:
        text = read_text(path).replace("\r\n", "\n").replace("\r", "\n")
    except Unreadable as error:
        absent = file == FILE and "no such" in error.found
        write = "write a case.toml with [unit] and [three_numbers]" if absent else error.write
        problems.add(file, None, "", error.found, write)
        return TomlFile(problems, {}, {}, whole=False, file=file)
    if undecoded(text):
        for number, line in enumerate(text.split("\n"), start=1):
            if undecoded(line):
                problems.add(
                    file,
                    number,
                    "",
                    shown(line),
                    "save the file as UTF-8 and write the letters marked ? again",
                )
        text = text.encode("utf-8", "replace").decode("utf-8")
    try:
        return TomlFile(problems, tomllib.loads(text), _places(text), whole=True, file=file)
    except (ValueError, RecursionError) as error:
        _syntax_fault(error, text, problems, file)
    return TomlFile(problems, {}, {}, whole=False, file=file)


def _syntax_fault(error: Exception, text: str, problems: Problems, file: str) -> None:
    where = _AT_LINE.search(str(error))
    lines = text.split("\n")
    row = int(where[1]) if where and where[1] else len(lines) if where else None
    found = shown(lines[row - 1]) if row else "a file that is not TOML"
    reason = _AT_LINE.sub("", str(error)).strip() if isinstance(error, tomllib.TOMLDecodeError) else "too deep"
    problems.add(file, row, "", found, f"write key = value as in TOML ({shown(reason)[1:-1]})")
