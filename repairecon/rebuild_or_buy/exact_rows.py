"""A way's outcome leaf by leaf as sums of independent inputs, every never-branch on its own row.

What :meth:`Model.evaluate` reckons with values is written down here as coefficients.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import ONE, Atom
from repairecon.formulas.shapes import Curve
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.rows import Compiled
from repairecon.rebuild_or_buy.world import NEVER_ENDS
from repairecon.records import RepaireconError

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
REFUSAL = "exact range not available: "
LEFT = 1e-4
"""Chance beyond the ends of a lognormal's grid; its mean is kept."""


@dataclass(frozen=True)
class Path:
    """One way things may go in some leaves: its chance, the forms that add up, and days waited in vain."""

    leaves: Ints
    chance: float = 1.0
    forms: tuple[Compiled, ...] = ()
    wait: float = 0.0

    def also(self, form: Compiled) -> Path:
        """This path with one more form."""
        return replace(self, forms=(*self.forms, form))

    def scaled(self, chance: float, wait: float = 0.0) -> Path:
        """This path as a branch of a chance, after a wait in vain."""
        return replace(self, chance=self.chance * chance, wait=self.wait + wait)


@dataclass(frozen=True)
class Rows:
    """Chance of each row, and its coefficients by atom: of money, and of days; ``atoms`` are canonical.

    ``together``: inputs that one number sets, hours that all go alike.
    """

    chance: Floats
    money: Floats
    days: Floats
    atoms: tuple[Atom, ...]
    together: tuple[int, ...] = ()


def _p_never(model: Model, i: int) -> float:
    return model.inputs[int(str(model.atoms[model.never[i]][1]))].range.likely


def _or_instead(
    model: Model, i: int, own: list[Path], after: int, leaves: Ints, tried: frozenset[int] = frozenset()
) -> list[Path]:
    if i not in model.never:
        return own
    p, wait = _p_never(model, i), model.case.terms.give_up_days
    alternative = next((a for a in model.instead(i, after) if a not in tried), None)
    other = own if alternative is None else _bought(model, alternative, after, leaves, tried)
    return [*(x.scaled(1.0 - p) for x in own), *(x.scaled(p, wait) for x in other)]


def _bought(model: Model, i: int, after: int, leaves: Ints, tried: frozenset[int] = frozenset()) -> list[Path]:
    own = [Path(leaves, forms=(model.bought[i, after],))]
    return _or_instead(model, i, own, after, leaves, tried | {i})


def paths(model: Model, i: int) -> list[Path]:
    """Everything that may come of a way."""
    everywhere, way = np.arange(len(model.world.chance)), model.case.ways[i]
    if i not in model.main:
        return _bought(model, i, model.done, everywhere)
    if way.traits.in_service == "bought":
        found = _bought(model, model.ways.index(way.bought), model.done, everywhere)
    else:
        found = [*_after_the_end(model, i), *_going_on(model, i)]
    found = [p.also(model.main[i]) for p in found]
    return _or_instead(model, i, found, model.done, everywhere) if way.traits.rebuilds == "away" else found


def _after_the_end(model: Model, i: int) -> Iterable[Path]:
    ends, choice = model.ends[i], model.choose(model.leaf_rows(), only=i)[i]
    for stage in np.unique(ends[ends != NEVER_ENDS]):
        for b in np.unique(choice[ends == stage]):
            leaves = np.flatnonzero((ends == stage) & (choice == b))
            yield from _bought(model, int(b), max(int(stage), model.done), leaves)


def _going_on(model: Model, i: int) -> Iterable[Path]:
    leaves, way = np.flatnonzero(model.ends[i] == NEVER_ENDS), model.case.ways[i]
    if way.bought:
        b = model.ways.index(way.bought)
        p = _p_never(model, b) if b in model.never else 0.0
        return [Path(leaves, 1.0 - p, (model.spare[b],)), Path(leaves, p)]
    return [Path(leaves)]


