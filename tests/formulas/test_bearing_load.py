"""Equivalent load and needed rating against worked pages, and against the life they must give back."""

import pytest

from repairecon.formulas.bearing_life import basic_rating_life, rating_life_hours
from repairecon.formulas.bearing_load import equivalent_load, rating_for_hours


def test_worked_equivalent_load() -> None:
    # published bearing calculation example 3 (general catalogue text): Fr 2500 N, Fa 1000 N, X 0.56, Y 1.67: 3070 N
    assert equivalent_load(2500, 1000, 0.56, 1.67) == pytest.approx(3070, abs=0.5)


def test_a_small_axial_load_does_not_relieve_the_bearing() -> None:
    # ISO 281 (from memory): P is not below Fr for a single-row radial ball bearing
    assert equivalent_load([2500, 2500], [0, 100], 0.56, 1.67) == pytest.approx([2500, 2500])


def test_worked_rating() -> None:
    # published bearing calculation example 2 (general catalogue text), with rounded factors: 31 380 N
    assert rating_for_hours(3000, 10000, 1900) == pytest.approx(31380, rel=0.0015)


@pytest.mark.parametrize(("kind", "exponent"), [("ball", 3.0), ("roller", 10 / 3)])
def test_the_rating_gives_the_hours_back(kind: str, exponent: float) -> None:
    rating = rating_for_hours(1800, 7500, 1450, exponent)
    assert rating_life_hours(basic_rating_life(rating, 1800, kind), 1450) == pytest.approx(7500, rel=1e-12)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="not below 0"):
        equivalent_load(-1, 0, 1, 0)
    with pytest.raises(ValueError, match="above 0"):
        rating_for_hours(3000, 0, 1900)
