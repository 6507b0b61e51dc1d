"""A whole boat: chances and season against plain simulation; nothing stops the rest; steps by their worth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from repairecon.__main__ import main
from repairecon.read.boat import read_papers
from repairecon.read.case_folder import unit_case
from repairecon.read.problems import Problems
from repairecon.read.starter import new_boat, new_case
from repairecon.rebuild_or_buy.command import CaseLine
from repairecon.records import CaseError, Range, RepaireconError
from repairecon.whole_boat import answer
from repairecon.whole_boat.answer import (
    JOB,
    BoatLine,
    NoBoat,
    OnOrder,
    SparesLine,
    Step,
    as_json,
    steps,
    whole_boat,
    whole_boats,
)
from repairecon.whole_boat.units import Failing, Life, UnitLine, life_of, renew_saves, season, unit_line
from repairecon.whole_boat.words import caption, first_screen, page, spares_words, unit_table

# invented figures
BOAT = """[boat]
name = "Example"
today = "2026-06-01"
figures = "invented"
[years]
horizon_years = 8
hours_a_year = 120
[owner]
cost_lost_day = 30
cost_own_hour = 15
"""
UNITS = (
    "unit,kind,count,fitted_on,hours,critical,price_new_likely,standard_sizes\n"
    "raw water pump,,1,2014-05-01,,yes,520,6203-2RS; 40x62x10\n"
    "alternator,,2,2020-05-01,700,no,450,6203-2RS\n"
    "starter motor,,1,,,yes,380,\n"
    "autopilot,,1,2012-01-01,,no,,\n"
)


@pytest.fixture(scope="module")
def boat(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A boat with an open job on a unit of hers, one on a thing that is not listed, and a broken one."""
    place = tmp_path_factory.mktemp("boats") / "example"
    new_boat(place)
    (place / "boat.toml").write_text(BOAT)
    (place / "units.csv").write_text(UNITS)
    new_case(place / "jobs" / "starter", "starter motor", price_new=380.0, price_kit=60.0, wait_days=5.0)
    new_case(place / "jobs" / "windlass", "windlass", price_new=1400.0, price_kit=150.0, wait_days=9.0)
    (place / "jobs" / "bad").mkdir()
    (place / "jobs" / "bad" / "case.toml").write_text("x = ")
    return place


@pytest.fixture(scope="module")
def found(boat: Path) -> BoatLine:
    """What is found of her."""
    return whole_boat(boat)


@pytest.fixture(scope="module")
def lines(boat: Path) -> list[tuple[UnitLine, Failing | None]]:
    """Her units before they fail within a year, with what that costs."""
    papers = read_papers(boat, Problems())
    return [unit_line(papers, u, 1.0) for u in papers.units]


@pytest.mark.parametrize("unit", range(4))
def test_chance_to_fail_against_a_plain_simulation(boat: Path, unit: int) -> None:
    """Lives drawn by both clocks, thrown away where they are over already: the rest says how often it fails."""
    papers = read_papers(boat, Problems())
    of = papers.units[unit]
    case = unit_case(papers, replace(of, price_new=of.price_new or Range(1.0, 1.0, 1.0)))
    life, _ = life_of(case, of, papers.today)
    clocks, rng, n = life.clocks, np.random.default_rng(5), 400_000
    step = rng.choice(len(clocks.weights), n, p=clocks.weights / clocks.weights.sum())
    by_years = clocks.life_years[step] * rng.weibull(clocks.shape, n)
    by_hours = clocks.life_hours[step] * rng.weibull(clocks.shape, n)
    if of.fitted_on and of.hours is not None:
        # until today by its own years and hours, from today on at the pace ahead
        age = (np.datetime64(papers.today) - np.datetime64(of.fitted_on)).astype(float) / 365.25
        works = (by_years > age) & (by_hours > of.hours)
        left = np.minimum(by_years - age, (by_hours - of.hours) / life.hours_a_year)[works]
        tolerance = 0.25  # a pace that changed is put as an age at one pace: near, not the same
    elif of.fitted_on:
        age = (np.datetime64(papers.today) - np.datetime64(of.fitted_on)).astype(float) / 365.25
        lasts = np.minimum(by_years, by_hours / life.hours_a_year)
        left, tolerance = lasts[lasts > age] - age, 0.02
    else:  # as old as half its median life, whatever that is
        lasts, age_of = np.minimum(by_years, by_hours / life.hours_a_year), life.worn[step]
        left, tolerance = (lasts - age_of)[lasts > age_of], 0.02
    for years in (0.5, 1.0, 5.0):
        simulated = float((left < years).mean())
        assert life.p_fails(years) == pytest.approx(simulated, rel=tolerance, abs=4 * (simulated / len(left)) ** 0.5)


