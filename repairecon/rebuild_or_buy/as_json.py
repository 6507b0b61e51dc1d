"""The answer as plain data for other programs."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite
from typing import Any

from repairecon.read.look_again import look_again
from repairecon.rebuild_or_buy import headline
from repairecon.rebuild_or_buy.answer import Answer

FIELDS = {"cash": "cash", "total": "total", "total_own_time_free": "total_own_time_free", "days": "days",
          "own_hours": "own_hours"}  # fmt: skip


def as_json(answer: Answer) -> dict[str, Any]:
    """The answer as dictionaries, lists, numbers and text; money in home currency, chances 0..1."""
    v = answer.verdict
    return {
        "advice": _plain(asdict(answer.advice)),
        "unit": answer.case.unit.name,
        "currency": answer.case.terms.currency,
        "figures": answer.case.unit.figures,
        "ways": [_way(answer, w) for w in answer.table.index],
        "verdict": " ".join(headline.advice(answer)),
        "best": answer.advice.way,
        "second": v.second,
        "gap": v.gap,
        "p_best_below_second": v.p_best_below_second,
        "near_tie": v.near_tie,
        "flips": [{**asdict(f), "within_range": f.within_range} for f in answer.flips],
        "look_again": [asdict(r) for r in look_again(answer.case) if not r.acknowledged],
        "ask": list(answer.model.buying.questions),
        "assumed": [asdict(a) for a in answer.assumed],
        "cautions": list(answer.cautions),
        "thumb_rules": [asdict(r) for r in answer.thumb_rules],
        "tree": [
            {"chance": c, "outcomes": o, "expected_extra_cost": x, "ends_rebuild": e}
            for c, o, x, e, _ in answer.leaves.itertuples(index=False)
        ],
        **_bench(answer),
        "swings": [asdict(s) for s in answer.swings],
        "risk": _risk(answer),
        "horizon_years": answer.horizon.years.horizon_years,
        "horizon": _horizon(answer),
        "life_fits": [{k: _number(v) for k, v in asdict(f).items()} for f in answer.life_fits],
        "best_over_the_years": answer.horizon.best,
        "spare": _spare(answer),
        "prices": answer.lines.to_dict(orient="records"),
        "found": [{"event": f.event, "outcome": f.outcome, "p_right": f.p_right} for f in answer.found],
        "stage": answer.stage,
        "cost_own_hour": answer.cost_own_hour,
        "seed": answer.outcomes.seed,
        "draws": answer.outcomes.draws,
    }


def _bench(answer: Answer) -> dict[str, Any]:
    """The choice at the bench: stages, policy, repair limit, worth of stripping and of looks."""
    b = answer.bench
    return {
        "stages": answer.stages.to_dict(orient="records"),
        "policy": [{k: _number(v) for k, v in r.items()} for r in answer.policy.to_dict(orient="records")],
        "stop_when": [asdict(s) | {"point": s.point, "findings": dict(s.findings)} for s in answer.stop_when],
        "value": b.value,
        "now": b.now,
        "best_commit": b.best_commit,
        "repair_limit": {
            "own_time_in": _number(b.repair_limit),
            "own_time_free": _number(b.repair_limit_cash),
            "way": b.limit_way,
        },
        "value_of_stripping": b.value_of_stripping,
        "wrong_commitment": b.wrong_commitment,
        "spent": asdict(b.spent),
        "order_times": answer.order_times.to_dict(orient="records"),
        "looks": [asdict(w) for w in answer.looks],
    }


def _plain(x: Any) -> Any:
    """Records, lists and numbers as JSON can hold them."""
    if isinstance(x, dict):
        return {str(k): _plain(v) for k, v in x.items()}
    return [_plain(v) for v in x] if isinstance(x, (list, tuple)) else _number(x)


def _number(x: Any) -> Any:
    """A number that JSON can hold; None for what is not finite."""
    return None if x is None or (isinstance(x, float) and not isfinite(x)) else x


def _horizon(answer: Answer) -> list[dict[str, Any]]:
    rows = answer.horizon.ways.reset_index().to_dict(orient="records")
    return [{str(k): _number(v) for k, v in row.items()} for row in rows]


def _spare(answer: Answer) -> dict[str, Any]:
    """Worth of the best combination, before and after its cost, and of every one."""
    h = answer.horizon
    best = next((c for c in h.spares if c.combination == h.best_spare), None)
    return {
        "best": h.best_spare,
        "worth": best.worth if best else 0.0,
        "net": best.net if best else 0.0,
        "by_combination": [asdict(c) for c in h.spares],
    }


def _risk(answer: Answer) -> dict[str, Any]:
    r = answer.risk
    return {
        "tolerance": r.tolerance,
        "cap": r.cap,
        "cap_chance": r.cap_chance,
        "best": r.best,
        "changes": r.changes,
        "ways": {str(w): dict(row) for w, row in r.frame.to_dict(orient="index").items()},
    }


def _way(answer: Answer, way: str) -> dict[str, Any]:
    row = answer.table.loc[way]
    data: dict[str, Any] = {"way": way, "kind": row["kind"]}
    for key, column in FIELDS.items():
        data[key] = {p: float(row[f"{column}_{p}"]) for p in ("mean", "p10", "p50", "p90")}
        data[key]["mean_se_sampled"] = float(row[f"{column}_se"])
        data[key]["p90_se"] = float(row[f"{column}_p90_se"])
    data["cost_lost_days"] = float(row["cost_lost_days_mean"])
    data["p_cheapest"] = float(row["p_cheapest"])
    data["expected_regret"] = float(row["expected_regret"])
    data["allowed"] = bool(row["allowed"])
    data["why_not"] = row["why_not"]
    data["p_never"] = float(row["p_never"])
    data["instead"] = row["instead"] if row["p_never"] > 0 else ""
    data["p_given_up"] = float(row["p_given_up"])
    data["p_spare"] = float(row["p_spare"])
    return data
