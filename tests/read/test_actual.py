"""What an owner writes down of a job: read as it stands, every fault at once."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from repairecon import CaseError, read_case
from repairecon.read.closed import read_actual, sheet
from repairecon.records import DONE_KINDS

DATA = Path(__file__).parents[2] / "data"
HEAD = "kind,name,outcome,quantity,paid,vat,hours,days,by,first_time,from_spares,years,failed,note\n"


@pytest.fixture(scope="module")
def case():
    return read_case(DATA / "alternator", as_decided=True)


def actual(tmp_path: Path, case, text: str):
    (tmp_path / "actual.csv").write_text(HEAD + text, encoding="utf-8")
    return read_actual(tmp_path, case)


def faults(tmp_path: Path, case, text: str) -> list[tuple[int | None, str, str]]:
    with pytest.raises(CaseError) as caught:
        actual(tmp_path, case, text)
    return [(f.row, f.column, f.write) for f in caught.value.faults]


def test_rows_as_written(tmp_path, case) -> None:
    read = actual(
        tmp_path,
        case,
        "way,Rebuild  Here,,,,,,17,,,,,,\n"
        "found,neglect,SALT,,,,,,,,,,,white crust\n"
        "part,rotor,,1,100,ex,,12,,,yes,,,\n"
        "task,put together,,,,,2.5,,yard,no,,,,\n"
        "life,exchange,,,,,,,,,,3.5,yes,\n"
        "total,,,,300,,9,,,,,,,\n",
    )
    assert read.way == "rebuild here"
    assert read.found == (("neglect", "salt"),)
    part, task, life = read.of("part")[0], read.of("task")[0], read.of("life")[0]
    # 21 % is the rate of the demo case
    assert (part.quantity, part.paid, part.days, part.from_spares) == (1.0, pytest.approx(121.0), 12.0, True)
    assert (task.hours, task.by, task.first_time) == (2.5, "yard", False)
    assert (life.years, life.failed) == (3.5, True)
    assert str(life.source) == "actual.csv:6"


def test_blank_rows_tell_nothing(tmp_path, case) -> None:
    read = actual(tmp_path, case, "part,rotor,,,,,,,,,,,,if damaged\nfound,neglect,,,,,,,,,,,,\n")
    assert len(read.rows) == 2
    assert read.of("part") == read.of("found") == ()
    assert read.way == ""


def test_every_fault_at_once(tmp_path, case) -> None:
    found = faults(
        tmp_path,
        case,
        "pert,rotor,,1,100,,,,,,,,,\n"
        "part,roter,,1,100,,,,,,,,,\n"
        "part,rectifier,,,100,,,,,,,,,\n"
        "part,regulator,,1,1.200.50,,,,,,,,,\n"
        "found,neglect,pepper,,,,,,,,,,,\n"
        "found,rectifier,burnt,,,,2,,,,,,,\n"
        "task,put together,,,,,-1,,blacksmith,maybe,,,,\n"
        "task,put  Together,,,,,1,,,,,,,\n"
        "life,exchange,,,,,,,,,,,,\n"
        "way,,,,,,,3,,,,,,\n"
        "first run,,fine,,,,,,,,,,,\n",
    )
    wanted = [
        (2, "kind", "did you mean 'part'?"),
        (3, "name", "did you mean 'rotor'?"),
        (4, "quantity", "write how many pieces were fitted, 0 for none (bought: how many were paid for)"),
        (5, "paid", "write a number such as 12.50"),
        (6, "outcome", "write one of: 'dry', 'salt'"),
        (7, "hours", "leave it blank in a row of kind found, or choose another kind"),
        (8, "by", "write one of: 'owner', 'yard'"),
        (8, "first_time", "write yes or no"),
        (8, "hours", "write not less than 0"),
        (9, "name", "add it to row 8"),
        (10, "failed", "write yes if it failed at that age, no if it still worked"),
        (10, "years", "write the years that it served, the hours that it ran, or both"),
        (11, "name", "name it as the case does"),
        (12, "outcome", "write one of: 'good', 'not good'"),
    ]
    assert found == wanted


def test_no_file_is_a_fault(tmp_path, case) -> None:
    with pytest.raises(CaseError, match="decide first"):
        read_actual(tmp_path, case)


@pytest.mark.parametrize("folder", ["alternator", "windlass", "starter"])
def test_the_sheet_can_be_read_back_and_names_all(tmp_path, folder: str) -> None:
    case = read_case(DATA / folder)
    way = case.ways[0].way
    text = sheet(case, way)
    (tmp_path / "actual.csv").write_text(text, encoding="utf-8")
    read = read_actual(tmp_path, case)
    assert read.way == way
    assert all(not r.filled for r in read.rows)
    names = {(r["kind"], r["name"]) for r in csv.DictReader(io.StringIO(text))}
    assert {("part", p.part) for p in case.parts} <= names
    assert {("task", t.task) for t in case.tasks} <= names
    assert {("found", b.event) for b in case.branches} <= names
    assert {kind for kind, _ in names} <= set(DONE_KINDS)
