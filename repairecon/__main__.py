"""The command line: ``repairecon JOB FOLDER``; each job adds its words and says what to run."""

from __future__ import annotations

import argparse
import gc
import json
import os
import shlex
import sys
import threading
from collections.abc import Callable, Sequence
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import Any

import repairecon
from repairecon.records import CaseError, RepaireconError
from repairecon.show.report import version

WAIT = 2.0
_NUMBERS = {
    "price_new": "What does a new one cost, tax included",
    "price_kit": "What does the kit cost",
    "wait_days": "How many days to wait for parts",
}
COMMANDS = {
    "rebuild-or-buy": "rebuild_or_buy", "compare-quotes": "compare_quotes", "import-quotes": "compare_quotes",
    "spares-aboard": "spares_aboard", "after-the-job": "after_the_job", "whole-boat": "whole_boat",
}  # fmt: skip
"""Command -> folder of the job that adds it."""
_QUESTIONS: dict[str, tuple[str, dict[str, dict[str, Any]], str]] = {
    "kinds": ("kinds.worn.kinds_listed", {}, "the kinds of unit that are known, and who may rebuild them"),
    "worn": ("kinds.worn.worn_said", {
        "kind": {}, "measure": {}, "value": {"nargs": "?", "help": "what was measured, with or without its unit"},
    }, "judge a measurement"),
    "which-part": ("standards.measured.which_part_answer", {
        "measured": {}, "--kind": {"default": "", "help": "seal, bearing, belt, o-ring, key ..."},
    }, "what a part measured with a caliper can be"),
    "same-part": ("standards.equivalents.same_part", {
        "wanted": {}, "offered": {}, "--fluid": {"default": "", "help": "what a seal meets: seawater, diesel, oil ..."},
    }, "whether an offered part is the wanted one"),
}  # fmt: skip
"""Command -> what answers it, its words, what it is about."""
_OF_NO_JOB = ("new-case", "notebooks", "found", "workbook", "new-boat", "what-if", "bench-sheet")


