"""A ledger of spares walked unit by unit and in exact fractions, for the tests."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

Row = tuple[int, int, int]
"""Item, quantity (below 0 out), unit cost."""


def walk(rows: list[Row]) -> tuple[list[int], list[int]]:
    """Cost of each row and units left of it, every single unit being a row number in a list, the oldest out first."""
    units: dict[int, list[int]] = {}
    cost, left = [], [0] * len(rows)
    for n, (item, quantity, price) in enumerate(rows):
        here = units.setdefault(item, [])
        if quantity > 0:
            here += [n] * quantity
            left[n] = quantity
            cost.append(quantity * price)
            continue
        out = [here.pop(0) for _ in range(-quantity)]
        for lot in out:
            left[lot] -= 1
        cost.append(-sum(rows[lot][2] for lot in out))
    return cost, left


def average(rows: list[Row]) -> list[Fraction]:
    """Moving average in exact fractions."""
    state: dict[int, tuple[int, Fraction]] = {}
    cost = []
    for item, quantity, price in rows:
        stock, each = state.get(item, (0, Fraction(0)))
        if quantity > 0:
            each = (stock * each + quantity * price) / (stock + quantity)
            cost.append(Fraction(quantity * price))
        else:
            cost.append(quantity * each)
        state[item] = stock + quantity, each
    return cost


@st.composite
def ledgers(draw: st.DrawFn) -> list[Row]:
    """Possible ledgers of up to 25 rows."""
    rows: list[Row] = []
    stock: dict[int, int] = {}
    for _ in range(draw(st.integers(0, 25))):
        item = draw(st.integers(1, 3))
        if draw(st.booleans()) and stock.get(item):
            row = (item, -draw(st.integers(1, stock[item])), 0)
        else:
            row = (item, draw(st.integers(1, 5)), draw(st.integers(0, 999)))
        rows.append(row)
        stock[item] = stock.get(item, 0) + row[1]
    return rows
