"""Faces of the job after the job: words, tables, plain data, command."""

from __future__ import annotations

import copy
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

import repairecon
from repairecon.__main__ import main
from repairecon.after_the_job import charts, screen
from repairecon.after_the_job.command import as_json
from repairecon.after_the_job.job import AfterTheJob, Hindsight
from repairecon.after_the_job.log import with_job

DATA = Path(__file__).parents[2] / "data"


@pytest.fixture(scope="module")
def found() -> AfterTheJob:
    closed = repairecon.read_closed(DATA / "alternator_done")
    return repairecon.after_the_job(closed, repairecon.read_log(DATA / "job_log"))


def changed(found: AfterTheJob, **parts: object) -> AfterTheJob:
    """The answer with other parts, as if they had come out so."""
    other = copy.copy(found)
    other.__dict__.update(parts)
    return other


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    """The demo and its log, where they may be written to."""
    for name in ("alternator_done", "job_log"):
        shutil.copytree(DATA / name, tmp_path / name)
    return tmp_path / "alternator_done"


def test_plain_data_of_a_closed_job(found: AfterTheJob) -> None:
    data = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert {"bridge", "coverage", "learned", "hindsight"} <= set(data)
    b = data["bridge"]
    assert sum(s["amount"] for s in b["steps"]) == pytest.approx(b["actual"]["total"] - b["estimate"]["total"])
    assert [r["quantity"] for r in data["coverage"]["ranges"]] == ["cash", "own hours", "days", "total", "prices"]
    assert data["coverage"]["chances"]["many"] == 110
    assert data["learned"]["jobs"] == len(data["jobs"]) == 26
    assert data["hindsight"]["best_now"] == "exchange"


def test_plain_data_of_a_log_alone() -> None:
    data = as_json(repairecon.after_the_job(None, repairecon.read_log(DATA / "job_log")))
    assert data["bridge"] is data["hindsight"] is data["decision"] is None
    assert data["coverage"]["ranges"][0]["of"] == 25


def test_words_of_the_bridge(found: AfterTheJob) -> None:
    assert found.bridge is not None
    text = screen.bridge(found.bridge, "EUR")
    assert "EUR 917" in text
    assert "EUR 344 more" in text
    assert "inside the range" in text
    table = screen.bridge_table(found, most=6)
    assert len(table) == 8
    steps = list(table["step"])
    assert (steps[0], steps[-1]) == ("estimate", "actual")
    assert "small steps" in steps[-2]


def test_small_steps_keep_the_sum(found: AfterTheJob) -> None:
    assert found.bridge is not None
    for most in (1, 2, 7, 100):
        steps = screen.largest_steps(found.bridge, most)
        assert sum(s.amount for s in steps) == pytest.approx(found.bridge.difference)
        assert len(steps) <= max(most, 1) or most == 100


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, ("Good decision, ordinary luck", "too near to call")),
        ({"good_decision": False, "luck": "good"}, ("Poor decision, good luck", "a costly one")),
        ({"best_then": "rebuild here", "gap_then": 0.0, "luck": "bad"}, ("Good decision, bad luck", "was right")),
        ({"gap_now": -5.0}, ("no other way would have come to less",)),
    ],
)
def test_decision_and_luck_are_known_apart(found: AfterTheJob, change: dict[str, object], said: list[str]) -> None:
    assert found.hindsight is not None
    h: Hindsight = replace(found.hindsight, **change)
    text = " ".join(screen.choice(h, "EUR"))
    for w in said:
        assert w in text
    if not h.good_decision:
        assert "not a mistake" not in text


def test_no_advice_where_the_log_cannot_tell(found: AfterTheJob) -> None:
    h = found.held[1]
    assert "1.56 times as wide would have held eight in ten (1.03 to 2.52 times)" in screen.held(h)
    few = screen.held(replace(h, says="cannot tell", inside=1, of=2))
    assert "no advice" in few
    assert "wide" not in few
    assert "leave them" in screen.held(replace(h, says="hold"))


def test_text_from_files_is_escaped(found: AfterTheJob) -> None:
    assert found.bridge is not None
    bad = replace(found, bridge=replace(found.bridge, way="<b>x</b>"))
    html = bad._repr_html_()
    assert "<b>" not in html
    assert "&lt;b&gt;" in html.casefold()


