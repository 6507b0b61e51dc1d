"""``repairecon rebuild-or-buy FOLDER``, and the answer as plain data for other programs."""

from __future__ import annotations

import argparse
import json
import sys
from contextlib import nullcontext
from dataclasses import asdict, is_dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from repairecon.book.on_hand import read_case_aboard
from repairecon.read.case_folder import cases_in
from repairecon.read.look_again import look_again
from repairecon.rebuild_or_buy import headline
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.job import AUTO, DRAWS, findings_measured, rebuild_or_buy
from repairecon.show.answer_tables import keep_tables
from repairecon.show.layout import for_terminal

LONG_WORK = 200_000
QUANTITIES = ("cash", "total", "total_own_time_free", "days", "own_hours")
PART_NAMES = ("bench", "looks", "years", "flips", "ranges", "rules", "cautions", "prices", "assumed")


def add(jobs: Any) -> None:
    """Add the job to the command line."""
    job = jobs.add_parser("rebuild-or-buy", help="what every way out costs, in how many days, and what to do")
    job.add_argument("folder", help="case folder (case.toml and, as far as you have them, the CSV files) or workbook")
    job.add_argument("more", nargs="*", metavar="FOLDER", help="more cases, or folders of cases: then a line each")
    job.add_argument(
        "--draws", type=_draws, default=DRAWS, help="draws for the ranges, or auto for as many as needed (%(default)s)"
    )
    job.add_argument("--seed", type=int, default=1, help="the same seed gives the same answer (default %(default)s)")
    job.add_argument("--cost-own-hour", type=float, help="what an hour of your own is worth, instead of the case's")
    job.add_argument("--found", default="", metavar="EVENT=OUTCOME", help="findings so far, joined by ';'")
    job.add_argument("--horizon-years", type=float, help="years looked ahead, instead of the case's; 0: this job alone")
    job.add_argument("--stage", default="", help="last stage that is done: what it took is spent and not counted")
    job.add_argument("--measured", default="", metavar="MEASURE=VALUE", help="measurements so far, joined by ';'")
    job.add_argument("--tables", type=Path, metavar="FOLDER", help="write every table of the answer: CSV and one .xlsx")
    many = job.add_argument_group("many cases")
    many.add_argument("--lines", type=Path, metavar="FILE", help="write the lines (.csv, .parquet), or go on with it")
    many.add_argument("--workers", type=int, default=0, help="processes (default: as many as there are cores)")
    many.add_argument("--scheduler", default="", metavar="ADDRESS", help="a cluster's, as in tcp://host:8786")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    face.add_argument("--full", action="store_true", help="print everything, not the first screen alone")
    face.add_argument("--part", choices=PART_NAMES, help="print one part")
    job.set_defaults(run=run)


def _draws(text: str) -> int | str:
    """A number of draws, or auto."""
    try:
        return AUTO if text == AUTO else int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"found {text!r}; give a whole number, or auto") from error


def _bar(many: int) -> Any:
    from tqdm import tqdm

    return tqdm(total=many, unit=" draws", unit_scale=True, file=sys.stderr, leave=False)


