"""What came by orders in actual.csv: counted on, taken back, and never over what the owner wrote."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from repairecon.read.orders import Came, write_receipts
from repairecon.records import CaseError

HEAD = "kind,name,quantity,bought,paid,vat,days,note\n"


def came(pieces: int, paid: str, carriage: str = "0", days: int | None = 3, booked: int = 0) -> Came:
    return Came(pieces=Decimal(pieces), paid=Decimal(paid), carriage=Decimal(carriage), days=days,
                booked=Decimal(booked))  # fmt: skip


def after(folder: Path, rows: str, before: Came, now: Came, part: str = "seal") -> tuple[list[str], list[str]]:
    """The rows of the sheet afterwards, and what is said of it."""
    path = folder / "actual.csv"
    path.write_text(HEAD + rows)
    said = write_receipts(folder, {part: before}, {part: now})
    return path.read_text().splitlines()[1:], said


def test_a_row_counts_on_from_what_came_before(tmp_path: Path) -> None:
    rows = "part,seal,,,,,,planned 2\ncarriage,all,,,,,,\n"
    first, said = after(tmp_path, rows, Came(), came(1, "7.25", "3.1"))
    assert (first, said) == (["part,seal,,1,7.25,,3,planned 2", "carriage,all,,,3.1,,,"], [])
    more = came(3, "21.75", "9.3", days=8)
    (both, _) = after(tmp_path, "\n".join(first) + "\n", came(1, "7.25", "3.1"), more)
    assert both == ["part,seal,,3,21.75,,8,planned 2", "carriage,all,,,9.3,,,"]
    (back, _) = after(tmp_path, "\n".join(both) + "\n", more, Came())
    assert back == ["part,seal,,,,,,planned 2", "carriage,all,,,,,,"]


def test_what_the_owner_paid_in_truth_is_kept(tmp_path: Path) -> None:
    rows, said = after(tmp_path, "part,seal,,1,8,,4,\n", came(1, "7.25"), came(2, "14.5", days=9))
    assert (rows, said) == (["part,seal,,2,15.25,,4,"], [])


OTHERWISE = (
    "part,seal,,2,60,,,", "part,seal,2,,60,,,", "part,seal,,,six,,,", "part,seal,,,60,ex,,", "part,seal,,x,,,,",
)  # fmt: skip


@pytest.mark.parametrize("row", OTHERWISE)
def test_a_row_that_the_owner_wrote_otherwise_stays(tmp_path: Path, row: str) -> None:
    rows, said = after(tmp_path, f"{row}\n", Came(), came(3, "21"))
    assert (rows, len(said)) == ([row], 1)
    assert "seal stays as you wrote it; by the book 3 came" in said[0]


@pytest.mark.parametrize(("row", "bought"), [("part,seal,2,2,60,,,", 3), ("part,seal,2,,60,,,", 3)])
def test_after_the_job_was_closed_what_comes_is_more(tmp_path: Path, row: str, bought: int) -> None:
    rows, _ = after(tmp_path, f"{row}\n", came(0, "0", days=None, booked=2), came(1, "30", booked=2))
    assert rows == [f"part,seal,2,{bought},90,,3,"]


def test_a_unit_that_was_bought_and_a_part_that_the_sheet_lacks(tmp_path: Path) -> None:
    (rows, _) = after(tmp_path, "unit,new,,,,,,\n", Came(), came(1, "400"), "new")
    assert rows == ["unit,new,,,400,,3,"]
    core = "unit,new,,,,,,\nrefund,new,,,,,,\n"
    (rows, said) = after(tmp_path, core, Came(), came(1, "400"), "new")
    assert (rows[0], len(said)) == ("unit,new,,,,,,", 1)
    (rows, _) = after(tmp_path, "unit,new,,,,,,\n", Came(), came(1, "7"))
    assert rows == ["unit,new,,,,,,", "part,seal,,1,7,,3,"]


def test_a_sheet_of_a_spreadsheet_and_one_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "actual.csv").write_text("Kind;Name;Quantity;Bought;Paid;Days\npart;Seal;;1;7.5;3\n")
    write_receipts(tmp_path, {"seal": came(1, "7.5")}, {"seal": came(2, "15")})
    assert (tmp_path / "actual.csv").read_text().splitlines()[1] == "part;Seal;;2;15;3"
    (tmp_path / "actual.csv").write_bytes(b"")
    with pytest.raises(CaseError, match="empty"):
        write_receipts(tmp_path, {}, {"seal": came(1, "7")})
    (tmp_path / "actual.csv").unlink()
    assert write_receipts(tmp_path, {}, {"seal": came(1, "7")}) == []
