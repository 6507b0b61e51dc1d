"""What is believed before and after counting: chances and rates, in closed form."""

from __future__ import annotations

from math import exp, lgamma

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def dirichlet_update(prior: ArrayLike, counts: ArrayLike, strength: float = 1.0) -> Floats:
    """Pseudo-counts of the outcomes of an event once some have been seen.

    Parameters
    ----------
    prior : array (outcomes,)
        Pseudo-counts before: weight times chance [jobs].
    counts : array (outcomes,)
        How often each was seen [jobs].
    strength : float
        What one seen job counts for, from 0 (nothing) to 1 (one job) [-]: below 1 for units that are only alike.

    Returns
    -------
    array (outcomes,)
        Pseudo-counts after [jobs].

    Notes
    -----
    ``prior + strength * counts``; with two outcomes this is the beta-binomial update. The order of the jobs
    does not matter, and no counts leave the prior as it is. A strength below 1 is the power prior with a fixed power.
    ValueError for a negative pseudo-count, count or strength, and for pseudo-counts that are all nought.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18 (conjugate priors). J. G. Ibrahim, M.-H. Chen, "Power prior
    distributions for regression models", Statistical Science 15 (2000) 46-60 (from memory).

    Examples
    --------
    >>> dirichlet_update([1, 1, 1], [3, 2, 1]).tolist()
    [4.0, 3.0, 2.0]
    """
    alpha, seen = np.asarray(prior, dtype=float), np.asarray(counts, dtype=float)
    if np.any(alpha < 0.0) or np.any(seen < 0.0) or not 0.0 <= strength <= 1.0:
        raise ValueError("pseudo-counts and counts cannot be below 0, and a strength lies in 0..1")
    after = np.asarray(alpha + strength * seen)
    if not after.sum() > 0.0:
        raise ValueError("neither a prior nor a count: give the chances some weight")
    return after


def dirichlet_mean(alpha: ArrayLike) -> Floats:
    """Chance of each outcome next time.

    Parameters
    ----------
    alpha : array (outcomes,)
        Pseudo-counts [jobs].

    Returns
    -------
    array (outcomes,)
        Chances, which sum to 1 [-].

    Notes
    -----
    ``alpha / sum(alpha)``: the mean of the belief, and the chance that the next job shows each outcome.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18.

    Examples
    --------
    >>> dirichlet_mean([4, 3, 2]).tolist() == [4 / 9, 3 / 9, 2 / 9]
    True
    """
    count = np.asarray(alpha, dtype=float)
    return np.asarray(count / count.sum())


def dirichlet_mode(alpha: ArrayLike) -> Floats:
    """Most believed chances of the outcomes.

    Parameters
    ----------
    alpha : array (outcomes,)
        Pseudo-counts, each above 1 [jobs].

    Returns
    -------
    array (outcomes,)
        Chances [-].

    Notes
    -----
    ``(alpha - 1) / (sum(alpha) - outcomes)``. ValueError where a pseudo-count is 1 or less: the peak is then at
    the edge or not single.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18 (140 heads of 250).

    Examples
    --------
    >>> float(dirichlet_mode([141, 111])[0])
    0.56
    """
    count = np.asarray(alpha, dtype=float)
    if np.any(count <= 1.0):
        raise ValueError("a single peak inside needs pseudo-counts above 1")
    return np.asarray((count - 1.0) / (count.sum() - len(count)))


def chance_interval(happened: float, not_happened: float, confidence: float = 0.8) -> tuple[float, float]:
    """Range of a chance with equal belief left out on both sides.

    Parameters
    ----------
    happened : float
        Pseudo-count of the outcome [jobs].
    not_happened : float
        Pseudo-count of all others [jobs].
    confidence : float
        Belief inside [-].

    Returns
    -------
    low, high : float, float
        Ends [-].

    Notes
    -----
    Quantiles of the beta distribution; a pseudo-count of 0 puts both ends at that side's bound.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18.

    Examples
    --------
    >>> low, high = chance_interval(1, 1, 0.8)
    >>> abs(low - 0.1) + abs(high - 0.9) < 1e-12
    True
    """
    from scipy import special

    if happened <= 0.0 or not_happened <= 0.0:
        end = 0.0 if happened <= 0.0 else 1.0
        return end, end
    side = (1.0 - confidence) / 2.0
    ends = special.betaincinv(happened, not_happened, [side, 1.0 - side])
    return float(ends[0]), float(ends[1])


