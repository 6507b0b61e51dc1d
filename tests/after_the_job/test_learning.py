"""What was put into simulated logs is found again, with as much doubt as there is."""

from __future__ import annotations

import random

import numpy as np
import pytest

from repairecon.after_the_job import learning
from repairecon.records import STAGES, JobLog, Logged, Source

AT = Source("x")


def row(job: str, kind: str, name: str = "n", unit: str = "pump", **more) -> Logged:
    return Logged(job=job, closed_on="", unit=unit, kind=kind, name=name, source=AT, **more)


def hours_log(rng: np.random.Generator, jobs: int, bias: float, first: float, removal: float) -> list[Logged]:
    """Tasks of an owner whose hours come out exp(bias) times the guess, more when first, more at removal."""
    rows = []
    for k in range(jobs):
        own = 0.15 * rng.standard_normal()
        for stage in ("removal", "strip", "reassembly"):
            log = bias + own + first * (k % 2 == 0) + removal * (stage == "removal") + 0.25 * rng.standard_normal()
            more = {"group": stage, "p50": 2.0, "actual": 2.0 * np.exp(log), "first_time": k % 2 == 0}
            rows.append(row(f"{k:03}", "hours", **more))
    return rows


def test_the_owners_pace_is_found_again() -> None:
    rng, held, found = np.random.default_rng(8), 0, []
    truth = np.exp(0.3 + 0.2 + 0.15)
    for _ in range(300):
        factor, low, high = learning.pace(hours_log(rng, 40, 0.3, 0.2, 0.15)).factor("removal", True)
        held += low < truth < high
        found.append(np.log(factor))
    # three standard errors of a share of 300; the prior pulls by a little towards none
    assert held / 300 == pytest.approx(0.8, abs=3 * (0.16 / 300) ** 0.5 + 0.03)
    assert np.mean(found) == pytest.approx(0.65, abs=0.05)


def test_the_range_of_the_next_task() -> None:
    rng, held, many = np.random.default_rng(9), 0, 400
    for _ in range(many):
        pace = learning.pace(hours_log(rng, 20, 0.3, 0.2, 0.0))
        more = 1.0 + 1.0 / learning.PACE_JOBS  # the pace of a job of its own, and the scatter of the task
        _, low, high = np.exp(learning.belief_interval(pace.belief, pace.row("strip", False), more, 0.8))
        next_one = np.exp(0.3 + 0.15 * rng.standard_normal() + 0.25 * rng.standard_normal())
        held += low < next_one < high
    # the belief takes a job's own pace to scatter as widely as its tasks do, which is rather too much here
    assert 0.75 < held / many < 0.93


def test_pace_with_much_data_is_the_plain_mean() -> None:
    rows = hours_log(np.random.default_rng(3), 600, 0.4, -0.2, 0.3)
    for stage, first in (("removal", True), ("strip", False)):
        same = [np.log(r.actual / r.p50) for r in rows if (r.group, r.first_time) == (stage, first)]
        assert np.log(learning.pace(rows).factor(stage, first)[0]) == pytest.approx(np.mean(same), abs=0.03)


def test_an_unseen_stage_borrows_from_the_others() -> None:
    rows = hours_log(np.random.default_rng(3), 30, 0.5, 0.0, 0.0)
    factor, low, high = learning.pace(rows).factor("measure", False)
    seen = learning.pace(rows).factor("strip", False)
    assert factor > 1.2
    assert high / low > seen[2] / seen[1]


def test_nothing_seen_is_what_was_believed() -> None:
    before, after = learning.pace_before(), learning.pace(())
    assert after.factor("strip", True).tolist() == before.factor("strip", True).tolist()
    assert before.factor("strip", True)[0] == 1.0
    assert learning.learn(JobLog()) == learning.Learned(jobs=0, strength=learning.STRENGTH)


def price_log(rng: np.random.Generator, many: int, rate: float) -> list[Logged]:
    ages = 3.0 * rng.random(many)
    paid = np.exp(rate * ages + 0.08 * rng.standard_normal(many))
    return [row("j", "price", p50=20.0, actual=20.0 * p, years=float(a)) for a, p in zip(ages, paid, strict=True)]


def test_drift_is_found_again() -> None:
    rng, held = np.random.default_rng(12), 0
    for _ in range(300):
        belief = learning.drift(price_log(rng, 60, 0.06))
        _, low, high = learning.belief_interval(belief, [0.0, 1.0], 0.0, 0.8)
        held += low < 0.06 < high
    assert held / 300 == pytest.approx(0.8, abs=3 * (0.16 / 300) ** 0.5 + 0.03)
    many = learning.learn(JobLog(tuple(price_log(rng, 2000, 0.06))))
    assert many.drift_rate == pytest.approx(np.exp(0.06) - 1, abs=0.005)


def test_drift_is_not_said_from_few_ages() -> None:
    rows = tuple(row("j", "price", p50=20.0, actual=25.0, years=y) for y in (1.0, 1.0, 2.0))
    assert learning.learn(JobLog(rows)).drift_rate is None
    undated = tuple(row("j", "price", p50=20.0, actual=25.0) for _ in range(9))
    assert learning.learn(JobLog(undated)).drift_rate is None


def test_counts_and_lives_by_hand() -> None:
    rows = (
        row("a", "count", "shaft", given="neglect=long", outcome="grooved", actual=0.5),
        row("b", "count", "shaft", given="neglect=long", outcome="grooved"),
        row("b", "count", "shaft", "windlass", outcome="grooved"),
        row("a", "life", "x", group="new", years=4.0, happened=True),
        row("b", "life", "x", group="new", years=6.0, happened=False),
        row("b", "life", "x", "windlass", group="new", years=50.0, happened=False),
    )
    learned = learning.learn(JobLog(rows))
    assert [(c.unit, c.given, c.count) for c in learned.chances] == [
        ("pump", "neglect=long", 1.5),
        ("windlass", "", 1.0),
    ]
    assert [(x.unit, x.years, x.failed) for x in learned.lives] == [
        ("pump", 4.0, True),
        ("pump", 6.0, False),
        ("windlass", 50.0, False),
    ]


def test_order_does_not_matter() -> None:
    rows = hours_log(np.random.default_rng(1), 9, 0.2, 0.1, 0.0)
    mixed = rows[:]
    random.Random(2).shuffle(mixed)
    for stage in STAGES:
        one, other = (learning.pace(x).factor(stage, True) for x in (rows, mixed))
        assert one == pytest.approx(other, rel=1e-12)
