"""The main job: what every way out costs, in how many days, which to choose, and when to stop."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

import numpy as np

from repairecon.rebuild_or_buy import at_the_bench, exact_ranges, over_the_years, rules, tables
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.bearings import with_bearing
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.rebuild_or_buy.looking import looks
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.numbers import numbers
from repairecon.rebuild_or_buy.outcomes import sample
from repairecon.rebuild_or_buy.own_lives import with_own_lives
from repairecon.rebuild_or_buy.rules import screen
from repairecon.rebuild_or_buy.sensitivity import flips, swings
from repairecon.rebuild_or_buy.variance import variance_shares
from repairecon.rebuild_or_buy.world import STAGE, Finding, grow, with_findings
from repairecon.records import STAGES, Case, RepaireconError

DRAWS = 20_000
AUTO = "auto"
MOST_YEARS = 60


def rebuild_or_buy(
    case: Case,
    draws: int | str = DRAWS,
    seed: int = 1,
    *,
    cost_own_hour: float | None = None,
    horizon_years: float | None = None,
    found: Mapping[str, str] | str = "",
    stage: str = "",
    exact: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Answer:
    """Reckon every way of a case from where the owner stands.

    ``draws`` joint draws for the ranges (means are exact without any), or "auto" for as many as the
    verdict's figures need; ``cost_own_hour`` overrides
    the case's worth of an own hour; ``horizon_years`` the case's years looked ahead (0: this job
    alone); ``found`` holds findings so far, ``{"shaft": "grooved"}`` or
    ``"shaft=grooved; seal=eaten (0.8)"`` where 0.8 is the chance that the look was right; ``stage`` the last
    stage of the work that is done (what it took is spent, and shown apart); ``exact`` gives the ranges of money
    without sampling where it can (slower). The same seed gives the
    same answer, bit for bit.
    """
    _check(draws, seed, cost_own_hour, horizon_years)
    if not case.ways:
        raise RepaireconError("the case names no way out: add one to ways.csv")
    case, fits = with_own_lives(with_learned(case))
    case, bearing_life = with_bearing(case, {f.way for f in fits if not f.refused})
    findings, done = read_findings(found), _done(stage)
    world = with_findings(grow(case), findings)
    why_not = screen(case)
    model = Model(case, world, {w: not why for w, why in why_not.items()}, done, cost_own_hour)
    why_not |= at_the_bench.ended_already(model)
    model.allowed &= np.array([not why_not[w] for w in model.ways])
    if not model.allowed.any():
        raise RepaireconError(
            "no way is left after the safety screen: add a new or exchange unit or a specialist's "
            "rebuild to ways.csv, or write a [[waiver]] with its reason into case.toml"
        )
    outcomes = sample(model, None if draws == AUTO else int(draws), seed, progress)
    table = tables.table(model, outcomes, why_not)
    curves = tables.curves(table, outcomes)
    exactly = exact_ranges.put_in(model, table, curves) if exact else {}
    verdict = rules.verdict(case, table, outcomes)
    best = model.ways.index(verdict.best)
    listed = numbers(model)
    bench = at_the_bench.reckon(model, outcomes)
    leaves = tables.leaves(model, outcomes, bench.stops)
    return Answer(
        case=case,
        table=table,
        verdict=verdict,
        flips=tuple(flips(model, best, listed)),
        swings=tuple(swings(model, best, listed)),
        thumb_rules=rules.rules_beside(model, table),
        leaves=leaves,
        lines=tables.lines(model),
        curves=curves,
        exact_ranges=exactly,
        nodes=tables.nodes(model, leaves),
        bench=bench.bench,
        stages=bench.stages,
        policy=bench.policy,
        stop_when=bench.stop_when,
        order_times=at_the_bench.order_times(case, world, model),
        looks=tuple(looks(model, bench.decision, listed)),
        shares=tuple(variance_shares(model, best, seed)),
        risk=rules.risk(case, table, outcomes, verdict),
        horizon=over_the_years.reckon(
            model, outcomes, over_the_years.years_of(case.years, horizon_years), tables.kit_cost(model), seed
        ),
        life_fits=fits,
        bearing_life=bearing_life,
        assumed=case.assumed,
        cautions=case.unit.cautions,
        outcomes=outcomes,
        cost_own_hour=model.own_hour,
        found=findings,
        stage=stage,
        model=model,
        numbers=tuple(listed),
    )


def _check(draws: int | str, seed: int, cost_own_hour: float | None, horizon_years: float | None) -> None:
    if horizon_years is not None and not 0 <= horizon_years <= MOST_YEARS:
        raise RepaireconError(
            f"horizon_years: found {horizon_years}; give years from 0 (this job alone) to {MOST_YEARS}"
        )
    if draws != AUTO and (isinstance(draws, str) or draws < 2):
        raise RepaireconError(f"draws: found {draws}; give a whole number of 2 or more, or auto")
    if seed < 0:
        raise RepaireconError(f"seed: found {seed}; give a whole number of 0 or more")
    if cost_own_hour is not None and not (np.isfinite(cost_own_hour) and cost_own_hour >= 0):
        raise RepaireconError(f"cost_own_hour: found {cost_own_hour}; give an amount of 0 or more")


def _done(stage: str) -> int:
    if stage and stage not in STAGE:
        raise RepaireconError(f"stage: found {stage!r}; write the last stage that is done, one of: {', '.join(STAGES)}")
    return STAGE.get(stage, -1)


_FINDING = re.compile(r"\s*([^=]+?)\s*=\s*(.+?)\s*(?:\(\s*([0-9.]+)\s*\))?\s*$")


def read_findings(found: Mapping[str, str] | str) -> tuple[Finding, ...]:
    """Findings from ``event=outcome`` pieces joined by ``;``, each with the chance of being right in brackets."""
    pieces = found.split(";") if isinstance(found, str) else [f"{e}={o}" for e, o in found.items()]
    read: list[Finding] = []
    for piece in filter(None, (p.strip() for p in pieces)):
        match = _FINDING.match(piece)
        try:
            finding = Finding(match[1], match[2], float(match[3] or 1.0)) if match else None
        except ValueError:
            finding = None
        if finding is None:
            raise RepaireconError(
                f"found: {piece!r} is not a finding; write event=outcome, or event=outcome (0.8) if the look "
                "is right 8 times in 10, joined by ;"
            )
        read.append(finding)
    sure: dict[str, str] = {}
    for f in read:
        if f.p_right == 1.0 and sure.setdefault(f.event, f.outcome) != f.outcome:
            raise RepaireconError(f"found: {f.event} is given both as {sure[f.event]} and as {f.outcome}")
    return tuple(read)
