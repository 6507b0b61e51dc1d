"""A case's staged choice as an influence diagram of a general-purpose library."""

from __future__ import annotations

from itertools import product
from typing import Any

from case_network import NOT, group_that_holds, labels_of, parents_of, rows_of, states
from plain_stages import PlainStages
from plain_work import Found, at

from repairecon.records import Case

NO_WAY = 1e6
GO_ON = "go on"


def diagram_of(gum: Any, case: Case, plain: PlainStages) -> Any:
    """One decision a stage, made on what has been seen; a node beside it tells whether one is still at it."""
    net, rows = gum.InfluenceDiagram(), rows_of(case)
    _add_events(gum, net, rows)
    choices = [*(w.way for w in plain.stops), GO_ON]
    for k, point in enumerate(plain.points):
        net.addDecisionNode(gum.LabelizedVariable(f"do {k}", "", choices))
        net.addChanceNode(gum.LabelizedVariable(f"still {k}", "", ["no", "yes"]))
        net.addUtilityNode(gum.LabelizedVariable(f"gain {k}", "", ["u"]))
        if k:
            net.addArc(f"still {k - 1}", f"still {k}")
            net.addArc(f"do {k - 1}", f"still {k}")
            for still, choice in product(("no", "yes"), choices):
                yes = float(still == "yes" and choice == GO_ON)
                net.cpt(f"still {k}")[{f"still {k - 1}": still, f"do {k - 1}": choice}] = [1 - yes, yes]
        else:
            net.cpt("still 0").fillWith([0.0, 1.0])
        for event, own in rows.items():
            if own[0].seen_at and at(own[0].seen_at) <= point:
                net.addArc(event, f"do {k}")
        for parent in (f"still {k}", *rows):
            net.addArc(parent, f"gain {k}")
        net.addArc(f"still {k}", f"do {k}")
        net.addArc(f"do {k}", f"gain {k}")
        _add_gains(net, plain, rows, k)
    return net


def _add_events(gum: Any, net: Any, rows: dict[str, Any]) -> None:
    for event, own in rows.items():
        net.addChanceNode(gum.LabelizedVariable(event, "", labels_of(own)))
    for event, own in rows.items():
        for parent in parents_of(own):
            net.addArc(parent, event)
    for event, own in rows.items():
        for state in states(rows, parents_of(own)):
            group = group_that_holds(own, state)
            chances = [sum(r.chance for r in group if r.outcome == label) for label in labels_of(own)]
            chances[-1] = 0.0 if group else 1.0
            if state:
                net.cpt(event)[state] = chances
            else:
                net.cpt(event).fillWith(chances)


def _add_gains(net: Any, plain: PlainStages, rows: dict[str, Any], k: int) -> None:
    """What stopping at a place costs, all from now on; going on costs nothing before the end."""
    point, last = plain.points[k], k + 1 == len(plain.points)
    table = net.utility(f"gain {k}")
    for labels in product(*(labels_of(own) for own in rows.values())):
        state = dict(zip(rows, labels, strict=True))
        found = _found(rows, state)
        known = found is not None and plain.probability(found) > 0
        for still, a in product(("no", "yes"), range(len(plain.stops) + 1)):
            cost = 0.0
            if still == "yes" and known and found is not None:
                cost = _cost(plain, point, a, found, last)
            table[state | {f"still {k}": still, f"do {k}": a}] = -cost


def _cost(plain: PlainStages, point: int, a: int, found: Found, last: bool) -> float:
    if a < len(plain.stops):
        way = plain.stops[a]
        return plain.stop(way, point, found) if way in plain.stops_at(point) else NO_WAY
    if plain.over(point, found):
        return NO_WAY
    return plain.to_the_end(found) if last else 0.0


def _found(rows: dict[str, Any], state: dict[str, str]) -> Found | None:
    """The rows that hold in a state of all events; None where the state cannot be."""
    found: Found = {}
    for event, own in rows.items():
        if state[event] != NOT:
            row = [r for r in group_that_holds(own, state) if r.outcome == state[event]]
            if not row:
                return None
            found[event] = row[0]
    return found
