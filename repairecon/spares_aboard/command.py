"""``repairecon spares-aboard BOOK``: the answer, or with a further word an act on the book."""

from __future__ import annotations

import argparse
import shlex
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from repairecon.book import lists, own_list
from repairecon.book.cards import SHARES, TEXTS
from repairecon.book.csv_folder import book_from_csv, export_book, keep_passage
from repairecon.book.proof import check_file, salvage
from repairecon.book.spares_book import SparesBook, begin_book, book_at, book_place
from repairecon.read.files import Value, csv_text, workbook_bytes, write_own
from repairecon.read.orders import write_requests
from repairecon.records import (
    LOCKER_KINDS,
    MEASURES,
    PASSAGE_NUMBERS,
    BookError,
    BookFileError,
    ListError,
    RepaireconError,
)  # fmt: skip
from repairecon.show.answer_tables import add_faces, column_named, give, keep_tables, plain
from repairecon.show.words import order_words
from repairecon.spares_aboard import act_words

if TYPE_CHECKING:
    from repairecon.spares_aboard.job import SparesAnswer

Args = argparse.Namespace
Options = dict[str, dict[str, Any]]


def add(jobs: Any) -> None:
    """Add the job and its acts to the command line."""
    job = jobs.add_parser("spares-aboard", help="look at a spares book, or write an act into it")
    book = "the book, a file such as boat.spares (or a folder of CSV files, to read only); or the boat's folder"
    job.add_argument("book", help=book)
    for name, (_, what) in PASSAGE_NUMBERS.items():
        option = f"--{name.replace('_', '-')}"
        job.add_argument(option, type=float, metavar="N", help=f"{what}, instead of passage.toml's")
    job.add_argument("--today", default="", metavar="DATE", help="day of the list, as in 2026-03-31")
    face = add_faces(job)
    face.add_argument("--insurance", type=Path, metavar="FILE", help="write the list for an insurer: .csv or .xlsx")
    job.set_defaults(run=run)
    _add_acts(job.add_subparsers(dest="act", metavar="ACT", title="acts", description="Without an act: the answer."))


def run(args: Args) -> None:
    """Work the answer out, then print or write it."""
    from repairecon.spares_aboard import screen  # the answer with its words: not for an act
    from repairecon.spares_aboard.job import spares_aboard

    numbers = {name: getattr(args, name) for name in PASSAGE_NUMBERS}
    answer = spares_aboard(args.book, today=args.today or None, **numbers)
    if args.insurance is not None:
        write_insurance(answer, args.insurance)
        print(f"Wrote {args.insurance}")
        if args.tables is not None:
            keep_tables(args.tables, args.job, as_json(answer))
        return
    say = screen.full if args.full else screen.first_screen
    give(args, lambda: as_json(answer), lambda: screen.page(answer), lambda: say(answer))


def as_json(answer: SparesAnswer) -> dict[str, Any]:
    """The answer as dictionaries, lists, numbers and text; money in home currency, chances 0..1."""
    from repairecon.spares_aboard.carry import SAID
    from repairecon.spares_aboard.screen import why

    names = ("boat", "currency", "figures", "passage_days", "period_days", "running_hours", "budget", "spend",
             "most_lost", "today", "until")  # fmt: skip
    by = {f"by_{name}": getattr(answer, f"by_{name}").reset_index() for name in ("locker", "system", "date")}
    below = [
        {
            "item": line.item.name, "critical": line.item.critical, "have": float(line.aboard),
            "minimum": float(line.item.minimum),
            **{name: float(getattr(line, name)) for name in ("short", "ashore", "lent")},
            "supplier_last": line.last.person if line.last else "",
            "price_last": float(line.last.cost_unit) if line.last and line.last.cost_unit is not None else None,
            "bought_last": line.last.on_date if line.last else "",
        }
        for line in answer.below_minimum
    ]  # fmt: skip
    grounds = [why(row, answer.currency) for row in answer.carry.itertuples(index=False)]
    made = {
        **{name: getattr(answer, name) for name in names},
        "value": {**asdict(answer.worth), **by},
        "holdings": answer.holdings.drop(columns="number"),
        "receipts": answer.receipts.drop(columns="number"), "expiring": answer.expiring.drop(columns="number"),
        "turning": answer.turning, "budget_curve": answer.budget_curve, "missing": answer.missing,
        "surplus": answer.surplus, "insurance": answer.insurance, "below_minimum": below,
        "carry": answer.carry[list(SAID)].assign(why=grounds), "risk": answer.risk, "cases": answer.cases,
        "assumed": answer.assumed,
    }  # fmt: skip
    return {name: plain(x) for name, x in made.items()}


