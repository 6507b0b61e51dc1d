"""A closed job into the spares book: what comes in, what goes out, what it cost, and what stands in the way."""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from book_makers import fitted_to
from book_of_the_job import TODAY, make_book
from done_case import ACTUAL, write_case

from repairecon import RepaireconError
from repairecon.__main__ import main
from repairecon.after_the_job import spares_book
from repairecon.after_the_job.book_items import BookWishes
from repairecon.after_the_job.job import AfterTheJob, after_the_job, decide
from repairecon.after_the_job.spares_book import into_the_book
from repairecon.book.spares_book import SparesBook, open_book
from repairecon.read.closed import read_closed, read_log
from repairecon.records import BookError

DATA = Path(__file__).parents[2] / "data"
HEAD = "kind,name,outcome,quantity,bought,paid,days,from_spares\n"


def close(folder: Path, actual: str = ACTUAL, on: str = "2026-05-04") -> AfterTheJob:
    write_case(folder, actual)
    decide(folder, "rebuild here", on=on, draws=200)
    return after_the_job(read_closed(folder))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[SparesBook]:
    with make_book(tmp_path / "boat") as made:
        yield made


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> AfterTheJob:
    return close(tmp_path_factory.mktemp("done") / "bilge pump")


def moved(found: AfterTheJob) -> list[tuple[str, str, float]]:
    return [(m.movement, m.item, m.quantity) for m in found.movements]


def test_bought_and_fitted_in_one_act(found: AfterTheJob, book: SparesBook) -> None:
    shown = into_the_book(found, book)
    assert (shown.problems, len(book.movements())) == ((), 1)
    made = into_the_book(found, book, write=True)
    assert made.done is not None
    assert made.done.written
    # 3 seals for 105 and a shaft for 95, carriage 8 shared by what was paid; done 9 days after the decision
    new = [(m.kind, m.item, m.quantity, m.cost_unit, m.on_date, m.unit) for m in book.movements()[1:]]
    assert new == [
        ("bought", "seal", 3, Decimal("36.4"), "2026-05-13", ""),
        ("bought", "shaft, bilge pump", 1, Decimal("98.8"), "2026-05-13", ""),
        ("fitted", "seal", 3, None, "2026-05-13", "bilge pump"),
        ("fitted", "shaft, bilge pump", 1, None, "2026-05-13", "bilge pump"),
    ]
    # what was bought for the job was fitted, the older ones lie there still, one short of the minimum
    assert [(x.quantity, x.cost_unit) for x in book.lots()] == [(2, 20)]
    assert [(r.item.name, r.short) for r in made.done.reorder] == [("seal", 1)]
    assert [m.item for m in fitted_to(book, "bilge pump")] == ["seal", "shaft, bilge pump"]


def test_never_twice_even_from_a_copy_of_the_folder(found: AfterTheJob, book: SparesBook, tmp_path: Path) -> None:
    into_the_book(found, book, write=True)
    assert found.case is not None
    (Path(found.case.folder).parent).rename(tmp_path / "renamed")
    again = after_the_job(read_closed(tmp_path / "renamed"))
    (tmp_path / "renamed").rename(Path(found.case.folder).parent)
    before = book.movements()
    assert "already" in into_the_book(again, book).problems[0]
    with pytest.raises(BookError, match="already"):
        into_the_book(again, book, write=True)
    assert book.movements() == before


def test_bought_and_not_fitted_lies_there(tmp_path: Path, book: SparesBook) -> None:
    found = close(tmp_path / "job", HEAD + "part,seal,,1,4,80,,\npart,shaft,,0,1,70,,\n")
    assert moved(found) == [("bought", "seal", 4), ("fitted", "seal", 1), ("bought", "shaft", 1)]
    into_the_book(found, book, write=True)
    assert {s.item: s.quantity for s in book.stock()} == {"seal": 5, "shaft, bilge pump": 1}
    assert book.reorder_list() == ()


