"""Jobs ordered together: never dearer than each by itself, by hand, and against every basket of a small order."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from repairecon.__main__ import main
from repairecon.compare_quotes.job import compare_quotes, together
from repairecon.read.case_folder import read_case
from repairecon.records import Case, RepaireconError

# invented figures: packs of 4, carriage 9 (free from 40) and 3
SUPPLIERS = "supplier,carriage_likely,free_above\npost,9,40\ncounter,3,\n"
QUOTES = (
    "item,supplier,quoted_likely,pack,lead_days_likely\n"
    "seal,post,16,4,2\nseal,counter,7,1,1\ngasket,post,5,1,2\ngasket,counter,6.5,1,1\n"
)


def job(place: Path, seals: int, *, size: str = "20x35x7", currency: str = "EUR", free: str = "40") -> Case:
    """A pump's job that wants so many seals and a gasket."""
    place.mkdir(parents=True)
    (place / "case.toml").write_text(
        f'[unit]\nname = "raw water pump"\n[money]\ncurrency = "{currency}"\nvat_rate = 0.2\n'
        "[order]\ntoday = 2026-06-01\n"
    )
    (place / "parts.csv").write_text(f"part,quantity,standard_size\nseal,{seals},{size}\ngasket,1,\n")
    head, *rows = SUPPLIERS.replace("40", free).splitlines()  # the order of rows is each job's own
    (place / "suppliers.csv").write_text("\n".join([head, *(rows if seals % 2 else rows[::-1])]) + "\n")
    (place / "quotes.csv").write_text(QUOTES)
    return read_case(place, order=True)


def cheapest(seals: int, gaskets: int) -> float:
    """Every way to buy so many by hand: packs of four and single seals, gaskets here or there, carriage once each."""
    best = float("inf")
    for packs, here in itertools.product(range(seals // 4 + 2), range(gaskets + 1)):
        single = max(seals - 4 * packs, 0)
        post, counter = 16.0 * packs + 5.0 * here, 7.0 * single + 6.5 * (gaskets - here)
        carriage = (9.0 if 0 < post < 40 else 0.0) + (3.0 if counter else 0.0)
        best = min(best, post + counter + carriage)
    return best


@pytest.mark.parametrize("seals", [(1, 1), (2, 2), (1, 3), (2, 2, 2, 2), (1, 1, 1)])
def test_by_every_basket_tried(tmp_path: Path, seals: tuple[int, ...]) -> None:
    cases = [job(tmp_path / str(n), many) for n, many in enumerate(seals)]
    case, shares = together(cases)
    assert shares["seal"] == {c.folder: n for c, n in zip(cases, seals, strict=True)}
    assert shares["gasket"] == {c.folder: 1 for c in cases}
    joint = compare_quotes(case, wanted={part: sum(some.values()) for part, some in shares.items()})
    assert joint.total == pytest.approx(cheapest(sum(seals), len(seals)))
    alone = sum(compare_quotes(c).total for c in cases)
    assert alone == pytest.approx(sum(cheapest(n, 1) for n in seals))
    assert joint.total <= alone + 1e-9


def test_another_size_is_another_part(tmp_path: Path) -> None:
    _, shares = together([job(tmp_path / "a", 1), job(tmp_path / "b", 2, size="20x36x7")])
    assert sorted(sum(some.values()) for some in shares.values()) == [1, 2, 2]
    assert sum(shares["gasket"].values()) == 2


def test_what_is_not_bought_on_the_same_terms_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RepaireconError) as caught:
        together([job(tmp_path / "a", 1), job(tmp_path / "b", 1, currency="GBP"), job(tmp_path / "c", 1, free="50")])
    assert "another home money" in str(caught.value)
    assert "post has other terms" in str(caught.value)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folders = [job(tmp_path / name, 2).folder for name in ("a", "b")]
    assert main(["compare-quotes", *folders]) == 0
    said = capsys.readouterr().out
    assert f"seal: 2 for {folders[0]}, 2 for {folders[1]}" in said
    assert f"EUR {cheapest(4, 2):.2f}" in said
    assert main(["compare-quotes", *folders, "--order"]) == 2
