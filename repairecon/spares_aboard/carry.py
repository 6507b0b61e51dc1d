"""What to carry for a budget, what is missing, what is surplus."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.buying.inputs import mean_of
from repairecon.formulas import carry, carry_program, joint_demand, shortage
from repairecon.formulas.carry_list import CarryList, budget_curve, carry_list
from repairecon.spares_aboard.demand import Line

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
COLUMNS = (
    "item", "system", "critical", "have", "buy", "carry", "for_assurance", "p_short_now", "p_short", "worth",
    "worth_bought", "worth_bought_low", "worth_bought_high", "cost_buy",
    "price", "mean_wanted", "cost_without", "cost_without_low", "cost_without_high",
    "wanted_from", "cost_from", "seen", "years", "at_a_time", "measure", "minimum", "wants", "tools_missing",
    "case",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Risk:
    """Being without, with what is aboard now and with what is bought: anything critical short, cost on average."""

    p_critical_now: float
    p_critical_then: float
    cost_now: float
    cost_then: float


@dataclass(frozen=True, kw_only=True)
class Carried:
    """Frames of the answer that tell what to carry."""

    carry: pd.DataFrame
    curve: pd.DataFrame
    missing: pd.DataFrame
    surplus: pd.DataFrame
    spend: float
    most_lost: float
    risk: Risk


class _Arrays:
    """The lines as the formulas take them."""

    def __init__(self, lines: Sequence[Line]) -> None:
        width = max((len(x.wanted.chances) for x in lines), default=1)
        self.demand = np.array([np.pad(x.wanted.chances, (0, width - len(x.wanted.chances))) for x in lines])
        self.demand = self.demand.reshape(len(lines), width)
        self.have = np.array([x.have for x in lines], dtype=np.int64)
        price = np.array([x.price for x in lines], dtype=float)
        self.known = ~np.isnan(price)
        self.price = np.where(self.known, price, 0.0)
        self.short = np.array([mean_of(x.cost_without) * x.p_useful for x in lines], dtype=float)
        self.without = np.array([mean_of(x.cost_without) for x in lines], dtype=float)
        self.low = np.array([x.cost_without.low * x.p_useful for x in lines], dtype=float)
        self.high = np.array([x.cost_without.high * x.p_useful for x in lines], dtype=float)
        self.left = np.array([x.cost_left for x in lines], dtype=float)
        self.most = np.array([x.most for x in lines], dtype=np.int64)
        self.buyable = np.where(self.known, self.most, 0)
        self.weight = np.array([(x.card.weight_kg or 0.0) * x.wanted.at_a_time for x in lines], dtype=float)
        self.room = np.array([(x.card.volume_litres or 0.0) * x.wanted.at_a_time for x in lines], dtype=float)
        self.critical = np.array([x.card.critical for x in lines], dtype=bool)


def carried(
    lines: Sequence[Line], limits_of: tuple[float | None, float | None, float | None],
    covers: Mapping[str, tuple[tuple[str, ...], float]], assurance: float,
) -> Carried:  # fmt: skip
    """By an integer program where things stand in for others or weight or room is short, else by worth per money."""
    a = _Arrays(lines)
    budget, weight_kg, room_litres = limits_of
    money = np.inf if budget is None else budget
    plain = carry_list(a.demand, a.have, a.price, a.short, a.left, a.buyable, money)
    more, most_lost = plain.more, plain.most_lost
    useful = _useful(lines, covers)
    saved = joint_demand.saved_by(a.without, useful)
    limits = [(a.weight, weight_kg), (a.room, room_litres)]
    tight = [(use, limit) for use, limit in limits if limit is not None]
    if covers or tight:
        more, most_lost = _program(a, saved, money, tight)
    now, then = _shortage(a, saved, a.have, bool(covers)), _shortage(a, saved, a.have + more, bool(covers))
    worth = _gain(a, more)
    spend = float(a.price @ more)
    risk = Risk(
        p_critical_now=0.0 + shortage.p_any_short(now[0][a.critical]),
        p_critical_then=0.0 + shortage.p_any_short(then[0][a.critical]),
        cost_now=float(a.without @ now[1]), cost_then=float(a.without @ then[1]),
    )  # fmt: skip
    enough = shortage.stock_for(a.demand, assurance) if len(lines) else np.zeros(0, dtype=np.int64)
    table = _carry(lines, a, more, worth, now[0], then[0], enough)
    missing = _missing(lines, a, _unlimited(a, enough), more)
    curve = _curve(lines, a, plain)
    if covers:
        curve = _joint_curve(curve, a, saved, plain)
    return Carried(
        carry=table, curve=curve, missing=missing, surplus=_surplus(lines, plain), spend=spend, most_lost=most_lost,
        risk=risk,
    )  # fmt: skip


def _stock_worth(a: _Arrays, short: Floats | None = None) -> Floats:
    top = int((a.have + a.most).max(initial=0))
    return carry.stock_worth(a.demand, a.short if short is None else short, a.left, top)


def _gain(a: _Arrays, more: Wholes, short: Floats | None = None) -> Floats:
    table, rows = _stock_worth(a, short), np.arange(len(a.have))
    return np.asarray(table[rows, a.have + more] - table[rows, a.have])


def _unlimited(a: _Arrays, enough: Wholes) -> Wholes:
    """What would be added of each if money had no end; of what has no known price enough, one at least."""
    gain = carry.worth_of_more(_stock_worth(a), a.have, a.most)
    steps = carry.efficient_steps(gain, np.where(a.known, a.price, 0.0))
    wanted = np.bincount(steps.item, steps.units, minlength=len(a.have)).astype(np.int64)
    return np.where(a.known, wanted, np.minimum(np.maximum(np.maximum(enough, 1) - a.have, 0), a.most))


def _useful(lines: Sequence[Line], covers: Mapping[str, tuple[tuple[str, ...], float]]) -> Floats:
    """Chance that a thing (column) ends the want of an item (row): its own, and that of what it stands in for."""
    place = {x.card.name: k for k, x in enumerate(lines)}
    useful = np.diag([x.p_useful for x in lines]).astype(float)
    for name, (others, p) in covers.items():
        for other in others:
            if name in place and other in place:
                useful[place[other], place[name]] = min(p, lines[place[name]].p_useful)
    return useful.reshape(len(lines), len(lines))


def _program(a: _Arrays, saved: Floats, budget: float, tight: list[tuple[Floats, float]]) -> tuple[Wholes, float]:
    uses = np.array([use for use, _ in tight]) if tight else None
    limits = np.array([limit for _, limit in tight]) if tight else None
    found = carry_program.best_carry(
        list(a.demand), saved, a.have, a.price, a.buyable, budget, None, a.left, uses, limits, seconds=20.0
    )
    return found.buy, found.most_lost


def _shortage(a: _Arrays, saved: Floats, stock: Wholes, joint: bool) -> tuple[Floats, Floats]:
    """Chance of each item that one is wanted in vain, and how often on average."""
    usable = np.where(np.diag(saved) > 0.0, stock, 0)
    chance = np.array(shortage.p_short(a.demand, usable), dtype=float)
    units = np.array(shortage.expected_short(a.demand, usable), dtype=float)
    if joint:
        some = _hang_together(saved)
        found = joint_demand.joint_worth(list(a.demand[some]), saved[np.ix_(some, some)], stock[some], a.left[some])
        chance[some], units[some] = found.p_short, found.expected_short
    return chance, units


def _hang_together(saved: Floats) -> Wholes:
    """Items that stand in for another, or are stood in for."""
    others = (saved > 0.0) & ~np.eye(len(saved), dtype=bool)
    return np.flatnonzero(others.any(axis=0) | others.any(axis=1))


def _carry(
    lines: Sequence[Line], a: _Arrays, more: Wholes, worth: Floats, before: Floats, after: Floats, enough: Wholes
) -> pd.DataFrame:
    table, rows = _stock_worth(a), np.arange(len(lines))
    whole = table[rows, a.have + more]
    low, high = _gain(a, more, a.low), _gain(a, more, a.high)
    made = [
        (
            x.card.name, x.card.system, x.card.critical, x.have, int(more[k]), x.have + int(more[k]), int(enough[k]),
            float(before[k]), float(after[k]), float(whole[k]), float(worth[k]), float(low[k]), float(high[k]),
            float(a.price[k] * more[k]), x.price,
            x.wanted.mean, float(a.without[k]), x.cost_without.low, x.cost_without.high,
            x.wanted.source, x.cost_from, x.wanted.seen,
            x.wanted.years, x.wanted.at_a_time, x.card.measure, float(x.card.minimum), x.card.needs, x.tools_missing,
            x.case,
        )
        for k, x in enumerate(lines)
    ]  # fmt: skip
    frame = pd.DataFrame(made, columns=list(COLUMNS))
    return frame.sort_values(["buy", "worth_bought", "worth"], ascending=[False, False, False], kind="stable",
                             key=lambda c: c > 0 if c.name == "buy" else c, ignore_index=True)  # fmt: skip


def _curve(lines: Sequence[Line], a: _Arrays, plain: CarryList) -> pd.DataFrame:
    found = budget_curve(a.demand, a.have, a.short, a.left, plain.steps, a.critical)
    bought = ["", *(lines[int(i)].card.name for i in plain.steps.item)]
    return pd.DataFrame({
        "spend": found.spend, "expected_cost": found.cost_short, "cost_left": found.cost_left,
        "p_critical_short": found.p_critical_short, "item": bought, "units": [0, *plain.steps.units.tolist()],
        "gain": [0.0, *plain.steps.gain.tolist()],
    })  # fmt: skip


def _joint_curve(curve: pd.DataFrame, a: _Arrays, saved: Floats, plain: CarryList) -> pd.DataFrame:
    """The same purchases, with what stands in for others counted."""
    stock, some = a.have.copy(), _hang_together(saved)
    chance, short = _shortage(a, saved, stock, True)
    cost, p = [float(a.without @ short)], [shortage.p_any_short(chance[a.critical])]
    for item, units in zip(plain.steps.item.tolist(), plain.steps.units.tolist(), strict=True):
        stock[item] += units
        if item in some:
            chance, short = _shortage(a, saved, stock, True)
        elif saved[item, item] > 0.0:
            chance[item] = shortage.p_short(a.demand[item], stock[item])
            short[item] = shortage.expected_short(a.demand[item], stock[item])
        cost.append(float(a.without @ short))
        p.append(shortage.p_any_short(chance[a.critical]))
    return curve.assign(expected_cost=cost, p_critical_short=p)


def _missing(lines: Sequence[Line], a: _Arrays, wanted: Wholes, more: Wholes) -> pd.DataFrame:
    """What would be worth having and is not bought, dearest lack first."""
    table, rows = _stock_worth(a), np.arange(len(lines))
    lacking = np.maximum(wanted - more, 0)
    gain = table[rows, a.have + more + lacking] - table[rows, a.have + more]
    made = [
        (x.card.name, int(lacking[k]), float(gain[k]), x.price, "" if a.known[k] else "no price known")
        for k, x in enumerate(lines)
        if lacking[k] > 0 and (gain[k] > 0.0)
    ]
    frame = pd.DataFrame(made, columns=["item", "units", "worth", "price", "why"])
    return frame.sort_values("worth", ascending=False, kind="stable", ignore_index=True)


def _surplus(lines: Sequence[Line], plain: CarryList) -> pd.DataFrame:
    """What costs more by lying there than it saves, beyond the owner's own minimum."""
    made = []
    for k, x in enumerate(lines):
        floor = int(np.ceil(float(x.card.minimum) / x.wanted.at_a_time))
        spare = min(int(plain.surplus[k]), x.have - floor)
        if spare > 0:
            made.append((x.card.name, spare, spare * x.price, (x.card.weight_kg or 0.0) * x.wanted.at_a_time * spare))
    frame = pd.DataFrame(made, columns=["item", "units", "cost_new", "weight_kg"])
    return frame.sort_values("cost_new", ascending=False, kind="stable", ignore_index=True)
