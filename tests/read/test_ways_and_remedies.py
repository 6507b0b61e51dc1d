"""Ways that owners have, remedies, a date, what is found already: read as written, faults said with what to write."""

from __future__ import annotations

from pathlib import Path

import pytest
from case_makers import CASE, EVENTS, GOOD, PARTS, WAYS, as_csv, cell, cells, faults, spots, toml, write

from repairecon.read import read_case

REMEDIES = "remedies.csv"
MORE = [
    {"way": "nurse it", "kind": "carry on", "until_days_likely": "30", "p_fails": "0.2", "more_cost_likely": "400",
     "works_meanwhile": "partly", "then": "New, Maker", "not_when": "at sea", "allowed_until": "it leaks"},
    {"way": "bandage", "kind": "temporary", "price_likely": "12", "vat": "ex", "until_hours_likely": "15"},
    {"way": "oars", "kind": "without", "until_days_likely": "60"},
    {"way": "from the locker", "kind": "own spare", "p_dead": "0.1", "fitting_hours_likely": "2"},
    {"way": "works", "kind": "send away", "price_likely": "700", "price_covers": "no"},
]  # fmt: skip
FIX = "event,outcome,remedy,parts,extra_hours_likely,p_holds,life_share\n"


def more_ways(*rows: dict[str, str]) -> dict[str, str]:
    """The good files with more ways; 100 running hours a year."""
    head = GOOD[WAYS].split("\n", 1)[0].split(",")
    columns = [*head, *dict.fromkeys(c for row in rows for c in row if c not in head)]
    text = GOOD[WAYS].replace("\n", "," * (len(columns) - len(head)) + "\n").split("\n", 1)[1]
    written = as_csv([columns]) + text + as_csv([[row.get(c, "") for c in columns] for row in rows])
    return toml("[years]\n", "[years]\nhours_a_year = 100\n", {**GOOD, WAYS: written})


def test_new_kinds_of_way_as_written(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, more_ways(*MORE)))
    nurse, bandage, oars, spare, works = case.ways[-5:]
    assert (nurse.until_days and nurse.until_days.likely, nurse.p_fails, nurse.more_cost.likely) == (30, 0.2, 400)
    assert (nurse.works_meanwhile, nurse.then, nurse.not_when) == ("partly", "new, maker", "at sea")
    assert (nurse.allowed_until, nurse.never, nurse.price, nurse.life_years) == ("it leaks", False, None, None)
    assert bandage.price
    assert bandage.price.likely == pytest.approx(12 * 1.21)
    assert bandage.until_days
    assert bandage.until_days.likely == pytest.approx(15 / 100 * 365.25)
    assert (oars.until_days and oars.until_days.likely, oars.traits.in_service) == (60, "none")
    assert (spare.p_dead, spare.price, spare.lead_days, spare.fitting_hours.likely) == (0.1, None, None, 2)
    assert (works.price_covers, case.way("send away").price_covers) == (False, None)
    assert "specialist" in case.terms.labour  # somebody is paid for what the price does not cover


@pytest.mark.parametrize(
    ("row", "column", "write_"),
    [
        ({"way": "x", "kind": "carry on"}, "until_days_likely", "the days until the lasting repair"),
        ({"way": "x", "kind": "new", "price_likely": "9", "p_fails": "0.1"}, "p_fails", "for carry on"),
        ({"way": "x", "kind": "carry on", "until_days_likely": "9", "then": "y"}, "then", "write one of"),
        ({"way": "x", "kind": "carry on", "until_days_likely": "9", "p_never": "0.1"}, "p_never", "nothing has to"),
        ({"way": "x", "kind": "new", "price_likely": "9", "p_dead": "0.1"}, "p_dead", "for own spare"),
        ({"way": "x", "kind": "temporary", "until_days_likely": "9", "until_hours_likely": "9"}, "until_hours_likely",
         "one of the two"),
        ({"way": "x", "kind": "carry on", "until_days_likely": "9", "works_meanwhile": "maybe"}, "works_meanwhile",
         "'partly'"),
    ],
)  # fmt: skip
def test_what_a_way_may_not_say(tmp_path: Path, row: dict[str, str], column: str, write_: str) -> None:
    (fault,) = faults(write(tmp_path, more_ways(row)))
    assert (fault.file, fault.row, fault.column) == (WAYS, 8, column)
    assert write_ in fault.write


def test_running_hours_need_the_hours_of_a_year(tmp_path: Path) -> None:
    files = {**more_ways({"way": "x", "kind": "carry on", "until_hours_likely": "9"}), CASE: GOOD[CASE]}
    (fault,) = faults(write(tmp_path, files))
    assert "hours_a_year under [years]" in fault.write


