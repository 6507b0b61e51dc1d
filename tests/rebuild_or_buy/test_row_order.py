"""The order of rows in the files changes no figure, drawn or exact: it says nothing."""

from __future__ import annotations

import csv
import random
import shutil
from pathlib import Path

import numpy as np
import pytest

from repairecon import read_case, rebuild_or_buy

DATA = Path(__file__).parents[2] / "data"
DRAWS = 2000
FILES = [(f.parent.name, f.name) for case in ("alternator", "windlass") for f in sorted((DATA / case).glob("*.csv"))]


def answer(folder: Path):
    return rebuild_or_buy(read_case(folder), DRAWS)


@pytest.fixture(scope="module")
def as_written():
    return {case: answer(DATA / case) for case in ("alternator", "windlass")}


@pytest.mark.parametrize(("case", "name"), FILES)
def test_rows_in_any_order_give_the_same_figures(tmp_path, as_written, case, name):
    shutil.copytree(DATA / case, tmp_path / case)
    path = tmp_path / case / name
    head, *rows = csv.reader(path.open())
    random.Random(3).shuffle(rows)
    with path.open("w", newline="") as out:
        csv.writer(out, lineterminator="\n").writerows([head, *rows])
    before, after = as_written[case], answer(tmp_path / case)
    was, now = (a.table.sort_index().select_dtypes("number") for a in (before, after))
    np.testing.assert_allclose(now, was[now.columns], rtol=1e-9, atol=1e-9)
    assert (after.advice.do, after.advice.way) == (before.advice.do, before.advice.way)
