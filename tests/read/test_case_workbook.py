"""A case in one workbook reads as the same case in a folder, whatever a spreadsheet program made of its cells.

The folder is the other side of each comparison; what stands in a workbook is looked at by openpyxl alone.
"""

from __future__ import annotations

import dataclasses
import datetime
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from case_makers import GOOD, THREE, write

from repairecon.read.boat import frozen_papers, read_boat, today_of
from repairecon.read.case_folder import read_case
from repairecon.read.case_out import folder_of, keep_findings, write_case_workbook
from repairecon.read.lists_of_others import preview
from repairecon.read.look_again import look_again
from repairecon.records import Case, CaseError, RepaireconError, Source

DATA = Path(__file__).resolve().parents[2] / "data"
BARE = {"case.toml": THREE}


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A good folder and its workbook."""
    place = tmp_path_factory.mktemp("plain")
    folder = write(place / "case", GOOD)
    answer = [["answer of", datetime.date(2026, 10, 5)], ["best", "new, maker"]]
    write_case_workbook(folder, place / "case.xlsx", lambda: answer)
    return folder, place / "case.xlsx"


@pytest.fixture(scope="module")
def good(plain: tuple[Path, Path]) -> Case:
    """The case of the good folder."""
    return read_case(plain[0])


@pytest.fixture
def book(plain: tuple[Path, Path], tmp_path: Path) -> Path:
    """A copy of the good workbook."""
    return Path(shutil.copy(plain[1], tmp_path / "case.xlsx"))


def changed(path: Path, change: Callable[[Any], None]) -> Path:
    """The workbook as another program saved it."""
    made = openpyxl.load_workbook(path)
    change(made)
    made.save(path)
    return path


def facts(x: Any) -> Any:
    """A record without the places in which its figures stand."""
    if isinstance(x, Source):
        return None
    if dataclasses.is_dataclass(x):
        kept = [f.name for f in dataclasses.fields(x) if f.name not in ("folder", "notes")]
        return [type(x).__name__, *(facts(getattr(x, name)) for name in kept)]
    if isinstance(x, dict):
        return {k: facts(v) for k, v in x.items()}
    return [facts(y) for y in x] if isinstance(x, (tuple, list)) else x


def same(a: Case, b: Case) -> None:
    """Field by field, so that a failure says where."""
    for f in dataclasses.fields(a):
        if f.name not in ("folder", "notes"):
            assert facts(getattr(a, f.name)) == facts(getattr(b, f.name)), f.name


def cell(sheet: Any, row: int, heading: str) -> Any:
    """A cell by its heading."""
    return sheet.cell(row, next(c.column for c in sheet[1] if c.value == heading))


def key_row(sheet: Any, section: str, key: str) -> int:
    """The row of a key."""
    at = [[c.value for c in row[:2]] for row in sheet.iter_rows()]
    return at.index([section, key]) + 1


def test_the_same_case(plain: tuple[Path, Path], good: Case) -> None:
    same(good, read_case(plain[1]))


@pytest.mark.parametrize("name", ["windlass", "starter", "alternator"])
def test_the_demo_cases(name: str, tmp_path: Path) -> None:
    write_case_workbook(DATA / name, tmp_path / "x.xlsx")
    same(read_case(DATA / name), read_case(tmp_path / "x.xlsx"))


def test_a_job_taken_from_its_boat_takes_along_what_it_has_from_her(tmp_path: Path) -> None:
    job = DATA / "boat" / "jobs" / "raw_water_pump"
    write_case_workbook(job, tmp_path / "x.xlsx")
    a, b = read_case(job), read_case(tmp_path / "x.xlsx")
    assert a.from_boat
    assert not b.from_boat
    assert facts(a.terms) == facts(b.terms)
    assert facts(a.suppliers) == facts(b.suppliers)
    assert a.unit.age_years == pytest.approx(b.unit.age_years)


def test_a_boat(tmp_path: Path) -> None:
    write_case_workbook(DATA / "boat", tmp_path / "boat.xlsx")
    a, b = read_boat(DATA / "boat"), read_boat(tmp_path / "boat.xlsx")
    assert facts(a.units) == facts(b.units)
    assert (a.name, a.base, a.currency, a.today) == (b.name, b.base, b.currency, b.today)


def test_her_jobs_are_those_beside_her_workbook(tmp_path: Path) -> None:
    write_case_workbook(DATA / "boat", tmp_path / "boat.xlsx")
    write(tmp_path / "jobs" / "pump", BARE)
    write_case_workbook(tmp_path / "jobs" / "pump", tmp_path / "jobs" / "other.xlsx")
    assert [Path(p).name for p in read_boat(tmp_path / "boat.xlsx").jobs] == ["other.xlsx", "pump"]


def test_what_her_workbook_says_lies_beneath_her_jobs(tmp_path: Path) -> None:
    home = shutil.copytree(DATA / "boat", tmp_path / "boat")
    before = read_case(home / "jobs" / "raw_water_pump")
    write_case_workbook(home, home / "boat.xlsx")
    for name in ("boat.toml", "units.csv", "suppliers.csv", "carriage.csv"):
        (home / name).unlink()
    after = read_case(home / "jobs" / "raw_water_pump")
    assert after.from_boat == before.from_boat
    for name in ("terms", "unit", "suppliers", "years"):
        assert facts(getattr(after, name)) == facts(getattr(before, name))
    frozen = frozen_papers(after, "2026-06-01")
    assert {"boat/boat.toml", "boat/suppliers.csv", "boat/units.csv"} < set(frozen)
    assert today_of(home / "boat.xlsx") == datetime.date(2026, 4, 15)


# ---- what programs do to cells -------------------------------------------------------------------
def commas(made: Any) -> None:
    """Numbers as text with a decimal comma."""
    for sheet in made:
        for row in sheet.iter_rows(min_row=2):
            for c in row:
                if isinstance(c.value, float) and not isinstance(c.value, bool):
                    c.value = str(c.value).replace(".", ",")


def texts(made: Any) -> None:
    """Numbers as text."""
    for sheet in made:
        for row in sheet.iter_rows(min_row=2):
            for c in row:
                if isinstance(c.value, (int, float)):
                    c.value = str(c.value)


def days(made: Any) -> None:
    """Days as text of day, month and year."""
    for sheet in made:
        for row in sheet.iter_rows(min_row=2):
            for c in row:
                if isinstance(c.value, datetime.date):
                    c.value = c.value.strftime("%d.%m.%Y")


def booleans(made: Any) -> None:
    """Yes and no as true and false, as a program that knows them saves them."""
    for sheet in made:
        for row in sheet.iter_rows(min_row=2):
            for c in row:
                if c.value in ("yes", "no") and sheet.title != "ways":
                    c.value = c.value == "yes"


def blanks(made: Any) -> None:
    """Blank rows, blank text and format below and between."""
    for sheet in made:
        sheet.insert_rows(3, 2)
        for r in range(sheet.max_row + 1, sheet.max_row + 40):
            sheet.cell(r, 1).value = " "
            sheet.cell(r, 2).number_format = "0.00"


def columns(made: Any) -> None:
    """Columns from right to left."""
    for sheet in made:
        rows = [[c.value for c in row][::-1] for row in sheet.iter_rows()]
        kept = [row for row in rows if not any(str(c or "").startswith("default:") for c in row)]
        sheet.delete_rows(1, sheet.max_row)
        for row in kept:
            sheet.append(row)


def sheets(made: Any) -> None:
    """Sheets in another order, under names as files have them."""
    made._sheets.reverse()
    made["parts"].title = "Parts.csv"


def titles(made: Any) -> None:
    """Headings in capitals with spaces."""
    for sheet in made:
        for c in sheet[1]:
            if c.value:
                c.value = str(c.value).upper().replace("_", " ")


@pytest.mark.parametrize("change", [commas, texts, days, booleans, blanks, columns, sheets, titles])
def test_whatever_a_program_makes_of_it(
    plain: tuple[Path, Path], good: Case, tmp_path: Path, change: Callable[[Any], None]
) -> None:
    made = openpyxl.load_workbook(plain[1])
    before = [[c.value for c in row] for sheet in made for row in sheet.iter_rows()]
    change(made)
    assert before != [[c.value for c in row] for sheet in made for row in sheet.iter_rows()]
    made.save(tmp_path / "case.xlsx")
    same(good, read_case(tmp_path / "case.xlsx"))


def test_an_amount_that_may_be_read_two_ways_is_asked_about(book: Path) -> None:
    changed(book, lambda w: setattr(cell(w["parts"], 2, "price_likely"), "value", "1.250"))
    with pytest.raises(CaseError) as error:
        read_case(book)
    (fault,) = error.value.faults
    assert str(fault) == (
        "case.xlsx, sheet parts row 2, price_likely: found '1.250'; say which mark is the decimal one: "
        "it may be 1250 or 1.250"
    )


# ---- faults --------------------------------------------------------------------------------------
def test_every_fault_at_once_by_sheet_row_and_column(book: Path) -> None:
    def spoil(made: Any) -> None:
        keys = made["case"]
        cell(made["parts"], 3, "quantity").value = "many"
        cell(made["ways"], 4, "kind").value = "bye"
        cell(made["quotes"], 2, "quoted_on").value = 46000
        cell(made["quotes"], 2, "quoted_on").number_format = "General"
        cell(keys, key_row(keys, "money", "vat_rate"), "value").value = 21
        cell(keys, key_row(keys, "years", "cost_away"), "low").value = 5000
        cell(keys, key_row(keys, "owner", "near_tie_share"), "key").value = "near_tie_shar"
        cell(keys, key_row(keys, "owner", "near_tie_shar"), "value").value = 0.1
        at = keys.max_row + 1
        cell(keys, at, "section").value, cell(keys, at, "value").value = "owner", 5

    changed(book, spoil)
    keys = openpyxl.load_workbook(book)["case"]
    with pytest.raises(CaseError) as error:
        read_case(book)
    found = {(f.file, f.row, f.column): f.write for f in error.value.faults}
    assert found == {
        ("case.xlsx, sheet parts", 3, "quantity"): "write a number such as 12.50",
        ("case.xlsx, sheet ways", 4, "kind"): found["case.xlsx, sheet ways", 4, "kind"],
        ("case.xlsx, sheet quotes", 2, "quoted_on"): "format the column as dates: it may be 2025-12-09",
        ("case.xlsx, sheet case", key_row(keys, "money", "vat_rate"), "money.vat_rate"): "give 0.21 for 21 %",
        ("case.xlsx, sheet case", key_row(keys, "years", "cost_away"), "years.cost_away"):
            "write them so that low <= likely <= high",
        ("case.xlsx, sheet case", key_row(keys, "owner", "near_tie_shar"), "owner.near_tie_shar"):
            "did you mean 'near_tie_share'?",
        ("case.xlsx, sheet case", keys.max_row, "key"): "name the key that this value is of",
    }  # fmt: skip


def test_a_cell_beside_the_columns_of_keys(book: Path) -> None:
    changed(book, lambda w: setattr(w["case"].cell(3, 30), "value", "a remark"))
    with pytest.raises(CaseError, match="more cells than headings: 'a remark'"):
        read_case(book)


def test_a_key_said_twice(book: Path) -> None:
    def again(made: Any) -> None:
        keys = made["case"]
        at = keys.max_row + 1
        for heading, value in (("section", "owner"), ("key", "cost_own_hour"), ("value", 4)):
            cell(keys, at, heading).value = value

    keys = openpyxl.load_workbook(changed(book, again))["case"]
    with pytest.raises(CaseError, match=f"keep one of it and row {key_row(keys, 'owner', 'cost_own_hour')}"):
        read_case(book)


@pytest.mark.parametrize(
    ("title", "said"),
    [("pats", "did you mean parts"), ("case", ""), ("remarks of mine", "")],
)
def test_sheets_that_nothing_reads(book: Path, title: str, said: str) -> None:
    if title == "case":
        changed(book, lambda w: w.remove(w["case"]))
        with pytest.raises(CaseError, match="no sheet case"):
            read_case(book)
        return
    changed(book, lambda w: w.create_sheet(title).append(["x"]))
    if said:
        with pytest.raises(CaseError, match=said):
            read_case(book)
    else:
        assert "nothing reads this sheet" in read_case(book).notes[f"case.xlsx, sheet {title}"]


@pytest.mark.parametrize("data", [b"", b"unit = 1", b"PK\x03\x04 cut off", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 9])
def test_what_is_no_workbook_is_said_in_words(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "case.xlsx").write_bytes(data)
    with pytest.raises(CaseError, match=r"case.xlsx: found .*; "):
        read_case(tmp_path / "case.xlsx")
    with pytest.raises(CaseError, match="no such file"):
        read_case(tmp_path / "other.xlsx")


def test_a_workbook_beside_the_files_is_not_passed_over_in_silence(plain: tuple[Path, Path], tmp_path: Path) -> None:
    folder = write(tmp_path / "case", BARE)
    shutil.copy(plain[1], folder / "mine.xlsx")
    (folder / "~$mine.xlsx").write_bytes(b"a lock of the program")
    (remark,) = (r for r in look_again(read_case(folder)) if r.rule == "file")
    assert remark.what == "mine.xlsx: not read: the case is the files beside it; name 'mine.xlsx' itself to use it."


# ---- what is in it -------------------------------------------------------------------------------
def test_lists_limits_notes_and_what_is_assumed_in_grey(plain: tuple[Path, Path], tmp_path: Path) -> None:
    made = openpyxl.load_workbook(plain[1])
    rules = {str(r.sqref).split(":")[0]: r for r in made["quotes"].data_validations.dataValidation}
    rule = rules[cell(made["quotes"], 2, "part_class").coordinate]
    assert "maker's part" in rule.formula1
    assert rule.type == "list"
    rule = rules[cell(made["quotes"], 2, "quoted_low").coordinate]
    assert (rule.type, rule.operator, float(rule.formula1), float(rule.formula2)) == ("decimal", "between", 0.0, 1e12)
    assert rules[cell(made["quotes"], 2, "quoted_on").coordinate].type == "date"
    assert rules[cell(made["quotes"], 2, "supplier").coordinate].formula1.startswith("suppliers!$A$2")
    note = cell(made["parts"], 1, "quantity").comment.text
    assert note == "how many the rebuild takes\nUnit: pieces\nBlank: 1."
    assert made["parts"].freeze_panes == "B2"
    assert [c.value for c in made["answer"][1]] == ["answer of", datetime.datetime(2026, 10, 5)]
    write_case_workbook(DATA / "starter", tmp_path / "x.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "x.xlsx")["tasks"]
    assert sheet.max_row > 3
    assert all(sheet.cell(r, 1).value.startswith("default: ") for r in range(2, 4))
    assert sheet.cell(2, 1).font.color.rgb == "FF808080"


def test_text_that_a_program_would_obey_stays_text(tmp_path: Path) -> None:
    folder = write(tmp_path / "case", {**BARE, "lives.csv": 'way,years,failed,note\nnew,3,yes,"=1+1"\n'})
    write_case_workbook(folder, tmp_path / "x.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "x.xlsx")["lives"]
    assert cell(sheet, 2, "note").data_type == "s"
    assert read_case(tmp_path / "x.xlsx").notes["lives.csv:2"] == "=1+1"


def test_never_over_a_file_and_only_what_has_no_fault(plain: tuple[Path, Path], book: Path, tmp_path: Path) -> None:
    before = book.read_bytes()
    with pytest.raises(RepaireconError, match="there already"):
        write_case_workbook(plain[0], book)
    assert book.read_bytes() == before
    with pytest.raises(RepaireconError, match=r"ends in \.xlsx"):
        write_case_workbook(plain[0], tmp_path / "x.csv")
    with pytest.raises(RepaireconError, match="a workbook already"):
        write_case_workbook(book, tmp_path / "x.xlsx")
    bad = write(tmp_path / "bad", {"case.toml": THREE.replace("640", "-1")})
    with pytest.raises(CaseError):
        write_case_workbook(bad, tmp_path / "y.xlsx")
    assert not (tmp_path / "y.xlsx").exists()


# ---- commands that write -------------------------------------------------------------------------
def test_findings_are_kept_in_it(book: Path, tmp_path: Path) -> None:
    folder = write(tmp_path / "case", GOOD)
    for stage, found in (("removal", {"shaft": "grooved"}), ("strip", {"shaft": "", "neglect": "heavy"})):
        same(keep_findings(folder, found, stage), keep_findings(book, found, stage))
        same(read_case(folder), read_case(book))
    assert not [r for r in look_again(read_case(book)) if r.rule == "file"]
    with pytest.raises(CaseError, match="sheet case") as seen:
        keep_findings(book, {"shaft": "square"})
    assert [f.row for f in seen.value.faults] == [None]  # what is not kept stands in no row


def test_quotes_are_taken_into_it(book: Path, tmp_path: Path) -> None:
    folder = write(tmp_path / "case", GOOD)
    listed = tmp_path / "list.csv"
    listed.write_text('Item;Each;Kind\ntop seal;"7,10";40x62x10\nbearing;"9,90";6008\n', encoding="utf-8")
    for place in (folder, book):
        columns = {"Item": "item", "Each": "price", "Kind": "designation"}
        done = preview(place, listed, columns, "bearing stockist").write()
        assert [r.becomes for r in done.rows] == ["changed", "added"]
    same(read_case(folder), read_case(book))
    with pytest.raises(RepaireconError, match="kept in a case folder"):
        preview(book, listed, {"Item": "item", "Each": "price"}, "bearing stockist").write(keep_columns=True)


def test_a_decided_case_becomes_a_folder(plain: tuple[Path, Path], book: Path) -> None:
    folder = folder_of(book, write=True)
    assert folder == book.with_suffix("")
    same(read_case(plain[0]), read_case(folder))
    assert folder_of(book, write=True) == folder  # the same once more
    (folder / "case.toml").write_text("changed by hand", encoding="utf-8")
    with pytest.raises(RepaireconError, match="there already"):
        folder_of(book, write=True)
