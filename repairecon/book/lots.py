"""Which of what came in still lies where: derived from the movements, the oldest taken first."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Step(NamedTuple):
    """What lots need to know of a movement; whole numbers as in the book, 0 for no locker."""

    movement: int
    item: int
    quantity: int
    locker_from: int
    locker_to: int
    undoes: int
    on_date: str
    lot: str


Heap = dict[int, int]
"""Quantity left, by the movement that brought it in."""


class Lots:
    """The lots of every place as movements go by, and those that each movement took or brought."""

    def __init__(self) -> None:
        self.places: dict[tuple[int, int], Heap] = {}
        self.taken: dict[int, Heap] = {}
        self._came: dict[int, tuple[str, int]] = {}
        self._label: dict[int, str] = {}

    def run(self, steps: Iterable[Step]) -> Lots:
        """Take all movements in the order in which they were written."""
        for step in steps:
            self._take(step)
        return self

    def _take(self, step: Step) -> None:
        if not step.quantity:
            return
        if step.locker_from:
            pieces = self._out(step)
        elif step.undoes in self.taken:
            pieces = self.taken[step.undoes]
        else:
            pieces = {step.movement: step.quantity}
            self._came[step.movement] = (step.on_date, step.movement)
            self._label[step.movement] = step.lot
        self.taken[step.movement] = pieces
        if step.locker_to:
            heap = self.places.setdefault((step.item, step.locker_to), {})
            for lot, quantity in pieces.items():
                heap[lot] = heap.get(lot, 0) + quantity

    def _out(self, step: Step) -> Heap:
        """What leaves a place: what is undone, or the lot named, then the oldest."""
        heap = self.places.get((step.item, step.locker_from), {})
        back = self.taken.get(step.undoes, {})
        taken: Heap = {}
        left = step.quantity
        order = (
            list(heap)
            if len(heap) == 1
            else sorted(heap, key=lambda m: (not (step.lot and self._label[m] == step.lot), self._came[m]))
        )
        wanted = [(lot, quantity) for lot, quantity in back.items() if lot in heap]
        for lot, most in [*wanted, *((lot, left) for lot in order)]:
            part = min(left, most, heap.get(lot, 0))
            if part:
                taken[lot] = taken.get(lot, 0) + part
                heap[lot] -= part
                left -= part
                if not heap[lot]:
                    del heap[lot]
        return taken
