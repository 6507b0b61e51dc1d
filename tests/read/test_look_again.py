"""Slips of the pen are remarked on, sane figures are not. The table is our own; its levels are common practice."""

from __future__ import annotations

import csv
import string
from copy import copy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from case_makers import GOOD, THREE, cell, toml, write

from repairecon.read import read_case
from repairecon.read.files import rows_of
from repairecon.read.look_again import RATES, Remark, look_again
from repairecon.records import Case, Range, Source, Way

HERE = Path(__file__).parent
with (HERE / "look_again_cases.csv").open(encoding="utf-8", newline="") as _file:
    ROWS = list(csv.DictReader(_file))
ABSURD = [row for row in ROWS if row["rule"]]
SANE = [row for row in ROWS if not row["rule"]]
CLOCK = "2026-11-29"
DEMOS = ("windlass", "alternator", "starter", "engine_service", "alternator_done")


def changed(row: dict[str, str], folder: Path) -> Case:
    """The good case with one change: a piece of case.toml, or a cell."""
    if row["file"] == "case.toml":
        files = toml(row["row"], row["value"])
    else:
        column = row["column"]
        stem, _, end = column.rpartition("_")
        files = cell(row["file"], int(row["row"]), column, row["value"])
        if column == "chance":  # the outcome beside it takes the rest
            files = cell(row["file"], int(row["row"]) + 1, column, str(1 - float(row["value"])), files)
        if end == "high" and stem:  # the likely value goes along, in the middle of a range that stays in order
            files = _middle(row, stem, files)
    return read_case(write(folder, files), order=True)


def _middle(row: dict[str, str], stem: str, files: dict[str, str]) -> dict[str, str]:
    before = list(csv.DictReader(GOOD[row["file"]].splitlines()))[int(row["row"]) - 2]
    if row["rule"] == "wide price":
        return files
    low, high = float(before[f"{stem}_low"] or 0), float(row["value"])
    if not before[f"{stem}_low"]:
        files = cell(row["file"], int(row["row"]), f"{stem}_low", before[f"{stem}_likely"], files)
    return cell(row["file"], int(row["row"]), f"{stem}_likely", str((max(low, 0.0) + high) / 2), files)


def name_of(row: dict[str, str]) -> str:
    return f"{row['rule'] or 'quiet'}-{row['file']}-{row['column']}-{row['value']}".replace("\n", " ")


def given(record: Case | Way, **attributes: object) -> Any:
    """A copy of a record with these attributes, whether or not its class has such fields yet."""
    changed = copy(record)
    for name, value in attributes.items():
        object.__setattr__(changed, name, value)
    return changed


def loud(case: Case) -> list[Remark]:
    return [r for r in look_again(case, CLOCK) if not r.acknowledged]


def test_the_tables_are_long_enough() -> None:
    assert len(ABSURD) >= 80
    assert len(SANE) >= 40


@pytest.mark.parametrize("row", ABSURD, ids=name_of)
def test_an_absurdity_is_remarked_on(row: dict[str, str], tmp_path: Path) -> None:
    found = loud(changed(row, tmp_path / "case"))
    assert row["rule"] in {r.rule for r in found}, found
    # one slip is no flood
    assert len(found) <= 8
    assert all(r.what[-1] in ".?)" and "{" not in r.what for r in found)


@pytest.mark.parametrize("row", SANE, ids=name_of)
def test_a_sane_figure_is_left_alone(row: dict[str, str], tmp_path: Path) -> None:
    assert loud(changed(row, tmp_path / "case")) == []


@pytest.mark.parametrize("name", DEMOS)
def test_the_demo_folders_are_quiet(name: str) -> None:
    folder = HERE.parent.parent / "data" / name
    assert look_again(read_case(folder, order=name == "engine_service"), "2027-02-24") == ()


STARTER = THREE.replace("smoke shifter", "starter motor")
THREES = [
    ("price_kit = 95", "price_kit = 950", "kit price"),
    ("price_kit = 95", "price_kit = 0.95", "kit price"),
    ("price_kit = 95", "price_kit = 0", "price zero"),
    ("price_kit = 95", "price_kit = 600", "kit price"),
    ("price_new = 640", "price_new = 6.4", "kit price"),
    ("price_new = 640", "price_new = 640000", "price of new"),
    ("wait_days = 6", "wait_days = 600", "wait"),
    ("wait_days = 6", "wait_days = [1, 2, 300]", "wait"),
]


@pytest.mark.parametrize(("old", "new", "rule"), THREES)
def test_three_numbers_alone_are_looked_at(old: str, new: str, rule: str, tmp_path: Path) -> None:
    case = read_case(write(tmp_path / "case", {"case.toml": STARTER.replace(old, new)}))
    assert rule in {r.rule for r in loud(case)}
    assert any(r.could_turn for r in loud(case))


def test_three_sane_numbers_are_left_alone(tmp_path: Path) -> None:
    # ratios of kit to new that owners' accounts give: 0.08 to 0.4 for alternators and starters, kinds/ratios.csv
    for k, kit in enumerate((40, 95, 250)):
        case = read_case(write(tmp_path / str(k), {"case.toml": STARTER.replace("= 95", f"= {kit}")}))
        assert loud(case) == []


EVENTS = [
    (
        "this unit,,to blame,0.02,5,first run,,,,,,,,all\nthis unit,,other,0.98,5,first run,,,,,,,,all\n",
        "chance",
        "wrong way round",
    ),
    ("bought unit,,works,0.2,5,,,,,,,,,buys\nbought unit,,dead on arrival,0.8,5,,,,,,,,,buys\n", "chance", "dead"),
    ("gasket,,torn,1,5,strip,,,,,,,,\n", "chance", "nothing open"),
    ("gasket,,whole,0.5,5,strip,,,,,,,,\ngasket,,torn,0.5,5,strip,,30,,,,,,\n", "hours", "whole rebuild"),
]


