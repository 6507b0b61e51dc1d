"""The owner's rows over the default ones: what a row replaces, what stays, what is listed."""

from __future__ import annotations

import math
from collections import defaultdict
from pathlib import Path

import pytest
from case_makers import CASE, EVENTS, LOOKS, TASKS, THREE, WAYS, faults, write

from repairecon.kinds import facts, match_symptom
from repairecon.read import new_case, read_case
from repairecon.records import Case

PUMP = THREE.replace("smoke shifter", "raw water pump")


def read(folder: Path, toml: str = THREE, **files: str) -> Case:
    return read_case(write(folder, {CASE: toml, **{f"{name}.csv": text for name, text in files.items()}}))


def sums(case: Case) -> dict[tuple[str, object], float]:
    """The chances of each event under each condition, added up."""
    made: dict[tuple[str, object], float] = defaultdict(float)
    for b in case.branches:
        made[b.event, b.given] += b.chance
    return made


def test_one_task_leaves_the_others(tmp_path: Path) -> None:
    """A gearbox of 11 own hours must not become one of 2.5 because one row was written."""
    plain = read(tmp_path / "a")
    text = "task,stage,hours_likely\nStrip on the bench,strip,5\nhire a press,strip,\n"
    case = read(tmp_path / "b", tasks=text)
    hours = {t.task: t.hours.likely for t in plain.tasks}
    written = {t.task.casefold(): t.hours.likely for t in case.tasks}
    assert written == {k.casefold(): h for k, h in hours.items()} | {"strip on the bench": 5, "hire a press": 0}
    assert case.replaced == ("tasks.csv: strip on the bench",)
    assert "task: strip on the bench" not in [a.name for a in case.assumed]
    assert "task: put together" in [a.name for a in case.assumed]


def test_one_outcome_is_restated_and_the_others_share_what_is_left(tmp_path: Path) -> None:
    """Doing it again 0.3 leaves 0.7 that it holds; everything else of the tree is as it was."""
    plain = read(tmp_path / "a")
    case = read(tmp_path / "b", events="event,outcome,chance,extra_hours_likely\nrework,done again,0.3,9\n")
    rework = {b.outcome: b for b in case.branches if b.event == "rework"}
    assert (rework["done again"].chance, rework["holds"].chance) == (0.3, pytest.approx(0.7))
    assert (rework["done again"].extra_hours.likely, rework["done again"].seen_at) == (9, "later")
    others = [(b.event, b.given, b.outcome, b.chance) for b in plain.branches if b.event != "rework"]
    assert [(b.event, b.given, b.outcome, b.chance) for b in case.branches if b.event != "rework"] == others
    assert all(math.isclose(s, 1.0) for s in sums(case).values())
    assert case.replaced == ("events.csv: rework=done again", "events.csv: chances of the other outcomes of rework")


def test_a_row_without_a_condition_holds_under_each(tmp_path: Path) -> None:
    case = read(tmp_path, events="event,outcome,chance\nhousing,cracked,0.3\n")
    cracked = {b.given: b.chance for b in case.branches if (b.event, b.outcome) == ("housing", "cracked")}
    assert cracked == pytest.approx({(("neglect", "light"),): 0.3, (("neglect", "heavy"),): 0.3})
    # of 0.65 sound and 0.23 eaten under heavy neglect 0.7 is left
    heavy = {b.outcome: b.chance for b in case.branches if b.event == "housing" and ("neglect", "heavy") in b.given}
    assert heavy["sound"] == pytest.approx(0.7 * 0.65 / 0.88)
    assert all(math.isclose(s, 1.0) for s in sums(case).values())


def test_an_event_restated_whole_takes_what_hangs_on_it_along(tmp_path: Path) -> None:
    case = read(tmp_path, events="event,outcome,chance,seen_at\nhousing,fine,0.9,strip\nhousing,gone,0.1,strip\n")
    assert {b.outcome for b in case.branches if b.event == "housing"} == {"fine", "gone"}
    assert not [b for b in case.branches if b.event in ("wanted part", "reassembly", "rework")]
    assert "events.csv: wanted part=to be had" in case.dropped
    assert "looks.csv: ask if the wanted part is still made" in case.dropped
    assert any(b.event == "fasteners" for b in case.branches)


def test_events_of_the_owner_alone_leave_the_defaults_be(tmp_path: Path) -> None:
    plain = read(tmp_path / "a")
    case = read(tmp_path / "b", events="event,outcome,chance,seen_at\nlid,on,0.5,strip\nlid,lost,0.5,strip\n")
    assert len(case.branches) == len(plain.branches) + 2
    assert (case.replaced, case.dropped) == ((), ())


def test_too_much_chance_is_a_fault_of_the_owners_row(tmp_path: Path) -> None:
    (fault,) = faults(
        write(tmp_path, {CASE: THREE, EVENTS: "event,outcome,chance\nrework,done again,0.6\nrework,holds,0.6\n"})
    )
    assert (fault.file, fault.column) == (EVENTS, "chance")


def test_defaults_that_are_not_wanted(tmp_path: Path) -> None:
    none = THREE + '[defaults]\ntasks = "none"\nevents = "none"\nlooks = "none"\n'
    case = read(tmp_path / "a", none)
    assert (case.tasks, case.branches, case.looks) == ((), (), ())
    assert "tasks.csv: put together" in case.dropped
    assert not [a for a in case.assumed if a.name.startswith(("task", "chance", "look", "what"))]
    (fault,) = faults(write(tmp_path / "b", {CASE: THREE + '[defaults]\nways = "none"\n'}))
    assert (fault.column, "ways.csv" in fault.write) == ("defaults.ways", True)
    (fault,) = faults(write(tmp_path / "c", {CASE: THREE + '[defaults]\nevents = "some"\n'}))
    assert "'none'" in fault.write


