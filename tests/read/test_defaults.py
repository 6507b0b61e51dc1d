"""Three numbers are enough, and whatever was taken for granted is listed with its source."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest
from case_makers import THREE, write

from repairecon.read import read_case
from repairecon.read.default_rows import default_rows
from repairecon.read.events import TOLERANCE
from repairecon.records import STAGES, Branch, Case

FILES = Path(__file__).resolve().parents[2] / "repairecon" / "read"


@pytest.fixture
def case(tmp_path: Path) -> Case:
    return read_case(write(tmp_path, {"case.toml": THREE}))


def leaves(branches: tuple[Branch, ...], skip: tuple[str, ...] = ()) -> list[tuple[dict[str, str], float]]:
    """Every way the tree can go, by trying all combinations of outcomes in order of the rows."""
    events = [e for e in dict.fromkeys(b.event for b in branches) if e not in skip]
    found: list[tuple[dict[str, str], float]] = [({}, 1.0)]
    for event in events:
        grown = []
        for so_far, chance in found:
            rows = [b for b in branches if b.event == event and b.given]
            hold = [b for b in rows if all(so_far.get(e) == o for e, o in b.given)]
            hold = hold or [b for b in branches if b.event == event and not b.given]
            grown += [({**so_far, event: b.outcome}, chance * b.chance) for b in hold] or [(so_far, chance)]
        found = grown
    return found


def chance_of(branches: tuple[Branch, ...], event: str, outcomes: set[str]) -> float:
    return sum(c for leaf, c in leaves(branches) if leaf.get(event) in outcomes)


# Owners' accounts of strip-downs, common practice, no source: of 61, seized or sheared fasteners 11,
# bearings 10, shaft 7, housing 13, parts no longer available 7. Half a job of 61 is the tolerance.
ACCOUNTS = [
    ("fasteners", {"seized or sheared"}, 11 / 61),
    ("shaft and bearings", {"bearings rough"}, 10 / 61),
    ("shaft and bearings", {"shaft grooved"}, 7 / 61),
    ("housing", {"eaten", "cracked"}, 13 / 61),
    ("wanted part", {"no longer available"}, 7 / 61),
]


@pytest.mark.parametrize(("event", "outcomes", "share"), ACCOUNTS, ids=[f"{e}={min(o)}" for e, o, _ in ACCOUNTS])
def test_default_tree_agrees_with_accounts(case: Case, event: str, outcomes: set[str], share: float) -> None:
    assert chance_of(case.branches, event, outcomes) == pytest.approx(share, abs=0.5 / 61)


def test_rework_agrees_with_accounts(case: Case) -> None:
    """Owners' accounts, common practice, no source: rework in 11 of 100 (of those fitted)."""
    again = chance_of(case.branches, "rework", {"done again"})
    assert again / (again + chance_of(case.branches, "rework", {"holds"})) == pytest.approx(0.11, abs=0.005)


def test_the_wrong_unit_agrees_with_accounts(case: Case) -> None:
    """Owners' accounts, common practice, no source: 7 of 100 blamed the wrong unit. It touches every way."""
    rows = [b for b in case.branches if b.event == "this unit"]
    assert sum(b.chance for b in rows if b.not_this_unit) == pytest.approx(0.07, abs=0.005)
    assert [b.not_this_unit for b in rows] == [False, True]
    assert {(b.seen_at, b.ways) for b in rows} == {("first run", ("all",))}
    assert not any(b.not_this_unit for b in case.branches if b.event != "this unit")
    assert "what this unit=another is to blame brings" in [a.name for a in case.assumed]


def test_default_looks_tell_of_the_default_tree(case: Case) -> None:
    """Each names an event of it, is right more often than a guess, and is listed with its source."""
    outcomes = {b.event: {c.outcome for c in case.branches if c.event == b.event} for b in case.branches}
    assert {"this unit", "wanted part"} <= {look.event for look in case.looks}
    assert len({look.look for look in case.looks}) == len(case.looks) >= 3
    assumed = {a.name: a for a in case.assumed}
    for look in case.looks:
        assert 1 / len(outcomes[look.event]) < look.p_right < 1
        assert look.hours.high > 0
        assert not look.price_of
        assert look.source.note == assumed[f"look: {look.look}"].source
    for row in default_rows()[0]["looks.csv"]:
        assert assumed[f"look: {row.text('look')}"].value.startswith(f"right {row.text('p_right')}; ")


