"""Random probability trees for the tests, and a slow plain-Python reading of what they mean."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from repairecon.formulas import tree as tree_formulas

# Shenoy, Operations Research 40 (1992), section 1, restating Raiffa, Decision Analysis (1968): the oil
# wildcatter, thousands of dollars. Net payoffs of drilling (Table I) and the cost of the test were read
# there. The prior is from memory of Raiffa; the likelihoods (no, open, closed structure) were seen on
# another public page.
WILDCATTER_PRIOR = [0.5, 0.3, 0.2]
WILDCATTER_DRILL = [-70.0, 50.0, 200.0]
WILDCATTER_TEST = 10.0
WILDCATTER_SHOWS = [[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]]


def wildcatter():
    """Leaves of soil and seismic showing; ways: drill, do not. Gains are costs below zero."""
    events = [[((), WILDCATTER_PRIOR)], [(((0, k),), WILDCATTER_SHOWS[k]) for k in range(3)]]
    states, chance = tree_formulas.enumerate_leaves(events)
    drill = -np.array(WILDCATTER_DRILL)[states[:, 0]]
    return states, chance, np.stack([drill, np.zeros_like(drill)], axis=1)


@dataclass(frozen=True)
class RandomTree:
    events: list[list[tuple[tuple[tuple[int, int], ...], np.ndarray]]]
    outcomes: list[int]
    parents: list[list[int]]
    order: list[int]


def random_tree(rng: np.random.Generator, n_events: int, zeros: bool = False) -> RandomTree:
    """Events in a shuffled order, up to two parents each, some conditions left without a group."""
    order = [int(i) for i in rng.permutation(n_events)]
    outcomes = [int(k) for k in rng.integers(2, 4, n_events)]
    events: list = [None] * n_events
    parents: list = [None] * n_events
    for place, event in enumerate(order):
        count = int(rng.integers(0, min(place, 2) + 1))
        parents[event] = sorted(rng.permutation(order[:place])[:count].astype(int).tolist())
        cases = list(product(*(range(outcomes[p]) for p in parents[event])))
        kept = [case for case in cases if count == 0 or rng.random() < 0.6]
        givens = [tuple(zip(parents[event], case, strict=True)) for case in kept]
        if count and rng.random() < 0.5:
            givens.insert(int(rng.integers(0, len(givens) + 1)), ())
        groups = []
        for given in givens:
            chances = rng.dirichlet(np.ones(outcomes[event]))
            if zeros and rng.random() < 0.3:
                chances = np.eye(outcomes[event])[int(rng.integers(outcomes[event]))]
            groups.append((given, chances))
        # An event without any group would have no outcomes at all.
        events[event] = groups or [((), rng.dirichlet(np.ones(outcomes[event])))]
    return RandomTree(events, outcomes, parents, order)


def chances_given(tree: RandomTree, event: int, state: dict[int, int]) -> list[float]:
    """Chances of the outcomes of an event and, last, of its not happening, the others being as in `state`."""
    otherwise = None
    for given, chances in tree.events[event]:
        if not given:
            otherwise = chances
        elif all(state[other] == outcome for other, outcome in given):
            return [*map(float, chances), 0.0]
    if otherwise is not None:
        return [*map(float, otherwise), 0.0]
    return [0.0] * tree.outcomes[event] + [1.0]


def bayes_network(tree: RandomTree):
    """The same tree as a Bayesian network; the last label of each variable is "does not happen"."""
    import pyagrum as gum

    network = gum.BayesNet()
    fill_network(gum, network, tree)
    return network


def fill_network(gum, network, tree: RandomTree) -> None:
    add = network.addChanceNode if hasattr(network, "addChanceNode") else network.add
    for event, count in enumerate(tree.outcomes):
        add(gum.RangeVariable(f"e{event}", "", 0, count))
    for event, named in enumerate(tree.parents):
        for parent in named:
            network.addArc(f"e{parent}", f"e{event}")
    for event, named in enumerate(tree.parents):
        for case in product(*(range(tree.outcomes[p] + 1) for p in named)):
            state = {p: (k if k < tree.outcomes[p] else -1) for p, k in zip(named, case, strict=True)}
            row = chances_given(tree, event, state)
            if named:
                key = {f"e{p}": k for p, k in zip(named, case, strict=True)}
                network.cpt(f"e{event}")[key] = row
            else:
                network.cpt(f"e{event}").fillWith(row)
