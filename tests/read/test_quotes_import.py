"""A supplier's list into quotes.csv: told before it is written, whole or not at all, nothing guessed in silence."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from case_makers import GOOD, QUOTES, SUPPLIERS, as_csv, cell, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from workbook_makers import book, saved

from repairecon.__main__ import main
from repairecon.read import files, preview, read_case
from repairecon.read.lists_of_others import ADDED, CHANGED, LEFT_OUT, SAME, QuotesImport
from repairecon.records import CaseError, PriceBreak, RepaireconError, SheetError

COLUMNS = {"Article": "item", "Unit price": "price"}
STOCKIST = "bearing stockist"


def snapshot(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def listed(tmp_path: Path, rows: list[list[Any]], name: str = "list.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(book(rows) if name.endswith("x") else as_csv(rows).encode())
    return path


def bring(
    tmp_path: Path, rows: list[list[Any]], columns: Mapping[str, str] | None = COLUMNS, **more: Any
) -> QuotesImport:
    """The rows into the good case."""
    folder = tmp_path / "case"
    if not folder.exists():
        write(folder, GOOD)
    more = {"supplier": STOCKIST, **more}
    keep_columns = more.pop("keep_columns", False)
    return preview(folder, listed(tmp_path, rows), columns, **more).write(keep_columns)


def outcomes(said: QuotesImport) -> list[tuple[int, str, str]]:
    return [(r.row, r.item, r.becomes) for r in said.rows]


def records(folder: Path) -> list[dict[str, str]]:
    """quotes.csv by the standard library alone."""
    return list(csv.DictReader(io.StringIO((folder / QUOTES).read_text("utf-8"))))


def test_added_changed_as_it_was_and_left_out(tmp_path: Path) -> None:
    rows = [["Article", "Unit price"], ["Bearing", 9.5], ["TOP  seal", "7.20"], ["gasket", 3], ["shaft", ""], ["", 4]]
    said = bring(tmp_path, rows)
    assert outcomes(said) == [
        (2, "bearing", ADDED),
        (3, "top seal", CHANGED),
        (4, "gasket", LEFT_OUT),
        (5, "shaft", LEFT_OUT),
        (6, "", LEFT_OUT),
    ]
    assert [r.why for r in said.those(LEFT_OUT)] == [
        "'gasket': no part, way or standard size of that name",
        "no price",
        "no item",
    ]
    assert said.rows[1].why == "quoted_likely: 6.90 -> 7.20"
    assert said.written
    case = read_case(tmp_path / "case")
    assert [(q.item, q.supplier, q.quoted.likely) for q in case.quotes] == [
        ("top seal", STOCKIST, 7.2),
        ("top seal", "specialist abroad", 21),
        ("new, maker", "specialist abroad", 1580),
        ("bearing", STOCKIST, 9.5),
    ]
    again = bring(tmp_path, rows)
    assert [r.becomes for r in again.rows[:2]] == [SAME, SAME]
    assert not again.written


def test_what_was_there_stays(tmp_path: Path) -> None:
    """Every cell that the list does not speak of, by the general-purpose reader before and after."""
    quotes = cell(QUOTES, 2, "note", 'said "by Friday", on the telephone')[QUOTES]
    quotes = quotes.replace(
        "top seal,specialist abroad", "example: row,nobody,,,,1,,,,,,,,,,,,\n\ntop seal,specialist abroad", 1
    )
    folder = write(tmp_path / "case", {**GOOD, QUOTES: quotes})
    before = pd.read_csv(folder / QUOTES, dtype=str)
    said = bring(tmp_path, [["Article", "Unit price", "Days"], ["bearing", 9.5, 4]], {**COLUMNS, "Days": "lead_days"})
    assert said.rows[0].quotes_row == 7
    after = pd.read_csv(folder / QUOTES, dtype=str)
    pd.testing.assert_frame_equal(after.iloc[: len(before)], before)
    assert after.iloc[-1].dropna().to_dict() == {
        "item": "bearing",
        "supplier": STOCKIST,
        "quoted_likely": "9.5",
        "lead_days_likely": "4",
    }
    assert read_case(folder).notes["quotes.csv:2"].startswith('said "by')


@pytest.mark.parametrize(("mark", "end", "bom"), [(";", "\n", b""), (",", "\r\n", b"\xef\xbb\xbf"), ("\t", "\n", b"")])
def test_the_file_keeps_its_form(tmp_path: Path, mark: str, end: str, bom: bytes) -> None:
    out = io.StringIO()
    csv.writer(out, delimiter=mark, lineterminator=end).writerows(csv.reader(io.StringIO(GOOD[QUOTES])))
    folder = write(tmp_path / "case", {**GOOD, QUOTES: ""})
    (folder / QUOTES).unlink()
    (folder / "Quotes.CSV").write_bytes(bom + out.getvalue().encode())
    before = (folder / "Quotes.CSV").read_bytes()
    bring(tmp_path, [["Article", "Unit price"], ["bearing", 9.5]])
    after = (folder / "Quotes.CSV").read_bytes()
    assert after.startswith(before)
    assert after[len(before) :].startswith(f"bearing{mark}{STOCKIST}{mark}".encode())
    assert after.endswith(end.encode())
    assert sorted(p.name for p in folder.iterdir()) == sorted({*GOOD, "Quotes.CSV"} - {QUOTES})


def test_a_case_without_quotes(tmp_path: Path) -> None:
    """The case cannot be reckoned before the quotes are in: that is no reason not to bring them in."""
    files = {k: v for k, v in GOOD.items() if k != QUOTES}
    folder = write(tmp_path / "case", files)
    with pytest.raises(CaseError):
        read_case(folder)
    bring(tmp_path, [["Article", "Unit price"], ["top seal", 7]])
    assert records(folder) == [{"item": "top seal", "supplier": STOCKIST, "quoted_likely": "7"}]
    bring(tmp_path, [["Article", "Unit price"], ["new, maker", 1500]])
    assert len(read_case(folder).quotes) == 2


def test_items_are_found_by_size_and_by_what_was_quoted_before(tmp_path: Path) -> None:
    write(tmp_path / "case", cell(QUOTES, 3, "designation", "LS-77"))
    columns = {"Number": "designation", "Net": "price"}
    said = bring(tmp_path, [["Number", "Net"], ["6008", 9], ["6007", 9], ["LS-77", 20]], columns)
    assert [(r.item, r.becomes) for r in said.rows] == [("bearing", ADDED), ("", LEFT_OUT), ("", LEFT_OUT)]
    assert said.rows[1].why == "'6007': did you mean '6008'?"
    said = bring(tmp_path, [["Number", "Net"], ["ls-77", 20]], columns, supplier="specialist abroad")
    assert outcomes(said) == [(2, "top seal", CHANGED)]


def test_a_size_of_two_parts_is_not_guessed(tmp_path: Path) -> None:
    write(tmp_path / "case", cell("parts.csv", 5, "standard_size", "6008"))
    said = bring(tmp_path, [["Size", "Net"], ["6008", 9]], {"Size": "designation", "Net": "price"})
    assert said.rows[0].why == "2 parts of the size '6008': 'bearing', 'shaft'; name the item"


def test_two_quotes_of_one_item_are_known_apart(tmp_path: Path) -> None:
    columns = {**COLUMNS, "Class": "part_class", "In a pack": "pack"}
    head = ["Article", "Unit price", "Class", "In a pack"]
    said = bring(tmp_path, [head, ["top seal", 18, "maker's part", 1], ["top seal", 30, "generic part", 5]], columns)
    assert [r.becomes for r in said.rows] == [ADDED, ADDED]
    said = bring(tmp_path, [head, ["top seal", 19, "maker's part", 1], ["top seal", 31, "generic part", 5]], columns)
    assert [r.becomes for r in said.rows] == [CHANGED, CHANGED]
    said = bring(tmp_path, [["Article", "Unit price"], ["top seal", 7]])
    assert said.rows[0].why.startswith("rows 2, 5, 6 of quotes.csv quote the same")
    said = bring(tmp_path, [head, ["top seal", 7, "generic part", 1], ["top seal", 8, "generic part", 1]], columns)
    assert said.rows[1].why == "row 2 of the list quotes the same"


def test_a_firm_price_takes_the_place_of_a_range(tmp_path: Path) -> None:
    folder = tmp_path / "case"
    said = bring(tmp_path, [["Article", "Unit price"], ["new, maker", 1600]], supplier="specialist abroad")
    assert said.rows[0].why == "quoted_likely: 1580 -> 1600; quoted_low: 1500 -> blank; quoted_high: 1700 -> blank"
    quote = read_case(folder).quotes[2]
    assert (quote.quoted.low, quote.quoted.high) == (1600, 1600)


def test_breaks_dates_and_marks(tmp_path: Path) -> None:
    rows = [
        ["List of 2026"],
        [],
        ["Article", "Unit price", "from 10", "from 50", "kg", "till", "remark"],
        ["bearing", "12,50", "11,25", "1.000", "0,125", "31.12.2026", "-12 pieces left"],
        ["shaft", "1.250", "", "", "1.250", "04/05/2026", ""],
        ["circlip", "0,80", "0,90", "", "", "", ""],
    ]
    columns = {"from 10": "price_from_10", "from 50": "price_from_50", "kg": "weight_kg", "till": "valid_until"}
    said = bring(tmp_path, rows, {**COLUMNS, **columns, "remark": "note"}, quoted_on="2026-10-01")
    assert [r.becomes for r in said.rows] == [LEFT_OUT, LEFT_OUT, LEFT_OUT]
    assert said.rows[0].why.startswith("D4, price_from_50: found '1.000'; say which mark is the decimal one")
    assert said.rows[1].why.startswith("F5, valid_until: found '04/05/2026'; write 2026-05-04 or 2026-04-05")
    assert said.rows[2].why.startswith("breaks: found 0.9 from 10 packs, above 0.8 for fewer")
    assert not said.written
    rows[3][3], rows[4][5], rows[5][2] = "10,00", "2026-05-04", "0,70"
    said = bring(tmp_path, rows, {**COLUMNS, **columns, "remark": "note"}, quoted_on="2026-04-01")
    assert [r.becomes for r in said.rows] == [ADDED, ADDED, ADDED]
    assert "quoted_likely: numbers with a decimal comma" in said.notes
    bearing, shaft, circlip = read_case(tmp_path / "case").quotes[3:]
    assert bearing.breaks == (PriceBreak(10, 11.25), PriceBreak(50, 10))
    assert (bearing.quoted.likely, bearing.weight_kg, bearing.valid_until) == (12.5, 0.125, "2026-12-31")
    assert (shaft.quoted.likely, shaft.weight_kg, shaft.quoted_on) == (1250, 1250, "2026-04-01")
    assert circlip.quoted.likely == 0.8


def test_a_decimal_mark_that_is_said(tmp_path: Path) -> None:
    rows = [["Article", "Unit price"], ["bearing", "1.250"]]
    assert [r.becomes for r in bring(tmp_path, rows).rows] == [LEFT_OUT]
    bring(tmp_path, rows, decimal=",")
    assert records(tmp_path / "case")[-1]["quoted_likely"] == "1250"
    bring(tmp_path, rows, decimal=".")
    assert records(tmp_path / "case")[-1]["quoted_likely"] == "1.250"


def test_money_of_another_currency_is_left_out(tmp_path: Path) -> None:
    said = bring(tmp_path, [["Article", "Unit price"], ["bearing", "£ 9.50"], ["shaft", "€ 210,00"]])
    assert said.rows[0].why == "B2, quoted_likely: found '£ 9.50'; write the number alone, in EUR"
    assert said.rows[1].becomes == ADDED


@pytest.mark.parametrize("text", ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0"])
def test_text_that_a_spreadsheet_obeys_is_left_out(tmp_path: Path, text: str) -> None:
    columns = {**COLUMNS, "Number": "designation"}
    said = bring(tmp_path, [["Article", "Unit price", "Number"], ["bearing", 9, text], ["shaft", 9, "-012"]], columns)
    assert [r.becomes for r in said.rows] == [LEFT_OUT, ADDED]
    assert "would obey" in said.rows[0].why


def test_a_workbook_with_suppliers_in_a_column(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    sheet = made.active
    for row in (
        ["Offer"],
        ["Part", "From", "Price"],
        ["bearing", "Bearing Stockist", 9.5],
        ["shaft", "a stranger", 200],
    ):
        sheet.append(row)
    sheet["C5"], sheet["A5"], sheet["B5"] = "=3*4", "circlip", STOCKIST
    made.create_sheet("Terms").append(["none"])
    (tmp_path / "offer.xlsx").write_bytes(saved(made))
    folder = write(tmp_path / "case", GOOD)
    columns = {"Part": "item", "From": "supplier", "Price": "price"}
    with pytest.raises(SheetError, match="2 sheets; name one of: 'Sheet', 'Terms'"):
        preview(folder, tmp_path / "offer.xlsx", columns)
    said = preview(folder, tmp_path / "offer.xlsx", columns, sheet="sheet")
    assert [r.why for r in said.rows] == [
        "",
        "no supplier 'a stranger' in suppliers.csv",
        "C5, quoted_likely: found a formula that keeps no result; save the workbook in a spreadsheet program, "
        "or write the value",
    ]


def test_rows_that_the_case_could_not_read_are_left_out(tmp_path: Path) -> None:
    columns = {**COLUMNS, "Class": "part_class", "Chance": "p_never"}
    rows = [
        ["Article", "Unit price", "Class", "Chance"],
        ["bearing", 9, "copy", ""],
        ["shaft", -1, "", ""],
        ["circlip", 2, "", 0.3],
    ]
    said = bring(tmp_path, [*rows, ["new, maker", 1500, "", 0.01]], columns)
    assert [r.becomes for r in said.rows] == [LEFT_OUT, LEFT_OUT, LEFT_OUT, ADDED]
    assert said.rows[0].why.startswith("part_class: found 'copy'; write one of")
    assert said.rows[1].why == "quoted_likely: found '-1'; write not less than 0"
    assert said.rows[2].why.startswith("p_never: found '0.3'")


WRONG = [
    ({"columns": {**COLUMNS, "Unit pric": "pack"}}, "Unit pric: found no such heading; did you mean 'Unit price'?"),
    ({"columns": {"Article": "item", "Unit price": "prize"}}, "did you mean 'price'?"),
    ({"columns": {"Article": "item", "Unit price": "item"}}, "a second heading for item"),
    ({"columns": {"Unit price": "price"}}, "which heading is the item"),
    ({"columns": {"Article": "item"}}, "which heading is the price"),
    ({"columns": {}}, "say which heading is which column"),
    ({"columns": None}, "say which heading is which column"),
    ({"supplier": "bearing stockst"}, "did you mean 'bearing stockist'?"),
    ({"supplier": ""}, "say who quotes"),
    ({"quoted_on": "soon"}, "write a date such as 2026-03-31"),
    ({"decimal": "'"}, "write , or ."),
    ({"sheet": "Prices"}, "a text file, which has no sheets"),
]


@pytest.mark.parametrize(("more", "found"), WRONG, ids=[str(w[0]) for w in WRONG])
def test_what_cannot_be_taken_at_all(tmp_path: Path, more: dict[str, Any], found: str) -> None:
    folder = write(tmp_path / "case", GOOD)
    before = snapshot(folder)
    with pytest.raises(SheetError) as raised:
        bring(tmp_path, [["Article", "Unit price"], ["bearing", 9]], **{"columns": COLUMNS, **more})
    assert found in str(raised.value)
    assert snapshot(folder) == before


def test_several_faults_at_once(tmp_path: Path) -> None:
    with pytest.raises(SheetError) as raised:
        bring(tmp_path, [["Article"]], {"A": "itm", "B": "prise"}, supplier="nobody", quoted_on="x")
    assert len(raised.value.faults) == 4


def test_a_heading_twice(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="the heading twice"):
        bring(tmp_path, [["Article", "Unit price", "UNIT  PRICE"], ["bearing", 9, 8]])


def test_a_broken_case_is_said_first(tmp_path: Path) -> None:
    write(tmp_path / "case", cell(QUOTES, 2, "pack", "none"))
    with pytest.raises(CaseError) as raised:
        bring(tmp_path, [["Article", "Unit price"], ["bearing", 9]])
    assert [(f.file, f.row, f.column) for f in raised.value.faults] == [(QUOTES, 2, "pack")]


def test_a_dry_run_writes_nothing_and_tells_the_same(tmp_path: Path) -> None:
    folder = write(tmp_path / "case", GOOD)
    before = snapshot(folder)
    path = listed(tmp_path, [["Article", "Unit price"], ["bearing", 9], ["top seal", 5], ["x", 1]])
    said = preview(folder, path, COLUMNS, STOCKIST)
    assert snapshot(folder) == before
    assert not said.written
    done = preview(folder, path, COLUMNS, STOCKIST).write()
    assert done.rows == said.rows
    assert (folder / QUOTES).read_bytes() == said.quotes


def test_columns_are_kept_for_the_supplier(tmp_path: Path) -> None:
    folder = write(tmp_path / "case", GOOD)
    bring(tmp_path, [["Article", "Unit price"], ["bearing", 9]], keep_columns=True)
    bring(
        tmp_path,
        [["Part", "GBP"], ["bearing", 8]],
        {"Part": "item", "GBP": "price"},
        supplier="specialist abroad",
        keep_columns=True,
    )
    said = bring(tmp_path, [["Article", "Unit price"], ["bearing", 9.25]], None)
    assert outcomes(said) == [(2, "bearing", CHANGED)]
    bring(tmp_path, [["Name", "Net"], ["bearing", 9]], {"Name": "item", "Net": "price"}, keep_columns=True)
    with pytest.raises(SheetError, match="Name: found no such heading"):
        bring(tmp_path, [["Article", "Unit price"], ["bearing", 9.25]], None)
    assert outcomes(bring(tmp_path, [["Part", "GBP"], ["bearing", 8]], None, supplier="Specialist Abroad"))
    read_case(folder)


def test_all_or_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of two files cannot be written: the first is as it was."""
    folder = write(tmp_path / "case", GOOD)
    before = snapshot(folder)
    real = files._replace

    def half(target: Path, data: bytes) -> None:
        if target.name == "columns.csv":
            raise OSError(28, "No space left on device")
        real(target, data)

    monkeypatch.setattr(files, "_replace", half)
    with pytest.raises(RepaireconError, match="No space left on device; nothing was changed"):
        bring(tmp_path, [["Article", "Unit price"], ["bearing", 9]], keep_columns=True)
    assert snapshot(folder) == before


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = write(tmp_path / "case", GOOD)
    before = snapshot(folder)
    path = listed(tmp_path, [["Article", "Unit price"], ["bearing", 9], ["x", 1]], "list.xlsx")
    line = ["import-quotes", str(folder), str(path), "--column", "item=Article", "--column", "price=Unit price"]
    line += ["--supplier", STOCKIST]
    assert main([*line, "--dry-run"]) == 0
    out = capsys.readouterr().out
    assert "added: 1" in out
    assert "left out: 1" in out
    assert out.endswith("Nothing was written.\n")
    assert snapshot(folder) == before
    assert main([*line, "--keep-columns", "--quoted-on", "2026-10-02"]) == 0
    assert capsys.readouterr().out.endswith("quotes.csv was written.\n")
    assert read_case(folder).quotes[-1].quoted_on == "2026-10-02"
    assert main([*line[:-1], "nobody"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("1 fault in the spreadsheet; nothing was written.\n")
    with pytest.raises(SystemExit):
        main(["import-quotes", str(folder), str(path), "--column", "price"])


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(
        st.lists(
            st.one_of(
                st.sampled_from(
                    ["bearing", "shaft", "top seal", "6008", "12,50", "1.250", "-1", "2026-10-01", "5 at 3", "x"]
                ),
                st.text(st.characters(exclude_characters="\0", codec="utf-8"), max_size=6),
                st.floats(-1e6, 1e6),
                st.none(),
            ),
            min_size=6,
            max_size=6,
        ),
        max_size=6,
    )
)
def test_any_list_leaves_a_case_that_can_be_read(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[Any]]
) -> None:
    tmp_path = tmp_path_factory.mktemp("any")
    head = ["Article", "Unit price", "Size", "Class", "Packs", "Breaks"]
    columns = {**COLUMNS, "Size": "designation", "Class": "part_class", "Packs": "pack", "Breaks": "breaks"}
    said = bring(tmp_path, [head, *rows], columns)
    case = read_case(tmp_path / "case")
    assert len(case.quotes) == 3 + len(said.those(ADDED))
    assert case.suppliers[0].supplier == STOCKIST
    assert all(r.why for r in said.those(LEFT_OUT))


def test_suppliers_are_needed(tmp_path: Path) -> None:
    write(tmp_path / "case", {k: v for k, v in GOOD.items() if k not in (QUOTES, SUPPLIERS, "carriage.csv")})
    with pytest.raises(SheetError, match="an unknown supplier 'bearing stockist'"):
        bring(tmp_path, [["Article", "Unit price"], ["bearing", 9]])
