"""The rating life of bearings through the whole reckoning: worked pages, the first of several by quadrature, words."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from lived_case import lived
from scipy import optimize, stats

from repairecon.rebuild_or_buy.as_json import as_json
from repairecon.rebuild_or_buy.bearings import bearing_life, with_bearing
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.years_told import bearing as told
from repairecon.rebuild_or_buy.years_told import over_the_years
from repairecon.records import Bearing, Case, OwnLife, Range, Source

# worked page on bearing life in the ISO 281 form: C = 30 kN, P = 3 kN, 1500 turns a minute: 11 100 h
ONE = Bearing(30.0, Range(3, 3, 3), 1500.0, "ball", 1, 1.4)
NAMED = ("rebuild here", "second-hand")  # the first has running hours of its own


def with_it(bearing: Bearing) -> Case:
    return replace(lived(), bearing=bearing)


def test_one_bearing_of_a_worked_page() -> None:
    life = bearing_life(with_it(ONE))
    assert life is not None
    assert life.l10_hours == pytest.approx(11100, abs=50)
    eta = life.l10_hours / (-math.log(0.9)) ** (1 / 1.4)
    assert life.half_hours.likely == pytest.approx(stats.weibull_min.median(1.4, scale=eta), rel=1e-9)


@pytest.mark.parametrize("n", [2, 3])
def test_the_first_of_several_ends_the_unit(n: int) -> None:
    """90 % and half of the units: where the product of their survivals has fallen so far."""
    single, several = bearing_life(with_it(ONE)), bearing_life(with_it(replace(ONE, bearings=n)))
    assert single is not None
    assert several is not None
    alone = stats.weibull_min(1.4, scale=single.l10_hours / (-math.log(0.9)) ** (1 / 1.4))
    for share, found in ((0.9, several.l10_hours), (0.5, several.half_hours.likely)):
        at = optimize.brentq(lambda t, p=share: alone.sf(t) ** n - p, 1.0, 1e6)
        assert found == pytest.approx(at, rel=1e-9)


def test_a_greater_load_is_a_shorter_life() -> None:
    """Twice the load, an eighth of the life (exponent 3 of the ball); 10 / 3 for the roller."""
    life = bearing_life(with_it(replace(ONE, load_kn=Range(1.5, 3, 6))))
    assert life is not None
    half = life.half_hours
    assert (half.low, half.high) == (pytest.approx(half.likely / 8), pytest.approx(half.likely * 8))
    roller = bearing_life(with_it(replace(ONE, kind="roller", load_kn=Range(1.5, 3, 3))))
    assert roller is not None
    assert roller.half_hours.high == pytest.approx(roller.half_hours.likely * 2 ** (10 / 3))


def test_it_is_the_running_life_of_the_ways_it_names_and_of_no_other() -> None:
    case = with_it(replace(ONE, ways=NAMED))
    lasting, life = with_bearing(case)
    assert life is not None
    assert life.ways == ("second-hand",)
    changed = [w.way for w, before in zip(lasting.ways, case.ways, strict=True) if w != before]
    assert changed == ["second-hand"]
    assert lasting.way("second-hand").life_hours == life.half_hours
    assert with_bearing(with_it(ONE))[0] == with_it(ONE)
    assert with_bearing(lived()) == (lived(), None)


def test_a_known_life_comes_before_the_rating() -> None:
    case, life = with_bearing(with_it(replace(ONE, ways=NAMED)), {"second-hand"})
    assert life is not None
    assert life.ways == ()
    assert case.way("second-hand").life_hours is None


def test_what_is_told() -> None:
    """With the caution that no rating counts water, salt, seals and rust; the same figures as plain data."""
    own = tuple(
        OwnLife(way="exchange", years=y, hours=None, failed=True, source=Source("lives.csv", 2))
        for y in (2.0, 3.5, 5.0, 7.0)
    )
    named = replace(ONE, ways=(*NAMED, "exchange"), load_kn=Range(2, 3, 4))
    answer = rebuild_or_buy(replace(with_it(named), own_lives=own), draws=200)
    line = told(answer)
    assert line in over_the_years(answer)
    cautions = ("water or salt", "seals, corrosion and standing idle")
    for word in ("ISO 281", "11,111 hours", *cautions, "life of second-hand."):
        assert word in line, line
    data = as_json(answer)["bearing_life"]
    assert data["l10_hours"] == pytest.approx(11100, abs=50)
    assert data["half_hours"]["low"] < data["half_hours"]["likely"] < data["half_hours"]["high"]
    assert data["ways"] == ["second-hand"]


def test_nothing_is_told_of_what_the_case_does_not_speak_of() -> None:
    plain = rebuild_or_buy(replace(lived(), ways=lived().ways[:3]), draws=200, horizon_years=0)
    assert (told(plain), as_json(plain)["bearing_life"]) == ("", None)
