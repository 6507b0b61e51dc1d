"""The bench sheet of every kind: cautions first, each limit beside its blank, nothing lost, one page of A4.

The page count is Chromium's and pdfinfo's; what must stand on the sheet is common practice, no source.
"""

from __future__ import annotations

import csv
import html
import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

import pytest

from repairecon.kinds import facts, kinds
from repairecon.kinds.facts import of_kind, rows
from repairecon.read import read_case
from repairecon.rebuild_or_buy import sentences
from repairecon.rebuild_or_buy.bench_sheet import BenchSheet, as_html, as_text
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.stages import LEAVE
from repairecon.records import STAGES, Case

DATA = Path(__file__).parents[2] / "data"
WIDE = 100_000


def case_of(folder: Path, name: str, symptom: str = "", **files: str) -> Case:
    folder.mkdir(parents=True, exist_ok=True)
    unit = f"[unit]\nname = '{name}'\nsafety = []\nsymptom = '{symptom}'\n"
    (folder / "case.toml").write_text(
        f"{unit}[three_numbers]\nprice_new = 640\nprice_kit = 95\nwait_days = 6\n", encoding="utf-8"
    )
    for file, text in files.items():
        (folder / f"{file}.csv").write_text(text, encoding="utf-8")
    return read_case(folder)


@cache
def sheet_of(kind: str, folder: Path, nth: int = 0) -> BenchSheet:
    """The sheet of a kind with the symptom of that number."""
    return BenchSheet(case_of(folder / f"{kind}{nth}", kind, facts(kind).symptoms[nth]))


@pytest.fixture(scope="session")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("sheets")


@pytest.mark.parametrize("kind", kinds())
def test_cautions_come_first(kind: str, place: Path) -> None:
    sheet = sheet_of(kind, place)
    for shown in (as_text(sheet, WIDE), html.unescape(as_html(sheet))):
        begins = min(shown.index(first) for first in ("Step by step", "<table>") if first in shown)
        for caution in facts(kind).cautions:
            assert 0 < shown.index(caution) < begins
        assert shown.index(sheet.who_may) < begins
    assert ("Not for an owner" in sheet.who_may) == (facts(kind).own_rebuild == "licensed practice only")


@pytest.mark.parametrize(
    ("kind", "first"),
    [
        ("raw water pump", "seacock"),
        ("alternator", "Battery off"),
        ("windlass", "Breaker off"),
        ("lift pump", "Shut the fuel"),
        ("gas locker regulator", "Shut the bottle"),
        ("battery charger", "Shore power off"),
        ("watermaker pump", "gauge at nothing"),
    ],
)
def test_isolation_is_the_first_caution(kind: str, first: str, place: Path) -> None:
    assert first in sheet_of(kind, place).cautions[0]


@pytest.mark.parametrize("kind", kinds())
def test_every_limit_stands_beside_a_blank_at_its_step(kind: str, place: Path) -> None:
    sheet = sheet_of(kind, place)
    text, page = as_text(sheet, WIDE), html.unescape(as_html(sheet))
    stages = {step.stage for step in sheet.steps}
    for (_, row), (_, at) in zip(of_kind("limits", kind), of_kind("limit_stages", kind), strict=True):
        (step,) = [s for s in sheet.steps if any(name == row["measure"] for name, _ in s.measures)]
        if at["stage"] in stages:
            assert step.stage == at["stage"]
        assert f"{row['measure']}: ________ limit: {row['limit']}" in text
        beside = rf"{re.escape(row['measure'])} <span class=.blank.>[^<]*</span> limit: {re.escape(row['limit'])}"
        assert re.search(beside, page)
        if row["what_then"] != "-":
            assert f"{row['limit']} (else: {row['what_then']})" in text


@pytest.mark.parametrize("kind", kinds())
def test_nothing_of_the_kind_is_lost(kind: str, place: Path) -> None:
    text = as_text(sheet_of(kind, place), WIDE).casefold()
    known = facts(kind)
    for said in (t["task"] for t in known.tasks):
        assert said.casefold() in text
    for part in known.always_renew:
        assert part["part"].casefold() in text
        assert part["usual_sizes"].casefold() in text
    for task in known.tasks:
        assert task["by"] == "owner" or f"[{task['by']}]" in text
    # the order of stripping is that of the kind's own rows
    places = [text.index(f"[ ] {t['stage']}: {t['task'].casefold()}") for t in known.tasks]
    assert places == sorted(places)