def _drawn(r: Range, rng: np.random.Generator, n: int) -> np.ndarray:
    """Beta-PERT from scipy's own beta (Vose 2008, from memory: four times the likely value)."""
    from scipy import stats

    assert r.shape == "pert"
    width = r.high - r.low
    a, b = 1 + 4 * (r.likely - r.low) / width, 1 + 4 * (r.high - r.likely) / width
    return np.asarray(r.low + width * stats.beta(a, b).rvs(n, random_state=rng))


def test_the_season_against_a_plain_simulation(lines: list[tuple[UnitLine, Failing | None]]) -> None:
    made = season(lines, 1.0)
    rng, n = np.random.default_rng(11), 60_000
    total, stopped = np.zeros(n), np.zeros(n, dtype=bool)
    for line, cost in lines:
        each = 1 - (1 - line.p_fails) ** (1 / line.count)
        for _ in range(line.count):
            fails = rng.random(n) < each
            stopped |= fails & line.critical
            if cost is not None:
                years = cost.years
                days = years.days_away.likely if years.days_away.sure else _drawn(years.days_away, rng, n)
                away = (rng.random(n) < years.p_away) * (_drawn(years.cost_away, rng, n) + cost.lost_day * days)
                total += fails * (rng.choice(cost.totals, n) + away)
    assert made.mean == pytest.approx(total.mean(), abs=4 * total.std() / n**0.5)
    assert made.p90 == pytest.approx(float(np.quantile(total, 0.9)), rel=0.03)
    assert made.p_stops == pytest.approx(stopped.mean(), abs=4 * (stopped.mean() / n) ** 0.5)
    assert made.left_out == ("autopilot",)


def test_a_spare_aboard_is_no_stop_and_one_more_unit_leaves_the_others_alone(
    lines: list[tuple[UnitLine, Failing | None]],
) -> None:
    both = season(lines, 1.0)
    spared = season(lines, 1.0, frozenset({"raw water pump"}))
    assert spared.p_stops == pytest.approx(1 - (1 - both.p_stops) / (1 - lines[0][0].p_fails))
    assert season(lines[:1], 1.0).mean == pytest.approx(lines[0][0].expected)


def test_what_is_on_the_screen(found: BoatLine) -> None:
    assert [u.unit for u in found.units] == ["raw water pump", "alternator", "autopilot"]  # the starter has failed
    assert {j.unit for j in found.jobs} == {"starter motor", "windlass"}
    assert [Path(f).name for f, _ in found.failed] == ["bad"]
    assert found.steps[0].critical
    assert found.steps[0].kind == JOB
    assert [(s.size, s.units) for s in found.serves] == [("6203-2RS", ("raw water pump", "alternator"))]
    said = first_screen([found])
    assert len(said.splitlines()) <= 36
    assert all(len(line) <= 100 for line in said.splitlines())
    for words in ("What to do next", "1. critical: starter motor", "figures: invented", "autopilot", "Not read (1)"):
        assert words in said


def test_a_spare_pays_in_the_table_where_it_is_a_step() -> None:
    """One that saves too little for its price to be named is no spare that pays, either."""
    found = whole_boat(Path(__file__).parents[2] / "data" / "boat")
    pays = {row["unit"] for _, row in unit_table(found).iterrows() if row["spare"] == "pays"}
    small = next(u for u in found.units if u.unit == "coolant pump")
    assert pays == {"bilge pump (2)"}
    assert 0 < (small.spare_worth or 0.0) - (small.spare_cost or 0.0) < 0.05 * (small.price_new or 0.0)


def test_the_answer_shows_itself_in_short_and_the_page_of_two_has_both(found: BoatLine) -> None:
    assert repr(found).startswith("Whole boat: Example\nCritical: starter motor")
    assert len(repr(found)) < 900
    assert "<h3>Whole boat: Example" in found._repr_html_()
    text = page([found, NoBoat(folder="none", faults="no boat.toml")])
    assert text.index("Each boat") < text.index("What to do next") < text.index("Not read") < text.index("Appendix")
    assert caption(found).startswith("Begin with the longest bar, ")


def test_several_boats_and_none_stops_the_rest(boat: Path, found: BoatLine, tmp_path: Path) -> None:
    (tmp_path / "boat.toml").write_text('[boat]\nname = "Other"\nbase = 5\n')
    folders = [boat, tmp_path, tmp_path / "none"]
    boats = list(whole_boats(folders, workers=2))
    assert [type(b) for b in boats] == [BoatLine, NoBoat, NoBoat]
    assert boats == [found, *whole_boats(folders[1:])]
    data = as_json(boats)
    assert len(data["boats"]) == 1  # type: ignore[arg-type]
    assert len(data["failed"]) == 3  # type: ignore[arg-type]
    json.dumps(data, allow_nan=False)
    assert "boat.base" in first_screen(boats)


