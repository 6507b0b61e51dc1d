"""Orders out: figures as an owner would add them up, text that no spreadsheet obeys, whole or not at all."""

from __future__ import annotations

import csv
import datetime
import io
import math
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairecon.read import files, write_orders
from repairecon.read.files import csv_text, sheet_names, workbook_bytes
from repairecon.records import RepaireconError, Source

ODD = ["=1+1", "+cmd|' /C calc'!A0", "-012", "@SUM(A1)", "\tx", "a,b;c", 'say "x"', "two\nlines", "é ½", "plain", "'x"]


def line(
    item: str = "bearing", supplier: str = "bearing stockist", packs: int = 3, quoted: float = 6.9, **more: Any
) -> dict[str, Any]:
    figures = {"designation": "6008", "part_class": "generic part", "pack": 2, "currency": "EUR"} | more
    return dict(supplier=supplier, item=item, packs=packs, quoted=quoted, source=Source("quotes.csv", 3), **figures)


def total(supplier: str = "bearing stockist", goods: float = 20.7, **more: Any) -> dict[str, Any]:
    figures = {
        "quoted_discount": 0.0,
        "quoted_carriage": 8.0,
        "quoted_fees": 0.0,
        "quoted_core": 0.0,
        "note": "",
    } | more
    return dict(
        supplier=supplier,
        currency=figures.pop("currency", "EUR"),
        quoted_goods=goods,
        quoted_total=goods + 8,
        cost_landed=34.73,
        **figures,
    )


def read(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))


def test_an_order_by_hand(tmp_path: Path) -> None:
    """3 packs of 2 at 6.90 make 6 pieces and 20.70: no cents of binary fractions, as in 3 * 6.9."""
    paths = write_orders(tmp_path / "orders", [line(material="steel")], [total()], "EUR", "berth 12")
    assert [p.name for p in paths] == ["order_bearing_stockist.csv", "own_landed.xlsx"]
    rows = read(paths[0])
    assert {k: v for k, v in rows[0].items() if v} == {
        "part": "bearing",
        "designation": "6008",
        "material": "steel",
        "packs": "3",
        "pieces a pack": "2",
        "pieces": "6",
        "price a pack": "6.9",
        "price": "20.7",
        "currency": "EUR",
        "ship to": "berth 12",
    }
    assert [(r["part"], r["price"], r["currency"]) for r in rows[1:]] == [
        ("goods", "20.7", "EUR"),
        ("carriage", "8.0", "EUR"),
        ("total to pay the supplier", "28.7", "EUR"),
    ]


def test_a_supplier_called_like_the_sheet_of_totals_loses_nothing(tmp_path: Path) -> None:
    *_, own = write_orders(tmp_path / "orders", [line(supplier="Orders")], [total("Orders")], "EUR")
    with pd.ExcelFile(own) as book:
        assert book.sheet_names == ["all orders", "Orders"]
        assert list(book.parse("all orders")["supplier"]) == ["Orders", "all"]
        assert book.parse("Orders")["item"][0] == "bearing"


def test_what_is_sent_holds_none_of_the_owners_own_figures(tmp_path: Path) -> None:
    """Landed cost, home money, class, row of the file, wait and remarks are the owner's; all are in the own file."""
    own = {"part_class": "pattern part", "note": "which is old: ask anew", "currency": "GBP"}
    paths = write_orders(
        tmp_path / "orders", [line(**own)], [total(currency="GBP", lead_days=17.0, note="check the tax")], "EUR"
    )
    sent = paths[0].read_text("utf-8-sig")
    for words in ("34.73", "EUR", "landed", "pattern part", "quotes.csv", "ask anew", "17", "check the tax"):
        assert words not in sent
    kept = pd.read_excel(paths[1], sheet_name=None)
    assert kept["orders"]["cost_landed"].tolist() == [34.73, 34.73]
    assert kept["bearing stockist"]["note"].tolist()[0] == "which is old: ask anew"