def test_from_the_spares_leaves_the_stock(tmp_path: Path, book: SparesBook) -> None:
    found = close(tmp_path / "job", HEAD + "part,seal,,2,,,,yes\n")
    made = into_the_book(found, book, write=True)
    assert book.stock() == ()
    assert made.done is not None
    assert [(r.item.name, r.short) for r in made.done.reorder] == [("seal", 3)]
    # more than lies there: shown as in the way, and nothing is written
    more = close(tmp_path / "two", HEAD + "part,seal,,9,,,,yes\npart,shaft,,1,1,70,,\n", on="2026-05-05")
    before = book.movements()
    shown = into_the_book(more, book)
    assert "9 asked, none anywhere" in shown.problems[0]
    with pytest.raises(BookError, match="was not written"):
        into_the_book(more, book, write=True)
    assert book.movements() == before


def test_from_the_spares_and_one_bought_in_its_place(tmp_path: Path, book: SparesBook) -> None:
    found = close(tmp_path / "job", HEAD + "part,seal,,2,2,60,,yes\n")
    into_the_book(found, book, write=True)
    assert [(x.quantity, x.cost_unit) for x in book.lots()] == [(2, 30)]  # the old ones went in, the new lie there


def test_fewer_bought_than_fitted_takes_the_rest_from_stock(tmp_path: Path, book: SparesBook) -> None:
    found = close(tmp_path / "job", HEAD + "part,seal,,3,2,60,,\n")
    into_the_book(found, book, write=True)
    assert [(x.quantity, x.cost_unit) for x in book.lots()] == [(1, 20)]


def test_a_unit_bought_and_the_core_refund(tmp_path: Path, book: SparesBook) -> None:
    found = close(tmp_path / "job", HEAD + "way,new,,,,,3,\nunit,new,,,,430,3,\ncarriage,all,,,,20,,\n")
    assert moved(found) == [("bought", "new", 1), ("fitted", "new", 1)]
    assert into_the_book(found, book).problems == ("the book has no item 'new': name its item, or make a card for it",)
    made = into_the_book(found, book, True, BookWishes(new_cards=True, locker="B1"))
    assert made.lines[0].item == "bilge pump, new"
    assert book.movements()[1].cost_unit == 450
    assert not book.item("bilge pump, new").carried
    assert [m.item for m in fitted_to(book, "bilge pump")] == ["bilge pump, new"]


@pytest.mark.parametrize(
    ("way", "rows", "wanted", "spare"),
    [
        ("send away", "way,send away,,,,,,\nunit,send away,,,,250,9,\n", [], False),
        ("buy new, rebuild the old", "unit,new,,,,430,9,\n", [("bought", "new", 1), ("fitted", "new", 1)], True),
        ("rebuild, carry a new one", "unit,new,,,,430,9,\n", [("bought", "new", 1)], False),
    ],
)
def test_what_a_unit_of_each_kind_of_way_does(
    tmp_path: Path, way: str, rows: str, wanted: list[tuple[str, str, float]], spare: bool
) -> None:
    """A rebuild elsewhere is no purchase; a spare that is bought is not fitted; an old unit rebuilt is told of."""
    folder = write_case(tmp_path / "job", HEAD + rows)
    with (folder / "ways.csv").open("a") as file:
        file.write(f'send away,send away,200,5,0\n"{"buy new, rebuild the old"}",buy and rebuild,,,\n')
        file.write('"rebuild, carry a new one",rebuild and spare,,,\n')
    decide(folder, way, on="2026-05-04", draws=200)
    found = after_the_job(read_closed(folder))
    assert moved(found) == wanted
    if not wanted:
        return
    with make_book(tmp_path / "boat") as book:
        made = into_the_book(found, book, True, BookWishes(new_cards=True, locker="B1"))
        assert bool(made.spare) == spare
        assert [s.item for s in book.stock()] == (["seal"] if spare else ["seal", "bilge pump, new"])


def test_what_the_book_does_not_know(tmp_path: Path, found: AfterTheJob) -> None:
    with open_book(tmp_path / "empty", create=True, home_currency="GBP", today=TODAY) as book:
        made = into_the_book(found, book)
        assert made.done is None
        said = "\n".join(made.problems)
        for words in ("no unit 'bilge pump'", "no item 'seal'", "no item 'shaft'", "EUR", "GBP"):
            assert words in said
        with pytest.raises(BookError, match="not written"):
            into_the_book(found, book, write=True)
    with open_book(tmp_path / "other", create=True, today=TODAY) as book:
        wishes = BookWishes(new_cards=True)
        assert "no locker of its own" in into_the_book(found, book, wishes=wishes).problems[0]
        assert (book.items(), book.units(), len(book.lockers())) == ((), (), 1)