def write_insurance(answer: SparesAnswer, path: Path) -> None:
    """Write what is there, how many, where, bought when and from whom, what it cost and what it would cost now.

    Over an earlier list alone; the name ends in .csv or in .xlsx.
    """
    frame = answer.insurance
    sums = {name: float(frame[name].sum()) for name in ("cost", "replacement")}
    total: dict[str, Value] = {"item": f"all, {answer.today.isoformat()}", **sums, "currency": answer.currency}
    names: list[Value] = [*map(str, frame.columns), "currency"]
    rows: list[list[Value]] = [names]
    for row in frame.itertuples(index=False):
        cells = (int(x) if isinstance(x, float) and x.is_integer() else plain(x) for x in row)
        rows.append([*cells, answer.currency])
    rows.append([total.get(str(name)) for name in names])
    form = path.suffix.casefold()
    if form not in (".csv", ".xlsx"):
        raise RepaireconError(f"{path.name}: write a name that ends in .csv or .xlsx")
    data = csv_text(rows, defuse=True).encode("utf-8-sig") if form == ".csv" else workbook_bytes({"spares": rows})
    write_own(path, data)


# ---- acts: what each is called, what it takes, what it does to the book ----
ITEM: Options = {"item": {}}
WRITTEN: Options = {"--date": {"help": "day on which it happened, today by default"},
                    "--note": {"default": "", "help": "free words"}}  # fmt: skip
MANY: Options = {"--quantity": {"default": "1", "help": "how many (default 1)"}}
TAKEN: Options = {**ITEM, **WRITTEN, **MANY, "--locker": {"help": "where it was taken from, where that is in doubt"}}
LOT: Options = {"--lot": {"default": "", "help": "which lot it was"}}
DRY: Options = {"--dry-run": {"action": "store_true", "help": "tell what would be done and write nothing"}}
LIST: Options = {**DRY, "--sheet": {"default": "", "help": "sheet of a workbook, where there are several"}}
HOME: Options = {"--locker": {"default": "", "help": "where things go that have no locker of their own"}}
FILE: dict[str, Any] = {"type": Path, "help": "the file: .csv, .txt, .tsv or .xlsx"}


def _move(book: SparesBook, a: Args) -> str:
    names = ("item", "unit", "to", "borrower", "hours", "quantity", "locker", "date", "note", "lot")
    act = getattr(book, a.act.replace("-", "_"))
    return act_words.happened([act(**{name: getattr(a, name) for name in names if name in a})], book.currency)


def _count(book: SparesBook, a: Args) -> str:
    write = not a.dry_run
    made = book.count(a.locker, {a.item: a.found}, write=write, date=a.date, note=a.note, cure_date=a.cured)
    return act_words.counted(made, written=write)


