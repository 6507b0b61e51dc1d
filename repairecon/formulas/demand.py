"""How many of an item a passage or season will ask for, as chances of 0, 1, 2, ... ; what pooled boats then lack.

Chances stand along the last axis, one item a row: ``demand[..., k]`` is the chance that exactly k are asked
for. A row may stop early; what is missing from 1 is the chance of more than its last number. Means, rates and periods
are 0 or more, priors above 0. ValueError where more than 100,000 may be asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.lives import cdf
from repairecon.formulas.ranges import nodes

Floats = NDArray[np.float64]

TAIL = 1e-12
LONGEST = 100_000
STEPS, MOST_STEPS, LONG = 128, 1024, 12.0
"""Steps through a period of one mean life, the most of them, and mean lives beyond which the age of a unit says nothing
any more."""


def poisson_demand(mean: ArrayLike, most: int | None = None) -> Floats:
    """Chances of 0, 1, 2, ... failures that come by chance at a known rate.

    Parameters
    ----------
    mean, most : float or array, int or None
        Expected failures in the period [-]; last number to give a chance for, None = so many that more have a chance
        below 1e-12 [-].

    Returns
    -------
    array (..., most + 1)
        Chances [-].

    Notes
    -----
    ``exp(-mean) mean**k / k!`` through logarithms; relative error about 1e-13. Worn units fail more regularly. Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.6.19 (Poisson; section from memory).

    >>> poisson_demand(1.0, 2).round(4).tolist()
    [0.3679, 0.3679, 0.1839]
    """
    mu = np.asarray(mean, dtype=float)
    k = np.arange(_last(most, lambda n: scipy.special.pdtrc(n, mu)) + 1)
    logs = scipy.special.xlogy(k, mu[..., np.newaxis]) - mu[..., np.newaxis] - scipy.special.gammaln(k + 1.0)
    return np.asarray(np.exp(logs))


def uncertain_demand(failures_known: float, exposure_known: float, exposure: float, most: int | None = None) -> Floats:
    """Chances of 0, 1, 2, ... failures when the rate itself is only known from so much experience.

    Parameters
    ----------
    failures_known, exposure_known : float
        Gamma range of the rate: failures its knowledge is worth [-], in so many unit-hours, days or seasons [time].
    exposure, most : float, int or None
        The period ahead, times like units [time]; last number, as for :func:`poisson_demand` [-].

    Returns
    -------
    array (most + 1,)
        Chances [-].

    Notes
    -----
    Negative binomial: a Poisson demand mixed over a gamma rate, of mean ``failures_known exposure / exposure_known``.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.5 (gamma prior; section from memory); Gelman et
    al., Bayesian Data Analysis, 3rd ed., section 2.6 (from memory).

    >>> uncertain_demand(1.0, 1.0, 1.0, 2).round(6).tolist()
    [0.5, 0.25, 0.125]
    """
    stays, gone = (x / (exposure_known + exposure) for x in (exposure_known, exposure))
    k = np.arange(_last(most, lambda n: scipy.special.betainc(n + 1.0, failures_known, gone)) + 1)
    logs = scipy.special.gammaln(k + failures_known) - scipy.special.gammaln(failures_known)
    logs = logs - scipy.special.gammaln(k + 1.0) + failures_known * np.log(stays)
    return np.asarray(np.exp(logs + scipy.special.xlog1py(k, -stays)))


def guessed_demand(
    low: float, likely: float, high: float, seasons: float, shape: str, most: int | None = None
) -> Floats:
    """Chances of 0, 1, 2, ... failures from a guess of how often a season.

    Parameters
    ----------
    low, likely, high, seasons : float
        How often a season one fails, 0.2 for once in five [1/season]; length of the period ahead [season].
    shape, most : str, int or None
        pert, triangular, lognormal or uniform; last number, as for :func:`poisson_demand` [-].

    Returns
    -------
    array (most + 1,)
        Chances [-].

    Notes
    -----
    Poisson demand mixed over the range of its mean by :func:`ranges.nodes`; the mean is kept. Source: Johnson, Kemp and
    Kotz, Univariate Discrete Distributions, 3rd ed., section 8.3 (mixed Poisson; from memory).
    """
    rates, weights = nodes(low, likely, high, shape)
    return np.asarray(weights @ poisson_demand(np.maximum(rates, 0.0) * seasons, most))


def gamma_nodes(failures_known: float, exposure_known: float) -> tuple[Floats, Floats]:
    """A few rates and their weights, for means over a gamma range of a rate.

    Parameters
    ----------
    failures_known, exposure_known : float
        As for :func:`uncertain_demand` [-], [time].

    Returns
    -------
    rates, weights : array (32,)
        Rates [1/time] and weights, of sum 1 [-].

    Notes
    -----
    Gauss quadrature, exact for powers of the rate up to 63. Source: Abramowitz and Stegun, Handbook of Mathematical
    Functions, 25.4.45 (generalised Laguerre, from memory).

    >>> rates, weights = gamma_nodes(0.5, 5.0)
    >>> round(float(weights @ rates), 9)
    0.1
    """
    nodes_, weights = scipy.special.roots_genlaguerre(32, failures_known - 1.0)
    return np.asarray(nodes_ / exposure_known), np.asarray(weights / weights.sum())


def worn_demand(
    rates: ArrayLike, weights: ArrayLike, period: float, ages: Sequence[float | None], shapes: Sequence[float]
) -> Floats:
    """Chances of 0, 1, 2, ... failures of units that wear, each as good as new after a failure.

    Parameters
    ----------
    rates, weights : array (rates,)
        Failures of one unit in the long run, 1 / mean life [1/time], with how likely each rate is [-].
    period : float
        The period ahead [time].
    ages, shapes : sequence of float or None, sequence of float
        Time since each unit was renewed, None where nobody knows [time]; shape of its Weibull life [-].

    Returns
    -------
    array (numbers,)
        Chances, so many that more have a chance below 1e-12 [-].

    Notes
    -----
    A renewal process whose first life is what is left at its age, its lives counted out on a grid of the period (error
    about (step / life)^2); a unit of no known age, or over 12 mean lives, by Poisson. All units share one unknown rate.
    Source: D. R. Cox, Renewal Theory (1962), chapter 3 (number of renewals, from memory).

    >>> worn_demand([0.2], [1.0], 5.0, [0.0], [1.0]).round(3)[:3].tolist()  # without wear: Poisson of mean 1
    [0.368, 0.368, 0.184]
    """
    rate, weight = np.asarray(rates, dtype=float), np.asarray(weights, dtype=float)
    counts = weight > TAIL * weight.sum()
    made = []
    for lam in rate[counts].tolist():
        chances, known = np.ones(1), list(zip(ages, shapes, strict=True))
        if unknown := sum(age is None for age in ages) if lam * period <= LONG else len(known):
            chances = poisson_demand(unknown * lam * period)
        for age, shape in known if lam * period <= LONG else ():
            if age is not None:
                chances = np.convolve(chances, _renewed(lam * period, lam * age, shape))
        made.append(chances)
    total = np.zeros(max(map(len, made)))
    for share, chances in zip(weight[counts].tolist(), made, strict=True):
        total[: len(chances)] += share * chances
    enough = int(np.argmax(np.cumsum(total) >= total.sum() * (1.0 - TAIL))) + 1
    return total[:enough]


@lru_cache(maxsize=10_000)
def _renewed(period: float, age: float, shape: float) -> Floats:
    """Chances of 0, 1, 2, ... failures in a period of a unit of an age; both in mean lives."""
    steps = int(np.clip(np.ceil(STEPS * period), STEPS, MOST_STEPS))
    life = 1.0 / scipy.special.gamma(1.0 + 1.0 / shape)
    ends = np.linspace(0.0, period, steps + 1)
    left, next_ = np.diff(cdf(ends, life, shape, age)), np.diff(cdf(ends, life, shape))
    more = [1.0]
    while left.sum() > TAIL:
        more.append(float(left.sum()))
        # middles of two steps add up to the end of a step: half of it falls on either side
        both = np.convolve(left, next_)[:steps]
        left = 0.5 * (both + np.append(0.0, both[:-1]))
    return -np.diff([*more, 0.0])


def p_above(demand: ArrayLike) -> Floats:
    """Chance that more than 0, 1, 2, ... are asked for.

    Parameters
    ----------
    demand : array (..., numbers)
        Chances of 0, 1, 2, ... [-].

    Returns
    -------
    array (..., numbers)
        Chance of more than each [-]; the last one is what is missing from 1.

    Notes
    -----
    Added from the far end, so small chances keep their digits. Common practice, no source.
    """
    chances = np.asarray(demand, dtype=float)
    rest = np.maximum(1.0 - chances.sum(axis=-1, keepdims=True), 0.0)
    rest = np.where(rest < 1e-14, 0.0, rest)
    behind = np.cumsum(chances[..., :0:-1], axis=-1)[..., ::-1] + rest
    return np.asarray(np.concatenate([behind, rest], axis=-1))


def stock_for(demand: ArrayLike, assurance: float) -> int:
    """Least stock that is enough with a stated chance.

    Parameters
    ----------
    demand, assurance : array (numbers,), float
        Chances of 0, 1, 2, ... [-]; chance wanted that nothing is short, below 1 [-].

    Returns
    -------
    int
        Stock [-].

    Notes
    -----
    Smallest s with ``P(D <= s) >= assurance``; 1e-12 is forgiven, so that an assurance that is itself such a chance is
    met by its own s. The chances reach further than the assurance. Source: MIL-HDBK-338B, spares for a stated assurance
    (section from memory).
    """
    return int((p_above(demand) <= 1.0 - assurance + 1e-12).argmax())


def _last(most: int | None, chance_above: Callable[[int], Floats]) -> int:
    """The number asked for, or the least (by doubling, then halving) that little enough lies above."""
    if most is not None:
        return most
    high = 1
    while np.any(chance_above(high) > TAIL):
        high *= 2
        if high > LONGEST:
            raise ValueError(f"more than {LONGEST} may be asked for: give the last number wanted")
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if np.any(chance_above(middle) > TAIL) else (low, middle)
    return high


def pooled_lacks(
    at_base: int, aboard: ArrayLike, rates: ArrayLike, order_years: float, bring_years: ArrayLike
) -> tuple[Floats, Floats]:
    """What each boat lacks with a stock at the base and one aboard of each.

    Parameters
    ----------
    at_base, aboard, rates : int, array of int (B,), array (B,)
        Pieces at the base and aboard each boat [pieces]; failures a year of each boat [1/year].
    order_years, bring_years : float, array (B,)
        Until a piece ordered comes to the base, and to bring one from there to each boat [year].

    Returns
    -------
    lacking, p_without : array (B,), array (B,)
        Expected pieces lacking at a time [pieces], and the chance that a failure finds none aboard [-].

    Notes
    -----
    With demand at random and any wait for the next order the number on order at the base is Poisson (Palm's theorem).
    What the base lacks is spread over the boats as their demands are, each lack a boat's by chance in proportion; to
    that comes what was asked while a piece is brought. Exact for failures at random, first come first served and even
    times of bringing. A failure finds none aboard if as many are on their way as are held. Source: C. C. Sherbrooke,
    "METRIC: a multi-echelon technique for recoverable item control", Operations Research 16 (1968) 122-141; S. C.
    Graves, "A multi-echelon inventory model for a repairable item with one-for-one replenishment", Management Science
    31 (1985) 1247-1256 (both from memory).

    >>> lacking, p = pooled_lacks(0, [0, 0], [0.5, 0.5], 0.1, [0.02, 0.02])
    >>> lacking.round(3).tolist(), p.round(9).tolist()
    ([0.06, 0.06], [1.0, 1.0])
    """
    rate, held = np.asarray(rates, dtype=float), np.asarray(aboard, dtype=int)
    bring, demand = np.broadcast_to(np.asarray(bring_years, dtype=float), rate.shape), float(rate.sum())
    most = int(scipy.stats.poisson.isf(TAIL, max(demand * (order_years + float(bring.max())), TAIL))) + 1
    at_most = np.arange(most + at_base + 1)
    lack = np.zeros(most + 1)  # chances of 0, 1, ... pieces lacking at the base
    np.add.at(lack, np.maximum(at_most - at_base, 0), scipy.stats.poisson.pmf(at_most, demand * order_years))
    number = np.arange(most + 1)
    lacking, without = np.zeros(len(rate)), np.ones(len(rate))
    for b, r in enumerate(rate):
        share = r / demand if demand > 0 else 0.0
        of_boat = lack @ scipy.stats.binom.pmf(number[None, :], number[:, None], share)
        on_its_way = np.convolve(of_boat, scipy.stats.poisson.pmf(number, r * bring[b]))
        pieces = np.arange(len(on_its_way))
        lacking[b] = np.maximum(pieces - held[b], 0) @ on_its_way
        without[b] = on_its_way[held[b] :].sum()
    return lacking, without


def best_split(
    most: int, rates: Sequence[float], waits: tuple[float, Sequence[float]], cost_lacking: Sequence[float],
    cost_each: Sequence[float],
) -> list[tuple[int, tuple[int, ...], float]]:  # fmt: skip
    """The cheapest split of 0, 1, ... pieces over the base and the boats.

    Parameters
    ----------
    most, rates : int, sequence (B,)
        Pieces up to which it is worked out [pieces]; failures a year of each boat [1/year].
    waits : tuple
        Years until a piece ordered comes to the base, and to bring one to each boat [year].
    cost_lacking, cost_each : sequences (B,)
        Of a year without, and of each failure that finds none aboard [home money/year], [home money].

    Returns
    -------
    list of (at base, aboard, cost)
        A row a number of pieces: how they lie, and what lacking them is expected to cost [home money/year].

    Notes
    -----
    For each number at the base the rest goes aboard one by one where it spares most, which is best as a boat's cost
    falls ever slower with its stock; then the best number at the base is taken. Source: Graves (1985), as for
    :func:`pooled_lacks` (from memory); the split is ours, held against every one tried.
    """
    rate, lacking = np.asarray(rates, dtype=float), np.asarray(cost_lacking, dtype=float)
    each, boats = np.asarray(cost_each, dtype=float), len(rates)

    def costs(at_base: int, aboard: Sequence[int]) -> Floats:
        lacks, without = pooled_lacks(at_base, aboard, rate, *waits)
        return np.asarray(lacks * lacking + without * rate * each)

    best: list[tuple[int, tuple[int, ...], float]] = [(0, (0,) * boats, np.inf)] * (most + 1)
    for at_base in range(most + 1):
        ladder = np.array([costs(at_base, [n] * boats) for n in range(most - at_base + 2)])
        aboard = [0] * boats
        for pieces in range(at_base, most + 1):
            total = float(sum(ladder[n, b] for b, n in enumerate(aboard)))
            if total < best[pieces][2] - 1e-12:
                best[pieces] = (at_base, tuple(aboard), total)
            gains = [ladder[n, b] - ladder[n + 1, b] for b, n in enumerate(aboard)]
            aboard[int(np.argmax(gains))] += 1
    return best
