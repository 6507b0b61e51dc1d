"""``repairecon spares-aboard`` as a person types it."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
from pathlib import Path

import pytest
from aboard_makers import DEMO
from book_makers import fitted_to
from openpyxl import load_workbook

from repairecon.__main__ import main
from repairecon.book.spares_book import open_book
from repairecon.read.orders import write_orders
from repairecon.records import Source
from repairecon.show.layout import WIDE
from repairecon.spares_aboard.job import spares_aboard

KEYS = {
    "boat", "currency", "figures", "today", "until", "passage_days", "period_days", "running_hours", "value",
    "holdings", "receipts", "below_minimum", "expiring", "turning", "carry", "budget", "spend", "most_lost", "risk",
    "budget_curve", "missing", "surplus", "insurance", "cases", "assumed",
}  # fmt: skip
IMPELLER = "impeller, raw water pump"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("built") / "boat.spares"
    assert main(["spares-aboard", str(path), "new", str(DEMO)]) == 0
    return path


@pytest.fixture
def book(built: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(built, tmp_path / "boat.spares"))


def run(capsys: pytest.CaptureFixture[str], *line: str, code: int = 0) -> str:
    """What a command prints; on a fault what it says of it."""
    capsys.readouterr()
    assert main(["spares-aboard", *map(str, line)]) == code
    out = capsys.readouterr()
    assert "Traceback" not in out.err
    return out.err if code else out.out


def test_first_what_to_buy_and_throw_away_then_the_worth(book, capsys):
    text = run(capsys, book, "--today", "2026-06-01", "--budget", "200")
    heads = ["\nSpend EUR", "\nbuy", "\nThrow away", "\nBelow the minimum", "\nWorth"]
    assert [text.index(h) for h in heads] == sorted(text.index(h) for h in heads)
    assert "of EUR 200" in text
    assert len(text.splitlines()) <= 24
    every = run(capsys, book, "--today", "2026-06-01", "--budget", "200", "--full")
    assert max(map(len, every.splitlines())) <= WIDE
    assert every.index("\nWorth") < every.index("\nWhat to carry") < every.index("\nAssumed")


def test_json_has_every_key(book, capsys):
    data = json.loads(run(capsys, book, "--json", "--today", "2026-06-01", "--budget", "200"))
    assert set(data) == KEYS
    assert {"fifo", "average"} <= set(data["value"])
    assert all({"item", "have", "carry", "p_short", "worth", "why"} <= set(line) for line in data["carry"])
    assert len(data["carry"]) > 100
    assert all(0 <= line["p_short"] <= 1 and line["carry"] >= line["have"] for line in data["carry"])
    assert data["spend"] <= 200
    assert {"item", "have", "minimum", "supplier_last", "price_last"} <= set(data["below_minimum"][0])
    assert {"item", "good_until", "state"} <= set(data["expiring"][0])
    assert {"spend", "expected_cost", "p_critical_short"} <= set(data["budget_curve"][0])
    assert data["value"]["fifo"] == pytest.approx(sum(h["fifo"] for h in data["holdings"]))


def test_numbers_of_the_command_go_before_those_of_the_file(tmp_path, capsys):
    folder = tmp_path / "spares"
    shutil.copytree(DEMO, folder)
    (folder / "items.csv").write_text("".join((DEMO / "items.csv").open(encoding="utf-8").readlines()[:9]), "utf-8")
    (folder / "movements.csv").unlink()
    (folder / "passage.toml").write_text("[passage]\ndays = 21\nbudget = 50\nresupply_days = 3\n")
    data = json.loads(run(capsys, folder, "--json", "--budget", "0"))
    assert (data["passage_days"], data["period_days"], data["budget"], data["spend"]) == (21, 24, 0, 0)


def test_fit_is_stock_history_and_reorder_in_one(book, capsys):
    text = run(capsys, book, "fit", IMPELLER, "raw water pump", "--hours", "2600", "--date", "2026-06-01")
    assert "fitted last on 2026-05-02, 97.74 hours ago" in text
    assert "REORDER: impeller, raw water pump: 0 aboard, 2 wanted; CRITICAL; buy 2, last from chandler" in text
    with open_book(book) as opened:
        assert fitted_to(opened, "raw water pump")[-1].hours == 2600
    number = text.split("movement ")[1].split()[0]
    assert "left aboard: 1" in run(capsys, book, "undo", number)
    assert number in run(capsys, book, "history", IMPELLER)


def test_the_other_acts(book, capsys):
    assert "left aboard: 1 (1 in A1)" in run(capsys, book, "move", "belt, alternator", "A1")
    assert "1 in lent out" in run(capsys, book, "lend", "tape, self-amalgamating", "the next boat")
    assert "left aboard: 4" in run(capsys, book, "give-back", "tape, self-amalgamating", "the next boat")
    assert "used 2 from" in run(capsys, book, "use", "split pin, 3 mm", "--quantity", "2")
    assert "thrown away 1" in run(capsys, book, "scrap", "O-ring, tube stack")
    dry = run(capsys, book, "count", "B1", IMPELLER, "3", "--dry-run")
    assert "book 1, counted 3, +2" in dry
    assert dry.endswith("Nothing was written.\n")
    assert "(movement " in run(capsys, book, "count", "B1", IMPELLER, "3")
    assert "3 in B1" in run(capsys, book, "find", "impeller", "57x22")
    assert run(capsys, book, "check") == "Sound.\n"
    assert "Wrote" in run(capsys, book, "backup", book.with_name("copy.spares"))


def test_a_sheet_goes_out_and_comes_back(book, capsys, tmp_path):
    sheet = tmp_path / "count.csv"
    run(capsys, book, "sheet", "--locker", "B1", "--to", sheet)
    with sheet.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["counted"] = "2" if row["item"] == IMPELLER else row["in_book"]
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    dry = run(capsys, book, "reconcile", sheet, "--dry-run")
    assert dry.splitlines()[0] == f"B1: {IMPELLER}: book 1, counted 2, +1"
    assert f"{len(rows) - 1} agreed" in dry
    run(capsys, book, "use", "cover gasket, raw water pump")
    assert "the sheet was printed with 3, the book says 2 now" in run(capsys, book, "reconcile", sheet)
    assert "2 in B1" in run(capsys, book, "find", IMPELLER)


def test_every_fault_of_a_sheet_at_once_and_nothing_written(book, capsys, tmp_path):
    sheet = tmp_path / "count.csv"
    sheet.write_text("locker,item,counted\nB1,impeler raw water pump,2\nZ9,thermostat,1\nB1,thermostat,many\n"
                     f'B1,"{IMPELLER}",7\n')  # fmt: skip
    before = book.read_bytes()
    text = run(capsys, book, "reconcile", sheet, code=2)
    assert text.startswith("3 faults in the list; nothing was written")
    for word in ("row 2, item", "row 3, locker", "row 4, counted"):
        assert word in text
    assert book.read_bytes() == before


def test_a_delivery_is_received_once(book, capsys, tmp_path):
    came = tmp_path / "parcel.csv"
    came.write_text(f'item,quantity,supplier,cost_unit,cure_date\n"{IMPELLER}",2,chandler,28.10,1Q26\n')
    assert "impeller, raw water pump: 2 at EUR 28.10 each" in run(capsys, book, "receive", came, "--dry-run")
    text = run(capsys, book, "receive", came)
    assert "left aboard: 3" in text
    assert "REORDER" not in text
    assert "was received on" in run(capsys, book, "receive", came, code=2)
    assert "left aboard: 5" in run(capsys, book, "receive", came, "--again")


def orders(folder: Path) -> tuple[Path, ...]:
    """An order as the quotes job writes it: goods 66 in pounds, landed 99 in home money."""
    lines = [
        {
            "supplier": "chandler",
            "item": IMPELLER,
            "designation": "57x22",
            "part_class": "maker",
            "packs": 1,
            "pack": 2,
            "quoted": 46.0,
            "currency": "GBP",
            "source": Source("quotes.csv", 2),
        },
        {
            "supplier": "chandler",
            "item": "split pin, 3 mm",
            "designation": "",
            "part_class": "generic",
            "packs": 2,
            "pack": 10,
            "quoted": 10.0,
            "currency": "GBP",
            "source": Source("quotes.csv", 3),
        },
    ]
    total = {
        "supplier": "chandler",
        "currency": "GBP",
        "quoted_goods": 66.0,
        "quoted_discount": 0.0,
        "quoted_carriage": 9.0,
        "quoted_fees": 0.0,
        "quoted_core": 0.0,
        "quoted_total": 75.0,
        "cost_landed": 99.0,
        "note": "",
    }
    return write_orders(folder, lines, [total], "EUR")


def test_an_order_as_it_was_sent_is_received_at_its_landed_cost(book, capsys, tmp_path):
    _, workbook = orders(tmp_path / "orders")
    text = run(capsys, book, "receive", workbook, "--sheet", "chandler")
    # 99 landed over 66 of goods: half as much again on each price; 46 for two impellers, 20 for twenty pins
    assert "received 2 to B1 from chandler at EUR 34.50 each" in text
    assert "received 20 to C2 from chandler at EUR 1.50 each" in text


def test_unknown_items_of_a_delivery_are_named_or_taken(book, capsys, tmp_path):
    came = tmp_path / "parcel.csv"
    came.write_text("item,quantity,cost_unit\nsplit pin 3mm,2,1\nshackle,1,x\n")
    text = run(capsys, book, "receive", came, code=2)
    for word in ("row 2, item", "did you mean 'split pin, 3 mm'?", "row 3, cost_unit", "row 3, item"):
        assert word in text
    came.write_text("item,quantity,cost_unit\nshackle,1,4\n")
    assert "name the locker" in run(capsys, book, "receive", came, "--new-items", code=2)
    assert "left aboard: 1 (1 in A1)" in run(capsys, book, "receive", came, "--new-items", "--locker", "A1")


def test_an_owners_own_list_is_looked_at_then_taken(book, capsys, tmp_path):
    own = tmp_path / "mine.csv"
    own.write_text("Part name;How many;Where;Colour\nfilter, cabin heater;3;A1;red\n")
    columns = ["--column", "item=Part name", "--column", "quantity=How many", "--column", "locker=Where"]
    dry = run(capsys, book, "import", own, *columns, "--dry-run")
    assert "row 2  filter, cabin heater: new item; +3 in A1" in dry
    assert "Left out: Colour" in dry
    assert "no item" in run(capsys, book, "use", "filter, cabin heater", code=2)
    assert "Written: 1 new items." in run(capsys, book, "import", own, *columns)
    assert "3 in A1" in run(capsys, book, "find", "cabin", "heater")


def test_papers_out_and_a_book_from_them(book, capsys, tmp_path):
    run(capsys, book, "export", tmp_path / "out")
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {"items.csv", "movements.csv", "spares.xlsx"}
    stock = load_workbook(tmp_path / "out" / "spares.xlsx")["stock"]
    assert stock.max_row > 100
    again = tmp_path / "again.spares"
    run(capsys, again, "new", tmp_path / "out")
    first, second = (spares_aboard(b, today="2026-06-01") for b in (book, again))
    assert first.worth == second.worth
    assert len(first.holdings) > 100
    assert first.holdings.equals(second.holdings)


def test_formulas_in_a_book_are_defused_on_paper(tmp_path, capsys):
    path = tmp_path / "b.spares"
    with open_book(path, create=True) as book:
        book.add_locker("A1")
        book.add_item("=1+1", locker="A1", note="@x")
        book.count("A1", {"=1+1": 2})
    run(capsys, path, "export", tmp_path / "out")
    assert "'=1+1" in (tmp_path / "out" / "items.csv").read_text()
    assert load_workbook(tmp_path / "out" / "spares.xlsx")["items"]["B2"].data_type == "s"
    run(capsys, path, "sheet", "--to", tmp_path / "s.csv")
    text = (tmp_path / "s.csv").read_text()
    assert ",'=1+1," in text
    (tmp_path / "s.csv").write_text(text.replace(",2,,", ",2,3,"))
    assert "=1+1: book 2, counted 3, +1" in run(capsys, path, "reconcile", tmp_path / "s.csv")


@pytest.mark.parametrize(
    "line",
    [["nothing.spares"], [__file__], [str(DEMO), "use", IMPELLER], [str(DEMO), "--budget", "-5"],
     [str(DEMO), "--today", "soon"], [str(DEMO), "reconcile", "none.csv"], [str(DEMO), "sheet", "--to", "x.pdf"],
     [str(DEMO), "sheet", "--locker", "Q"], [str(DEMO.parent), "--json"]],
)  # fmt: skip
def test_bad_input_ends_with_2(line, capsys):
    assert run(capsys, *line, code=2).strip()


def test_every_fault_of_passage_toml_at_once(tmp_path, capsys):
    shutil.copytree(DEMO, tmp_path / "spares")
    (tmp_path / "spares" / "passage.toml").write_text(
        "[passage]\ndays = -3\ntools = 4\nbugdet = 2\n[cost_without]\ncoling = 5\n"
        '[[items]]\nitem = "impeler, raw water pump"\ncost_without = [3, 2, 1]\n'
        '[[items]]\nitem = "thermostat"\ncase = "nowhere"\nfailures_per_year = 1\ninspected = "yes"\ncovers = ["x"]\n'
        "[extra]\n"
    )
    text = run(capsys, tmp_path / "spares", code=2)
    assert "faults in passage.toml; nothing was worked out" in text
    for word in ("passage.days", "passage.tools", "passage.bugdet", "cost_without.coling", "did you mean 'cooling'",
                 "items.item", "items.cost_without", "items.case", "items.inspected", "items.covers",
                 "unknown section 'extra'", "a guess beside a case"):  # fmt: skip
        assert word in text, word


@pytest.mark.parametrize("name", ["list.csv", "list.xlsx"])
def test_a_list_for_an_insurer(book, capsys, tmp_path, name):
    run(capsys, book, "--today", "2026-06-01", "--insurance", tmp_path / name)
    if name.endswith("csv"):
        with (tmp_path / name).open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
    else:
        rows = [list(r) for r in load_workbook(tmp_path / name)["spares"].iter_rows(values_only=True)]
    at = rows[0].index("cost")
    assert rows[-1][0] == "all, 2026-06-01"
    assert float(rows[-1][at]) == pytest.approx(sum(float(r[at]) for r in rows[1:-1]))
    assert "write a name that ends in" in run(capsys, book, "--insurance", tmp_path / "x.pdf", code=2)


def test_fitting_old_rubber_warns(tmp_path, capsys):
    path = tmp_path / "old.spares"
    run(capsys, path, "new")
    own = tmp_path / "list.csv"
    rows = ("seal,1,Locker 1,pump,NBR,1Q18", "ring,1,Locker 2,pump,NBR,1Q25")
    own.write_text("\n".join(("Item,Qty,Locker,Used in,Material,Cure date", *rows)))
    run(capsys, path, "import", own)
    assert "PAST ITS SHELF LIFE since 2025-01-01" in run(capsys, path, "fit", "seal", "pump", "--date", "2026-06-01")
    assert "SHELF LIFE" not in run(capsys, path, "fit", "ring", "pump", "--date", "2026-06-01")
    assert "is there already" in run(capsys, path, "new", code=2)


@pytest.mark.parametrize(
    ("said", "code"),
    [("[passage]\ndays = 36525\n", 0), ("[passage]\nrunning_hours = 1e5\n", 0), ("[passage]\ndays = 1e5\n", 2),
     ("[passage]\ntoday = 9999-12-31\n", 2), ("[passage]\nassurance = 1\n", 2), ("items = 3\n", 2), ("[passage", 2),
     ('[[items]]\nitem = "filter, fuel"\nturned = 0001-01-01\n', 2),
     ('[[items]]\nitem = "filter, fuel"\nfailures_per_year = [0, 0, 1000]\nmost = 1000\n', 0)],
)  # fmt: skip
def test_extremes_answer_or_say_why(tmp_path, capsys, said, code):
    shutil.copytree(DEMO.parent / "boat" / "spares", tmp_path / "spares")  # few items: so many jobs take long
    (tmp_path / "spares" / "passage.toml").write_text(said)
    assert run(capsys, tmp_path / "spares", "--json", code=code).strip()


def test_lockers_units_cards_and_money_by_acts(tmp_path, capsys):
    path = tmp_path / "new.spares"
    run(capsys, path, "new", "--currency", "eur")
    assert "Home money is GBP" in run(capsys, path, "currency", "gbp")
    assert run(capsys, path, "locker", "A1", "--place", "under the chart table") == "New locker: A1.\n"
    assert run(capsys, path, "unit", "coolant pump", "--kind", "pump", "--hours", "120") == "New unit: coolant pump.\n"
    text = run(capsys, path, "card", "bearing, front", "--designation", "6203-2RS", "--locker", "A1", "--minimum", "2",
                "--units", "coolant pump", "--critical", "yes", "--weight-kg", "0.065")  # fmt: skip
    assert text == "New item: bearing, front.\n"
    run(capsys, path, "count", "A1", "bearing, front", "2")
    text = run(capsys, path, "card", "bearing, front", "--designation", "6008", code=2)
    assert "'6008' is not the '6203-2RS' of 'bearing, front'" in text
    assert "a card of its own" in text
    run(capsys, path, "card", "bearing, front", "--rename", "bearing, pump, front", "--minimum", "3")
    run(capsys, path, "locker", "a1", "--rename", "A2", "--kind", "ashore")
    run(capsys, path, "boat", "the invented one")
    with open_book(path) as book:
        (card,) = book.items()
        assert (card.name, card.minimum, card.critical) == ("bearing, pump, front", 3, True)
        assert card.units == ("coolant pump",)
        assert [(k.name, k.kind, k.place) for k in book.lockers()][1] == ("A2", "ashore", "under the chart table")
        assert book.about == {"home_currency": "GBP", "boat": "the invented one"}
        assert book.check() == ()
    for wrong in ("card x --critical perhaps", "card x --locker Z9", "locker B --kind x", "card x --units engine",
                  "card x --rename y", "card x --minimum 1.5"):  # fmt: skip
        assert run(capsys, path, *wrong.split(), code=2).strip()
    assert run(capsys, path, "locker", "lent out", "--place", "x", code=2).strip()
    came = tmp_path / "came.csv"
    came.write_text('item,quantity,cost_unit,locker\n"bearing, pump, front",1,4,A2\n')
    run(capsys, path, "receive", came)
    assert "costs in GBP: they would be taken for EUR" in run(capsys, path, "currency", "EUR", code=2)
    run(capsys, path, "export", tmp_path / "out")
    run(capsys, tmp_path / "again.spares", "new", tmp_path / "out")
    with open_book(tmp_path / "again.spares") as book:
        assert book.about == {"home_currency": "GBP", "boat": "the invented one"}


def test_no_card_becomes_two_parts(tmp_path, capsys):
    """A bearing 6008 stays off the card of a 6203; the same size in another writing is the same."""
    path = tmp_path / "b.spares"
    run(capsys, path, "new")
    run(capsys, path, "locker", "A1")
    run(capsys, path, "card", "bearing", "--designation", "6203-2RS", "--locker", "A1")
    own, came = tmp_path / "own.csv", tmp_path / "came.csv"
    for list_, act in ((own, "import"), (came, "receive")):
        list_.write_text("item,quantity,designation\nbearing,1,6008\n")
        text = run(capsys, path, act, list_, code=2)
        assert "row 2, designation: found '6008'; '6008' is not the '6203-2RS'" in text
        list_.write_text("item,quantity,designation\nbearing,1,6203 DDU\n")
    run(capsys, path, "receive", came)
    run(capsys, path, "import", own)
    with open_book(path) as book:
        assert [(i.name, i.designation) for i in book.items()] == [("bearing", "6203-2RS")]


def test_a_quantity_of_0_empties_nothing_silently(tmp_path, capsys):
    path, own = tmp_path / "b.spares", tmp_path / "own.csv"
    run(capsys, path, "new")
    own.write_text("item,quantity,locker\nfuse,5,A1\nlamp,2,A1\n")
    run(capsys, path, "import", own)
    own.write_text("item,quantity,locker,note\nfuse,0,A1,flat\nlamp,1,A1,\n")
    assert "0 in the list, 5 in the book: left as it is" in run(capsys, path, "import", own, "--dry-run")
    run(capsys, path, "import", own)
    with open_book(path) as book:
        assert {s.item: s.quantity for s in book.stock()} == {"fuse": 5, "lamp": 1}
        assert book.item("fuse").note == "flat"
    run(capsys, path, "import", own, "--take-zeros")
    with open_book(path) as book:
        assert {s.item: s.quantity for s in book.stock()} == {"lamp": 1}


def test_a_damaged_book_is_named_and_salvaged(book, capsys, tmp_path):
    with sqlite3.connect(book) as link:
        link.executescript("DROP TRIGGER movements_kept; DROP VIEW stock;")
    for line in ((), ("--json",), ("find", "seal"), ("use", IMPELLER)):
        assert "salvage NEW.spares" in run(capsys, book, *line, code=2)
    text = run(capsys, book, "check", code=2)
    assert "the trigger 'movements_kept' is missing" in text
    assert "the view 'stock' is missing" in text
    assert "427 movements" in run(capsys, book, "salvage", tmp_path / "new.spares")
    assert run(capsys, tmp_path / "new.spares", "check") == "Sound.\n"


def test_a_book_from_a_folder_drops_neither_passage_nor_money(tmp_path, capsys):
    book = tmp_path / "a" / "b.spares"
    book.parent.mkdir()
    assert "passage.toml was copied beside it" in run(capsys, book, "new", DEMO)
    assert (book.parent / "passage.toml").read_bytes() == (DEMO / "passage.toml").read_bytes()
    (book.parent / "passage.toml").write_text("[passage]\ndays = 3\n")
    assert "was not taken" in run(capsys, book.parent / "c.spares", "new", DEMO)
    assert (book.parent / "passage.toml").read_text() == "[passage]\ndays = 3\n"
    assert "the costs are in EUR" in run(capsys, tmp_path / "d.spares", "new", DEMO, "--currency", "GBP", code=2)
    assert not (tmp_path / "d.spares").exists()