def run(args: argparse.Namespace) -> int | None:
    """Work it out, then print or write; of many cases 2 where one has faults."""
    folders = [str(case) for folder in (args.folder, *args.more) for case in cases_in(folder)]
    if len(folders) > 1 or args.lines:
        from repairecon.rebuild_or_buy.many_cases import print_lines

        return print_lines(folders, args)
    case = read_case_aboard(folders[0], years=bool(args.horizon_years))
    many = 0 if args.draws == AUTO else args.draws
    with _bar(many) if many >= LONG_WORK and sys.stderr.isatty() else nullcontext() as bar:
        answer = rebuild_or_buy(
            case,
            args.draws,
            args.seed,
            cost_own_hour=args.cost_own_hour,
            horizon_years=args.horizon_years,
            found="; ".join(filter(None, (args.found or case.found, findings_measured(case, args.measured)))),
            stage=args.stage,
            progress=bar and bar.update,
        )
    if args.tables is not None:
        keep_tables(args.tables, args.job, as_json(answer))
    if args.report is not None:
        from repairecon.rebuild_or_buy.parts import page
        from repairecon.show.report import write_page

        write_page(args.report, lambda: page(answer))
        print(f"Wrote {args.report}")
    elif args.json:
        print(json.dumps(as_json(answer), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        from repairecon.rebuild_or_buy import screen

        all_of_it = args.full or args.part
        said = screen.full(answer, args.part or "") if all_of_it else screen.first_screen(answer)
        print(for_terminal(said), end="")
    return None


# ---- plain data ----------------------------------------------------------------------------------
def as_json(answer: Answer) -> dict[str, Any]:
    """The answer as dictionaries, lists, numbers and text; money in home currency, chances 0..1."""
    v, b, h, unit = answer.verdict, answer.bench, answer.horizon, answer.case.unit
    spare = next((c for c in h.spares if c.combination == h.best_spare), None)
    data = {
        "advice": answer.advice,
        "unit": unit.name,
        "currency": answer.case.terms.currency,
        "figures": unit.figures,
        "ways": [_way(str(way), row) for way, row in answer.table.iterrows()],
        "verdict": " ".join(headline.advice(answer)),
        "best": answer.advice.way,
        **{name: getattr(v, name) for name in ("second", "gap", "p_best_below_second", "near_tie")},
        "flips": [asdict(f) | {"within_range": f.within_range} for f in answer.flips],
        "look_again": [r for r in look_again(answer.case) if not r.acknowledged],
        "ask": answer.model.buying.questions,
        "assumed": answer.assumed,
        "cautions": answer.cautions,
        "thumb_rules": answer.thumb_rules,
        "tree": _rows(answer.leaves.drop(columns="stop")),
        "stages": _rows(answer.stages),
        "policy": _rows(answer.policy),
        "stop_when": [asdict(s) | {"point": s.point, "findings": dict(s.findings)} for s in answer.stop_when],
        "value": b.value,
        "now": b.now,
        "best_commit": b.best_commit,
        "repair_limit": {"own_time_in": b.repair_limit, "own_time_free": b.repair_limit_cash, "way": b.limit_way},
        "value_of_stripping": b.value_of_stripping,
        "wrong_commitment": b.wrong_commitment,
        "spent": b.spent,
        "order_times": _rows(answer.order_times),
        "looks": answer.looks,
        "swings": answer.swings,
        "risk": {k: x for k, x in vars(answer.risk).items() if k != "frame"}
        | {"ways": answer.risk.frame.to_dict(orient="index")},
        "horizon_years": h.years.horizon_years,
        "horizon": _rows(h.ways.reset_index()),
        "life_fits": answer.life_fits,
        "best_over_the_years": h.best,
        "spare": {
            "best": h.best_spare,
            "worth": spare.worth if spare else 0.0,
            "net": spare.net if spare else 0.0,
            "by_combination": h.spares,
        },
        "prices": _rows(answer.lines),
        "found": answer.found,
        "stage": answer.stage,
        "cost_own_hour": answer.cost_own_hour,
        "seed": answer.outcomes.seed,
        "draws": answer.outcomes.draws,
    }
    return {key: _plain(x) for key, x in data.items()}


def _rows(frame: Any) -> list[dict[str, Any]]:
    return [dict(row) for row in frame.to_dict(orient="records")]


def _plain(x: Any) -> Any:
    """Records, lists and numbers as JSON can hold them; None for what is not finite."""
    if is_dataclass(x) and not isinstance(x, type):
        return _plain(asdict(x))
    if isinstance(x, dict):
        return {str(k): _plain(v) for k, v in x.items()}
    if isinstance(x, (list, tuple)):
        return [_plain(v) for v in x]
    x = x.item() if hasattr(x, "item") else x
    return None if isinstance(x, float) and not isfinite(x) else x


def _way(way: str, row: Any) -> dict[str, Any]:
    """One way: each quantity with its mean and ends and their errors."""
    ends = {p: p for p in ("mean", "p10", "p50", "p90")} | {"mean_se_sampled": "se", "p90_se": "p90_se"}
    return {
        "way": way,
        "kind": row["kind"],
        **{q: {key: row[f"{q}_{end}"] for key, end in ends.items()} for q in QUANTITIES},
        "cost_lost_days": row["cost_lost_days_mean"],
        **{name: row[name] for name in ("p_cheapest", "expected_regret", "allowed", "why_not", "p_never")},
        "instead": row["instead"] if row["p_never"] > 0 else "",
        "p_given_up": row["p_given_up"],
        "p_spare": row["p_spare"],
    }
