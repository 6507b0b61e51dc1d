"""Workbooks to plain rows: what is in them is read, nothing in them is obeyed, and no file brings the reader down."""

from __future__ import annotations

import datetime
import io
import random
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.utils.datetime import MAC_EPOCH
from workbook_makers import ROWS, SHEET, book, packed, parts, saved, with_part, with_rows

from repairecon.read.files import Unreadable
from repairecon.read.sheets import MOST_COLUMNS, Sheet, column_letters, read_sheet
from repairecon.read.values import ZERO_DAY, Misread
from repairecon.read.workbook import LARGEST_UNPACKED, MOST_EMPTY, read_sheets
from repairecon.records import SheetError


def read(data: bytes, wanted: str = "") -> Sheet:
    return read_sheets(data, "list.xlsx", wanted)[0]


def refused(data: bytes) -> str:
    with pytest.raises(Unreadable) as raised:
        read(data)
    assert raised.value.write
    return raised.value.found


def test_plain_rows() -> None:
    """As the general-purpose library wrote them."""
    sheet = read(book())
    assert sheet.name == "list"
    assert dict(sheet.rows) == {1: ("Item", "Price", "Pack"), 2: ("seal", 6.5, 1), 3: ("bearing", 12, 2)}
    assert sheet.notes == ()


def test_the_same_as_a_general_purpose_reader() -> None:
    """pandas.read_excel on a sheet of numbers, text, dates and gaps."""
    day = datetime.date(2026, 3, 31)
    rows = [("a", "b", "c", "d"), *((f"x{k}" if k % 3 else None, k / 7, day, k % 2 == 0) for k in range(1, 200))]
    frame = pd.read_excel(io.BytesIO(book(rows)))
    sheet = read(book(rows))
    assert len(sheet.rows) == len(frame) + 1
    for number, row in list(sheet.rows.items())[1:]:
        theirs = frame.iloc[number - 2]
        assert (row[0] is None) == pd.isna(theirs["a"])
        assert row[0] is None or row[0] == theirs["a"]
        assert (row[1], row[3]) == (theirs["b"], theirs["d"])
        assert row[2] == theirs["c"].date()


def test_rows_keep_their_numbers_and_text_is_clean() -> None:
    rows = [("Item",), (None,), ("  seal\u00a0",), (" ",), ("\u202eb",)]
    assert dict(read(book(rows)).rows) == {1: ("Item",), 3: ("seal",), 5: ("b",)}


# serial, 1900 system: ECMA-376 part 1, 18.17.4.1 (from memory): 1 is 1900-01-01, 60 the 29 February that never was, so
# 61 is 1900-03-01; 25569 is 1970-01-01 and 36526 is 2000-01-01 (the Unix epoch and the millennium, widely printed);
# 2958465 is 9999-12-31
SERIALS = [(61, "1900-03-01"), (25569, "1970-01-01"), (36526, "2000-01-01"), (2958465, "9999-12-31")]


def dated(serial: float, epoch_1904: bool = False) -> bytes:
    made = openpyxl.Workbook()
    made.active["A1"] = "day"
    made.active["A2"] = serial
    made.active["A2"].number_format = "yyyy-mm-dd"
    if epoch_1904:
        made.epoch = MAC_EPOCH
    return saved(made)


@pytest.mark.parametrize(("serial", "day"), SERIALS)
def test_dates_are_serials(serial: int, day: str) -> None:
    assert read(dated(serial)).rows[2] == (datetime.date.fromisoformat(day),)
    assert ZERO_DAY + datetime.timedelta(days=serial) == datetime.date.fromisoformat(day)


def test_the_other_date_system() -> None:
    """1904 system: day 0 is 1904-01-01, so 2000-01-01 is 36526 - 1462 (the same section, from memory)."""
    assert read(dated(35064, epoch_1904=True)).rows[2] == (datetime.date(2000, 1, 1),)


def test_times_and_dates_that_cannot_be() -> None:
    assert read(dated(36526.5)).rows[2] == ("2000-01-01 12:00",)
    (cell,) = read(dated(3e6)).rows[2]
    assert isinstance(cell, Misread)
    (cell,) = read(dated(0.25)).rows[2]
    assert isinstance(cell, Misread)
    assert "a time" in cell.found


def test_formulas_are_never_reckoned() -> None:
    """The result that is kept is taken, right or wrong; where none is kept it is a fault of that cell."""
    data = book([("a", "b"), ("=1+1", 5)])
    (bare, plain) = read(data).rows[2]
    assert isinstance(bare, Misread)
    assert "a formula that keeps no result" in bare.found
    assert plain == 5
    kept = read(
        with_part(data, SHEET, lambda xml: xml.replace(b"<v></v>", b"<v>99</v>").replace(b"<v />", b"<v>99</v>"))
    )
    assert kept.rows[2] == (99, 5)
    assert kept.notes == ("1 cells are the last results of formulas, as kept in the file",)


