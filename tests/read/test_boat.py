"""A boat's folder beneath its cases: own first, the boat's next, defaults last; and findings kept in a case."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from repairecon.read.boat import age_years, boat_folder, read_boat
from repairecon.read.case_folder import read_case
from repairecon.read.case_out import keep_findings, with_keys
from repairecon.read.closed import read_closed
from repairecon.read.starter import new_boat, new_case
from repairecon.read.values import pieces
from repairecon.records import CaseError, RepaireconError

# invented figures
BOAT = """[boat]
name = "Example"
today = "2026-06-01"
[money]
currency = "GBP"
vat_rate = 0.20
exchange_date = 2026-03-31
[money.exchange]
EUR = 0.85
[owner]
cost_own_hour = 11
cost_lost_day = 7
[labour.yard]
cost_hour = 50
[years]
horizon_years = 8
"""
UNITS = (
    "unit,kind,count,fitted_on,hours,hours_a_year,critical,price_new_likely\n"
    "pump aft,raw water pump,2,2016-06-01,900,90,yes,\n"
)
SUPPLIERS = (
    "supplier,currency,vat,carriage_likely,lead_days_likely\nstockist,GBP,ex,9,3\nnobody,EUR,in,1,1\nown,GBP,in,5,2\n"
)
CASE = """[unit]
name = "pump aft"
[three_numbers]
price_new = 640
price_kit = 95
wait_days = 6
[owner]
cost_own_hour = 20
"""
QUOTES = "item,supplier,quoted_likely\nnew,stockist,500\nnew,own,600\n"
OWN = "supplier,currency,vat,carriage_likely,lead_days_likely\nown,GBP,in,50,9\n"


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    """A boat with one job, whose list has a supplier of the boat's name and terms of its own."""
    files = {"boat.toml": BOAT, "units.csv": UNITS, "suppliers.csv": SUPPLIERS}
    job = tmp_path / "jobs" / "pump"
    job.mkdir(parents=True)
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    for name, text in {"case.toml": CASE, "quotes.csv": QUOTES, "suppliers.csv": OWN}.items():
        (job / name).write_text(text)
    return tmp_path


def test_a_case_takes_from_its_boat_what_it_leaves_out(boat: Path) -> None:
    case = read_case(boat / "jobs" / "pump")
    assert (case.terms.currency, case.terms.vat_rate, case.terms.exchange["EUR"]) == ("GBP", 0.20, 0.85)
    assert (case.terms.cost_own_hour, case.terms.cost_lost_day.likely) == (20.0, 7.0)  # its own first
    assert case.terms.labour["yard"].cost_hour.likely == pytest.approx(60.0)  # 50 and 20 % tax
    assert (case.unit.kind, case.years.hours_a_year) == ("raw water pump", 90.0)
    assert case.unit.age_years == pytest.approx(10.0, abs=0.01)
    assert (case.years.like_units, case.years.horizon_years) == (2, 8.0)
    by = {s.supplier: s for s in case.suppliers}
    assert set(by) == {"own", "stockist"}  # nobody quotes nothing
    assert by["own"].carriage.likely == 50.0
    assert (by["stockist"].carriage.likely, str(by["stockist"].source)) == (9.0, "../../suppliers.csv:2")
    assert case.terms.cost_lost_day.source.file == "../../boat.toml"
    assert "boat.toml: owner.cost_lost_day" in case.from_boat
    assert "boat.toml: owner.cost_own_hour" not in case.from_boat
    assert "units.csv: age_years of pump aft" in case.from_boat
    assert not {"currency", "vat_rate", "cost_own_hour", "cost_lost_day"} & {a.name for a in case.assumed}


