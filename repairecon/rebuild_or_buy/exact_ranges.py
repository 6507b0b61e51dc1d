"""Part of the main job: ranges of money without sampling noise, where the exact engine can give them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from repairecon.formulas.grid_answers import chance_up_to, quantile_of
from repairecon.rebuild_or_buy.exact import exact_distribution
from repairecon.rebuild_or_buy.model import Model
from repairecon.records import RepaireconError

SHARES = np.array([0.1, 0.5, 0.9])


def put_in(model: Model, table: pd.DataFrame, curves: pd.DataFrame) -> dict[str, str]:
    """Put exact ranges of total and cash into the tables; way -> why it stays sampled ('' where exact).

    A way whose total is refused keeps its sampled figures; its cash may still be exact.
    """
    told = {}
    for i, way in enumerate(model.ways):
        told[way] = ""
        for quantity in ("cash", "total"):
            try:
                found = exact_distribution(model, i, quantity)
            except RepaireconError as error:
                told[way] = str(error).removeprefix("exact range not available: ")
                continue
            table.loc[way, [f"{quantity}_p{p}" for p in (10, 50, 90)]] = quantile_of(*found, SHARES)
            table.loc[way, f"{quantity}_p90_se"] = 0.0
            if quantity == "total":
                curves[way] = chance_up_to(*found, curves.index.to_numpy())
    return told