def test_the_workbook_by_a_general_purpose_reader(tmp_path: Path) -> None:
    lines = [line(), line("shaft", quoted=210.0, packs=1), line("seal", "Specialist abroad", currency="GBP")]
    totals = [total(goods=230.7), total("specialist abroad", quoted_discount=1.5, quoted_core=90.0, lead_days=12.0)]
    paths = write_orders(tmp_path / "orders", lines, totals, "EUR")
    sheets = pd.read_excel(paths[-1], sheet_name=None)
    assert list(sheets) == ["orders", "bearing stockist", "specialist abroad"]
    every = sheets["orders"]
    assert list(every["supplier"]) == ["bearing stockist", "specialist abroad", "all"]
    assert list(every["lines"]) == [2, 1, 3]
    assert list(every["cost_landed"]) == [34.73, 34.73, 69.46]
    assert every["lead_days"].tolist()[1] == 12
    theirs = sheets["specialist abroad"].set_index("item")["quoted_line"]
    assert theirs["discount"] == -1.5
    assert theirs["core surcharge, refunded against the old ones"] == 90
    for path, name in zip(paths, list(sheets)[1:], strict=False):
        assert [float(r["price"]) for r in read(path)] == sheets[name]["quoted_line"].tolist()[:-1]


def test_a_designation_that_a_spreadsheet_would_obey(tmp_path: Path) -> None:
    """In the CSV file it has a mark before it; in the workbook it is text as it stands."""
    paths = write_orders(tmp_path / "orders", [line(designation="=1+1", note="@x")], [total()], "EUR")
    assert read(paths[0])[0]["designation"] == "'=1+1"
    cell = openpyxl.load_workbook(paths[1])["bearing stockist"]["B2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


def test_names_of_files_and_sheets(tmp_path: Path) -> None:
    names = ["A/B: [x]?", "a b x", "é" * 80, "../..", "history", "é" * 90]
    lines, totals = [line(supplier=n) for n in names], [total(n) for n in names]
    paths = write_orders(tmp_path / "orders", lines, totals, "EUR")
    assert {p.parent for p in paths} == {tmp_path / "orders"}
    assert [p.name for p in paths[:2]] == ["order_a_b_x.csv", "order_a_b_x_2.csv"]
    sheets = openpyxl.load_workbook(paths[-1]).sheetnames
    assert len({s.casefold() for s in sheets}) == len(names) + 1
    assert all(0 < len(s) <= 31 for s in sheets)
    assert sheet_names(["x", "X", "x"]) == ["x", "X 2", "x 3"]


def test_what_cannot_be_ordered(tmp_path: Path) -> None:
    folder = tmp_path / "orders"
    for lines, totals in (([], []), ([line()], []), ([line()], [total("x")]), ([line()], [total(), total()])):
        with pytest.raises(RepaireconError):
            write_orders(folder, lines, totals, "EUR")
    with pytest.raises(RepaireconError, match="beyond all measure"):
        write_orders(folder, [line()], [total(goods=math.inf)], "EUR")
    with pytest.raises(RepaireconError, match="too long for a cell"):
        write_orders(folder, [line("x" * 40_000)], [total()], "EUR")
    assert not folder.exists()


def test_only_orders_of_an_earlier_run_are_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "orders"
    first = write_orders(folder, [line()], [total()], "EUR")
    assert write_orders(folder, [line(packs=9)], [total()], "EUR") == first
    assert read(first[0])[0]["packs"] == "9"
    for path in first:
        kept, mine = path.read_bytes(), b"part,designation\r\nmine,1\r\n"
        path.write_bytes(mine)
        with pytest.raises(RepaireconError, match=f"{path.name} could not be written: it is there already"):
            write_orders(folder, [line(packs=5)], [total()], "EUR")
        assert path.read_bytes() == mine
        path.write_bytes(kept)
    assert read(first[0])[0]["packs"] == "9"


def test_a_link_is_never_followed(tmp_path: Path) -> None:
    folder, elsewhere = tmp_path / "orders", tmp_path / "elsewhere"
    elsewhere.mkdir()
    theirs = write_orders(elsewhere, [line()], [total()], "EUR")
    before = [p.read_bytes() for p in theirs]
    folder.mkdir()
    for path in theirs:
        (folder / path.name).symlink_to(path)
    (folder / "order_x.csv").symlink_to(tmp_path / "nowhere.csv")
    with pytest.raises(RepaireconError) as caught:
        write_orders(folder, [line(packs=5), line(supplier="x")], [total(), total("x")], "EUR")
    assert str(caught.value).count("is a link") == 3
    assert [p.read_bytes() for p in theirs] == before
    assert not (tmp_path / "nowhere.csv").exists()


@pytest.mark.parametrize("there", [False, True])
def test_nothing_is_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: bool) -> None:
    folder, real = tmp_path / "orders", files._replace
    before = [p.read_bytes() for p in write_orders(folder, [line()], [total()], "EUR")] if there else []

    def full(target: Path, data: bytes) -> None:
        if target.suffix == ".xlsx":
            raise OSError(28, "No space left on device")
        real(target, data)

    monkeypatch.setattr(files, "_replace", full)
    with pytest.raises(RepaireconError, match="No space left"):
        write_orders(folder, [line(packs=5)], [total()], "EUR")
    assert folder.exists() == there
    assert [p.read_bytes() for p in sorted(folder.glob("*"))] == before


