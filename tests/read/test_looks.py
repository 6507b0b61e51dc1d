"""Looks, the outcome in which another unit is to blame, and what an owner says of risk."""

from __future__ import annotations

from pathlib import Path

import pytest
from case_makers import (
    CASE,
    EVENTS,
    GOOD,
    LOOKS,
    PARTS,
    QUOTES,
    THREE,
    WAYS,
    as_csv,
    cell,
    cells,
    faults,
    spots,
    toml,
    write,
)

from repairecon.read import read_case

DATA = Path(__file__).resolve().parents[2] / "data"
WRONG_UNIT = [
    "this unit,,to blame,0.9,5,first run,,,,,,,,all",
    "this unit,,another,0.1,5,first run,,,,,,,,all",
]


def with_wrong_unit(files: dict[str, str]) -> dict[str, str]:
    """The files with an event in which another unit may be to blame: rows 11 and 12."""
    events = {**files, EVENTS: files[EVENTS] + "\n".join(WRONG_UNIT) + "\n"}
    return cell(EVENTS, 12, "not_this_unit", "yes", events)


def test_what_stands_in_looks(tmp_path: Path) -> None:
    """By hand: 21 % tax on what is ex; a name as its own file spells it; blank p_right of a price is 1."""
    files = cells((LOOKS, 2, "event", "SHAFT"), (LOOKS, 5, "price_of", "Second-Hand"))
    case = read_case(write(tmp_path, files))
    turn, drain, ask, firm = case.looks
    assert (turn.look, turn.event, turn.price_of, turn.p_right) == ("turn it by hand", "shaft", "", 0.8)
    assert (turn.hours.likely, turn.cost.high, turn.days.high) == (0.2, 0, 0)
    assert (drain.cost.low, drain.cost.likely, drain.cost.high) == (
        pytest.approx(6.05),
        pytest.approx(9.68),
        pytest.approx(24.20),
    )
    assert (drain.event, drain.days.likely, str(drain.source)) == ("neglect", 1, "looks.csv:3")
    assert (ask.event, ask.price_of, ask.p_right) == ("", "shaft", 1)
    assert (firm.price_of, firm.p_right, firm.days.likely) == ("second-hand", 1, 2)


def test_only_a_blank_p_right_of_an_event_is_assumed(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, GOOD))
    (listed,) = (a for a in case.assumed if a.name.startswith("p_right"))
    assert listed.name == "p_right (drain the oil)"
    assert listed.value == str(case.looks[1].p_right)
    assert "no source" in listed.source


def test_no_looks_without_the_file(tmp_path: Path) -> None:
    assert read_case(write(tmp_path, {k: v for k, v in GOOD.items() if k != LOOKS})).looks == ()


def test_notes_of_looks_are_kept(tmp_path: Path) -> None:
    assert read_case(write(tmp_path, cell(LOOKS, 3, "note", "warm"))).notes == {"looks.csv:3": "warm"}


MIDDLING = (
    "neglect,,middling,0.1,5,,,,,,,,,all\nshaft,neglect=middling,sound,1,6,strip,,,,,,,,\n"
    "casing,neglect=middling,whole,1,6,strip,,,,,,,,\n"
)


@pytest.mark.parametrize(("p_right", "least"), [("0.33", "0.34"), ("0.34", ""), ("0.5", ""), ("0", "0.34")])
def test_guessing_among_three(tmp_path: Path, p_right: str, least: str) -> None:
    """Who guesses among three outcomes is right one time in three."""
    files = cells((EVENTS, 2, "chance", "0.5"), (LOOKS, 3, "p_right", p_right))
    folder = write(tmp_path, {**files, EVENTS: files[EVENTS] + MIDDLING})
    if least:
        (fault,) = faults(folder)
        assert (fault.file, fault.row, fault.column) == (LOOKS, 3, "p_right")
        assert fault.write.endswith(f"give at least {least}")
    else:
        assert read_case(folder).looks[1].p_right == float(p_right)


