"""A ledger of spares walked unit by unit, for the tests: every single unit is an object in a list."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from hypothesis import strategies as st


@dataclass
class Unit:
    """One unit aboard."""

    lot: int
    cost: int
    place: int


@dataclass
class Boat:
    """All units of every item, and what each row cost."""

    units: dict[int, list[Unit]] = field(default_factory=dict)
    gone: dict[int, list[Unit]] = field(default_factory=dict)
    last_paid: dict[int, int] = field(default_factory=dict)
    cost: list[int] = field(default_factory=list)

    def take(self, item: int, count: int, place: int, lot: int) -> list[Unit]:
        """The oldest units in that locker, one after the other."""
        out = []
        for _ in range(count):
            here = [u for u in self.units[item] if u.place == place and lot in (-1, u.lot)]
            oldest = min(here, key=lambda u: u.lot)
            self.units[item].remove(oldest)
            out.append(oldest)
        return out

    def step(self, row: tuple) -> None:
        """The next row: item, quantity, unit cost, place, to place, against, counted."""
        item, quantity, price, place, to, against, counted = row
        n, units = len(self.cost), self.units.setdefault(item, [])
        if quantity > 0 and against >= 0:
            back = [self.gone[against].pop() for _ in range(quantity)]
            units.extend(Unit(u.lot, u.cost, place) for u in back)
            self.cost.append(sum(u.cost for u in back))
        elif quantity > 0:
            paid = self.last_paid.get(item, 0) if counted else price
            if not counted:
                self.last_paid[item] = price
            units.extend(Unit(n, paid, place) for _ in range(quantity))
            self.cost.append(quantity * paid)
        else:
            taken = self.take(item, -quantity, place, against)
            if to >= 0:
                units.extend(Unit(u.lot, u.cost, to) for u in taken)
                self.cost.append(0)
            else:
                self.gone[n] = taken
                self.cost.append(-sum(u.cost for u in taken))


def walk(rows: list[tuple]) -> Boat:
    """The boat after all rows."""
    boat = Boat()
    for row in rows:
        boat.step(row)
    return boat


def average(rows: list[tuple[int, int, Fraction]]) -> list[Fraction]:
    """Moving average in exact fractions; rows of (item, quantity, unit cost)."""
    state: dict[int, tuple[int, Fraction]] = {}
    cost = []
    for item, quantity, price in rows:
        stock, each = state.get(item, (0, Fraction(0)))
        if quantity > 0:
            each = (stock * each + quantity * price) / (stock + quantity)
            cost.append(quantity * price)
        else:
            cost.append(quantity * each)
        state[item] = stock + quantity, each
    return cost


@st.composite
def ledgers(draw: st.DrawFn, full: bool = True) -> list[tuple]:
    """Possible ledgers of up to 25 rows; `full` with moves, named lots, returns and counts."""
    rows: list[tuple] = []
    boat = Boat()
    for _ in range(draw(st.integers(0, 25))):
        item, place = draw(st.integers(1, 3)), draw(st.integers(0, 2)) if full else 0
        row = (item, draw(st.integers(1, 5)), draw(st.integers(0, 999)), place, -1, -1, False)
        here = [u for u in boat.units.get(item, []) if u.place == place]
        kind = draw(st.sampled_from(["in", "out", "out"] + ["move", "named", "return", "count"] * full))
        issues = [n for n, gone in boat.gone.items() if gone and rows[n][0] == item]
        if kind in ("out", "move", "named") and here:
            lot = draw(st.sampled_from([u.lot for u in here])) if kind == "named" else -1
            most = sum(lot in (-1, u.lot) for u in here)
            to = draw(st.integers(0, 2)) if kind == "move" else -1
            row = (item, -draw(st.integers(1, most)), 0, place, to, lot, False)
        elif kind == "return" and issues:
            issue = draw(st.sampled_from(issues))
            row = (item, draw(st.integers(1, len(boat.gone[issue]))), 0, place, -1, issue, False)
        elif kind == "count":
            row = (item, row[1], 0, place, -1, -1, True)
        rows.append(row)
        boat.step(row)
    return rows
