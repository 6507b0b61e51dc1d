"""Lives of the ways and the years after the job: read as written, completed, and listed once they matter."""

from __future__ import annotations

import math
from dataclasses import fields
from pathlib import Path
from statistics import median

import pytest
from case_makers import GOOD, THREE, WAYS, cell, cells, toml, write

from repairecon.kinds import facts
from repairecon.read import read_case
from repairecon.records import ASSUMED, Case, Range, Way, Years

NAMES = {f.name for f in fields(Years)} - {"horizon_stated"}
LIVES = ("life_", "wear_kept", "p_early")


@pytest.fixture
def good(tmp_path: Path) -> Case:
    return read_case(write(tmp_path, GOOD))


def three(folder: Path, more: str = "", years: bool = False, **files: str) -> Case:
    """A case of three numbers with some words more."""
    named = {f"{name}.csv": text for name, text in files.items()}
    return read_case(write(folder, {"case.toml": THREE + more, **named}), years=years)


def ends(span: Range | None) -> tuple[float, float, float] | None:
    return (span.low, span.likely, span.high) if span else None


def life(way: Way) -> tuple[object, ...]:
    return (ends(way.life_years), ends(way.life_hours), way.life_shape, way.wear_kept, way.p_early)


def of_years(case: Case) -> set[str]:
    """What the case lists as assumed of lives and years."""
    return {a.name for a in case.assumed if a.name in NAMES or a.name.startswith(LIVES)}


def test_lives_are_read_as_written(good: Case) -> None:
    rebuild, new, exchange = good.way("rebuild here"), good.way("new, maker"), good.way("exchange")
    assert life(rebuild) == ((6, 10, 16), None, 1.8, 0.2, 0)
    assert life(new) == ((20, 20, 20), (1500, 1500, 1500), 2.5, 0, 0)
    assert life(exchange)[1] == (900, 900, 900)
    assert exchange.p_early == 0.03
    assert rebuild.life_years is not None
    assert str(rebuild.life_years.source) == "ways.csv:2"


def test_a_life_in_hours_alone_stays_one(good: Case) -> None:
    """No life in years is assumed beside it: an assumed one might strike earlier."""
    assert good.way("exchange").life_years is None
    assert "life_share (exchange)" not in of_years(good)
    assert good.way("send away").life_years is not None
    assert "life_share (send away)" in of_years(good)


def test_the_years_are_read_as_written(good: Case) -> None:
    years = good.years
    assert (years.horizon_years, years.discount_rate, years.turned_every_years) == (10, 0.05, 2)
    assert ends(years.cost_away) == (0, 200, 900)
    assert years.cost_away.source.file == "case.toml"
    assert years.like_units == 1
    assert isinstance(years.like_units, int)
    said = {"horizon_years", "discount_rate", "cost_away", "turned_every_years"}
    assert of_years(good) & NAMES == NAMES - said


def test_every_key_of_the_section_reaches_its_field(tmp_path: Path) -> None:
    """Each with a value of its own, so that no two are mixed up."""
    said: dict[str, float] = {
        "horizon_years": 17,
        "discount_rate": 0.061,
        "inflation_rate": 0.032,
        "hours_a_year": 221,
        "p_away": 0.43,
        "cost_away": 377,
        "days_away": 5.5,
        "swap_hours": 3.3,
        "shelf_life_years": 14,
        "shelf_shape": 1.4,
        "turned_every_years": 0.5,
        "resale_share": 0.07,
        "like_units": 2,
        "p_kit_fits": 0.22,
    }
    assert set(said) == NAMES
    case = three(tmp_path, "[years]\n" + "".join(f"{k} = {v}\n" for k, v in said.items()))
    for name, value in said.items():
        read = getattr(case.years, name)
        assert (ends(read) == (value,) * 3) if isinstance(read, Range) else (read == value), name
    assert not of_years(case) & NAMES


def test_a_pair_has_the_life_of_what_it_puts_in_service(tmp_path: Path, good: Case) -> None:
    """Bought now, the old rebuilt as spare: the bought one serves. Rebuilt with a bought spare: the rebuilt one."""
    assert life(good.way("buy and rebuild")) == life(good.way("new, maker"))
    files = cell(WAYS, 7, "kind", "rebuild and spare")
    case = read_case(write(tmp_path / "b", files))
    assert life(case.way("buy and rebuild")) == life(case.way("rebuild here"))
    own = read_case(write(tmp_path / "c", cells((WAYS, 7, "life_years_likely", "9"), (WAYS, 7, "p_early", "0.1"))))
    assert life(own.way("buy and rebuild")) == ((9, 9, 9), None, 2.5, 0, 0.1)


