"""carriage.csv: bands that cannot be are told with their row. Figures are invented."""

from __future__ import annotations

import pytest
from quote_cases import case_of, write_rows

import repairecon
from repairecon.records import CaseError, RepaireconError

PART, SELLER = [{"part": "seal"}], [{"supplier": "shop"}]
QUOTE = [{"item": "seal", "supplier": "shop", "quoted_likely": 5, "weight_kg": 0.2}]


def bands(folder, *rows):
    folder.mkdir()
    write_rows(folder / "carriage.csv", [{"supplier": "shop", **row} for row in rows])
    return case_of(folder, PART, SELLER, QUOTE)


@pytest.mark.parametrize(("heavier", "column"), [({"up_to_kg": 5, "quoted_likely": 7}, "quoted_likely"),
                                                 ({"up_to_kg": 1, "quoted_likely": 12}, "up_to_kg")])  # fmt: skip
def test_bands_rise_in_weight_and_in_carriage(tmp_path, heavier, column):
    with pytest.raises(CaseError) as said:
        bands(tmp_path / "case", {"up_to_kg": 1, "quoted_likely": 9}, heavier)
    assert [(f.file, f.row, f.column) for f in said.value.faults] == [("carriage.csv", 3, column)]


def test_bands_whose_means_fall_are_said(tmp_path):
    """Low, likely and high all rise; the means do not: (0 + 4 x 9 + 10)/6 = 7.7, (0 + 11)/2 = 5.5."""
    light = {"up_to_kg": 1, "quoted_low": 0, "quoted_likely": 9, "quoted_high": 10, "quoted_shape": "pert"}
    heavy = {"up_to_kg": 5, "quoted_low": 0, "quoted_likely": 9, "quoted_high": 11, "quoted_shape": "uniform"}
    with pytest.raises(RepaireconError, match="quoted_shape"):
        repairecon.compare_quotes(bands(tmp_path / "case", light, heavy))
