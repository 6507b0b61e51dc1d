"""Whatever is in the folder: a case, or faults; never another error, and nothing written."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Mapping
from pathlib import Path

from case_makers import GOOD as WITHOUT_LIVES
from case_makers import write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from repairecon.read import read_case
from repairecon.records import Case, CaseError

BEARING = '[bearing]\ndynamic_rating_kn = 14\nload_kn = [0.6, 1, 2]\nturns_a_minute = 900\nways = ["exchange"]\n'
GOOD = {
    **WITHOUT_LIVES,
    "case.toml": f"{WITHOUT_LIVES['case.toml']}\n{BEARING}",
    "lives.csv": 'way,years,hours,failed,note\n"new, maker",9,1200,yes,seal\nexchange,4,,no,\n',
}
NAMES = sorted(GOOD)
LOOSE = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
PIECES = st.one_of(
    st.sampled_from(
        [
            ",",
            ";",
            "\t",
            '"',
            "\n",
            "\r",
            "=",
            "[",
            "]",
            "{",
            "-",
            "1e999",
            "nan",
            "20",
            "-1",
            "0",
            "\x00",
            "\ufeff",
            "\x1b[31m",
            "<b>",
            "neglect=light",
            "shaft=grooved",
            "casing=whole",
            "always",
            "yes",
            "5 at 6",
            "by hand",
            "1,5",
            "lognormal",
            "new, maker",
            "exchange",
            "owner",
            "é",
            "\u202e",
            "price_new",
            "[[waiver]]",
            "example:",
            "%",
            "'",
        ]
    ).map(lambda text: text.encode()),
    st.binary(max_size=6),
)


@st.composite
def spoilt(draw: st.DrawFn) -> dict[str, bytes]:
    """The good folder with pieces cut out, put in, doubled, or files gone."""
    files = {name: text.encode() for name, text in GOOD.items()}
    for _ in range(draw(st.integers(1, 5))):
        name = draw(st.sampled_from(NAMES))
        data = files.get(name, b"")
        start = draw(st.integers(0, len(data)))
        end = min(len(data), start + draw(st.integers(0, 12)))
        files[name] = data[:start] + draw(PIECES) + data[end:]
        if draw(st.integers(0, 14)) == 0:
            del files[name]
    return files


def read(files: Mapping[str, bytes]) -> Case | CaseError:
    with tempfile.TemporaryDirectory() as name:
        folder = write(Path(name) / "case", files)
        try:
            return read_case(folder)
        except CaseError as error:
            return error
        finally:
            left = {path.name: path.read_bytes() for path in folder.iterdir()}
            assert left == dict(files)
            assert [path.name for path in Path(name).iterdir()] == ["case"]


def check(result: Case | CaseError) -> None:
    if isinstance(result, CaseError):
        assert result.faults
        assert str(result)
        order = [(f.file, f.row or 0) for f in result.faults]
        assert order == sorted(order)
        for fault in result.faults:
            assert str(fault).isprintable(), ascii(str(fault))
            assert fault.write
            assert fault.found
            assert len(fault.found) < 200
        return
    groups: dict[tuple[str, tuple[tuple[str, str], ...]], list[float]] = {}
    for branch in result.branches:
        groups.setdefault((branch.event, branch.given), []).append(branch.chance)
    assert all(math.fsum(chances) == 1.0 for chances in groups.values())
    names = {w.way for w in result.ways}
    assert all(w.instead in names | {""} and w.bought in names | {""} for w in result.ways)
    assert {q.supplier for q in result.quotes} <= {s.supplier for s in result.suppliers}
    assert {q.item for q in result.quotes} <= names | {p.part for p in result.parts}
    for seller in result.suppliers:
        weights = [band.up_to_kg for band in seller.bands]
        assert weights == sorted(set(weights))
        assert seller.free_above is None or seller.bands or seller.carriage.source.row
    for quote in result.quotes:
        prices = [one.quoted for one in quote.breaks]
        packs = [one.from_packs for one in quote.breaks]
        assert prices == sorted(prices, reverse=True)
        assert packs == sorted(set(packs))
        assert all(n > 1 for n in packs)
        assert not quote.valid_until or quote.valid_until >= quote.quoted_on
    assert set(result.wishes.without) <= {s.supplier for s in result.suppliers}
    events = {b.event for b in result.branches}
    for look in result.looks:
        assert bool(look.event) != bool(look.price_of)
        assert look.event in events | {""}
        assert look.price_of in names | {p.part for p in result.parts} | {""}
        assert 1 / 3 <= look.p_right <= 1
        assert look.p_right == 1 or look.event
    for way in result.ways:
        assert way.life_years or way.life_hours
        assert all(life.low > 0 for life in (way.life_years, way.life_hours) if life)
        assert 0.3 <= way.life_shape <= 10
        assert 0 <= min(way.wear_kept, way.p_early) <= max(way.wear_kept, way.p_early) <= 1
    for life in result.own_lives:
        assert life.way in names
        assert any(t is not None for t in (life.years, life.hours))
        assert all(t is None or 0 < t < math.inf for t in (life.years, life.hours))
    assert 0 <= result.years.horizon_years <= 60
    assert min(result.years.shelf_life_years, result.years.turned_every_years) > 0
    workers = {"owner", *result.terms.labour}
    assert {t.by for t in result.tasks} | {b.by for b in result.branches} <= workers


@LOOSE
@given(spoilt())
def test_a_spoilt_folder(files: dict[str, bytes]) -> None:
    check(read(files))


@LOOSE
@given(st.dictionaries(st.sampled_from(NAMES), st.binary(max_size=200), max_size=4))
def test_any_bytes(files: dict[str, bytes]) -> None:
    check(read(files))


@LOOSE
@given(st.sampled_from([n for n in NAMES if n != "case.toml"]), st.data())
def test_any_words_in_the_cells(name: str, data: st.DataObject) -> None:
    """Cells of one file exchanged for those of other columns and files."""
    words = sorted({c for text in GOOD.values() for line in text.split("\n") for c in line.split(",")})
    lines = GOOD[name].rstrip("\n").split("\n")
    rows = [line.split(",") for line in lines[1:]]
    for _ in range(data.draw(st.integers(1, 4))):
        row = data.draw(st.sampled_from(rows))
        row[data.draw(st.integers(0, len(row) - 1))] = data.draw(st.sampled_from(words))
    text = "\n".join([lines[0], *(",".join(r) for r in rows)])
    check(read({**{k: v.encode() for k, v in GOOD.items()}, name: text.encode()}))
