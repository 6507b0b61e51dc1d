"""Which input makes how much of the spread of a result."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Product = tuple[float, Sequence[int]]


def variance_shares(
    terms: Sequence[Product], means: ArrayLike, variances: ArrayLike
) -> tuple[float, Floats, Floats]:
    """Variance of a sum of products of independent inputs, and each input's share of it.

    Parameters
    ----------
    terms : sequence of (coefficient, inputs)
        The result is the sum of coefficient times the product of the inputs, given by their places; no
        input twice in a product, no inputs = a constant [unit of the result].
    means : array (inputs,)
        Mean of each input [its unit].
    variances : array (inputs,)
        Variance of each input [its unit, squared].

    Returns
    -------
    variance : float
        Variance of the result [unit of the result, squared].
    first : array (inputs,)
        Share that would go if the input alone were known [-].
    total : array (inputs,)
        Share that would be left if all but the input were known [-].

    Notes
    -----
    Exact, whatever the shapes. With ``x = mean + d`` the result is a sum over sets U of inputs of
    ``b_U`` times the product of their d, ``b_U`` being the coefficients of all terms that hold U times the
    means of their other inputs; U then makes ``b_U**2`` times the product of its variances. First: U is
    the input alone; total: every U with it. Shares are 0 where the result is sure. ValueError for
    an input twice in a product, an unknown input or a variance below 0.

    References
    ----------
    I. M. Sobol', "Sensitivity estimates for nonlinear mathematical models", Mathematical Modelling and
    Computational Experiment 1 (1993) 407-414; A. Saltelli et al., Global Sensitivity Analysis: The Primer
    (2008), ch. 4.

    Examples
    --------
    >>> variance, first, total = variance_shares([(1.0, (0, 1))], [2.0, 3.0], [1.0, 1.0])
    >>> variance, (variance * first).round(6).tolist(), (variance * total).round(6).tolist()
    (14.0, [9.0, 4.0], [10.0, 5.0])
    """
    mean, spread = np.asarray(means, dtype=float), np.asarray(variances, dtype=float)
    if not np.all(spread >= 0.0):
        raise ValueError("a variance cannot be below 0")
    weights: dict[tuple[int, ...], float] = {}
    for coefficient, inputs in terms:
        places = tuple(sorted(int(i) for i in inputs))
        if len(set(places)) < len(places) or any(not 0 <= i < len(mean) for i in places):
            raise ValueError(f"a product takes each known input once, not {tuple(inputs)}")
        for group in _groups(places):
            rest = float(np.prod([mean[i] for i in places if i not in group]))
            weights[group] = weights.get(group, 0.0) + coefficient * rest
    first, total, variance = np.zeros(len(mean)), np.zeros(len(mean)), 0.0
    for group, weight in weights.items():
        part = weight**2 * float(np.prod(spread[list(group)]))
        variance += part
        total[list(group)] += part
        if len(group) == 1:
            first[group[0]] += part
    whole = variance if variance > 0.0 else 1.0
    return variance, first / whole, total / whole


def sobol_indices(a: ArrayLike, b: ArrayLike, ab: ArrayLike) -> tuple[Floats, Floats, Floats, Floats]:
    """Shares of the variance of a result from evaluations at paired draws, with their standard errors.

    Parameters
    ----------
    a, b : array (draws,)
        Result at two independent sets of draws of all inputs [unit of the result].
    ab : array (inputs, draws)
        Result at the first set with the one input taken from the second [unit of the result].

    Returns
    -------
    first, total : array (inputs,)
        Share that would go if the input alone were known, and share left if all but it were [-].
    first_se, total_se : array (inputs,)
        Standard errors [-].

    Notes
    -----
    First: mean of ``b (ab - a)`` over the variance V (Saltelli 2010); total: mean of ``(a - ab)**2 / 2``
    over V (Jansen); results counted from their common mean, V from both sets. Standard errors from the
    spread of each draw's influence on the ratio, for independent draws; with a Sobol sequence they are
    too large. Estimates may fall outside 0..1 by a few of them. Shares are 0 where the result is sure.

    References
    ----------
    A. Saltelli, P. Annoni, I. Azzini, F. Campolongo, M. Ratto, S. Tarantola, "Variance based sensitivity
    analysis of model output", Computer Physics Communications 181 (2010) 259-270, table 2 (b) and (f).

    Examples
    --------
    >>> a, b = [1.0, -1.0, 1.0, -1.0], [1.0, 1.0, -1.0, -1.0]
    >>> first, total, _, _ = sobol_indices(a, b, [b])
    >>> first.tolist(), total.tolist()
    ([1.0], [1.0])
    """
    one, two, mixed = (np.asarray(x, dtype=float) for x in (a, b, ab))
    if one.ndim != 1 or one.shape != two.shape or mixed.shape[1:] != one.shape or len(one) < 2:
        raise ValueError("give two equally long sets of at least 2 results, and one such row an input")
    middle = (one.mean() + two.mean()) / 2.0
    one, two, mixed = one - middle, two - middle, mixed - middle
    square = (one**2 + two**2) / 2.0
    variance = float(square.mean())
    if variance == 0.0:
        nothing = np.zeros(len(mixed))
        return nothing, nothing.copy(), nothing.copy(), nothing.copy()
    first, first_se = _ratio(two * (mixed - one), square, variance)
    total, total_se = _ratio((one - mixed) ** 2 / 2.0, square, variance)
    return first, total, first_se, total_se


def _ratio(parts: Floats, square: Floats, variance: float) -> tuple[Floats, Floats]:
    """Mean of each row over the variance, and the standard error of that ratio."""
    ratio = parts.mean(axis=1) / variance
    influence = (parts - ratio[:, np.newaxis] * square) / variance
    return ratio, influence.std(axis=1, ddof=1) / np.sqrt(len(square))


def _groups(places: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Every set of one or more of the places."""
    return [g for n in range(1, len(places) + 1) for g in combinations(places, n)]