def test_a_pair_without_the_way_that_it_puts_in_service(tmp_path: Path) -> None:
    """No way rebuilds alone: the defaults of a rebuild serve, not those of the bought one."""
    text = "way,kind,price_likely,life_years_likely\nnew,new,640,30\nboth,rebuild and spare,,\n"
    case = three(tmp_path, ways=text)
    assert case.way("both").life_years != case.way("new").life_years
    assert case.way("both").wear_kept > 0


def test_all_is_complete_though_the_case_is_silent(tmp_path: Path) -> None:
    """The horizon may be set later; nothing of it is listed before it matters."""
    case = three(tmp_path)
    assert case.years.horizon_years == 0
    assert math.isfinite(case.years.shelf_life_years)
    assert case.years.cost_away.high > case.years.cost_away.likely > 0
    for way in case.ways:
        assert way.life_years is not None
        assert way.life_years.low < way.life_years.likely < way.life_years.high
        assert way.life_years.source.file == ASSUMED
    assert not of_years(case)


@pytest.mark.parametrize(
    ("more", "years", "ways"),
    [
        ("[years]\nhorizon_years = 8\n", False, ""),
        ("", True, ""),
        ("", False, "way,kind,wear_kept\nhere,rebuild,0.3\n"),
        ("", False, "way,kind,life_hours_likely\nhere,rebuild,300\n"),
    ],
    ids=["section", "asked", "wear_kept", "life_hours"],
)
def test_listed_once_it_matters(tmp_path: Path, more: str, years: bool, ways: str) -> None:
    """With a section, a life in ways.csv, or when asked; the figures are the same as without."""
    files = {"ways": ways} if ways else {}
    case = three(tmp_path / "a", more, years, **files)
    assert of_years(case) >= NAMES - {"horizon_years"} | {"life_shape", "p_early"}
    for assumed in [a for a in case.assumed if a.name in of_years(case)]:
        assert assumed.unit
        assert assumed.source.startswith(("assumed", "common practice"))
    if not ways:
        assert ("horizon_years" in of_years(case)) == years
        assert [life(w) for w in case.ways] == [life(w) for w in three(tmp_path / "b").ways]
        assert any(a.name == "life_years" for a in case.assumed)


# Owners' accounts of failures in years, common practice, no source; a weak prior at best. Where a kind
# has three and more of them the middle one lies within the assumed range of the median, else all do.
ACCOUNTS = {
    "windlass": (5, 23, 25, 25),
    "raw water pump": (4, 6, 9, 17),
    "exhaust elbow": (5, 5.5, 6, 7, 7.3, 13, 14, 16, 20),
    "alternator": (11, 16),
    "starter motor": (32, 33),
    "heat exchanger": (10, 20),
    "gearbox": (21, 33),
    "autopilot drive": (10, 14, 20),
}


@pytest.mark.parametrize("kind", ACCOUNTS)
def test_default_lives_agree_with_accounts(tmp_path: Path, kind: str) -> None:
    """They are those of the kind, and listed."""
    text = THREE.replace('name = "smoke shifter"', f'name = "unit"\nkind = "{kind}"')
    case = read_case(write(tmp_path / "kind", {"case.toml": text}), years=True)
    life_years = case.way("new").life_years
    assert life_years is not None
    seen = ACCOUNTS[kind]
    middle = (median(seen),) if len(seen) >= 3 else seen
    assert all(life_years.low <= m <= life_years.high for m in middle)
    (listed,) = [a for a in case.assumed if a.name == f"life_years ({kind})"]
    assert listed.source.startswith("assumed")
    assert life_years == facts(kind).life_years


def test_an_unknown_kind_has_a_wide_life(tmp_path: Path) -> None:
    """All kinds of the accounts, from 4 to 33 years: the middle value of all, and a factor of six in width."""
    text = THREE
    case = read_case(write(tmp_path, {"case.toml": text}), years=True)
    life_years = case.way("new").life_years
    assert life_years is not None
    every = [years for seen in ACCOUNTS.values() for years in seen]
    assert life_years.low <= min(every)
    assert life_years.low < median(every) < life_years.high
    assert life_years.high / life_years.low >= 6
    assert "life_years" in of_years(case)


