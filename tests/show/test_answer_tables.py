"""Tables out of the plain data of each job: every record of every list in one of them, numbers as they are."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from repairecon.__main__ import main
from repairecon.book.own_list import boat_from_lists
from repairecon.show.answer_tables import ANSWER, answer_tables

DATA = Path(__file__).resolve().parents[2] / "data"


def test_lists_nested_records_and_lists_within() -> None:
    data = {
        "currency": "EUR", "best": "new", "on": "2026-03-31", "worth": {"low": 1.5, "p_short": 0.25}, "empty": [],
        "ways": [{"way": "new", "total": {"mean": 5.0, "p90": 7.0}, "why": ["a", "b"]}, {"way": "old", "days": 3}],
        "boats": [{"boat": "x", "currency": "GBP", "units": [{"unit": "pump", "price_new": 9.0}]}],
    }  # fmt: skip
    tables = answer_tables(data)
    assert tables["ways"] == [
        ["way", "total, mean [EUR]", "total, one in ten above [EUR]", "why", "days [days]"],
        ["new", 5.0, 7.0, "a; b", None],
        ["old", None, None, None, 3],
    ]
    assert tables["boats_units"] == [["of, boat", "currency", "unit", "price new [GBP]"], ["x", "GBP", "pump", 9.0]]
    assert ["on", datetime.date(2026, 3, 31)] in tables[ANSWER]
    assert ["worth, low [EUR]", 1.5] in tables[ANSWER]
    assert ["worth, chance: short [0 to 1]", 0.25] in tables[ANSWER]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A boat of two units and two spares (invented)."""
    place = tmp_path_factory.mktemp("made")
    (place / "units.csv").write_text("unit,price,fitted\nraw water pump,640,2015-05-01\nwinch,350,\n", encoding="utf-8")
    (place / "spares.csv").write_text("part,qty,price\nimpeller,2,18.5\nbelt,1,7\n", encoding="utf-8")
    boat_from_lists(place / "boat", units=place / "units.csv", spares=place / "spares.csv")
    return place / "boat"


def numbers(x: Any) -> Iterator[float]:
    """Every number in plain data, however deep."""
    if isinstance(x, dict):
        x = list(x.values())
    if isinstance(x, list):
        for y in x:
            yield from numbers(y)
    elif isinstance(x, (int, float)) and not isinstance(x, bool):
        yield float(x)


@pytest.mark.parametrize(
    ("job", "place", "more"),
    [
        ("rebuild-or-buy", "starter", ["--draws", "64"]),
        ("compare-quotes", "windlass", []),
        ("spares-aboard", "made/spares.book", []),
        ("after-the-job", "job_log", []),
        ("whole-boat", "made", []),
    ],
)
def test_no_number_of_an_answer_is_lost(
    job: str, place: str, more: list[str], made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    of = made / place.removeprefix("made").lstrip("/") if place.startswith("made") else DATA / place
    assert main([job, str(of), "--json", "--tables", str(tmp_path / "t"), *more]) == 0
    data = json.loads(capsys.readouterr().out)
    book = openpyxl.load_workbook(tmp_path / "t" / "tables.xlsx", read_only=True)
    rows = [c for sheet in book for row in sheet.iter_rows(values_only=True) for c in row]
    written = Counter(round(float(c), 9) for c in rows if isinstance(c, (int, float)) and not isinstance(c, bool))
    in_words = " ".join(str(c) for c in rows if isinstance(c, str))
    lost = Counter(round(x, 9) for x in numbers(data)) - written
    assert [x for x in lost if f"{x:g}" not in in_words and repr(x) not in in_words] == []
    listed = {p.name for p in (tmp_path / "t").iterdir()}
    assert {"answer.csv", "tables.csv", "tables.xlsx"} < listed
    assert len(book.sheetnames) == len(listed) - 2
