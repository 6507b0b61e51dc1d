"""Faults of a folder as a whole, of its files, and between rows; all of them at once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from case_makers import (
    CASE,
    EVENTS,
    GOOD,
    PARTS,
    QUOTES,
    SUPPLIERS,
    TASKS,
    THREE,
    WAYS,
    cell,
    cells,
    faults,
    line,
    spots,
    toml,
    write,
)

from repairecon.read import read_case


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [
        ("[money.exchange]\nGBP = 1.17", "exchange = 1.17", "money.exchange"),
        ("[[waiver]]", "[waiver.one]", "waiver.one"),
        ("[labour.yard]\ncost_hour", "[labour]\nyard", "labour.yard"),
    ],
)
def test_a_value_in_the_place_of_a_section(tmp_path: Path, old: str, new: str, column: str) -> None:
    seen = faults(write(tmp_path, toml(old, new)))
    assert (CASE, line(toml(old, new)[CASE], new.split("\n")[-1]), column) in spots(seen), seen


# file, a row to add, the column and what is found there
AGAIN = [
    (PARTS, "Circlip ,,1,damage,,9,,,,,,,", "part", "'Circlip' again", "row 3 has this one"),
    (
        EVENTS,
        "shaft,neglect=light, Grooved,0.1,6,strip,,,,,,,,",
        "outcome",
        "'shaft=grooved' again",
        "row 5 has it",
    ),
    (WAYS, "exchange,new,,9,,,,,,,,,,,,,,,,,,,", "way", "'exchange' again", "row 4 has this one"),
    (SUPPLIERS, "Bearing  Stockist,,,,,,,,,,,,,,,", "supplier", "'Bearing Stockist' again", "row 2 has this one"),
]


@pytest.mark.parametrize(("file", "text", "column", "found", "advice"), AGAIN, ids=[a[0] for a in AGAIN])
def test_the_same_name_twice(tmp_path: Path, file: str, text: str, column: str, found: str, advice: str) -> None:
    """Whatever its case and spacing."""
    (fault,) = faults(write(tmp_path, {**GOOD, file: GOOD[file] + text + "\n"}))
    assert (fault.file, fault.row, fault.column) == (file, GOOD[file].count("\n") + 1, column)
    assert found in fault.found
    assert advice in fault.write


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path / "nowhere")
    assert fault.file.endswith("nowhere") or fault.file.endswith("...")
    assert (fault.found, fault.row) == ("no such folder", None)
    (fault,) = faults(write(tmp_path, GOOD) / "case.toml")
    assert fault.found == "a file, not a folder"


def test_no_case_toml(tmp_path: Path) -> None:
    """The other files are still read, and nothing is said of what only case.toml can tell."""
    files = {k: v for k, v in cell(PARTS, 3, "price_likely", "x").items() if k != CASE}
    seen = faults(write(tmp_path, files))
    assert spots(seen) == [(CASE, None, ""), (PARTS, 3, "price_likely")]
    assert seen[0].found == "no such file"


def test_case_toml_that_is_no_toml(tmp_path: Path) -> None:
    seen = faults(write(tmp_path, {**cell(QUOTES, 3, "pack", "x"), CASE: THREE.replace('"smoke shifter"', "starter")}))
    assert spots(seen) == [(CASE, 2, ""), (QUOTES, 3, "pack")]
    assert "name = starter" in seen[0].found


@pytest.mark.parametrize(
    "text",
    ["[" * 5000, "a = " + "[" * 5000, f"a = {'9' * 6000}", "a = 2026-13-45", "[a]\n[a]", '"', "x = 1\x00["],
)
def test_mad_toml_is_one_fault(tmp_path: Path, text: str) -> None:
    assert [f.file for f in faults(write(tmp_path, {CASE: text}))] == [CASE]


def test_a_file_or_folder_in_the_place_of_another(tmp_path: Path) -> None:
    folder = write(tmp_path, {k: v for k, v in GOOD.items() if k != PARTS})
    (folder / PARTS).mkdir()
    assert spots(faults(folder)) == [(PARTS, None, "")]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    folder = write(tmp_path, {k: v for k, v in GOOD.items() if k != PARTS})
    os.mkfifo(folder / PARTS)
    assert spots(faults(folder)) == [(PARTS, None, "")]


def test_a_file_that_is_nearly_named_right(tmp_path: Path) -> None:
    (fault,) = faults(write(tmp_path, {**GOOD, "event.csv": GOOD[EVENTS], "log.csv": "a\n"}))
    assert (fault.file, fault.write.split("?")[0]) == ("event.csv", "did you mean events.csv")


def test_headings(tmp_path: Path) -> None:
    """A misspelt heading is one fault, and the cells below it are still read."""
    files = {**GOOD, PARTS: GOOD[PARTS].replace("needed", "neded").replace("always", "alwys", 1)}
    seen = faults(write(tmp_path, files))
    assert spots(seen) == [(PARTS, 1, "neded"), (PARTS, 2, "needed")]
    assert "did you mean 'needed'?" in seen[0].write


def test_price_alone_means_likely(tmp_path: Path) -> None:
    text = "part,needed,price\nshaft,always,12\n"
    files = {**GOOD, PARTS: text, QUOTES: "", EVENTS: ""}
    seen = faults(write(tmp_path, {k: v for k, v in files.items() if v and k not in (WAYS, SUPPLIERS)}))
    assert (PARTS, 1, "price") in spots(seen)
    assert "'price_likely'" in next(f for f in seen if f.file == PARTS).write


def test_missing_heading(tmp_path: Path) -> None:
    """One fault, however many rows, and no unknown parts because of it."""
    seen = faults(write(tmp_path, {**GOOD, PARTS: GOOD[PARTS].replace("part,", "colour,", 1)}))
    assert spots(seen) == [(PARTS, 1, "colour"), (PARTS, 1, "part")]
    assert seen[1].write == "add a column headed 'part'"


def test_heading_twice_and_cells_without_heading(tmp_path: Path) -> None:
    text = GOOD[SUPPLIERS].replace("role", "currency").replace(",2\n", ",2,50\n", 1)
    seen = faults(write(tmp_path, {**GOOD, SUPPLIERS: text}))
    assert (SUPPLIERS, 1, "currency") in spots(seen)
    assert (SUPPLIERS, 2, "") in spots(seen)
    assert any("more cells than headings: '50'" in f.found for f in seen)


def test_an_empty_file(tmp_path: Path) -> None:
    assert spots(faults(write(tmp_path, {**GOOD, TASKS: ""}))) == [(TASKS, None, "")]


def test_a_quote_mark_that_is_never_closed(tmp_path: Path) -> None:
    seen = faults(write(tmp_path, {**GOOD, TASKS: GOOD[TASKS].replace("hire of", '"hire of')}))
    assert (TASKS, 3, "") in spots(seen)
    assert "never closed" in next(f.found for f in seen if f.column == "")


def test_not_utf_8(tmp_path: Path) -> None:
    """Row and column of the letter, once, and the rest of the file is read."""
    text = cell(PARTS, 4, "description", "Größe")[PARTS].encode("latin-1").replace(b",12,,ex", b",x,,ex")
    seen = faults(write(tmp_path, {**GOOD, PARTS: text}))
    assert spots(seen) == [(PARTS, 4, "description"), (PARTS, 4, "price_likely")]
    assert (seen[0].found, "CSV UTF-8" in seen[0].write) == ("'Gr??e'", True)
    files = {**GOOD, CASE: GOOD[CASE].replace("tested", "geprüft").encode("latin-1")}
    seen = faults(write(tmp_path, files))
    assert [(f.row, f.column) for f in seen if f.file == CASE] == [(line(GOOD[CASE], "tested"), "")]


def test_groups_that_can_both_hold(tmp_path: Path) -> None:
    files = cells((EVENTS, 8, "given", "shaft=grooved"), (EVENTS, 9, "given", "shaft=grooved"))
    seen = faults(write(tmp_path, files))
    assert spots(seen) == [(EVENTS, 10, "given")]
    assert "can hold together with row 8" in seen[0].found


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ("neglct=heavy", "an unknown event 'neglct'"),
        ("neglect=heavi", "an unknown outcome 'heavi' of 'neglect'"),
        ("neglect", "'neglect'"),
        ("neglect=light; neglect=heavy", "'neglect' with two outcomes"),
    ],
)
def test_unknown_conditions(tmp_path: Path, given: str, found: str) -> None:
    seen = faults(write(tmp_path, cells((EVENTS, 8, "given", given), (EVENTS, 9, "given", given))))
    assert {(f.file, f.row, f.column, f.found) for f in seen} == {
        (EVENTS, 8, "given", found),
        (EVENTS, 9, "given", found),
    }


def test_circles(tmp_path: Path) -> None:
    """Each circle once, at its first row."""
    files = cells((EVENTS, 2, "given", "shaft=sound"), (EVENTS, 3, "given", "shaft=sound"))
    extra = "gear,gear=worn,worn,1,1,strip,,,,,,,,\n"
    seen = faults(write(tmp_path, {**files, EVENTS: files[EVENTS] + extra}))
    assert spots(seen) == [(EVENTS, 2, "given"), (EVENTS, 11, "given")]
    assert "a circle: 'neglect -> shaft -> neglect'" in seen[0].found or "shaft -> neglect -> shaft" in seen[0].found
    assert "gear -> gear" in seen[1].found


def test_seen_at_differs(tmp_path: Path) -> None:
    seen = faults(write(tmp_path, cell(EVENTS, 9, "seen_at", "removal")))
    assert spots(seen) == [(EVENTS, 9, "seen_at")]
    assert "row 8 has 'strip'" in seen[0].write


def test_part_without_price(tmp_path: Path) -> None:
    """Always needed, or needed by an outcome; a part of damage that nothing takes is the fault itself."""
    files = cells((PARTS, 2, "part", "seal"), (PARTS, 4, "price_likely", ""), (EVENTS, 7, "parts", "shaft; bearing"))
    seen = faults(write(tmp_path, files))
    assert spots(seen) == [
        (PARTS, 2, "price_likely"),
        (PARTS, 4, "price_likely"),
        *[(QUOTES, r, "item") for r in (2, 3)],
    ]
    (fault,) = faults(write(tmp_path, cells((PARTS, 4, "price_likely", ""), (EVENTS, 7, "parts", "shaft"))))
    assert (fault.file, fault.row, fault.column) == (PARTS, 4, "needed")


def test_a_wrong_quote_is_still_a_quote(tmp_path: Path) -> None:
    files = cells((QUOTES, 2, "quoted_likely", "6,90"), (QUOTES, 3, "supplier", "nobody"))
    assert spots(faults(write(tmp_path, files))) == [(QUOTES, 2, "quoted_likely"), (QUOTES, 3, "supplier")]


def test_quotes_without_suppliers_is_one_fault(tmp_path: Path) -> None:
    (fault,) = faults(write(tmp_path, {k: v for k, v in GOOD.items() if k != SUPPLIERS}))
    assert (fault.file, fault.row) == (SUPPLIERS, None)
    assert "'bearing stockist', 'specialist abroad'" in fault.write


def test_the_three_numbers_are_asked_for_only_when_needed(tmp_path: Path) -> None:
    (tmp_path / CASE).write_text('[unit]\nname = "smoke shifter"\n')
    wanted = [(CASE, None, f"three_numbers.{name}") for name in ("price_kit", "price_new", "wait_days")]
    assert spots(faults(tmp_path)) == wanted
    without = GOOD[CASE][: GOOD[CASE].index("[three")] + GOOD[CASE][GOOD[CASE].index("[money]") :]
    read_case(write(tmp_path, {**GOOD, CASE: without}))


def test_a_pair_needs_something_to_buy(tmp_path: Path) -> None:
    """With one way of kind new it is that one; with none or two the owner must say."""
    assert "bought (buy and rebuild)" in [
        a.name for a in read_case(write(tmp_path, cell(WAYS, 7, "bought", ""))).assumed
    ]
    two = cells((WAYS, 7, "bought", ""), (WAYS, 6, "kind", "new"))
    (fault,) = faults(write(tmp_path, two))
    assert (fault.row, fault.column) == (7, "bought")
    assert fault.write == "write one of: 'new, maker', 'second-hand'"


@pytest.mark.parametrize(
    ("low", "likely", "high", "column"),
    [
        ("5", "10", "15", "lead_days_shape"),
        ("5", "10", "14", "lead_days_shape"),
        ("1", "10", "30", "lead_days_shape"),
        ("10", "10", "30", "lead_days_shape"),
        ("5", "10", "20", ""),
        ("8", "10", "15", ""),
    ],
)
def test_lognormal_that_does_not_fit(tmp_path: Path, low: str, likely: str, high: str, column: str) -> None:
    names = ("lead_days_low", "lead_days_likely", "lead_days_high", "lead_days_shape")
    texts = (low, likely, high, "lognormal")
    folder = write(tmp_path, cells(*((PARTS, 5, n, t) for n, t in zip(names, texts, strict=True))))
    if column:
        assert spots(faults(folder)) == [(PARTS, 5, column)]
    else:
        assert read_case(folder).parts[3].lead_days is not None


def test_twenty_faults_at_once(tmp_path: Path) -> None:
    """All of them, by file and row, and none besides."""
    wrong = [
        (EVENTS, 2, "chance", "0.61"),
        (EVENTS, 4, "weight", "x"),
        (EVENTS, 5, "parts", "shfat"),
        (EVENTS, 7, "by", "nobody"),
        (EVENTS, 9, "core_refused", "x"),
        (PARTS, 2, "needed", "x"),
        (PARTS, 3, "quantity", "-1"),
        (PARTS, 4, "price_likely", "12,00"),
        (PARTS, 5, "price_low", "900"),
        (QUOTES, 2, "pack", "1.5"),
        (QUOTES, 3, "quoted_on", "x"),
        (QUOTES, 4, "item", "x"),
        (SUPPLIERS, 2, "currency", "NOK"),
        (SUPPLIERS, 3, "vat_rate", "20"),
        (TASKS, 2, "hours_high", "-6"),
        (TASKS, 3, "stage", "x"),
        (TASKS, 5, "ways", "x"),
        (WAYS, 3, "price_high", "x"),
        (WAYS, 6, "p_never", "7"),
    ]
    files = toml("cost_own_hour = 18", "cost_own_hour = '18'", cells(*wrong))
    seen = spots(faults(write(tmp_path, files)))
    expected = [(CASE, line(files[CASE], "cost_own_hour"), "owner.cost_own_hour")]
    expected += [(file, row, column) for file, row, column, _ in wrong]
    assert len(expected) == 20
    assert seen == sorted(expected)


def test_nothing_a_terminal_obeys_in_faults(tmp_path: Path) -> None:
    wild = "\x1b[31mred\x1b[0m\x07\x9b31m\u202e" + "x" * 100
    files = cells((PARTS, 3, "price_likely", wild), (PARTS, 3, "needed", "<b>=1+1"))
    (needed, price) = faults(write(tmp_path, files))
    assert price.found.isprintable()
    assert price.found.startswith("'red31mxxx")
    assert len(price.found) <= 42
    assert needed.found == "'<b>=1+1'"


def test_a_column_without_a_heading_over_a_filled_cell(tmp_path: Path) -> None:
    """A blanked heading would drop a surcharge without a word; over blank cells alone it does no harm."""
    spoilt = GOOD[WAYS].replace("core_surcharge_likely", "", 1)
    seen = faults(write(tmp_path, {**GOOD, WAYS: spoilt}))
    assert [(f.row, f.found) for f in seen if f.file == WAYS] == [(4, "no heading over '300'")]
    read_case(write(tmp_path, {**GOOD, WAYS: GOOD[WAYS].replace("\n", ",\n")}))


def test_a_row_that_is_cut_short(tmp_path: Path) -> None:
    """Wherever a file is cut within a line that is not its last cell, it is not read as whole."""
    lines = GOOD[PARTS].splitlines()
    for kept in range(1, lines[0].count(",") + 1):
        cut = "\n".join([*lines[:-1], ",".join(lines[-1].split(",")[:kept])]) + "\n"
        seen = faults(write(tmp_path, {**GOOD, PARTS: cut}))
        assert (PARTS, 5, "") in spots(seen)
        assert f"{kept} cells under 13 headings" in [f.found for f in seen]


def test_a_last_line_without_an_end(tmp_path: Path) -> None:
    whole = read_case(write(tmp_path, GOOD))
    assert PARTS not in whole.notes
    cut = read_case(write(tmp_path, {**GOOD, PARTS: GOOD[PARTS].rstrip("\n")}))
    assert "whole" in cut.notes[PARTS]


@pytest.mark.parametrize(
    ("file", "written", "meant"),
    [
        (QUOTES, "remarks", "note"),
        (PARTS, "Comments", "note"),
        (PARTS, "price", "price_likely"),
        (TASKS, "worker", "by"),
    ],
)
def test_hints_for_headings_mean_what_was_meant(tmp_path: Path, file: str, written: str, meant: str) -> None:
    text = GOOD[file].replace("\n", f",{written}\n", 1).replace("\n", ",\n").replace(f"{written},\n", f"{written}\n", 1)
    seen = faults(write(tmp_path, {**GOOD, file: text}))
    assert [f.write for f in seen] == [f"did you mean '{meant}'?"], seen
