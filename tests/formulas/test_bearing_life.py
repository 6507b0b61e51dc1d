"""Rating lives against worked pages."""

import numpy as np
import pytest

from repairecon.formulas.bearing_life import basic_rating_life, life_from_l10, rating_life_hours
from repairecon.formulas.lives import survival


def test_worked_rating_lives() -> None:
    # worked exam solution, C = 16, P = 2: 512 million turns
    assert basic_rating_life(16, 2) == pytest.approx(512, abs=1)
    # worked page on bearing life in the ISO 281 form, 1500 turns a minute: C = 30, P = 3: 11 100 h;
    # C = 30, P = 4: 422 million turns, 4 700 h
    assert rating_life_hours(basic_rating_life(30, 3), 1500) == pytest.approx(11100, abs=50)
    assert basic_rating_life(30, 4) == pytest.approx(422, abs=0.5)
    assert rating_life_hours(basic_rating_life(30, 4), 1500) == pytest.approx(4700, abs=50)


def test_roller_bearings_gain_more() -> None:
    # ISO 281: exponent 10/3 for line contact; twice the rating, 10.08 times the life
    assert basic_rating_life(2, 1, "roller") == pytest.approx(10.08, abs=0.005)


def test_characteristic_life_is_about_five_times_l10() -> None:
    # a reliability engineer's page on bearing slopes (April 2001): roughly 5 times L10 for a typical shape;
    # 5.6 and 4.5 at shapes of 1.3 and 1.5
    got = life_from_l10(1.0, [1.3, 1.5])
    assert got == pytest.approx([5.6, 4.5], abs=0.05)
    assert life_from_l10(1.0) == pytest.approx(5, abs=0.5)


def test_ninety_per_cent_reach_l10() -> None:
    shapes = np.array([0.8, 1.4, 3.0])
    assert survival(1200.0, life_from_l10(1200.0, shapes), shapes) == pytest.approx(0.9, rel=1e-12)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="ball or roller"):
        basic_rating_life(1, 1, "plain")
    for call in (lambda: basic_rating_life(0, 1), lambda: rating_life_hours(5, 0), lambda: life_from_l10(0)):
        with pytest.raises(ValueError, match="above 0"):
            call()
