"""Part of the main job: what each way comes to over the owner's years, and what a spare aboard is worth."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import pandas as pd

from repairecon.rebuild_or_buy.cheapest_years import cheapest_over_years
from repairecon.rebuild_or_buy.fan import cost_over_years
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.rebuild_or_buy.spares import Combination, spare_combinations, worth_by_days
from repairecon.rebuild_or_buy.years import Ledger, over_the_years
from repairecon.records import Years

DRAWS, PATHS = 16_384, 1000
"""Draws of this job and courses of failures a replicate: standard errors of about a tenth of a chance in 100."""


@dataclass(frozen=True)
class Horizon:
    """The years after the job.

    ``ways`` has a row a way (see ``chance.years.WayYears``) and the chance ``p_cheapest`` (``p_cheapest_se`` its
    standard error) that it is the cheapest over the years; ``best`` the allowed way with the least present cost;
    ``spares`` what a spare is worth by combination, ``best_spare`` the one with the highest net worth; ``fan`` cost so
    far by year and way; ``spare_lines`` net worth of a spare against the days it saves.
    """

    years: Years
    ways: pd.DataFrame
    best: str
    spares: tuple[Combination, ...]
    best_spare: str
    fan: pd.DataFrame
    spare_lines: pd.DataFrame


def reckon(model: Model, outcomes: Outcomes, years: Years, kit_cost: float, seed: int) -> Horizon:
    """Every way over the horizon; at 0 years the present cost is that of this job."""
    ledger = Ledger(model, years, outcomes.mean[:, 3])
    rows = over_the_years(ledger)
    ways = pd.DataFrame([asdict(r) for r in rows]).set_index("way")
    ways["p_cheapest"], ways["p_cheapest_se"] = outcomes.p_cheapest, outcomes.p_cheapest_se
    if years.horizon_years > 0:
        ways["p_cheapest"], ways["p_cheapest_se"] = cheapest_over_years(ledger, model, outcomes, seed, DRAWS, PATHS)
    allowed = ways["present_cost"][[bool(a) for a in model.allowed]]
    spares = tuple(spare_combinations(ledger, rows, kit_cost)) if years.horizon_years > 0 else ()
    lines = worth_by_days(ledger, rows) if years.horizon_years > 0 else {}
    frames = [pd.DataFrame({"combination": n, "days_saved": d, "worth": w}) for n, (d, w) in lines.items()]
    empty = pd.DataFrame(columns=["combination", "days_saved", "worth"])
    return Horizon(
        years,
        ways,
        str(allowed.idxmin()),
        spares,
        max(spares, key=lambda c: c.net).combination if spares else "",
        cost_over_years(ledger, outcomes, seed) if years.horizon_years > 0 else pd.DataFrame(),
        pd.concat(frames, ignore_index=True) if frames else empty,
    )


def years_of(years: Years, horizon_years: float | None) -> Years:
    """The case's years, the horizon overridden."""
    return years if horizon_years is None else replace(years, horizon_years=horizon_years)