def test_a_look_as_good_as_a_guess_is_no_fault(tmp_path: Path) -> None:
    """It is worth nothing, which the answer says."""
    assert read_case(write(tmp_path, cell(LOOKS, 2, "p_right", "0.5"))).looks[0].p_right == 0.5


def test_an_event_of_one_outcome_happens_or_not(tmp_path: Path) -> None:
    """A guess at whether it happens is right one time in two."""
    extra = "pin,shaft=grooved,sheared,1,5,strip,,,,,,,,\n"
    files = {**cell(LOOKS, 2, "event", "pin"), EVENTS: GOOD[EVENTS] + extra}
    assert read_case(write(tmp_path / "a", files)).looks[0].event == "pin"
    seen = faults(write(tmp_path / "b", cell(LOOKS, 2, "p_right", "0.49", files)))
    assert spots(seen) == [(LOOKS, 2, "p_right")]
    assert seen[0].write.endswith("give at least 0.50")


def test_the_same_look_twice(tmp_path: Path) -> None:
    (fault,) = faults(write(tmp_path, {**GOOD, LOOKS: GOOD[LOOKS] + "Drain  the Oil,casing,,,,,,,,\n"}))
    assert (fault.file, fault.row, fault.column) == (LOOKS, 6, "look")
    assert "row 3 has this one" in fault.write


def test_a_sure_price_may_be_asked(tmp_path: Path) -> None:
    """Bearing, exchange and a part that is only quoted: nothing to learn, nothing wrong."""
    for k, name in enumerate(("bearing", "exchange", "top seal", "new, maker")):
        case = read_case(write(tmp_path / str(k), cell(LOOKS, 4, "price_of", name)))
        assert case.looks[2].price_of == name


def test_a_price_that_is_asked_must_be_there(tmp_path: Path) -> None:
    """Once, whether or not an outcome needs the part too."""
    asked = cell(LOOKS, 4, "price_of", "bearing")
    without = cell(EVENTS, 7, "parts", "shaft", cell(PARTS, 4, "price_likely", "", asked))
    useless, fault = faults(write(tmp_path / "a", without))
    assert (useless.file, useless.row, useless.column) == (PARTS, 4, "needed")
    assert (fault.file, fault.row, fault.column) == (PARTS, 4, "price_likely")
    assert "a look in looks.csv asks for it" in fault.write
    (fault,) = faults(write(tmp_path / "b", cell(PARTS, 4, "price_likely", "", asked)))
    assert "an outcome in events.csv needs it" in fault.write


def test_a_part_and_a_way_of_one_name(tmp_path: Path) -> None:
    files = cells(
        (PARTS, 4, "part", "exchange"), (EVENTS, 7, "parts", "shaft; exchange"), (LOOKS, 4, "price_of", "exchange")
    )
    seen = faults(write(tmp_path, files))
    assert spots(seen) == [(LOOKS, 4, "price_of")]
    assert "a part and a way" in seen[0].found


def test_nothing_unknown_where_names_could_not_be_read(tmp_path: Path) -> None:
    """One missing heading is one fault, not one for each look."""
    for k, (file, column) in enumerate([(EVENTS, "event"), (PARTS, "part"), (WAYS, "way")]):
        files = {**GOOD, file: GOOD[file].replace(column, "colour", 1)}
        seen = faults(write(tmp_path / str(k), files))
        assert spots(seen) == [(file, 1, "colour"), (file, 1, column)], seen


def test_nothing_unknown_where_a_file_could_not_be_read(tmp_path: Path) -> None:
    for k, file in enumerate((EVENTS, PARTS, WAYS)):
        assert spots(faults(write(tmp_path / str(k), {**GOOD, file: ""}))) == [(file, None, "")]


def test_headings_of_looks(tmp_path: Path) -> None:
    """With neither heading every row lacks what it tells of."""
    seen = faults(write(tmp_path, {**GOOD, LOOKS: "look,hours_likely\nlisten,1\nsmell,1\n"}))
    assert spots(seen) == [(LOOKS, 2, "event"), (LOOKS, 3, "event")]
    (fault,) = faults(write(tmp_path, {**GOOD, LOOKS: "event\nshaft\n"}))
    assert (fault.file, fault.row, fault.column) == (LOOKS, 1, "look")


