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


def answer(folder: Path):
    return rebuild_or_buy(read_case(folder), DRAWS)


@pytest.mark.parametrize("case", ["alternator", "windlass"])
def test_rows_in_any_order_give_the_same_figures(tmp_path, case):
    shutil.copytree(DATA / case, tmp_path / case)
    for path in (tmp_path / case).glob("*.csv"):
        head, *rows = csv.reader(path.open())
        mixed = random.Random(3).sample(rows, len(rows))
        assert mixed != rows
        with path.open("w", newline="") as out:
            csv.writer(out, lineterminator="\n").writerows([head, *mixed])
    before, after = answer(DATA / case), answer(tmp_path / case)
    was, now = (a.table.sort_index().select_dtypes("number") for a in (before, after))
    np.testing.assert_allclose(now, was[now.columns], rtol=1e-9, atol=1e-9)
    assert (after.advice.do, after.advice.way) == (before.advice.do, before.advice.way)
