"""The shopping list: what is short, what is worth carrying, what jobs lack; asked, answered, compared by commands."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from boats import boat_book

from repairecon.__main__ import main
from repairecon.compare_quotes.job import compare_quotes
from repairecon.read.case_folder import read_case
from repairecon.records import ReceiveLine

PASSAGE = """[passage]
days = 60
[cost_without]
critical = 3000
other = 10
[[items]]
item = "impeller"
failures_per_year = 2
price = 30
most = 2
"""


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    """One seal of the two that the job wants lies aboard, an impeller is below its minimum, a belt of no account."""
    with boat_book(tmp_path, job=True) as book:
        pump = ("raw water pump",)
        book.add_item("seal, shaft, raw water pump", locker="A1", units=pump, designation="20x35x7", material="NBR")
        book.add_item("impeller", locker="A1", units=pump, minimum=2, material="CR")
        book.add_item("belt", locker="A1", units=("winch",))
        lines = [
            ReceiveLine("seal, shaft, raw water pump", 1, "stockist", 6),
            ReceiveLine("impeller", 1, "Chandler", 30),
        ]
        book.receive(lines, "2026-05-01")
    (tmp_path / "passage.toml").write_text(PASSAGE, encoding="utf-8")
    return tmp_path


def run(*words: object) -> int:
    try:
        return main([str(w) for w in words])
    except SystemExit as end:
        return int(end.code or 0)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_from_the_list_to_compared_quotes(boat: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("spares-aboard", boat, "shopping-list", "--to", boat / "asked") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "impeller [CR]: 1 below its minimum, " in said
    assert "1 for the job pump" in said
    requests = {p.name: rows(p) for p in (boat / "asked").glob("request_*.csv")}
    by = {name: {(r["item"], r["pieces"]) for r in made} for name, made in requests.items()}
    # the seal of those who sold it and quoted it, the impeller of whom it came from, as suppliers.csv spells him
    assert by["request_stockist.csv"] >= {("seal, shaft, raw water pump", "1")}
    assert {item for item, _ in by["request_by_post.csv"]} == {"seal, shaft, raw water pump", "cover"}
    assert "impeller" in {item for item, _ in by["request_chandler.csv"]}
    asked = requests["request_stockist.csv"][0]
    assert (asked["designation"], asked["material"], asked["price"]) == ("20x35x7", "NBR", "")
    assert set(asked) == {"item", "designation", "material", "pieces", "price", "pack", "lead_days"}  # no own figures
    # filled in and sent back
    for name, prices in {"stockist": "6.5", "by_post": "9", "chandler": "28"}.items():
        path = boat / "asked" / f"request_{name}.csv"
        made = [{**r, "price": prices, "lead_days": "4"} for r in rows(path)]
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, made[0])
            writer.writeheader()
            writer.writerows(made)
        assert run("import-quotes", boat / "asked", path, "--supplier", name.replace("_", " ")) == 0
        assert "left out" not in capsys.readouterr().out
    case = read_case(boat / "asked", order=True)
    assert {q.supplier for q in case.quotes} == {"stockist", "by post", "chandler"}
    assert (case.terms.currency, case.terms.vat_rate, case.supplier("by post").currency) == ("EUR", 0.2, "GBP")
    answer = compare_quotes(case)
    assert not answer.uncovered
    assert "seal, shaft, raw water pump" in set(answer.basket["part"])


def test_a_job_takes_a_quote_of_any_supplier_of_its_boat(boat: Path) -> None:
    """Who stands in the boat's suppliers.csv need not be written into the case before the first quote comes in."""
    job, reply = boat / "jobs" / "pump", boat / "reply.csv"
    reply.write_text("designation,price\n20x35x7,5\n", encoding="utf-8")
    columns = [f"--column={name}={name}" for name in ("designation", "price")]
    assert run("import-quotes", job, reply, "--supplier", "Chandler", *columns) == 0
    assert [q.item for q in read_case(job).quotes if q.supplier == "chandler"] == ["shaft seal"]


def test_pieces_are_what_is_short_and_what_jobs_want(boat: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The greater of minimum and carry list, as both count from what lies aboard; what a job wants comes on top."""
    from repairecon.spares_aboard.job import shopping_list, spares_aboard

    carry = spares_aboard(boat / "spares.book").carry.set_index("item")
    found = {x.item: x for x in shopping_list(boat / "spares.book").lines}
    impeller, seal = int(carry.loc["impeller", "buy"]), int(carry.loc["seal, shaft, raw water pump", "buy"])
    assert impeller > 0
    assert found["impeller"].pieces == max(impeller, 1)
    assert found["seal, shaft, raw water pump"].pieces == seal + 1  # of two one lies aboard
    assert found["cover"].pieces == 1
    (boat / "jobs" / "pump" / "decided").mkdir()  # a job that is decided asks no more
    assert "cover" not in {x.item for x in shopping_list(boat / "spares.book").lines}
    (boat / "jobs" / "pump" / "decided").rmdir()
    (boat / "jobs" / "pump" / "parts.csv").write_text("part,quantity\nseal,many\n", encoding="utf-8")
    assert run("spares-aboard", boat, "shopping-list") == 0
    assert "Left out: pump: parts.csv row 2, quantity" in " ".join(capsys.readouterr().out.split())


def test_what_cannot_be_asked(boat: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("alone")
    assert run("spares-aboard", elsewhere / "boat.spares", "new") == 0
    assert run("spares-aboard", elsewhere / "boat.spares", "shopping-list") == 2  # in no boat's folder
    for folder in (boat / "jobs" / "list", boat / "jobs"):
        assert run("spares-aboard", boat, "shopping-list", "--to", folder) == 2
    assert not (boat / "jobs" / "list").exists()
    (boat / "suppliers.csv").write_text("supplier\n", encoding="utf-8")
    (boat / "jobs" / "pump" / "quotes.csv").unlink()
    assert run("spares-aboard", boat, "shopping-list") == 2  # nobody to ask for the cover
    (boat / "spares.book").unlink()
    assert run("spares-aboard", boat, "shopping-list") == 2
