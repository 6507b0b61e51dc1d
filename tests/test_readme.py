"""The README tells what really comes out."""

from __future__ import annotations

import re
from pathlib import Path

import repairecon
from repairecon.show.summary import summary

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_case_in_ten_lines_gives_the_answer_shown(tmp_path):
    case = re.search(r"<<'END'\n(.*?)\n    END", README, re.DOTALL)[1]
    lines = [line.removeprefix("    ") for line in case.splitlines()]
    assert len(lines) <= 10
    (tmp_path / "case.toml").write_text("\n".join(lines), encoding="utf-8")
    answer = summary(repairecon.rebuild_or_buy(repairecon.read_case(tmp_path)))
    shown = README.partition("(shortened here")[2].partition("[...]")[0]
    told = [line.strip() for line in shown.splitlines() if line.startswith("    ")]
    assert len(told) > 8
    flat = " ".join(answer.split())
    assert " ".join(" ".join(told).split()) in flat
