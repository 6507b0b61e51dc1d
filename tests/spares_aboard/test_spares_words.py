"""Faces of spares aboard: words, panels, pictures; what a book says is text and nothing else."""

from __future__ import annotations

import datetime

import matplotlib
import pytest
from aboard_makers import empty_book, passage, small_answer

from repairecon.records import Range, ReceiveLine, SpareWish
from repairecon.show import plots
from repairecon.show.words import price
from repairecon.spares_aboard import charts, screen
from repairecon.spares_aboard.job import spares_aboard

matplotlib.use("Agg")
HOSTILE = "<script>alert(1)</script> $x^2$ **b** =1+1"


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return small_answer(tmp_path_factory.mktemp("small"), budget=100)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    with empty_book(tmp_path_factory.mktemp("hostile")) as book:
        book.add_locker(HOSTILE)
        book.add_item(HOSTILE, system=HOSTILE, material="NBR", locker=HOSTILE, minimum=5, critical=True)
        book.receive([ReceiveLine(HOSTILE, 1, HOSTILE, 9, cure_date="2010-01-01")], "2020-01-01")
        wish = SpareWish(item=HOSTILE, cost_without=Range(90.0, 90.0, 90.0), failures_per_year=Range(5.0, 5.0, 5.0))
        return spares_aboard(book, passage(items=(wish,)))


def test_panels_escape_what_the_book_says(hostile):
    blocks = [*screen.main(hostile, pictures=False), *screen.rest(hostile)]
    for page in ("".join(b._repr_html_() for b in (hostile, *blocks)), screen.page(hostile)):
        assert "&lt;script&gt;" in page
        assert "<script" not in page
    assert HOSTILE in "".join(map(repr, blocks))


def test_pictures_are_drawn_for_any_book(hostile, small):
    for answer in (hostile, small):
        drawn = [b for b in screen.main(answer) if isinstance(b, plots.Picture)]
        risk, expiry, value = (picture.draw(None) for picture in drawn)
        assert {a.get_gid() for a in risk.lines} >= {"risk", "chosen"}
        assert all(bar.get_width() >= 0 for bar in value.patches)
        assert "today" in {a.get_gid() for a in expiry.lines}
        for ax in (risk, value, expiry):
            ax.figure.canvas.draw()


def test_captions_say_what_to_do(small, hostile):
    def caption(picture):
        return picture.draw.args[-1]

    assert "belt first, for EUR 10.00" in caption(charts.risk_picture(small))
    assert caption(charts.places_picture(small)).startswith("Count B2 first")
    assert caption(charts.expiry_picture(small)) == "Before you sail: throw away 1."
    assert caption(charts.expiry_picture(hostile)) == "Before you sail: throw away 1."


def test_the_first_sentence_names_what_to_buy(small, hostile):
    buy = list(screen.buy_table(small)["buy"])
    assert f" of EUR 100: {buy[0]}; {buy[1]} and {len(buy) - 2} more. Being without then costs" in screen.budget(small)
    (only,) = screen.buy_table(hostile)["buy"]
    assert f" (no budget given: all that pays): {only}. Being" in screen.budget(hostile)


def test_expiry_is_said_with_its_evidence(tmp_path):
    with empty_book(tmp_path) as book:
        rings = (("a", "2019-06-10", "2020-01-01"), ("b", "", "2018-01-01"), ("c", "2010-01-01", "2015-01-01"))
        for name, cure, bought in rings:
            book.add_item(name, material="NBR", locker="A1")
            book.receive([ReceiveLine(name, 1, "x", 1, cure_date=cure)], bought)
        lines = screen.expiring(spares_aboard(book, passage()))
    assert lines == [
        "c: 1 in A1: out of date since 2020-01-01: throw away (cured 2010-01-01).",
        "b: 1 in A1: inspect: due since 2025-01-01; if sound, good until 2028-01-01 (no cure date, counted from the "
        "day bought: may be older).",
        "a: 1 in A1: runs out during the passage, on 2026-06-10 (cured 2019-06-10).",
    ]


def test_whole_units_are_to_be_turned(tmp_path):
    with empty_book(tmp_path) as book:
        for name in ("pump, complete", "elbow, complete", "starter"):
            book.add_item(name, locker="A1")
            book.receive([ReceiveLine(name, 1, "x", 1)], "2025-01-01")
        wishes = (
            SpareWish(item="elbow, complete", whole_unit=False),
            SpareWish(item="starter", turned="2026-05-20", turn_every_days=30.0),
        )
        answer = spares_aboard(book, passage(items=wishes))
    turning = answer.turning.set_index("item")
    assert set(turning.index) == {"pump, complete", "starter"}
    assert turning.loc["starter", "turn_by"] == datetime.date(2026, 6, 19)
    assert turning.loc["pump, complete", "turn_by"] == datetime.date(2025, 6, 30)  # 180 days on


def test_where_no_cost_of_being_without_is_said_that_comes_first(tmp_path):
    """A new book's advice rests on a guess alone, and says how to better it; one with the owner's figures does not."""
    with empty_book(tmp_path) as book:
        book.add_item("impeller", locker="A1", critical=True)
        book.add_item("hose clip", locker="A1")
        answer = spares_aboard(book, passage())
        own = spares_aboard(book, passage(cost_without={"other": Range(10.0, 10.0, 10.0)}))
    (said,) = screen.guessed(answer)
    costs = sorted(set(answer.carry["cost_without"]))  # means of 5 / 25 / 120 and of 150 / 600 / 2500: (a + 4m + b) / 6
    assert costs == pytest.approx([225 / 6, 5050 / 6])
    assert "EUR 38 or EUR 842 each time" in said
    assert said in screen.verdict(answer).lines
    assert screen.guessed(own) == []


def test_no_price_is_minus_nothing():
    assert price(-0.001, "EUR") == "EUR 0.00"
    assert price(-0.01, "EUR") == "EUR -0.01"