def test_remedies_as_written_and_wrong(tmp_path: Path) -> None:
    rows = "Shaft,Grooved,new shaft,1 shaft,1,,\nshaft,grooved,sleeve,,2,0.9,0.7\n"
    new, sleeve = read_case(write(tmp_path / "a", {**GOOD, REMEDIES: FIX + rows})).remedies
    assert (new.event, new.outcome, new.parts, new.p_holds, new.life_share) == (
        "shaft",
        "grooved",
        (("shaft", 1),),
        1,
        1,
    )
    assert (sleeve.p_holds, sleeve.life_share, sleeve.extra_hours.likely, str(sleeve.source)) == (
        0.9,
        0.7,
        2,
        "remedies.csv:3",
    )
    wrong = "shft,grooved,a,,,,\nshaft,groved,b,,,,\nshaft,grooved,,3 bolts,,7,\n"
    seen = faults(write(tmp_path / "b", {**GOOD, REMEDIES: FIX + wrong}))
    assert spots(seen) == [
        (REMEDIES, 2, "event"), (REMEDIES, 3, "outcome"), (REMEDIES, 4, "p_holds"), (REMEDIES, 4, "parts"),
        (REMEDIES, 4, "remedy"),
    ]  # fmt: skip


def test_a_damage_part_must_be_taken_by_something(tmp_path: Path) -> None:
    """An outcome or a remedy; else what it costs changes nothing."""
    unused = cell(EVENTS, 7, "parts", "1 shaft")
    (fault,) = faults(write(tmp_path / "a", unused))
    assert (fault.file, fault.row, fault.column) == (PARTS, 4, "needed")
    assert "remedies.csv" in fault.write
    read_case(write(tmp_path / "b", {**unused, REMEDIES: FIX + "shaft,grooved,new bearing,bearing,1,,\n"}))


def test_an_event_left_out_for_one_state_of_a_hidden_cause(tmp_path: Path) -> None:
    """Its absence would be something to see; where the cause shows first, it tells nothing."""
    text = GOOD[EVENTS].replace("casing,neglect=light,whole,1,6,strip,,,,,,,,\n", "")
    (fault,) = faults(write(tmp_path / "a", {**GOOD, EVENTS: text}))
    assert (fault.row, fault.column) == (8, "given")
    assert "'neglect=light'" in fault.found
    seen = "gears,shaft=grooved,bent,1,6,measure,,,,,,,,\n"
    read_case(write(tmp_path / "b", {**GOOD, EVENTS: GOOD[EVENTS] + seen}))
    otherwise = "casing,,whole,1,6,strip,,,,,,,,\n"
    read_case(write(tmp_path / "c", {**GOOD, EVENTS: text + otherwise}))


def test_parts_for_some_ways(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, cells((PARTS, 2, "ways", "rebuild here"), (PARTS, 3, "ways", "rebuilds"))))
    assert [p.ways for p in case.parts[:3]] == [("rebuild here",), ("rebuilds",), ()]


def test_a_date_and_what_is_found(tmp_path: Path) -> None:
    text = '[needed]\nby = 2026-11-01\ncost_missed = [0, 100, 300]\n[found]\nShaft = "Grooved"\n[years]\n'
    case = read_case(write(tmp_path / "a", toml("[years]\n", text)))
    assert case.needed
    assert (case.needed.by, case.needed.within_days, case.needed.cost_missed.high) == (
        "2026-11-01",
        None,
        300,
    )
    assert case.found == "shaft=grooved"
    inline = toml('kind = "windlass"', 'kind = "windlass"\nfound = "shaft=grooved; casing=whole"')
    assert read_case(write(tmp_path / "b", inline)).found == "shaft=grooved; casing=whole"
    wrong = toml("[years]\n", '[needed]\ncost_missed = 5\n[found]\nshft = "grooved"\ncasing = "hole"\n[years]\n')
    columns = {f.column for f in faults(write(tmp_path / "c", wrong))}
    assert columns == {"needed.by", "found.shft", "found.casing"}


def test_no_kit_is_asked_for_where_nothing_is_rebuilt_here(tmp_path: Path) -> None:
    three = '[unit]\nname = "smoke shifter"\n[three_numbers]\nprice_new = 640\nwait_days = 6\n'
    ways = "way,kind,price_likely\nnew,new,640\npattern,pattern,400\n"
    assert read_case(write(tmp_path / "a", {CASE: three, WAYS: ways})).parts == ()
    (fault,) = faults(write(tmp_path / "b", {CASE: three, WAYS: ways + "rebuild here,rebuild,\n"}))
    assert fault.column == "three_numbers.price_kit"


def test_a_folder_of_quotes_alone_is_known_as_one(tmp_path: Path) -> None:
    files = {
        CASE: '[unit]\nname = "pump"\n', PARTS: "part\nseal\nshaft\n", "suppliers.csv": "supplier\nshop\n",
        "quotes.csv": "item,supplier,quoted_likely\nseal,shop,5\n",
    }  # fmt: skip
    case = read_case(write(tmp_path, files))
    assert case.quotes_alone
    assert case == read_case(tmp_path, order=True)
    with pytest.raises(Exception, match="price_new"):
        read_case(tmp_path, order=False)
