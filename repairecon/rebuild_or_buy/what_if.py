"""What if: the few numbers that can turn the advice moved by hand, findings set, ways left out, a date and a budget.
All is worked out exactly at the means, in the time of drawing a picture; nothing is written until it is asked for."""

from __future__ import annotations

import html
import importlib.util
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from repairecon.book.stock import read_case_aboard
from repairecon.read.case_out import keep_changes
from repairecon.read.starter import served_notebook
from repairecon.rebuild_or_buy import sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.sensitivity import DAY, HOUR, Number, choice
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import STAGES, Case, RepaireconError
from repairecon.show.plots import drawn
from repairecon.show.sheet import Panel, Sheet
from repairecon.show.words import days_words, money, tenths

DIALS = 5  # numbers that may be moved: more would hide those that matter
DRAWS = 64  # draws for the sentences of an answer, whose means are exact
_REACH = 3.0


@dataclass
class WhatIf:
    """A case with what the owner tries on it; change the fields, then ask for ``rows`` and ``said``. ``values`` by name
    of a dial, ``found`` an outcome by event, ``off`` ways left out, ``cash_at_most`` [home money] and ``within_days``
    [days] what a way may take on average."""

    case: Case
    values: dict[str, float] = field(default_factory=dict)
    found: dict[str, str] = field(default_factory=dict)
    off: set[str] = field(default_factory=set)
    cash_at_most: float | None = None
    within_days: float | None = None
    _answers: dict[str, Answer] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def answer(self) -> Answer:
        said = [f"{event}={outcome}" for event, outcome in sorted(self.found.items())]
        kept = "; ".join(filter(None, (self.case.found, *said)))
        if kept not in self._answers:
            self._answers[kept] = rebuild_or_buy(self.case, DRAWS, 1, found=kept)
        return self._answers[kept]

    @cached_property
    def dials(self) -> tuple[Number, ...]:
        """Numbers to move: the owner's own figures, those that turn the choice soonest, those that move it most."""
        start = rebuild_or_buy(self.case, DRAWS, 1)
        numbers = {n.name: n for n in start.numbers}
        turns = {f.number: f.value_flip for f in start.flips}
        names = dict.fromkeys([HOUR, DAY, *turns, *(s.number for s in start.swings)])

        def dial(number: Number, turn: float | None) -> Number:
            """Round the number's own range and where it turns, so that both can be reached."""
            ends = [number.low, number.high, number.now]
            if turn is not None and turn <= _REACH * max(number.now, number.high, 1.0):
                ends.append(turn * 1.05)
            high = max(ends) if max(ends) > min(ends) else max(_REACH * number.now, 30.0)
            return replace(number, low=min(*ends, 0.8 * (turn or number.low)), high=high)

        return tuple(dial(numbers[name], turns.get(name)) for name in list(names)[:DIALS])

    @property
    def events(self) -> dict[str, list[str]]:
        """What may be found, by event: of those that show at the bench."""
        made: dict[str, dict[str, None]] = {}
        for b in self.case.branches:
            if b.seen_at in STAGES[:4]:
                made.setdefault(b.event, {})[b.outcome] = None
        return {event: list(outcomes) for event, outcomes in made.items() if len(outcomes) > 1}

    # ---- what comes out ------------------------------------------------------------------------
    @property
    def expected(self) -> Floats:
        """Cash, own hours, days and total of each way (W, 4), exact; ways that may not be taken at infinity."""
        return self.with_values(self.values)

    def with_values(self, values: Mapping[str, float]) -> Floats:
        model, dials = self.answer.model, {d.name for d in self.dials}
        moved = [n for n in self.answer.numbers if n.index >= 0 and n.name in dials and n.name in values]
        changed = {n.index: model.inputs[n.index].range.scaled(values[n.name] / n.now) for n in moved}
        rows = choice(model, changed, hour=values.get(HOUR), day=values.get(DAY))
        closed = np.array([w in self.off for w in model.ways])
        for column, most in ((0, self.cash_at_most), (2, self.within_days)):
            closed |= rows[:, column] > (np.inf if most is None else most)
        rows[closed, 3] = np.inf
        return rows

    @property
    def _moved(self) -> list[Number]:
        return [d for d in self.dials if self.values.get(d.name, d.now) != d.now]

    @property
    def said(self) -> list[str]:
        """What to do: the advice of the case as it stands, else the cheapest way with these figures."""
        if not (self.off or self._moved) and self.cash_at_most is None and self.within_days is None:
            return sentences.advice(self.answer)[:2]
        rows, ways, currency = self.expected, self.answer.model.ways, self.case.terms.currency
        order = [int(i) for i in np.argsort(rows[:, 3], kind="stable") if np.isfinite(rows[i, 3])]
        if not order:
            return ["No way is left: allow one more, or more money or days."]
        best, others = order[0], order[1:]
        first = f"With these figures take {ways[best]}, chosen for good now."
        comes = f"It comes to {money(rows[best, 3], currency)} all in on average, {days_words(rows[best, 2])}"
        if not others:
            return [first, f"{comes}; no other way is left."]
        gap = money(rows[others[0], 3] - rows[best, 3], currency)
        return [first, f"{comes}, {gap} less than {ways[others[0]]}."]

    def table(self) -> pd.DataFrame:
        """Cash, own hours, all in and days of each way in words; the cheapest first, those left out last."""
        rows, currency, ways = self.expected, self.case.terms.currency, self.answer.model.ways
        shown = []
        for i in np.argsort(rows[:, 3], kind="stable"):
            cash, hours, days, total = rows[i]
            all_in = money(total, currency) if np.isfinite(total) else "left out"
            shown.append((ways[i], money(cash, currency), tenths(hours), all_in, tenths(days)))
        return pd.DataFrame(shown, columns=["way", "cash", "own hours", "all in", "days"])

    def keep(self, folder: str | os.PathLike[str]) -> tuple[Path, list[str]]:
        """Write what case.toml can hold, beside a copy of what was: the copy, and the dials that stand elsewhere."""
        figures = (("owner", "cost_own_hour", self.values.get(HOUR)), ("owner", "cost_lost_day", self.values.get(DAY)),
                   ("needed", "within_days", self.within_days), ("owner", "cap_cost", self.cash_at_most))  # fmt: skip
        sections: dict[str, dict[str, str | float]] = {"found": dict(self.found), "owner": {}, "needed": {}}
        for section, name, value in figures:
            if value is not None:
                sections[section][name] = value
        others = [d for d in self._moved if d.name not in (HOUR, DAY)]
        elsewhere = [f"{d.name}: {tenths(self.values[d.name])} {d.unit} ({d.source})" for d in others]
        return keep_changes(folder, sections), elsewhere


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
        self.dials = list(zip(self.what.dials, self.sliders.values(), strict=True))
        for dial, slider in self.dials:
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

    def show(self) -> None:
        from repairecon.rebuild_or_buy import charts_lines

        what = self.what
        what.values = {d.name: s.value for d, s in self.dials if abs(s.value - d.now) > s.step / 2}
        what.found = {event: b.value for event, b in self.findings.items() if b.value != UNKNOWN}
        what.off = {way for way, box in self.ways.items() if not box.value}
        what.cash_at_most, what.within_days = self.cash.value or None, self.days.value or None
        try:
            said = Panel(what.case.unit.name, what.said, listed=False)._repr_html_()
            self.words.value = f'<div aria-live="polite">{said}</div>{Sheet(what.table())._repr_html_()}'
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


def serve(folder: str | os.PathLike[str], port: int = 0, browser: bool = True) -> int:
    """Serve what-if of a case on this machine alone until it is stopped; exit code of the server."""
    if importlib.util.find_spec("voila") is None:
        raise RepaireconError(NEEDS)
    App(folder)  # faults of the case come here, in the terminal
    with served_notebook(_CELL.format(folder=str(Path(folder).resolve()))) as (path, settings):
        words = [sys.executable, "-m", "voila", str(path), "--Voila.ip=127.0.0.1", "--template=lab"]
        words += [] if browser else ["--no-browser"]
        words += [f"--port={port}"] if port else []
        return subprocess.run(words, check=False, env={**os.environ, **settings}).returncode
