"""Bearing data in case.toml: what is read, what is assumed and listed, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from case_makers import GOOD, faults, write

from repairecon.read import read_case
from repairecon.records import Bearing, Range

SECTION = """
[bearing]
dynamic_rating_kn = 14.3
load_kn = [0.6, 0.9, 1.5]
turns_a_minute = 2800
"""
REST = 'kind = "roller"\nbearings = 3\nshape = 1.5\nways = ["NEW, maker", "exchange"]\n'


def folder(tmp_path: Path, section: str) -> Path:
    return write(tmp_path, {**GOOD, "case.toml": GOOD["case.toml"] + section})


def test_all_of_it(tmp_path: Path) -> None:
    bearing = read_case(folder(tmp_path, SECTION + REST)).bearing
    assert bearing is not None
    load = Range(0.6, 0.9, 1.5, source=bearing.load_kn.source)
    assert bearing == Bearing(14.3, load, 2800, "roller", 3, 1.5, ("new, maker", "exchange"))


def test_what_is_not_said_is_assumed_and_listed(tmp_path: Path) -> None:
    case = read_case(folder(tmp_path, SECTION))
    assert case.bearing is not None
    assert (case.bearing.kind, case.bearing.bearings, case.bearing.shape, case.bearing.ways) == ("ball", 2, 1.4, ())
    assert {"bearing_kind", "bearings", "bearing_shape"} <= {a.name for a in case.assumed}
    without = read_case(write(tmp_path / "without", GOOD))
    assert without.bearing is None
    assert not [a.name for a in without.assumed if a.name.startswith("bearing")]


@pytest.mark.parametrize(
    ("old", "new", "key", "wanted"),
    [
        ("dynamic_rating_kn = 14.3\n", "", "dynamic_rating_kn", "from the bearing's table"),
        ("load_kn = [0.6, 0.9, 1.5]\n", "", "load_kn", "a number or [low, likely, high]"),
        ("2800", "0", "turns_a_minute", "more than 0"),
        ("[0.6, 0.9, 1.5]", "8", "load_kn", "at most 7.15 kN"),
        ('"roller"', '"rolller"', "kind", "roller"),
        ("bearings = 3", "bearings = 0", "bearings", "not less than 1"),
        ('"exchange"]', '"exchnge"]', "ways", "exchange"),
        ('["NEW, maker", "exchange"]', '"exchange"', "ways", "a list of ways"),
        ("shape = 1.5", "shap = 1.5", "shap", "shape"),
    ],
)
def test_what_is_refused(tmp_path: Path, old: str, new: str, key: str, wanted: str) -> None:
    (fault,) = faults(folder(tmp_path, (SECTION + REST).replace(old, new, 1)))
    assert (fault.file, fault.column) == ("case.toml", f"bearing.{key}")
    assert wanted in fault.write
