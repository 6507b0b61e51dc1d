"""The staged choice in plain Python: what stopping after each stage costs, and every policy there is.

Written from what the records mean, on top of the plain walk; nothing of the engine in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from plain_loop import MEANS, PlainCase
from plain_numbers import Bill
from plain_work import NO_END, REMOVAL, Found, at, touches

from repairecon.records import STAGES, Branch, Case, Way

Leaves = list[tuple[float, Found]]
LATER = len(STAGES) - 1


class PlainStages(PlainCase):
    """The plain walk cut off after a stage; ``done`` is the stage that is over (-1: none begun)."""

    def __init__(
        self,
        case: Case,
        allowed: Mapping[str, bool] | None = None,
        done: int = -1,
        known: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(case, allowed)
        self.done, self.cap = done, NO_END
        self.leaves = given(self.leaves, known or {})
        here = [w for w in case.ways if w.kind == "rebuild" and self.open(w)]
        self.way = here[0] if here else None
        self.points = list(range(done, LATER + 1)) if self.way else [done]
        self.aways = [w for w in case.ways if w.kind == "send away" and self.open(w)]
        self.stops = [w for w in self.buys if self.open(w)] + self.aways

    def open(self, way: Way) -> bool:
        return self.allowed.get(way.way, True)

    def end(self, way: Way, found: Found) -> int:
        return min(super().end(way, found), self.cap)

    def as_far_as(self, point: int, found: Found) -> Bill:
        """The rebuild given up after a stage, whatever is bought then left out."""
        if point < 0 or self.way is None:
            return Bill()
        self.cap = point
        try:
            return self.rebuild_here(self.way, found, MEANS, at_leisure=False)
        finally:
            self.cap = NO_END

    def spent(self, point: int, found: Found) -> float:
        """What the stages from now to the end of one cost."""
        return self.money(self.as_far_as(point, found)) - self.money(self.as_far_as(self.done, found))

    def money(self, bill: Bill) -> float:
        return self.total(bill, MEANS)

    def to_the_end(self, found: Found) -> float:
        assert self.way is not None
        whole = self.rebuild_here(self.way, found, MEANS, at_leisure=False)
        return self.money(whole) - self.money(self.as_far_as(self.done, found))

    def sent(self, way: Way, point: int, found: Found) -> Bill:
        """Sent away after a stage: work done and outcomes paid by then are not done again."""

        def paid(row: Branch) -> bool:
            return at(row.seen_at) < point or (row.ends_rebuild and at(row.seen_at) == point)

        bare = {e: r for e, r in found.items() if not (r.seen_at and touches(r, way) and paid(r))}
        ends = {e: r for e, r in found.items() if r.ends_rebuild}
        bill = self.send_away(way, {**bare, **ends}, MEANS)
        for t in self.tasks_of(way):
            if at(t.stage) <= min(point, self.end(way, found)):
                again = Bill()
                self.task(again, MEANS, t)
                bill += again.times(-1.0)
        end = self.end(way, found)
        if end < NO_END:
            bill += self.buy(self.after_the_end(way, found), max(end, self.done), found, MEANS)
        return self.or_instead(way, bill, point, found, MEANS, ())

    def stop(self, way: Way, point: int, found: Found) -> float:
        """Total from now of going on as far as a stage and stopping there by a way."""
        bought = self.sent(way, point, found) if way in self.aways else self.buy(way, point, found, MEANS)
        return self.spent(point, found) + self.money(bought)

    def stops_at(self, point: int) -> list[Way]:
        return [w for w in self.stops if w not in self.aways or point <= max(REMOVAL, self.done)]

    def over(self, point: int, found: Found) -> bool:
        """Whether the rebuild has ended by then, or nobody may rebuild."""
        return self.way is None or self.end(self.way, found) <= point

    def seen(self, point: int, found: Found) -> tuple[str, ...]:
        return tuple(
            self._outcome(found, e) for e, rows in self.rows.items() if rows[0].seen_at and at(rows[0].seen_at) <= point
        )

    def alike(self, point: int, leaves: Leaves) -> list[Leaves]:
        """Leaves sorted by what has been seen at the end of a stage."""
        groups: dict[tuple[str, ...], Leaves] = {}
        for p, found in leaves:
            groups.setdefault(self.seen(point, found), []).append((p, found))
        return list(groups.values())

    def probability(self, found: Found) -> float:
        return sum(p for p, f in self.leaves if f == found)

    def every_policy(self, leaves: Leaves | None = None, k: int = 0) -> list[float]:
        """Expected cost (times the chance of getting there) of each policy for places from point k on."""
        return [sum(costs) for costs in product(*self._by_place(self.leaves if leaves is None else leaves, k))]

    def _by_place(self, leaves: Leaves, k: int) -> Iterator[list[float]]:
        for group in self.alike(self.points[k], leaves):
            point = self.points[k]
            costs = [sum(p * self.stop(w, point, f) for p, f in group) for w in self.stops_at(point)]
            if not any(self.over(point, f) for _, f in group):
                last = k + 1 == len(self.points)
                costs += [sum(p * self.to_the_end(f) for p, f in group)] if last else self.every_policy(group, k + 1)
            yield costs

    def policies(self, leaves: Leaves | None = None, k: int = 0) -> int:
        """How many there are."""
        count = 1
        for group in self.alike(self.points[k], self.leaves if leaves is None else leaves):
            here = len(self.stops_at(self.points[k]))
            if not any(self.over(self.points[k], f) for _, f in group):
                here += self.policies(group, k + 1) if k + 1 < len(self.points) else 1
            count *= here
        return count

    def best(self, leaves: Leaves | None = None, k: int = 0) -> float:
        """The cheapest policy, place by place from the last back."""
        total, point = 0.0, self.points[k]
        for group in self.alike(point, self.leaves if leaves is None else leaves):
            costs = [sum(p * self.stop(w, point, f) for p, f in group) for w in self.stops_at(point)]
            if not any(self.over(point, f) for _, f in group):
                last = k + 1 == len(self.points)
                costs.append(sum(p * self.to_the_end(f) for p, f in group) if last else self.best(group, k + 1))
            total += min(costs)
        return total


def given(leaves: Sequence[tuple[float, Found]], known: Mapping[str, str]) -> Leaves:
    """The leaves that agree with what is known for sure, their chances renewed."""
    like = [(p, f) for p, f in leaves if all(e in f and f[e].outcome == o for e, o in known.items())]
    whole = sum(p for p, _ in like)
    return [(p / whole, f) for p, f in like]
