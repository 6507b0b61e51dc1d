"""Flip values checked by writing them into the case and reckoning it anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from reference_case import case, quotes, span, supplier, task, terms, way
from small_case import part, small, sure
from wide_case import wide

from repairecon.rebuild_or_buy import sensitivity
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import Flip, choice, flips
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Case, Range

ALLOWED = {"second-hand": False}


def model_of(made: Case) -> Model:
    return Model(made, grow(made), ALLOWED)


def totals(model: Model) -> dict[str, float]:
    """Expected totals of the allowed ways."""
    total = model.expected() @ [1.0, model.case.terms.cost_own_hour, model.lost_day]
    return {w: float(t) for w, t, ok in zip(model.ways, total, model.allowed, strict=True) if ok}


def times(r: Range | None, k: float) -> Range | None:
    return r and Range(r.low * k, r.likely * k, r.high * k, r.shape, r.source)


def with_input(made: Case, label: str, k: float) -> Case:
    """The case with one number, named as an owner reads it, times k."""

    def scale(rows, **fields):  # type: ignore[no-untyped-def]
        """Each row with those of its fields scaled whose label this is."""
        new = []
        for row in rows:
            hit = {f: times(getattr(row, f), k) for f, name in fields.items() if name(row) == label}
            new.append(replace(row, **hit))
        return tuple(new)

    def found(b):  # type: ignore[no-untyped-def]
        return f"{b.key} given {'; '.join(f'{e}={o}' for e, o in b.given)}" if b.given else b.key

    t = made.terms
    labour = {by: replace(w, cost_hour=times(w.cost_hour, k)) if label == f"an hour of {by}" else w
              for by, w in t.labour.items()}  # fmt: skip
    new = replace(
        made,
        terms=replace(t, labour=labour),
        parts=scale(
            made.parts,
            price=lambda p: f"price of {p.part}",
            lead_days=lambda p: f"days to wait for {p.part}",
        ),
        tasks=scale(
            made.tasks,
            hours=lambda x: f"hours for {x.task}",
            cost=lambda x: f"cost of {x.task}",
            days=lambda x: f"days for {x.task}",
        ),
        branches=scale(
            made.branches,
            extra_hours=lambda b: f"extra hours, {found(b)}",
            outside_cost=lambda b: f"outside work, {found(b)}",
            extra_days=lambda b: f"extra days, {found(b)}",
        ),
        ways=scale(
            made.ways,
            price=lambda w: f"price of {w.way}",
            lead_days=lambda w: f"days to wait for {w.way}",
            fitting_hours=lambda w: f"fitting hours, {w.way}",
            core_surcharge=lambda w: f"core surcharge, {w.way}",
            core_carriage=lambda w: f"carriage of the old unit, {w.way}",
            strip_charge=lambda w: f"strip charge, {w.way}",
            old_unit_price=lambda w: f"price got for the old unit, {w.way}",
        ),
        suppliers=scale(
            made.suppliers,
            carriage=lambda s: f"carriage of {s.supplier}",
            lead_days=lambda s: f"days to wait for {s.supplier}",
        ),
        quotes=scale(
            made.quotes,
            quoted=lambda q: f"price of {q.item} at {q.supplier}",
            lead_days=lambda q: f"days to wait for {q.item} from {q.supplier}",
        ),
    )
    assert new != made, label
    return new


def at_flip(made: Case, flip: Flip) -> Case:
    """The case with the flip written into it."""
    if flip.number == "worth of an own hour":
        return replace(made, terms=replace(made.terms, cost_own_hour=flip.value_flip))
    if flip.number == "cost of a day out of service":
        return replace(made, terms=replace(made.terms, cost_lost_day=sure(flip.value_flip)))
    return with_input(made, flip.number, flip.value_flip / flip.value_now)


def narrowed() -> Case:
    """A part of the wide case: the search takes every input in turn."""
    made = wide()
    events = ("neglect", "casing", "shaft", "gear", "on arrival", "core")
    pairs = ("buy and rebuild", "rebuild and spare")
    return replace(
        made,
        parts=tuple(p for p in made.parts if p.part in ("part 0", "part 4", "part 8", "part 9", "part 10", "part 11")),
        tasks=made.tasks[2:7],
        branches=tuple(b for b in made.branches if b.event in events),
        ways=tuple(w for w in made.ways if w.kind not in pairs),
    )


@pytest.mark.parametrize("made", [case(), narrowed()], ids=["reference", "narrowed"])
def test_at_a_flip_the_two_ways_cost_the_same(made: Case) -> None:
    # Rival quotes aside: the price that a case takes is chosen anew when a quote changes.
    made = replace(made, quotes=tuple(only_taken(made)))
    model = model_of(made)
    now = totals(model)
    best = min(now, key=now.__getitem__)
    found = flips(model, model.ways.index(best))
    assert len(found) >= 3
    for flip in found:
        there = totals(model_of(at_flip(made, flip)))
        assert there[best] == pytest.approx(there[flip.to_way], rel=1e-6), flip
        assert min(there.values()) == pytest.approx(there[best], rel=1e-6), flip
    distance = [abs(f.value_flip - f.value_now) / f.value_now for f in found]
    assert distance == sorted(distance)


def only_taken(made: Case):  # type: ignore[no-untyped-def]
    model = model_of(made)
    priced = [w for w in made.ways if w.kind == "send away" or (w.traits.buys and not w.traits.rebuilds)]
    lines = [p for taken in model.costs.prices.values() for p in taken] + [model.costs.price_of(w) for w in priced]
    taken = {p.quote for p in lines}
    return [q for q in made.quotes if q in taken]


def two_ways(**changes: object) -> Case:
    """Rebuild for 100 and 10 days, new for 130 and 3 days, a day at 1: the total of new is 23 more."""
    ways = (way("rebuild", "rebuild"), way("new", "new", sure(130), lead_days=sure(3)))
    made = small(ways=ways, tasks=(), branches=(), terms=terms(cost_lost_day=sure(1), cost_own_hour=1.0))
    return replace(made, **changes)  # type: ignore[arg-type]


def test_flips_added_up_by_hand() -> None:
    model = model_of(two_ways())
    assert totals(model) == pytest.approx({"rebuild": 110, "new": 133})
    found = {f.number: f for f in flips(model, 0)}
    by_hand = {
        "price of kit": 123,
        "price of new": 107,
        "days to wait for kit": 33,
        "cost of a day out of service": 30 / 7,
    }
    assert {n: f.value_flip for n, f in found.items()} == pytest.approx(by_hand, rel=1e-7)
    assert {f.to_way for f in found.values()} == {"new"}
    assert [f.number for f in flips(model, 0)][:2] == [
        "price of new",
        "price of kit",
    ]  # 18 % and 23 % off


def test_a_number_that_never_flips_is_left_out() -> None:
    far = two_ways(ways=(way("rebuild", "rebuild"), way("new", "new", sure(5000), lead_days=sure(3))))
    assert {f.number for f in flips(model_of(far), 0)} == {"price of new"}


def test_within_its_range() -> None:
    made = two_ways(parts=(part("kit", 100, sure(10)),))
    wide_kit = replace(made, parts=(replace(made.parts[0], price=Range(70, 95, 150)),))
    flip = next(f for f in flips(model_of(wide_kit), 0) if f.number == "price of kit")
    assert flip.within_range
    assert (flip.low, flip.high) == (70, 150)
    narrow = replace(made, parts=(replace(made.parts[0], price=Range(90, 100, 110)),))
    assert not next(f for f in flips(model_of(narrow), 0) if f.number == "price of kit").within_range


def test_factor_on_an_input_is_the_case_with_it_scaled() -> None:
    made = replace(wide(), quotes=tuple(only_taken(wide())))
    model = model_of(made)
    for i, x in list(enumerate(model.inputs))[::5]:
        if x.is_chance or x.key == "lost day":
            continue
        other = model_of(with_input(made, x.label, 1.02)).expected()
        now = choice(model, {i: x.range.scaled(1.02)})[:, :3]
        np.testing.assert_allclose(now, other, rtol=1e-6, err_msg=x.label)


def test_a_dearer_quote_is_not_taken_when_a_rival_is_cheaper() -> None:
    near, far = (supplier(name, carriage=sure(0), lead_days=sure(10)) for name in ("near", "far"))
    offers = tuple(
        replace(quotes()[0], item="kit", supplier=s, quoted=sure(p)) for s, p in (("near", 100), ("far", 105))
    )
    made = two_ways(suppliers=(near, far), quotes=offers)
    # At 105 the owner buys from the other: the near one's price alone never makes new the cheaper way.
    assert "price of kit at near" not in {f.number for f in flips(model_of(made), 0)}


def test_hours_on_the_bench_flip_when_parts_are_ordered_early() -> None:
    early = terms(order_parts="now", cost_lost_day=sure(1), cost_own_hour=1.0, hours_per_day=6.0)
    made = two_ways(
        terms=early,
        parts=(part("kit", 100, sure(1)),),
        tasks=(task("bench", "measure", hours=span(18, 24, 30)),),
    )
    # The bench outlasts the wait: 100 + h + h / 6 = 133.
    flip = next(f for f in flips(model_of(made), 0) if f.number == "hours for bench")
    assert flip.value_flip == pytest.approx(33 * 6 / 7, rel=1e-6)


def test_a_number_that_turns_at_nothing_but_for_rounding_is_not_looked_at_below_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two ways may cost the same once a price is nothing: what is looked at just past that is still a price."""
    monkeypatch.setattr(sensitivity, "_guesses", lambda _, listed, __: [(x, x.now, 0.0) for x in listed])
    monkeypatch.setattr(sensitivity, "lead_gone", lambda *_: 1e-12)
    model = model_of(case())
    assert all(flip.value_flip == 1e-12 for flip in flips(model, int(model.totals.argmin())))
