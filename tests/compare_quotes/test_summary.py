"""What the quotes job says and shows. Figures are invented; sums by hand beside them."""

from __future__ import annotations

import html

import pandas as pd
import pytest
from quote_cases import case_of, quotes_of, write_rows

import repairecon
from repairecon.compare_quotes import sentences, summary
from repairecon.compare_quotes.job import QuotesAnswer
from repairecon.compare_quotes.tables import MAKERS_ONLY, by_supplier, charges
from repairecon.show.layout import WIDTH, as_text
from repairecon.show.sheet import Sheet

HOME = '[money]\nvat_rate = 0.21\ncurrency = "EUR"\n'


@pytest.fixture(name="demo")
def the_demo(quotes_answer: QuotesAnswer) -> QuotesAnswer:
    """The quotes of the engine service."""
    return quotes_answer


def compared(tmp_path, parts, suppliers, quotes, toml=HOME, **wishes):
    folder = tmp_path / "case"
    case_of(folder, [p | {"price_likely": 1} for p in parts], suppliers, quotes, toml)
    write_rows(folder / "parts.csv", parts)
    return repairecon.compare_quotes(repairecon.read_case(folder, order=True), **wishes)


def test_no_line_is_wider_than_the_page(tmp_path, demo):
    long = "deep groove ball bearing, two contact seals, of the raw water pump at the pulley"
    answer = compared(
        tmp_path, [{"part": long}, {"part": "seal"}], [{"supplier": "stockist of bearings and of seals in the town"}],
        quotes_of({(long, "stockist of bearings and of seals in the town"): 9,
                   ("seal", "stockist of bearings and of seals in the town"): 4}),
    )  # fmt: skip
    for said in (answer, demo):
        text = summary.full(said)
        assert max(map(len, text.splitlines())) <= WIDTH
        assert "\n\n\n" not in text
        first = summary.first_screen(said, 80).splitlines()
        assert max(map(len, first)) <= 80
        assert len(first) <= summary.MOST_LINES


def test_a_refunded_core_leaves_no_charge(tmp_path):
    """120 with 21 % VAT in, core of 60 paid and refunded: the VAT of the core comes back with it, 120 stays."""
    answer = compared(
        tmp_path, [{"part": "alternator"}], [{"supplier": "shop"}],
        quotes_of({("alternator", "shop"): 121}, quoted_core_likely=60.5),
    )  # fmt: skip
    (row,) = charges(answer.basket).to_dict("records")
    assert row["goods"] == pytest.approx(100.0)
    assert row["VAT"] == pytest.approx(21.0)
    assert row["core kept"] == pytest.approx(0.0)
    assert row["landed"] == pytest.approx(121.0)
    assert by_supplier(answer.basket).sum(axis=1)["shop"] == pytest.approx(121.0)


def test_charges_of_an_import_by_hand(tmp_path):
    """
    2 x GBP 50 at 1.2, carriage GBP 10, insurance 1 %, card 2 %, duty 5 %, VAT 21 %, handling 15, all by hand:
    goods 120, carriage 12, insurance 1.32, card fee 2.64, duty 5 % of 133.32 = 6.666, VAT 21 % of 139.986 = 29.39706.
    """
    seller = {"supplier": "abroad", "currency": "GBP", "vat": "ex", "carriage_likely": 10, "insurance_rate": 0.01,
              "card_fee_rate": 0.02, "imported": "yes", "duty_rate": 0.05, "cost_handling": 15}  # fmt: skip
    toml = HOME + "exchange_date = 2026-10-01\n[money.exchange]\nGBP = 1.2\n"
    answer = compared(tmp_path, [{"part": "seal", "quantity": 2}], [seller], quotes_of({("seal", "abroad"): 50}), toml)
    (row,) = charges(answer.basket).to_dict("records")
    by_hand = {"goods": 120, "carriage": 12, "insurance and fees": 3.96, "duty": 6.666, "VAT": 29.39706, "handling": 15}
    assert {name: row[name] for name in by_hand} == pytest.approx(by_hand)
    assert row["landed"] == pytest.approx(187.02306)
    shown = summary.charges_table(answer)
    assert list(shown["duty"]) == ["6.67", "6.67"]
    (terms,) = summary.terms_table(answer).to_dict("records")
    assert terms == {
        "supplier": "abroad", "money": "GBP", "VAT": "sold free of it", "carriage": "GBP 10.00", "free above": "",
        "minimum order": "", "discount": "", "card fee, insurance": "2 %, 1 %", "duty": "5 %", "handling": "EUR 15.00",
        "comes": "by post", "days": "0 to 0",
    } | {"days": terms["days"]}  # fmt: skip


