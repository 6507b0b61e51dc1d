"""The log of jobs and what was learned: written, read back, refused with every fault."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from repairecon import CaseError, RepaireconError, read_case
from repairecon.read.closed import add_to_log, log_text, read_log
from repairecon.read.problems import Problems
from repairecon.read.toml_records import learned_text, read_learned
from repairecon.records import ChanceCount, HoursBias, JobLog, Learned, LearnedLife, Logged, Source

DATA = Path(__file__).parents[2] / "data"
AT = Source("x")
logged = partial(Logged, job="a, b", closed_on="", unit="windlass", source=AT)
ROWS = (
    Logged(
        job="a, b",
        closed_on="2026-01-02",
        unit="windlass",
        kind="range",
        name="total",
        source=AT,
        p10=-5.0,
        p50=0.1,
        p90=2.0,
        actual=3.0,
    ),
    logged(kind="chance", name="core", outcome="refused", chance=0.2, happened=False),
    logged(kind="count", name="core", given="neglect=long", outcome="taken", actual=0.25),
    logged(kind="hours", name="strip", group="strip", p50=2.0, actual=2.5, first_time=True),
    logged(kind="price", name="seal", p50=2.0, actual=2.5, years=0.5),
    logged(kind="life", name="new", group="new", hours=900.0, happened=True),
)
LEARNED = Learned(
    jobs=3,
    strength=0.3,
    chances=(ChanceCount(unit="windlass", event='a "quoted" event', given="", outcome="o", count=1.5),),
    hours=(HoursBias(group="strip", first_time=False, factor=1.25, low=1.1, high=1.4, jobs=2),),
    drift_rate=0.05,
    lives=(
        LearnedLife(unit="windlass", way_kind="new", years=None, hours=900.0, failed=True),
        LearnedLife(unit="windlass", way_kind="new", years=2.0, hours=None, failed=False),
    ),
)


def bare(log: JobLog) -> tuple[Logged, ...]:
    return tuple(replace(r, source=AT) for r in log.rows)


def test_written_and_read_back(tmp_path: Path) -> None:
    add_to_log(tmp_path / "log", ROWS)
    assert bare(read_log(tmp_path / "log")) == ROWS
    more = tuple(replace(r, job="second") for r in ROWS)
    add_to_log(tmp_path / "log", more)
    assert bare(read_log(tmp_path / "log")) == ROWS + more
    assert read_log(tmp_path / "log").jobs == ("a, b", "second")


def test_no_log_is_an_empty_one(tmp_path: Path) -> None:
    assert read_log(tmp_path / "none").rows == ()


def test_a_job_is_logged_once(tmp_path: Path) -> None:
    path = add_to_log(tmp_path, ROWS)
    before = path.read_bytes()
    with pytest.raises(RepaireconError, match="logged once"):
        add_to_log(tmp_path, ROWS)
    assert path.read_bytes() == before


def test_lives_are_renewed_later(tmp_path: Path) -> None:
    add_to_log(tmp_path, ROWS)
    older = replace(ROWS[-1], hours=1200.0, happened=False)
    add_to_log(tmp_path, (*ROWS[:-1], older))
    assert bare(read_log(tmp_path)) == (*ROWS[:-1], older)


def test_a_faulty_log_is_not_added_to(tmp_path: Path) -> None:
    (tmp_path / "job_log.csv").write_text("job,unit,kind,name\nx,windlass,rnge,total\n")
    with pytest.raises(CaseError):
        add_to_log(tmp_path, ROWS)
    assert (tmp_path / "job_log.csv").read_text().endswith("rnge,total\n")


def test_every_fault_of_a_log(tmp_path: Path) -> None:
    (tmp_path / "job_log.csv").write_text(
        "job,closed_on,unit,kind,name,group,given,outcome,chance,p10,p50,p90,actual,years,hours,first_time,happened\n"
        "a,yesterday,pump,range,totl,,,,,3,2,4,x,,,,\n"
        ",,pump,chance,core,,,taken,60,,,,,,,,perhaps\n"
        "b,,,life,,,,,,,,,,,,,\n"
        "b,,pump,hours,strip,,,,,,2,,,,,maybe,\n"
    )
    with pytest.raises(CaseError) as caught:
        read_log(tmp_path)
    assert [(f.row, f.column) for f in caught.value.faults] == [
        (2, "actual"),
        (2, "closed_on"),
        (2, "name"),
        (2, "p10"),
        (3, "chance"),
        (3, "happened"),
        (3, "job"),
        (4, "group"),
        (4, "happened"),
        (4, "unit"),
        (4, "years"),
        (5, "actual"),
        (5, "first_time"),
    ]


def test_the_demo_log_is_whole_and_says_that_it_is_invented() -> None:
    log = read_log(DATA / "job_log")
    assert len(log.jobs) == 25
    assert {r.kind for r in log.rows} == {"range", "chance", "count", "hours", "price", "life"}
    assert "invented" in (DATA / "job_log" / "about.txt").read_text()
    assert log_text(log.rows) == (DATA / "job_log" / "job_log.csv").read_text()


def test_learned_written_and_read_back(tmp_path: Path) -> None:
    (tmp_path / "learned.toml").write_text(learned_text(LEARNED), encoding="utf-8")
    assert read_learned(tmp_path / "learned.toml", Problems()) == LEARNED


def case_with(tmp_path: Path, section: str, learned: str | None = None) -> Path:
    text = (DATA / "starter" / "case.toml").read_text()
    (tmp_path / "case.toml").write_text(f"{text}\n{section}\n")
    if learned is not None:
        (tmp_path / "learned.toml").write_text(learned)
    return tmp_path


def test_a_case_takes_it_only_if_it_asks(tmp_path: Path) -> None:
    text = learned_text(LEARNED)
    assert read_case(case_with(tmp_path, "", text)).learned is None
    assert read_case(case_with(tmp_path, "[learned]\nuse = false", text)).learned is None
    read = read_case(case_with(tmp_path, "[learned]\nuse = true\nfirst_time = false", text)).learned
    assert read == replace(LEARNED, first_time=False)


@pytest.mark.parametrize(
    ("section", "learned", "where"),
    [
        ("[learned]\nuse = true", None, ("case.toml", "learned.use")),
        ('[learned]\nuse = "yes"', None, ("case.toml", "learned.use")),
        ("[learned]\nues = true", None, ("case.toml", "learned.ues")),
        ("[learned]\nuse = true", "[learned]\njobs = 2", ("learned.toml", "learned.strength")),
        ("[learned]\nuse = true", "[learned\n", ("learned.toml", "")),
        (
            "[learned]\nuse = true",
            "[learned]\njobs = 2\nstrength = 0.3\n[[chance]]\nevent = 'e'\noutcome = 'o'\ncount = -1",
            ("learned.toml", "chance.count"),
        ),
    ],
)
def test_faults_of_asking(tmp_path: Path, section: str, learned: str | None, where: tuple[str, str]) -> None:
    with pytest.raises(CaseError) as caught:
        read_case(case_with(tmp_path, section, learned))
    assert where in [(f.file, f.column) for f in caught.value.faults]
