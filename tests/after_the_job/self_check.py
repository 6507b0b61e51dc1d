"""The tool tried on truths that are drawn: where the truth falls among what was expected must be even.

A truth is drawn from what is believed before any job (chances of each event, the owner's pace), a log of jobs is drawn
from that truth, the log is learned from, and the next job is estimated. If all of it is right, the next job's place in
its estimate is as often in each tenth (Talts et al. 2018, simulation-based calibration; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from repairecon.after_the_job import learning
from repairecon.formulas import ranges
from repairecon.formulas.bayes import LinearBelief, belief_interval
from repairecon.rebuild_or_buy.draws import Draws
from repairecon.rebuild_or_buy.evaluate import Drawn
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import TOTAL, sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import STAGES, Case, JobLog, Logged, Source, grouped

Floats = NDArray[np.float64]
HERE = Source("drawn")
MANY = 256


def drawn_belief(rng: np.random.Generator, belief: LinearBelief) -> tuple[Floats, float]:
    """Coefficients and spread drawn from a belief."""
    variance = belief.scale / rng.gamma(belief.shape)
    root = np.linalg.cholesky(np.linalg.inv(belief.precision))
    return belief.mean + np.sqrt(variance) * root @ rng.standard_normal(len(belief.mean)), float(np.sqrt(variance))


def place(belief: LinearBelief, row: Floats, truth: float) -> float:
    """Place of a truth in a belief, 0 to 1."""
    freedom = 2.0 * belief.shape
    middle, _, high = belief_interval(belief, row, 0.0, 0.8)
    return float(special.stdtr(freedom, (truth - middle) / (high - middle) * special.stdtrit(freedom, 0.9)))


def logged(job: str, kind: str, name: str, **more: object) -> Logged:
    return Logged(job=job, closed_on="", unit="unit", kind=kind, name=name, source=HERE, **more)  # type: ignore[arg-type]


def chance_ranks(rng: np.random.Generator, jobs: int) -> float:
    """Place of a drawn chance in what is believed of it after some jobs."""
    prior = 5.0 * np.array([0.6, 0.3, 0.1])
    chance = rng.dirichlet(prior)
    seen = rng.choice(3, jobs, p=chance)
    rows = [logged(f"{k}", "count", "event", outcome=str(o)) for k, o in enumerate(seen)]
    counts = {c.outcome: c.count for c in learning.learn(JobLog(tuple(rows))).chances}
    after = prior + [counts.get(str(k), 0.0) for k in range(3)]
    return float(special.betainc(after[0], after[1:].sum(), chance[0]))


def pace_ranks(rng: np.random.Generator, jobs: int) -> float:
    """Place of the owner's drawn pace in what is believed of it after some jobs."""
    names = [f"{k:04}" for k in range(jobs)]
    before = learning.pace_before(STAGES, names)
    truth, spread = drawn_belief(rng, before.belief)
    rows = []
    for k, name in enumerate(names):
        for stage in STAGES[1:4]:
            log = float(before.row(stage, k % 2 == 0, name) @ truth + spread * rng.standard_normal())
            more = {"group": stage, "p50": 2.0, "actual": 2.0 * float(np.exp(log)), "first_time": k % 2 == 0}
            rows.append(logged(name, "hours", "task", **more))
    after = learning.pace(rows)
    return place(after.belief, after.row(STAGES[1], True), float(before.row(STAGES[1], True) @ truth))


def drift_ranks(rng: np.random.Generator, jobs: int) -> float:
    """Place of a drawn rise of prices in what is believed of it after some jobs."""
    truth, spread = drawn_belief(rng, learning.drift_before())
    rows = []
    for age in 2.0 * rng.random(jobs):
        paid = 10.0 * float(np.exp(truth @ [1.0, age] + spread * rng.standard_normal()))
        rows.append(logged("j", "price", "part", p50=10.0, actual=paid, years=float(age)))
    return place(learning.drift(rows), np.array([0.0, 1.0]), float(truth[1]))


