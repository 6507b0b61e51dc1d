"""``repairecon rebuild-or-buy FOLDER``."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from repairecon.read.case_folder import read_case
from repairecon.rebuild_or_buy.job import AUTO, DRAWS, findings_measured, rebuild_or_buy

LONG_WORK = 200_000
PART_NAMES = ("bench", "looks", "years", "flips", "ranges", "rules", "cautions", "prices", "assumed")


def add(jobs: Any) -> None:
    """Add the job to the command line."""
    job = jobs.add_parser("rebuild-or-buy", help="what every way out costs, in how many days, and what to do")
    job.add_argument("folder", help="case folder: case.toml and, as far as you have them, the CSV files")
    job.add_argument(
        "--draws", type=_draws, default=DRAWS, help="draws for the ranges, or auto for as many as needed (%(default)s)"
    )
    job.add_argument("--seed", type=int, default=1, help="the same seed gives the same answer (default %(default)s)")
    job.add_argument("--cost-own-hour", type=float, help="what an hour of your own is worth, instead of the case's")
    job.add_argument("--found", default="", metavar="EVENT=OUTCOME", help="findings so far, joined by ';'")
    job.add_argument("--horizon-years", type=float, help="years looked ahead, instead of the case's; 0: this job alone")
    job.add_argument("--stage", default="", help="last stage that is done: what it took is spent and not counted")
    job.add_argument("--measured", default="", metavar="MEASURE=VALUE", help="measurements so far, joined by ';'")
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


def _progress(total: int, wanted: bool) -> tuple[Callable[[int], None] | None, Callable[[], None]]:
    if not wanted:
        return None, lambda: None
    from tqdm import tqdm

    bar = tqdm(total=total, unit=" draws", unit_scale=True, file=sys.stderr, leave=False)

    def step(n: int) -> None:
        bar.update(n)

    return step, bar.close


def run(args: argparse.Namespace) -> None:
    """Work it out, then print or write."""
    case = read_case(args.folder, years=bool(args.horizon_years))
    many = 0 if args.draws == AUTO else args.draws
    step, close = _progress(many, sys.stderr.isatty() and many >= LONG_WORK)
    try:
        answer = rebuild_or_buy(
            case,
            args.draws,
            args.seed,
            cost_own_hour=args.cost_own_hour,
            horizon_years=args.horizon_years,
            found="; ".join(filter(None, (args.found or case.found, findings_measured(case, args.measured)))),
            stage=args.stage,
            progress=step,
        )
    finally:
        close()
    if args.report is not None:
        from repairecon.rebuild_or_buy.page import page
        from repairecon.show.report import write_page

        write_page(args.report, page(answer))
        print(f"Wrote {args.report}")
    elif args.json:
        from repairecon.rebuild_or_buy.as_json import as_json

        print(json.dumps(as_json(answer), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        from repairecon.rebuild_or_buy import screen

        said = screen.full(answer) if args.full else screen.one_part(answer, args.part) if args.part else ""
        print(said or screen.first_screen(answer), end="")
