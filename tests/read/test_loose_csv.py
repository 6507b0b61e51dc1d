"""CSV as others write it: marks, letters, numbers and dates."""

from __future__ import annotations

import csv
import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from repairecon.read.files import Unreadable
from repairecon.read.sheets import read_csv_sheet
from repairecon.read.values import Cell, Misread, agreed_mark, date_text, number_text


def rows(text: str | bytes, headings: tuple[str, ...] = ()) -> dict[int, tuple[Cell, ...]]:
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    return dict(read_csv_sheet(data, "list.csv", headings).rows)


# RFC 4180 section 2, rules 1, 2, 5, 6 and 7, with the examples printed there
RFC_4180 = [
    ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", {1: ("aaa", "bbb", "ccc"), 2: ("zzz", "yyy", "xxx")}),
    ("aaa,bbb,ccc\r\nzzz,yyy,xxx", {1: ("aaa", "bbb", "ccc"), 2: ("zzz", "yyy", "xxx")}),
    ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', {1: ("aaa", "bbb", "ccc"), 2: ("zzz", "yyy", "xxx")}),
    ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', {1: ("aaa", "b\r\nbb", "ccc"), 2: ("zzz", "yyy", "xxx")}),
    ('"aaa","b""bb","ccc"', {1: ("aaa", 'b"bb', "ccc")}),
]


@pytest.mark.parametrize(("text", "expected"), RFC_4180)
def test_rfc_4180(text: str, expected: dict[int, tuple[Cell, ...]]) -> None:
    assert rows(text) == expected


MARKED = [
    ("Item;Price\nseal;6,50\nbearing;12,00\n", 2),
    ("Item\tPrice\nseal\t6,50\n", 2),
    ("sep=;\nItem;Price\nseal;6,50\n", 2),
    ("Item,Price\nseal,6.50\n", 2),
    ('Item;Price\n"seal; lip";6,50\n', 2),
    ("Price list of 2026, net\n\nItem;Text;Price\nseal;lip, two;6,50\nring;o, one;1,20\n", 3),
]


@pytest.mark.parametrize(("text", "columns"), MARKED)
def test_the_mark_between_cells(text: str, columns: int) -> None:
    found = rows(text)
    assert max(len(row) for row in found.values()) == columns
    assert len(found[max(found)]) == columns


def test_known_headings_settle_the_mark() -> None:
    text = "a,b;c,d\n1,2;3,4\n"
    assert rows(text, ("b;c",))[1] == ("a", "b;c", "d")
    assert rows(text, ("a,b", "c,d"))[1] == ("a,b", "c,d")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_letters(encoding: str) -> None:
    sheet = read_csv_sheet("Pièce;Prix €\nbague à lèvre;6,50\n".encode(encoding), "list.csv")
    assert sheet.rows[1] == ("Pièce", "Prix €")
    assert sheet.rows[2] == ("bague à lèvre", "6,50")
    assert bool(sheet.notes) == (encoding == "cp1252")


def test_no_alphabet_at_all() -> None:
    with pytest.raises(Unreadable, match="alphabet"):
        read_csv_sheet(b"a;b\n\x81\x8d;1\n", "list.csv")


def test_rows_keep_their_numbers() -> None:
    assert rows("\n\nItem;Price\n;\nseal;6,50\n") == {3: ("Item", "Price"), 5: ("seal", "6,50")}
    assert rows("sep=;\nItem;Price\n") == {2: ("Item", "Price")}


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_the_same_as_a_general_purpose_reader(mark: str) -> None:
    """pandas.read_csv, told the mark that ours has to find."""
    out = io.StringIO()
    table = [
        ["name", "a", "b"],
        *([f"part {k}, {k}" if k % 2 else f"part; {k}", str(k), f"{k}\t{k}"] for k in range(1, 60)),
    ]
    csv.writer(out, delimiter=mark).writerows(table)
    frame = pd.read_csv(io.StringIO(out.getvalue()), sep=mark, dtype=str)
    found = rows(out.getvalue())
    assert [found[k + 2] for k in range(len(frame))] == [tuple(r) for r in frame.itertuples(index=False)]


