"""The bench sheet as text, as one printable A4 page, and as a command gives it."""

from __future__ import annotations

import textwrap
from html import escape

from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.bench_sheet import BenchSheet, Measure, SheetStep, bench_sheet
from repairecon.records import Case
from repairecon.show.layout import capital

_BLANK = "________"
_BOX = "[ ]"
# letters on the sheet -> size of type that keeps it on one page of A4
_SIZES = ((2600, 9.2), (3200, 8.6), (3700, 8.0), (4300, 7.5), (5200, 6.9), (6400, 6.3))
_SMALLEST = 5.7

_STYLE = """
@page{size:A4;margin:9mm}
*{box-sizing:border-box}
body{margin:0}
main{font-family:system-ui,"DejaVu Sans",Arial,sans-serif;line-height:1.28;color:#000;
margin:0 auto;max-width:192mm}
h1{font-size:1.5em;margin:0}h2{font-size:1.06em;margin:.55em 0 .15em;border-bottom:.6pt solid #000}
p{margin:.1em 0}ul{margin:0;padding-left:1.1em}li{margin:.05em 0}
.first{border:1.6pt solid #000;padding:.3em .6em;margin:.35em 0}.first li{font-weight:600}
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 6mm}
table{width:100%;border-collapse:collapse}td,th{border:.5pt solid #777;padding:.16em .35em;vertical-align:top;
text-align:left}tr{break-inside:avoid}th{font-weight:600}
td.box,th.box{width:1.6em;border-right:0}td.work{width:27%}td.look{width:37%}
.blank{display:inline-block;min-width:15mm;border-bottom:.6pt solid #000}.quiet{color:#444}
@media screen{main{padding:8mm}}
"""


def bench_sheet_command(case: Case, answer: Answer | None = None, *, html: bool = False, width: int = 100) -> str:
    """What ``bench-sheet FOLDER`` prints, or with ``html`` what it writes.

    Parameters
    ----------
    case : Case
        The case as read.
    answer : Answer, optional
        The answer of the job, for the stop rule.
    html : bool
        One printable page instead of text.
    width : int
        Letters in a line of the text.

    Returns
    -------
    str
        The whole text or page.
    """
    sheet = bench_sheet(case, answer)
    return as_html(sheet) if html else as_text(sheet, width)


def as_text(sheet: BenchSheet, width: int = 100) -> str:
    """The sheet for a terminal or a text printer, cautions first."""
    head = [f"Bench sheet: {sheet.title}", sheet.taken_as, *_figures(sheet)]
    parts = ["\n".join(textwrap.fill(line, width) for line in head if line)]
    parts.append(_listed("Before anything is opened", (*sheet.cautions, sheet.who_may), width))
    parts += [_listed(title, lines, width) for title, lines in _at_hand(sheet)]
    parts.append("Step by step\n" + "\n".join(_step_text(step, width) for step in sheet.steps))
    parts += [_listed(title, lines, width) for title, lines in _after(sheet)]
    return "\n\n".join(part for part in parts if part) + "\n"


def _figures(sheet: BenchSheet) -> list[str]:
    return [f"figures: {sheet.figures}"] if sheet.figures else []


def _at_hand(sheet: BenchSheet) -> list[tuple[str, tuple[str, ...]]]:
    together = (("Tools", sheet.tools), ("To be used up", sheet.consumables), ("To arrange", sheet.arrange))
    return [(title, (", ".join(items),)) for title, items in together if items]


def _after(sheet: BenchSheet) -> list[tuple[str, tuple[str, ...]]]:
    return [
        ("Stop", sheet.stop),
        ("Never used again", sheet.never_again),
        ("For the supplier: photographs and numbers", sheet.for_supplier),
        ("Who to call", tuple(f"{line} {_BLANK}" if not line.endswith(".") else line for line in sheet.call)),
    ]


def _listed(title: str, lines: tuple[str, ...], width: int) -> str:
    folded = [textwrap.fill(line, width, initial_indent="- ", subsequent_indent="  ") for line in lines]
    return "\n".join([title, *folded]) if lines else ""


