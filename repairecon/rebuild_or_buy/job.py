"""The main job: what every way out costs, in how many days, which to choose, and when to stop."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from math import prod

import numpy as np

from repairecon.buying.buying import Buying
from repairecon.kinds.facts import kinds
from repairecon.kinds.words import meaning
from repairecon.kinds.worn import measures, worn
from repairecon.read.values import listed
from repairecon.rebuild_or_buy.advice import screen
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.bench import closed_already
from repairecon.rebuild_or_buy.learned import with_learned, with_own_lives
from repairecon.rebuild_or_buy.lives import clocks_of, cost_away, discounted_failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import sample
from repairecon.rebuild_or_buy.tree import STAGE, Finding, Tree, branch_touches, grow, remedies_for
from repairecon.records import STAGES, Branch, Case, Remedy, RepaireconError, Way

DRAWS = 20_000
AUTO = "auto"
MOST_YEARS = 60
Key = tuple[str, str, str]
Taken = dict[Key, tuple[Remedy, ...]]
MOST_TRIED = 64
"""Choices for a way up to which all are tried; with more, one outcome after another until nothing gets better."""


def rebuild_or_buy(
    case: Case, draws: int | str = DRAWS, seed: int = 1, *, cost_own_hour: float | None = None,
    horizon_years: float | None = None, found: Mapping[str, str] | str = "", stage: str = "",
    progress: Callable[[int], object] | None = None,
) -> Answer:  # fmt: skip
    """Work out every way of a case from where the owner stands; money in home currency, times in days and hours.

    Table and verdict are there at once, all else when it is first asked for; the same seed gives the same answer, bit
    for bit, in any order of asking.

    ``draws`` are joint draws for the ranges (means are exact without any), "auto" as many as the verdict's figures
    need; ``progress`` is called with the number done after each block. ``cost_own_hour`` [home money an hour] and
    ``horizon_years`` [years], 0 for this job alone, go before those of the case. ``found`` are findings so far,
    ``{"shaft": "grooved"}`` or ``"shaft=grooved; seal=eaten (0.8)"`` where 0.8 is the chance that the look was right;
    ``stage`` is the last stage of the work that is done: what it took is spent, and shown apart.
    """
    _check(case, draws, seed, stage, cost_own_hour, horizon_years)
    case, fits = with_own_lives(with_learned(case))
    stated = case
    if horizon_years is not None:
        case = replace(case, years=replace(case.years, horizon_years=horizon_years))
    findings = read_findings(found or case.found) + read_findings(findings_measured(case, case.measured))
    done = STAGE.get(stage or case.done, -1)
    tree = grow(case, findings)
    closed = closed_already(case, tree, done)
    why_not = {w: why or closed.get(w, "") for w, why in screen(case).items()}
    if all(why_not.values()):
        raise RepaireconError(
            "no way is left after the safety screen: add a new or exchange unit or a specialist's "
            "rebuild to ways.csv, or write a [[waiver]] with its reason into case.toml"
        )
    model = best_model(case, tree, {w: not why for w, why in why_not.items()}, done, cost_own_hour)
    outcomes = sample(model, None if draws == AUTO else int(draws), seed, progress)
    model.late = outcomes.late
    return Answer(stated, model, outcomes, why_not, findings, stage, case.years, fits)


def _check(case: Case, draws: int | str, seed: int, stage: str, hour: float | None, years: float | None) -> None:
    wrong = {
        f"horizon_years: found {years}; give years from 0 (this job alone) to {MOST_YEARS}":
            years is not None and not 0 <= years <= MOST_YEARS,
        f"draws: found {draws}; give a whole number of 2 or more, or auto":
            draws != AUTO and (isinstance(draws, str) or draws < 2),
        f"seed: found {seed}; give a whole number of 0 or more": seed < 0,
        f"cost_own_hour: found {hour}; give an amount of 0 or more":
            hour is not None and not (np.isfinite(hour) and hour >= 0),
        f"stage: found {stage!r}; write the last stage that is done, one of: {', '.join(STAGES)}":
            bool(stage) and stage not in STAGE,
        "the case names no way out: add one to ways.csv": not case.ways,
    }  # fmt: skip
    if any(wrong.values()):
        raise RepaireconError("\n".join(said for said, is_so in wrong.items() if is_so))


_FINDING = re.compile(r"^\s*([^=]+?)\s*=\s*(.+?)\s*(?:\(\s*([0-9.]+)\s*\))?\s*$")


def read_findings(found: Mapping[str, str] | str) -> tuple[Finding, ...]:
    """Findings from ``event=outcome`` pieces joined by ``;``, each with the chance of being right in brackets."""
    pieces = listed(found) if isinstance(found, str) else [f"{e}={o}" for e, o in found.items()]
    read, sure = list[Finding](), dict[str, str]()
    for piece in pieces:
        try:
            event, outcome, right = _FINDING.findall(piece)[0]
            read.append(Finding(event, outcome, float(right or 1.0)))
        except (IndexError, ValueError):
            raise RepaireconError(
                f"found: {piece!r} is not a finding; write event=outcome, or event=outcome (0.8) if the look "
                "is right 8 times in 10, joined by ;"
            ) from None
    for f in read:
        if f.p_right == 1.0 and sure.setdefault(f.event, f.outcome) != f.outcome:
            raise RepaireconError(f"found: {f.event} is given both as {sure[f.event]} and as {f.outcome}")
    return tuple(read)


# ---- what was measured at the bench as findings: judged by the limits of the kind, then held against the tree ----
def findings_measured(case: Case, measured: str) -> str:
    """Findings that ``measure=value`` pieces joined by ``;`` stand for, by the limits of the unit's kind."""
    kind, findings = case.unit.kind, list[str]()
    for piece in listed(measured):
        if kind not in kinds():
            raise RepaireconError(
                "measured: no limits are known for this kind of unit; say what was found with --found"
            )
        measure, _, value = map(str.strip, piece.partition("="))
        found = worn(kind, measure, value or None)
        if not found.measure:
            known = ", ".join(measures(kind))
            raise RepaireconError(f"measured: {measure!r} is no measure of a {kind}; write one of: {known}")
        if found.verdict == "ask":
            why = found.note or "write the figure with its unit"
            raise RepaireconError(f"measured: {found.measure} {value}: {why}")
        if found.verdict == "worn":
            # the outcome whose words are nearest to the measure, what is then done breaking ties
            place, then = set(meaning(found.measure)), set(meaning(found.what_then))
            said = [(b, set(meaning(b.outcome))) for b in case.branches]
            ranked = [(len(place & words), len(then & words), b.chance, b.key) for b, words in said if place & words]
            if not ranked:
                raise RepaireconError(
                    f"measured: {found.measure} is past its limit ({found.limit}; then: {found.what_then}), and no "
                    "outcome of this case says so; name it with --found"
                )
            findings.append(max(ranked)[-1])
    return "; ".join(findings)