def test_the_stages_of_limits_name_the_limits_and_no_other() -> None:
    staged, limits = ([(r["kind"], r["measure"]) for r in rows(table)] for table in ("limit_stages", "limits"))
    assert staged == limits
    assert {r["stage"] for r in rows("limit_stages")} <= set(STAGES[:-1])


# where a mechanic takes these: by hand before it comes off, on the bench, or once it runs; common practice, no source
@pytest.mark.parametrize(
    ("kind", "measure", "word"),
    [
        ("raw water pump", "groove depth at the seal", "seal tracks"),
        ("raw water pump", "belt deflection with thumb", "belt tension"),
        ("alternator", "rotor resistance", "rotor ohms"),
        ("alternator", "charge voltage", "run, measure volts"),
        ("starter motor", "mica undercut", "commutator"),
        ("gearbox", "coupling faces", "line up the shaft"),
        ("turbocharger", "shaft end play", "end play"),
        ("outboard carburettor", "float height", "float height"),
        ("saildrive", "leg pressure test", "pressure test the leg"),
    ],
)
def test_a_limit_stands_at_the_step_that_measures_it(kind: str, measure: str, word: str, place: Path) -> None:
    (step,) = [s for s in sheet_of(kind, place).steps if measure in [name for name, _ in s.measures]]
    assert word in step.work


def test_the_looks_of_the_symptom_come_in_the_mechanics_order(place: Path) -> None:
    kind = "windlass"
    text = as_text(sheet_of(kind, place), WIDE)
    looks = [x["look"] for x in facts(kind).looks_of(facts(kind).symptoms[0])]
    at = [text.index(f"look: {name}") for name in looks if f"look: {name}" in text]
    assert len(at) >= 2
    assert at == sorted(at)


def test_an_unknown_unit_gets_the_general_sheet(tmp_path: Path) -> None:
    sheet = BenchSheet(case_of(tmp_path / "unknown", "frobnicator"))
    assert "general sheet" in sheet.taken_as
    assert "find out what its failure can do" in " ".join(sheet.cautions)
    assert [s.stage for s in sheet.steps] == list(STAGES[:-1])
    assert sum(len(s.measures) for s in sheet.steps) >= 3
    assert dict(sheet.at_hand)["Tools"]


def test_a_name_that_fits_several_kinds_says_so(tmp_path: Path) -> None:
    sheet = BenchSheet(case_of(tmp_path / "doubt", "pump"))
    assert "not sure" in sheet.taken_as
    assert "general sheet" in sheet.taken_as


def test_the_case_own_work_sizes_and_findings_go_over_those_of_the_kind() -> None:
    case = read_case(DATA / "windlass")
    sheet = BenchSheet(case)
    text = as_text(sheet, WIDE)
    with (DATA / "windlass" / "parts.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            assert (f"{row['part']}, {row['standard_size']}" in text) == (
                row["needed"] == "always" and bool(row["standard_size"])
            )
    assert "[ ] strip: Strip and clean" in text
    assert "casing: [ ] sound [ ] eaten through" in text
    assert "hire of press and bearing puller" in dict(sheet.at_hand)["To arrange"]
    assert "crate and carrier" not in text  # goes with sending it away alone
    assert "[yard]" in text
    assert "Stop and ask what a new one costs if: casing: eaten through." in sheet.stop


def test_the_stop_rule_is_that_of_the_advice() -> None:
    case = read_case(DATA / "windlass")
    answer = rebuild_or_buy(case, draws=1024)
    stop = " ".join(BenchSheet(case, answer).stop)
    assert answer.advice.stops
    first = answer.advice.stops[0]
    assert sentences.AFTER[STAGES[first.point]] in stop.casefold()
    assert first.action in stop
    for event, outcome in first.findings:
        assert f"{event} {outcome}" in stop


