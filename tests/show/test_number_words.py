"""Numbers as an owner reads them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from repairecon.records import Range
from repairecon.show import words


@pytest.mark.parametrize(
    ("say", "given", "said"),
    [
        ("money", (1240.4, "EUR"), "EUR 1,240"), ("money", (-7.6, "EUR"), "EUR -8"),
        # no more digits than the standard error supports
        ("money", (1234.4, "EUR", 4.0), "EUR 1,230"), ("money", (1240.4, "EUR", 40.0), "EUR 1,200"),
        ("price", (7.5, "GBP"), "GBP 7.50"), ("price", (1240.0, "EUR"), "EUR 1,240"),
        ("chance_words", (0.0,), "0 in 100"), ("chance_words", (0.001,), "under 1 in 100"),
        ("chance_words", (0.374,), "37 in 100"), ("chance_words", (0.999,), "over 99 in 100"),
        ("chance_words", (1.0,), "100 in 100"), ("days_words", (12.2,), "12 days"), ("days_words", (1.2,), "1 day"),
        ("whole", (12.4,), "12"), ("hours_words", (5.3,), "5.5"), ("hours_words", (13.8,), "14"),
        ("number", (0.12345,), "0.123"), ("number", (13.8125,), "13.8"), ("number", (761.42,), "761"),
        ("tenths", (-0.422,), "-0.4"), ("tenths", (12.54,), "12.5"), ("tenths", (14.0,), "14"),
        ("tenths", (-0.04,), "0"), ("measured", (761.4, "EUR"), "EUR 761"), ("measured", (13.8, "days"), "13.8 days"),
        ("measured", (12.0, "EUR a day"), "EUR 12 a day"), ("span", (Range(1.0, 2.0, 5.0),), "1 to 5, likely 2"),
        ("quantity", (Decimal("1.250"), "metre"), "1.25 m"), ("quantity", (12.0,), "12"), ("cents", (71.0916,), 71.09),
        ("rate", (0.025,), "2.5 %"), ("rate", (0.21,), "21 %"), ("share", (0.5,), "50 %"),
    ],
)  # fmt: skip
def test_each_kind_of_number_has_its_words(say: str, given: tuple[Any, ...], said: object) -> None:
    assert getattr(words, say)(*given) == said
