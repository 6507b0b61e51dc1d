"""Random small cases of sure numbers for the staged choice, few enough in places that every policy can be tried."""

from __future__ import annotations

import random

from reference_case import branch, case, task, terms, way
from small_case import part, sure

from repairecon.records import ORDER_TIMES, STAGES, Branch, Case, Task, Way

SEEN = ("", "outside", "removal", "strip", "measure", "reassembly", "first run")
HOURLY = 11.0


def _event(rng: random.Random, k: int, ends_at: str) -> list[Branch]:
    """Two outcomes, free or one way or another as an earlier event turned out."""
    seen_at = ends_at or rng.choice(SEEN)
    earlier = f"e{rng.randrange(k)}=bad" if k and rng.random() < 0.6 else ""
    worse: dict[str, object] = {
        "extra_hours": sure(rng.choice((0, 2, 5))),
        "outside_cost": sure(rng.choice((0, 30, 90, 250))),
        "extra_days": sure(rng.choice((0, 4))),
        "parts": (("spare", 1),) if rng.random() < 0.5 else (),
        "ends_rebuild": bool(ends_at),
        "core_refused": rng.random() < 0.3,
    }
    if not ends_at and rng.random() < 0.4:
        worse["ways"] = rng.choice((("exchange",), ("all",), ("second-hand",), ("new", "second-hand")))
    rows = []
    for given in ("", earlier) if earlier else ("",):
        p = rng.uniform(0.1, 0.9)
        rows += [branch(f"e{k}", "good", 1 - p, seen_at, given), branch(f"e{k}", "bad", p, seen_at, given, **worse)]
    return rows


def _tasks(rng: random.Random) -> tuple[Task, ...]:
    return tuple(
        task(f"do {stage}", stage, hours=sure(rng.choice((0, 1, 4))), cost=sure(rng.choice((0, 0, 40, 120))))
        for stage in STAGES[:6]
    )


def _ways(rng: random.Random) -> tuple[Way, ...]:
    core = {"core_surcharge": sure(120), "core_carriage": sure(15), "p_refund": rng.choice((0.7, 1.0)),
            "core_if_stripped": rng.random() < 0.5}  # fmt: skip
    bought = [
        way("swap", "exchange", sure(rng.uniform(150, 500)), lead_days=sure(5), **core),
        way("new", "new", sure(rng.uniform(200, 700)), lead_days=sure(2)),
        way("used", "second-hand", sure(rng.uniform(50, 400)), lead_days=sure(6), fitting_hours=sure(2)),
    ]
    return (way("rebuild", "rebuild"), *rng.sample(bought, 2))


def staged_case(seed: int) -> Case:
    """2 to 4 events of 2 outcomes, a rebuild and 2 buys, parts ordered at any time."""
    rng = random.Random(seed)
    events = rng.randint(2, 4)
    ending = rng.randrange(events) if rng.random() < 0.7 else -1
    branches = [b for k in range(events) for b in _event(rng, k, rng.choice(SEEN[2:6]) if k == ending else "")]
    return case(
        terms=terms(order_parts=rng.choice(ORDER_TIMES), cost_own_hour=HOURLY, cost_lost_day=sure(7)),
        parts=(part("kit", rng.uniform(40, 300), sure(8)), part("spare", rng.uniform(20, 90), sure(3), "damage")),
        tasks=_tasks(rng),
        branches=tuple(branches),
        ways=_ways(rng),
        suppliers=(),
        quotes=(),
    )
