"""Nodes that stand for a range against Gauss-Jacobi quadrature and the closed moments."""

from __future__ import annotations

import pytest
from scipy import special

from repairecon.formulas import ranges
from repairecon.formulas.shapes import range_nodes


@pytest.mark.parametrize("count", [1, 2, 5, 9, 20])
def test_nodes_of_a_pert_are_those_of_jacobi(count: int) -> None:
    nodes, weights = range_nodes(10, 25, 60, "pert", count)
    a, b = 1 + 4 * 15 / 50, 1 + 4 * 35 / 50
    x, w = special.roots_jacobi(count, b - 1, a - 1)
    assert nodes == pytest.approx(10 + 50 * (1 + x) / 2, abs=2e-3)
    assert weights == pytest.approx(w / w.sum(), abs=2e-4)
    assert weights @ nodes == pytest.approx(ranges.mean(10, 25, 60), rel=1e-13)


@pytest.mark.parametrize("shape", ["pert", "triangular", "lognormal", "uniform"])
def test_nodes_keep_mean_and_variance(shape: str) -> None:
    nodes, weights = range_nodes(10, 25, 60, shape, 6)
    mean = weights @ nodes
    assert weights.min() > 0.0
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert mean == pytest.approx(ranges.mean(10, 25, 60, shape), rel=1e-10)
    assert weights @ (nodes - mean) ** 2 == pytest.approx(ranges.variance(10, 25, 60, shape), rel=1e-3)


def test_a_sure_number_is_one_node_and_too_many_are_refused() -> None:
    nodes, weights = range_nodes(7, 7, 7, "pert", 5)
    assert (nodes.tolist(), weights.tolist()) == ([7.0], [1.0])
    with pytest.raises(ValueError, match="1 to 20"):
        range_nodes(1, 2, 3, "pert", 21)
