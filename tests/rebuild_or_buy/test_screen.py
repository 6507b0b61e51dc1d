"""The first screen: short, whole, and read as an owner reads it. Figures are invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import ClassVar

import pytest
import reference_case as rc
from other_advice import Instead, advised

import repairecon
from repairecon.book.stock import read_case_aboard
from repairecon.rebuild_or_buy import bench_words, parts, sentences
from repairecon.rebuild_or_buy.bench import StopWhen
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.records import Assumed, Needed, OrderWishes, Source
from repairecon.show import words

DATA = Path(__file__).parents[2] / "data"
DEMOS = ("windlass", "alternator", "starter")
LONG = "a way whose name goes on for longer than any terminal is wide, with $x^2$ and <b>tags</b> in it"


@pytest.fixture(scope="module")
def demos():
    return {name: rebuild_or_buy(repairecon.read_case(DATA / name), draws=1_000) for name in DEMOS}


@pytest.fixture(scope="module")
def answer():
    return rebuild_or_buy(rc.case(), draws=2_000, seed=4)


def sizes(text):
    lines = text.splitlines()
    return len(lines), max(map(len, lines))


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("width", [80, 100, 120])
def test_it_is_one_screen(demos, name, width):
    lines, wide = sizes(parts.first_screen(demos[name], width))
    assert lines <= 24
    assert wide <= width


@pytest.mark.parametrize("name", DEMOS)
def test_there_is_one_first_look_and_none_that_saves_nothing(demos, name):
    text = " ".join(parts.first_screen(demos[name], 100).split())
    assert ("First: " in text) + ("Look first: " in text) <= 1
    assert "saves EUR 0 " not in text


def test_what_turns_the_advice_is_not_denied_below(demos):
    text = " ".join(parts.first_screen(demos["alternator"], 100).split())
    assert "It turns: " in text
    assert "Price of exchange above" in text
    assert "; no price, hour or day turns it" not in text
    assert "No guessed price, hour or day turns it" in text


@pytest.mark.parametrize("many", [1, 4])
def test_it_stays_one_screen_with_long_names_and_many_cautions(many):
    base = rc.case()
    names = {w.way: f"{k} {LONG}" if k >= many else w.way for k, w in enumerate(base.ways)}
    ways = tuple(replace(w, way=names[w.way], bought=names.get(w.bought, "")) for w in base.ways)
    unit = replace(base.unit, name=LONG, symptom=LONG, cautions=(LONG,) * 9)
    lines, wide = sizes(parts.first_screen(rebuild_or_buy(rc.case(unit=unit, ways=ways), draws=200), 80))
    assert (lines <= 24, wide <= 80) == (True, True)


def test_advice_comes_first_then_the_ways_then_what_would_change_it(demos):
    text = parts.first_screen(demos["starter"], 80)
    order = [
        "Starter",
        "That comes to",
        "\nway ",
        "When to stop:",
        "Guesses:",
        "Before you start:",
        "More:",
    ]
    places = [text.index(word) for word in order]
    assert places == sorted(places)


def test_every_way_is_there_or_counted(demos):
    text = parts.first_screen(demos["windlass"], 80)
    shown = [way for way in demos["windlass"].table.index if f"\n{way[:20]}" in text]
    left = len(demos["windlass"].table) - len(shown)
    assert demos["windlass"].advice.way in shown
    assert (f"({left} dearer ways" in text) == (left > 0)


@pytest.fixture(scope="module")
def narrow(demos):
    """All of the windlass's answer 80 letters wide, and each part of it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "80")
        return {name: parts.full(demos["windlass"], name) for name in ("", *parts.PARTS)}


@pytest.mark.parametrize("name", parts.PARTS)
def test_each_part_alone_and_in_the_whole(narrow, name):
    part = narrow[name]
    assert part.strip()
    assert sizes(part)[1] <= 80
    assert part.strip() in narrow[""]


def test_only_what_is_printed_is_asked_for(answer):
    class Counted(Instead):
        asked: ClassVar[set[str]] = set()

        def __getattr__(self, name):
            self.asked.add(name)
            return getattr(self._answer, name)

    parts.full(Counted(answer), "cautions")
    assert Counted.asked == {"cautions"}
    parts.full(Counted(answer), "assumed")
    assert Counted.asked == {"cautions", "assumed", "case"}


# ---------------------------------------------------------------- what the advice says
def said(answer, **fields):
    plain = {"total": 1_000.0, "value": 1_000.0, "stops": (), "ties": (), "look": None, "basis": "this job"}
    return " ".join(sentences.advice(advised(answer, **plain | fields)))


def test_each_thing_to_do_has_its_words(answer):
    assert said(answer, do="leave", because=("a fuse is cheaper",)).startswith(
        "Leave this unit alone and look elsewhere"
    )
    assert said(answer, do="take", way="exchange").startswith("Take the exchange unit.")
    assert said(answer, do="take", way="new").startswith("Buy new.")
    worth = SimpleNamespace(cost=5.0, evsi=90.0)
    look = said(answer, do="look", what="turn it by hand", way="new", look=worth)
    start = "First: turn it by hand (costs EUR 5, saves EUR 90 on average). If that changes nothing, buy new."
    assert look.startswith(start)


