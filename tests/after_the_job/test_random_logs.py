"""Logs of any rows that may be read: no face fails, and what is learned can be read again by the next case."""

from __future__ import annotations

import json
import random
from functools import partial
from pathlib import Path

import pytest

from repairecon.after_the_job import charts, screen
from repairecon.after_the_job.command import as_json
from repairecon.after_the_job.job import after_the_job
from repairecon.after_the_job.log import calibration
from repairecon.read.closed import log_text, read_log
from repairecon.read.problems import Problems
from repairecon.read.toml_records import learned_text, read_learned
from repairecon.records import LOG_KINDS, QUANTITIES, STAGES, JobLog, Logged, Source

ODD = (0.0, 1e-12, 1e-3, 0.5, 1.0, 3.0, 10.0, 250.0, 1e6)
logged = partial(Logged, closed_on="", source=Source("x"))


def a_row(rng: random.Random, job: str) -> Logged:
    """A row of any kind, its numbers odd."""
    kind, unit = rng.choice(list(LOG_KINDS)), rng.choice(["pump", "winch"])
    ends = sorted(rng.choice(ODD) for _ in range(3))
    seller = rng.choice(["stockist", "Stockist", "a: b"])
    if rng.random() < 0.2:
        ends = ends[:1] * 3
    more: dict[str, object] = {
        "range": {"name": rng.choice(QUANTITIES), "actual": rng.choice([*ODD, -5.0])},
        "chance": {"outcome": "o", "chance": rng.choice([0.0, 1.0, 0.2, 1e-300]), "happened": rng.random() < 0.5},
        "count": {"outcome": "o", "given": rng.choice(["", "a=b"]), "actual": rng.choice([None, 1.0, 0.3])},
        "hours": {"group": rng.choice([*STAGES, ""]), "actual": rng.choice(ODD), "first_time": rng.random() < 0.5},
        "price": {"actual": rng.choice(ODD), "years": rng.choice([None, 0.0, 0.1, 5.0, 1000.0]), "group": seller},
        "days": {"p50": rng.choice(ODD), "actual": rng.choice([0.0, *ODD]), "group": seller},
        "life": {"group": "new", "years": rng.choice([None, 0.1, 5.0, 9999.0]), "hours": 9.0, "happened": True},
    }[kind]  # type: ignore[assignment]
    if kind in ("range", "hours", "price"):
        more = {"p10": ends[0], "p50": ends[1], "p90": ends[2], **more}
    more = {"name": "x", **more}
    return Logged(job=job, closed_on="", unit=unit, kind=kind, source=Source("x"), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(12))
def test_any_log(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    jobs = [f"job {k}" for k in range(rng.choice([1, 2, 3, 10, 200]))]
    rows = [a_row(rng, job) for job in jobs for _ in range(rng.choice([1, 3]))]
    (tmp_path / "job_log.csv").write_text(log_text(rows), encoding="utf-8")
    found = after_the_job(None, read_log(tmp_path))
    assert "nan" not in screen.full(found)
    json.dumps(as_json(found), allow_nan=False)
    screen.held_table(found)
    screen.learned_table(found)
    charts.held_caption(found)
    (tmp_path / "learned.toml").write_text(learned_text(found.learned), encoding="utf-8")
    assert read_learned(tmp_path / "learned.toml", Problems()).hours == found.learned.hours


def test_a_slip_of_the_pen_does_not_stop_the_next_case(tmp_path: Path) -> None:
    row = logged(kind="hours", name="x", job="a", unit="pump", group="strip", p50=0.001, actual=9e5, first_time=True)
    learned = after_the_job(None, JobLog((row,))).learned
    assert max(h.high for h in learned.hours) == 100.0
    (tmp_path / "learned.toml").write_text(learned_text(learned), encoding="utf-8")
    assert read_learned(tmp_path / "learned.toml", Problems()).hours == learned.hours


def test_a_chance_worked_out_falls_into_its_group() -> None:
    """0.1 + 0.1 and 1 - 0.8 are the same chance, whatever their last digit."""
    stated = (0.2, 1.0 - 0.8, 0.19999999999999998)
    rows = [
        logged(kind="chance", name="x", job=f"{k}", unit="pump", outcome="o", chance=p, happened=False)
        for k, p in enumerate(stated)
    ]
    found = calibration(JobLog(tuple(rows)))
    assert found is not None
    assert [g.many for g in found.groups] == [3]
