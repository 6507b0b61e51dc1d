"""A case after what was learned, by hand; and that nothing moves unless the case asks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from repairecon import read_case
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.records import ChanceCount, HoursBias, Learned, LearnedLife, Moved

DATA = Path(__file__).parents[2] / "data"
LEARNED = Learned(
    jobs=7,
    strength=0.5,
    chances=(
        ChanceCount(unit="alternator", event="neglect", given="", outcome="salt", count=3.0),
        ChanceCount(unit="windlass", event="neglect", given="", outcome="salt", count=2.0),
        ChanceCount(unit="alternator", event="Rectifier", given="neglect=dry", outcome="BURNT", count=2.0),
        ChanceCount(unit="alternator", event="rectifier", given="", outcome="burnt", count=50.0),
        ChanceCount(unit="alternator", event="mast", given="", outcome="gone", count=9.0),
    ),
    hours=(
        HoursBias(group="removal", first_time=True, factor=1.5, low=1.2, high=1.9, jobs=4),
        HoursBias(group="removal", first_time=False, factor=0.9, low=0.8, high=1.0, jobs=4),
    ),
    drift_rate=0.06,
    lives=(
        LearnedLife(unit="alternator", way_kind="new", years=4.0, hours=None, failed=True),
        LearnedLife(unit="windlass", way_kind="new", years=9.0, hours=None, failed=True),
    ),
)


@pytest.fixture(scope="module")
def case():
    return read_case(DATA / "alternator")


def chance(case, event: str, outcome: str, given: str = "") -> float:
    return next(
        b.chance
        for b in case.branches
        if (b.event, b.outcome, "; ".join(f"{e}={o}" for e, o in b.given)) == (event, outcome, given)
    )


def test_chances_by_hand(case) -> None:
    after = with_learned(replace(case, learned=LEARNED))
    # neglect: weight 5, salt 0.4; three seen on alternators, two on a windlass that count for one half each
    assert chance(after, "neglect", "salt") == pytest.approx((5 * 0.4 + 3 + 0.5 * 2) / (5 + 4))
    assert chance(after, "neglect", "dry") == pytest.approx(5 * 0.6 / 9)
    # rectifier when dry: weight 6, burnt 0.3, two seen; under salt nothing was seen, nor under no condition
    assert chance(after, "rectifier", "burnt", "neglect=dry") == pytest.approx((6 * 0.3 + 2) / 8)
    assert chance(after, "rectifier", "burnt", "neglect=salt") == 0.6
    assert chance(after, "slip rings", "too thin", "neglect=dry") == 0.1


def test_hours_by_hand(case) -> None:
    for first, factor in ((True, 1.5), (False, 0.9)):
        after = with_learned(replace(case, learned=replace(LEARNED, first_time=first)))
        for old, new in zip(case.tasks, after.tasks, strict=True):
            by = factor if old.stage == "removal" and old.hours.high > 0 else 1.0
            assert (new.hours.low, new.hours.likely, new.hours.high) == pytest.approx(
                (by * old.hours.low, by * old.hours.likely, by * old.hours.high)
            )


def test_drift_only_where_the_case_assumes_it(case) -> None:
    assert any(a.name == "inflation_rate" for a in case.assumed)
    assert with_learned(replace(case, learned=LEARNED)).years.inflation_rate == 0.06
    said = read_case(DATA / "windlass", years=True)
    assert not any(a.name == "inflation_rate" for a in said.assumed)
    assert with_learned(replace(said, learned=LEARNED)).years.inflation_rate == 0.02


def test_lives_of_the_same_kind_of_unit(case) -> None:
    lives = with_learned(replace(case, learned=LEARNED)).own_lives
    assert [(x.way, x.years, x.failed) for x in lives] == [("new from the maker", 4.0, True)]


def test_what_moved_is_listed_with_its_source(case) -> None:
    after = with_learned(replace(case, learned=LEARNED))
    moved = {a.name: a for a in after.assumed if isinstance(a, Moved)}
    assert {a.source for a in moved.values()} == {"learned from 7 jobs"}
    salt = moved["chance: neglect=salt"]
    assert (salt.was, salt.now) == (0.4, pytest.approx(6 / 9))
    assert (moved["own hours, removal"].was, moved["own hours, removal"].now) == (1.0, 1.5)
    assert moved["inflation_rate"].now == 0.06
    assert "chance: slip rings=too thin given neglect=dry" not in moved
    assert sum(a.name == "inflation_rate" for a in after.assumed) == 1


def test_nothing_learned_or_nothing_asked_gives_the_case_itself(case) -> None:
    assert with_learned(case) is case
    empty = replace(case, learned=Learned(jobs=0, strength=0.3))
    assert with_learned(empty) is empty


@pytest.mark.parametrize("folder", ["alternator", "starter", "windlass", "alternator_done"])
def test_no_demo_uses_it(folder: str) -> None:
    assert read_case(DATA / folder).learned is None