def test_default_ways_stand_beside_the_owners(tmp_path: Path) -> None:
    """Of kinds that the owner has none of, and only at a price that is known."""
    case = read(tmp_path / "a", ways="way,kind,price_likely\nfrom the breaker,second-hand,90\n")
    assert [w.way for w in case.ways] == [
        "rebuild here", "new", "buy new, rebuild the old", "rebuild, carry a new one", "from the breaker",
    ]  # fmt: skip
    two = THREE.replace("price_new = 640\n", "")
    case = read(tmp_path / "b", two, ways="way,kind,price_likely\nfrom the breaker,second-hand,90\n")
    assert [w.kind for w in case.ways] == ["rebuild", "second-hand"]
    case = read(tmp_path / "c", ways="way,kind,price_likely\nmine,new,600\n")
    assert [w.way for w in case.ways if w.kind == "new"] == ["mine"]
    assert "ways.csv: new" in case.replaced


def test_an_old_decision_is_read_as_it_was(tmp_path: Path) -> None:
    """A file of the owner's then dropped every default of that file, and nothing was known of a kind."""
    files = {CASE: PUMP, TASKS: "task,stage\npolish,strip\n", EVENTS: "event,outcome,chance\nshaft,sound,1\n"}
    case = read_case(write(tmp_path, files), as_decided=True)
    assert [t.task for t in case.tasks] == ["polish"]
    assert (len(case.branches), case.looks, case.replaced) == (1, (), ())
    assert {w.kind for w in case.ways} == {"rebuild", "new", "buy and rebuild", "rebuild and spare"}


def test_the_kind_and_the_sentence_bring_their_rows(tmp_path: Path) -> None:
    """As the room of kinds has them: tasks that are always needed, causes of the symptom, looks in its order."""
    sentence = "drips from the weep hole"
    case = read(tmp_path, PUMP.replace("[three", f'symptom = "{sentence}"\n[three'))
    known, heard = facts("raw water pump"), match_symptom("raw water pump", sentence)
    assert [t["task"] for t in known.tasks if t["needed"] == "always"] == [t.task for t in case.tasks][:-1]
    inside = {b.outcome: b.chance for b in case.branches if b.event == "inside"}
    causes = {f["cause"]: f.range("chance").likely for f in known.failures_of(heard.symptom) if f.yes("this_unit")}
    total = sum(causes.values())
    assert sorted(inside.values()) == pytest.approx(sorted(p / total for p in causes.values()))
    assert {w.kind for w in case.ways} >= {"rebuild", "new"}
    (listed,) = [a for a in case.assumed if a.name == "symptom"]
    assert listed.value == heard.symptom
    life = case.way("new").life_years
    assert life == known.life_years


def test_a_kit_of_unknown_price_is_a_share_of_new(tmp_path: Path) -> None:
    case = read(tmp_path, PUMP.replace("price_kit = 95\n", ""))
    share = facts("raw water pump").ratios.get("kit")
    assert share is not None
    (kit,) = case.parts
    assert kit.price
    assert kit.price.likely == pytest.approx(share.likely * 640)
    assert "part: rebuild kit" in [a.name for a in case.assumed]


def test_licensed_practice_has_no_own_rebuild_by_default(tmp_path: Path) -> None:
    case = read(tmp_path, THREE.replace("smoke shifter", "injection pump"))
    assert "rebuild" not in {w.kind for w in case.ways}
    assert "send away" in {w.kind for w in case.ways}
    assert case.unit.safety
    toml = THREE.replace("smoke shifter", "injection pump")
    toml += '[defaults]\nways = "none"\n[[waiver]]\nway = "rebuild here"\nreason = "with a bench"\n'
    own = read(tmp_path / "b", toml, ways="way,kind\nrebuild here,rebuild\n")
    assert list(own.waivers) == ["rebuild here"]


def test_what_the_sentence_says_is_found_counts_as_found(tmp_path: Path) -> None:
    sentence = "will not start, the solenoid contacts are burnt"
    text = THREE.replace('"smoke shifter"', f'"starter motor"\nsymptom = "{sentence}"')
    case = read(tmp_path, text)
    assert case.found == "inside=solenoid contacts burnt"
    assert "solenoid contacts burnt" in {b.outcome for b in case.branches}


def test_a_new_case_of_a_kind_holds_what_is_known_of_it(tmp_path: Path) -> None:
    numbers = {"price_new": 300.0, "price_kit": 40.0, "wait_days": 4.0}
    folder = new_case(tmp_path / "pump", "raw water pump", "drips from the weep hole", **numbers)
    text = (folder / CASE).read_text("utf-8")
    assert 'symptom = "drips from the weep hole"' in text
    assert "price_new = 300 " in text
    case = read_case(folder)
    assert (case.unit.kind, case.unit.figures) == ("raw water pump", "")
    tasks = (folder / TASKS).read_text("utf-8")
    assert all(f"default: {t.task.split(',')[0]}" in tasks.replace('"', "") for t in case.tasks)
    looks = (folder / LOOKS).read_text("utf-8")
    assert all(look.look.split(",")[0] in looks for look in case.looks)
    assert all(w.way in (folder / WAYS).read_text("utf-8") for w in case.ways)
