"""Questions that a stranger wrote before reading any rule of the room.

data/asked.csv holds wanted, offered, fluid and the verdicts that an honest shop could give; ``why`` names the standard
or the rule of the trade (ISO 15, ISO 355, ABMA, DIN 3760, AS568, JIS B 2401, DIN 471 and 472, DIN 6885, ISO 228, ISO
7840, ISO 8820, EN 12756, IEC 60136; where it names none: common practice, no source). data/measured_asked.csv holds
sizes from a caliper with a part that must be named and parts that must not.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from repairecon.standards import equivalent, which_part

DATA = Path(__file__).parent / "data"


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


ASKED = table("asked.csv")


@pytest.mark.parametrize("wanted", sorted({row["wanted"] for row in ASKED}))
def test_asked(wanted: str) -> None:
    wrong = []
    for row in ASKED:
        if row["wanted"] == wanted:
            got = equivalent(wanted, row["offered"], fluid=row["fluid"])
            if got.verdict not in row["acceptable"].split("|"):
                wrong.append(f"{row['offered']}: {got.verdict}, not {row['acceptable']} ({row['why']}): {got.reasons}")
    assert not wrong, "\n".join(wrong)


def test_the_questions_are_of_both_kinds() -> None:
    honest = sum("same" in row["acceptable"].split("|") for row in ASKED)
    assert honest > 200
    assert len(ASKED) - honest > 200
    assert all(row["why"] for row in ASKED)


def squeezed(name: str) -> str:
    return name.replace(" ", "").casefold()


@pytest.mark.parametrize("row", table("measured_asked.csv"), ids=lambda row: row["measured"])
def test_measured(row: dict[str, str]) -> None:
    found = which_part(row["measured"], row["kind"])
    names = [squeezed(part.designation) for part in found.parts]
    assert found.notes
    if row["one_of"]:
        assert any(squeezed(wanted) in name for wanted in row["one_of"].split(";") for name in names), names
    for name in filter(None, row["none_of"].split(";")):
        assert not any(squeezed(name) in found_name for found_name in names), names


def test_any_two_of_them_have_an_answer() -> None:
    wanted = sorted({row["wanted"] for row in ASKED})
    offered = sorted({row["offered"] for row in ASKED})
    pairs = [*((one, other) for one in wanted for other in offered)]
    for one, other in [*pairs[::151], *(("1204", other) for other in offered)]:
        got = equivalent(one, other)
        assert got.reasons, (one, other)
        # a number of one series is not one of another, whatever stands beside it
        if one == "1204" and "1204" not in other:
            assert got.verdict != "same", other
