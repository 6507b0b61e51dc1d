"""The smallest cases, of sure numbers, whose answers can be added up by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from plain_loop import PlainCase
from reference_case import branch, case, task, terms, way

from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Case, Part, Range, Source, Task

HERE = Source("small_case.py")


def sure(x: float) -> Range:
    return Range(x, x, x)


def part(name: str, price: float, lead: Range | None, needed: str = "always") -> Part:
    return Part(
        part=name,
        description="",
        quantity=1,
        needed=needed,
        price=sure(price),
        lead_days=lead,
        standard_size="",
        source=HERE,
    )


def days_task(name: str, stage: str, days: float) -> Task:
    return replace(task(name, stage), days=sure(days))


def small(order_parts: str = "after measure", **changes: object) -> Case:
    """A kit of 100 with 10 days to wait; strip and measure 2 days each; new for 500 in 3 days."""
    base = case(
        terms=terms(order_parts=order_parts, cost_lost_day=sure(1), cost_own_hour=1.0, give_up_days=30.0),
        parts=(part("kit", 100, sure(10)),),
        tasks=(
            days_task("strip", "strip", 2),
            days_task("measure", "measure", 2),
            days_task("assemble", "reassembly", 1),
        ),
        branches=(
            branch("casing", "sound", 0.6, "strip"),
            branch("casing", "cracked", 0.4, "strip", ends_rebuild=True),
        ),
        ways=(way("rebuild", "rebuild"), way("new", "new", sure(500), lead_days=sure(3))),
        suppliers=(),
        quotes=(),
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def model_of(made: Case, allowed: dict[str, bool]) -> Model:
    """The engine's model; the plain walk has to agree with it."""
    model = Model(made, grow(made), allowed)
    plain = np.array(PlainCase(made, allowed).expected())
    assert_allclose(model.expected(), plain[:, :3], rtol=1e-6, atol=1e-9)
    return model


def expected(made: Case, **allowed: bool) -> dict[str, NDArray[np.float64]]:
    """Exact (cash, hours, days) by way."""
    model = model_of(made, allowed)
    return dict(zip(model.ways, model.expected(), strict=True))


def by_outcome(made: Case, way_name: str, event: str) -> dict[str, NDArray[np.float64]]:
    """(cash, hours, days) of a way for each outcome of the only event."""
    model = model_of(made, {})
    at, pieces = model.plain.at, model.plain.way(model.ways.index(way_name))
    values = np.array([at.by_leaf(pieces, tuple(unit)) for unit in np.eye(3)])
    return {model.tree.words(k)[event]: values[:, k] for k in range(values.shape[1])}
