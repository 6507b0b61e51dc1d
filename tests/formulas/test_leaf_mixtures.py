"""Mixtures over leaves against the leaves one by one."""


import numpy as np
import pytest
from sum_makers import MIXED_SUM

from repairecon.formulas import convolve, ranges


def leaves_by_hand(rng, leaves, terms):
    uses = rng.random((leaves, len(terms))) < 0.6
    uses[:, [0, 2]] = True
    uses[:, 1] = uses[:, 3]  # always together
    chance = rng.dirichlet(np.ones(leaves))
    chance[0] = 0.0
    return chance / chance.sum(), uses


@pytest.mark.parametrize("leaves", [1, 2, 17, 90])
def test_mixture_is_the_mixture_of_sums(leaves: int) -> None:
    rng = np.random.default_rng(leaves)
    terms = [*MIXED_SUM[:7], (1.0, 13.7), (0.4, 22.0), (-1.0, 3, 4, 5, "pert")]
    step, size, first = 0.25, 4096, -1000
    chance, uses = leaves_by_hand(rng, leaves + 1, terms)
    spectra = convolve.term_spectra(terms, step, size)
    mixed = convolve.mix_leaves(convolve.plan_leaves(chance, uses), spectra)
    ours = convolve.spectrum_masses(mixed, first, size)
    x = first * step + step * np.arange(size)
    edges = x[::64] + step / 2
    expected = np.zeros(len(edges))
    for p, used in zip(chance, uses, strict=True):
        if p > 0:
            leaf = convolve.sum_distribution([t for t, u in zip(terms, used, strict=True) if u], step, size)
            expected += p * convolve.chance_up_to(*leaf, edges)
    assert ours.sum() == pytest.approx(1.0, abs=1e-12)
    assert np.cumsum(ours)[::64] == pytest.approx(expected, abs=2e-4)  # 13.7 lies between two points
    slow = convolve.mix_spectra(chance, [np.prod(spectra[used], axis=0) for used in uses])
    assert slow[: len(mixed)] == pytest.approx(mixed, abs=1e-13)
    assert np.abs(slow[len(mixed) :]).max(initial=0.0) < 1e-12


def test_mixture_mean_is_exact() -> None:
    rng = np.random.default_rng(2)
    terms = [*MIXED_SUM, (1.0, 13.7), (0.4, 22.0)]
    chance, uses = leaves_by_hand(rng, 40, terms)
    mixed = convolve.mix_leaves(convolve.plan_leaves(chance, uses), convolve.term_spectra(terms, 0.25, 4096))
    masses = convolve.spectrum_masses(mixed, -1000, 4096)
    means = [t[0] * (ranges.mean(*t[1:]) if len(t) > 2 else t[1]) for t in terms]
    exact = chance @ uses @ np.array(means)
    assert masses @ (-250 + 0.25 * np.arange(4096)) == pytest.approx(exact, abs=1e-9)


def test_more_terms_than_bits_and_no_common_term() -> None:
    rng = np.random.default_rng(3)
    chance, uses = rng.dirichlet(np.ones(30)), rng.random((30, 70)) < 0.5
    terms = [(float(p), float(v)) for p, v in zip(rng.random(70), rng.integers(1, 9, 70), strict=True)]
    spectra = convolve.term_spectra(terms, 1.0, 1024)
    mixed = convolve.mix_leaves(convolve.plan_leaves(chance, uses), spectra)
    slow = convolve.mix_spectra(chance, [np.prod(spectra[used], axis=0) for used in uses])
    assert mixed == pytest.approx(slow, abs=1e-12)


def test_spectra_that_hang_on_values_are_mixed_value_by_value() -> None:
    rng = np.random.default_rng(4)
    chance, uses = rng.dirichlet(np.ones(25)), rng.random((25, 9)) < 0.5
    uses[:, 4] = True
    shapes = [(1, 1), (3, 1), (1, 5), (3, 5), (3, 1), (1, 1), (1, 5), (3, 5), (1, 1)]
    spectra = [rng.uniform(-1, 1, (*s, 900)) + 1j * rng.uniform(-1, 1, (*s, 900)) for s in shapes]
    mixed = convolve.mix_leaves(convolve.plan_leaves(chance, uses, [a * b for a, b in shapes]), spectra)
    for i in range(3):
        for j in range(5):
            rows = np.array([s[min(i, len(s) - 1), min(j, s.shape[1] - 1)] for s in spectra])
            slow = convolve.mix_spectra(chance, [np.prod(rows[used], axis=0) for used in uses])
            assert mixed[i, j] == pytest.approx(slow, abs=1e-12)