def test_stripping_says_how_often_one_goes_on(answer):
    stops = (StopWhen(2, (("shaft", "grooved"),), "new", 0.2), StopWhen(3, (("seal", "gone"),), "exchange", 0.15))
    text = said(answer, do="strip", way="rebuild here", value=800.0, gap=50.0, against="exchange", stops=stops)
    start = "Strip it, then decide by what you find: rebuild here (65 in 100), else buy new or take the exchange unit."
    assert text.startswith(start)
    assert "That comes to EUR 800 all in on average, EUR 250 less than exchange at once." in text
    rule = bench_words.stop_rule(answer, stops)
    assert rule == [
        "Once it is stripped: buy new if you find shaft grooved (20 in 100).",
        "Once it is measured: take the exchange unit if you find seal gone (15 in 100).",
    ]


def test_a_near_tie_is_said(answer):
    assert "near tie with new" in said(answer, do="take", way="exchange", near_tie=True, against="new")
    assert "near tie" not in said(answer, do="take", way="exchange", near_tie=False, against="new")
    assert "New would cost the same; exchange is the simpler" in said(answer, do="take", way="exchange", ties=("new",))


def test_today_against_the_years_in_one_sentence(demos):
    windlass, today = demos["windlass"], demos["windlass"].table["total_mean"]
    fields = {"do": "take", "way": "new pattern unit", "best_this_job": "rebuild here", "years_gap": 418.0}
    line = sentences.longer(advised(windlass, basis="years", **fields))
    dearer = today["new pattern unit"] - today["rebuild here"]
    assert line == f"Rebuild here is EUR {dearer:,.0f} cheaper for this job alone but EUR 418 dearer over those years."
    turns = {"beyond": lambda _: (7.75, "exchange"), "life_turns": lambda _: None}
    line = sentences.longer(advised(windlass, basis="this job", **turns))
    assert line == "Kept for more than about 8 years, exchange comes cheaper."


def test_days_and_the_bad_case_stand_against_the_money(answer):
    slow, fast = answer.table["days_mean"].idxmax(), answer.verdict.fastest
    terms = replace(answer.case.terms, lost_day_stated=False)
    unpriced = Instead(answer, case=replace(answer.case, terms=terms))
    cheapest = answer.basis.this_job._replace(way=slow)
    text = said(unpriced, do="take", way=slow, this_job=cheapest, day_price_turns=37.0)
    assert f"sooner with {fast}" in text
    assert "waiting is not priced here; it turns from EUR 37 a day" in text
    # that price is one of the cheapest way
    assert "waiting is not priced here." in said(unpriced, do="take", way=slow, day_price_turns=37.0)
    assert "not priced" not in said(answer, do="take", way=slow, day_price_turns=None)
    assert "bad case" in said(answer, do="take", way=answer.table["total_p90"].idxmax())


def test_an_hour_that_is_not_priced_is_said_with_its_turning_point(answer):
    case = replace(answer.case, terms=replace(answer.case.terms, own_hour_stated=False))
    free = Instead(answer, case=case, cost_own_hour=0.0)
    assert "it turns if an hour is worth EUR 26 to you" in said(free, hour_price_turns=26.0)
    assert "hours" not in parts.how_counted(free)


def test_what_cannot_be_bought_has_its_words(answer):
    kinds = {"carry on": "carry on as it is", "temporary": "make do for now", "without": "do without",
             "own spare": "fit your spare"}  # fmt: skip
    for kind, phrase in kinds.items():
        ways = tuple(replace(w, kind=kind) if w.way == "exchange" else w for w in answer.case.ways)
        other = Instead(answer, case=replace(answer.case, ways=ways))
        case = replace(other.case, ways=tuple(replace(w, way="plan B") if w.kind == kind else w for w in ways))
        renamed = Instead(answer, case=case, table=answer.table.rename(index={"exchange": "plan B"}))
        assert sentences.step(renamed, "plan B") == f"{phrase} (plan B)"


def test_a_makeshift_says_how_long_at_what_risk_and_what_then(answer):
    held = {"kind": "carry on", "until_days": rc.span(60, 90, 120), "p_fails": 0.15}
    ways = tuple(replace(w, **held) if w.way == "exchange" else w for w in answer.case.ways)
    text = said(Instead(answer, case=replace(answer.case, ways=ways)), do="carry on", way="exchange")
    assert "for about 90 days (15 in 100 that it fails before), then the lasting repair" in text


