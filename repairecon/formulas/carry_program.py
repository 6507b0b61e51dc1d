"""What to carry, by jobs: a job takes one thing or several, things stand in for others, money and room are scarce.

A *kind* is a kind of job with its chances of 0, 1, 2, ... . A *thing* lies in a locker. A *mode* is one way to do a job
of a kind: the things it takes and the money it saves against going without. Solved by branch and bound to a proven
bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.demand import p_above
from repairecon.formulas.integer_program import Program as Rows

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
COURSES = 600
"""Courses of jobs to follow where things are shared."""


class Mode(NamedTuple):
    """One way to do one job."""

    kind: int
    takes: tuple[tuple[int, int], ...]  # things, and how many of each
    saved: float  # [home money]


class Program(NamedTuple):
    """The best purchases found."""

    buy: Wholes  # how many of each
    gain: float  # what they are worth beyond what is there already [home money]
    most_lost: float  # what any other choice could be worth more, at most, in the courses followed [home money]
    spend: float  # [home money]


class JobsWorth(NamedTuple):
    """What a stock is worth against jobs of several kinds."""

    worth: float  # money saved on average, less what is lost on what is left over [home money]
    saved: float  # on average [home money]
    p_short: Floats  # chance of each kind that a job cannot be done [-]
    expected_short: Floats  # jobs of each kind that cannot be done, on average [-]


class Group(NamedTuple):
    """Kinds, things and modes (by their numbers) that hang together."""

    kinds: Wholes
    things: Wholes
    modes: Wholes


def groups(modes: Sequence[Mode], kinds: int, things: int) -> list[Group]:
    """Kinds of job and things that hang together.

    Parameters
    ----------
    modes, kinds, things : sequence of Mode, int, int
        Ways to do jobs, of which those that save nothing are left out; how many kinds and things there are [-].

    Returns
    -------
    list of Group
        By their first kind [-]; kinds that nothing does, and things that nothing takes, are in none.

    Notes
    -----
    Two kinds hang together if a thing serves both, two things if they serve one kind. Common practice, no source.
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    useful = [k for k, mode in enumerate(modes) if mode.saved > 0.0 and mode.takes]
    pairs = [(modes[k].kind, kinds + thing) for k in useful for thing, _ in modes[k].takes]
    rows, columns = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    size = kinds + things
    links = csr_array((np.ones(len(rows)), (rows, columns)), shape=(size, size))
    label = connected_components(links, directed=False)[1]
    of_mode = np.array([label[modes[k].kind] for k in useful], dtype=np.int64)
    made = []
    for g in dict.fromkeys(int(label[k]) for k in range(kinds)):
        mine = np.array(useful, dtype=np.int64)[of_mode == g]
        if len(mine):
            made.append(Group(np.flatnonzero(label[:kinds] == g), np.flatnonzero(label[kinds:] == g), mine))
    return made


def _solved(rows: Rows, seconds: float) -> tuple[Floats, float, float]:
    """Columns, worth and the bound of the worth."""
    found = rows.solve(seconds, gap=0.0)
    if found.point is None:
        raise ValueError(f"no plan was found within {seconds} seconds")
    return found.point, -float(np.dot(rows.cost, found.point)), -found.bound


def _scenarios(demands: Sequence[ArrayLike], caps: Sequence[int], most: int = COURSES) -> tuple[Wholes, Floats]:
    """Numbers of jobs that may come together (courses, kinds), one more than its cap standing for all beyond, and their
    chances: the likeliest where there are more than ``most`` courses; what is missing from 1 was left out.
    """
    counts, chance = np.zeros((1, 0), dtype=np.int64), np.ones(1)
    for demand, cap in zip(demands, caps, strict=True):
        chances = np.asarray(demand, dtype=float)
        last = min(cap, len(chances) - 1)
        each = np.append(chances[: last + 1], p_above(chances)[last])
        joint = (chance[:, np.newaxis] * each).ravel()
        before, number = np.divmod(np.arange(len(joint)), len(each))
        keep = np.flatnonzero(joint > 0.0)
        if len(keep) > most:
            keep = np.sort(keep[np.argsort(-joint[keep], kind="stable")[:most]])
        counts, chance = np.column_stack([counts[before[keep]], number[keep]]), joint[keep]
    return counts, chance