def _receive(book: SparesBook, a: Args) -> str:
    if a.order is None:
        if len(a.came) != 1 or a.paid is not None:
            raise BookError("receive takes one list; or give --order N, with LINE=PIECES for what came and --paid")
        came = lists.Delivery(book, Path(a.came[0]), a.supplier, a.locker, a.sheet, a.new_items)
        if not a.dry_run:
            return act_words.happened(came.write(a.date, a.again), book.currency)
        return act_words.planned_delivery(came, book.currency)
    pairs = [word.rpartition("=") for word in a.came]
    if wrong := [word for word, (line, _, many) in zip(a.came, pairs, strict=True) if not line or not many]:
        raise BookError(f"found {', '.join(wrong)}; write LINE=PIECES, as in 1=2 or 'shaft seal=2'")
    if twice := [line for line, many in Counter(line for line, _, _ in pairs).items() if many > 1]:
        raise BookError(f"{', '.join(sorted(twice))} twice: add the two up")
    if a.dry_run:
        return f"{order_words(book.ordered(a.order), book.currency)}\nNothing was written."
    with book.sheets_kept() as notes:
        pieces = {line.strip(): many.strip() for line, _, many in pairs} or None
        done = book.receive_order(a.order, pieces, paid=a.paid, locker=a.locker, date=a.date)
    return act_words.happened(done, book.currency, notes)


def _undo(book: SparesBook, a: Args) -> str:
    with book.sheets_kept() as notes:
        done = book.undo(a.movement, a.date, a.note)
    return act_words.happened([done], book.currency, notes)


def _orders(book: SparesBook, a: Args) -> str:
    today = book.ledger.today().isoformat()
    lines = [order_words(o, book.currency, today) for o in book.orders() if o.open or a.all]
    return "\n".join(lines) or "Nothing is on order."


def _reconcile(book: SparesBook, a: Args) -> str:
    counted, notes = lists.reconcile(book, a.sheet_file, not a.dry_run, a.sheet, a.note)
    return act_words.counted(counted, written=not a.dry_run, notes=notes)


def _import(book: SparesBook, a: Args) -> str:
    plan = own_list.ImportPlan(book, a.list, dict(a.column) if a.column else None, a.locker, a.sheet)
    plan.problems.stop_if_any(ListError)
    if not a.dry_run:
        own_list.write_import(book, plan, take_zeros=a.take_zeros)
    end = "Nothing was written." if a.dry_run else f"Written: {len(plan.new_items)} new items."
    return f"{act_words.planned_import(plan, a.take_zeros)}\n{end}"


def _sheet(book: SparesBook, a: Args) -> str:
    if a.to is None:
        return lists.count_sheet(book, locker=a.locker, blind=a.blind).rstrip("\n")
    lists.write_count_sheet(book, a.to, a.locker, a.blind)
    return f"Wrote {a.to}"


def _card(book: SparesBook, a: Args) -> str:
    sort = {"card": "item"}.get(a.act, a.act)
    said = {field: value for field in CARDS[a.act] if (value := getattr(a, field)) is not None}
    if a.rename:
        said["name"] = a.rename
    new = book.write_card(sort, a.name, **said)
    return f"{'New' if new else 'Changed'} {sort}: {a.rename or a.name}."


def _say(book: SparesBook, a: Args) -> str:
    about = {"currency": "home_currency"}.get(a.act, a.act)
    book.say(about, a.said)
    return f"{'Home money' if a.act == 'currency' else 'The boat'} is {book.about[about]}."


def _backup(book: SparesBook, a: Args) -> str:
    book.backup(a.target)
    return f"Wrote {a.target}"


def _check(place: Path, _: Args) -> str:
    if place.is_dir():
        with book_at(place) as book:
            faults = book.check()
    else:
        faults = check_file(place)
    if faults:
        raise BookFileError("\n".join([f"{place.name} is not sound:", *faults, "Take what is sound into a new book: "
                                       f"repairecon spares-aboard {place.name} salvage NEW.spares"]))  # fmt: skip
    return "Sound."


def _salvage(place: Path, a: Args) -> str:
    done = salvage(place, a.target)
    counts = ", ".join(f"{count} {table.replace('_versions', ' cards')}" for table, count in done.taken.items())
    lines = [f"Wrote {a.target}: {counts}.", *(f"Left behind or mended: {line}" for line in done.lost)]
    return "\n".join([*lines, *(f"Movement {old} is movement {new} now." for old, new in done.renumbered.items())])