def test_errors_booleans_and_wild_numbers() -> None:
    def change(sheet: object) -> None:
        sheet["A2"].data_type = "e"  # type: ignore[index]

    row = read(book([("a", "b", "c"), ("#N/A", True, 1)], change=change)).rows[2]
    assert isinstance(row[0], Misread)
    assert row[0].found == "the error '#N/A'"
    assert row[1] is True
    wild = with_part(book(), SHEET, lambda xml: xml.replace(b"<v>6.5</v>", b"<v>1e999</v>"))
    cell = read(wild).rows[2][1]
    assert isinstance(cell, Misread)
    assert cell.found == "a number beyond all measure"


def test_what_lies_under_a_merged_cell_is_said() -> None:
    rows = [("Item", "Price"), ("seal", 1), (None, 2), (None, 3)]
    sheet = read(book(rows, change=lambda s: s.merge_cells("A2:A3")))
    assert sheet.rows[2] == ("seal", 1)
    hidden = sheet.rows[3][0]
    assert isinstance(hidden, Misread)
    assert hidden.found == "a cell merged with A2"
    assert sheet.rows[4] == (None, 3)


def two_sheets(state: str) -> bytes:
    made = openpyxl.Workbook()
    made.active.append(["first"])
    other = made.create_sheet("Prices")
    other.append(["second"])
    other.sheet_state = state
    return saved(made)


def test_sheets_hidden_and_not() -> None:
    assert read(two_sheets("hidden")).rows[1] == ("first",)
    assert read(two_sheets("veryHidden")).rows[1] == ("first",)
    named = read(two_sheets("hidden"), "PRICES")
    assert named.rows[1] == ("second",)
    assert named.notes == ("'Prices' is a hidden sheet",)
    assert refused(two_sheets("visible")) == "2 sheets"
    with pytest.raises(Unreadable, match="no sheet 'Prises'"):
        read(two_sheets("visible"), "Prises")


def test_macros_and_links_are_left_alone(tmp_path: Path) -> None:
    made = openpyxl.load_workbook(io.BytesIO(book()))
    files = {
        **parts(saved(made)),
        "xl/vbaProject.bin": b"\xd0\xcf\x11\xe0 macro",
        "xl/externalLinks/externalLink1.xml": b"<a/>",
    }
    (tmp_path / "list.xlsm").write_bytes(packed(files))
    sheet = read_sheet(tmp_path / "list.xlsm")
    assert sheet.rows[2] == ("seal", 6.5, 1)
    assert sheet.notes == ("macros in it are left alone", "links in it to other files are not followed")


# hostile workbooks


def test_a_bomb_is_not_unpacked() -> None:
    """Sizes are told by the directory of the archive: nothing has to be unpacked to see them."""
    nulls = b"\0" * 6_000_000
    assert "unpacks to far more" in refused(packed({**parts(book()), "xl/worksheets/sheet9.xml": nulls}))
    assert "unpacks to far more" in refused(packed({**parts(book()), "xl/styles9.xml": b"<a>" * 4_000_000}))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, data in parts(book()).items():
            archive.writestr(name, data)
    lying = bytearray(out.getvalue())
    place = lying.rindex(b"PK\x01\x02")
    lying[place + 24 : place + 28] = (LARGEST_UNPACKED + 1).to_bytes(4, "little")
    assert "unpacks to far more" in refused(bytes(lying))


def test_sizes_that_lie_downwards_are_a_broken_archive() -> None:
    data = bytearray(book())
    place = data.index(b"PK\x01\x02")
    while SHEET.encode() not in data[place : place + 100]:
        place = data.index(b"PK\x01\x02", place + 4)
    data[place + 24 : place + 28] = (10).to_bytes(4, "little")
    assert "broken" in refused(bytes(data)) or "cannot be read" in refused(bytes(data))


def test_too_many_parts_and_the_same_part_twice() -> None:
    many = {**parts(book()), **{f"xl/x{k}.xml": b"<a/>" for k in range(2_000)}}
    assert "too many parts" in refused(packed(many))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in parts(book()).items():
            archive.writestr(name, data)
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr(SHEET, b"<a/>")
    assert "the same part twice" in refused(out.getvalue())


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    "name", [SHEET, "xl/sharedStrings.xml", "xl/workbook.xml", "xl/styles.xml", "docProps/core.xml"]
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_not_declared(name: str, encoding: str) -> None:
    def change(xml: bytes) -> bytes:
        text = xml.decode("utf-8")
        body = text.split("?>", 1)[1] if text.startswith("<?xml") else text
        return (f'<?xml version="1.0" encoding="{encoding}"?>' + ENTITIES.decode() + body).encode(encoding)

    assert "declares entities" in refused(with_part(book(), name, change))


def test_an_entity_across_two_pieces_of_reading() -> None:
    for pad in range(999_980, 1_000_020, 3):
        data = with_part(book(), "xl/styles.xml", lambda xml, pad=pad: b" " * pad + b"<!ENTITY" + xml)
        assert "declares entities" in refused(data), pad