class _GroupUse:
    """Columns for the use of things in one group, in every course of jobs that is followed."""

    def __init__(self, group: Group, demands: Sequence[ArrayLike], modes: Sequence[Mode], left: Floats) -> None:
        self.group = group
        self.modes = [modes[int(k)] for k in group.modes]
        self.demands = [demands[int(k)] for k in group.kinds]
        self.value = np.array([m.saved + sum(n * float(left[t]) for t, n in m.takes) for m in self.modes])
        # With one thing a job the corners of the program are whole by themselves (a transport problem).
        self.whole = any(len(m.takes) > 1 or m.takes[0][1] > 1 for m in self.modes)
        self.alone = len(self.modes) == 1

    def caps(self, top: Wholes) -> list[int]:
        """Most jobs of each kind that things could be there for."""
        often = [min(int(top[t]) // n for t, n in m.takes) for m in self.modes]
        return [sum(o for m, o in zip(self.modes, often, strict=True) if m.kind == k) for k in self.group.kinds]

    def add(self, rows: Rows, have: Wholes, top: Wholes, most: int, buys: bool) -> tuple[Wholes, Floats, Wholes]:
        """Write the columns; counts and chances of the courses, and the column of each (course, mode).

        ``buys``: columns 0, 1, ... of the program are purchases, one of each thing.
        """
        counts, chance = _scenarios(self.demands, self.caps(top), most)
        kind = np.searchsorted(self.group.kinds, [m.kind for m in self.modes])
        at = rows.columns(-chance[:, np.newaxis] * self.value, counts[:, kind].astype(float), self.whole)
        jobs = (kind == np.arange(len(self.group.kinds))[:, np.newaxis]).astype(float)
        several = jobs.sum(axis=1) > 1.0
        self._within(rows, at, have, buys, (jobs[several], counts[:, several].astype(float)))
        return counts, chance, at

    def increments(self, rows: Rows, have: Wholes, top: Wholes) -> None:
        """One kind done in one way: its j-th job comes with the chance that j or more come; exact, and few columns."""
        above = p_above(self.demands[0])[: self.caps(top)[0]]
        at = rows.columns(-self.value[0] * above, np.ones(len(above)), self.whole)
        self._within(rows, at[np.newaxis], have, True, (np.zeros((0, len(at))), np.zeros((1, 0))))

    def _within(self, rows: Rows, at: Wholes, have: Wholes, buys: bool, also: tuple[Floats, Floats]) -> None:
        """In each course no more is taken of a thing than is there and is bought; nor more done than there are jobs."""
        things, (jobs, counts) = self.group.things, also
        takes = np.array([[dict(m.takes).get(int(t), 0) for m in self.modes] for t in things], dtype=float)
        takes = np.repeat(takes, at.shape[1] // len(self.modes), axis=1)
        bought = np.broadcast_to(things, (len(at), len(things)))
        weights = np.block([[takes, -float(buys) * np.eye(len(things))], [jobs, np.zeros((len(jobs), len(things)))]])
        there = np.broadcast_to(have[things].astype(float), bought.shape)
        rows.rows(np.hstack([at, bought]), weights, np.hstack([there, counts]))


def best_carry(
    demands: Sequence[ArrayLike], modes: Sequence[Mode], have: ArrayLike, cost_buy: ArrayLike, most: ArrayLike, *,
    cost_left: ArrayLike, limits: Sequence[tuple[ArrayLike, float]] = (), seconds: float = 20.0,
) -> Program:  # fmt: skip
    """The purchases that are worth most within money, weight and room.

    Parameters
    ----------
    demands, modes : sequence of array (numbers,), sequence of Mode
        Chances of 0, 1, 2, ... jobs of each kind until the next resupply [-]; ways to do them [-, home money].
    have, most : int array (things,)
        Things aboard and in date; most of each that may be bought [-].
    cost_buy, cost_left : array (things,)
        Price of each; what one left over loses in worth over the period [home money].
    limits : sequence of (array (things,), float)
        What one of each takes of a scarce means (money, weight, room), and how much there is of it [any].
    seconds : float
        Time after which the best found so far is given, with its bound [second].

    Returns
    -------
    Program
        What to buy, its worth, and what may be missed at most [-, home money].

    Notes
    -----
    In every course of jobs things go where they save most, as if all were known before the first is done: an upper
    limit of what an owner who must choose one by one can do, reached where things do not compete. A kind done in one
    way by things that serve nothing else enters by unit increments, exact and few. Courses left out count as saving
    nothing, so `gain` is then a little low. ValueError if no plan was found in the time given. Source: Birge and
    Louveaux, Introduction to Stochastic Programming, 2nd ed., section 1.3 (two stages; from memory).

    >>> kit_or_parts = [Mode(0, ((0, 1),), 100.0), Mode(1, ((1, 1),), 80.0), Mode(0, ((2, 1),), 100.0),
    ...     Mode(1, ((2, 1),), 80.0)]
    >>> best_carry([[0.5, 0.5]] * 2, kit_or_parts, [0, 0, 0], [30.0, 30.0, 40.0], [1] * 3,
    ...     cost_left=[0, 0, 0], limits=[([30.0, 30.0, 40.0], 45.0)]).buy.tolist()
    [0, 0, 1]
    """
    aboard, highest = np.asarray(have, dtype=np.int64), np.asarray(most, dtype=np.int64)
    price, left, rows = np.asarray(cost_buy, dtype=float), np.asarray(cost_left, dtype=float), Rows()
    rows.columns(left, highest.astype(float), True)
    found_in = groups(modes, len(demands), len(aboard))
    is_single = [len(g.modes) == 1 and modes[int(g.modes[0])].takes == ((int(g.things[0]), 1),) for g in found_in]
    single = [g for g, alone in zip(found_in, is_single, strict=True) if alone]
    thing = np.concatenate(
        [np.arange(len(aboard)), *(_singles(rows, g, demands, modes, (aboard, highest, left)) for g in single)]
    )
    for use, limit in limits:
        taken = np.asarray(use, dtype=float)[thing]
        rows.row(enumerate(taken.tolist()), high=float(limit) * (1 + 1e-12) + 1e-9)
    bought_columns = len(thing)
    for group, alone in zip(found_in, is_single, strict=True):
        if not alone:
            uses = _GroupUse(group, demands, modes, left)
            if uses.alone:
                uses.increments(rows, aboard, aboard + highest)
            else:
                uses.add(rows, aboard, aboard + highest, COURSES, True)
    found, worth, bound = _solved(rows, seconds)
    bought = np.bincount(thing, found[:bought_columns], len(aboard))
    rows.upper[:bought_columns] = [0.0] * bought_columns  # the same courses, nothing bought
    _, now, _ = _solved(rows, seconds)
    buy = np.floor(bought + 0.5).astype(np.int64)
    return Program(buy, worth - now, max(bound - worth, 0.0), float(price @ buy))


def _singles(
    rows: Rows, group: Group, demands: Sequence[ArrayLike], modes: Sequence[Mode], stock: tuple[Wholes, Wholes, Floats]
) -> Wholes:
    """A column for each further unit of a thing that alone does one kind of job, one a job; the thing of each column.

    Each is worth less than the one before, so that no row need hold them in order: a plain knapsack, quick to prove.
    """
    mode, t = modes[int(group.modes[0])], int(group.things[0])
    aboard, highest, left = (column[t] for column in stock)
    rows.upper[t] = 0.0
    above = p_above(demands[mode.kind])
    asked = above[np.minimum(np.arange(aboard, aboard + highest), len(above) - 1)]
    gain = (mode.saved + left) * asked - left
    gain = gain[gain > 0.0]
    rows.columns(-gain, np.ones(len(gain)), True)
    return np.full(len(gain), t, dtype=np.int64)


def jobs_worth(
    demands: Sequence[ArrayLike], modes: Sequence[Mode], stock: ArrayLike, cost_left: ArrayLike,
    most_courses: int = COURSES,
) -> JobsWorth:  # fmt: skip
    """What a stock is worth, and how often it falls short.

    Parameters
    ----------
    demands, modes, stock, cost_left : as for :func:`best_carry`
        Chances of jobs, ways to do them, things in date [-]; what one left over loses [home money].
    most_courses : int
        Most courses of jobs to follow in each group that hangs together [-].

    Returns
    -------
    JobsWorth
        Worth and shortages by kind [home money, -].

    Notes
    -----
    As in :func:`best_carry`, without purchases. Where two uses save the same, either may be counted. Source: as
    :func:`best_carry`.

    >>> pair = [Mode(0, ((0, 2),), 100.0)]  # a job takes two: three serve one job
    >>> found = jobs_worth([[0.5, 0.25, 0.25]], pair, [3], [0.0])
    >>> found.worth, found.p_short.tolist()
    (50.0, [0.25])
    """
    held, left = np.asarray(stock, dtype=np.int64), np.asarray(cost_left, dtype=float)
    worth, saved = -float(held @ left), 0.0
    above = [p_above(d) for d in demands]
    short = np.array([a[0] for a in above])
    jobs = np.array([a.sum() for a in above])
    for group in groups(modes, len(demands), len(held)):
        use, rows = _GroupUse(group, demands, modes, left), Rows()
        if use.alone:
            kind, done = int(group.kinds[0]), use.caps(held)[0]
            tails = above[kind]
            worth += float(use.value[0] * tails[:done].sum())
            saved += use.modes[0].saved * float(tails[:done].sum())
            short[kind] = tails[min(done, len(tails) - 1)]
            jobs[kind] = float(tails[done:].sum())
            continue
        counts, chance, at = use.add(rows, held, held, most_courses, False)
        found, gained, _ = _solved(rows, 60.0)
        worth += gained
        met = np.zeros(counts.shape)
        for m, mode in enumerate(use.modes):
            met[:, np.flatnonzero(group.kinds == mode.kind)[0]] += found[at[:, m]]
            saved += mode.saved * float(chance @ found[at[:, m]])
        jobs[group.kinds] = np.maximum(jobs[group.kinds] - chance @ met, 0.0)
        short[group.kinds] = np.clip(1.0 - chance @ (met > counts - 0.5), 0.0, 1.0)
    return JobsWorth(worth, saved, short, jobs)