@pytest.mark.parametrize(("rows", "rule", "said"), EVENTS)
def test_an_absurd_event_is_remarked_on(rows: str, rule: str, said: str, tmp_path: Path) -> None:
    text = GOOD["events.csv"] + rows
    files = {**GOOD, "case.toml": GOOD["case.toml"].replace("windlass", "winch"), "events.csv": text}
    if "other" in rows:
        lines = text.splitlines()
        marks = [",not_this_unit", *("," if "other" not in line else ",yes" for line in lines[1:])]
        files["events.csv"] = "\n".join(line + mark for line, mark in zip(lines, marks, strict=True)) + "\n"
    found = loud(read_case(write(tmp_path / "case", files), order=True))
    assert any(r.rule == rule and said in r.what for r in found), found


def test_a_sure_outcome_under_a_condition_is_left_alone(tmp_path: Path) -> None:
    sure = "seat,neglect=light,good,0.5,6,strip,,,,,,,,\nseat,neglect=light,worn,0.5,6,strip,,,,,,,,\n"
    text = GOOD["events.csv"] + sure + "seat,neglect=heavy,worn,1,6,strip,,,,,,,,\n"
    assert loud(read_case(write(tmp_path / "case", {**GOOD, "events.csv": text}), order=True)) == []


@pytest.mark.parametrize(
    ("by", "days", "missed", "rule"),
    [("2020-01-01", None, 500, "needed"), ("", 9000, 500, "needed"), ("", 20, 1e7, "needed"), ("", 20, 500, "")],
)
def test_the_date_it_is_needed_by_is_looked_at(
    by: str, days: float | None, missed: float, rule: str, tmp_path: Path
) -> None:
    case = read_case(write(tmp_path / "case", GOOD), order=True)

    cost = Range(low=missed, likely=missed, high=missed)
    needed = SimpleNamespace(by=by, within_days=days, cost_missed=cost)
    found = look_again(given(case, needed=needed), CLOCK)
    assert [r.rule for r in found] == ([rule] if rule else [])


@pytest.mark.parametrize(("fails", "days", "many"), [(0.3, 30.0, 0), (0.0, 30.0, 1), (1.0, 5000.0, 2)])
def test_a_way_for_now_is_looked_at(fails: float, days: float, many: int, tmp_path: Path) -> None:
    case = read_case(write(tmp_path / "case", GOOD), order=True)

    until = Range(low=days, likely=days, high=days, source=Source("ways.csv", 2))
    way = given(replace(case.ways[0], kind="temporary"), p_fails=fails, until_days=until)
    case = replace(case, ways=(way, *case.ways[1:]))
    assert [r.rule for r in loud(case)] == ["carry on"] * many


def test_an_acknowledged_remark_keeps_quiet(tmp_path: Path) -> None:
    row = {"file": "case.toml", "row": "age_years = 12", "column": "", "value": "age_years = 95", "rule": "age"}
    case = changed(row, tmp_path / "case")
    assert [r.rule for r in loud(case)] == ["age"]

    seen = given(case, checked="kit price;  Age ")
    (remark,) = look_again(seen, CLOCK)
    assert remark.acknowledged
    assert remark.rule == "age"


def test_one_row_alone_can_be_acknowledged(tmp_path: Path) -> None:
    files = cell("parts.csv", 3, "quantity", "400", cell("parts.csv", 4, "quantity", "500"))
    case = read_case(write(tmp_path / "case", files), order=True)

    seen = given(case, checked="pieces: circlip")
    assert {r.what.split(":")[0]: r.acknowledged for r in look_again(seen, CLOCK)} == {
        "Circlip": True,
        "Bearing": False,
    }


def test_what_may_turn_the_advice_comes_first(tmp_path: Path) -> None:
    files = cell("looks.csv", 2, "p_right", "1", toml("age_years = 12", "age_years = 1998"))
    found = look_again(read_case(write(tmp_path / "case", files), order=True), CLOCK)
    assert [r.could_turn for r in found] == [True, False]
    assert found[1].where == Source("looks.csv", 2)


def test_what_no_owner_wrote_is_not_looked_at(tmp_path: Path) -> None:
    case = read_case(write(tmp_path / "case", GOOD), order=True)
    wild = Range(low=1.0, likely=9e6, high=9e9, source=Source("kinds/ratios.csv", 3))
    parts = tuple(replace(p, price=wild, source=wild.source) for p in case.parts)
    assert look_again(replace(case, parts=parts), CLOCK) == ()


def test_every_rule_has_its_reason_and_a_sentence() -> None:
    for row in rows_of("look_again.csv"):
        assert row["reason"], row
        assert row["source"], row
        assert row["turns"] in ("yes", "no")
        for level, says in (("below", "says_below"), ("above", "says_above")):
            assert bool(row[level]) == bool(row[says]), row
            fields = {name for _, name, _, _ in string.Formatter().parse(row[says]) if name}
            assert fields <= {"name", "shown", "against", "shown_text", "today"}
        assert row["below"] or row["above"], row
        assert row["per"] in ("", "new", "euro")
        assert row["zero"] in ("", "none")
        assert row["figures"] or not row["per"], row


def test_the_rates_are_those_of_a_stated_day() -> None:
    # euro reference rates of the European Central Bank, 2 January 2024, from memory: the table must hold them
    for code, rate in {"USD": 1.0956, "GBP": 0.86645, "SEK": 11.1425, "JPY": 155.37, "CHF": 0.9305}.items():
        per_euro, within = RATES[code]
        assert per_euro / within < rate < per_euro * within
