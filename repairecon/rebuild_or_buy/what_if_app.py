"""What-if as widgets: in a notebook, or served as a page on this machine alone."""

from __future__ import annotations

import html
import importlib.util
import os
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any

from repairecon.book.on_hand import read_case_aboard
from repairecon.read.served import served_notebook
from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.what_if import WhatIf
from repairecon.records import RepaireconError
from repairecon.show.plots import drawn

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
        self.sliders = {d.name: self._slider(w, d, wide, label) for d in self.what.dials}
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
        self._listen()
        self.show()
        controls = w.VBox([
            w.HTML("<h3>Move a number</h3>"), *self.sliders.values(), self.cash, self.days,
            w.HTML("<h3>What is found</h3>"), *self.findings.values(), w.HTML("<h3>Ways</h3>"), *self.ways.values(),
            w.HBox([self.reset, self.keep]), self.note,
        ], layout=w.Layout(width="40em", max_width="100%"))  # fmt: skip
        shown = w.VBox([self.words, self.bars, self.lines], layout=w.Layout(width="46em", max_width="100%"))
        self.box = w.HBox([shown, controls], layout=w.Layout(flex_flow="row wrap"))

    @staticmethod
    def _slider(w: Any, dial: Number, wide: Any, label: Any) -> Any:
        step = (dial.high - dial.low) / STEPS
        return w.FloatSlider(
            value=dial.now, min=dial.low, max=dial.high, step=step, continuous_update=False, readout_format=".4",
            description=f"{dial.name} [{dial.unit}]", tooltip=dial.source, layout=wide, style=label,
        )  # fmt: skip

    def _listen(self) -> None:
        for dial in self.what.dials:
            self.sliders[dial.name].observe(partial(self._moved, dial), "value")
        for other in (*self.findings.values(), *self.ways.values(), self.cash, self.days):
            other.observe(lambda _: self.show(), "value")
        self.reset.on_click(lambda _: self._reset())
        self.keep.on_click(lambda _: self._keep())

    def _moved(self, dial: Number, _: Any) -> None:
        self.moved = dial
        self.show()

    def _take(self) -> None:
        """What the widgets say."""
        what = self.what
        what.values = {n: s.value for n, s in self.sliders.items() if abs(s.value - self._dial(n).now) > s.step / 2}
        what.found = {event: b.value for event, b in self.findings.items() if b.value != UNKNOWN}
        what.off = {way for way, box in self.ways.items() if not box.value}
        what.cash_at_most, what.within_days = self.cash.value or None, self.days.value or None

    def _dial(self, name: str) -> Number:
        return next(d for d in self.what.dials if d.name == name)

    def show(self) -> None:
        """Advice, table and pictures as the widgets stand."""
        from repairecon.rebuild_or_buy import charts_what_if

        self._take()
        try:
            self.words.value = page_words(self.what)
        except RepaireconError as error:
            self.words.value = f'<p role="alert">{html.escape(str(error))}</p>'
            return
        draws = ((self.bars, charts_what_if.totals), (self.lines, partial(charts_what_if.along, dial=self.moved)))
        for image, draw in draws:
            image.value, image.alt = drawn(draw(self.what), 80)

    def _reset(self) -> None:
        for name, slider in self.sliders.items():
            slider.value = self._dial(name).now
        for buttons in self.findings.values():
            buttons.value = UNKNOWN
        for box in self.ways.values():
            box.value = True
        self.cash.value = self.days.value = 0
        self.note.value = ""

    def _keep(self) -> None:
        try:
            copy, elsewhere = self.what.keep(self.folder)
        except RepaireconError as error:
            self.note.value = f'<p role="alert">{html.escape(str(error))}</p>'
            return
        said = f"Written into case.toml; as it was: {copy.name}."
        if elsewhere:
            said += f" Not written, change them where they stand: {'; '.join(elsewhere)}."
        self.note.value = f"<p>{html.escape(said)}</p>"


def what_if(folder: str | os.PathLike[str]) -> Any:
    """Widgets to move the numbers of a case by hand, for a notebook.

    Parameters
    ----------
    folder
        Folder of the case; nothing is written there until it is asked for.

    Returns
    -------
    ipywidgets.VBox
        Shows itself as the last line of a cell.
    """
    return App(folder).box


def page_words(what: WhatIf) -> str:
    """Advice and table as a piece of a page."""
    said = "".join(f"<p>{html.escape(s)}</p>" for s in what.said)
    heads = ("way", "cash", "own hours", "all in", "days")
    head = "".join(f'<th scope="col" style="text-align:left;padding:0 .8em">{h}</th>' for h in heads)
    rows = "".join(
        "<tr>" + "".join(f'<td style="padding:0 .8em">{html.escape(c)}</td>' for c in row) + "</tr>"
        for row in what.table()
    )
    title = html.escape(what.case.unit.name)
    return f'<h2>{title}</h2><div aria-live="polite">{said}</div><table><tr>{head}</tr>{rows}</table>'


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
