"""Acts of an owner on the spares book: fit, use, move, count, and the rest; each says what it left and what to buy."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from repairecon.book.book_place import book_at
from repairecon.book.spares_book import SparesBook
from repairecon.records import Counted, Happened
from repairecon.spares_aboard import acts_told


def add(acts: Any) -> None:
    """Add the acts to the command line."""
    fit = _act(acts, "fit", "take a spare from stock and write it into the unit's history", _fit, "item")
    fit.add_argument("unit", help="the unit it went into")
    fit.add_argument("--hours", help="hours on the unit's clock")
    _taking(fit)
    _taking(_act(acts, "use", "use something up without fitting it to a unit", _use, "item"))
    _taking(_act(acts, "scrap", "throw away what is perished, seized or out of date", _scrap, "item"))
    move = _act(acts, "move", "put something into another locker", _move, "item")
    move.add_argument("to", metavar="LOCKER", help="the locker it goes into")
    _taking(move)
    lend = _act(acts, "lend", "lend something; it stays yours, but is not aboard", _lend, "item")
    lend.add_argument("person", help="who has it")
    _taking(lend, lot=False)
    back = _act(acts, "give-back", "take back what was lent", _give_back, "item")
    back.add_argument("person", help="who had it")
    back.add_argument("--to", metavar="LOCKER", help="the locker it goes into, its own by default")
    _quantity(back)
    count = _act(acts, "count", "hold a count of one item against the book", _count, "locker")
    count.add_argument("item")
    count.add_argument("found", help="how many lie there")
    count.add_argument("--dry-run", action="store_true", help="tell the difference and write nothing")
    count.add_argument("--cured", default="", metavar="DATE", help="cure date read on what was found, as in 2Q24")
    undo = _act(acts, "undo", "take a movement back, by the number that its act told", _undo)
    undo.add_argument("movement", type=int)
    find = _act(acts, "find", "where something lies: any words of its card", _find)
    find.add_argument("words", nargs="+")
    history = _act(acts, "history", "all movements of an item, with their numbers", _history, "item")
    history.set_defaults(reads=True)


def _act(acts: Any, name: str, words: str, run: Callable[[SparesBook, argparse.Namespace], str], *named: str) -> Any:
    parser = acts.add_parser(name, help=words)
    for each in named:
        parser.add_argument(each)
    reads = run in (_find, _history)
    if not reads:
        parser.add_argument("--date", help="day on which it happened, today by default")
        parser.add_argument("--note", default="", help="free words")
    parser.set_defaults(run=_run, act_run=run, reads=reads)
    return parser


def _quantity(parser: Any) -> None:
    parser.add_argument("--quantity", default="1", help="how many (default 1)")


def _taking(parser: Any, lot: bool = True) -> None:
    _quantity(parser)
    parser.add_argument("--locker", help="where it was taken from, where that is in doubt")
    if lot:
        parser.add_argument("--lot", default="", help="which lot it was")


def _run(args: argparse.Namespace) -> None:
    dry = args.reads or getattr(args, "dry_run", False)
    with book_at(args.book, writing=not dry) as book:
        print(args.act_run(book, args))


def _told(book: SparesBook, done: Happened) -> str:
    return acts_told.happened(done, book.about.get("home_currency", "EUR"))


def _fit(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.fit(a.item, a.unit, a.hours, a.date, a.quantity, a.locker, a.note, a.lot))


def _use(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.use(a.item, a.quantity, a.locker, a.date, a.note, a.lot))


def _scrap(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.scrap(a.item, a.quantity, a.locker, a.date, a.note, a.lot))


def _move(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.move(a.item, a.to, a.quantity, a.locker, a.date, a.note, a.lot))


def _lend(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.lend(a.item, a.person, a.quantity, a.locker, a.date, a.note))


def _give_back(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.give_back(a.item, a.person, a.quantity, a.to, a.date, a.note))


def _count(book: SparesBook, a: argparse.Namespace) -> str:
    made: tuple[Counted, ...] = book.count(
        a.locker, {a.item: a.found}, False, a.date, a.note, not a.dry_run, a.cured
    )
    return acts_told.counted(made, written=not a.dry_run)


def _undo(book: SparesBook, a: argparse.Namespace) -> str:
    return _told(book, book.undo(a.movement, a.date, a.note))


def _find(book: SparesBook, a: argparse.Namespace) -> str:
    return acts_told.found(book.search(" ".join(a.words)))


def _history(book: SparesBook, a: argparse.Namespace) -> str:
    return acts_told.movements(book.movements(a.item), book.about.get("home_currency", "EUR"))