def test_one_missing_weight_is_said(tmp_path):
    """The heaviest band is 14: it is taken, and the part without a weight is named."""
    folder = tmp_path / "case"
    folder.mkdir()
    write_rows(folder / "carriage.csv", [{"supplier": "shop", "up_to_kg": kg, "quoted_likely": cost}
                                         for kg, cost in ((1, 4), (5, 14))])  # fmt: skip
    answer = compared(
        tmp_path, [{"part": "seal"}, {"part": "shaft"}], [{"supplier": "shop"}],
        [{"item": "seal", "supplier": "shop", "quoted_likely": 5, "weight_kg": 0.1},
         {"item": "shaft", "supplier": "shop", "quoted_likely": 60}],
    )  # fmt: skip
    assert answer.total == pytest.approx(5 + 60 + 14)
    (said,) = [line for line in sentences.terms(answer) if "weight" in line]
    assert "shaft" in said
    assert "seal" not in said
    assert "EUR 14.00" in said
    assert "heaviest" in summary.terms_table(answer)["carriage"].iloc[0]


def limited(tmp_path):
    """Two parts, each sold cheap by one seller and dear by the other; one parcel only."""
    prices = {("seal", "near"): 10, ("seal", "far"): 30, ("bearing", "near"): 50, ("bearing", "far"): 20}
    return compared(
        tmp_path, [{"part": "seal"}, {"part": "bearing"}], [{"supplier": "near"}, {"supplier": "far"}],
        quotes_of(prices), most_parcels=1,
    )  # fmt: skip


def test_what_a_limit_of_parcels_costs_is_said(tmp_path):
    """One parcel: 30 + 20 = 50 from far; two parcels 10 + 20 = 30: the limit costs 20."""
    answer = limited(tmp_path)
    assert answer.total == pytest.approx(50.0)
    said = " ".join([*sentences.verdict(answer), *sentences.beside(answer)])
    assert "The limit of 1 parcel costs you EUR 20.00 or more" in said
    assert "EUR -" not in said
    assert "All from one supplier" not in said
    table = summary.alternatives_table(answer).set_index("way of ordering")
    assert table.loc["cheapest price line by line", "against it"] == "EUR 20.00 less"


def test_sums_of_other_parts_are_not_compared(tmp_path):
    """One parcel of two: whoever is left out, the other's sum says nothing of this one."""
    answer = compared(
        tmp_path, [{"part": "seal"}, {"part": "bearing"}], [{"supplier": "near"}, {"supplier": "far"}],
        quotes_of({("seal", "near"): 10, ("bearing", "far"): 20}), most_parcels=1,
    )  # fmt: skip
    assert [why for _, why in answer.uncovered] == ["over the limit of 1 parcel together with the others"]
    said = " ".join([*sentences.verdict(answer), *sentences.beside(answer)])
    assert not any(word in said for word in ("looks best", "more", "EUR -"))
    assert answer.saved_without_badge == 0.0


def test_no_makers_row_without_a_makers_quote(tmp_path):
    assert MAKERS_ONLY not in set(limited(tmp_path).alternatives["way"])


def test_a_table_folds_its_words_and_not_its_numbers():
    wide = pd.DataFrame({"part": ["deep groove ball bearing " * 5], "landed": ["EUR 12.00"], "why": ["dear " * 9]})
    text = as_text(wide, fold=True)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert " ".join(text.split()).count("bearing") == 5
    assert text.count("EUR 12.00") == 1
    numbers = pd.DataFrame({f"{k} " * 9: ["1,000,000"] for k in range(9)})
    assert as_text(numbers, fold=True).count("1,000,000") == 9


def test_a_sheet_leaves_out_no_row_and_no_word(demo):
    shown = "".join(sheet._repr_html_() for sheet in summary.rest(demo))
    quotes = summary.lines_table(demo)["each quote, landed if ordered alone"].str.cat(sep=" ")
    assert quotes.count(", row ") == len(demo.lines)
    for words in (*demo.lines["left_out"].str.partition(": ")[0], *demo.equivalents["reasons"]):
        assert html.escape(words) in shown
    hurt = Sheet(pd.DataFrame({"part": ["<script>alert(1)</script>"], "landed": ["EUR 4.00"]}))._repr_html_()
    assert "<script>" not in hurt
    assert '<td class="n">EUR 4.00</td>' in hurt


def test_what_is_asked_for_is_said(tmp_path):
    answer = limited(tmp_path)
    assert "Asked for: at most 1 parcel." in sentences.heading(answer)
    assert "that meets this costs less" in sentences.verdict(answer)[0]
    assert summary.as_json(answer)["wishes"]["most_parcels"] == 1