def _new(place: Path, a: Args) -> str:
    then = f"repairecon spares-aboard {shlex.quote(a.book)}"
    if a.folder:
        book_from_csv(a.folder, place, a.currency)
        built = f"Built {a.book} from {a.folder}. Then: {then}"
        return "\n".join(filter(None, [built, keep_passage(a.folder, place.parent)]))
    with begin_book(place, a.currency or "EUR") as book:
        return f"Began {book.ledger.path.name}. Bring your list in: {then} import LIST"


def _shopping(_: Path, a: Args) -> str:
    from repairecon.spares_aboard.job import shopping_list

    found = shopping_list(a.book)
    said = act_words.to_ask_for(found)
    if a.to is None:
        return said
    to, wrote = shlex.quote(str(a.to)), [f"Wrote {path}" for path in write_requests(a.to, found.lines, found.papers)]
    return "\n".join([said, *wrote, "Send each to its supplier. What comes back filled in: repairecon import-quotes "
                      f"{to} FILE --supplier NAME, then: repairecon compare-quotes {to}"])  # fmt: skip


CARDS: dict[str, dict[str, str]] = {
    "card": {**dict.fromkeys((*TEXTS, *SHARES, "minimum"), ""), "units": "it fits, with ; between them",
             "locker": "where it belongs", "measure": ", ".join(MEASURES),
             "shelf_group": "A, B or C: rubber, ISO 2230", "critical": "yes or no",
             "carried": "no for what is no longer kept"},
    "locker": {"place": "where that is", "kind": " or ".join(LOCKER_KINDS[:2]), "note": ""},
    "unit": {"kind": "engine, pump, ...", "hours": "on its clock", "hours_on": "day of that reading", "note": ""},
}  # fmt: skip
"""Fields of each card, with what to write."""


def _fields(act: str) -> Options:
    made: Options = {"name": {}, "--rename": {"metavar": "NAME", "help": "another name from now on"}}
    return made | {f"--{field.replace('_', '-')}": {"help": said or None} for field, said in CARDS[act].items()}