def test_command_tells_all(capsys: pytest.CaptureFixture[str]) -> None:
    screens = {(): "neglect salt|Your ranges|teaches", ("--full",): "Every step|then and now|Do the ranges|teaches"}
    for options, said in screens.items():
        words_in_order = ("Good decision", "came to EUR 917", *said.split("|"))
        assert main(["after-the-job", str(DATA / "alternator_done"), *options]) == 0
        out = capsys.readouterr().out
        places = [out.index(w) for w in words_in_order]
        assert places == sorted(places)
        assert "neglect=" not in out
        assert options or len(out.splitlines()) <= 24


def test_command_json_and_log_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["after-the-job", str(DATA / "job_log"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["bridge"] is None


def of_no_known_kind(folder: Path) -> Path:
    """A case of three numbers whose unit nobody knows, so that it has the general tree and tasks."""
    shutil.copytree(DATA / "starter", folder)
    text = (folder / "case.toml").read_text().replace('"starter"', '"smoke shifter"')
    (folder / "case.toml").write_text(text)
    return folder


def test_decide_fill_close_log_learn_use(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The whole walk of an owner, from a case of three numbers to the next case that uses what was learned."""
    case = of_no_known_kind(tmp_path / "pump")
    assert main(["after-the-job", str(case), "--decide", "rebuild here", "--on", "2026-05-04"]) == 0
    assert main(["after-the-job", str(case), "--decide"]) == 2
    assert "frozen once" in capsys.readouterr().err
    sheet = case / "actual.csv"
    text = sheet.read_text()
    text = text.replace("found,neglect,,", "found,neglect,heavy,").replace("found,fasteners,,", "found,fasteners,free,")
    text = text.replace("task,gain access and take it off,,,,,,,", "task,gain access and take it off,,,,,,9,")
    sheet.write_text(text)
    learned = tmp_path / "next" / "learned.toml"
    of_no_known_kind(learned.parent)
    line = ["after-the-job", str(case), "--log", str(tmp_path / "log"), "--add-to-log", "--learn", str(learned)]
    assert main(line) == 0
    out = capsys.readouterr().out
    assert "Added pump to" in out
    assert main(line) == 2
    plain = repairecon.read_case(learned.parent)
    with (learned.parent / "case.toml").open("a") as file:
        file.write("\n[learned]\nuse = true\n")
    taught = repairecon.rebuild_or_buy(repairecon.read_case(learned.parent), 100)
    moved = [a for a in taught.assumed if a.source == "learned from 1 job"]
    assert {"chance: neglect=heavy", "own hours, removal"} <= {a.name for a in moved}
    before = repairecon.rebuild_or_buy(plain, 100).table["own_hours_mean"]
    assert (taught.table["own_hours_mean"] > before).all()
    capsys.readouterr()
    assert main(["rebuild-or-buy", str(learned.parent), "--draws", "100", "--part", "assumed"]) == 0
    assert "learned from 1 job" in capsys.readouterr().out


@pytest.mark.parametrize("way", ["no/such/folder", str(DATA / "windlass"), __file__])
def test_bad_folders_end_with_2(way: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["after-the-job", way]) == 2
    err = capsys.readouterr().err
    assert err.strip()
    assert "Traceback" not in err


def test_a_job_closed_twice_is_one_job(boat: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From a copy of its folder under another name as well; another job of that name is a job of its own."""
    log = boat.parent / "job_log"
    shutil.copytree(boat, boat.parent / "again")
    assert main(["after-the-job", str(boat), "--add-to-log"]) == 0
    before = (log / "job_log.csv").read_bytes()
    capsys.readouterr()
    assert main(["after-the-job", str(boat.parent / "again"), "--add-to-log"]) == 2
    assert "again is in the log already, as 'alternator_done'" in capsys.readouterr().err
    assert main(["after-the-job", str(boat), "--add-to-log"]) == 2
    assert (log / "job_log.csv").read_bytes() == before
    past = repairecon.read_log(log)
    again = repairecon.after_the_job(repairecon.read_closed(boat.parent / "again"), past)
    assert again.learned.jobs == len(past.jobs) == 26
    assert again.learned == repairecon.after_the_job(None, past).learned
    later = tuple(replace(r, closed_on="2027-01-01", actual=(r.actual or 0.0) + 1.0) for r in again.logged)
    both = with_job(past, [replace(r, job="alternator_done") for r in later])
    assert both.jobs[-1] == "alternator_done, 2027-01-01"
    assert len(both.jobs) == 27


def test_a_job_with_nothing_filled_in_is_neither_logged_nor_learned_from(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = of_no_known_kind(tmp_path / "pump")
    assert main(["after-the-job", str(case), "--decide", "rebuild here"]) == 0
    capsys.readouterr()
    assert main(["after-the-job", str(case)]) == 0
    out = capsys.readouterr().out
    assert "Nothing filled in yet" in out
    assert "ecision," not in out
    for more in (["--add-to-log"], ["--learn", str(tmp_path / "learned.toml")]):
        assert main(["after-the-job", str(case), *more]) == 2
        assert "nothing filled in yet" in capsys.readouterr().err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["pump"]


def test_faults_leave_the_log_as_it_was(boat: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = boat.parent / "job_log" / "job_log.csv"
    before = log.read_bytes()
    sheet = boat / "actual.csv"
    sheet.write_text(sheet.read_text().replace("found,neglect,salt", "found,neglect,pepper").replace(",26,", ",x,"))
    assert main(["after-the-job", str(boat), "--add-to-log"]) == 2
    assert "2 faults" in capsys.readouterr().err
    assert log.read_bytes() == before


def test_a_changed_decision_ends_with_2(boat: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = boat / "decided" / "parts.csv"
    path.write_text(path.read_text().replace("24", "44"))
    assert main(["after-the-job", str(boat)]) == 2
    assert "changed since the decision" in capsys.readouterr().err


def test_a_report_is_written_and_the_job_is_logged_too(
    boat: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is on the page, the tests of all pages look at."""
    monkeypatch.setattr(screen, "page", lambda found: f"the page of {found.name}")
    assert main(["after-the-job", str(boat), "--report", str(tmp_path / "r.html"), "--add-to-log"]) == 0
    assert boat.name in repairecon.read_log(boat.parent / "job_log").jobs
    assert (tmp_path / "r.html").read_text(encoding="utf-8") == f"the page of {boat.name}"


def test_nothing_written_down_is_said_so(found: AfterTheJob) -> None:
    assert found.bridge is not None
    blank = replace(found.bridge, steps=(), actual=found.bridge.estimate, whole=())
    text = screen.bridge(blank, "EUR")
    assert text == "All that was written down is as expected: EUR 573 all in for rebuild here."
    assert "It took" not in screen.decided(replace(found, bridge=blank))
    assert "own hours" in screen.decided(found)
    other = replace(found, bridge=replace(found.bridge, way="exchange"))
    assert "In the end: exchange." in screen.decided(other)


def test_a_difference_of_nothing_is_not_said_as_more_or_less(found: AfterTheJob) -> None:
    assert found.bridge is not None
    near = replace(found.bridge, actual={**found.bridge.actual, "total": found.bridge.estimate["total"] + 0.3})
    assert "all in, as expected;" in screen.bridge(near, "EUR")


def test_few_jobs_are_said_in_one_line(found: AfterTheJob) -> None:
    few = changed(found, held=tuple(replace(h, says="cannot tell", inside=1, of=1) for h in found.held))
    lines = screen.all_held(few)
    assert len(lines) == 1
    assert lines[0].startswith("Too few to tell whether these ranges hold (inside the range stated: cash 1 of 1, ")
    lines = screen.all_held(found)
    assert lines[:2] == [screen.held(h) for h in found.held if h.says == "too narrow"]
    assert lines[2].startswith("These ranges hold (inside the range stated: cash 22 of 26, ")


def test_few_chances_are_not_judged(found: AfterTheJob) -> None:
    assert found.calibration is not None
    few = changed(found, calibration=replace(found.calibration, many=2))
    assert "too few to tell" in screen.chances(few)
    alone = replace(found.calibration, groups=(found.calibration.groups[0]._replace(many=1, low=0.9, high=1.0),))
    assert screen.chances(changed(found, calibration=alone)).endswith("What came agrees with what was stated.")


@pytest.mark.parametrize(("amount", "words"), [(400.0, "quote before"), (-400.0, "take these prices")])
def test_the_caption_of_the_bridge_knows_dearer_from_cheaper(found: AfterTheJob, amount: float, words: str) -> None:
    assert found.bridge is not None
    step = replace(found.bridge.steps[0], group="price", amount=amount)
    caption = charts.bridge_caption(replace(found, bridge=replace(found.bridge, steps=(step,))))
    assert words in caption


def test_what_was_fitted_was_not_paid_a_second_time(found: AfterTheJob) -> None:
    table = screen.movements_table(found)
    assert set(table.loc[table["movement"] == "fitted", "paid"]) == {""}
    assert "EUR 9.80" in set(table["paid"])
