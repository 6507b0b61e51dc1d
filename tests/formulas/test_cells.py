"""Conditional means by steps of chance, against quadrature and the closed-form mean."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, special, stats

from repairecon.formulas.cells import cell_means

RANGES = [(0.0, 0.0, 1.0), (0.0, 0.5, 1.0), (10.0, 11.0, 60.0), (3.0, 60.0, 60.0), (-5.0, 1.0, 2.0)]


def beta_of(low: float, likely: float, high: float) -> stats.rv_continuous:
    """PERT as scipy's beta; alpha and beta by the usual formula, mean (low + 4 likely + high) / 6."""
    span = high - low
    return stats.beta(1 + 4 * (likely - low) / span, 1 + 4 * (high - likely) / span, loc=low, scale=span)


@pytest.mark.parametrize("three", RANGES)
def test_pert_means_against_quadrature(three):
    edges = np.linspace(0, 1, 4097)
    means = cell_means(edges, *three)
    curve, span = beta_of(*three), three[2] - three[0]
    for k in (0, 1, 7, 500, 2048, 4000, 4094, 4095):
        a, b = curve.ppf(edges[k]), curve.ppf(edges[k + 1])
        exact = integrate.quad(lambda x: x * curve.pdf(x), a, b, epsabs=1e-13)[0] * 4096
        assert means[k] == pytest.approx(exact, abs=1e-6 * span)
    assert (np.diff(means) >= 0).all()


@pytest.mark.parametrize("three", RANGES)
def test_weighted_means_give_the_closed_form_mean(three):
    low, likely, high = three
    edges = special.ndtr(np.concatenate([[-np.inf], np.linspace(-4, 4, 101), [np.inf]]))
    means = cell_means(edges, *three)
    assert means @ np.diff(edges) == pytest.approx((low + 4 * likely + high) / 6, rel=1e-12, abs=1e-12)


def test_other_shapes_and_sure_numbers():
    edges = np.linspace(0, 1, 9)
    triangle = stats.triang(0.25, loc=2, scale=8)
    means = cell_means(edges, 2, 4, 10, "triangular")
    exact = [
        integrate.quad(lambda x: x * triangle.pdf(x), *triangle.ppf([a, b]))[0] * 8
        for a, b in pairwise(edges)
    ]
    np.testing.assert_allclose(means, exact, rtol=1e-8)
    assert cell_means(edges, 7, 7, 7).tolist() == [7.0] * 8
    assert np.isnan(cell_means([0, 0.5, 0.5, 1], 1, 2, 3)[1])
