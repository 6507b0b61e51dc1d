"""Hard questions to the quotes job, each with its sum by hand. Figures are invented, VAT 21 % throughout."""

from __future__ import annotations

import pytest
from quote_cases import case_of, quotes_of, write_rows

import repairecon
from repairecon.__main__ import main
from repairecon.compare_quotes import tables
from repairecon.records import CaseError

HOME = '[money]\nvat_rate = 0.21\ncurrency = "EUR"\n'
POUNDS = HOME + "exchange_date = 2026-10-01\n[money.exchange]\nGBP = 1.2\n"
ABROAD = {"supplier": "abroad", "currency": "EUR", "vat": "ex", "imported": "yes", "duty_rate": 0.1,
          "carriage_likely": 10, "cost_handling": 5}  # fmt: skip


def compared(folder, quantity, sellers, quotes, toml=HOME, **wishes):
    case = case_of(folder / "case", [{"part": "seal", "quantity": quantity}], sellers, quotes, toml)
    return repairecon.compare_quotes(case, **wishes)


def bought(answer):
    return dict(zip(answer.basket["source"], answer.basket["packs"], strict=True))


@pytest.mark.parametrize(("vat", "price", "carriage"), [("ex", 100, 10), ("in", 121, 12.1)])
def test_a_registered_buyer_pays_net_at_home(tmp_path, vat, price, carriage):
    shop = {"supplier": "shop", "vat": vat, "carriage_likely": carriage}
    answer = compared(
        tmp_path, 1, [shop], quotes_of({("seal", "shop"): price}), HOME + '[customs]\nbuyer = "VAT-registered"\n',
    )  # fmt: skip
    assert answer.total == pytest.approx(110.0)


def test_a_registered_buyer_still_pays_duty_and_handling(tmp_path):
    """(200 + 10) x 1.1 + 5 = 236; the VAT of 48.51 comes back."""
    answer = compared(
        tmp_path, 1, [ABROAD], quotes_of({("seal", "abroad"): 200}), HOME + '[customs]\nbuyer = "VAT-registered"\n'
    )
    assert answer.total == pytest.approx(236.0)


@pytest.mark.parametrize(
    ("price", "total"),
    [
        (150, (150 + 10) * 1.21 + 5),  # at the threshold: no duty
        (150.01, (150.01 + 10) * 1.1 * 1.21 + 5),  # a cent over it: duty on all, and on the carriage
    ],
)
def test_at_and_over_the_duty_threshold(tmp_path, price, total):
    toml = HOME + "[customs]\nas_of = 2026-01-01\nduty_free_up_to = 150\n"
    assert compared(tmp_path, 1, [ABROAD], quotes_of({("seal", "abroad"): price}), toml).total == pytest.approx(total)


def test_two_consignments_under_the_threshold_are_no_way_round_it(tmp_path):
    """A supplier sends one parcel: 2 x 100 = 200 is over 150, (200 + 10) x 1.1 x 1.21 + 5."""
    toml = HOME + "[customs]\nas_of = 2026-01-01\nduty_free_up_to = 150\n"
    answer = compared(tmp_path, 2, [ABROAD], quotes_of({("seal", "abroad"): 100}), toml)
    assert answer.total == pytest.approx(210 * 1.1 * 1.21 + 5)


def test_a_threshold_parts_an_order_in_two(tmp_path):
    """Both from abroad (220) pay duty: 230 x 1.331 + 5 = 311.13; one from home at 115: (110 + 10) x 1.21 + 5 + 115."""
    case = case_of(
        tmp_path / "case", [{"part": "seal"}, {"part": "bearing"}], [ABROAD, {"supplier": "home"}],
        quotes_of({("seal", "abroad"): 110, ("bearing", "abroad"): 110, ("bearing", "home"): 115}),
        HOME + "[customs]\nas_of = 2026-01-01\nduty_free_up_to = 150\n",
    )  # fmt: skip
    assert repairecon.compare_quotes(case).total == pytest.approx(120 * 1.21 + 5 + 115)


def test_more_is_bought_to_reach_free_carriage(tmp_path):
    """One at 23 with carriage of 24 is 47; two are 46 and go free from 45 on."""
    shop = {"supplier": "shop", "carriage_likely": 24, "free_above": 45}
    answer = compared(tmp_path, 1, [shop], quotes_of({("seal", "shop"): 23}))
    assert answer.total == pytest.approx(46.0)
    assert list(answer.basket["quantity"]) == [2]
    assert answer.lines["alone"].iloc[0] == pytest.approx(46.0)


def test_a_break_worth_buying_more_for(tmp_path):
    """Four at 10 are 40; five at 7 are 35."""
    answer = compared(tmp_path, 4, [{"supplier": "shop"}], quotes_of({("seal", "shop"): 10}, breaks="5 at 7"))
    assert answer.total == pytest.approx(35.0)
    assert answer.lines["alone"].iloc[0] == pytest.approx(35.0)


def test_a_minimum_order_is_filled_up_or_left(tmp_path):
    """Least order 25: three at 9 are 27 for the one wanted; elsewhere one at 26 is cheaper, at 28 it is not."""
    sellers = [{"supplier": "shop", "minimum_order": 25}, {"supplier": "other"}]
    dear = compared(tmp_path, 1, sellers, quotes_of({("seal", "shop"): 9, ("seal", "other"): 28}))
    assert bought(dear) == {"quotes.csv:2": 3}
    assert dear.lines["alone"].iloc[0] == pytest.approx(27.0)
    cheap = compared(tmp_path, 1, sellers, quotes_of({("seal", "shop"): 9, ("seal", "other"): 26}))
    assert bought(cheap) == {"quotes.csv:3": 1}


