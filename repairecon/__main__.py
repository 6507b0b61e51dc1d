"""The command line: ``repairecon JOB FOLDER``."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from repairecon.files.case_folder import read_case
from repairecon.files.share import copy_notebooks
from repairecon.files.starter import new_case
from repairecon.jobs.rebuild_or_buy import AUTO, DRAWS, rebuild_or_buy
from repairecon.records import CaseError, RepaireconError

LONG_WORK = 200_000


def _draws(text: str) -> int | str:
    """A number of draws, or auto."""
    try:
        return AUTO if text == AUTO else int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"found {text!r}; give a whole number, or auto") from error


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="repairecon",
        description="Rebuild or buy: what every way out of a failed unit costs, in money and days.",
        epilog="The figures are an aid to judgement, not advice; work on steering, seacocks, gas and fuel "
        "belongs with licensed practice and local law.",
    )
    jobs = parser.add_subparsers(dest="job", required=True, metavar="JOB")
    job = jobs.add_parser("rebuild-or-buy", help="reckon a case folder")
    job.add_argument("folder", help="case folder: case.toml and, as far as you have them, the CSV files")
    job.add_argument(
        "--draws", type=_draws, default=DRAWS, help="draws for the ranges, or auto for as many as needed (%(default)s)"
    )
    job.add_argument("--exact", action="store_true", help="ranges of money without sampling, where it can (slower)")
    job.add_argument("--seed", type=int, default=1, help="the same seed gives the same answer (default %(default)s)")
    job.add_argument("--cost-own-hour", type=float, help="what an hour of your own is worth, instead of the case's")
    job.add_argument("--found", default="", metavar="EVENT=OUTCOME", help="findings so far, joined by ';'")
    job.add_argument("--horizon-years", type=float, help="years looked ahead, instead of the case's; 0: this job alone")
    job.add_argument("--stage", default="", help="last stage that is done: what it took is spent and not counted")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    starter = jobs.add_parser("new-case", help="write a commented starter folder")
    starter.add_argument("folder")
    copies = jobs.add_parser("notebooks", help="copy the notebooks and the demo cases into a folder")
    copies.add_argument("folder")
    return parser


def _progress(total: int, wanted: bool) -> tuple[Callable[[int], None] | None, Callable[[], None]]:
    if not wanted:
        return None, lambda: None
    from tqdm import tqdm

    bar = tqdm(total=total, unit=" draws", unit_scale=True, file=sys.stderr, leave=False)

    def step(n: int) -> None:
        bar.update(n)

    return step, bar.close


def _rebuild_or_buy(args: argparse.Namespace) -> None:
    if args.report is not None:
        from repairecon.show.report import write_report

        parameters = {
            "case_folder": str(Path(args.folder).resolve()),
            "draws": args.draws,
            "seed": args.seed,
            "cost_own_hour": args.cost_own_hour,
            "horizon_years": args.horizon_years,
            "found": args.found,
            "stage": args.stage,
            "exact": args.exact,
        }
        read_case(args.folder)
        write_report("rebuild_or_buy", args.report, parameters, show_bar=sys.stderr.isatty())
        print(f"Wrote {args.report}")
        return
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
            found=args.found,
            stage=args.stage,
            exact=args.exact,
            progress=step,
        )
    finally:
        close()
    if args.json:
        from repairecon.show.as_json import as_json

        print(json.dumps(as_json(answer), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        from repairecon.show.summary import summary

        print(summary(answer), end="")


def _new_case(args: argparse.Namespace) -> None:
    new_case(args.folder)
    print(f"Wrote a starter case to {args.folder}. Edit case.toml, then: repairecon rebuild-or-buy {args.folder}")


def _notebooks(args: argparse.Namespace) -> None:
    copy_notebooks(args.folder)
    print(f"Copied the notebooks and the demo cases to {args.folder}. Open them with: jupyter lab {args.folder}")


JOBS = {"rebuild-or-buy": _rebuild_or_buy, "new-case": _new_case, "notebooks": _notebooks}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it worked, 2 when the input has faults (all of them printed)."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    args = _parser().parse_args(argv)
    try:
        JOBS[args.job](args)
    except RepaireconError as error:
        print(explain(error), file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    return 0


def explain(error: RepaireconError) -> str:
    """The text of an error, the faults of a folder counted and listed."""
    if isinstance(error, CaseError):
        count = len(error.faults)
        return f"{count} fault{'s' if count > 1 else ''} in the case folder; nothing was reckoned or written.\n{error}"
    return str(error)


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main())


if __name__ == "__main__":
    run()
