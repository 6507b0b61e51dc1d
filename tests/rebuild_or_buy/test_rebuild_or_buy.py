"""The main job: verdict, screen, walk of one number, properties of the answer."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import reference_case as rc

import repairecon
from repairecon.rebuild_or_buy import parts, sentences
from repairecon.rebuild_or_buy.advice import near_tie, screen
from repairecon.rebuild_or_buy.command import as_json
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.parts import full
from repairecon.records import CaseError, FindingError, RepaireconError

DATA = Path(__file__).parents[2] / "data"
DEMOS = ("windlass", "alternator", "starter")
QUANTITIES = ("cash", "own_hours", "days", "total", "total_own_time_free")


@pytest.fixture(scope="module")
def windlass():
    return rebuild_or_buy(repairecon.read_case(DATA / "windlass"), draws=6_000, seed=2)


@pytest.mark.parametrize("demo", DEMOS)
def test_demo_answers_in_full(demo):
    answer = rebuild_or_buy(repairecon.read_case(DATA / demo), draws=4_000, seed=1)
    table = answer.table
    assert np.isfinite(table.select_dtypes("number").to_numpy(float)).all()
    assert table["p_cheapest"].sum() == pytest.approx(1.0, abs=1e-12)
    assert (table["expected_regret"] >= -1e-9).all()
    assert answer.verdict.best in table.index[table["allowed"]]
    assert answer.leaves["chance"].sum() == pytest.approx(1.0, abs=1e-9)
    for q in QUANTITIES:
        assert (table[f"{q}_p10"] <= table[f"{q}_p50"]).all()
        assert (table[f"{q}_p50"] <= table[f"{q}_p90"]).all()


def test_three_numbers_list_every_default():
    case = repairecon.read_case(DATA / "starter")
    answer = rebuild_or_buy(case, draws=2_000)
    assert len(answer.assumed) > 10
    assert all(a.name and a.source for a in answer.assumed)
    (sheet,) = parts.assumed(answer)
    said = " ".join(sheet.table["taken as"])
    words = parts.MEANING
    named = {a.name: (a.name, sentences.plain(a.name), words.get(a.name.split(" (")[0], "?")) for a in answer.assumed}
    assert [name for name, some in named.items() if not any(w in said for w in some)] == []
    assert not any(code in said for code in parts.MEANING if "_" in code)  # in words, not in code names


def test_total_is_cash_and_hours_and_days_at_their_price(windlass):
    t, terms = windlass.table, windlass.case.terms
    own = terms.cost_own_hour * t["own_hours_mean"]
    whole = t["cash_mean"] + own + t["cost_lost_days_mean"]
    np.testing.assert_allclose(t["total_mean"], whole, rtol=1e-12)
    np.testing.assert_allclose(t["total_own_time_free_mean"], whole - own, rtol=1e-12)


def test_walk_of_one_number(tmp_path):
    """A price typed into row 3 of quotes.csv can be followed to a line of the summary that names the row."""
    (tmp_path / "case.toml").write_text(
        '[unit]\nname = "smoke shifter"\n[three_numbers]\nprice_new = 500\nprice_kit = 100\nwait_days = 5\n'
        '[money]\ncurrency = "EUR"\nvat_rate = 0.20\nexchange_date = 2026-10-01\n[money.exchange]\nGBP = 1.25\n'
    )
    (tmp_path / "parts.csv").write_text("part,quantity\nbearing,3\nseal,1\n")
    (tmp_path / "suppliers.csv").write_text(
        "supplier,role,currency,vat,imported,duty_rate,cost_handling,carriage_likely\n"
        "chandler,chandler,EUR,in,no,,,5\nstockist,bearing stockist,GBP,ex,yes,0.10,12,8\n"
    )
    (tmp_path / "quotes.csv").write_text(
        "item,supplier,quoted_likely,pack\nseal,chandler,9,1\nbearing,stockist,20,2\nbearing,chandler,80,1\n"
    )
    case = repairecon.read_case(tmp_path)
    quote = next(q for q in case.quotes if str(q.source) == "quotes.csv:3")
    assert (quote.quoted.likely, quote.pack) == (20, 2)
    answer = rebuild_or_buy(case, draws=500)
    line = answer.lines.set_index("source").loc["quotes.csv:3"]
    # Landed by hand: 2 packs x 20 GBP x 1.25 x 1.10 duty x 1.20 VAT, carriage 8 GBP alike, handling 12.
    by_hand = (2 * 20 + 8) * 1.25 * 1.10 * 1.20 + 12
    assert line["cost_all_in"] == pytest.approx(by_hand, rel=1e-12)
    printed = next(row for row in full(answer, "prices").splitlines() if "quotes.csv:3" in row)
    assert "bearing" in printed
    assert f"EUR {by_hand:.2f}" in printed or f"EUR {by_hand:.0f}" in printed
    # One more GBP in that row is 2 packs more on the rebuild wherever the parts are ordered, and nothing on the buy.
    text = (tmp_path / "quotes.csv").read_text().replace("stockist,20", "stockist,21")
    (tmp_path / "quotes.csv").write_text(text)
    dearer = rebuild_or_buy(repairecon.read_case(tmp_path), draws=500)
    more = dearer.table["cash_mean"] - answer.table["cash_mean"]
    assert more["new"] == pytest.approx(0.0, abs=1e-9)
    ordered = more["rebuild here"] / (2 * 1.25 * 1.10 * 1.20)
    assert 0.5 < ordered <= 1.0 + 1e-12


def test_same_seed_same_answer_bit_for_bit():
    case = rc.case()
    once, again = (as_json(rebuild_or_buy(case, draws=9_000, seed=0)) for _ in range(2))
    assert json.dumps(once) == json.dumps(again)
    other = rebuild_or_buy(case, draws=9_000, seed=1).table
    assert [way["total"]["p50"] for way in once["ways"]] != other["total_p50"].to_list()


def test_own_time_at_zero_and_at_the_owners_rate():
    free = rebuild_or_buy(rc.case(), draws=3_000, cost_own_hour=0.0).table
    paid = rebuild_or_buy(rc.case(), draws=3_000).table
    np.testing.assert_allclose(free["total_mean"], free["total_own_time_free_mean"], rtol=1e-12)
    assert (paid["total_mean"] > free["total_mean"]).all()


def test_near_tie_by_share_and_by_odds():
    case = rc.case()
    assert near_tie(case, gap=49.0, total=1000.0, p_below=0.9)
    assert not near_tie(case, gap=51.0, total=1000.0, p_below=0.9)
    assert near_tie(case, gap=99.0, total=1000.0, p_below=0.59)
    assert not near_tie(case, gap=101.0, total=1000.0, p_below=0.59)


def test_near_tie_says_either_and_a_flip():
    ways = list(rc.ways())
    base = rebuild_or_buy(rc.case(), draws=500)
    gap = base.table.loc["new", "total_mean"] - base.table.loc["exchange", "total_mean"]
    price = ways[2].price
    ways[2] = replace(ways[2], price=rc.span(price.low - gap, price.likely - gap, price.high - gap))
    answer = rebuild_or_buy(rc.case(ways=tuple(ways)), draws=4_000)
    assert answer.verdict.near_tie
    assert answer.advice.ties
    assert "would cost the same" in " ".join(sentences.advice(answer))
    assert "(then " in " ".join(sentences.flips(answer))


class TestScreen:
    """Common practice, no source: pattern, second-hand and own rebuild never on price alone on such units."""

    unit = replace(rc.case().unit, safety=("flooding",))

    def test_bars_own_rebuild_and_second_hand(self):
        case = rc.case(unit=self.unit)
        why = screen(case)
        assert {w for w, text in why.items() if text} == {
            "rebuild here",
            "second-hand",
            "buy new, rebuild the old",
        }
        answer = rebuild_or_buy(case, draws=2_000)
        barred = answer.table[~answer.table["allowed"]]
        assert (barred["p_cheapest"] == 0).all()
        assert answer.table["p_cheapest"].sum() == pytest.approx(1.0)
        assert answer.verdict.best in ("exchange", "new")
        assert "Not to be chosen on price alone" in " ".join(full(answer).split())

    def test_cheap_barred_way_is_named_but_not_chosen(self):
        ways = list(rc.ways())
        ways[3] = replace(ways[3], price=rc.span(1, 2, 3), p_never=0.0, lead_days=rc.span(1, 1, 1))
        answer = rebuild_or_buy(rc.case(unit=self.unit, ways=tuple(ways)), draws=2_000)
        assert answer.table["total_mean"].idxmin() == "second-hand"
        assert answer.verdict.best != "second-hand"
        assert "second-hand" in as_json(answer)["verdict"]

    def test_waiver_lifts_it(self):
        case = rc.case(unit=self.unit, waivers={"rebuild here": "rebuilt by a licensed fitter"})
        assert screen(case)["rebuild here"] == ""

    def test_reason_of_a_waiver_stands_beside_the_cautions(self):
        reasons = {"rebuild here": "rebuilt by a licensed fitter", "new": "never barred"}
        answer = rebuild_or_buy(rc.case(unit=self.unit, waivers=reasons), draws=100)
        said = (
            "You waived the safety screen for rebuild here (flooding: own rebuild not on price alone) because: "
            "rebuilt by a licensed fitter."
        )
        assert [c for c in as_json(answer)["cautions"] if "waived" in c] == [said]
        assert said in " ".join(full(answer).split())

    def test_nothing_left_is_said(self):
        case = rc.case(unit=self.unit, ways=(rc.ways()[3],))
        with pytest.raises(RepaireconError, match="safety screen"):
            rebuild_or_buy(case, draws=100)


class TestFindings:
    def test_certain_finding_changes_nothing(self):
        base = rc.case()
        sure = rc.case(branches=(*base.branches, rc.branch("deck", "wet", 1.0, "outside")))
        plain = rebuild_or_buy(sure, draws=100).table
        seen = rebuild_or_buy(sure, draws=100, found="deck=wet").table
        pd.testing.assert_frame_equal(plain, seen)

    def test_finding_moves_the_answer(self):
        plain = rebuild_or_buy(rc.case(), draws=100).table
        cracked = rebuild_or_buy(rc.case(), draws=100, found={"casing": "cracked"}).table
        assert cracked.loc["rebuild here", "p_given_up"] == pytest.approx(1.0)
        # A cracked casing is refused as a core: surcharge 121.67 in the mean, refunded 9 times in 10 before.
        lost = 0.9 * (100 + 4 * 120 + 150) / 6
        p_cracked = 0.55 * 0.05 + 0.45 * 0.2
        more = cracked.loc["exchange", "cash_mean"] - plain.loc["exchange", "cash_mean"]
        assert more == pytest.approx(lost * (1 - p_cracked), rel=1e-9)

    @pytest.mark.parametrize("found", ["casing", "=cracked", "casing=", "gearbox=worn", "casing=melted"])
    def test_bad_finding_is_said(self, found):
        with pytest.raises(RepaireconError, match=r"found|event"):
            rebuild_or_buy(rc.case(), draws=100, found=found)

    def test_contradiction_is_said(self):
        with pytest.raises(RepaireconError, match="both"):
            rebuild_or_buy(rc.case(), draws=100, found="casing=cracked; casing=sound")
        case = rc.case(branches=(
            rc.branch("a", "x", 0.5, "strip"), rc.branch("a", "y", 0.5, "strip"),
            rc.branch("b", "p", 1.0, "strip", "a=x"), rc.branch("b", "q", 1.0, "strip", "a=y"),
        ))  # fmt: skip
        with pytest.raises(FindingError, match="cannot all be true"):
            rebuild_or_buy(case, draws=100, found="a=x; b=q")


@pytest.mark.parametrize(
    "bad", [{"draws": 1}, {"draws": 0}, {"seed": -1}, {"cost_own_hour": -1.0}, {"cost_own_hour": float("nan")},
            {"horizon_years": -5.0}, {"horizon_years": 500.0}]
)  # fmt: skip
def test_bad_arguments_are_said(bad):
    with pytest.raises(RepaireconError, match=next(iter(bad))):
        rebuild_or_buy(rc.case(), **{"draws": 100, **bad})


def test_leaf_extra_cost_by_hand():
    """One event, no shared input: the leaf's extra is its own parts, hours and outside work."""
    branches = (
        rc.branch("shaft", "good", 0.75, "strip"),
        rc.branch("shaft", "grooved", 0.25, "strip", parts=(("part 0", 1),), extra_hours=rc.span(2, 2, 2),
                  outside_cost=rc.span(40, 40, 40)),
    )  # fmt: skip
    base = rc.case()
    parts = (replace(base.parts[0], needed="damage"), *base.parts[1:])
    case = rc.case(branches=branches, parts=parts, quotes=base.quotes[1:])
    parts = (replace(parts[0], price=rc.span(30, 30, 30)), *parts[1:])
    leaves = rebuild_or_buy(replace(case, parts=parts), draws=100).leaves
    extra = {o["shaft"]: x for o, x in zip(leaves["outcomes"], leaves["expected_extra_cost"], strict=True)}
    assert extra["good"] == pytest.approx(0.0, abs=1e-9)
    assert extra["grooved"] == pytest.approx(30 + 40 + 2 * 18.0, rel=1e-12)


def test_nodes_hold_the_tree(windlass):
    nodes = windlass.nodes
    assert (nodes["parent"] == -1).sum() == 1
    chances = nodes[nodes["parent"] >= 0].groupby("parent")["chance"].sum()
    np.testing.assert_allclose(chances, 1.0, atol=1e-9)
    root = nodes[nodes["parent"] == -1].iloc[0]
    assert root["extra_cost"] == pytest.approx(windlass.leaves["chance"] @ windlass.leaves["expected_extra_cost"])


def test_a_case_without_a_way_to_buy_is_said():
    with pytest.raises(RepaireconError, match="no way buys one"):
        rebuild_or_buy(rc.case(ways=(rc.ways()[0],)), draws=100)


def test_a_case_without_ways_is_said():
    with pytest.raises(RepaireconError, match="no way out"):
        rebuild_or_buy(rc.case(ways=()), draws=100)


def test_all_faults_reach_the_library(tmp_path):
    (tmp_path / "case.toml").write_text('[unit]\nname = "x"\n[three_numbers]\nprice_new = "dear"\nprice_kit = -1\n')
    with pytest.raises(CaseError) as caught:
        repairecon.read_case(tmp_path)
    assert len(caught.value.faults) >= 2