def test_the_sheet_stops_where_the_advice_over_the_years_does() -> None:
    """By this job alone another unit would be bought."""
    case = read_case(DATA / "boat/jobs/raw_water_pump")
    answer = rebuild_or_buy(case, draws=1024)
    years, job = ({s.action for s in stops if s.action != LEAVE} for stops in (answer.advice.stops, answer.stop_when))
    stop = " ".join(BenchSheet(case, answer).stop)
    assert years != job
    assert all(action in stop for action in years)
    assert not any(action in stop for action in job - years)


def test_what_is_for_the_licensed_hand_is_said_before_all_else(place: Path) -> None:
    sheet = sheet_of("injection pump", place)
    assert "licensed hand" in sheet.stop[0]
    assert any(line.startswith("specialist, for:") for line in dict(sheet.after)["Who to call"])


def test_text_keeps_its_width_and_page_needs_nothing_else(place: Path) -> None:
    sheet = sheet_of("raw water pump", place)
    assert max(len(line) for line in as_text(sheet, 60).splitlines()) <= 60
    page = as_html(sheet)
    assert not re.search(r"https?:|src=|url\(|@import|<script|<link", page)
    assert "size:A4" in page


def test_words_of_the_case_are_escaped(tmp_path: Path) -> None:
    case = case_of(tmp_path / "sly", 'windlass <img src="x"> & co', "<script>alert(1)</script>")
    page = as_html(BenchSheet(case))
    assert "<img" not in page
    assert "<script" not in page
    assert "windlass <img" in html.unescape(page).casefold()
    assert as_text(BenchSheet(case), 80).startswith("Bench sheet: windlass <img")


def crowded(folder: Path) -> Case:
    """A case with more of its own than any page holds."""
    tasks = "task,stage,by,hours_likely\n" + "".join(f"piece of work {k},strip,owner,1\n" for k in range(60))
    parts = "part,quantity,needed,price_likely\n" + "".join(f"part {k},1,always,3\n" for k in range(60))
    events = "event,outcome,chance,seen_at\n" + "".join(
        f"event {k},good,0.5,strip\nevent {k},worn,0.5,strip\n" for k in range(14)
    )
    return case_of(folder, "windlass", "slow", tasks=tasks, parts=parts, events=events)


def test_more_than_a_page_holds_is_counted_and_left_to_the_files(tmp_path: Path) -> None:
    text = as_text(BenchSheet(crowded(tmp_path / "crowd")), WIDE)
    assert "42 more: see tasks.csv" in text
    assert "48 more: see parts.csv" in text


@pytest.mark.skipif(not (shutil.which("chromium") and shutil.which("pdfinfo")), reason="needs Chromium and pdfinfo")
def test_every_sheet_is_one_page_of_a4(place: Path, tmp_path: Path) -> None:
    sheets = [sheet_of(kind, place, k) for kind in kinds() for k in range(len(facts(kind).symptoms))]
    sheets += [BenchSheet(case_of(tmp_path / "unknown", "frobnicator")), BenchSheet(crowded(tmp_path / "crowd"))]
    sheets += [BenchSheet(read_case(DATA / name, order=True)) for name in ("windlass", "alternator", "engine_service")]
    pages = [as_html(sheet) for sheet in sheets]
    mains = [re.search(r"<main.*</main>", page, re.S)[0] for page in pages]  # type: ignore[index]
    # one print of all: a page too long would make one more
    whole = pages[0].split("<main")[0].replace("</style>", "main{break-after:page}</style>") + "".join(mains)
    (tmp_path / "all.html").write_text(whole, encoding="utf-8")
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    command = ["chromium", *options, f"--print-to-pdf={tmp_path / 'all.pdf'}", str(tmp_path / "all.html")]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    seen = subprocess.run(["pdfinfo", str(tmp_path / "all.pdf")], check=True, capture_output=True, text=True).stdout
    assert re.search(r"Pages:\s+(\d+)", seen)[1] == str(len(sheets))  # type: ignore[index]
    assert re.search(r"Page size:\s+59[45]\.\d+ x 84[12]", seen)
