"""Measurements as findings. That a felt groove is past its limit: the limits of the kind, each with its source."""

from __future__ import annotations

from pathlib import Path

import pytest

import repairecon
from repairecon.__main__ import main
from repairecon.rebuild_or_buy.job import findings_measured
from repairecon.records import Case, RepaireconError

PUMP = (
    '[unit]\nname = "pump"\nkind = "raw water pump"\nsymptom = "drips from the weep hole"\n'
    "[three_numbers]\nprice_new = 380\nprice_kit = 90\nwait_days = 5\n"
)


@pytest.fixture
def pump(tmp_path: Path) -> Case:
    (tmp_path / "case.toml").write_text(PUMP)
    return repairecon.read_case(tmp_path)


def test_a_worn_measure_is_a_finding_and_a_sound_one_is_none(pump: Case) -> None:
    assert findings_measured(pump, "seal track groove=0.2") == "inside=shaft grooved under the seal"
    assert findings_measured(pump, "seal track groove=0.01") == ""


@pytest.mark.usefixtures("pump")
def test_it_moves_the_answer_as_the_finding_does(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for option in (["--measured", "seal track groove=0.2"], ["--found", "inside=shaft grooved under the seal"]):
        assert main(["rebuild-or-buy", str(tmp_path), "--draws", "200", *option]) == 0
    first, second = capsys.readouterr().out.split("Found:")[1:]
    assert first.split("More:")[0] == second.split("More:")[0]


@pytest.mark.parametrize(
    ("said", "why"), [("colour=3", "no measure of a raw water pump"), ("seal track groove", "groove")]
)
def test_what_cannot_be_judged_is_a_sentence(pump: Case, said: str, why: str) -> None:
    with pytest.raises(RepaireconError, match=why):
        findings_measured(pump, said)
