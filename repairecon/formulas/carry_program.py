"""What to carry where things stand in for one another and more than money is scarce: an integer program.

What is *bought* (a kit, a packet of ten, a whole unit) puts *things* into lockers; things meet *kinds* of failure
(`joint_demand`). Solved by branch and bound to a proven bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.joint_demand import groups, scenarios
from repairecon.formulas.shortage import p_above

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

COURSES = 600


class Program(NamedTuple):
    """The best purchases found."""

    buy: Wholes
    """How many of each to buy."""
    gain: float
    """What they are worth beyond what is aboard already [home money]."""
    most_lost: float
    """What any other choice could be worth more, at most, in the courses followed [home money]."""
    spend: float
    """[home money]"""
    p_left_out: float
    """Highest chance, in any group, of courses too unlikely to be followed [-]."""


class _Rows:
    """Linear rows ``low <= A x <= high`` and the columns of a program, written one after the other."""

    def __init__(self) -> None:
        self.gain: list[float] = []
        self.high: list[float] = []
        self.entries: list[tuple[int, int, float]] = []
        self.limit: list[float] = []

    def columns(self, gains: Floats, highs: Floats) -> Wholes:
        first = len(self.gain)
        self.gain.extend(gains.tolist())
        self.high.extend(highs.tolist())
        return np.arange(first, len(self.gain))

    def row(self, columns: Wholes, weights: Floats, limit: float) -> None:
        n = len(self.limit)
        self.entries.extend((n, int(c), float(w)) for c, w in zip(columns, weights, strict=True) if w != 0.0)
        self.limit.append(limit)


def best_carry(
    demands: Sequence[ArrayLike],
    saved: ArrayLike,
    have: ArrayLike,
    cost_buy: ArrayLike,
    most: ArrayLike,
    budget: float = np.inf,
    contents: ArrayLike | None = None,
    cost_left: ArrayLike = 0.0,
    uses: ArrayLike | None = None,
    limits: ArrayLike | None = None,
    seconds: float = 60.0,
    most_courses: int = COURSES,
) -> Program:
    """The purchases that are worth most within the budget and the room.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... failures of each kind until the next resupply [-].
    saved : array (kinds, things)
        Money one thing saves when it meets one failure, 0 where it does not fit [home money].
    have : int array (things,)
        Things aboard and in date [-].
    cost_buy : array (buys,)
        Price of each purchase [home money].
    most : int or int array (buys,)
        Most of each that may be bought [-].
    budget : float
        Money to spend at most; inf = no limit [home money].
    contents : int array (buys, things) or None
        Things that each purchase holds; None = one thing each, in the same order [-].
    cost_left : float or array (things,)
        What a thing left over loses in worth over the period [home money].
    uses : array (limits, buys) or None
        What each purchase takes of other scarce means: weight, room [any].
    limits : array (limits,) or None
        How much there is of each [as uses].
    seconds : float
        Time after which the best found so far is given, with its bound [second].
    most_courses : int
        Most courses of failures to follow in each group of things that hang together [-].

    Returns
    -------
    Program
        What to buy, its worth, and what may be missed at most [-, home money].

    Notes
    -----
    In every course of failures things go where they save most, as in `joint_demand.joint_worth`, whose difference
    with and without the purchases `gain` is. A thing and a kind that stand alone enter by unit increments, exact and
    few. Courses left out count as saving nothing, so `gain` is then a little low. ValueError for columns that do
    not fit together, and if no plan was found in the time given.

    References
    ----------
    Birge and Louveaux, Introduction to Stochastic Programming, 2nd ed., section 1.3 (two stages; from memory);
    solved by scipy.optimize.milp.

    Examples
    --------
    >>> one_failure = [[0.5, 0.5], [0.5, 0.5]]
    >>> kit_or_parts = [[100.0, 0.0, 100.0], [0.0, 80.0, 80.0]]
    >>> best_carry(one_failure, kit_or_parts, [0, 0, 0], [30.0, 30.0, 40.0], 1, budget=45.0).buy.tolist()
    [0, 0, 1]
    """
    table, aboard = np.asarray(saved, dtype=float), np.asarray(have).astype(np.int64)
    price = np.asarray(cost_buy, dtype=float)
    holds = np.eye(len(price), len(aboard)) if contents is None else np.asarray(contents, dtype=float)
    left = np.broadcast_to(np.asarray(cost_left, dtype=float), aboard.shape)
    highest = np.broadcast_to(np.asarray(most, dtype=float), price.shape)
    _check(demands, table, aboard, price, holds, highest, left, budget, contents is None)
    rows = _Rows()
    buy = rows.columns(-(holds @ left), highest)
    if np.isfinite(budget):
        rows.row(buy, price, budget)
    takes = np.zeros((0, len(price))) if uses is None else np.atleast_2d(np.asarray(uses, dtype=float))
    there = np.zeros(0) if limits is None else np.atleast_1d(np.asarray(limits, dtype=float))
    for use, limit in zip(takes, there, strict=True):
        rows.row(buy, use, float(limit))
    top = aboard + np.floor(highest @ holds).astype(np.int64)
    out = 0.0
    for kinds, things in groups(table):
        fits, loss = table[np.ix_(kinds, things)], left[things]
        if fits.size == 1:
            _alone(rows, p_above(demands[kinds[0]]), fits.item() + loss[0], holds[:, things[0]], aboard, top, things[0])
            continue
        caps = [int(top[things[row > 0.0]].sum()) for row in fits]
        counts, chance = scenarios([demands[k] for k in kinds], caps, most_courses)
        out = max(out, 1.0 - float(chance.sum()))
        value = np.where(fits > 0.0, fits + loss, 0.0)
        for row, p in zip(counts, chance, strict=True):
            _course(rows, row, float(p), value, holds[:, things], aboard[things], top[things])
    found, worth, bound = _solve(rows, len(buy), seconds)
    _, worth_now, _ = _solve(rows, len(buy), seconds, bought=False)
    bought = np.floor(found + 0.5).astype(np.int64)
    return Program(bought, worth - worth_now, max(bound - worth, 0.0), float(price @ bought), max(out, 0.0))


def _alone(rows: _Rows, above: Floats, value: float, holds: Floats, aboard: Wholes, top: Wholes, thing: int) -> None:
    """A thing that fits one kind only, which only it fits: the k-th unit is used if more than k - 1 fail."""
    chance = above[: int(top[thing])]
    chance = chance[chance > 0.0]
    if len(chance):
        used = rows.columns(value * chance, np.ones(len(chance)))
        buy = np.flatnonzero(holds)
        rows.row(np.concatenate([used, buy]), np.concatenate([np.ones(len(used)), -holds[buy]]), float(aboard[thing]))


def _course(rows: _Rows, failed: Wholes, p: float, value: Floats, holds: Floats, aboard: Wholes, top: Wholes) -> None:
    """One course of failures: what goes where, within what is there and what has failed."""
    kind, thing = np.nonzero((value > 0.0) & (failed[:, np.newaxis] > 0) & (top > 0))
    used = rows.columns(p * value[kind, thing], np.minimum(failed[kind], top[thing]).astype(float))
    for t in np.unique(thing):
        buy, mine = np.flatnonzero(holds[:, t]), used[thing == t]
        rows.row(np.concatenate([mine, buy]), np.concatenate([np.ones(len(mine)), -holds[buy, t]]), float(aboard[t]))
    for k in np.unique(kind):
        mine = used[kind == k]
        if len(mine) > 1:
            rows.row(mine, np.ones(len(mine)), float(failed[k]))


def _solve(rows: _Rows, buys: int, seconds: float, bought: bool = True) -> tuple[Floats, float, float]:
    """Purchases, worth and the bound of the worth; `bought` False for the worth of what is aboard."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    high = np.array(rows.high)
    if not bought:
        high[:buys] = 0.0
    whole = np.zeros(len(high))
    whole[:buys] = 1
    limits = []
    if rows.entries:
        at_row, at_column, weight = (np.array(c) for c in zip(*rows.entries, strict=True))
        matrix = csr_array((weight, (at_row, at_column)), shape=(len(rows.limit), len(high)))
        limits = [LinearConstraint(matrix, -np.inf, np.array(rows.limit))]
    options = {"time_limit": seconds, "mip_rel_gap": 0.0}
    found = milp(-np.array(rows.gain), integrality=whole, bounds=Bounds(0.0, high), constraints=limits, options=options)
    if found.x is None:
        raise ValueError(f"no plan was found within {seconds} seconds: {found.message}")
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else found.fun
    return found.x[:buys], -float(found.fun), -float(bound)


def _check(
    demands: Sequence[ArrayLike],
    table: Floats,
    aboard: Wholes,
    price: Floats,
    holds: Floats,
    highest: Floats,
    left: Floats,
    budget: float,
    one_each: bool,
) -> None:
    if table.shape != (len(demands), len(aboard)) or holds.shape != (len(price), len(aboard)):
        raise ValueError("the tables of what fits and what is held must match kinds, things and purchases")
    if one_each and len(price) != len(aboard):
        raise ValueError("give the contents of the purchases, or as many purchases as things")
    for numbers in (table, aboard, price, holds, highest, left):
        if not np.all((numbers >= 0) & np.isfinite(numbers)):
            raise ValueError("money, stock, contents and limits must be plain numbers of 0 or more")
    if not budget >= 0.0:
        raise ValueError("a budget must be 0 or more")