def _heading(step: SheetStep) -> str:
    who = "" if step.by == "owner" else f" [{step.by}]"
    when = {"always": "", "if found": " (only if found)", "ashore": " (ashore)"}[step.needed]
    return f"{capital(step.work)}{who}{when}"


def _limit(measure: Measure) -> str:
    then = f" (else: {measure.what_then})" if measure.what_then else ""
    return f"limit: {measure.limit}{then}"


def _step_text(step: SheetStep, width: int) -> str:
    lines = [textwrap.fill(f"{step.stage}: {_heading(step)}", width, initial_indent=f"{_BOX} ",
                           subsequent_indent="    ")]  # fmt: skip
    inside = [f"look: {text}" if not text.startswith("may be: ") else text for text in step.look_at]
    inside += [f"{event}: {' '.join(f'{_BOX} {o}' for o in outcomes)}" for event, outcomes in step.tick]
    inside += [f"{m.name}: {_BLANK} {_limit(m)}" for m in step.measures]
    return "\n".join([*lines, *(textwrap.fill(t, width, initial_indent="    ", subsequent_indent="      ")
                                for t in inside)])  # fmt: skip


def as_html(sheet: BenchSheet) -> str:
    """The sheet as one page of A4 that needs nothing but itself."""
    letters = len(as_text(sheet, 100_000))
    size = next((points for most, points in _SIZES if letters <= most), _SMALLEST)
    cautions = "".join(f"<li>{escape(line)}</li>" for line in sheet.cautions)
    title = escape(capital(sheet.title))
    quiet = escape(". ".join(capital(part) for part in (sheet.taken_as, *_figures(sheet)) if part))
    body = [
        f'<h1>{title}</h1><p class="quiet">{quiet}. Date <span class="blank">&nbsp;</span></p>',
        f'<div class="first"><h2>Before anything is opened</h2><ul>{cautions}</ul><p>{escape(sheet.who_may)}</p></div>',
        "".join(f"<p><b>{escape(name)}:</b> {escape(lines[0])}.</p>" for name, lines in _at_hand(sheet)),
        _table(sheet.steps),
        f'<div class="two"><div>{_sections(sheet, 0)}</div><div>{_sections(sheet, 1)}</div></div>',
    ]
    head = f'<meta charset="utf-8"><title>Bench sheet: {title}</title><style>{_STYLE}</style>'
    main = f'<main style="font-size:{size}pt">\n' + "\n".join(body) + "\n</main>"
    return f'<!DOCTYPE html>\n<html lang="en"><head>{head}</head>\n<body>{main}</body></html>\n'


def _sections(sheet: BenchSheet, column: int) -> str:
    """Stop rule and what is never used again on the left, the supplier and the telephone on the right."""
    return "".join(_section(name, lines) for name, lines in _after(sheet)[2 * column : 2 * column + 2])


def _section(title: str, lines: tuple[str, ...]) -> str:
    items = "".join(f"<li>{escape(line).replace(_BLANK, _LINE)}</li>" for line in lines)
    return f"<section><h2>{escape(title)}</h2><ul>{items}</ul></section>" if lines else ""


_LINE = '<span class="blank">&nbsp;</span>'


def _table(steps: tuple[SheetStep, ...]) -> str:
    head = '<tr><th class="box"></th><th>step</th><th>look at, and tick</th><th>measure, against its limit</th></tr>'
    return f"<table>{head}{''.join(_row(step) for step in steps)}</table>"


def _row(step: SheetStep) -> str:
    look = [escape(text) for text in step.look_at]
    look += [
        f"<b>{escape(event)}:</b> {' '.join(f'&#9744;&nbsp;{escape(o)}' for o in outcomes)}"
        for event, outcomes in step.tick
    ]
    measures = [f"{escape(m.name)} {_LINE} {escape(_limit(m))}" for m in step.measures]
    work = f'<span class="quiet">{escape(step.stage)}:</span> {escape(_heading(step))}'
    return (
        f'<tr><td class="box">&#9744;</td><td class="work">{work}</td><td class="look">{"<br>".join(look)}</td>'
        f"<td>{'<br>'.join(measures)}</td></tr>"
    )