def test_the_same_case_alone_takes_nothing(boat: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    alone = tmp_path_factory.mktemp("alone") / "pump"
    (boat / "jobs" / "pump").rename(alone)
    for name in ("quotes.csv", "suppliers.csv"):
        (alone / name).unlink()
    case = read_case(alone)
    assert (case.boat, case.from_boat, case.terms.currency) == ("", (), "EUR")
    assert boat_folder(alone) is None


def test_faults_of_the_boat_are_said_with_its_own_files(boat: Path) -> None:
    (boat / "boat.toml").write_text(BOAT.replace("cost_lost_day = 7", 'cost_lost_day = "much"').replace("0.20", "20"))
    (boat / "units.csv").write_text(UNITS.replace("2016-06-01", "2026-06-02").replace(",2,", ",none,"))
    with pytest.raises(CaseError) as alone:
        read_boat(boat)
    hers = {(f.file, f.row, f.column) for f in alone.value.faults}
    assert hers == {
        ("boat.toml", 12, "owner.cost_lost_day"), ("boat.toml", 6, "money.vat_rate"),
        ("units.csv", 2, "fitted_on"), ("units.csv", 2, "count"),
    }  # fmt: skip
    with pytest.raises(CaseError) as inside:
        read_case(boat / "jobs" / "pump")
    assert {(f"../../{file}", row, column) for file, row, column in hers} <= {
        (f.file, f.row, f.column) for f in inside.value.faults
    }


def test_a_case_in_another_money_is_refused(boat: Path) -> None:
    with (boat / "jobs" / "pump" / "case.toml").open("a") as file:
        file.write('[money]\ncurrency = "EUR"\n')
    with pytest.raises(CaseError, match="leave it out: the boat's money is GBP"):
        read_case(boat / "jobs" / "pump")


def test_a_frozen_case_keeps_what_it_took(boat: Path) -> None:
    from repairecon.after_the_job.job import decide

    (boat / "log").mkdir()
    job = boat / "jobs" / "pump"
    before = read_case(job)
    decide(job, on="2026-06-01", draws=64)
    for name in ("boat.toml", "units.csv", "suppliers.csv"):
        (boat / name).unlink()
    frozen = read_closed(job).case
    assert (frozen.unit, frozen.years.hours_a_year) == (before.unit, 90.0)
    assert (frozen.terms.currency, frozen.terms.cost_lost_day.likely) == ("GBP", 7.0)
    assert str(frozen.supplier("stockist").source) == "boat/suppliers.csv:2"
    (job / "decided" / "boat" / "boat.toml").write_text(BOAT.replace("7", "8"))
    with pytest.raises(CaseError, match="changed since the decision"):
        read_closed(job)


def test_a_new_boat_is_read_and_lends_her_money(tmp_path: Path) -> None:
    assert new_boat(tmp_path / "b", "Example", "gbp") == "GBP"
    new_case(tmp_path / "b" / "jobs" / "pump", "raw water pump")
    assert read_boat(tmp_path / "b").jobs == (str(tmp_path / "b" / "jobs" / "pump"),)
    assert read_case(tmp_path / "b" / "jobs" / "pump").terms.currency == "GBP"
    with pytest.raises(RepaireconError, match="is not empty"):
        new_boat(tmp_path / "b")
    with pytest.raises(RepaireconError, match="three-letter"):
        new_boat(tmp_path / "c", currency="pounds")
    assert not (tmp_path / "c").exists()


def test_ages_are_counted_in_years(boat: Path) -> None:
    unit = read_boat(boat).units[0]
    assert age_years(unit, "2026-06-01") == pytest.approx(10.0, abs=0.002)
    assert age_years(unit, "2016-06-01") == 0.0


# ---- findings --------------------------------------------------------------------------------
def test_what_is_found_is_kept_and_taken_back(boat: Path) -> None:
    job = boat / "jobs" / "pump"
    case = keep_findings(job, pieces("shaft grooved under"), "strip", {"shaft wear": "0.05 mm"})
    assert (case.found, case.done, case.measured) == (
        "inside=shaft grooved under the seal", "strip", "shaft wear=0.05 mm",
    )  # fmt: skip
    assert read_case(job) == case
    assert keep_findings(job, pieces("inside shaft grooved under the seal")).found == case.found  # as the screen had it
    assert keep_findings(job, {"Inside": ""}).found == ""
    assert keep_findings(job, pieces("this unit to blame")).found == "this unit=to blame"
    assert keep_findings(job, {"this unit": ""}).found == ""
    assert keep_findings(job, {"INSIDE": "Housing eaten or bore worn"}).found == "inside=housing eaten or bore worn"


@pytest.mark.parametrize("found", [{"shaft": "bent"}, {"inside": "gone"}, pieces("shaft"), pieces("nothing like it")])
def test_what_the_tree_does_not_know_leaves_the_case_as_it_was(boat: Path, found: dict[str, str]) -> None:
    path = boat / "jobs" / "pump" / "case.toml"
    before = path.read_bytes()
    with pytest.raises(RepaireconError, match=r"write one of|did you mean"):
        keep_findings(path.parent, found)
    assert path.read_bytes() == before


def test_keys_are_written_without_touching_the_rest() -> None:
    text = '# head\n[found] # what\n"a b" = "old" # note\nc = "stays"\n\n[unit]\nname = "x"\n'
    made = with_keys(text, "found", {"A B": "new", "d": "more"})
    assert tomllib.loads(made) == {"found": {"A B": "new", "d": "more", "c": "stays"}, "unit": {"name": "x"}}
    assert made.startswith("# head\n[found] # what\n")
    assert tomllib.loads(with_keys(made, "found", {"c": ""}))["found"] == {"A B": "new", "d": "more"}
    assert tomllib.loads(with_keys("", "done", {"stage": "strip"})) == {"done": {"stage": "strip"}}


def test_a_new_case_of_a_known_kind_invents_no_kit_beside_the_owners_price(tmp_path: Path) -> None:
    new_case(tmp_path / "a", "raw water pump", price_new=5000.0, wait_days=6.0)
    said = tomllib.loads((tmp_path / "a" / "case.toml").read_text())
    assert (said["three_numbers"], "figures" in said["unit"]) == ({"price_new": 5000, "wait_days": 6}, False)
    kit = next(p for p in read_case(tmp_path / "a").parts if p.price)
    assert kit.price is not None
    assert 100 < kit.price.likely < 2500  # a share of the price of new, whatever its kind says
    new_case(tmp_path / "b", "raw water pump")
    assert "price_kit" in tomllib.loads((tmp_path / "b" / "case.toml").read_text())["three_numbers"]