def test_a_million_empty_rows() -> None:
    """What holds nothing is not read on and on; how far it was read is told."""
    rows = b"".join(b'<row r="%d"/>' % k for k in range(4, 300_000))
    sheet = read(with_rows(book(), rows))
    assert len(sheet.rows) == len(ROWS)
    assert sheet.notes == (f"reading stopped at row {3 + MOST_EMPTY} after {MOST_EMPTY} empty rows",)
    for last in (1_048_576, 10**11):
        sheet = read(with_rows(book(), b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (last, last)))
        assert len(sheet.rows) == len(ROWS)


def test_the_size_that_a_sheet_says_it_has_is_not_believed() -> None:
    lie = with_part(book(), SHEET, lambda xml: xml.replace(b'ref="A1:C3"', b'ref="A1:XFD1048576"'))
    assert dict(read(lie).rows) == dict(read(book()).rows)
    small = with_part(book(), SHEET, lambda xml: xml.replace(b'ref="A1:C3"', b'ref="A1:A1"'))
    assert dict(read(small).rows) == dict(read(book()).rows)


def test_columns_beyond_all_measure() -> None:
    assert read(book([["x"] * MOST_COLUMNS])).rows[1] == ("x",) * MOST_COLUMNS
    assert refused(book([["x"] * (MOST_COLUMNS + 1)])) == "something as far out as cell IW1"
    assert (
        refused(with_rows(book(), b'<row r="5"><c r="XFD5"><v>1</v></c></row>')) == "something as far out as cell XFD5"
    )
    assert "cannot be read" in refused(with_rows(book(), b'<row r="5"><c r="ZZZZZZZZ5"><v>1</v></c></row>'))
    assert (column_letters(0), column_letters(25), column_letters(26), column_letters(16383)) == ("A", "Z", "AA", "XFD")


def test_one_row_without_end() -> None:
    noise = random.Random(1)
    cells = b"".join(b'<c r="A5"><v>%d</v></c>' % noise.randrange(10**9) for _ in range(200_000))
    data = with_rows(book(), b'<row r="5">' + cells + b"</row>")
    assert "a row beyond all measure" in refused(data)
    hidden = with_rows(book(), b'<row r="5"><!-- <row r="6"> --></row>')
    assert "declares" in refused(hidden)


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "no workbook"),
        (b"Item;Price\nseal;6,50\n", "no workbook"),
        (b"PK\x03\x04 and nothing more", "broken"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "password"),
        (packed({"word/document.xml": b"<a/>"}), "no workbook"),
        (packed({"[Content_Types].xml": b"<a/>"}), "cannot be read"),
        (book()[:2000], "broken"),
    ],
)  # fmt: skip
def test_what_is_no_workbook(data: bytes, found: str) -> None:
    assert found in refused(data)


def test_a_zip_with_a_password() -> None:
    data = bytearray(book())
    place = data.index(b"PK\x01\x02")
    data[place + 8] |= 1
    assert "password" in refused(bytes(data))


@pytest.mark.parametrize(
    ("name", "data", "found"),
    [
        ("list.xls", b"x", "kind '.xls'"),
        ("list", b"x", "kind nothing"),
        ("list.csv", book(), "a workbook named as text"),
        ("list.csv", b"", "an empty file"),
        ("list.csv", b"a\0\0b", "no text"),
    ],
)
def test_a_file_of_another_kind(tmp_path: Path, name: str, data: bytes, found: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(SheetError) as raised:
        read_sheet(tmp_path / name)
    (fault,) = raised.value.faults
    assert found in fault.found


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="no such file"):
        read_sheet(tmp_path / "list.xlsx")


MERGED = book(change=lambda s: s.merge_cells("A5:B6"))
"""Made once: a workbook carries the time of its making, and its length may change with that."""


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_spoilt_workbook_is_read_or_refused(data: st.DataObject) -> None:
    """Bytes exchanged in any part, or in the archive: rows, or Unreadable; never another error."""
    whole = MERGED
    if data.draw(st.booleans()):
        files = parts(whole)
        name = data.draw(st.sampled_from(sorted(files)))
        xml = files[name]
        at = data.draw(st.integers(0, len(xml)))
        piece = data.draw(
            st.sampled_from([b"", b"<", b">", b'"', b"9" * 30, b"-1", b"&a;", b"</row>", b"\xff", b"A1:"])
        )
        files[name] = xml[:at] + piece + xml[at + data.draw(st.integers(0, 20)) :]
        whole = packed(files)
    else:
        at = data.draw(st.integers(0, len(whole)))
        whole = whole[:at] + data.draw(st.binary(max_size=8)) + whole[at + data.draw(st.integers(0, 8)) :]
    try:
        sheet = read(whole)
    except Unreadable:
        return
    assert all(len(row) <= MOST_COLUMNS for row in sheet.rows.values())
