"""``repairecon rebuild-or-buy FOLDER``, and the answer as plain data for other programs."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from functools import partial
from operator import attrgetter
from pathlib import Path
from typing import Any

from repairecon.book.stock import read_case_aboard
from repairecon.many import Lost, cores, each
from repairecon.read.boat import boat_folder, home_of
from repairecon.read.case_folder import cases_in
from repairecon.read.files import ResultTable, mark_of, to_parquet
from repairecon.rebuild_or_buy import parts, sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.job import AUTO, DRAWS, findings_measured, rebuild_or_buy
from repairecon.rebuild_or_buy.outcomes import QUANTITIES
from repairecon.records import RepaireconError
from repairecon.show.answer_tables import add_faces, give, plain, print_json
from repairecon.show.layout import shortened
from repairecon.show.report import version
from repairecon.show.words import days_words, money, whole

LONG_WORK = 200_000


def add(jobs: Any) -> None:
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
    many = job.add_argument_group("many cases")
    many.add_argument("--lines", type=Path, metavar="FILE", help="write the lines (.csv, .parquet), or go on with it")
    many.add_argument("--workers", type=int, default=0, help="processes (default: as many as there are cores)")
    many.add_argument("--scheduler", default="", metavar="ADDRESS", help="a cluster's, as in tcp://host:8786")
    face = add_faces(job)
    face.add_argument("--part", choices=parts.PARTS, help="print one part")
    job.set_defaults(run=run)


def _draws(text: str) -> int | str:
    try:
        return AUTO if text == AUTO else int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"found {text!r}; give a whole number, or auto") from error


def run(args: argparse.Namespace) -> int | None:
    folders = [str(case) for folder in (args.folder, *args.more) for case in cases_in(folder)]
    if len(folders) > 1 or args.lines:
        return print_lines(folders, args)
    case = read_case_aboard(folders[0], years=bool(args.horizon_years))
    from tqdm import tqdm

    many = 0 if args.draws == AUTO else args.draws
    quiet = None if many >= LONG_WORK else True  # None: shown at a terminal alone
    with tqdm(total=many, unit=" draws", unit_scale=True, leave=False, disable=quiet) as bar:
        answer = rebuild_or_buy(
            case, args.draws, args.seed, cost_own_hour=args.cost_own_hour, horizon_years=args.horizon_years,
            found="; ".join(filter(None, (args.found or case.found, findings_measured(case, args.measured)))),
            stage=args.stage, progress=bar.update,
        )  # fmt: skip
    text = partial(parts.full, part=args.part or "") if args.full or args.part else parts.first_screen
    give(args, lambda: as_json(answer), lambda: parts.page(answer), lambda: text(answer))
    return None


# ---- plain data ----------------------------------------------------------------------------------
def _spare(answer: Answer) -> dict[str, Any]:
    spares = answer.horizon.spares
    best = max(spares, key=lambda c: c.net, default=None)
    name, worth, net = (best.combination, best.worth, best.net) if best else ("", 0.0, 0.0)
    return {"best": name, "worth": worth, "net": net, "by_combination": spares}


def _advice(answer: Answer) -> dict[str, Any]:
    basis, way = answer.basis, sentences.begun(answer)
    turns: dict[str, Any] = {"day_price_turns": basis.day_price_turns, "hour_price_turns": basis.hour_price_turns}
    years, beyond = basis.beyond(way)
    turns |= {"life_turns": basis.life_turns(way), "beyond_years": years, "beyond_way": beyond}
    return asdict(answer.advice) | turns


_DATA: dict[str, str | Callable[[Answer], Any]] = {
    "advice": _advice, "unit": "case.unit.name", "currency": "case.terms.currency", "figures": "case.unit.figures",
    "ways": lambda a: [_way(str(way), row) for way, row in a.table.iterrows()],
    "verdict": lambda a: " ".join(sentences.advice(a)), "best": "advice.way",
    **{name: f"verdict.{name}" for name in ("second", "gap", "p_best_below_second", "near_tie")},
    "flips": lambda a: [asdict(f) | {"within_range": f.within_range} for f in a.flips],
    "look_again": "look_again", "ask": "model.buying.questions", "assumed": "assumed", "cautions": "cautions",
    "thumb_rules": "thumb_rules", "tree": lambda a: a.leaves.drop(columns="stop"), "stages": "stages",
    "policy": "policy",
    "stop_when": lambda a: [asdict(s) | {"point": s.point, "findings": dict(s.findings)} for s in a.stop_when],
    "value": "bench.value", "now": "bench.now", "best_commit": "bench.best_commit",
    "repair_limit": lambda a: {"own_time_in": a.bench.repair_limit, "own_time_free": a.bench.repair_limit_cash,
                               "way": a.bench.limit_way},
    "value_of_stripping": "bench.value_of_stripping", "wrong_commitment": "bench.wrong_commitment",
    "spent": "bench.spent", "order_times": "order_times", "looks": "looks", "swings": "swings",
    "risk": lambda a: {k: x for k, x in vars(a.risk).items() if k != "frame"}
    | {"ways": a.risk.frame.to_dict(orient="index")},
    "horizon_years": "horizon.years.horizon_years", "horizon": lambda a: a.horizon.ways.reset_index(),
    "life_fits": "life_fits", "best_over_the_years": "basis.over_years.way", "spare": _spare, "prices": "lines",
    "found": "found", "stage": "stage", "cost_own_hour": "cost_own_hour", "seed": "outcomes.seed",
    "draws": "outcomes.draws",
}  # fmt: skip
"""Name -> where it stands in the answer, or how it is made."""


def as_json(answer: Answer) -> dict[str, Any]:
    return {name: plain((attrgetter(at) if isinstance(at, str) else at)(answer)) for name, at in _DATA.items()}


def _way(way: str, row: Any) -> dict[str, Any]:
    ends = {p: p for p in ("mean", "p10", "p50", "p90")} | {"mean_se_sampled": "se", "p90_se": "p90_se"}
    as_they_are = ("p_cheapest", "expected_regret", "allowed", "why_not", "p_never", "instead", "p_given_up", "p_spare")
    return {
        "way": way, "kind": row["kind"],
        **{q: {key: row[f"{q}_{end}"] for key, end in ends.items()} for q in QUANTITIES},
        "cost_lost_days": row["cost_lost_days_mean"], **{name: row[name] for name in as_they_are},
        "instead": row["instead"] if row["p_never"] > 0 else "",
    }  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CaseLine:
    """One case: what to do in words, what that comes to and against what [home money], days, own hours. ``total`` is
    over so many ``years``, or of this job alone (0). ``faults`` is why there is no answer, else empty."""

    case: str
    unit: str = ""
    do: str = ""
    what: str = ""
    way: str = ""
    total: float | None = None
    years: float | None = None
    saves: float | None = None
    against: str = ""
    cash: float | None = None
    own_hours: float | None = None
    days: float | None = None
    bad_case: float | None = None
    currency: str = ""
    faults: str = ""


COLUMNS = tuple(f.name for f in fields(CaseLine))
_NUMBERS = {f.name for f in fields(CaseLine) if f.default is None}


def case_line(folder: str, draws: int | str = DRAWS, seed: int = 1) -> CaseLine:
    try:
        case = read_case_aboard(folder)
        answer = rebuild_or_buy(case, draws, seed)
        a = answer.advice
        row = answer.table.loc[a.way]
        return CaseLine(
            case=folder, unit=case.unit.name, do=a.do, what=sentences.do(answer), way=a.way, total=a.total,
            years=a.years if a.basis == "years" else 0.0, saves=a.gap, against=a.against, cash=float(row["cash_mean"]),
            own_hours=float(row["own_hours_mean"]), days=float(row["days_mean"]), bad_case=float(row["total_p90"]),
            currency=case.terms.currency,
        )  # fmt: skip
    except RepaireconError as error:
        return CaseLine(case=folder, faults="; ".join(str(error).splitlines()))


def case_lines(
    folders: Iterable[str | os.PathLike[str]], draws: int | str = DRAWS, seed: int = 1, *, workers: int = 1,
    scheduler: str = "", table: str | os.PathLike[str] = "",
) -> Iterator[CaseLine]:  # fmt: skip
    """Work out many cases, with draws and seed as for one; a line each in the order of the folders. ``workers`` are
    processes of this machine, ``scheduler`` the address of a cluster's; the figures are the same. To ``table``, a CSV
    file, each line is written at once: what it holds already of the same files, draws and seed is not done again."""
    paths = [str(f) for f in folders]
    marks = {path: _mark(path, draws, seed) for path in paths} if table else {}
    kept = ResultTable(table, COLUMNS, marks.values()) if table else None
    done = {mark: _line_of(row) for mark, row in (kept.done if kept else {}).items()}
    new = (path for path in paths if marks.get(path) not in done)
    fresh = each(partial(case_line, draws=draws, seed=seed), new, workers, scheduler)
    for path in paths:
        line = done.get(marks.get(path, "")) or next(fresh)
        if isinstance(line, Lost):
            line = CaseLine(case=line.thing, faults="each process that worked on it died: too large for this machine?")
        if kept and marks[path] and marks[path] not in done:
            kept.add(asdict(line), marks[path])
        yield line


def _line_of(row: Mapping[str, str]) -> CaseLine:
    numbers = {name: float(row[name]) if row[name] else None for name in _NUMBERS}
    return CaseLine(**dict[str, Any](row) | numbers)


def _mark(folder: str, draws: int | str, seed: int) -> str:
    """What a line is made of: the files of the case and of its boat, draws, seed and version."""
    home = boat_folder(folder)
    beneath = (mark_of(home), mark_of(home_of(home) / "log")) if home else ()
    return mark_of(folder, (os.path.abspath(folder), *beneath, draws, seed, version()))  # noqa: PTH100


def print_lines(folders: Sequence[str], args: argparse.Namespace) -> int:
    from tqdm import tqdm

    table = Path(args.lines) if args.lines else None
    kept = table.with_suffix(".csv") if table else ""
    lines = case_lines(folders, args.draws, args.seed, workers=min(args.workers or cores(), len(folders)),
                       scheduler=args.scheduler, table=kept)  # fmt: skip
    failed, plain = 0, []
    for line in tqdm(lines, total=len(folders), unit=" cases", disable=not sys.stderr.isatty(), leave=False):
        failed += bool(line.faults)
        if args.json:
            plain.append(asdict(line))
            continue
        said = f"{line.case}: no answer: {shortened(line.faults, 200)}"
        if not line.faults:
            total, days = money(line.total or 0.0, line.currency), days_words(line.days or 0.0)
            basis = f"over {whole(line.years)} years" if line.years else "all in"
            said = f"{line.case}: {total} {basis}, back in {days}. {shortened(line.what, 160)}"
        tqdm.write(said, file=sys.stdout)
    if args.json:
        print_json(plain)
    if table and table.suffix == ".parquet":
        to_parquet(Path(kept), table)
    if failed and not args.json:
        print(f"{failed} of {len(folders)} cases have no answer.")
    return 2 if failed else 0
