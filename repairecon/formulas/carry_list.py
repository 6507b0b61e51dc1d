"""The carry list of a passage or season, and how risk falls as money is spent."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.carry import Steps, carry_for, efficient_steps, stock_worth, worth_of_more
from repairecon.formulas.shortage import expected_short, p_short

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]


class CarryList(NamedTuple):
    """What to carry, a value an item, and what that comes to."""

    more: Wholes
    """Units to add."""
    p_short_before: Floats
    p_short_after: Floats
    worth: Floats
    """What the units added are worth [home money]."""
    missing: Wholes
    """Units that would be worth adding too, had the budget no end."""
    surplus: Wholes
    """Units aboard that cost more by lying there than they save."""
    spend: float
    """[home money]"""
    most_lost: float
    """What the best choice for the budget could be worth more, at most [home money]."""
    steps: Steps
    """Purchases in the order in which money is best spent."""


class BudgetCurve(NamedTuple):
    """How things stand after 0, 1, 2, ... steps."""

    spend: Floats
    """[home money]"""
    cost_short: Floats
    """Expected cost of what is then still short [home money]."""
    cost_left: Floats
    """Expected loss on units left over, present ones too [home money]."""
    p_critical_short: Floats
    """Chance that at least one critical item is short [-]."""


def carry_list(
    demand: ArrayLike,
    have: ArrayLike,
    cost_unit: ArrayLike,
    cost_short: ArrayLike,
    cost_left: ArrayLike,
    most: ArrayLike,
    budget: float = np.inf,
    per_event: bool = False,
) -> CarryList:
    """What to carry for a budget of money, what is missing and what is surplus.

    Parameters
    ----------
    demand : array (items, numbers)
        Chances of 0, 1, 2, ... asked for until the next resupply [-].
    have : int array (items,)
        Units aboard and in date [-].
    cost_unit : float or array (items,)
        Price of a unit, all in [home money].
    cost_short : float or array (items,)
        Cost of being without, beyond the price of the part: for every unit short, or once [home money].
    cost_left : float or array (items,)
        What a unit left over loses in worth over the period [home money].
    most : int or int array (items,)
        Most units of an item that may be added [-].
    budget : float
        Money to spend at most; inf = no limit, then the newsvendor quantity is carried [home money].
    per_event : bool
        Whether the cost of being without falls due once, however many are short.

    Returns
    -------
    CarryList
        By item and in all [-, home money].

    Notes
    -----
    Marginal analysis: :func:`stock_worth`, :func:`efficient_steps` and :func:`carry_for` in `carry`. With nothing lost
    on units left over and no limit of money, every item is carried to its `most` or as long as more may be asked
    for. ValueError as there.

    References
    ----------
    B. Fox, "Discrete optimization via marginal analysis", Management Science 13 (1966) 210-216 (from memory).

    Examples
    --------
    >>> found = carry_list([[0.5, 0.5], [0.9, 0.1]], [0, 2], 20.0, 100.0, 5.0, 1, budget=20.0)
    >>> found.more.tolist(), found.worth.tolist(), found.surplus.tolist()
    ([1, 0], [47.5, 0.0], [0, 1])
    """
    chances, aboard = np.asarray(demand, dtype=float), np.asarray(have).astype(np.int64)
    top = int((aboard + np.asarray(most)).max(initial=0))
    worth = stock_worth(chances, cost_short, cost_left, top, per_event)
    gain = worth_of_more(worth, aboard, most)
    steps = efficient_steps(gain, cost_unit)
    more, _, spend, most_lost = carry_for(steps, len(aboard), budget)
    wanted = np.bincount(steps.item, steps.units, minlength=len(aboard)).astype(np.int64)
    rows = np.arange(len(aboard))
    best = np.where(np.arange(top + 1) <= aboard[:, np.newaxis], worth, -np.inf).argmax(axis=1)
    return CarryList(
        more=more,
        p_short_before=p_short(chances, aboard),
        p_short_after=p_short(chances, aboard + more),
        worth=gain[rows, more],
        missing=np.maximum(wanted - more, 0),
        surplus=np.where(wanted > 0, 0, aboard - best),
        spend=spend,
        most_lost=most_lost,
        steps=steps,
    )


def budget_curve(
    demand: ArrayLike,
    have: ArrayLike,
    cost_short: ArrayLike,
    cost_left: ArrayLike,
    steps: Steps,
    critical: ArrayLike,
    per_event: bool = False,
) -> BudgetCurve:
    """How the cost of shortages and the chance of a critical one fall as money is spent.

    Parameters
    ----------
    demand : array (items, numbers)
        Chances of 0, 1, 2, ... asked for [-].
    have : int array (items,)
        Units aboard and in date [-].
    cost_short, cost_left : float or array (items,)
        Cost of being without, and what a unit left over loses [home money].
    steps : Steps
        Purchases in order, from :func:`carry_list` [-, home money].
    critical : bool array (items,)
        Items whose failure stops or endangers the boat.
    per_event : bool
        Whether the cost of being without falls due once, however many are short.

    Returns
    -------
    BudgetCurve
        One point before the first step and one after each [home money, -].

    Notes
    -----
    The points are the efficient ones; demands are taken not to hang together. ValueError as in `shortage`.

    References
    ----------
    Common practice, no source.
    """
    chances, aboard = np.asarray(demand, dtype=float), np.asarray(have).astype(np.int64)
    rows, urgent = steps.item, np.asarray(critical, dtype=bool)
    each, loss = (np.broadcast_to(np.asarray(c, dtype=float), aboard.shape) for c in (cost_short, cost_left))
    before = aboard[rows] + _earlier(rows, steps.units)
    stocks, which = (
        np.concatenate([aboard, before, before + steps.units]),
        np.concatenate([np.arange(len(aboard)), rows, rows]),
    )
    chance, units = p_short(chances[which], stocks), expected_short(chances[which], stocks)
    costs = each[which] * (chance if per_event else units)
    mean = expected_short(chances, np.zeros(len(aboard), dtype=np.int64))
    left = loss[which] * np.maximum(stocks - mean[which] + units, 0.0)
    safe = np.where(urgent[which], np.log(np.maximum(1.0 - chance, 1e-300)), 0.0)
    cuts = [len(aboard), len(aboard) + len(rows)]

    def along(values: Floats) -> Floats:
        now, low, high = np.split(values, cuts)
        return np.asarray(now.sum() + np.concatenate([[0.0], np.cumsum(high - low)]))

    spend = np.concatenate([[0.0], np.cumsum(steps.spend)])
    return BudgetCurve(spend, along(costs), along(left), -np.expm1(np.minimum(along(safe), 0.0)))


def _earlier(item: Wholes, units: Wholes) -> Wholes:
    """Units of the same item in earlier steps."""
    order = np.argsort(item, kind="stable")
    code, count = item[order], units[order]
    run = np.cumsum(count) - count
    start = np.searchsorted(code, code)
    before = np.empty(len(item), dtype=np.int64)
    before[order] = run - run[start] if len(item) else run
    return before