def test_barred_ways_and_the_waiver_are_in_the_advice():
    base = rc.case()
    barred = rebuild_or_buy(rc.case(unit=replace(base.unit, safety=("steering",))), draws=300)
    text = " ".join(sentences.advice(barred))
    assert "Not to be chosen on price alone (steering)" in text
    for way in barred.table.index[~barred.table["allowed"]]:
        assert way in text
    assert "[[waiver]]" in text
    assert "(barred)" in parts.first_screen(barred, 80)


WRONG = (
    "in vain",
    "then it comes late",
    "failures to expect",
    "reckon",
    "nought",
    "no turning back",
    "=",
    "times in 100",
)


@pytest.mark.parametrize("name", DEMOS)
def test_no_phrase_of_the_machine_reaches_the_owner(demos, name):
    bench = "\n".join(parts.full(demos[name], part) for part in ("bench", "looks", "years", "flips", "rules"))
    text = "\n".join([*sentences.advice(demos[name]), bench])
    assert [phrase for phrase in WRONG if phrase in text] == []


# ---------------------------------------------------------------- a date
def test_the_chance_of_being_back_by_the_date_stands_beside_each_way():
    dated = rc.case(needed=Needed(by="2026-05-11"), wishes=OrderWishes(today="2026-05-01"))
    answer = rebuild_or_buy(dated, draws=2_000)
    table = parts.ways(answer).table.set_index("way")
    for way, row in answer.table[answer.table["allowed"]].iterrows():
        assert table.loc[way, "by 2026-05-11"] == words.chance_words(row["back_by"])
    assert sizes(parts.first_screen(answer, 80))[1] <= 80
    assert sentences.back_by(answer).startswith("Back by 2026-05-11: ")
    within = rebuild_or_buy(rc.case(needed=Needed(within_days=10.0)), draws=2_000)
    assert sentences.back_by(within).startswith("Back in 10 days: ")


def test_no_date_goes_before_safety():
    unit = replace(rc.case().unit, safety=("steering",))
    answer = rebuild_or_buy(rc.case(unit=unit, needed=Needed(within_days=8.0)), draws=2_000)
    out = answer.table[~answer.table["allowed"]]
    sooner = out["back_by"].max() > answer.table[answer.table["allowed"]]["back_by"].max() + 0.05
    assert ("no date goes before safety" in sentences.back_by(answer)) == sooner


def test_without_a_date_nothing_is_said_of_one(answer):
    assert sentences.back_by(answer) == ""


def test_spares_and_figures_of_the_boat_are_said() -> None:
    """Of the demo boat's book and folder: two seals and a gasket lie aboard, money and owner stand in boat.toml."""
    answer = rebuild_or_buy(read_case_aboard(DATA / "boat" / "jobs" / "raw_water_pump"), 300)
    assert "From the locker: shaft seal, bearing, cover gasket." in parts.first_screen(answer, 80)
    _, years = parts.years(answer)
    assert years.table["way"].iloc[-1] == "carry on as it is (barred)"  # though it would be the cheapest
    assumed = parts.full(answer, "assumed")
    assert "From the boat's folder" in assumed
    assert "- boat.toml: currency; vat rate" in assumed
    assert "worth of an own hour" in assumed.partition("From the boat's folder")[2]
    for word in ("brings", "p_early", "cost_own_hour", "="):
        assert word not in assumed


def test_an_answer_shows_itself_in_short() -> None:
    answer = rebuild_or_buy(read_case_aboard(DATA / "starter"), 300)
    assert len(repr(answer)) < 1_500
    assert "First: volts at battery" in repr(answer)
    assert "<h3>" in answer._repr_html_()


def test_rules_dropped_rows_and_turns_are_said_once_and_short(demos) -> None:
    """Of the demo alternator: two rebuilds, rows dropped from four files, numbers that turn outside their range."""
    answer = demos["alternator"]
    assert len({r.way for r in answer.thumb_rules}) == 2
    assert parts.full(answer, "rules").count("- No more than 50 % of new") == 1
    dropped = parts.full(answer, "assumed").partition("Assumed rows that you dropped\n")[2]
    assert "- ways.csv: rebuild here; specialist's rebuild; exchange unit; 4 more" in dropped
    assert dropped.count("ways.csv") == 1
    inside = [f for f in answer.flips if f.within_range]
    assert 0 < len(inside) < len(answer.flips)
    assert [line.rstrip(".").casefold() for line in sentences.flips(answer)] == [
        sentences.flip(f).casefold() for f in inside[:6]
    ]


@pytest.mark.parametrize(("file", "guessed"), [("../../boat.toml", False), ("assumed", True)])
def test_what_the_owner_wrote_for_the_boat_is_no_guess(file, guessed) -> None:
    case = rc.case(assumed=(Assumed("life_years", "8", "years", "assumed, no source"),))
    day = replace(rc.span(5, 30, 90), source=Source(file, 3))
    answer = rebuild_or_buy(replace(case, terms=replace(case.terms, cost_lost_day=day)), draws=300)
    guesses = " ".join(parts.first_screen(answer).partition("Guesses:")[2].split())
    assert ("cost of a day out of service (" in guesses) == guessed
