"""The command line: ``repairecon JOB FOLDER``."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from repairecon.commands import add_all
from repairecon.records import CaseError, RepaireconError

WAIT = 2.0


class _Version(argparse.Action):
    """Prints the version; it is looked up only then."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from repairecon import __version__

        print(f"repairecon {__version__}")
        parser.exit()


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it worked, 2 when the input has faults (all of them printed)."""
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
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version")
    add_all(parser.add_subparsers(dest="job", required=True, metavar="JOB"), words)
    if "_ARGCOMPLETE" in os.environ:  # a shell asks what may come next
        import argcomplete

        argcomplete.autocomplete(parser)
    args = parser.parse_args(words)
    try:
        with _sign_of_work():
            code = args.run(args)
    except RepaireconError as error:
        print(explain(error), file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    return code or 0


@contextmanager
def _sign_of_work() -> Iterator[None]:
    """A word to a person at a terminal where the work takes longer than WAIT seconds."""
    seen = sys.stdout.isatty() and sys.stderr.isatty()
    sign = threading.Timer(WAIT, print, ("working ...",), {"file": sys.stderr, "flush": True})
    if seen:
        sign.daemon = True
        sign.start()
    try:
        yield
    finally:
        sign.cancel()


def explain(error: RepaireconError) -> str:
    """The text of an error, the faults of a folder counted and listed."""
    if isinstance(error, CaseError):
        count = len(error.faults)
        return f"{count} fault{'s' if count > 1 else ''} {error.where}.\n{error}"
    return str(error)


def run() -> None:
    """Entry point of the installed command."""
    # a short run makes many objects that stay: looking through them often costs a tenth of its time
    gc.set_threshold(100_000)
    sys.exit(main())


if __name__ == "__main__":
    run()
