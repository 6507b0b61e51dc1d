"""Bills added up and taken off by hand; what the inputs of work are called."""

from __future__ import annotations

from pathlib import Path

from repairecon import read_case
from repairecon.buying.inputs import Product
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.rebuild_or_buy.work import Bill

DATA = Path(__file__).resolve().parents[2] / "data"
PRICE, WAIT, FEE = Product((0,)), Product((1,)), Product((0, 2))


def test_a_bill_less_another() -> None:
    whole, part = Bill(), Bill()
    whole.pay(PRICE, 5.0)
    whole.pay(PRICE, 1.5)
    whole.work(WAIT)
    whole.take(WAIT)
    part.pay(PRICE, 2.0)
    part.pay(FEE)
    part.take(WAIT)
    left = whole.minus(part)
    cash, hours, days = range(3)
    assert left == {(cash, PRICE): 4.5, (cash, FEE): -1.0, (hours, WAIT): 1.0}
    assert whole == {(cash, PRICE): 6.5, (hours, WAIT): 1.0, (days, WAIT): 1.0}  # as it was


def test_what_the_inputs_of_work_are_called() -> None:
    names = {"task hours": "hours for ", "task cost": "cost of ", "outcome hours": "extra hours, ",
             "outcome cost": "outside work, ", "outcome days": "extra days, "}  # fmt: skip
    seen = set()
    for folder in ("windlass", "alternator"):
        case = read_case(DATA / folder)
        for x in Model(case, grow(case), {}).inputs:
            kind = x.key.partition(":")[0]
            if kind in names:
                seen.add(kind)
                assert x.label.startswith(names[kind]), x
    assert len(seen) >= 4