# text, decimal mark of the column, what a case folder has
NUMBERS = [
    ("12", "", "12"),
    ("12,50", "", "12.50"),
    ("12.50", "", "12.50"),
    ("1.250,50", "", "1250.50"),
    ("1,250.50", "", "1250.50"),
    ("1 250,50", "", "1250.50"),
    ("1\u202f250,50", "", "1250.50"),
    ("1'250.50", "", "1250.50"),
    ("1.234.567", "", "1234567"),
    ("1,234,567.8", "", "1234567.8"),
    ("1,250", ",", "1.250"),
    ("1,250", ".", "1250"),
    ("1.250", ",", "1250"),
    ("1.250", ".", "1.250"),
    ("0,125", "", "0.125"),
    (",5", "", "0.5"),
    ("-3,5", "", "-3.5"),
    ("€ 12,50", "", "12.50"),
    ("12.50 EUR", "", "12.50"),
    ("20 %", "", "0.20"),
    ("2,7%", "", "0.027"),
]


@pytest.mark.parametrize(("text", "mark", "expected"), NUMBERS)
def test_numbers(text: str, mark: str, expected: str) -> None:
    assert number_text(text, mark, "EUR") == expected


WRONG = [
    "1,250",
    "1.250",
    "12 50",
    "1,2,3",
    "1.2.3",
    "12,50,1",
    "abc",
    "12.50 USD",
    "£ 3",
    "1.25.000",
    "12-",
    "€ 3 EUR",
    "5 at 6",
]


@pytest.mark.parametrize("text", WRONG)
def test_numbers_that_are_in_doubt_or_none(text: str) -> None:
    read = number_text(text, "", "EUR")
    assert isinstance(read, Misread), read
    assert read.write


def test_a_column_gives_its_mark_away() -> None:
    assert agreed_mark(["1.250", "3", "12,50"]) == ","
    assert agreed_mark(["1,250", "€ 3.5"]) == "."
    assert agreed_mark(["1,250", "1.250"]) == ""
    assert agreed_mark(["12,50", "12.50"]) == ""
    assert agreed_mark([]) == ""


@given(
    st.decimals(0, 10**7, places=2, allow_nan=False, allow_infinity=False), st.sampled_from(["de", "en", "ch", "fr"])
)
def test_every_price_however_it_is_written(price: object, form: str) -> None:
    """Two decimals and marks between thousands leave no doubt."""
    english = f"{price:,.2f}"
    marks = {"de": (".", ","), "en": (",", "."), "ch": ("’", "."), "fr": ("\u202f", ",")}[form]
    text = english.replace(",", "T").replace(".", marks[1]).replace("T", marks[0])
    assert float(str(number_text(text, ""))) == float(f"{price:.2f}")


DATES = [
    ("2026-09-15", "2026-09-15"),
    ("2026-9-5", "2026-09-05"),
    ("15.09.2026", "2026-09-15"),
    ("3.4.2026", "2026-04-03"),
    ("15/09/2026", "2026-09-15"),
    ("09/15/2026", "2026-09-15"),
    ("04/04/2026", "2026-04-04"),
    ("2026-09-15 12:30", "2026-09-15"),
]


@pytest.mark.parametrize(("text", "expected"), DATES)
def test_dates(text: str, expected: str) -> None:
    assert date_text(text) == expected


@pytest.mark.parametrize(
    ("cell", "advice"),
    [
        ("03/04/2026", "write 2026-04-03 or 2026-03-04, whichever is meant"),
        ("31.02.2026", "year-month-day"),
        ("soon", "year-month-day"),
        (46280, "it may be 2026-09-15"),  # 46280 = 36526 (2000-01-01) + 9754 days, 7 leap years among 26
        (5, "year-month-day"),
    ],
)
def test_dates_that_are_in_doubt_or_none(cell: Cell, advice: str) -> None:
    read = date_text(cell)
    assert isinstance(read, Misread)
    assert advice in read.write
