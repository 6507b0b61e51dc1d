"""A case's events as a Bayesian network of a general-purpose library."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Any

from repairecon.records import Branch, Case

NOT = "does not happen"


def rows_of(case: Case) -> dict[str, list[Branch]]:
    rows: dict[str, list[Branch]] = {}
    for row in case.branches:
        rows.setdefault(row.event, []).append(row)
    return rows


def labels_of(rows: list[Branch]) -> list[str]:
    return [*dict.fromkeys(r.outcome for r in rows), NOT]


def parents_of(rows: list[Branch]) -> list[str]:
    return list(dict.fromkeys(e for r in rows for e, _ in r.given))


def group_that_holds(rows: list[Branch], state: dict[str, str]) -> list[Branch]:
    special = [r for r in rows if r.given and all(state[e] == o for e, o in r.given)]
    return special or [r for r in rows if not r.given]


def states(rows: dict[str, list[Branch]], parents: list[str]) -> Iterator[dict[str, str]]:
    for labels in product(*(labels_of(rows[p]) for p in parents)):
        yield dict(zip(parents, labels, strict=True))


def network(gum: Any, case: Case) -> Any:
    """One node an event, with a last label for its not happening."""
    net, rows = gum.BayesNet(), rows_of(case)
    for event, own in rows.items():
        net.add(gum.LabelizedVariable(event, event, labels_of(own)))
    for event, own in rows.items():
        for parent in parents_of(own):
            net.addArc(parent, event)
    for event, own in rows.items():
        labels, parents = labels_of(own), parents_of(own)
        for state in states(rows, parents):
            group = group_that_holds(own, state)
            chances = [sum(r.chance for r in group if r.outcome == label) for label in labels]
            if not group:
                chances[-1] = 1.0
            if parents:
                net.cpt(event)[state] = chances
            else:
                net.cpt(event).fillWith(chances)
    return net


def add_certain(gum: Any, net: Any, name: str, parents: dict[str, list[str]], labels: list[str], rule: Any) -> None:
    """A node that follows from its parents by a rule: state -> label."""
    net.add(gum.LabelizedVariable(name, name, labels))
    for parent in parents:
        net.addArc(parent, name)
    for values in product(*parents.values()):
        state = dict(zip(parents, values, strict=True))
        net.cpt(name)[state] = [float(label == rule(state)) for label in labels]