Act = tuple[str, str, Callable[[Any, Args], str], Options]
WRITES, READS, FILES = "writes", "reads", "opens itself"
"""How an act takes the book: opened to write, opened to read, or as the path alone."""
ACTS: dict[str, Act] = {
    "fit": (WRITES, "take a spare from stock and write it into the unit's history", _move,
            {**TAKEN, **LOT, "unit": {"help": "the unit it went into"},
             "--hours": {"help": "hours on the unit's clock"}}),
    "use": (WRITES, "use something up without fitting it to a unit", _move, {**TAKEN, **LOT}),
    "scrap": (WRITES, "throw away what is perished, seized or out of date", _move, {**TAKEN, **LOT}),
    "move": (WRITES, "put something into another locker", _move,
             {**TAKEN, **LOT, "to": {"metavar": "LOCKER", "help": "the locker it goes into"}}),
    "lend": (WRITES, "lend something; it stays yours, but is not aboard", _move,
             {**TAKEN, "borrower": {"metavar": "person", "help": "who has it"}}),
    "give-back": (WRITES, "take back what was lent", _move,
                  {**ITEM, "borrower": {"metavar": "person", "help": "who had it"}, **WRITTEN, **MANY,
                   "--to": {"metavar": "LOCKER", "help": "the locker it goes into, its own by default"}}),
    "count": (WRITES, "hold a count of one item against the book", _count,
              {"locker": {}, **ITEM, "found": {"help": "how many lie there"}, **WRITTEN, **DRY,
               "--cured": {"default": "", "metavar": "DATE", "help": "cure date read on what was found, as in 2Q24"}}),
    "undo": (WRITES, "take a movement back, by the number that its act printed", _undo,
             {"movement": {"type": int}, **WRITTEN}),
    "receive": (WRITES, "write a delivery: a list of what came, the order as it was sent, or an order on record by "
                "--order", _receive,
                {"came": {"nargs": "*", "metavar": "LIST", "help": "the list, a file; with --order LINE=PIECES for "
                          "each line of which not all that is open came"},
                 "--order": {"type": int, "metavar": "N", "help": "number of an order on record"},
                 "--paid": {"metavar": "TOTAL", "help": "charged for what came, home money (default: as ordered)"},
                 **LIST, **HOME, "--supplier": {"default": "", "help": "who sent it"},
                 "--date": {"help": "day on which it came, today by default"},
                 "--new-items": {"action": "store_true", "help": "write cards for items that the book does not know"},
                 "--again": {"action": "store_true", "help": "although a file of this name was received before"}}),
    "reconcile": (WRITES, "hold a filled-in sheet against the book: differences first", _reconcile,
                  {"sheet_file": FILE, **LIST, "--note": {"default": "", "help": "free words for the movements"}}),
    "import": (WRITES, "bring your own list into the book", _import,
               {"list": FILE, **LIST, **HOME,
                "--take-zeros": {"action": "store_true", "help": "a quantity of 0 says that nothing is left of it"},
                "--column": {"action": "append", "type": column_named, "metavar": "OURS=THEIRS",
                             "help": 'a field and the heading it has in the list, as in "item=Part name"; once a '
                                     "field. Left out: guessed"}}),
    "currency": (WRITES, "home money of a book that holds no costs yet", _say,
                 {"said": {"metavar": "currency", "help": "as in EUR"}}),
    "boat": (WRITES, "name of the boat", _say, {"said": {"metavar": "name"}}),
    "find": (READS, "where something lies: any words of its card",
             lambda b, a: act_words.found(b.search(" ".join(a.words))), {"words": {"nargs": "+"}}),
    "orders": (READS, "what is on order, when it is expected, what is late", _orders,
               {"--all": {"action": "store_true", "help": "those that are all here, too"}}),
    "history": (READS, "all movements of an item, with their numbers",
                lambda b, a: act_words.movements(b.movements(a.item), b.currency), ITEM),
    "sheet": (READS, "a sheet to count by, locker by locker", _sheet,
              {"--locker": {"default": "", "help": "one locker alone"},
               "--blind": {"action": "store_true", "help": "without what the book says"},
               "--to": {"type": Path, "metavar": "FILE", "help": "write it to a file: .csv or .txt"}}),
    "export": (READS, "the whole book as CSV and a workbook",
               lambda b, a: "\n".join(f"Wrote {path}" for path in export_book(b, a.folder)),
               {"folder": {"help": "new folder for the files"}}),
    "backup": (READS, "a copy of the book, read again and found sound", _backup, {"target": {"help": "the new file"}}),
    "card": (WRITES, "write an item's card, or change it", _card, _fields("card")),
    "locker": (WRITES, "write down a locker, or change it", _card, _fields("locker")),
    "unit": (WRITES, "write down a unit that parts are fitted to, or change it", _card, _fields("unit")),
    "check": (FILES, "whether the file is sound inside: rows, rules, views, seals, sums", _check, {}),
    "salvage": (FILES, "take all that is sound out of a damaged book into a new one", _salvage,
                {"target": {"help": "the new book"}}),
    "new": (FILES, "begin a book, empty or from a folder of CSV files", _new,
            {"folder": {"nargs": "?", "help": "with items.csv and lockers.csv, and if there are any units.csv and "
                        "movements.csv; left out: an empty book"},
             "--currency": {"default": "", "help": "home money, where no about.csv names one (default EUR)"}}),
    "shopping-list": (FILES, "what to ask suppliers for, as a request for quotes to each", _shopping,
                      {"--to": {"type": Path, "metavar": "FOLDER", "help": "new folder for the requests"}}),
}  # fmt: skip


def _add_acts(acts: Any) -> None:
    for name, (_, about, _, options) in ACTS.items():
        parser = acts.add_parser(name, help=about)
        for option, how in options.items():
            parser.add_argument(option, **how)
        parser.set_defaults(run=_run)


def _run(args: Args) -> None:
    takes, _, act, _ = ACTS[args.act]
    if takes == FILES:
        print(act(book_place(args.book), args))
        return
    with book_at(args.book, writing=takes == WRITES and not getattr(args, "dry_run", False)) as book:
        print(act(book, args))
