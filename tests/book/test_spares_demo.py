"""The demo book: it builds, it holds what an owner meets, and its standard sizes are real ones."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from book_makers import fitted_to

from repairecon.book.csv_folder import book_from_csv
from repairecon.book.spares_book import SparesBook, open_book

DEMO = Path(__file__).resolve().parents[2] / "data" / "spares"

# d x D x B [mm] of deep groove ball bearings, ISO 15 boundary dimensions as printed in general bearing catalogues
BEARINGS = {
    "6004": (20, 42, 12), "6008": (40, 68, 15), "6202": (15, 35, 11), "6203": (17, 40, 12), "6303": (17, 47, 14),
    "6304": (20, 52, 15),
}  # fmt: skip
# d x D x b [mm] of rotary shaft lip seals, ISO 6194-1 form, from a trade size list
SEALS = {"14x24x7", "16x28x7", "20x35x7", "35x52x7", "40x62x10"}
# inside diameter x section [mm], ISO 3601-1 general series (GB/T 3452.1 series G); dash numbers of AS568
O_RINGS = {"56x3.55", "63x3.55", "80x3.55", "100x3.55", "-112", "-222"}
# inside lengths of section A (13) belts that two catalogues of classical V-belts list, DIN 2215
BELTS = {"13x950 Li", "13x1000 Li"}
# nominal shaft diameters, DIN 471
CIRCLIPS = {"DIN 471 20", "DIN 471 40"}
# life groups of rubber, ISO 2230:2002 as tabled by the trade
GROUPS = {"NR": "A", "NBR": "B", "CR": "B", "IIR": "B", "EPDM": "C", "FKM": "C"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> SparesBook:
    path = tmp_path_factory.mktemp("demo") / "demo.spares"
    book_from_csv(DEMO, path)
    return open_book(path)


def test_it_builds_and_is_sound(demo: SparesBook) -> None:
    assert demo.check() == ()
    assert demo.about["figures"] == "invented"
    items, movements = demo.items(), demo.movements()
    assert 100 <= len(items) <= 140
    assert 350 <= len(movements) <= 450
    first, last = min(m.on_date for m in movements), max(m.on_date for m in movements)
    assert int(last[:4]) - int(first[:4]) == 3


def test_it_holds_what_an_owner_meets(demo: SparesBook) -> None:
    kinds = {m.kind for m in demo.movements()}
    assert kinds >= {
        "bought",
        "used",
        "fitted",
        "moved",
        "counted",
        "scrapped",
        "lent",
        "returned",
        "undone",
        "corrected",
    }
    assert {m.currency for m in demo.movements() if m.currency} == {"EUR", "GBP"}
    short = demo.reorder_list()
    assert 10 <= len(short) <= 40
    assert sum(r.item.critical for r in short) >= 2
    assert any(r.last is None for r in short)
    assert any(r.last is not None and r.last.currency == "GBP" for r in short)
    rubber = {i.number: i.shelf_group for i in demo.items() if i.shelf_group}
    cures = [lot.cure_date for lot in demo.lots() if lot.item_number in rubber]
    assert any(c and c < "2015" for c in cures)  # out of date whatever its group
    assert any(c > "2024" for c in cures)
    assert "" in cures
    assert {line.locker_kind for line in demo.stock()} == {"aboard", "ashore", "lent"}
    assert any(len(demo.stock(i.name)) > 1 for i in demo.items())
    assert len(fitted_to(demo, "engine")) > 20


def test_its_sizes_are_standard_ones() -> None:
    with (DEMO / "items.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    seen = dict.fromkeys(("bearing", "seal", "O-ring", "belt", "circlip"), 0)
    sets = {"seal": SEALS, "O-ring": O_RINGS, "belt": BELTS, "circlip": CIRCLIPS}
    for row in rows:
        noun = row["name"].split(",")[0]
        if noun == "bearing":
            assert re.split(r"[- ]", row["designation"])[0] in BEARINGS, row
        elif noun in sets and row["designation"]:
            assert row["designation"] in sets[noun], row
        seen[noun] = seen.get(noun, 0) + 1
        if row["shelf_group"]:
            assert not row["material"] or row["shelf_group"] == GROUPS[row["material"]], row
    assert min(seen[noun] for noun in sets) >= 2
    assert seen["bearing"] >= 4
    sizes = {row["name"]: row["designation"] for row in rows}
    for bearing, seal in (
        ("bearing, raw water pump, front", "seal, shaft, raw water pump"),
        ("bearing, windlass, main", "seal, windlass, top"),
        ("bearing, windlass, worm", "seal, windlass, motor"),
    ):  # on one shaft
        assert BEARINGS[sizes[bearing].split("-")[0]][0] == int(sizes[seal].split("x")[0])
    assert sizes["circlip, shaft, raw water pump"].endswith(" 20")