def test_default_looks_only_at_events_that_there_are(tmp_path: Path) -> None:
    """An owner's looks may tell of the default tree; without that tree its looks are gone."""
    events = {"events.csv": "event,outcome,chance\nshaft,sound,1\n"}
    none = THREE + '[defaults]\nevents = "none"\n'
    own = read_case(write(tmp_path / "a", {"case.toml": none, **events}))
    assert own.looks == ()
    assert not [a for a in own.assumed if a.name.startswith("look")]
    assert "looks.csv: look inside by the drain or cover" in own.dropped
    looks = {"looks.csv": "look,event\nlisten,Housing\n"}
    made = read_case(write(tmp_path / "b", {"case.toml": THREE, **looks})).looks
    assert (made[-1].look, made[-1].event) == ("listen", "housing")
    assert len(made) > 3


def test_default_tree_has_what_the_trade_knows(case: Case) -> None:
    """Damage hangs together through neglect; nothing that people forget is left out; a moderate size."""
    both = sum(
        c
        for leaf, c in leaves(case.branches)
        if leaf["fasteners"] == "seized or sheared" and leaf["housing"] == "cracked"
    )
    alone = chance_of(case.branches, "fasteners", {"seized or sheared"}) * chance_of(
        case.branches, "housing", {"cracked"}
    )
    assert both > 1.2 * alone
    assert case.branches[0].event == "neglect"
    assert case.branches[0].seen_at == ""
    assert any(b.ends_rebuild for b in case.branches)
    assert any(b.core_refused and b.ways == ("exchange",) for b in case.branches)
    assert {b.seen_at for b in case.branches} - {""} == set(STAGES) - {"outside"}
    here = leaves(case.branches, skip=("bought unit", "core", "this unit"))
    assert 100 <= len(here) <= 200
    assert len(leaves(case.branches)) <= 1000
    assert sum(c for _, c in leaves(case.branches)) == pytest.approx(1.0)


def test_three_numbers_make_a_case(case: Case) -> None:
    assert [(w.kind, w.bought) for w in case.ways] == [
        ("rebuild", ""),
        ("new", ""),
        ("buy and rebuild", "new"),
        ("rebuild and spare", "new"),
    ]
    (kit,) = case.parts
    assert (kit.part, kit.price.likely if kit.price else None, kit.needed) == ("rebuild kit", 95, "always")
    new = case.way("new")
    assert new.price is not None
    assert new.price.likely == 640
    assert new.lead_days is not None
    assert new.lead_days.high - new.lead_days.likely > new.lead_days.likely - new.lead_days.low > 0
    assert kit.lead_days == new.lead_days
    assert {t.stage for t in case.tasks} == set(STAGES) - {"later"}
    assert case.unit.price_new == new.price


def test_money_of_the_defaults_follows_the_three_numbers(tmp_path: Path, case: Case) -> None:
    """In another currency everything but the rates of hours and days is as many times more."""
    text = THREE.replace("640", "64000").replace("95", "9500")
    other = read_case(write(tmp_path, {"case.toml": text}))
    for a, b in zip(case.branches, other.branches, strict=True):
        assert b.outside_cost.likely == pytest.approx(100 * a.outside_cost.likely)
    for s, t in zip(case.tasks, other.tasks, strict=True):
        assert t.cost.high == pytest.approx(100 * s.cost.high)
    assert sum(b.outside_cost.likely for b in case.branches) > 0


def test_all_that_was_assumed_is_listed_with_a_source(case: Case) -> None:
    names = [a.name for a in case.assumed]
    for task in case.tasks:
        assert f"task: {task.task}" in names
    for event in {b.event for b in case.branches}:
        assert any(n.startswith(f"chances: {event}") for n in names)
    for name in (
        "currency",
        "cost_own_hour",
        "cost_lost_day",
        "hours_per_day",
        "hours_correlation",
        "order_parts",
        "give_up_days",
        "near_tie_share",
        "near_tie_chance",
        "wait_multiples",
        "safety",
        "ways",
    ):
        assert name in names
    for assumed in case.assumed:
        assert assumed.value
        assert any(word in assumed.source for word in ("assumed", "common practice"))
    assert "vat_rate" not in names  # nothing in this case is ex tax