@pytest.mark.parametrize("text", ODD)
def test_text_is_text_in_csv(text: str) -> None:
    """What a spreadsheet might obey has a mark before it; the rest is as it was, by the general-purpose reader."""
    written = csv_text([["name"], [text]], defuse=True)
    (cell,) = pd.read_csv(io.StringIO(written), dtype=str)["name"]
    first = cell[0]
    assert first not in "=+-@\t\r"
    assert cell in (text, f"'{text}")
    assert (cell != text) == (text[0] in "=+-@\t\r'")


@pytest.mark.parametrize("text", ODD)
def test_text_is_text_in_a_workbook(text: str) -> None:
    """The cell is of the kind text, and what is in it is exactly the text."""
    data = workbook_bytes({"list": [["name"], [text], [1.5]]})
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        xml = archive.read("xl/worksheets/sheet1.xml")
    assert b"<f" not in xml.replace(b"<formatPr", b"").replace(b"<sheetFormatPr", b"")
    sheet = openpyxl.load_workbook(io.BytesIO(data))["list"]
    assert (sheet["A2"].value, sheet["A2"].data_type) == (text, "s")
    assert bool(sheet["A2"].quotePrefix) == (text[0] in "=+-@\t\r")
    assert sheet["A3"].value == 1.5
    assert pd.read_excel(io.BytesIO(data), dtype=str)["name"].tolist() == [text, "1.5"]


def test_numbers_dates_and_blanks() -> None:
    day = datetime.date(2026, 3, 31)
    rows = [["a", "b", "c", "d", "e"], [1, 0.1, day, None, True]]
    assert csv_text(rows) == "a,b,c,d,e\r\n1,0.1,2026-03-31,,yes\r\n"
    frame = pd.read_excel(io.BytesIO(workbook_bytes({"x": rows})))
    (row,) = frame.itertuples(index=False)
    assert (row.a, row.b, row.c.date(), row.e) == (1, 0.1, day, "yes")
    assert pd.isna(row.d)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.text(max_size=8), st.floats(-1e12, 1e12)), min_size=1, max_size=5))
def test_any_text_and_number_comes_back(rows: list[tuple[str, float]]) -> None:
    table = [["text", "number"], *map(list, rows)]
    back = list(csv.reader(io.StringIO(csv_text(table), newline="")))[1:]
    assert [float(r[1]) for r in back] == [number for _, number in rows]
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_bytes({"x": table})))["x"]
    values = [sheet.cell(k + 2, 2).value for k in range(len(rows))]
    assert [float(v) for v in values] == pytest.approx([number for _, number in rows], rel=1e-14)
    assert all(sheet.cell(k + 2, 1).data_type in ("s", "n") for k in range(len(rows)))