def test_the_owners_expected_life_comes_before_the_default(tmp_path: Path) -> None:
    text = THREE.replace("[three", "expected_life_years = 40\n[three")
    case = read_case(write(tmp_path, {"case.toml": text}), years=True)
    life_years = case.way("new").life_years
    assert life_years is not None
    assert life_years.likely == 40
    assert life_years.low < 40 < life_years.high
    assert "life_multiples" in of_years(case)
    assert not [name for name in of_years(case) if name.startswith("life_years")]
    zero = three(tmp_path / "zero")
    text = THREE.replace("[three", "expected_life_years = 0\n[three")
    assert life(read_case(write(tmp_path / "none", {"case.toml": text})).ways[0]) == life(zero.ways[0])


def test_default_lives_by_kind_of_way(tmp_path: Path) -> None:
    """New is no worse than anything; pattern and used ones live shorter; only what is rebuilt keeps wear."""
    rows = "".join(f"{k},{k},{p}\n" for k, p in [("new", 9), ("pattern", 5), ("exchange", 4), ("second-hand", 2)])
    none = '[defaults]\nways = "none"\n'
    ways = f"way,kind,price_likely\nrebuild,rebuild,\nsend away,send away,3\n{rows}"
    case = three(tmp_path, none, ways=ways, years=True)
    middle = {w.way: w.life_years.likely for w in case.ways if w.life_years}
    assert middle["new"] == middle["rebuild"] == middle["send away"]
    assert middle["new"] > middle["exchange"] > middle["pattern"] > middle["second-hand"] > 0
    assert {w.way for w in case.ways if w.wear_kept > 0} == {"rebuild", "send away"}
    assert {"wear_kept (rebuild)", "life_share (pattern)", "wear_kept (second-hand)"} <= of_years(case)
    assert not of_years(case) & {"wear_kept (new)", "life_share (new)"}  # by the kind of way: nothing is assumed


def test_what_the_tree_pays_for_is_not_paid_twice(tmp_path: Path) -> None:
    """Doing it again is an event of the default tree (11 of 100 accounts), so no life begins with it."""
    case = three(tmp_path, years=True)
    assert any(b.event == "rework" for b in case.branches)
    assert {w.p_early for w in case.ways} == {0}
    (listed,) = [a for a in case.assumed if a.name == "p_early"]
    assert "events of the tree" in listed.source


def test_resale_agrees_with_practice(tmp_path: Path) -> None:
    """Plain new spares fetch 5 to 15 % of their price with the boat: one owner's account, no source."""
    assert 0.05 <= three(tmp_path).years.resale_share <= 0.15


def test_default_cost_away_is_exchanged(tmp_path: Path) -> None:
    """One EUR is 11.5 of theirs; without a rate the figure stands, and is listed so."""
    euro = three(tmp_path / "a").years.cost_away
    nok = '[years]\n[money]\ncurrency = "NOK"\n'
    theirs = three(tmp_path / "b", f"{nok}exchange_date = 2026-10-01\nexchange.EUR = 11.5\n").years.cost_away
    assert ends(theirs) == pytest.approx([11.5 * x for x in (euro.low, euro.likely, euro.high)])
    plain = three(tmp_path / "c", nok)
    assert ends(plain.years.cost_away) == ends(euro)
    assert [a.unit for a in plain.assumed if a.name == "cost_away" and "taken as it stands" in a.unit]


def test_the_limits_themselves_are_allowed(tmp_path: Path) -> None:
    files = toml("horizon_years = 10", "horizon_years = 60\nlike_units = 20\nhours_a_year = 0\nshelf_shape = 0.3")
    years = read_case(write(tmp_path / "a", files)).years
    assert (years.horizon_years, years.like_units, years.hours_a_year, years.shelf_shape) == (60, 20, 0, 0.3)
    case = read_case(write(tmp_path / "b", cells((WAYS, 2, "life_shape", "10"), (WAYS, 2, "wear_kept", "1"))))
    assert life(case.way("rebuild here"))[2:4] == (10, 1)