def test_looks_in_a_file_nearly_named_right(tmp_path: Path) -> None:
    (fault,) = faults(write(tmp_path, {**GOOD, "look.csv": GOOD[LOOKS]}))
    assert (fault.file, fault.write.split("?")[0]) == ("look.csv", "did you mean looks.csv")


def test_another_unit_to_blame(tmp_path: Path) -> None:
    """Marked by yes alone; nothing else need follow from it."""
    case = read_case(write(tmp_path, with_wrong_unit(dict(GOOD))))
    assert [b.key for b in case.branches if b.not_this_unit] == ["this unit=another"]
    assert case.branches[10].ends_rebuild is False
    assert not any(b.not_this_unit for b in read_case(write(tmp_path / "no", GOOD)).branches)


def test_days_lost_elsewhere_are_assumed_only_when_they_can_be_lost(tmp_path: Path) -> None:
    plain = read_case(write(tmp_path / "a", GOOD))
    assert "elsewhere_days" not in [a.name for a in plain.assumed]
    case = read_case(write(tmp_path / "b", with_wrong_unit(dict(GOOD))))
    (listed,) = (a for a in case.assumed if a.name == "elsewhere_days")
    assert float(listed.value) == case.terms.elsewhere_days > 0
    files = toml("[owner]", "[owner]\nelsewhere_days = 7.5", with_wrong_unit(dict(GOOD)))
    case = read_case(write(tmp_path / "c", files))
    assert case.terms.elsewhere_days == 7.5
    assert "elsewhere_days" not in [a.name for a in case.assumed]
    assert read_case(write(tmp_path / "d", {CASE: THREE})).terms.elsewhere_days > 0  # the default tree


def test_risk_is_neutral_unless_said(tmp_path: Path) -> None:
    case = read_case(write(tmp_path / "a", GOOD))
    assert (case.terms.risk_tolerance, case.terms.cap_cost) == (None, None)
    assert not {"risk_tolerance", "cap_cost", "cap_chance"} & {a.name for a in case.assumed}
    files = toml("[owner]", "[owner]\nrisk_tolerance = 2500\ncap_cost = 1800")
    case = read_case(write(tmp_path / "b", files))
    assert (case.terms.risk_tolerance, case.terms.cap_cost) == (2500, 1800)
    (listed,) = (a for a in case.assumed if a.name == "cap_chance")
    assert float(listed.value) == case.terms.cap_chance == 0.1
    files = toml("[owner]", "[owner]\ncap_cost = 1800\ncap_chance = 0.25")
    case = read_case(write(tmp_path / "c", files))
    assert case.terms.cap_chance == 0.25
    assert "cap_chance" not in [a.name for a in case.assumed]


def test_looks_need_no_quotes_or_parts_file(tmp_path: Path) -> None:
    """The kit and the default ways may be asked for by their names."""
    text = as_csv([["look", "price_of"], ["ask", "rebuild kit"], ["ask twice", "New"]])
    case = read_case(write(tmp_path, {CASE: THREE, LOOKS: text}))
    assert [x.price_of for x in case.looks if x.price_of] == ["rebuild kit", "new"]
    assert QUOTES not in {x.source.file for x in case.looks}


@pytest.mark.parametrize("name", ["windlass", "alternator"])
def test_demo_looks(name: str) -> None:
    """Something tells whether it is this unit at all, and something tells of a price that is not sure."""
    case = read_case(DATA / name)
    wrong = {b.event for b in case.branches if b.not_this_unit}
    assert wrong & {x.event for x in case.looks}
    prices = {p.part: p.price for p in case.parts} | {w.way: w.price for w in case.ways}
    quoted = {q.item for q in case.quotes if not q.quoted.sure}
    asked = [x.price_of for x in case.looks if x.price_of]
    assert asked
    assert all(a in quoted or (prices[a] is not None and not prices[a].sure) for a in asked)
    assert not [a for a in case.assumed if a.name.startswith(("p_right", "look"))]
