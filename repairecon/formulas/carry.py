"""What to carry, item by item: the worth of each further unit, and how far a budget of money goes.

Here every item meets failures of its own kind only. Where kits, whole units or shared parts stand in for one
another, or weight and room count too, see `carry_program`. Rows are items; chances of 0, 1, 2, ... asked for stand
along the last axis, as on the pages of `demand`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.shortage import p_above

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]


class Steps(NamedTuple):
    """Purchases in the order in which money is best spent; each is one or more units of one item."""

    item: Wholes
    """Row of the item."""
    units: Wholes
    gain: Floats
    """What the step is worth [home money]."""
    spend: Floats
    """What it costs to buy [home money]."""


def stock_worth(
    demand: ArrayLike, cost_short: ArrayLike, cost_left: ArrayLike, top: int, per_event: bool = False
) -> Floats:
    """Worth of having 0, 1, 2, ... units of each item aboard, against none.

    Parameters
    ----------
    demand : array (items, numbers)
        Chances of 0, 1, 2, ... asked for [-].
    cost_short : float or array (items,)
        Cost of being without, beyond the price of the part: for every unit short, or once [home money].
    cost_left : float or array (items,)
        What a unit left over loses in worth over the period: shelf life, resale [home money].
    top : int
        Highest stock to value [-].
    per_event : bool
        Whether the cost falls due once, however many are short.

    Returns
    -------
    array (items, top + 1)
        Worth [home money]; 0 for a stock of 0.

    Notes
    -----
    Shortage costs avoided less what is lost on units left over. The unit that makes the stock s + 1 adds
    ``cost_short P(D > s) - cost_left P(D <= s)``, or ``cost_short P(D = s + 1)`` instead of the first term for a cost
    that falls due once; only the former always adds less with each unit. Its own price is not in it: what is used
    would have been paid for anyway, what is left still has its worth, `cost_left` apart. Beyond the last number
    the chance of more is taken as what is missing from 1. ValueError for costs below 0.

    References
    ----------
    Cachon and Terwiesch, Matching Supply with Demand, 3rd ed., chapter 12 (worth of one more unit).

    Examples
    --------
    >>> stock_worth([[0.5, 0.25, 0.25]], 100.0, 10.0, 2).tolist()
    [[0.0, 45.0, 62.5]]
    """
    short, left = _costs(cost_short), _costs(cost_left)
    above = p_above(demand)
    held = above[:, np.minimum(np.arange(top + 1), above.shape[1] - 1)]
    saved = held[:, :-1] - held[:, 1:] if per_event else held[:, :-1]
    each = short[..., np.newaxis] * saved - left[..., np.newaxis] * (1.0 - held[:, :-1])
    return np.concatenate([np.zeros((len(held), 1)), np.cumsum(each, axis=1)], axis=1)


def worth_of_more(worth: ArrayLike, have: ArrayLike, most: ArrayLike) -> Floats:
    """Worth of carrying 0, 1, 2, ... units more than are aboard.

    Parameters
    ----------
    worth : array (items, top + 1)
        Worth of having 0, 1, 2, ... aboard, from :func:`stock_worth` [home money].
    have : int array (items,)
        Units aboard and in date [-].
    most : int or int array (items,)
        Most units that may be added [-].

    Returns
    -------
    array (items, highest most + 1)
        Worth [home money]; -inf for more than an item's most.

    Notes
    -----
    ValueError for numbers below 0, and where the worth does not reach as far as ``have + most``.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> worth_of_more([[0.0, 45.0, 62.5]], [1], 1).tolist()
    [[0.0, 17.5]]
    """
    table = np.asarray(worth, dtype=float)
    aboard = np.asarray(have).astype(np.int64)
    limit = np.broadcast_to(np.asarray(most).astype(np.int64), aboard.shape)
    if np.any(aboard < 0) or np.any(limit < 0):
        raise ValueError("units aboard and units to add must be 0 or more")
    if len(aboard) and int((aboard + limit).max()) >= table.shape[1]:
        raise ValueError("value stocks as high as what is aboard and may be added")
    more = np.arange(int(limit.max(initial=0)) + 1)
    at = np.minimum(aboard[:, np.newaxis] + more, table.shape[1] - 1)
    gain = np.take_along_axis(table, at, axis=1) - np.take_along_axis(table, aboard[:, np.newaxis], axis=1)
    return np.asarray(np.where(more <= limit[:, np.newaxis], gain, -np.inf))


def efficient_steps(gain: ArrayLike, cost_unit: ArrayLike) -> Steps:
    """Purchases in the order of worth per money, as long as they are worth anything.

    Parameters
    ----------
    gain : array (items, units + 1)
        Worth of carrying 0, 1, 2, ... units more, from :func:`worth_of_more` [home money].
    cost_unit : float or array (items,)
        Price of a unit, all in [home money].

    Returns
    -------
    Steps
        Item, units, worth and price of each step [-, home money].

    Notes
    -----
    Where a second unit adds more than the first, both are one step (the upper concave hull of the worth). Whatever has
    been spent after any step is spent as well as it can be: no other choice of that price is worth more. *Between*
    two steps that need not hold: with money left that does not pay for the next step, another mix may be
    worth a little more (:func:`carry_for` tells how much at most; `carry_program` finds it). ValueError
    for a price below 0.

    References
    ----------
    B. Fox, "Discrete optimization via marginal analysis", Management Science 13 (1966) 210-216 (from memory).

    Examples
    --------
    >>> steps = efficient_steps([[0.0, 45.0, 62.5], [0.0, 10.0, 40.0]], [10.0, 10.0])
    >>> list(zip(steps.item.tolist(), steps.units.tolist(), steps.gain.tolist()))
    [(0, 1, 45.0), (1, 2, 40.0), (0, 1, 17.5)]
    """
    table = np.asarray(gain, dtype=float)
    price = np.broadcast_to(_costs(cost_unit), len(table))
    levels = np.arange(table.shape[1])
    item, at, slope = np.arange(len(table)), np.zeros(len(table), dtype=np.int64), np.full(len(table), np.inf)
    nothing = np.zeros(0, dtype=np.int64)
    found = [(nothing, nothing, np.zeros(0), np.zeros(0))]
    while len(item):
        here = table[item, at]
        further = levels - at[:, np.newaxis]
        per_unit = np.where(further > 0, (table[item] - here[:, np.newaxis]) / np.maximum(further, 1), -np.inf)
        to = len(levels) - 1 - per_unit[:, ::-1].argmax(axis=1)
        slope = np.minimum(per_unit[np.arange(len(item)), to], slope)
        on = slope > 0.0
        item, at, to, here, slope = item[on], at[on], to[on], here[on], slope[on]
        found.append((item, to - at, table[item, to] - here, slope))
        at = to
    which, units, worth, steepness = (np.concatenate(column) for column in zip(*found, strict=True))
    with np.errstate(divide="ignore"):
        order = np.argsort(-steepness / price[which], kind="stable")
    which, units = which[order], units[order]
    return Steps(which, units, worth[order], units * price[which])


def carry_for(steps: Steps, items: int, budget: float, fill: bool = True) -> tuple[Wholes, float, float, float]:
    """What to add for a budget of money.

    Parameters
    ----------
    steps : Steps
        From :func:`efficient_steps` [-, home money].
    items : int
        Number of items [-].
    budget : float
        Money to spend at most; inf = all that is worth anything [home money].
    fill : bool
        Whether money left after the last step that is paid in full goes to later steps that it does pay for.

    Returns
    -------
    more : int array (items,)
        Units to add of each item [-].
    worth, spend : float
        What they are worth, and what they cost [home money].
    most_lost : float
        What the best choice for that budget could be worth more, at most [home money]; 0 at a step.

    Notes
    -----
    Steps are taken in order while they fit. `most_lost` compares with steps that could be bought in part: no choice
    of whole units is worth more than that. A later step of an item is only taken after its earlier
    ones. ValueError for a budget below 0.

    References
    ----------
    G. B. Dantzig, "Discrete-variable extremum problems", Operations Research 5 (1957) 266-288 (the bound; from memory).

    Examples
    --------
    >>> steps = efficient_steps([[0.0, 45.0, 62.5], [0.0, 10.0, 40.0]], [10.0, 10.0])
    >>> more, worth, spend, most_lost = carry_for(steps, 2, 20.0)
    >>> more.tolist(), worth, spend, most_lost
    ([2, 0], 62.5, 20.0, 2.5)
    """
    if not budget >= 0.0:
        raise ValueError("a budget must be 0 or more")
    spent = np.cumsum(steps.spend)
    slack = budget * (1.0 + 1e-12) + 1e-9
    whole_steps = int(np.searchsorted(spent, slack, side="right"))
    taken = np.zeros(len(spent), dtype=bool)
    taken[:whole_steps] = True
    used = float(spent[whole_steps - 1]) if whole_steps else 0.0
    bound = float(steps.gain[:whole_steps].sum())
    if whole_steps < len(spent):
        bound += float(steps.gain[whole_steps] * max(budget - used, 0.0) / steps.spend[whole_steps])
    if fill:
        passed: set[int] = set()
        least = np.minimum.accumulate(steps.spend[::-1])[::-1]
        for k in range(whole_steps, len(spent)):
            if used + least[k] > slack:
                break
            i, price = int(steps.item[k]), float(steps.spend[k])
            if i in passed or used + price > slack:
                passed.add(i)
                continue
            taken[k], used = True, used + price
    more = np.bincount(steps.item[taken], steps.units[taken], minlength=items).astype(np.int64)
    worth = float(steps.gain[taken].sum())
    return more, worth, float(steps.spend[taken].sum()), max(bound - worth, 0.0)


def cost_left_over(
    cost_unit: ArrayLike, life_lost: ArrayLike, loss_rate: ArrayLike, days: float, cost_stowage: ArrayLike = 0.0
) -> Floats:
    """What a unit loses that is carried through a period and not used.

    Parameters
    ----------
    cost_unit : float or array
        Price of a unit [home money].
    life_lost : float or array
        Share of its remaining shelf life that the period takes (`shelf.share_of_life_lost`) [-].
    loss_rate : float or array
        Share of its worth that a year takes for other reasons: resale, damp, money tied up [1/year].
    days : float
        Length of the period [day].
    cost_stowage : float or array
        What its room costs in the period besides [home money].

    Returns
    -------
    float or array
        Cost, to be put in as `cost_left` on these pages [home money].

    Notes
    -----
    ``cost_unit (1 - (1 - life_lost)(1 - loss_rate)**(days / 365)) + cost_stowage``. ValueError for shares outside 0..1
    or a time below 0.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> round(float(cost_left_over(100.0, 0.2, 0.1, 365.0)), 6)
    28.0
    """
    lost, rate = np.asarray(life_lost, dtype=float), np.asarray(loss_rate, dtype=float)
    if not (np.all((lost >= 0.0) & (lost <= 1.0)) and np.all((rate >= 0.0) & (rate <= 1.0)) and days >= 0.0):
        raise ValueError("shares lost must lie in 0..1 (0.20 for 20 %) and the days be 0 or more")
    kept = (1.0 - lost) * (1.0 - rate) ** (days / 365.0)
    return np.asarray(_costs(cost_unit) * (1.0 - kept) + _costs(cost_stowage))[()]


def _costs(cost: ArrayLike) -> Floats:
    value = np.asarray(cost, dtype=float)
    if not np.all((value >= 0.0) & np.isfinite(value)):
        raise ValueError("costs and prices must be plain amounts of 0 or more")
    return value
