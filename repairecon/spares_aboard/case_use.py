"""Part of the job spares-aboard: a whole unit's worth as spare, taken from its own case's reckoning over the years."""

from __future__ import annotations

from pathlib import Path

from repairecon.read.case_folder import read_case
from repairecon.rebuild_or_buy.horizon import Horizon
from repairecon.rebuild_or_buy.lives import with_own_lives
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.rebuild_or_buy.verdict import screen
from repairecon.records import Case, RepaireconError, SpareWish
from repairecon.spares_aboard.answer import CaseWorth

DRAWS = 200
"""The years' averages are exact without any; the draws are for ranges that are not asked for here."""


def horizon_of(case: Case) -> Horizon:
    """The years of a case as rebuild-or-buy has them, without the rest of that job."""
    lived, _ = with_own_lives(case)
    model = Model(lived, grow(lived), {w: not why for w, why in screen(lived).items()})
    return Horizon(model, sample(model, DRAWS, 1), lived.years, 1)


def case_worth(wish: SpareWish) -> CaseWorth:
    """Worth of the spare over the case's years, by the pair of highest net worth; and what it saves at each failure.

    Raises
    ------
    RepaireconError
        If the case looks no years ahead, or has no way that ends with a spare.
    """
    folder = Path(wish.case)
    case = read_case(folder, years=True)
    horizon = horizon_of(case)
    years = horizon.years
    pairs = [c for c in horizon.spares if c.combination in horizon.ways.index]
    if not pairs:
        raise RepaireconError(
            f"passage.toml: {wish.item}: the case {folder.name} tells no worth of a spare: give it years to look ahead "
            "(horizon_years) and a way that ends with a spare, or write cost_without instead of case"
        )
    best = max(pairs, key=lambda c: c.net)
    row = horizon.ways.loc[best.combination]
    failures = float(row["failures_discounted"]) * years.like_units
    return CaseWorth(
        wish.item,
        folder.name,
        best.combination,
        best.worth,
        years.horizon_years,
        failures,
        best.worth / failures if failures > 0.0 else 0.0,
        float(row["failures_expected"]) * years.like_units / years.horizon_years,
    )
