"""The owner's own lives through the job."""

from __future__ import annotations

import pytest
import reference_case as rc

from repairecon.rebuild_or_buy.command import as_json
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.parts import full
from repairecon.records import OwnLife, Source, Years

# Standby pump seals, hours: published worksheet; taken here as thousandths, in years.
STANDBY = (2.2, 3.8, 4.6, 5.0, 6.7, 7.5, 7.8, 8.0, 11.0, 12.9)


def lives(way: str, ages: tuple[float, ...]) -> tuple[OwnLife, ...]:
    return tuple(
        OwnLife(way=way, years=a, hours=None, failed=True, source=Source("lives.csv", k + 2))
        for k, a in enumerate(ages)
    )


def test_fitted_lives_count_and_are_said():
    years = Years(horizon_years=10.0)
    answer = rebuild_or_buy(rc.case(own_lives=lives("new", STANDBY), years=years), 500)
    fit = answer.life_fits[0]
    assert fit.median == pytest.approx(6.75, abs=0.01)
    assert answer.horizon.ways.loc["new", "median_life"] == pytest.approx(fit.median, rel=0.03)
    assert "new (10 failed, 0 still going, in years): half last 6.75 years" in " ".join(full(answer).split())
    assert as_json(answer)["life_fits"][0]["shape"] == pytest.approx(2.42, abs=0.005)


def test_too_few_are_refused_in_plain_words():
    years = Years(horizon_years=10.0)
    answer = rebuild_or_buy(rc.case(own_lives=lives("new", STANDBY[:2]), years=years), 500)
    assert "Your own lives of new (2 failed, 0 still going, in years) cannot tell" in " ".join(full(answer).split())
