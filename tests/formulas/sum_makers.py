"""Terms of a mixed sum, draws of them by numpy's own generators, and how far a sample may be off."""

import math

import numpy as np
from scipy import stats

from repairecon.formulas import convolve

SHAPES = ("pert", "triangular", "lognormal", "uniform")

MIXED_SUM = [
    (1.0, 60, 80, 130, "pert"),
    (2.0, 10, 12, 20, "pert"),
    (-1.0, 20, 40, 50, "pert"),
    (6.5, 3, 4, 9, "triangular"),
    (1.0, 25, 30, 42, "lognormal"),
    (-0.5, 25, 30, 42, "lognormal"),
    (1.0, 5, 5, 30, "uniform"),
    (1.0, 100, 100, 100, "pert"),
]


def points(start, step, masses):
    return start + step * np.arange(len(masses))


def mean_and_variance(start, step, masses):
    x = points(start, step, masses)
    mean = masses @ x
    return mean, masses @ (x - mean) ** 2


def drawn(rng, n, coefficient, low, likely, high, shape):
    """Draws by numpy's own generators."""
    if shape == "pert":
        a = 1 + 4 * (likely - low) / (high - low)
        return coefficient * (low + (high - low) * rng.beta(a, 6 - a, n))
    if shape == "triangular":
        return coefficient * rng.triangular(low, likely, high, n)
    if shape == "uniform":
        return coefficient * rng.uniform(low, high, n)
    below, above = likely - low, high - likely
    sigma = math.log(above / below) / stats.norm.ppf(0.9)
    scale = below * above / (above - below)
    return coefficient * (likely - scale + scale * rng.lognormal(0.0, sigma, n))


def largest_gap(distribution, sample):
    """Largest gap between the cdf of a distribution on a grid and that of a sample (Kolmogorov)."""
    x = np.sort(sample)
    ours = convolve.chance_up_to(*distribution, x)
    k = np.arange(len(x))
    return max(np.max(ours - k / len(x)), np.max((k + 1) / len(x) - ours))


def dkw(n, chance_of_more=1e-6):
    """Gap that a sample of n exceeds with so little chance (Dvoretzky, Kiefer, Wolfowitz; Massart)."""
    return math.sqrt(math.log(2 / chance_of_more) / (2 * n))
