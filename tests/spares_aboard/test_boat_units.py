"""The boat around a book: what was just renewed fails less, a whole unit stands in for its parts, prices are found."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from aboard_makers import empty_book, passage
from boats import BOAT, boat_book
from plain_carry import choices, joint
from scipy import stats

from repairecon.kinds import facts
from repairecon.records import CaseError, Range, ReceiveLine, SpareWish
from repairecon.spares_aboard.job import SparesAnswer, spares_aboard
from repairecon.spares_aboard.screen import full as summary
from repairecon.spares_aboard.screen import guessed, why

YEAR = 365.25
SHAPE = 2.0  # life_shape of defaults.toml, of every kind
TEN = 3652 / YEAR  # years from 2016-06-01 to 2026-06-01


def sure(x: float) -> Range:
    return Range(x, x, x)


def row(answer: SparesAnswer, item: str):
    return answer.carry.set_index("item").loc[item]


def p_fails(rate: float, age: float, days: float) -> float:
    """Chance that a unit of an age fails, of a Weibull life whose mean is 1 / rate, by scipy."""
    life = stats.weibull_min(SHAPE, scale=1.0 / rate / math.gamma(1.0 + 1.0 / SHAPE))
    return 1.0 - life.sf(age + days / YEAR) / life.sf(age)


def test_what_was_just_renewed_fails_less(tmp_path: Path) -> None:
    often = sure(0.2)
    with boat_book(tmp_path) as book:
        for name, units in (("seal", "raw water pump"), ("gasket", "raw water pump"), ("ring", "undated pump")):
            book.add_item(name, locker="A1", units=(units,))
        book.receive([ReceiveLine("gasket", 1, "x", 3)], "2026-02-01")
        book.fit("gasket", "raw water pump", date="2026-03-03")
        wishes = tuple(SpareWish(item=n, failures_per_year=often) for n in ("seal", "gasket", "ring"))
        answer = spares_aboard(book, passage(items=wishes))
    fresh, old, undated = (row(answer, n)["p_short_now"] for n in ("gasket", "seal", "ring"))
    assert fresh == pytest.approx(p_fails(0.2, 90 / YEAR, 30), rel=1e-6)
    assert old == pytest.approx(p_fails(0.2, TEN, 30), rel=1e-3)
    assert undated == pytest.approx(1.0 - math.exp(-0.2 * 30 / YEAR), rel=1e-6)  # of no known age: by the long run
    assert fresh < 0.1 * undated < 0.1 * old
    (gasket,) = (r for r in answer.carry.itertuples() if r.item == "gasket")
    assert "renewed 90 days ago" in why(gasket, "EUR")
    assert bool(row(answer, "seal")["critical"])  # as units.csv says of the pump


def test_the_record_counts_the_time_that_a_part_has_stood(tmp_path: Path) -> None:
    """Rates drawn from the view before, lives from the rates; those that did not stand until now are thrown away."""
    with boat_book(tmp_path) as book:
        book.add_item("seal", locker="A1", units=("raw water pump",))
        book.receive([ReceiveLine("seal", 2, "x", 3)], "2020-06-01")
        for day in ("2021-06-01", "2024-06-01"):
            book.fit("seal", "raw water pump", date=day)
        answer = spares_aboard(book, passage(days=365.25))
    rng, many = np.random.default_rng(4), 2_000_000
    record, since = 2191 / YEAR, 730 / YEAR
    rate = rng.gamma(0.5 + 2, 1.0 / (5.0 + record - since), many)  # prior_failures, prior_years; two jobs in the book
    life = rng.weibull(SHAPE, many) / rate / math.gamma(1.0 + 1.0 / SHAPE)
    stands = life > since
    assert row(answer, "seal")["p_short_now"] == pytest.approx((life[stands] < since + 1.0).mean(), abs=2e-3)


def test_hours_wear_as_much_as_years(tmp_path: Path) -> None:
    """3,000 h in ten years, where she runs 100 h a year, is 30 years of running beside 10 of standing."""
    often = sure(0.05)
    with boat_book(tmp_path) as book:
        for name, unit in (("seal", "raw water pump"), ("lip", "old pump")):
            book.add_item(name, locker="A1", units=(unit,))
        wishes = tuple(SpareWish(item=n, failures_per_year=often) for n in ("seal", "lip"))
        answer = spares_aboard(book, passage(items=wishes))
    worn = ((TEN**SHAPE + 30.0**SHAPE) / 2.0) ** (1.0 / SHAPE)
    assert row(answer, "lip")["p_short_now"] == pytest.approx(p_fails(0.05, worn, 30), rel=1e-3)
    assert row(answer, "lip")["p_short_now"] > 1.5 * row(answer, "seal")["p_short_now"]


def test_a_whole_unit_is_first_thought_to_last_as_its_kind_does(tmp_path: Path) -> None:
    """Of units of no known age one fails in the mean life of its kind; that view is worth half a failure."""
    with boat_book(tmp_path) as book:
        book.add_item("pump, complete", locker="A1", units=("undated pump",))
        book.add_item("seal", locker="A1", units=("undated pump",))
        answer = spares_aboard(book, passage())
    median = facts("raw water pump").life_years
    mean = (median.low + 4 * median.likely + median.high) / 6 / math.log(2) ** 0.5 * math.gamma(1.5)
    assert row(answer, "pump, complete")["mean_wanted"] == pytest.approx(30 / YEAR / mean, rel=1e-3)
    assert row(answer, "seal")["mean_wanted"] == pytest.approx(30 / YEAR / 10)  # half a failure in five years


def test_every_unit_counts_and_a_whole_one_renews_its_parts(tmp_path: Path) -> None:
    with boat_book(tmp_path) as book:
        book.add_item("pawl", locker="A1", units=("winch",))
        book.add_item("seal", locker="A1", units=("raw water pump",))
        book.add_item("pump, complete", locker="A1", units=("raw water pump",))
        book.receive([ReceiveLine("pawl", 1, "x", 3), ReceiveLine("pump, complete", 1, "x", 500)], "2024-01-01")
        book.fit("pawl", "winch", date="2025-06-01")
        book.fit("pump, complete", "raw water pump", date="2026-05-02")
        wishes = (
            SpareWish(item="pawl", failures_per_year=sure(0.1)),
            SpareWish(item="seal", failures_per_year=sure(0.2)),
        )
        answer = spares_aboard(book, passage(items=wishes))
    pawl = row(answer, "pawl")
    assert pawl["units"] == 4
    assert pawl["ages"] == pytest.approx((1.0, 16.0, 16.0, 16.0), abs=0.01)
    none = (1 - p_fails(0.1, 365 / YEAR, 30)) * (1 - p_fails(0.1, 5844 / YEAR, 30)) ** 3
    assert pawl["p_short_now"] == pytest.approx(1 - none, rel=1e-3)
    assert row(answer, "seal")["ages"] == pytest.approx((30 / YEAR,))


def test_a_whole_unit_stands_in_for_its_parts_by_its_card(tmp_path: Path) -> None:
    """As ``covers`` does by hand: the parts of that unit alone, and not what stays when the unit is changed."""
    parts = ("seal", "gasket")
    with empty_book(tmp_path) as book:
        book.add_unit("pump")
        for name, units in ((parts[0], "pump"), (parts[1], "pump"), ("belt", "pump"), ("bolt", "pump; engine")):
            book.add_item(name, locker="A1", units=tuple(units.split("; ")))
        book.add_item("pump, complete", locker="A1", units=("pump",))
        book.receive([ReceiveLine("pump, complete", 1, "x", 95)], "2026-01-01")
        often = tuple(SpareWish(item=n, failures_per_year=sure(2.0)) for n in (*parts, "belt", "bolt"))
        by_card = spares_aboard(book, passage(items=often))
        hand = SpareWish(item="pump, complete", covers=parts, p_useful=0.95)
        by_hand = spares_aboard(book, passage(items=(*often, hand)))
    columns = ["item", "p_short_now", "worth", "buy"]
    assert by_card.carry[columns].equals(by_hand.carry[columns])
    assert "p_useful_whole" in {a.name for a in by_card.assumed}
    for name in ("belt", "bolt"):
        assert row(by_card, name)["p_short_now"] > 1.5 * row(by_card, "seal")["p_short_now"]


def test_being_without_against_a_plain_simulation(tmp_path: Path) -> None:
    """Lives drawn one after another, from the age on; one seal lies there, and one pump for whatever is dearest."""
    rates, costs = {"seal": 0.5, "impeller": 0.8}, {"seal": 100.0, "impeller": 400.0}
    with boat_book(tmp_path) as book:
        for name in (*rates, "pump, complete"):
            book.add_item(name, locker="A1", units=("raw water pump",))
        came = [
            ReceiveLine("seal", 1, "x", 6),
            ReceiveLine("impeller", 1, "x", 9),
            ReceiveLine("pump, complete", 1, "x", 9),
        ]
        book.receive(came, "2025-06-01")
        book.fit("impeller", "raw water pump", date="2025-06-01")
        wishes = [
            SpareWish(item=n, failures_per_year=sure(r), cost_without=sure(costs[n]), most=0) for n, r in rates.items()
        ]
        none = SpareWish(item="pump, complete", failures_per_year=sure(1e-9), cost_without=sure(0.0), most=0)
        answer = spares_aboard(book, passage(days=730.5, items=(*wishes, none)))
    rng, many = np.random.default_rng(2), 200_000
    count = {}
    for (name, rate), age in zip(rates.items(), (TEN, 365 / YEAR), strict=True):
        scale = 1.0 / rate / math.gamma(1.0 + 1.0 / SHAPE)
        at = scale * ((age / scale) ** SHAPE + rng.exponential(size=many)) ** (1.0 / SHAPE) - age
        count[name] = np.zeros(many)
        while (at < 2.0).any():
            count[name] += at < 2.0
            at = at + scale * rng.weibull(SHAPE, many)
    to_impeller = count["impeller"] > 0
    short_seal = np.maximum(count["seal"] - 1 - ~to_impeller, 0)
    cost = 100.0 * short_seal + 400.0 * (count["impeller"] - to_impeller)
    assert answer.risk.cost_now == pytest.approx(cost.mean(), abs=5 * cost.std() / many**0.5)


@pytest.mark.parametrize("budget", [12.0, 60.0, 105.0, 130.0])
@pytest.mark.parametrize(("weight", "room"), [(99.0, 99.0), (3.0, 99.0), (99.0, 1.1)])
def test_unit_against_parts_by_every_choice(tmp_path: Path, budget: float, weight: float, room: float) -> None:
    """Every list there is, under money, weight and room, its worth summed over every course of failures."""
    goods = {"seal": (8.0, 0.5, 0.5), "impeller": (30.0, 1.0, 0.5), "pump, complete": (95.0, 4.0, 1.0)}
    rates, costs, most = (6.0, 3.0, 0.0), (90.0, 400.0, 0.0), (3, 3, 1)
    with empty_book(tmp_path) as book:
        book.add_unit("pump")
        for name, (_, kg, litres) in goods.items():
            book.add_item(name, locker="A1", units=("pump",), weight_kg=kg, volume_litres=litres)
        wishes = tuple(
            SpareWish(item=n, cost_without=sure(c), failures_per_year=sure(r), price=goods[n][0], most=m)
            for n, c, r, m in zip(goods, costs, rates, most, strict=True)
        )
        answer = spares_aboard(book, passage(items=wishes), budget=budget, weight_kg=weight, room_litres=room)
    found = tuple(int(row(answer, n)["buy"]) for n in goods)
    lost = [x[0] * (1 - 0.9 ** (30 / 365)) for x in goods.values()]  # a tenth of the price a year, assumed
    demands = [stats.poisson(r * 30 / YEAR).pmf(np.arange(6)).tolist() for r in rates[:2]] + [[1.0]]
    modes = [(0, ((0, 1),), 90.0), (1, ((1, 1),), 400.0), (0, ((2, 1),), 85.5), (1, ((2, 1),), 380.0)]

    def fits(b: tuple[int, ...]) -> bool:
        used = [sum(n * x[k] for n, x in zip(b, goods.values(), strict=True)) for k in range(3)]
        return all(u <= limit + 1e-9 for u, limit in zip(used, (budget, weight, room), strict=True))

    assert fits(found)
    worth = {b: joint(demands, modes, b, lost)[0] for b in choices(most) if fits(b)}
    assert worth[found] == pytest.approx(max(worth.values()), abs=0.02)
    assert answer.most_lost == pytest.approx(0.0, abs=1e-6)


def test_a_budget_of_100_buys_the_pump_and_not_five_fuses(tmp_path: Path) -> None:
    """The first fuse is worth most for its money; five of them are worth about 39, the one pump about 188."""
    with empty_book(tmp_path) as book:
        for name in ("fuse", "pump"):
            book.add_item(name, locker="A1")
        wishes = (
            SpareWish(item="fuse", cost_without=sure(22.0), failures_per_year=sure(22.0), price=8.0, most=5),
            SpareWish(item="pump", cost_without=sure(1000.0), failures_per_year=sure(2.54), price=95.0, most=1),
        )
        answer = spares_aboard(book, passage(items=wishes), budget=100.0)
        without = spares_aboard(book, passage(items=(wishes[0], SpareWish(item="pump", most=0))), budget=100.0)
    assert without.carry.set_index("item").loc["fuse", "worth_bought"] == pytest.approx(39, abs=3)
    assert row(answer, "pump")["worth_bought"] == pytest.approx(188, abs=2)
    assert answer.budget_curve["item"].iloc[1] == "fuse"  # the order in which to buy begins with it
    assert (row(answer, "fuse")["buy"], row(answer, "pump")["buy"]) == (0, 1)
    assert answer.most_lost == pytest.approx(0.0, abs=1e-6)


def test_prices_that_nobody_paid(tmp_path: Path) -> None:
    """By a job's quotes (same size, or the same part by its name), the price of new, a share of the kit: all marked."""
    with boat_book(tmp_path, job=True) as book:
        pump = ("raw water pump",)
        book.add_item("seal, shaft, raw water pump", locker="A1", units=pump, designation="20x35x7", material="NBR")
        book.add_item("cover, raw water pump", locker="A1", units=pump)
        book.add_item("pump, complete", locker="A1", units=pump)
        book.add_item("impeller", locker="A1", units=pump)
        book.add_item("rebuild kit", locker="A1", units=pump)
        book.add_item("bolt", locker="A1", units=("undated pump",))
        book.receive([ReceiveLine("impeller", 1, "x", 31)], "2026-01-01")
        book.add_item("cam", locker="A1", units=pump)
        book.add_item("lamp", locker="A1")
        answer = spares_aboard(book, passage(), budget=60.0)
        said = " ".join(summary(answer).split())
    found = {r.item: (r.price, r.price_from) for r in answer.carry.itertuples()}
    assert found["impeller"] == (31.0, "paid")
    # 9 GBP for two, tax included there, tax to be paid here: 5.40 each; of the stockist it would be 7.20
    assert found["seal, shaft, raw water pump"][0] == pytest.approx(9 * 1.2 / 1.2 * 1.2 / 2)
    assert found["seal, shaft, raw water pump"][1] == "a quote of by post in the job pump"
    assert found["cover, raw water pump"][0] == pytest.approx(30 * 1.2)
    assert found["pump, complete"] == (500.0, "the price of a new one in units.csv")
    kit = (0.2 + 4 * 0.4 + 0.95) / 6 * 500  # kit price / new price of ratios.csv, mean of a PERT
    assert found["rebuild kit"][0] == pytest.approx(kit)
    assert found["cam"][0] == pytest.approx(kit / 5)
    assert found["cam"][1].startswith("a guess: the share of a kit")
    assert np.isnan(found["lamp"][0])
    assert "by a quote of by post in the job pump" in said
    assert "lamp: 1 more would be worth" in said
    assert "no price known: ask for one" in said


