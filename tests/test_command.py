"""The command line as a person types it."""

from __future__ import annotations

import argparse
import csv
import json
import os
import pty
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from repairecon.__main__ import _OF_NO_JOB, _QUESTIONS, COMMANDS, add_all, main

DATA = Path(__file__).parents[1] / "data"


def test_readable_answer(capsys):
    assert main(["rebuild-or-buy", str(DATA / "starter"), "--draws", "1000"]) == 0
    out = capsys.readouterr().out
    assert out.index("strip it") < out.index("all in") < out.index("Guesses") < out.rindex("--full")


def test_json_answer(capsys):
    assert main(["rebuild-or-buy", str(DATA / "starter"), "--draws", "1000", "--seed", "0", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["seed"], data["draws"]) == (0, 1000)


def test_options_reach_the_job(capsys):
    with (DATA / "windlass" / "events.csv").open(encoding="utf-8", newline="") as file:
        row = next(csv.DictReader(file))
    found = {"event": row["event"], "outcome": row["outcome"], "p_right": 1.0}
    asked = ["--draws", "500", "--json", "--cost-own-hour", "0", "--found", f"{row['event']}={row['outcome']}"]
    assert main(["rebuild-or-buy", str(DATA / "windlass"), *asked]) == 0
    data = json.loads(capsys.readouterr().out)
    assert all(w["total"]["mean"] == pytest.approx(w["total_own_time_free"]["mean"]) for w in data["ways"])
    assert data["found"] == [found]


def test_faults_are_all_said_and_nothing_is_written(tmp_path, capsys):
    (tmp_path / "case.toml").write_text('[unit]\nname = "x"\n[three_numbers]\nprice_new = "1.200,50"\nprice_kit = -4\n')
    report = tmp_path / "r.html"
    assert main(["rebuild-or-buy", str(tmp_path), "--report", str(report)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "price_new" in captured.err
    assert "price_kit" in captured.err
    assert "Traceback" not in captured.err
    assert not report.exists()


@pytest.mark.parametrize(
    "line",
    [["rebuild-or-buy", "no/such/folder"], ["rebuild-or-buy", __file__],
     ["rebuild-or-buy", str(DATA / "starter"), "--draws", "0"],
     ["rebuild-or-buy", str(DATA / "starter"), "--found", "nonsense"],
     ["new-case", str(DATA)], ["notebooks", str(DATA.parent)]],
)  # fmt: skip
def test_bad_input_ends_with_2(line, capsys):
    assert main(line) == 2
    assert capsys.readouterr().err.strip()


def test_usage_fault_ends_with_2():
    with pytest.raises(SystemExit) as caught:
        main(["rebuild-or-buy", str(DATA / "starter"), "--draws", "many"])
    assert caught.value.code == 2


def test_new_case_answers_at_once(tmp_path, capsys):
    folder = tmp_path / "my pump"
    assert main(["new-case", str(folder)]) == 0
    typed = shlex.split(capsys.readouterr().out.partition("then: repairecon ")[2])
    assert main([*typed, "--draws", "500"]) == 0
    assert "It turns" in capsys.readouterr().out
    assert main(["new-case", str(folder)]) == 2


def test_notebooks_are_copied_with_the_demo_cases(tmp_path):
    assert main(["notebooks", str(tmp_path / "copy")]) == 0
    assert (tmp_path / "copy" / "notebooks" / "rebuild_or_buy.ipynb").is_file()
    assert (tmp_path / "copy" / "data" / "windlass" / "events.csv").is_file()


def test_run_as_a_module():
    line = [sys.executable, "-m", "repairecon", "rebuild-or-buy", str(DATA / "starter"), "--draws", "500"]
    done = subprocess.run(line, capture_output=True, check=True, encoding="utf-8")
    assert done.stdout.startswith("Starter")
    assert done.stderr == ""


def at_a_terminal(words: list[str], **environment: str) -> str:
    """What a person sees who types a command."""
    shown = bytearray()

    def read(fd: int) -> bytes:
        shown.extend(data := os.read(fd, 65536))
        return data

    with pytest.MonkeyPatch.context() as patch:
        for name, value in {"TERM": "xterm", "NO_COLOR": "", **environment}.items():
            patch.setenv(name, value)
        assert pty.spawn([sys.executable, "-m", "repairecon", *words], read) == 0
    return shown.decode()


def test_the_first_line_is_bold_and_plain_where_colour_is_not_wanted(capfd: pytest.CaptureFixture[str]) -> None:
    words = ["rebuild-or-buy", str(DATA / "starter")]
    seen = at_a_terminal(words).removeprefix("working ...\r\n")  # said where the machine is busy
    assert seen.startswith("\x1b[1mStarter")
    assert "\x1b" not in at_a_terminal(words, NO_COLOR="1")
    capfd.readouterr()


def test_a_small_command_loads_no_job() -> None:
    """Its answer comes in a third of the time then; the help has all commands all the same."""
    code = "import sys; from repairecon.__main__ import main; main(['kinds']); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert "repairecon.kinds.worn" in loaded
    assert not {"pandas", "numpy", "repairecon.spares_aboard.command"} & loaded
    asked = argparse.ArgumentParser().add_subparsers()
    add_all(asked, [])
    assert {*_QUESTIONS, *_OF_NO_JOB} == set(asked.choices) - set(COMMANDS)


def test_the_shell_completes_commands() -> None:
    pytest.importorskip("argcomplete")
    asked = {"_ARGCOMPLETE": "1", "_ARGCOMPLETE_SHELL": "bash", "COMP_LINE": "repairecon whole", "COMP_POINT": "16",
             "_ARGCOMPLETE_STDOUT_FILENAME": "/dev/stdout"}  # fmt: skip
    words = [sys.executable, "-m", "repairecon"]
    done = subprocess.run(words, env={**os.environ, **asked}, capture_output=True, text=True)
    assert "whole-boat" in done.stdout