def main(argv: Sequence[str] | None = None) -> int:
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    words = sys.argv[1:] if argv is None else argv
    parser = argparse.ArgumentParser(
        prog="repairecon",
        description="Rebuild or buy: what every way out of a failed unit costs, in money and days.",
        epilog="The figures are an aid to judgement, not advice; work on steering, seacocks, gas and fuel "
        "belongs with licensed practice and local law.",
    )
    parser.add_argument("--version", action="version", version=f"repairecon {version()}", help="print the version")
    add_all(parser.add_subparsers(dest="job", required=True, metavar="JOB"), words)
    if "_ARGCOMPLETE" in os.environ:  # a shell asks what may come next
        import argcomplete

        argcomplete.autocomplete(parser)
    args = parser.parse_args(words)
    # a word to a person at a terminal where the work takes long
    sign = threading.Timer(WAIT, print, ("working ...",), {"file": sys.stderr, "flush": True})
    if sys.stdout.isatty() and sys.stderr.isatty():
        sign.daemon = True
        sign.start()
    try:
        return args.run(args) or 0
    except RepaireconError as error:
        if isinstance(error, CaseError):
            print(f"{len(error.faults)} fault{'s' if len(error.faults) > 1 else ''} {error.where}.", file=sys.stderr)
        print(error, file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    finally:
        sign.cancel()


def add_all(jobs: Any, argv: Sequence[str]) -> None:
    """Add the commands in the order in which the help shows them; where one is asked for, no job but that is loaded."""
    asked = COMMANDS.get(argv[0]) if argv else None
    no_job = argv and argv[0] in (*_QUESTIONS, *_OF_NO_JOB, "--version")
    for job in [asked] if asked else () if no_job else dict.fromkeys(COMMANDS.values()):
        import_module(f"repairecon.{job}.command").add(jobs)
    if asked:
        return
    # no job: each a question with its answer, or a folder to begin with
    starter = _command(jobs, "new-case", "write a case folder, with what is known of the kind", _new_case, "folder")
    starter.add_argument("--kind", help='what it is, as in "raw water pump"')
    starter.add_argument("--symptom", help='what it does, as in "drips from the weep hole"')
    for name in _NUMBERS:
        starter.add_argument(f"--{name.replace('_', '-')}", type=float)
    _command(jobs, "notebooks", "copy the notebooks and the demo cases into a folder", _notebooks, "folder")
    for name, (asks, words, about) in _QUESTIONS.items():
        asked_of = _command(jobs, name, about, _question)
        for word, more in words.items():
            asked_of.add_argument(word, **more)
        asked_of.add_argument("--json", action="store_true", help="plain data for other programs")
        asked_of.set_defaults(asks=asks, words=[word.removeprefix("--") for word in words])
    kept = _command(jobs, "found", "keep in the case what was found, measured or done", _found, "folder")
    kept.add_argument("found", nargs="?", default="", help="as in 'shaft grooved' or 'shaft=grooved; seal=sound'")
    kept.add_argument("--stage", default="", help="last stage of the work that is done")
    kept.add_argument("--measured", default="", metavar="MEASURE=VALUE", help="what was measured, joined by ';'")
    sheet = _command(jobs, "workbook", "write a case or a boat as one workbook, the answer in it", _workbook, "folder")
    sheet.add_argument("workbook", metavar="FILE.xlsx")
    boat = _command(jobs, "new-boat", "write a boat's folder: what is typed once for all her jobs", _new_boat, "folder")
    boat.add_argument("--name", default="", help="her name")
    boat.add_argument("--currency", default="", help="her money, three letters")
    boat.add_argument("--units", type=Path, metavar="LIST", help="your own list of her units: .xlsx, .csv, .tsv")
    boat.add_argument("--spares", type=Path, metavar="LIST", help="your own list of the spares aboard")
    tried = _command(jobs, "what-if", "move the numbers of a case by hand, on a page", _what_if, "folder")
    tried.add_argument("--port", type=int, default=0, help="port on this machine (default: one that is free)")
    tried.add_argument("--no-browser", action="store_true", help="only say where the page is")
    sheet = _command(jobs, "bench-sheet", "one page to take to the bench", _bench_sheet, "folder")
    sheet.add_argument("--html", metavar="FILE.html", help="a page to print instead of text")


def _command(jobs: Any, name: str, about: str, run: Callable[[argparse.Namespace], int | None], *words: str) -> Any:
    parser = jobs.add_parser(name, help=about)
    for word in words:
        parser.add_argument(word)
    parser.set_defaults(run=run)
    return parser


def _question(args: argparse.Namespace) -> None:
    """A question of no job: its answer in words, or as plain data."""
    module, _, name = args.asks.rpartition(".")
    text, data = getattr(import_module(f"repairecon.{module}"), name)(*(getattr(args, word) for word in args.words))
    print(json.dumps(data, indent=1, ensure_ascii=False) if args.json else text)


def _found(args: argparse.Namespace) -> None:
    from repairecon.read.case_out import keep_findings
    from repairecon.read.values import pieces
    from repairecon.read.workbook import is_workbook
    from repairecon.rebuild_or_buy.parts import first_screen

    found, measured = pieces(args.found), pieces(args.measured)
    if not (found or measured or args.stage):
        raise RepaireconError("nothing to keep: write what was found, as in 'shaft=grooved', --stage or --measured")
    case = keep_findings(args.folder, found, args.stage, measured)
    print(f"Kept in {args.folder}{'' if is_workbook(args.folder) else '/case.toml'}. Now:\n")
    print(first_screen(repairecon.rebuild_or_buy(case)), end="")


def _workbook(args: argparse.Namespace) -> None:
    from repairecon.book.stock import read_case_aboard
    from repairecon.read.case_out import write_case_workbook

    def answer() -> list[list[Any]]:
        """The first screen of the answer for the folder, a row a line."""
        if (Path(args.folder) / "boat.toml").is_file():
            from repairecon.whole_boat.words import first_screen as boat_screen

            text = boat_screen([repairecon.whole_boat(args.folder)])
        elif (case := read_case_aboard(args.folder)).quotes_alone:
            from repairecon.compare_quotes.summary import first_screen as quotes_screen

            text = quotes_screen(repairecon.compare_quotes(case))
        else:
            from repairecon.rebuild_or_buy.parts import first_screen

            text = first_screen(repairecon.rebuild_or_buy(case))
        made = ["made by", f"repairecon {version()}; no command reads this sheet"]
        return [["answer of", date.today()], made, [], *([line] for line in text.rstrip().split("\n"))]

    write_case_workbook(Path(args.folder), Path(args.workbook), answer)
    print(f"Wrote {args.workbook}. It stands for the folder in every command.")


def _new_boat(args: argparse.Namespace) -> None:
    from repairecon.book.own_list import boat_from_lists

    begun = boat_from_lists(args.folder, args.name, args.currency, units=args.units, spares=args.spares)
    print(f"Wrote a boat to {args.folder}. Fill in boat.toml and units.csv there.")
    for file, many, left_out in begun:
        over = f"; nothing taken from: {', '.join(left_out)}" if left_out else ""
        print(f"{file}: {many} rows taken{over}.")
    print(f"A job of hers: repairecon new-case {shlex.quote(args.folder + '/jobs/NAME')}")


def _what_if(args: argparse.Namespace) -> int:
    from repairecon.rebuild_or_buy.what_if import serve

    return serve(args.folder, args.port, not args.no_browser)


def _bench_sheet(args: argparse.Namespace) -> None:
    from repairecon.book.stock import read_case_aboard
    from repairecon.rebuild_or_buy.bench_sheet import BenchSheet, as_html, as_text
    from repairecon.show.report import write_page

    case = read_case_aboard(args.folder)
    sheet = BenchSheet(case, repairecon.rebuild_or_buy(case))
    if args.html:
        write_page(Path(args.html), as_html(sheet))
        print(f"Wrote {args.html}")
    else:
        print(as_text(sheet))


def _new_case(args: argparse.Namespace) -> None:
    """Of what was given; in a terminal with nothing given the kind, the symptom and the three numbers are asked for."""
    given = {name: getattr(args, name) for name in ("kind", "symptom", *_NUMBERS)}
    if sys.stdin.isatty() and not any(v is not None for v in given.values()):
        given["kind"] = input("What has failed (as in raw water pump)? ").strip()
        given["symptom"] = input("What does it do, in your own words? ").strip()
        for name, words in _NUMBERS.items():
            text = input(f"{words} (empty: not known)? ").strip()
            try:
                given[name] = float(text.replace(",", ".")) if text else None
            except ValueError as error:
                raise RepaireconError(f"found {text!r}; write a number, such as 450") from error
    repairecon.new_case(args.folder, **{name: v for name, v in given.items() if v not in (None, "")})
    asked = f"repairecon rebuild-or-buy {shlex.quote(args.folder)}"
    print(f"Wrote a case to {args.folder}. Look through case.toml, then: {asked}")


def _notebooks(args: argparse.Namespace) -> None:
    repairecon.copy_notebooks(args.folder)
    print(f"Copied the notebooks and the demo cases to {args.folder}. Open them with: jupyter lab {args.folder}")


def run() -> None:
    # a short run makes many objects that stay: looking through them often costs a tenth of its time
    gc.set_threshold(100_000)
    sys.exit(main())


if __name__ == "__main__":
    run()
