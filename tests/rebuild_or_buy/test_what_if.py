"""What if: moved numbers give what a case written so gives; nothing is written until it is asked for."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from repairecon.read.case_folder import read_case
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.sensitivity import DAY, HOUR
from repairecon.rebuild_or_buy.what_if import App, WhatIf
from repairecon.records import RepaireconError
from repairecon.show import plots

DATA = Path(__file__).parents[2] / "data"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the alternator's case (invented figures)."""
    return Path(shutil.copytree(DATA / "alternator", tmp_path / "case"))


@pytest.fixture(scope="module")
def what() -> WhatIf:
    """The alternator, tried on."""
    return WhatIf(read_case(DATA / "alternator"))


def as_it_is(what: WhatIf) -> None:
    what.values, what.found, what.off, what.cash_at_most, what.within_days = {}, {}, set(), None, None


@pytest.fixture(autouse=True)
def _coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures of few dots: nobody looks at them."""
    painted = plots.save_png
    monkeypatch.setattr(plots, "save_png", lambda figure, *_: painted(figure, 10.0))


@pytest.fixture(autouse=True)
def untouched(what: WhatIf) -> None:
    """Each test begins with the case as it is."""
    as_it_is(what)


def totals(what: WhatIf) -> dict[str, float]:
    """Expected totals by way."""
    return dict(zip(what.answer.model.ways, what.expected[:, 3].tolist(), strict=True))


def test_untouched_it_is_the_answer(what: WhatIf) -> None:
    table = rebuild_or_buy(what.case, 64).table
    allowed = table[table["allowed"]]["total_mean"]
    assert {w: t for w, t in totals(what).items() if np.isfinite(t)} == pytest.approx(allowed.to_dict())
    assert what.said[0].startswith(("First", "Strip", "Take", "Buy"))
    assert 2 <= len(what.dials) <= 5


def test_an_hour_and_a_day_are_those_of_a_case_written_so(what: WhatIf, folder: Path) -> None:
    what.values = {HOUR: 31.0}
    there = rebuild_or_buy(what.case, 64, cost_own_hour=31.0).table
    assert totals(what) == pytest.approx(there["total_mean"].where(there["allowed"], np.inf).to_dict())
    path, day = folder / "case.toml", what.case.terms.cost_lost_day.likely + 44.0
    lines = [x for x in path.read_text().splitlines() if not x.startswith("cost_lost_day")]
    path.write_text("\n".join(lines).replace("[owner]", f"[owner]\ncost_lost_day = {day}"))
    what.values = {DAY: day}
    table = rebuild_or_buy(read_case(folder), 64).table
    assert totals(what) == pytest.approx(table["total_mean"].where(table["allowed"], np.inf).to_dict())


def test_a_number_moved_to_where_it_turns_makes_a_tie(what: WhatIf) -> None:
    turns = {f.number: f.value_flip for f in what.answer.flips}
    name = next(d.name for d in what.dials if d.name in turns)
    what.values = {name: turns[name]}
    first, second, *_ = sorted(t for t in totals(what).values() if np.isfinite(t))
    assert first == pytest.approx(second, rel=1e-6)


def test_what_is_found_left_out_or_too_dear(what: WhatIf) -> None:
    best = min(totals(what), key=lambda w: totals(what)[w])
    what.off = {best}
    assert totals(what)[best] == np.inf
    assert best not in what.said[0]
    as_it_is(what)
    event, outcomes = next(iter(what.events.items()))
    what.found = {event: outcomes[-1]}
    there = rebuild_or_buy(what.case, 64, found=f"{event}={outcomes[-1]}").table
    assert totals(what) == pytest.approx(there["total_mean"].where(there["allowed"], np.inf).to_dict())
    as_it_is(what)
    rows = what.expected
    what.cash_at_most = float(np.median(rows[:, 0]))
    assert [np.isfinite(t) for t in what.expected[:, 3]] == [
        bool(np.isfinite(t) and c <= what.cash_at_most) for c, t in rows[:, [0, 3]]
    ]
    what.within_days = 0.0
    assert what.said == ["No way is left: allow one more, or more money or days."]


def test_nothing_is_written_until_it_is_kept(folder: Path) -> None:
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    app = App(folder)
    slider = app.sliders[HOUR]
    slider.value = slider.max
    event, buttons = next(iter(app.findings.items()))
    buttons.value = buttons.options[-1]
    app.days.value = 21
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert "With these figures" in app.words.value
    assert bytes(app.bars.value).startswith(b"\x89PNG")
    app.keep.click()
    assert (folder / "case_before.toml").read_bytes() == before["case.toml"]
    said = tomllib.loads((folder / "case.toml").read_text())
    assert said["found"] == {event: buttons.value}
    assert said["owner"]["cost_own_hour"] == pytest.approx(slider.value)
    assert said["needed"]["within_days"] == 21
    app.reset.click()
    assert not app.what.values
    assert "With these figures" not in app.words.value


def test_a_number_that_stands_elsewhere_is_said(folder: Path) -> None:
    app = App(folder)
    name = next(d.name for d in app.what.dials if d.name not in (HOUR, DAY))
    app.sliders[name].value = app.sliders[name].max if app.sliders[name].value < app.sliders[name].max else 0
    app.keep.click()
    assert "Not written" in app.note.value
    assert name in app.note.value


def test_what_cannot_be_is_said_and_text_is_escaped(folder: Path) -> None:
    path = folder / "case.toml"
    path.write_text(path.read_text().replace("Alternator", "<b>Alternator").replace("alternator", "alternator", 1))
    app = App(folder)
    assert "<b>" not in app.words.value
    shutil.rmtree(folder)
    with pytest.raises(RepaireconError):
        App(folder)
    app.keep.click()
    assert 'role="alert"' in app.note.value