def test_every_default_has_value_unit_and_source() -> None:
    entries = tomllib.loads((FILES / "defaults.toml").read_text("utf-8"))
    for name, entry in entries.items():
        assert set(entry) == {"value", "unit", "source"}, name
        assert entry["source"], name
    for rows in default_rows()[0].values():
        assert all(row.text("source") for row in rows)


def test_default_rates_of_labour_only_where_somebody_works(tmp_path: Path) -> None:
    """75 an hour without tax in defaults.toml, 21 % on top."""
    files = {"case.toml": THREE, "tasks.csv": "task,stage,by,hours_likely\nweld,strip,Yard,1\n"}
    case = read_case(write(tmp_path, files))
    assert list(case.terms.labour) == ["yard"]
    assert case.terms.labour["yard"].cost_hour.likely == pytest.approx(90.75)
    assert {"labour.yard", "vat_rate"} <= {a.name.replace("labour (yard)", "labour.yard") for a in case.assumed}


def test_default_money_is_exchanged(tmp_path: Path) -> None:
    """One EUR is 11.5 of theirs: a yard's 75 an hour becomes 862.5, with 21 % tax on top 1043.6."""
    text = THREE + '[money]\ncurrency = "NOK"\nexchange_date = 2026-10-01\nexchange.EUR = 11.5\n'
    work = {"tasks.csv": "task,stage,by,hours_likely\nweld,strip,yard,1\n"}
    case = read_case(write(tmp_path, {"case.toml": text, **work}))
    assert case.terms.labour["yard"].cost_hour.likely == pytest.approx(75 * 11.5 * 1.21)
    plain = read_case(write(tmp_path, {"case.toml": THREE + '[money]\ncurrency = "NOK"\n', **work}))
    assert plain.terms.labour["yard"].cost_hour.likely == pytest.approx(75 * 1.21)
    assert any("taken as it stands" in a.unit for a in plain.assumed)


@pytest.mark.parametrize(
    ("name", "kind", "barred"),
    [
        ("autopilot linear drive", "autopilot drive", False),
        ("Bilge pump, electric", "electric bilge pump", False),
        ("gas regulator", "gas locker regulator", True),
        ("raw water pump", "raw water pump", False),
        ("injection pump", "injection pump", True),
        ("gas smoke shifter", "", True),
        ("left-handed smoke shifter", "", False),
    ],
)
def test_safety_by_kind_and_words(tmp_path: Path, name: str, kind: str, barred: bool) -> None:
    """What only licensed practice may open is never chosen on price alone (common practice); cautions for all."""
    case = read_case(write(tmp_path, {"case.toml": THREE.replace("smoke shifter", name)}))
    assert case.unit.kind == kind
    assert (case.unit.own_rebuild == "licensed practice only") == barred == bool(case.unit.safety)
    assert any("law" in c for c in case.unit.cautions)
    assert sum("price alone" in c for c in case.unit.cautions) == len(case.unit.safety)
    assert any(a.name == "safety" for a in case.assumed)
    assert ("rebuild" in {w.kind for w in case.ways}) == (not barred or not kind)


def test_no_default_number_in_code() -> None:
    """Readers know 0 and 1, limits and sizes by name; what a case is given stands in data."""
    readers = ("toml_records", "default_rows", "events", "table_records", "reading", "ways")
    for name in readers:
        tree = ast.parse((FILES / f"{name}.py").read_text("utf-8"))
        numbers = {n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, float)}
        assert numbers <= {0.0, 1.0, -1.0, TOLERANCE}, name


def test_an_hour_and_a_day_that_are_not_priced_count_nothing(case: Case, tmp_path: Path) -> None:
    """Nobody is told what an hour is worth; a stated 0 is stated all the same."""
    assert (case.terms.cost_own_hour, case.terms.own_hour_stated) == (0, False)
    assert (case.terms.cost_lost_day.high, case.terms.lost_day_stated) == (0, False)
    text = THREE + "[owner]\ncost_own_hour = 0\ncost_lost_day = 12\n"
    terms = read_case(write(tmp_path / "said", {"case.toml": text})).terms
    assert (terms.cost_own_hour, terms.own_hour_stated) == (0, True)
    assert (terms.cost_lost_day.likely, terms.lost_day_stated) == (12, True)
    decided = read_case(write(tmp_path / "old", {"case.toml": THREE}), as_decided=True).terms
    assert decided.cost_own_hour == 20  # what was taken for granted when it was decided
