"""compare-quotes as a person types it."""

from __future__ import annotations

import csv
import json

import pytest
from quote_cases import case_of, quotes_of

from repairecon.__main__ import main
from repairecon.compare_quotes import summary

SELLERS = [{"supplier": "dealer", "lead_days_likely": 2}, {"supplier": "stockist", "lead_days_likely": 8}]
PRICES = {("seal", "dealer"): 12, ("seal", "stockist"): 5, ("ring", "dealer"): 9}


@pytest.fixture
def folder(tmp_path):
    case_of(tmp_path / "case", [{"part": "seal"}, {"part": "ring"}], SELLERS, quotes_of(PRICES))
    return tmp_path / "case"


def printed(capsys, *line):
    assert main(["compare-quotes", *map(str, line)]) == 0
    return capsys.readouterr().out


def test_readable_answer(folder, capsys):
    out = printed(capsys, folder)
    assert "EUR 14.00" in " ".join(out.split())
    assert out.index("Landed in all") < out.index("order from")
    assert len(out.splitlines()) <= 24
    every = printed(capsys, folder, "--full")
    assert every.index("Landed in all") < every.index("What to order") < every.index("Other ways of ordering")


def test_the_first_screen_searches_for_no_more_than_the_basket(folder, capsys, monkeypatch):
    """What lies around it is a search of its own, and waits for ``--full``."""
    monkeypatch.setattr(summary, "alternatives_table", lambda _: pytest.fail("searched"))
    assert "stockist" in printed(capsys, folder)


def test_options_reach_the_job(folder, capsys):
    assert json.loads(printed(capsys, folder, "--json"))["total"] == pytest.approx(14.0)
    assert json.loads(printed(capsys, folder, "--json", "--deadline", 3))["total"] == pytest.approx(21.0)
    assert json.loads(printed(capsys, folder, "--json", "--most-parcels", 1))["total"] == pytest.approx(21.0)
    assert json.loads(printed(capsys, folder, "--json", "--without", "stockist"))["total"] == pytest.approx(21.0)
    assert json.loads(printed(capsys, folder, "--json", "--want", "seal=3"))["total"] == pytest.approx(15.0)
    assert json.loads(printed(capsys, folder, "--json", "--seconds", 30))["total"] == pytest.approx(14.0)
    assert main(["compare-quotes", str(folder), "--seconds", "0"]) == 2


def test_orders_are_written_for_each_supplier(folder, tmp_path, capsys):
    printed(capsys, folder, "--orders", tmp_path / "orders", "--ship-to", "harbour office")
    names = sorted(p.name for p in (tmp_path / "orders").iterdir())
    assert names == ["order_dealer.csv", "order_stockist.csv", "own_landed.xlsx"]
    with (tmp_path / "orders" / "order_stockist.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    assert (rows[0]["part"], rows[0]["pieces"], float(rows[0]["price"])) == ("seal", "1", 5.0)
    assert rows[0]["ship to"] == "harbour office"


def test_orders_written_again_take_the_place_of_the_earlier_ones_and_of_nothing_else(folder, tmp_path, capsys):
    orders = tmp_path / "orders"
    printed(capsys, folder, "--orders", orders)
    assert main(["compare-quotes", str(folder), "--orders", str(orders), "--without", "stockist"]) == 0
    assert "left there by an earlier run: order_stockist.csv" in capsys.readouterr().err
    (orders / "order_dealer.csv").write_text("mine")
    assert main(["compare-quotes", str(folder), "--orders", str(orders)]) == 2
    assert "order_dealer.csv could not be written: it is there already and no earlier" in capsys.readouterr().err
    assert (orders / "order_dealer.csv").read_text() == "mine"


@pytest.mark.parametrize(
    "line", [["--deadline", "-2"], ["--without", "nobody"], ["--want", "keel=1"], ["--most-parcels", "0"]]
)
def test_wishes_that_cannot_be_end_with_2(folder, capsys, line):
    assert main(["compare-quotes", str(folder), *line]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "Traceback" not in captured.err


def test_all_wishes_that_cannot_be_are_said_at_once(folder, capsys):
    wishes = ["--want", "keel=1", "--want", "seal=0", "--without", "delaer", "--deadline", "-2", "--most-parcels", "0"]
    assert main(["compare-quotes", str(folder), *wishes]) == 2
    said = capsys.readouterr().err
    for words in ("'keel'", "0 of seal", "'delaer'; did you mean 'dealer'?", "deadline_days", "most_parcels"):
        assert words in said


def test_names_are_found_whatever_their_case(folder, capsys):
    printed(capsys, folder, "--want", "Seal=2", "--without", "DEALER")
    assert main(["compare-quotes", str(folder), "--want", "seal=1", "--want", "seal=2"]) == 2
    assert main(["compare-quotes", str(folder), "--want", "seal=1", "--want", "Seal=2"]) == 2
    assert "name each part once" in capsys.readouterr().err


def test_want_needs_a_number(folder, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["compare-quotes", str(folder), "--want", "seal"])
    assert stopped.value.code == 2
    assert "PART=PIECES" in capsys.readouterr().err


def test_all_faults_at_once(folder, capsys):
    (folder / "suppliers.csv").write_text("supplier,discount_rate,carriage_likely\ndealer,20,-3\nstockist,0.1,1\n")
    assert main(["compare-quotes", str(folder)]) == 2
    text = capsys.readouterr().err
    assert "discount_rate" in text
    assert "carriage" in text


def test_a_case_without_quotes_says_so(tmp_path, capsys):
    case_of(tmp_path / "case", [{"part": "seal"}, {"part": "ring"}], SELLERS, quotes_of(PRICES))
    (tmp_path / "case" / "parts.csv").write_text("part,price_likely\nseal,4\n")
    for name in ("quotes.csv", "suppliers.csv"):
        (tmp_path / "case" / name).unlink()
    assert "Nothing can be ordered" in printed(capsys, tmp_path / "case")
