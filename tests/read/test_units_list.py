"""An owner's own list of units under whatever headings; invented figures."""

from __future__ import annotations

import csv
import datetime
import io
from pathlib import Path

import openpyxl
import pytest

from repairecon.read.columns import FILES
from repairecon.read.lists_of_others import read_units_list
from repairecon.records import SheetError

HEAD = ["Equipment", "Type", "Qty", "Date fitted", "Price", "Engine hours", "Colour", "Essential", "Serial numbr"]
DAY = datetime.date(2017, 5, 1)


def book(path: Path, rows: list[list[object]], before: int = 1) -> Path:
    """A workbook with a title above the headings."""
    made = openpyxl.Workbook()
    for _ in range(before):
        made.active.append(["All that turns aboard"])
    for row in rows:
        made.active.append(row)
    made.save(path)
    return path


def test_headings_numbers_and_days_as_owners_write_them(tmp_path: Path) -> None:
    rows = [
        HEAD,
        ["raw water pump", None, 1, DAY, "640,50", 1150, "red", True, "A-1"],
        ["winch", "sheet winch", 4, "03.04.2019", 350, None, None, "no", 77],
    ]
    found = read_units_list(book(tmp_path / "u.xlsx", rows))
    assert found[1:] == (2, ("Colour",))
    head, *lines = csv.reader(io.StringIO(found[0].decode()))
    assert head == list(FILES["units.csv"].columns)
    said = [{k: v for k, v in zip(head, line, strict=True) if v} for line in lines]
    assert said == [
        {"unit": "raw water pump", "count": "1", "fitted_on": "2017-05-01", "price_new_likely": "640.50",
         "hours": "1150", "critical": "yes", "maker_number": "A-1"},
        {"unit": "winch", "kind": "sheet winch", "count": "4", "fitted_on": "2019-04-03", "price_new_likely": "350",
         "critical": "no", "maker_number": "77"},
    ]  # fmt: skip


def test_a_text_file_reads_alike(tmp_path: Path) -> None:
    (tmp_path / "u.csv").write_text("Name;Qty;New price\npump;2;1.250,50\n", encoding="cp1252")
    assert b"pump,,2,,,,,,1250.50," in read_units_list(tmp_path / "u.csv")[0]


def test_every_fault_under_the_owners_heading(tmp_path: Path) -> None:
    rows = [HEAD, ["pump", None, "two", "soon", "1.250", -1, None, "perhaps"], ["pump"], [None, "winch"],
            ["motor", None, None, datetime.date(2190, 1, 1)]]  # fmt: skip
    with pytest.raises(SheetError) as error:
        read_units_list(book(tmp_path / "u.xlsx", rows, before=3))
    assert {(f.row, f.column) for f in error.value.faults} == {
        (5, "Qty"), (5, "Date fitted"), (5, "Price"), (5, "Engine hours"), (5, "Essential"), (6, "Equipment"),
        (7, "Equipment"), (8, "Date fitted"),
    }  # fmt: skip
    assert "say which mark is the decimal one" in str(error.value)


def test_a_list_without_names(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="no such column; head the column of their names one of: unit, name"):
        read_units_list(book(tmp_path / "u.xlsx", [["Qty", "Colour"], [1, "red"]]))
    with pytest.raises(SheetError, match="no such file"):
        read_units_list(tmp_path / "none.xlsx")