def test_two_quotes_of_one_supplier_are_mixed(tmp_path):
    """Seven: a pack of five at 20 and two at 5 are 30; two packs 40, seven single 35. One carriage of 4."""
    quotes = [{"item": "seal", "supplier": "shop", "quoted_likely": 20, "pack": 5},
              {"item": "seal", "supplier": "shop", "quoted_likely": 5}]  # fmt: skip
    answer = compared(tmp_path, 7, [{"supplier": "shop", "carriage_likely": 4}], quotes)
    assert bought(answer) == {"quotes.csv:2": 1, "quotes.csv:3": 2}
    assert answer.total == pytest.approx(34.0)


def test_a_core_is_paid_and_comes_back(tmp_path):
    """121 and a core of 60.50, VAT in, carriage 6.05: 187.55 on the invoice, 127.05 in the end."""
    shop = {"supplier": "shop", "carriage_likely": 6.05}
    answer = compared(tmp_path, 1, [shop], quotes_of({("seal", "shop"): 121}, quoted_core_likely=60.5))
    assert answer.total == pytest.approx(127.05)
    (paid,) = tables.order_totals(answer.offers, answer.found)
    assert paid["quoted_total"] == pytest.approx(187.55)


def test_the_core_of_an_import_leaves_its_duty_and_vat_behind(tmp_path):
    """(100 + 50 + 10) at 10 % duty 16, VAT 21 % of 176 = 36.96, handling 5; the 50 comes back: 100+10+16+36.96+5."""
    answer = compared(tmp_path, 1, [ABROAD], quotes_of({("seal", "abroad"): 100}, quoted_core_likely=50))
    assert answer.total == pytest.approx(167.96)


def test_a_price_of_nothing_pays_carriage_all_the_same(tmp_path):
    answer = compared(tmp_path, 2, [{"supplier": "shop", "carriage_likely": 7}], quotes_of({("seal", "shop"): 0}))
    assert answer.total == pytest.approx(7.0)


def test_likely_days_let_in_what_nine_in_ten_do_not(tmp_path):
    """Triangular 2, 4, 20: the likely days are 4, nine in ten within 20 - sqrt(0.1 x 18 x 16) = 14.63."""
    shop = {"supplier": "shop", "lead_days_low": 2, "lead_days_likely": 4, "lead_days_high": 20,
            "lead_days_shape": "triangular"}  # fmt: skip
    quotes = quotes_of({("seal", "shop"): 5})
    by = {
        word: compared(tmp_path, 1, [shop], quotes, HOME + f'[order]\ndeadline_by = "{word}"\n', deadline_days=14)
        for word in ("likely", "P90")
    }
    assert by["likely"].days == pytest.approx(4.0)
    assert by["likely"].total == pytest.approx(5.0)
    assert by["P90"].basket.empty
    assert by["P90"].uncovered == (("seal", "none within the deadline; the soonest comes in 15 days"),)


def test_a_missing_rate_is_a_fault_of_its_row(tmp_path):
    with pytest.raises(CaseError) as seen:
        compared(tmp_path, 1, [{"supplier": "shop", "currency": "GBP"}], quotes_of({("seal", "shop"): 5}))
    assert [(f.file, f.row, f.column) for f in seen.value.faults] == [("suppliers.csv", 2, "currency")]


def test_a_supplier_without_quotes_changes_nothing(tmp_path):
    """Nor does a currency that no quote is in have to be told with the terms."""
    sellers = [{"supplier": "shop"}, {"supplier": "silent", "currency": "GBP", "imported": "yes"}]
    answer = compared(tmp_path, 1, sellers, quotes_of({("seal", "shop"): 5}), POUNDS)
    assert answer.total == pytest.approx(5.0)
    assert list(answer.alternatives["suppliers"].unique()) == ["shop"]


def test_a_unit_is_wanted_by_its_way(tmp_path, capsys):
    """The new pump at GBP 300: (300 x 1.2 + 10 x 1.2) x 1.1 x 1.21 + 5 = 500.132, against 510 at home."""
    folder = tmp_path / "case"
    case_of(
        folder, [{"part": "seal"}], [ABROAD | {"currency": "GBP"}, {"supplier": "home"}],
        [{"item": "seal", "supplier": "home", "quoted_likely": 5},
         {"item": "new", "supplier": "abroad", "quoted_likely": 300},
         {"item": "new", "supplier": "home", "quoted_likely": 510}], POUNDS,
    )  # fmt: skip
    answer = repairecon.compare_quotes(repairecon.read_case(folder, order=True), wanted={"new": 1})
    assert answer.total == pytest.approx(500.132)
    assert main(["compare-quotes", str(folder), "--want", "new=1"]) == 0
    assert "Landed in all EUR 500" in " ".join(capsys.readouterr().out.split())


def test_every_fault_of_three_files_at_once(tmp_path, capsys):
    folder = tmp_path / "case"
    case_of(folder, [{"part": "seal"}], [{"supplier": "shop"}], quotes_of({("seal", "shop"): 5}))
    write_rows(folder / "suppliers.csv", [{"supplier": "shop", "vat": "maybe", "discount_rate": 5}])
    write_rows(folder / "quotes.csv", [{"item": "seel", "supplier": "shop", "quoted_likely": "x", "breaks": "1 at 4"}])
    write_rows(folder / "carriage.csv", [{"supplier": "shup", "up_to_kg": -1, "quoted_likely": 4}])
    assert main(["compare-quotes", str(folder)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    for words in ("'maybe'", "discount_rate", "'seel'", "quoted_likely", "breaks", "'shup'", "up_to_kg"):
        assert words in said.err
