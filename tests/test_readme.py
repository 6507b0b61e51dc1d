"""The README tells what really comes out."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import repairecon
from repairecon.__main__ import main
from repairecon.read.columns import reference, table_of_files
from repairecon.rebuild_or_buy.screen import first_screen

ROOT = Path(__file__).parents[1]
README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_case_in_ten_lines_gives_the_answer_shown(tmp_path):
    case = re.search(r"<<'END'\n(.*?)\n    END", README, re.DOTALL)[1]
    lines = [line.removeprefix("    ") for line in case.splitlines()]
    assert len(lines) <= 10
    (tmp_path / "case.toml").write_text("\n".join(lines), encoding="utf-8")
    answer = first_screen(repairecon.rebuild_or_buy(repairecon.read_case(tmp_path)), 80)
    shown = README.partition("(shortened here")[2].partition("[...]")[0]
    told = [line.strip() for line in shown.splitlines() if line.startswith("    ")]
    assert len(told) > 8
    flat = " ".join(answer.split())
    assert " ".join(" ".join(told).split()) in flat


def walks() -> list[list[str]]:
    """Each indented block of commands that begin in the folder of the demo cases, as typed."""
    blocks = re.findall(r"(?:^    .*\n)+", README, re.MULTILINE)
    lines = [[line.partition("  #")[0].strip() for line in block.splitlines()] for block in blocks]
    return [block for block in lines if all(re.match(r"(repairecon|cp -r) ", line) for line in block)]


def test_the_walks_work_as_typed(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    assert len(walks()) == 2
    for line in (line for block in walks() for line in block):
        words = shlex.split(line)
        if words[0] == "cp":
            shutil.copytree(words[2], words[3])
        else:
            assert main(words[1:]) == 0, line


def test_the_demos_of_the_four_jobs(capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    commands = re.findall(r"\| `repairecon (.*?)` \|", README)
    assert len(commands) == 4
    for words in map(shlex.split, commands):
        assert main(words) == 0
        assert len(capsys.readouterr().out) > 500


def test_the_equivalent_shown():
    code = re.search(r">>> found = (.*)", README)[1]
    found = eval(code, {"repairecon": repairecon})
    assert repr((found.verdict, found.differs)) in README


def test_the_tables_of_columns_are_those_of_the_reader():
    """Made anew by ``python -c "from repairecon.read import columns; print(columns.reference(), end='')"``."""
    assert table_of_files() in README
    assert reference() == (ROOT / "notebooks" / "columns.md").read_text(encoding="utf-8")
