"""The README says what really comes out: its commands are run as typed, its answers held against the program's."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from column_tables import reference

from repairecon.__main__ import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LEFT_OUT = "[...]"


def typed_and_shown() -> Iterator[tuple[str, list[str]]]:
    """Each command that stands behind a ``$``, with the pieces of the answer shown below it."""
    for block in re.findall(r"(?:^(?:    .*)?\n)+", README, re.MULTILINE):
        for said in re.split(r"^    \$ ", block, flags=re.MULTILINE)[1:]:
            command, _, answer = said.partition("\n")
            yield command, [flat(piece) for piece in answer.split(LEFT_OUT)]


def flat(text: str) -> str:
    """Text without its line ends and indents, which depend on the width of the terminal."""
    return " ".join(text.split())


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(ROOT / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def test_every_command_works_in_a_shell_as_printed_and_gives_the_answer_shown(demo: Path) -> None:
    shim = demo / "bin" / "repairecon"
    shim.parent.mkdir()
    shim.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m repairecon "$@"\n')
    shim.chmod(0o755)
    paths = {"PATH": f"{shim.parent}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)}
    written = re.search(r"^    mkdir pump.*?\n    END\n", README, re.DOTALL | re.MULTILINE)[0]
    case = "\n".join(line.removeprefix("    ") for line in written.splitlines())
    assert len(case.splitlines()) <= 12  # ten of the case, between the two of the shell
    shown = 0
    for command, pieces in ((case, []), *typed_and_shown()):
        environment = {**os.environ, **paths}
        done = subprocess.run(["bash", "-c", command], cwd=demo, env=environment, capture_output=True, text=True)
        assert done.returncode == 0, (command, done.stderr)
        answer = flat(done.stdout)
        for piece in pieces:
            assert piece in answer, command
            answer = answer[answer.index(piece) + len(piece) :]
            shown += len(piece)
    assert shown > 1500


def test_the_demos_of_the_five_jobs(capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    commands = re.findall(r"\| `repairecon (.*?)` \|", README)
    assert len(commands) == 5
    for words in map(shlex.split, commands):
        assert main(words) == 0
        assert len(capsys.readouterr().out) > 500


def test_the_lines_of_python_work(monkeypatch):
    monkeypatch.chdir(ROOT)
    code = re.search(r"^    import repairecon\n(?:    .*\n)+", README, re.MULTILINE)[0].replace("20_000", "500")
    exec("\n".join(line.strip() for line in code.splitlines()), {})


@pytest.mark.parametrize("file", ["README.md", "DEVELOPERS.md", "notebooks/what_is_charged_when.md"])
def test_files_and_tests_that_are_named_are_there(file):
    text = (ROOT / file).read_text(encoding="utf-8")
    tests = {path.stem: path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("*.py")}
    for module, function in re.findall(r"\b(test_\w+)(?:\.py)?(?:::(test_\w+))?", text):
        assert module in tests, module
        assert not function or f"def {function}(" in tests[module], function
    for path in re.findall(r"`((?:repairecon|tests|notebooks|data)/[\w/.]+)`", text):
        assert (ROOT / path).exists(), path


def test_the_tables_of_columns_are_those_of_the_reader():
    """Made anew by ``PYTHONPATH=tests python -c "import column_tables; print(column_tables.reference(), end='')"``."""
    assert reference() == (ROOT / "notebooks" / "columns.md").read_text(encoding="utf-8")