def gamma_poisson_update(shape: float, rate: float, count: float, exposure: float) -> tuple[float, float]:
    """Belief in how often something happens, after some time of watching.

    Parameters
    ----------
    shape : float
        Shape before [-].
    rate : float
        Rate before: the time that stands behind the belief [time].
    count : float
        How often it happened [-].
    exposure : float
        Time watched, units in service added up [time].

    Returns
    -------
    shape, rate : float, float
        Shape [-] and rate [time] after; their quotient is the mean number of times per unit of time.

    Notes
    -----
    ``shape + count``, ``rate + exposure``. Range of use: happenings at a steady rate; wear makes it rise with age.
    ValueError for anything below 0.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18 (World Cup exercise).

    Examples
    --------
    >>> shape, rate = gamma_poisson_update(1.4, 1.0, 1, 11 / 90)
    >>> round(shape / rate, 10)
    2.1386138614
    """
    if min(shape, rate, count, exposure) < 0.0:
        raise ValueError("counts and times cannot be below 0")
    return shape + count, rate + exposure


def rate_interval(shape: float, rate: float, confidence: float = 0.8) -> tuple[float, float]:
    """Range of a rate with equal belief left out on both sides.

    Parameters
    ----------
    shape : float
        Shape of the gamma belief, above 0 [-].
    rate : float
        Its rate, above 0 [time].
    confidence : float
        Belief inside [-].

    Returns
    -------
    low, high : float, float
        Ends [per time].

    Notes
    -----
    Quantiles of the gamma distribution.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18.
    """
    from scipy import special

    side = (1.0 - confidence) / 2.0
    ends = special.gammaincinv(shape, [side, 1.0 - side]) / rate
    return float(ends[0]), float(ends[1])


def odds_update(prior_odds: float, likelihoods: ArrayLike) -> tuple[float, float]:
    """Odds of one cause against another after some findings.

    Parameters
    ----------
    prior_odds : float
        Odds before [-].
    likelihoods : array (findings, 2)
        Chance of each finding under the one cause and under the other [-].

    Returns
    -------
    odds, chance : float, float
        Odds after [-] and the chance of the one cause [-].

    Notes
    -----
    Prior odds times the ratio of the chances of every finding, the findings independent given the cause. Findings
    impossible under the other cause give infinite odds.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 6 (Bayes's rule in odds form).

    Examples
    --------
    >>> odds_update(1.0, [[0.75, 0.5], [0.25, 0.5]])
    (0.75, 0.42857142857142855)
    """
    table = np.asarray(likelihoods, dtype=float).reshape(-1, 2)
    with np.errstate(divide="ignore"):
        odds = prior_odds * float(np.prod(table[:, 0])) / np.float64(np.prod(table[:, 1]))
    return float(odds), 1.0 if np.isinf(odds) else float(odds / (1.0 + odds))


def multinomial_chance(counts: ArrayLike, chances: ArrayLike) -> float:
    """Chance of just these counts, were the chances right.

    Parameters
    ----------
    counts : array (outcomes,)
        How often each outcome was seen, whole numbers [-].
    chances : array (outcomes,)
        Chance of each [-].

    Returns
    -------
    float
        Chance [-].

    Notes
    -----
    ``n! / prod(k!) * prod(p**k)``, by logarithms; with two outcomes the binomial chance. Counts of an outcome
    of chance 0 have chance 0.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18 (Lions and Tigers and Bears).

    Examples
    --------
    >>> abs(multinomial_chance([3, 2, 1], [0.4, 0.3, 0.3]) - 0.10368) < 1e-12
    True
    """
    seen = np.asarray(counts, dtype=float)
    chance = np.asarray(chances, dtype=float)
    if np.any((chance <= 0.0) & (seen > 0.0)):
        return 0.0
    inside = seen > 0.0
    total = lgamma(seen.sum() + 1.0) - sum(lgamma(k + 1.0) for k in seen)
    return exp(total + float(np.sum(seen[inside] * np.log(chance[inside]))))


def at_least(happened: int, of: int, chance: float) -> float:
    """Chance that something happens so many times or more.

    Parameters
    ----------
    happened : int
        Times [-].
    of : int
        Trials [-].
    chance : float
        Chance at each [-].

    Returns
    -------
    float
        Chance [-].

    Notes
    -----
    Upper tail of the binomial distribution, by the incomplete beta function.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 4 (the Euro problem: 140 heads or more of 250).

    Examples
    --------
    >>> round(at_least(140, 250, 0.5), 14)
    0.03321057562002
    """
    from scipy import special

    if happened <= 0:
        return 1.0
    return 0.0 if happened > of else float(special.betainc(happened, of - happened + 1, chance))
