"""The life of a unit of the boat before it fails, as old as it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from repairecon.formulas import lives
from repairecon.read.boat import BoatPapers, age_years
from repairecon.read.case_folder import unit_case
from repairecon.rebuild_or_buy.lives import Clocks, clocks_of
from repairecon.records import BoatUnit, Case, Range

Floats = NDArray[np.float64]
HALF = 0.5
"""A unit of unknown age is taken to be as old as to have stood so much of its usual life."""

_LONGEST = 1000.0
"""Years beyond which nothing is said of when a unit is due."""

_ANY_PRICE = Range(1.0, 1.0, 1.0)
"""In place of a price that is not known, so that what does not hang on it can be read."""


def case_before(papers: BoatPapers, unit: BoatUnit) -> Case:
    """The case that a unit will be when it fails; figures that hang on the price of new are none if that is unknown."""
    return unit_case(papers, replace(unit, price_new=unit.price_new or _ANY_PRICE))


@dataclass(frozen=True)
class Life:
    """The life of a unit that has stood and run for a while.

    ``clocks`` are those of a new one, a value for each of some steps through the median's range; ``worn`` (S,) the
    years of use at the pace ahead that wear it as much as its age and its hours have.
    """

    clocks: Clocks
    worn: Floats
    hours_a_year: float

    @cached_property
    def _stands(self) -> Floats:
        """Weight of each step, those likelier under which it would stand until now."""
        life = self.clocks.life(self.hours_a_year)
        survived = np.exp(-((self.worn / life) ** self.clocks.shape))
        weighed = self.clocks.weights * np.maximum(survived, 1e-300)
        return np.asarray(weighed / weighed.sum())

    def p_fails(self, years: float) -> float:
        """Chance that it fails within so many years, given that it works now."""
        fails = lives.cdf(years, self.clocks.life(self.hours_a_year), self.clocks.shape, self.worn)
        return float(fails @ self._stands)

    @cached_property
    def due_years(self) -> float:
        """Years until half of such units have failed; inf beyond all measure."""
        if self.p_fails(_LONGEST) < HALF:
            return inf
        return float(optimize.brentq(lambda t: self.p_fails(t) - HALF, 0.0, _LONGEST))


def life_of(case: Case, unit: BoatUnit, today: str) -> tuple[Life, tuple[str, ...]]:
    """The life of a unit as old as it is, and what was assumed of its age.

    Both clocks' hazards add up: ``(age / life_years)**k + (hours / life_hours)**k`` is put as an age by one clock.
    """
    new = next((w for w in case.ways if w.kind == "new"), case.ways[0])
    clocks = replace(clocks_of(case, new), age_years=0.0, p_early=0.0)
    pace, k = case.years.hours_a_year, clocks.shape
    age, hours, life = age_years(unit, today), unit.hours, clocks.life(pace)
    if age is None and hours is None:
        median = life * np.log(2.0) ** (1.0 / k)
        return Life(clocks, HALF * median, pace), ("its age: half its usual life",)
    if age is None:
        age = (hours or 0.0) / pace if pace > 0 else 0.0
    run = age * pace if hours is None else hours
    worn = (age / clocks.life_years) ** k + (run / clocks.life_hours) ** k
    return Life(clocks, np.asarray(life * worn ** (1.0 / k)), pace), ()
