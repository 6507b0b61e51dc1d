"""The bridge where parts are bought by the cheapest basket: prices, pieces and carriage add up and make sense."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from quoted_done import write_quoted

from repairecon.after_the_job import charts
from repairecon.after_the_job.bridge import Estimate, found_in_order
from repairecon.after_the_job.command import as_json
from repairecon.after_the_job.job import after_the_job, decide
from repairecon.after_the_job.screen import full
from repairecon.read.case_folder import read_case
from repairecon.read.closed import Closed, read_actual, read_closed
from repairecon.records import FindingError

HEAD = "kind,name,outcome,quantity,bought,paid,hours,days,by,from_spares\n"
FOUND = "found,shaft,good\nfound,rotor,good\nfound,body,whole\n"


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Closed:
    folder = write_quoted(tmp_path_factory.mktemp("quoted") / "deckwash pump")
    decide(folder, "rebuild here", on="2026-04-03", draws=200)
    return read_closed(folder)


def said(bare: Closed, folder: Path, rows: str) -> Closed:
    """The same job with another sheet."""
    width = HEAD.count(",") + 1
    with (folder / "actual.csv").open("w", encoding="utf-8", newline="") as file:
        file.write(HEAD)
        csv.writer(file).writerows([*row, *[""] * (width - len(row))] for row in csv.reader(rows.splitlines()))
    return replace(bare, actual=read_actual(folder, bare.case))


def steps_of(closed: Closed) -> dict[tuple[str, str], float]:
    b = after_the_job(closed).bridge
    assert b is not None
    return {(s.group, s.name): s.cash for s in b.steps if abs(s.cash) > 1e-9}


# What the parts of the plan cost landed, by hand from the quotes: seals, bearing, O-rings and circlips from the
# stockist (ex VAT, one parcel of 6 up to 1 kg), the valve set from the pump house (VAT in, 5 % discount, carriage
# 9.50); PERT mean of 52, 58, 66.
VALVE = 0.95 * (52 + 4 * 58 + 66) / 6
SEAL, BEARING, RINGS, CLIPS = (1.21 * x for x in (3.4, 6.1, 5.5, 2.2))
CARRIAGE = 1.21 * 6 + 9.5
AS_QUOTED = (
    f"part,shaft seal,,2,,{2 * SEAL}\npart,front bearing,,1,,{BEARING}\npart,cover o-ring,,3,,{RINGS}\n"
    f"part,circlip,,2,,{CLIPS}\npart,valve set,,1,,{VALVE}\ncarriage,all,,,,{CARRIAGE}\n"
)


def test_the_lines_of_the_plan_by_hand(bare: Closed) -> None:
    known = found_in_order(bare.case, said(bare, Path(bare.case.folder).parent, FOUND).actual)
    lines = {(x.kind, x.name): x for x in Estimate(bare.case, known, {}).lines("rebuild here", {})}
    cash = {name: lines["part", name].cash for name in ("shaft seal", "front bearing", "cover o-ring", "circlip")}
    assert cash == pytest.approx(
        {"shaft seal": 2 * SEAL, "front bearing": BEARING, "cover o-ring": RINGS, "circlip": CLIPS}
    )
    assert lines["part", "valve set"].cash == pytest.approx(VALVE)
    assert lines["carriage", "all"].cash == pytest.approx(CARRIAGE)
    # whole packs: ten O-rings and ten circlips come for the three and two that are wanted
    assert [lines["part", n].pieces for n in ("shaft seal", "cover o-ring", "circlip")] == pytest.approx([2, 10, 10])


def test_as_quoted_gives_no_step_of_price_pieces_or_carriage(bare: Closed, tmp_path: Path) -> None:
    """Three O-rings fitted out of a pack of ten, the pack paid: neither dearer nor fewer."""
    groups = {g for g, _ in steps_of(said(bare, tmp_path, FOUND + AS_QUOTED))}
    assert groups == {"found inside"}


def test_a_second_pack_and_another_price(bare: Closed, tmp_path: Path) -> None:
    rows = AS_QUOTED.replace(f"cover o-ring,,3,,{RINGS}", f"cover o-ring,,12,,{2 * RINGS + 1}")
    rows = rows.replace(f"shaft seal,,2,,{2 * SEAL}", f"shaft seal,,2,4,{4 * SEAL}")
    steps = {k: v for k, v in steps_of(said(bare, tmp_path, FOUND + rows)).items() if k[0] != "found inside"}
    assert steps == pytest.approx(
        {("price", "cover o-ring"): 1.0, ("quantity", "cover o-ring"): RINGS, ("quantity", "shaft seal"): 2 * SEAL}
    )


def test_the_scored_rotor_and_its_core(bare: Closed, tmp_path: Path) -> None:
    """What was found brings its parts and their carriage with it; as quoted after that, nothing more differs."""
    found = FOUND.replace("rotor,good", "rotor,scored")
    after = said(bare, tmp_path, found)
    lines = Estimate(bare.case, found_in_order(bare.case, after.actual), {}).lines("rebuild here", {})
    rows = [
        f"part,{x.name},,{x.pieces if x.name not in ('circlip', 'cover o-ring') else 3},,{x.cash}\n"
        for x in lines
        if x.kind == "part"
    ]
    carriage = next(x.cash for x in lines if x.kind == "carriage")
    steps = steps_of(said(bare, tmp_path, found + "".join(rows) + f"carriage,all,,,,{carriage}\n"))
    assert {g for g, _ in steps} == {"found inside"}
    assert steps["found inside", "rotor=scored"] > 70


def test_prices_in_the_log_are_those_of_a_piece(bare: Closed, tmp_path: Path) -> None:
    rows = after_the_job(said(bare, tmp_path, FOUND + AS_QUOTED)).logged
    prices = {r.name: (r.p50, r.actual) for r in rows if r.kind == "price"}
    assert prices["cover o-ring"] == pytest.approx((RINGS / 10, RINGS / 10))
    assert prices["shaft seal"] == pytest.approx((SEAL, SEAL))


def test_the_rest_of_a_pack_comes_into_the_stores(bare: Closed, tmp_path: Path) -> None:
    moved = after_the_job(said(bare, tmp_path, FOUND + AS_QUOTED)).movements
    rings = [(m.movement, m.quantity, m.cost_unit) for m in moved if m.item == "cover o-ring"]
    paid = 2 * SEAL + BEARING + RINGS + CLIPS + VALVE
    assert rings == [("bought", 10, pytest.approx((RINGS + CARRIAGE * RINGS / paid) / 10)), ("fitted", 3, None)]
    whole = sum((m.cost_unit or 0.0) * m.quantity for m in moved if m.movement == "bought")
    assert whole == pytest.approx(paid + CARRIAGE)


def test_given_up_and_another_unit_bought(bare: Closed, tmp_path: Path) -> None:
    """The one that was bought is reckoned with, not the one that the estimate would have taken."""
    found = FOUND.replace("body,whole", "body,cracked")
    b = after_the_job(said(bare, tmp_path, found + "unit,new,,,,410\n")).bridge
    assert b is not None
    steps = {(s.group, s.name): s for s in b.steps}
    assert ("given up", "new bought") in steps
    # new at PERT mean of 360, 395, 450
    assert steps["price", "new"].cash == pytest.approx(410 - (360 + 4 * 395 + 450) / 6)
    assert not any("exchange" in name for _, name in steps)
    assert not any("exchange" in name for name in b.not_written)


def test_in_hindsight_what_never_came_is_not_waited_for(bare: Closed, tmp_path: Path) -> None:
    """Known never to come, the exchange unit is not chosen after a rebuild that ended: another one is."""
    found = FOUND.replace("body,whole", "body,cracked")
    rows = "way,new\nunit,new,,,,410,,9\nnever came,exchange\n"
    h = after_the_job(said(bare, tmp_path, found + rows)).hindsight
    assert h is not None
    assert h.now["rebuild here"] < h.now["exchange"] - 300
    assert h.now["rebuild here"] == pytest.approx(h.now["carry a new one"])


NUMBERS = st.sampled_from([None, None, 0.0, 0.01, 1.0, 3.0, 25.5, 400.0, 90000.0])
PARTS = ("shaft seal", "front bearing", "cover o-ring", "valve set", "shaft", "rotor", "circlip")
SPARES = st.sampled_from(["", "yes"])
UNITS = ("send away", "exchange", "new")


@st.composite
def sheets(draw: st.DrawFn) -> str:
    """A sheet that an owner may write: any rows, any cells left out, but none that contradicts itself."""

    def cell(x: float | None) -> str:
        return "" if x is None else repr(x)

    rows = [f"way,{draw(st.sampled_from(['rebuild here', *UNITS, 'carry a new one']))},,,,,,{cell(draw(NUMBERS))}"]
    for event, outcomes in (("shaft", "good grooved"), ("rotor", "good scored"), ("body", "whole cracked")):
        rows += [f"found,{event},{draw(st.sampled_from(['', *outcomes.split()]))}"]
    for part in draw(st.lists(st.sampled_from(PARTS), unique=True)):
        used, bought, paid = draw(st.sampled_from([0, 1, 2, 12])), draw(st.sampled_from(["", 1, 11])), draw(NUMBERS)
        bought = 1 if not used and paid and bought == "" else bought
        rows.append(f"part,{part},,{used},{bought},{cell(paid)},,{cell(draw(NUMBERS))},,{draw(SPARES)}")
    for unit in draw(st.lists(st.sampled_from(UNITS), unique=True)):
        rows.append(f"unit,{unit},,,,{cell(draw(NUMBERS))},,{cell(draw(NUMBERS))},,{draw(SPARES)}")
    for unit in draw(st.lists(st.sampled_from(UNITS), unique=True, max_size=1)):
        rows += [f"refund,{unit},,,,{cell(draw(NUMBERS))}", f"never came,{unit}"][: draw(st.integers(0, 2))]
    small = st.sampled_from([None, 0.0, 0.5, 30.0])
    work = {"put together": "task", '"fitting, new"': "task", "shaft=grooved": "damage", "a hose": "other"}
    for name, kind in work.items():
        by = draw(st.sampled_from(["", "owner", "machine shop"]))
        rows.append(f"{kind},{name},,,,{cell(draw(NUMBERS))},{cell(draw(small))},,{by}")
    rows.append(f"carriage,all,,,,{cell(draw(NUMBERS))}")
    if draw(st.booleans()):
        rows.append(f"total,,,,,{cell(draw(NUMBERS))},{cell(draw(small))},{cell(draw(small))}")
    return "\n".join(rows) + "\n"


@settings(max_examples=16, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sheet=sheets())
def test_whatever_an_owner_writes_adds_up(bare: Closed, tmp_path: Path, sheet: str) -> None:
    """The steps sum to the difference to the cent, totals told are what it came to, every face can say it."""
    closed = said(bare, tmp_path, sheet)
    try:
        found = after_the_job(closed)
    except FindingError:
        return
    b = found.bridge
    if b is None:
        assert found.nothing_written
        assert "Nothing filled in yet" in full(found)
        return
    assert math.isclose(sum(s.amount for s in b.steps), b.difference, abs_tol=0.005)
    for q, column in (("cash", "cash"), ("own hours", "own_hours"), ("days", "days")):
        assert math.isclose(sum(getattr(s, column) for s in b.steps), b.actual[q] - b.estimate[q], abs_tol=0.005)
    for row in closed.actual.of("total"):
        for given_, came in ((row.paid, "cash"), (row.hours, "own hours")):
            assert given_ is None or math.isclose(b.actual[came], given_, abs_tol=0.005)
    assert all(m.quantity > 0 and (m.cost_unit is None or m.cost_unit >= 0) for m in found.movements)
    assert all(math.isfinite(x) for r in found.logged for x in (r.actual, r.p50) if x is not None)
    text = full(found)
    assert "nan" not in text
    assert "inf" not in text.replace("inform", "")
    json.dumps(as_json(found), allow_nan=False)
    charts.bridge_caption(found)


def test_pieces_of_a_part_that_may_come_from_either_of_two(tmp_path: Path) -> None:
    """A cheap rotor abroad brings the valve set in its parcel: one set in all, unless the body is cracked (0.1)."""
    folder = write_quoted(tmp_path / "job")
    quotes = (folder / "quotes.csv").read_text()
    (folder / "quotes.csv").write_text(quotes.replace("rotor,abroad,,,70,78,95", "rotor,abroad,,,20,28,45"))
    lines = Estimate(read_case(folder), (), {}).lines("rebuild here", {})
    valve = next(x for x in lines if x.name == "valve set")
    assert valve.pieces == pytest.approx(0.9)
    assert next(x for x in lines if x.name == "rotor").pieces == pytest.approx(0.2 * 0.9)
