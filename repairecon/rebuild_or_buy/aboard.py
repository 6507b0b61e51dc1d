"""The spare that a pair leaves aboard: how likely it is there at all, and what it would fetch."""

from __future__ import annotations

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.world import NEVER_ENDS, STAGE
from repairecon.records import Way


def p_aboard(model: Model, i: int) -> float:
    """Chance that a way ends with a spare aboard: its rebuild came off, and a bought spare came.

    Where the bought unit goes into service and never comes, another is bought and the old one is the spare still.
    """
    way = model.case.ways[i]
    if not way.bought:
        return 0.0
    ends = model.ends[i]
    if way.traits.in_service == "bought":  # rebuilt at the bench: a first run is not made
        return float(model.world.chance[ends > STAGE["reassembly"]].sum())
    never = model.never.get(model.ways.index(way.bought))
    comes = 1.0 if never is None else 1.0 - float(model.atom_means()[never])
    return float(model.world.chance[ends == NEVER_ENDS].sum()) * comes


def plain_price(model: Model, way: Way) -> float:
    """Expected price of a bought unit, tax and duty in, without carriage, handling and core surcharge."""
    p = model.builder.price_way(way)
    return p.goods * mean_of(p.range)


def fetches(model: Model, i: int, resale_share: float) -> float:
    """What the spare of a pair fetches in the end, if it is aboard.

    A bought spare: a share of its plain price. The old unit rebuilt: the ``old_unit_price`` of the pair if the case
    gives one, else a share of the lowest plain price of a unit, as nobody pays more for it.
    """
    way = model.case.ways[i]
    if not way.bought:
        return 0.0
    if way.traits.in_service == "rebuilt":
        return resale_share * plain_price(model, model.case.way(way.bought))
    if way.old_unit_price.high > 0:
        return mean_of(way.old_unit_price)
    return resale_share * min(plain_price(model, model.case.ways[b]) for b in model.buys)
