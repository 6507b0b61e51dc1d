"""The tool tried on truths that it drew itself: where the truth falls among what was expected must be even.

A truth is drawn from what is believed before any job (chances of each event, the owner's pace), a log of jobs is drawn
from that truth, the log is learned from, and the next job is estimated. If all of it is right, the next job's place in
its estimate is as often in each tenth.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from repairecon.after_the_job.learning import drift, drift_before, learn, pace, pace_before
from repairecon.formulas import ranges
from repairecon.formulas.bayes import dirichlet_update
from repairecon.formulas.linear_belief import LinearBelief, marginal
from repairecon.rebuild_or_buy.draws import Draws, path_draws
from repairecon.rebuild_or_buy.evaluate import Drawn
from repairecon.rebuild_or_buy.learned import condition, groups, with_learned
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import TOTAL, sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import STAGES, Case, JobLog, Logged, Source

Floats = NDArray[np.float64]
HERE = Source("drawn")
MANY = 256


class _Stream:
    """Numbers of one run, from uniform ones by inverting."""

    def __init__(self, seed: int, name: str, most: int = 4096) -> None:
        self.numbers = iter(path_draws(seed, f"calibration:{name}", (most,)))

    def normal(self, n: int) -> Floats:
        """Standard normal scores."""
        from scipy import special

        return np.asarray(special.ndtri([next(self.numbers) for _ in range(n)]))

    def gamma(self, shapes: Floats) -> Floats:
        """Gamma numbers of given shapes."""
        from scipy import special

        return np.array([special.gammaincinv(a, next(self.numbers)) if a > 0 else 0.0 for a in shapes])

    def places(self, n: int, of: int) -> NDArray[np.intp]:
        """Places among ``of``."""
        return np.array([int(next(self.numbers) * of) for _ in range(n)], dtype=np.intp)

    def belief(self, belief: LinearBelief) -> tuple[Floats, float]:
        """Coefficients and spread drawn from a belief."""
        variance = belief.scale / float(self.gamma(np.array([belief.shape]))[0])
        root = np.linalg.cholesky(np.linalg.inv(belief.precision))
        return belief.mean + np.sqrt(variance) * root @ self.normal(len(belief.mean)), float(np.sqrt(variance))


@dataclass(frozen=True)
class LearningRanks:
    """Places of the truth in what was believed after the log, one a run."""

    chance: Floats
    hours: Floats
    drift: Floats


def learning_ranks(runs: int, jobs: int, seed: int) -> LearningRanks:
    """Chances, pace and drift drawn from what is believed before any job, and their places after a log of jobs."""
    made = np.array([list(_learned(_Stream(seed, f"learning {k}"), jobs)) for k in range(runs)])
    return LearningRanks(made[:, 0], made[:, 1], made[:, 2])


def _learned(stream: _Stream, jobs: int) -> Iterator[float]:
    from scipy import special

    prior = 5.0 * np.array([0.6, 0.3, 0.1])
    weights = stream.gamma(prior)
    chance = weights / weights.sum()
    edges = np.cumsum(chance)
    seen = [int(np.searchsorted(edges[:-1], next(stream.numbers), side="right")) for _ in range(jobs)]
    rows = [_row(f"{k}", "count", "event", outcome=str(o)) for k, o in enumerate(seen)]
    counts = {c.outcome: c.count for c in learn(JobLog(tuple(rows))).chances}
    after = dirichlet_update(prior, [counts.get(str(k), 0.0) for k in range(3)])
    yield float(special.betainc(after[0], after[1:].sum(), chance[0]))
    yield _pace_place(stream, jobs)
    yield _drift_place(stream, jobs)


def _place(belief: LinearBelief, row: Floats, truth: float) -> float:
    from scipy import special

    location, scale, freedom = marginal(belief, row)
    return float(special.stdtr(freedom, (truth - location) / scale))


def _pace_place(stream: _Stream, jobs: int) -> float:
    names = [f"{k:04}" for k in range(jobs)]
    before = pace_before(STAGES, names)
    truth, spread = stream.belief(before.belief)
    rows = []
    for k, name in enumerate(names):
        for stage in STAGES[1:4]:
            log = float(before.row(stage, k % 2 == 0, name) @ truth + spread * stream.normal(1)[0])
            more = {"group": stage, "p50": 2.0, "actual": 2.0 * float(np.exp(log)), "first_time": k % 2 == 0}
            rows.append(_row(name, "hours", "task", **more))
    after = pace(rows)
    row = after.row(STAGES[1], True)
    return _place(after.belief, row, float(before.row(STAGES[1], True) @ truth))


def _drift_place(stream: _Stream, jobs: int) -> float:
    truth, spread = stream.belief(drift_before())
    ages = [2.0 * next(stream.numbers) for _ in range(jobs)]
    logs = [truth @ [1.0, age] + spread * float(stream.normal(1)[0]) for age in ages]
    told = [{"p50": 10.0, "actual": 10.0 * float(np.exp(x)), "years": age} for x, age in zip(logs, ages, strict=True)]
    return _place(drift([_row("j", "price", "part", **t) for t in told]), np.array([0.0, 1.0]), float(truth[1]))


def _row(job: str, kind: str, name: str, **more: object) -> Logged:
    return Logged(job, "", "unit", kind, name, HERE, **more)  # type: ignore[arg-type]


def chain_ranks(case: Case, way: str, runs: int, jobs: int, seed: int, draws: int = 2048) -> Floats:
    """Places of the next job's total in the estimate that was learned from a log, one a run; 0 jobs learns nothing.

    Of the other ways only the first that buys is kept: the way may need it if its rebuild is given up.
    """
    case = _narrow(case, way)
    return np.array([_chain(case, way, _Stream(seed, f"chain {k}"), jobs, seed + k, draws) for k in range(runs)])


def _narrow(case: Case, way: str) -> Case:
    buys = [w for w in case.ways if w.traits.buys and not w.traits.rebuilds and w.way != way]
    kept = [replace(w, instead="") for w in (case.way(way), *buys[:1])]
    return replace(case, ways=tuple(kept), looks=())


def _chain(case: Case, way: str, stream: _Stream, jobs: int, seed: int, draws: int) -> float:
    truth = _truth(case, stream)
    model = Model(truth, grow(truth), {})
    block = next(iter(Draws(model.inputs, model.tree.chance, truth.terms.hours_correlation, seed).blocks(MANY)))
    values, leaf = block.values.astype(float), block.leaf
    picked = stream.places(jobs + 1, MANY)
    rows = [r for k in range(jobs) for r in _rows(case, model, f"{k:04}", values[:, picked[k]], int(leaf[picked[k]]))]
    tool = with_learned(replace(case, learned=learn(JobLog(tuple(rows)))))
    estimate = Model(tool, grow(tool), {})
    outcomes = sample(estimate, draws, seed + 1_000_003)
    came = _total(model, values[:, picked[-1:]], leaf[picked[-1:]], way)
    i = estimate.ways.index(way)
    return float(outcomes.tallies[i][TOTAL].chance_up_to(np.array([came]))[0])


def _truth(case: Case, stream: _Stream) -> Case:
    """A case whose chances and whose owner's pace are drawn from what is believed before any job."""
    branches = list(case.branches)
    for members in groups(case.branches).values():
        weights = stream.gamma(np.array([branches[k].weight * branches[k].chance for k in members]))
        for k, share in zip(members, weights / weights.sum(), strict=True):
            branches[k] = replace(branches[k], chance=float(share))
    before = pace_before()
    bias, _ = stream.belief(before.belief)
    tasks = tuple(
        replace(t, hours=t.hours.scaled(float(np.exp(before.row(t.stage, True) @ bias)))) if t.by == "owner" else t
        for t in case.tasks
    )
    return replace(case, branches=tuple(branches), tasks=tasks, learned=None)


def _rows(case: Case, model: Model, job: str, values: Floats, leaf: int) -> Iterator[Logged]:
    """What the owner would have logged of one drawn job, against the hours that he had guessed."""
    for b, holds in zip(case.branches, model.tree.holds[:, leaf], strict=True):
        if holds:
            unit = replace(_row(job, "count", b.event, given=condition(b)[1], outcome=b.outcome), unit=case.unit.kind)
            yield unit
    drawn = {x.key: float(v) for x, v in zip(model.inputs, values, strict=True)}
    for t in case.tasks:
        actual = drawn.get(f"task hours:{t.task}")
        if actual and t.by == "owner":
            r = t.hours
            p50 = float(ranges.quantile(0.5, r.low, r.likely, r.high, r.shape))
            yield _row(job, "hours", t.task, group=t.stage, p50=p50, actual=actual, first_time=True)


def _total(model: Model, values: Floats, leaf: NDArray[np.intp], way: str) -> float:
    drawn = Drawn(model.program, values, leaf)
    cash, hours, days = drawn.evaluate(model.plain.way(model.ways.index(way)))
    return float(np.ravel(cash + model.own_hour * hours + drawn.lost_day * days)[0])
