"""Acts on the cards of a spares book: a locker, a unit, an item, home money; new, or said otherwise from now on."""

from __future__ import annotations

import argparse
from typing import Any

from repairecon.book.cards import SHARES, TEXTS
from repairecon.book.spares_book import book_at
from repairecon.read import values
from repairecon.read.values import Misread
from repairecon.records import LOCKER_KINDS, MEASURES, BookError

_ITEM = {
    **dict.fromkeys(TEXTS, ""), **dict.fromkeys(SHARES, ""), "units": "it fits, with ; between them", "minimum": "",
    "locker": "where it belongs", "measure": f"{', '.join(MEASURES)}", "shelf_group": "A, B or C: rubber, ISO 2230",
    "critical": "yes or no", "carried": "no for what is no longer kept",
}  # fmt: skip
_LOCKER = {"place": "where that is", "kind": " or ".join(LOCKER_KINDS[:2]), "note": ""}
_UNIT = {"kind": "engine, pump, ...", "hours": "on its clock", "hours_on": "day of that reading", "note": ""}


def add(acts: Any) -> None:
    """Add these acts to the command line."""
    for name, words, fields in (
        ("card", "write an item's card, or change it", _ITEM),
        ("locker", "write down a locker, or change it", _LOCKER),
        ("unit", "write down a unit that parts are fitted to, or change it", _UNIT),
    ):
        parser = acts.add_parser(name, help=words)
        parser.add_argument("name")
        parser.add_argument("--rename", metavar="NAME", help="another name from now on")
        for field, said in fields.items():
            parser.add_argument(f"--{field.replace('_', '-')}", help=said or None)
        parser.set_defaults(run=_card, fields=tuple(fields), sort={"card": "item"}.get(name, name))
    money = acts.add_parser("currency", help="home money of a book that holds no costs yet")
    money.add_argument("currency", help="as in EUR")
    money.set_defaults(run=_currency)
    boat = acts.add_parser("boat", help="name of the boat")
    boat.add_argument("name")
    boat.set_defaults(run=_boat)


def _card(args: argparse.Namespace) -> None:
    said = {field: value for field in args.fields if (value := getattr(args, field)) is not None}
    for field in ("critical", "carried"):
        if field in said:
            read = values.yes_no(said[field])
            if isinstance(read, Misread):
                raise BookError(f"{field}: found {said[field]!r}; {read.write}")
            said[field] = read
    if args.rename:
        said["name"] = args.rename
    with book_at(args.book, writing=True) as book:
        new = book.write_card(args.sort, args.name, **said)
    print(f"{'New' if new else 'Changed'} {args.sort}: {args.rename or args.name}.")


def _currency(args: argparse.Namespace) -> None:
    with book_at(args.book, writing=True) as book:
        book.say("home_currency", args.currency)
        print(f"Home money is {book.currency}.")


def _boat(args: argparse.Namespace) -> None:
    with book_at(args.book, writing=True) as book:
        book.say("boat", args.name)
        print(f"The boat is {book.about['boat']}.")
