"""Lower of cost and net realisable value, by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from repairecon.formulas.write_down import lower_of_cost, net_realisable


def test_expired_rubber_and_resale() -> None:
    # a boat sold: low-tech spares fetch 5 to 15 % of their cost (one account), rubber out of date nothing
    brings = net_realisable([80.0, 80.0, 6.0], 0.15, 2.0, [False, True, False])
    assert brings == pytest.approx([10.0, 0.0, 0.0])
    value, lost = lower_of_cost([1, 2, 4], [80.0, 80.0, 6.0], brings)
    assert value == pytest.approx([10.0, 0.0, 0.0])
    assert lost == pytest.approx([70.0, 160.0, 24.0])
    # an expired one never brings more than a fresh one
    assert net_realisable(100.0, 0.2, 0.0, True, 0.5) == pytest.approx(20.0)


@given(st.lists(st.tuples(st.integers(0, 9), st.floats(0, 500), st.floats(0, 500)), min_size=1, max_size=8))
def test_no_lot_pays_for_another(lots: list[tuple]) -> None:
    quantity, cost, brings = (np.array(c) for c in zip(*lots, strict=True))
    value, lost = lower_of_cost(quantity, cost, brings)
    assert value == pytest.approx([q * (c if c < b else b) for q, c, b in lots])
    assert np.all(lost >= 0)
    assert value + lost == pytest.approx(quantity * cost)
    assert lower_of_cost(quantity, cost, np.inf)[1] == pytest.approx(np.zeros(len(lots)))


@pytest.mark.parametrize(
    "call",
    [
        lambda: net_realisable(10.0, 40.0),
        lambda: net_realisable(-10.0, 0.4),
        lambda: lower_of_cost([-1], [1.0], [1.0]),
        lambda: lower_of_cost([1], [1.0], [np.nan]),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        call()