def way_rows(model: Model, i: int, quantity: str) -> Rows:
    """Every row of a way's total or cash."""
    chances, blocks, one = [], [], model.atoms.index(ONE) if ONE in model.atoms else -1
    width = len(model.atoms) + (one < 0)
    for path in paths(model, i):
        block = np.zeros((3, len(path.leaves), width))
        for form in path.forms:
            _add_form(block, form, model.patterns, path.leaves)
        block[2, :, one] += path.wait
        chances.append(model.world.chance[path.leaves] * path.chance)
        blocks.append(block)
    cash, hours, days = np.concatenate(blocks, axis=1)
    chance = np.concatenate(chances)
    atoms, matrix = _canonical(model, (*model.atoms, ONE)[:width])
    if quantity == "cash":
        money, days = cash, np.zeros_like(days)
    else:
        money = cash + model.own_hour * hours
    both = np.concatenate([money @ matrix, days @ matrix], axis=1)
    both[np.abs(both) < 1e-12 * np.abs(both).max(initial=1e-300)] = 0.0
    first, row = same_rows(both)
    both = both[first]
    chance = np.asarray(np.bincount(row, weights=chance), dtype=np.float64)
    alike = model.case.terms.hours_correlation >= 1.0
    together = tuple(i for i, x in enumerate(model.inputs) if alike and x.shared_hours)
    return Rows(chance, both[:, : len(atoms)], both[:, len(atoms) :], atoms, together)


def same_rows(table: Floats) -> tuple[Ints, Ints]:
    """First of each kind of row, and the kind of every row."""
    kinds: dict[bytes, int] = {}
    row = [kinds.setdefault(r.tobytes(), len(kinds)) for r in table + 0.0]  # -0.0 is 0.0
    first = np.zeros(len(kinds), dtype=np.intp)
    first[row[::-1]] = np.arange(len(row))[::-1]
    return first, np.array(row, dtype=np.intp)


def _add_form(block: Floats, form: Compiled, patterns: Floats, leaves: Ints) -> None:
    for out, terms in zip(block, form.terms, strict=True):
        for pattern, atoms, scales in terms:
            shape = 1.0 if pattern < 0 else patterns[pattern][leaves][:, None]
            out[:, list(atoms)] += shape * np.asarray(scales)


def _canonical(model: Model, atoms: Sequence[Atom]) -> tuple[tuple[Atom, ...], Floats]:
    """Atoms without sure inputs and idle waits, and what each old atom is in them."""
    index: dict[Atom, int] = {ONE: 0}
    places = []
    for atom in atoms:
        plain, factor = _plain(model, atom)
        places.append((index.setdefault(plain, len(index)), factor))
    matrix = np.zeros((len(atoms), len(index)))
    for k, (place, factor) in enumerate(places):
        matrix[k, place] = factor
    return tuple(index), matrix


def _sure(model: Model, i: int) -> bool:
    x = model.inputs[i]
    return x.range.sure and not (x.is_chance and 0.0 < x.range.likely < 1.0)


def _plain(model: Model, atom: Atom) -> tuple[Atom, float]:
    if atom == ONE:
        return ONE, 1.0
    if atom[0] == "*":
        inputs = [int(str(i)) for i in atom[1:]]
        factor = float(np.prod([model.inputs[i].range.likely for i in inputs if _sure(model, i)]))
        rest = tuple(i for i in inputs if not _sure(model, i))
        if len(rest) > 2 or len(set(rest)) < len(rest):
            raise RepaireconError(f"{REFUSAL}a product of {', '.join(model.inputs[i].label for i in rest)}")
        return (("*", *rest), factor) if rest else (ONE, factor)
    waits = {int(i): reach_of(model, int(i)) for i in atom[1]}  # type: ignore[attr-defined]
    floor = float(sum(k * model.inputs[i].mean for i, k in atom[2]))  # type: ignore[attr-defined]
    floor = max([floor, *(low for low, _ in waits.values())])
    left = tuple(sorted(i for i, (_, high) in waits.items() if high > floor))
    if not left:
        return ONE, floor
    if len(left) == 1 and waits[left[0]][0] >= floor:
        return ("*", left[0]), 1.0
    return ("max", left, floor), 1.0


def reach_of(model: Model, i: int) -> tuple[float, float]:
    """Lowest and highest value of an input on a grid; a lognormal is cut where little is left."""
    r = model.inputs[i].range
    if model.inputs[i].is_chance:
        return 0.0, 1.0
    if r.shape == "lognormal" and r.low < r.high:
        unit, tail = Curve.of(r.low, r.likely, r.high, r.shape), np.array([LEFT])
        ends = np.concatenate([unit.unit.quantile(tail), unit.unit.top_quantile(tail)])
        return float(unit.start + unit.scale * ends[0]), float(unit.start + unit.scale * ends[1])
    return r.low, r.high
