"""The answer as plain data for other programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from repairecon.jobs.rebuild_or_buy import Answer
from repairecon.show import sentences

FIELDS = {"cash": "cash", "total": "total", "total_own_time_free": "total_own_time_free", "days": "days",
          "own_hours": "own_hours"}  # fmt: skip


def as_json(answer: Answer) -> dict[str, Any]:
    """The answer as dictionaries, lists, numbers and text; money in home currency, chances 0..1."""
    v = answer.verdict
    return {
        "unit": answer.case.unit.name,
        "currency": answer.case.terms.currency,
        "figures": answer.case.unit.figures,
        "ways": [_way(answer, w) for w in answer.table.index],
        "verdict": sentences.verdict(answer),
        "best": v.best,
        "second": v.second,
        "gap": v.gap,
        "p_best_below_second": v.p_best_below_second,
        "near_tie": v.near_tie,
        "flips": [{**asdict(f), "within_range": f.within_range} for f in answer.flips],
        "assumed": [asdict(a) for a in answer.assumed],
        "cautions": list(answer.cautions),
        "thumb_rules": [asdict(r) for r in answer.thumb_rules],
        "tree": [
            {"chance": c, "outcomes": o, "expected_extra_cost": x, "ends_rebuild": e}
            for c, o, x, e in answer.leaves.itertuples(index=False)
        ],
        "prices": answer.lines.to_dict(orient="records"),
        "found": dict(answer.found),
        "cost_own_hour": answer.cost_own_hour,
        "seed": answer.outcomes.seed,
        "draws": answer.outcomes.draws,
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
