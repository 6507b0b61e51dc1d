"""What-if as widgets: in a notebook, or served as a page on this machine alone."""

from __future__ import annotations

import html
import importlib.util
import os
import subprocess
import sys
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from repairecon.book.on_hand import read_case_aboard
from repairecon.read.starter import served_notebook
from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.what_if import WhatIf
from repairecon.records import RepaireconError
from repairecon.show.plots import drawn
from repairecon.show.sheet import Panel, Sheet

NEEDS = "what-if needs the extra of that name: pip install 'repairecon[what-if]'"
UNKNOWN = "not known yet"
STEPS = 60
_CELL = "import repairecon\nrepairecon.what_if({folder!r})"


class App:
    """The widgets of one case and what they do; ``box`` shows itself in a notebook."""

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        try:
            import ipywidgets as w
        except ImportError as error:
            raise RepaireconError(NEEDS) from error
        self.folder, self.what = Path(folder), WhatIf(read_case_aboard(folder))
        self.moved: Number = self.what.dials[0]
        wide, label = w.Layout(width="38em", max_width="100%"), {"description_width": "20em"}
        self.sliders = {
            d.name: w.FloatSlider(
                value=d.now, min=d.low, max=d.high, step=(d.high - d.low) / STEPS, continuous_update=False,
                readout_format=".4", description=f"{d.name} [{d.unit}]", tooltip=d.source, layout=wide, style=label,
            )
            for d in self.what.dials
        }  # fmt: skip
        self.findings = {
            event: w.ToggleButtons(options=[UNKNOWN, *outcomes], description=event, style={"button_width": "auto"})
            for event, outcomes in self.what.events.items()
        }
        self.ways = {way: w.Checkbox(value=True, description=way, indent=False) for way in self.what.answer.model.ways}
        self.cash = w.FloatText(value=0, description="cash at most (0: no limit)", layout=wide, style=label)
        self.days = w.FloatText(value=0, description="days at most (0: no limit)", layout=wide, style=label)
        self.reset = w.Button(description="Reset", tooltip="everything as the case has it")
        self.keep = w.Button(description="Keep this", tooltip="write it into case.toml, with a copy of what was")
        self.words, self.note = w.HTML(), w.HTML()
        self.bars, self.lines = (w.Image(format="png", layout=w.Layout(max_width="100%")) for _ in range(2))
        for dial, slider in self._dials:
            slider.observe(partial(self._moved, dial), "value")
        others = [*self.findings.values(), *self.ways.values(), self.cash, self.days]
        for other in others:
            other.observe(lambda _: self.show(), "value")
        self._start = [(widget, widget.value) for widget in (*self.sliders.values(), *others)]
        self.reset.on_click(lambda _: self._reset())
        self.keep.on_click(lambda _: self._keep())
        self.show()
        self.box = self._laid_out(w)

    def _laid_out(self, w: Any) -> Any:
        controls = w.VBox([
            w.HTML("<h3>Move a number</h3>"), *self.sliders.values(), self.cash, self.days,
            w.HTML("<h3>What is found</h3>"), *self.findings.values(), w.HTML("<h3>Ways</h3>"), *self.ways.values(),
            w.HBox([self.reset, self.keep]), self.note,
        ], layout=w.Layout(width="40em", max_width="100%"))  # fmt: skip
        shown = w.VBox([self.words, self.bars, self.lines], layout=w.Layout(width="46em", max_width="100%"))
        return w.HBox([shown, controls], layout=w.Layout(flex_flow="row wrap"))

    def _moved(self, dial: Number, _: Any) -> None:
        self.moved = dial
        self.show()

    @property
    def _dials(self) -> Iterable[tuple[Number, Any]]:
        return zip(self.what.dials, self.sliders.values(), strict=True)

    def show(self) -> None:
        """Advice, table and pictures as the widgets stand."""
        from repairecon.rebuild_or_buy import charts_lines

        what = self.what
        what.values = {d.name: s.value for d, s in self._dials if abs(s.value - d.now) > s.step / 2}
        what.found = {event: b.value for event, b in self.findings.items() if b.value != UNKNOWN}
        what.off = {way for way, box in self.ways.items() if not box.value}
        what.cash_at_most, what.within_days = self.cash.value or None, self.days.value or None
        try:
            self.words.value = page_words(what)
        except RepaireconError as error:
            self.words.value = _alert(error)
            return
        draws = ((self.bars, charts_lines.totals), (self.lines, partial(charts_lines.along, dial=self.moved)))
        for image, draw in draws:
            image.value, image.alt = drawn(draw(what), 80)

    def _reset(self) -> None:
        for widget, value in self._start:
            widget.value = value
        self.note.value = ""

    def _keep(self) -> None:
        try:
            copy, elsewhere = self.what.keep(self.folder)
        except RepaireconError as error:
            self.note.value = _alert(error)
            return
        said = f"Written into case.toml; as it was: {copy.name}."
        if elsewhere:
            said += f" Not written, change them where they stand: {'; '.join(elsewhere)}."
        self.note.value = f"<p>{html.escape(said)}</p>"


def _alert(error: RepaireconError) -> str:
    return f'<p role="alert">{html.escape(str(error))}</p>'


def what_if(folder: str | os.PathLike[str]) -> Any:
    """Widgets to move the numbers of a case by hand, for a notebook; nothing is written until it is asked for."""
    return App(folder).box


def page_words(what: WhatIf) -> str:
    """Advice and table as a piece of a page."""
    said = Panel(what.case.unit.name, what.said, listed=False)._repr_html_()
    table = pd.DataFrame(what.table(), columns=["way", "cash", "own hours", "all in", "days"])
    return f'<div aria-live="polite">{said}</div>{Sheet(table)._repr_html_()}'


def serve(folder: str | os.PathLike[str], port: int = 0, browser: bool = True) -> int:
    """Serve what-if of a case on this machine alone until it is stopped; exit code of the server."""
    if importlib.util.find_spec("voila") is None or importlib.util.find_spec("ipywidgets") is None:
        raise RepaireconError(NEEDS)
    App(folder)  # faults of the case come here, in the terminal
    with served_notebook(_CELL.format(folder=str(Path(folder).resolve()))) as (path, settings):
        words = [sys.executable, "-m", "voila", str(path), "--Voila.ip=127.0.0.1", "--template=lab"]
        words += [] if browser else ["--no-browser"]
        words += [f"--port={port}"] if port else []
        return subprocess.run(words, check=False, env={**os.environ, **settings}).returncode