def test_the_command_answers_what_it_can_and_says_so_by_its_code(
    boat: Path, found: BoatLine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = answer.whole_boat
    monkeypatch.setattr(answer, "whole_boat", lambda at, *more: found if at == str(boat) else real(at, *more))
    assert main(["whole-boat", str(boat), "--workers", "1", "--json"]) == 2
    assert len(json.loads(capsys.readouterr().out)["boats"]) == 1
    new_boat(tmp_path / "new")
    assert main(["whole-boat", str(tmp_path / "new")]) == 0
    assert "Nothing to do" in capsys.readouterr().out


def test_a_broken_book_is_one_line(tmp_path: Path) -> None:
    new_boat(tmp_path / "b")
    (tmp_path / "b" / "spares.book").write_bytes(b"no book at all" * 100)
    made = whole_boat(tmp_path / "b")
    assert made.spares is None
    assert len(made.failed) == 1
    with pytest.raises(RepaireconError, match="season_days"):
        whole_boat(tmp_path / "b", 0)
    with pytest.raises(CaseError):
        whole_boat(tmp_path)


def unit(name: str, worth: float, cost: float, *, critical: bool = False, renew: float = -1.0) -> UnitLine:
    """A unit of which only the worth of a spare matters."""
    return UnitLine(
        unit=name, kind="", count=1, critical=critical, age_years=None, hours=None, p_fails=0.1, due_years=5.0,
        price_new=100.0, spare_worth=worth, spare_cost=cost, renew_saves=renew,
    )  # fmt: skip


def test_steps_come_in_the_order_of_what_they_save_for_money_and_hours() -> None:
    """By hand: 40 for 100 is 0.4; 90 for 100 and 5 hours at 20 is 0.45; 10 for 100 is 0.1; 4.5 for 100, under
    a twentieth, is nothing."""
    job = CaseLine(case="c", unit="winch", what="Buy it", saves=90.0, cash=100.0, own_hours=5.0)
    stopped = CaseLine(case="d", unit="pump", what="Strip it", saves=0.0, cash=500.0, own_hours=9.0)
    units = [unit("pump", 0.0, 0.5, critical=True), unit("a", 50, 10), unit("b", 20, 10), unit("c", 14.5, 10)]
    made = steps([job, stopped], units, None, 20.0, frozenset({"pump"}))
    assert [s.of for s in made] == ["d", "c", "a", "b"]
    assert made[1].ratio(20.0) == pytest.approx(0.45)
    assert isinstance(made[0], Step)


def test_renewing_pays_from_the_best_age_on(boat: Path, lines: list[tuple[UnitLine, Failing | None]]) -> None:
    """It breaks even near the age of least cost a year (Barlow and Hunter 1960, from memory), found by scipy alone."""
    from scipy import integrate, optimize

    papers, cost = read_papers(boat, Problems()), lines[0][1]
    assert cost is not None
    case_life = life_of(unit_case(papers, papers.units[0]), papers.units[0], papers.today)[0]
    clocks = replace(case_life.clocks, life_years=np.array([9.0]), life_hours=np.array([np.inf]), weights=np.ones(1))
    planned = cost.total - cost.lost_day * cost.days

    def a_year(age: float) -> float:
        stands = np.exp(-((age / 9.0) ** clocks.shape))
        lasts = integrate.quad(lambda t: np.exp(-((t / 9.0) ** clocks.shape)), 0, age)[0]
        return float((planned * stands + cost.mean * (1 - stands)) / lasts)

    best = optimize.minimize_scalar(a_year, bounds=(0.5, 40), method="bounded").x
    for age, pays in ((0.1 * best, False), (best - 1.5, False), (best + 1.5, True), (3 * best, True)):
        assert (renew_saves(Life(clocks, np.array([age]), 120.0), cost, 0.0) > 0) is pays


def test_what_is_on_order_is_said(found: BoatLine) -> None:
    coming = [OnOrder(part=p, pieces=2, job="pump", expected_on=on, late_days=late)
              for p, on, late in (("seal", "2026-05-28", 4), ("ring", "2026-06-03", 0), ("belt", "", 0))]  # fmt: skip
    spares = SparesLine(worth=10.0, short=(), due=(), units=(), buys=(), on_order=tuple(coming))
    said, *_ = spares_words(replace(found, spares=spares))
    assert said.endswith("On order: 2 seal for pump, 4 days late; 2 ring for pump, by 2026-06-03; 2 belt for pump.")