def test_faults_of_the_boat_are_said(tmp_path: Path) -> None:
    with boat_book(tmp_path) as book:
        book.add_item("seal", locker="A1", units=("raw water pump",))
        (tmp_path / "units.csv").write_text("unit,count\npump,many\n", encoding="utf-8")
        with pytest.raises(CaseError, match=r"units\.csv row 2, count"):
            _ = spares_aboard(book, passage()).carry


@pytest.mark.parametrize(("rates", "scale", "said"), [
    ("EUR = 11.5\n", 11.5, "EUR each time"),
    ("GBP = 13.0\n", 1.0, "SEK each time, the figure for EUR taken as it stands"),
])  # fmt: skip
def test_a_guess_known_in_euro_comes_in_the_money_of_the_boat(tmp_path: Path, rates: str, scale: float, said: str):
    """5 / 25 / 120 EUR in a boat whose money is another: by her rate, else as it stands, which is said."""
    with boat_book(tmp_path) as book:
        boat = BOAT.replace('"EUR"', '"SEK"').partition("[money.exchange]\n")[0]
        (tmp_path / "boat.toml").write_text(f"{boat}[money.exchange]\n{rates}", encoding="utf-8")
        (tmp_path / "suppliers.csv").unlink()
        book.say("home_currency", "SEK")
        book.add_item("hose clip", locker="A1")
        answer = spares_aboard(book, passage())
    assert row(answer, "hose clip")["cost_without"] == pytest.approx(scale * (5 + 4 * 25 + 120) / 6)
    (guess,) = (a for a in answer.assumed if a.name == "cost_without_other")
    assert guess.unit == said
    assert ("(the figure for EUR taken as it stands)" in guessed(answer)[0]) is (scale == 1.0)