# ---- which remedy an outcome is met by, for each way: the one with the least expected total of the whole way ----
def _choices(case: Case, way: Way) -> Iterator[tuple[Key, list[tuple[Remedy, ...]]]]:
    """Outcomes that a way can meet, each with the remedies in the orders in which they may be taken."""
    shown: dict[tuple[str, str], Branch] = {}
    for b in case.branches:
        if b.seen_at and branch_touches(b, way):
            shown.setdefault((b.event, b.outcome), b)
    for (event, outcome), b in shown.items():
        remedies = remedies_for(case, way, event, outcome)
        options: list[tuple[Remedy, ...]] = []
        for first in remedies:
            again = [r for r in remedies if r is not first] or [first]
            options += [(first,)] if first.p_holds >= 1.0 else [(first, then) for then in again]
        if options:
            yield (way.way, event, outcome), options + ([()] if b.ends_rebuild else [])


def _best(cost: Callable[[Taken], float], choices: dict[Key, list[tuple[Remedy, ...]]]) -> Taken:
    count = prod(len(options) for options in choices.values())
    if count <= MOST_TRIED:
        every = [dict(zip(choices, taken, strict=True)) for taken in product(*choices.values())]
        return min(every, key=cost) if count > 1 else every[0]
    best = {key: options[0] for key, options in choices.items()}
    least, better = cost(best), True
    while better:
        better = False
        for key, options in choices.items():
            for taken in options:
                now = cost(best | {key: taken})
                if now < least - 1e-9:
                    best, least, better = best | {key: taken}, now, True
    return best


def best_model(
    case: Case, tree: Tree, allowed: Mapping[str, bool], done: int, own_hour: float | None, buying: Buying | None = None
) -> Model:
    buying, years, chosen = buying or Buying(case), case.years, Taken()
    buys = [w for w in case.ways if w.traits.buys and not w.traits.rebuilds]
    for way in case.ways if case.remedies else ():
        # beside the way itself only what may be bought once a rebuild has ended
        few = replace(case, ways=tuple(w for w in case.ways if w is way or w in buys))

        def cost(taken: Taken, few: Case = few, way: Way = way) -> float:
            """Expected total, and that of failures over the years that remedies bring by leaving a shorter life."""
            model = Model(few, tree, allowed, done, own_hour, buying, taken)
            i = model.ways.index(way.way)
            total = float(model.expected()[i] @ np.array(model.weights))
            lives = years.horizon_years > 0 and (way.life_years is not None or way.life_hours is not None)
            shares = model.life_shares(i) if lives else {}
            if not shares.keys() - {1.0}:
                return total
            each = {s: discounted_failures(clocks_of(few, way, s), years) for s in {1.0, *shares}}
            more = sum(p * (each[s] - each[1.0]) for s, p in shares.items())
            return total + more * (total + years.p_away * cost_away(years, model.lost_day))

        if choices := dict(_choices(case, way)):
            chosen |= _best(cost, choices)
    return Model(case, tree, allowed, done, own_hour, buying, chosen)