def chain_ranks(case: Case, way: str, runs: int, jobs: int, seed: int, draws: int = 2048) -> Floats:
    """Places of the next job's total in the estimate that was learned from a log, one a run; 0 jobs learns nothing.

    Of the other ways only the first that buys is kept: the way may need it if its rebuild is given up.
    """
    buys = [w for w in case.ways if w.traits.buys and not w.traits.rebuilds and w.way != way]
    kept = tuple(replace(w, instead="") for w in (case.way(way), *buys[:1]))
    case = replace(case, ways=kept, looks=())
    return np.array([_chain(case, way, np.random.default_rng([seed, k]), jobs, seed + k, draws) for k in range(runs)])


def _chain(case: Case, way: str, rng: np.random.Generator, jobs: int, seed: int, draws: int) -> float:
    true_case = truth_of(case, rng)
    model = Model(true_case, grow(true_case), {})
    block = next(iter(Draws(model.inputs, model.tree.chance, true_case.terms.hours_correlation, seed).blocks(MANY)))
    values, leaf = block.values.astype(float), block.leaf
    picked = rng.integers(0, MANY, jobs + 1)
    rows = [r for k in range(jobs) for r in _rows(case, model, f"{k:04}", values[:, picked[k]], int(leaf[picked[k]]))]
    tool = with_learned(replace(case, learned=learning.learn(JobLog(tuple(rows)))))
    estimate = Model(tool, grow(tool), {})
    outcomes = sample(estimate, draws, seed + 1_000_003)
    came = _total(model, values[:, picked[-1:]], leaf[picked[-1:]], way)
    return float(outcomes.tallies[estimate.ways.index(way)][TOTAL].chance_up_to(np.array([came]))[0])


def truth_of(case: Case, rng: np.random.Generator) -> Case:
    """A case whose chances and whose owner's pace are drawn from what is believed before any job."""
    branches = list(case.branches)
    for members in grouped(range(len(branches)), lambda k: (branches[k].event, branches[k].condition)).values():
        weights = rng.gamma([branches[k].weight * branches[k].chance for k in members])
        for k, share in zip(members, weights / weights.sum(), strict=True):
            branches[k] = replace(branches[k], chance=float(share))
    before = learning.pace_before()
    bias, _ = drawn_belief(rng, before.belief)
    tasks = tuple(
        replace(t, hours=t.hours.scaled(float(np.exp(before.row(t.stage, True) @ bias)))) if t.by == "owner" else t
        for t in case.tasks
    )
    return replace(case, branches=tuple(branches), tasks=tasks, learned=None)


def _rows(case: Case, model: Model, job: str, values: Floats, leaf: int) -> Iterator[Logged]:
    """What the owner would have logged of one drawn job, against the hours that he had guessed."""
    for b, holds in zip(case.branches, model.tree.holds[:, leaf], strict=True):
        if holds:
            row = logged(job, "count", b.event, given=b.condition, outcome=b.outcome)
            yield replace(row, unit=case.unit.kind)
    drawn = {x.key: float(v) for x, v in zip(model.inputs, values, strict=True)}
    for t in case.tasks:
        actual = drawn.get(f"task hours:{t.task}")
        if actual and t.by == "owner":
            r = t.hours
            p50 = float(ranges.quantile(0.5, r.low, r.likely, r.high, r.shape))
            yield logged(job, "hours", t.task, group=t.stage, p50=p50, actual=actual, first_time=True)


def _total(model: Model, values: Floats, leaf: NDArray[np.intp], way: str) -> float:
    drawn = Drawn(model.program, values, leaf, model.program.patterns)
    cash, hours, days = drawn.evaluate(model.plain.way(model.ways.index(way)))
    return float(np.ravel(cash + model.own_hour * hours + values[model.program.lost_day] * days)[0])
