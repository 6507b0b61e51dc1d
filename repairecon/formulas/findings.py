"""Findings that bear on the leaves of a probability tree, sure or only likely to be right."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

NOT_HAPPENING = -1


def given_findings(chance: ArrayLike, likelihood: ArrayLike) -> tuple[Floats, float]:
    """Chances of the leaves after something has been found, and how likely that finding was.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf before [-].
    likelihood : array (leaves,)
        Chance of finding just this if the leaf is the true one, 0 to 1 [-].

    Returns
    -------
    chance : float array (leaves,)
        Chance of each leaf after [-].
    p_findings : float
        Chance of the finding before it was made [-].

    Notes
    -----
    Bayes' rule: chance' = chance * likelihood / sum(chance * likelihood). Leaves ruled out stay, with
    chance 0. ValueError when the finding is impossible, or a likelihood is outside 0 to 1.

    References
    ----------
    Downey, Think Bayes, 2nd edition (2021), ch. 2.

    Examples
    --------
    >>> after, p = given_findings([0.5, 0.5], [0.75, 0.5])
    >>> after.round(6).tolist(), p
    ([0.6, 0.4], 0.625)
    """
    before, seen = np.asarray(chance, dtype=float), np.asarray(likelihood, dtype=float)
    if before.shape != seen.shape:
        raise ValueError(f"one likelihood a leaf is needed: {before.shape} leaves, {seen.shape} likelihoods")
    if not np.all((seen >= 0) & (seen <= 1)):
        raise ValueError("a likelihood lies between 0 and 1")
    joint = before * seen
    p_findings = float(joint.sum())
    if not p_findings > 0:
        raise ValueError("these findings cannot occur together: their chance is 0")
    return joint / p_findings, p_findings


def finding_likelihood(
    states_column: ArrayLike, outcome: int, p_right: float = 1.0, *, outcomes: int
) -> Floats:
    """How likely the finding "the event shows this outcome" is in each leaf.

    Parameters
    ----------
    states_column : int array (leaves,)
        Outcome of the event in each leaf, -1 where it does not happen [-].
    outcome : int
        The outcome found; -1 for "it did not happen" [-].
    p_right : float
        Chance that the look shows what is the case [-].
    outcomes : int
        Number of outcomes of the event [-].

    Returns
    -------
    float array (leaves,)
        Likelihood of the finding [-].

    Notes
    -----
    Where the event happens a look shows the true outcome with `p_right`, each other outcome with
    (1 - p_right) / (outcomes - 1). Where it does not happen the look shows so with `p_right`, and
    each outcome by mistake with (1 - p_right) / outcomes. Over all findings (-1 included) the
    likelihoods of a leaf sum to 1. An event with a single outcome cannot be misread while it happens.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (tests that may be wrong).

    Examples
    --------
    >>> finding_likelihood([0, 1, 2, -1], 0, p_right=0.8, outcomes=3).round(4).tolist()
    [0.8, 0.1, 0.1, 0.0667]
    """
    state = np.asarray(states_column)
    if not NOT_HAPPENING <= outcome < outcomes:
        raise ValueError(f"outcome {outcome} is not one of the event's {outcomes}")
    if not 0 <= p_right <= 1:
        raise ValueError(f"the chance of being right lies between 0 and 1, not at {p_right}")
    if outcome == NOT_HAPPENING:
        return np.where(state == NOT_HAPPENING, p_right, 0.0)
    right = p_right if outcomes > 1 else 1.0
    mistaken = (1 - p_right) / max(outcomes - 1, 1)
    likelihood = np.where(state == outcome, right, mistaken)
    return np.where(state == NOT_HAPPENING, (1 - p_right) / outcomes, likelihood)


def look_likelihood(states_column: ArrayLike, outcomes: int, p_right: float = 1.0) -> Floats:
    """How likely each showing of a look at one event is, in each leaf.

    Parameters
    ----------
    states_column : int array (leaves,)
        Outcome of the event in each leaf, -1 where it does not happen [-].
    outcomes : int
        Number of outcomes of the event [-].
    p_right : float
        Chance that the look shows what is the case [-].

    Returns
    -------
    float array (leaves, outcomes + 1)
        Likelihood of each showing; the last column is "it did not happen" [-].

    Notes
    -----
    The columns are `finding_likelihood` of each outcome and of -1; each row sums to 1.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (tests that may be wrong).

    Examples
    --------
    >>> look_likelihood([0, 1, -1], 2, p_right=0.75).tolist()
    [[0.75, 0.25, 0.0], [0.25, 0.75, 0.0], [0.125, 0.125, 0.75]]
    """
    showings = [*range(outcomes), NOT_HAPPENING]
    columns = [finding_likelihood(states_column, k, p_right, outcomes=outcomes) for k in showings]
    return np.stack(columns, axis=1)