def test_names_of_the_owner(found: AfterTheJob, book: SparesBook) -> None:
    wishes = BookWishes(called={"Seal": "S-1", "shaft": "", "sael": "seal"}, unit="bilge pomp")
    said = into_the_book(found, book, wishes=wishes).problems
    assert said == (
        "the book has no unit 'bilge pomp': did you mean 'bilge pump'?",
        "'sael' is not among what was bought or fitted: did you mean 'seal'?",
    )
    made = into_the_book(found, book, True, BookWishes(called={"seal": "S-1", "shaft": ""}, hours=77, on="2026-05-20"))
    assert [(m.item, m.hours, m.on_date) for m in fitted_to(book, "bilge pump")] == [("seal", 77, "2026-05-20")]
    assert [x.left_out for x in made.lines] == [False, False, True, True]


def test_a_size_of_another_material_is_not_taken(tmp_path: Path, book: SparesBook) -> None:
    """Same size, FKM against NBR: same groove, other fluid and heat; the owner has to say."""
    book.add_item("ring, cover", designation="56x3.55", material="NBR", locker="B1")
    for material, problem in (("FKM", True), ("NBR", False)):
        folder = write_case(tmp_path / material, HEAD + "part,o-ring,,1,,3,,\n")
        parts = "part,quantity,needed,price_likely,lead_days_likely,standard_size,material\n"
        (folder / "parts.csv").write_text(f"{parts}o-ring,1,always,2,1,56x3.55,{material}\n")
        (folder / "events.csv").write_text((folder / "events.csv").read_text().replace("strip,shaft,", "strip,,"))
        decide(folder, "rebuild here", on="2026-05-04", draws=200)
        made = into_the_book(after_the_job(read_closed(folder)), book)
        assert bool(made.problems) == problem
        assert made.lines[0].item == ("" if problem else "ring, cover")
        assert made.lines[0].known_by == ("" if problem else "56x3.55")


def test_nothing_for_the_book(tmp_path: Path, book: SparesBook) -> None:
    with pytest.raises(RepaireconError, match="moves no spares"):
        into_the_book(after_the_job(None, read_log(DATA / "job_log")), book)
    with pytest.raises(RepaireconError, match="nothing for the book"):
        into_the_book(close(tmp_path / "job", HEAD), book)


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    close(tmp_path / "bilge pump")
    make_book(tmp_path / "boat").close()
    line = ["after-the-job", str(tmp_path / "bilge pump"), "--book", str(tmp_path / "boat.spares")]
    assert main(line) == 0
    out = capsys.readouterr().out
    for words in ("a trial, nothing written", "EUR 36.40", "seal: 2 in B1.", "2 aboard, 3 wanted", "Give --write"):
        assert words in out
    assert main([*line, "--write", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["written"]
    assert data["lines"][0]["moved"]["cost_unit"] == pytest.approx(36.4)
    assert main([*line, "--write"]) == 2
    assert "already" in capsys.readouterr().err
    assert main([*line, "--item", "seal"]) == 2
    assert main([*line, "--add-to-log"]) == 2
    assert main([*line[:2], "--write"]) == 2
    assert main([*line[:3], str(tmp_path / "no.spares")]) == 2
    assert main([*line, "--unit", "x", "--item", "shaft=y"]) == 0
    out = capsys.readouterr().out
    assert "--unit NAME says" in out
    assert "NAME=ITEM" in out
    assert "--locker" not in out


def test_words(found: AfterTheJob, book: SparesBook) -> None:
    made = into_the_book(found, book, True, BookWishes(called={"shaft": ""}))
    text = spares_book.summary(found, made)
    assert text.startswith("Written into the spares book\nBilge pump, 2026-05-13.")
    assert "left out" in text
    assert "trial" not in text
