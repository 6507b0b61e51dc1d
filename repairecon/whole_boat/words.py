"""A whole boat on a screen and a page: what to do next, what the season may cost, each unit, the spares."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from math import isfinite
from typing import TYPE_CHECKING

import pandas as pd

from repairecon.records import DAYS_A_YEAR, RepaireconError
from repairecon.show.layout import as_text, capital, shortened, terminal_width, wrapped
from repairecon.show.sheet import Panel, Sheet
from repairecon.show.words import chance_words, days_words, hours_words, money, whole
from repairecon.whole_boat.answer import JOB, RENEW, SPARE, STOCK, BoatLine, NoBoat, Pool, Step, in_order, not_read
from repairecon.whole_boat.units import UnitLine

if TYPE_CHECKING:
    from repairecon.show.plots import Picture

STEPS, FLEET_STEPS, UNITS, EACH_UNIT = 5, 8, 5, 0.42
"""Steps and units on the first screen; height of the picture on a narrow page, a unit [inch]."""


def first_screen(boats: Sequence[BoatLine | NoBoat], shared: Sequence[Pool] = (), *, full: bool = False) -> str:
    """One boat in full, or several with a line each and their steps in one order."""
    read = [b for b in boats if isinstance(b, BoatLine)]
    lines, width = list(_one(read[0], full) if len(boats) == 1 and read else []), terminal_width()
    if len(boats) > 1 and read:
        said = [f"{nth}. {words}" for nth, words in enumerate(_steps_of(read)[: None if full else FLEET_STEPS], 1)]
        lines = [as_text(boat_table(read), fold=True, width=width), "", "What to do next"]
        lines += [shortened(step, max(width * 2, 120)) for step in said]
    failed = [f"{folder}: {faults}" for folder, faults in not_read(boats)]
    lists = {"Spares to share": _shared(read, shared), f"Not read ({len(failed)}):": failed}
    for title, said in lists.items():
        lines += ["", title, *(wrapped(line, "  ", width) for line in said)] if said else []
    return "\n".join(lines).lstrip("\n") + "\n"


def _shared(boats: Sequence[BoatLine], shared: Sequence[Pool]) -> list[str]:
    money_of, said = {b.base: b.currency for b in boats}, []
    for p in shared:
        places = [f"{p.at_base} at {p.base or 'the base'}"] if p.at_base else []
        places += [f"{n} aboard {boat}" for boat, n in zip(p.boats, p.aboard, strict=True) if n]
        cost, saves = (money(x, money_of[p.base]) for x in (p.cost, p.saves))
        where = f"{p.unit} ({p.maker_number}) for {len(p.boats)} boats: {', '.join(places)}"
        said.append(f"{where}: {cost}, saves {saves} a year beyond its cost.")
    return said


def _one(b: BoatLine, full: bool) -> Iterator[str]:
    width, most = terminal_width(), len(b.steps) if full else STEPS
    yield ", ".join(filter(None, (b.boat, b.base, b.today, f"figures: {b.figures}" if b.figures else "")))
    yield ""
    yield "What to do next" if b.steps else "Nothing to do: no job is open, and no spare or renewal pays."
    for nth, step in enumerate(b.steps[:most], 1):
        said = step if full else replace(step, what=step.what.partition(". ")[0])  # its first sentence
        yield wrapped(step_words(said, b.currency), f"{nth}. ", width)
    if len(b.steps) > most:
        yield f"   ({len(b.steps) - most} more: --full)"
    yield ""
    yield wrapped(season_words(b), "", width)
    if b.units:
        yield ""
        table = unit_table(b)
        yield as_text(table if full else table.head(UNITS), fold=True, width=width)
        if not full and len(table) > UNITS:
            yield f"({len(table) - UNITS} less likely units: --full)"
    yield ""
    yield from (wrapped(said, "", width) for said in spares_words(b))


def verdict(b: BoatLine) -> Panel:
    """The boat, what to do first and what the season may cost."""
    first = step_words(b.steps[0], b.currency) if b.steps else "Nothing to do."
    return Panel(f"Whole boat: {b.boat}", [capital(first), season_words(b)], listed=False)


def blocks(b: BoatLine, *, alone: bool = True) -> Iterator[Panel | Sheet | Picture]:
    """What an owner reads of a boat, ``alone`` after her advice, or among others."""
    from repairecon.show.plots import Picture, bar_rows

    steps = [step_words(step, b.currency) for step in b.steps]
    if not alone:
        yield Panel(b.boat, [*steps, season_words(b)])
    elif steps[1:]:
        yield Panel("What to do after that", steps[1:])
    bars = [(_named(u), u.expected, f"fails {chance_words(u.p_fails)}") for u in b.units if u.expected is not None]
    if bars:
        bars.sort(key=lambda bar: -bar[1])
        title = f"What fails within {days_words(b.season.years * DAYS_A_YEAR)} is expected to cost"
        yield Picture(partial(bar_rows, bars, title, caption(b), b.currency), 1.6 + EACH_UNIT * len(b.units))
    if b.units:
        yield Sheet(unit_table(b), "Each unit, the likeliest to fail first")
    yield Panel("Spares", spares_words(b), listed=False)
    if failed := not_read([b]):
        yield Panel("Not read", [f"{folder}: {why}" for folder, why in failed])


def caption(b: BoatLine) -> str:
    """What to do about the dearest unit."""
    unit = max(b.units, key=lambda u: u.expected or 0.0).unit
    pays = {step.kind for step in b.steps if step.of == unit}
    todo = next(words for holds, words in (
        (SPARE in pays, "a spare aboard pays"), (RENEW in pays, "renewing it before it fails pays"),
        (b.spares and unit in b.spares.units, "its spare is aboard, keep that in order"),
        (True, "neither a spare nor renewing it pays, so look after it and keep the money ready"),
    ) if holds)  # fmt: skip
    return f"Begin with the longest bar, {unit}: {todo}."


def page(boats: Sequence[BoatLine | NoBoat], shared: Sequence[Pool] = ()) -> str:
    """A boat, or several, as one offline page."""
    from repairecon.show.report import about, render

    read = [b for b in boats if isinstance(b, BoatLine)]
    if not read:
        raise RepaireconError("\n".join(f"{folder}: {why}" for folder, why in not_read(boats)))
    first = read[0]
    if len(boats) == 1:
        panel, where = verdict(first), about(first.base, first.today, first.figures)
        return render(panel.title, where, panel.lines, blocks(first))
    said = _steps_of(read)[:FLEET_STEPS]
    lists = {
        "What to do next": said,
        "Spares to share": _shared(read, shared),
        "Not read": [f"{folder}: {why}" for folder, why in not_read([b for b in boats if isinstance(b, NoBoat)])],
    }
    top = [Sheet(boat_table(read), "Each boat"), *(Panel(title, lines) for title, lines in lists.items() if lines)]
    appendix = [block for b in read for block in blocks(b, alone=False)]
    return render("Boats", about(f"{len(read)} boats", first.today, ""), said[:1] or ["Nothing to do."], top, appendix)


def _steps_of(boats: Sequence[BoatLine]) -> list[str]:
    money_of = {b.boat: b.currency for b in boats}
    steps = in_order(replace(step, boat=b.boat) for b in boats for step in b.steps)
    return [f"{step.boat}: {step_words(step, money_of[step.boat])}" for step in steps]


def step_words(step: Step, currency: str) -> str:
    """A step with what it saves and costs."""
    if step.kind == JOB:
        first = "critical: " if step.critical else ""
        saved = f", {money(step.saves, currency)} less than the next best" if step.saves >= 1 else ""
        takes = f"{money(step.money, currency)} and {hours_words(step.hours)} hours of yours"
        return f"{first}{step.what.rstrip('.')}. About {takes}{saved}."
    when = "a season" if step.kind == STOCK else "a year"
    return f"{step.what}: {money(step.money, currency)}, saves {money(step.saves, currency)} {when} beyond its cost."


def season_words(b: BoatLine) -> str:
    """What the season is expected to cost, and the chance that something critical stops her."""
    s, many = b.season, days_words(b.season.years * DAYS_A_YEAR)
    said = [
        f"Within {many} what fails is expected to cost {money(s.mean, b.currency)}; nine seasons in ten stay under "
        f"{money(s.p90, b.currency)}. Something critical without a spare aboard fails {chance_words(s.p_stops)}."
    ]
    said += [f"Not counted, as units.csv has no price_new: {', '.join(s.left_out)}."] if s.left_out else []
    if b.euro_as_it_stands:
        said.append(f"Amounts known in EUR are taken as {b.currency}: write EUR under [money.exchange] of boat.toml.")
    guessed = ", ".join(u.unit for u in b.units if u.assumed)
    return " ".join([*said, *([f"Age not known, taken as half the usual life: {guessed}."] if guessed else [])])


def _named(u: UnitLine) -> str:
    return f"{u.unit} ({u.count})" if u.count > 1 else u.unit


def unit_table(b: BoatLine) -> pd.DataFrame:
    """A row a unit, the likeliest to fail first."""
    rows = [
        {
            "unit": _named(u),
            "critical": "yes" if u.critical else "",
            "age": "?" if u.age_years is None else whole(u.age_years),
            "fails, in 100": whole(100 * u.p_fails),
            "half gone in": f"{whole(u.due_years)} years" if isfinite(u.due_years) else "-",
            "costs each": "?" if u.cost_each is None else money(u.cost_each, b.currency),
            "days": "?" if u.days is None else whole(u.days),
            "spare": "aboard" if b.spares and u.unit in b.spares.units else "?" if u.spare_cost is None else
            "pays" if any(s.kind == SPARE and s.of == u.unit for s in b.steps) else "no",
        }
        for u in sorted(b.units, key=lambda u: (-u.p_fails, u.unit))
    ]  # fmt: skip
    return pd.DataFrame(rows)


def spares_words(b: BoatLine) -> list[str]:
    """What the spares book says; which one standard part serves most."""
    serves = [f"One part that serves most: {x.size} ({', '.join(x.units)})." for x in b.serves[:1]]
    s, most = b.spares, 4
    if s is None:
        return ["No spares book is read.", *serves]
    coming = [
        f"{x.pieces} {x.part} for {x.job}"
        + (f", {days_words(x.late_days)} late" if x.late_days else f", by {x.expected_on}" if x.expected_on else "")
        for x in s.on_order
    ]
    lists = {"Below their minimum": s.short, "Out of date or soon": s.due, "On order": coming}
    said = [f"Spares: {money(s.worth, b.currency)} at cost."]
    for lead, names in lists.items():
        more = f" and {len(names) - most} more" if len(names) > most else ""
        said += [f"{lead}: {'; '.join(names[:most])}{more}."] if names else []
    return [" ".join(said), *serves]


def boat_table(boats: Sequence[BoatLine]) -> pd.DataFrame:
    """A line a boat."""
    rows = [
        {
            "boat": b.boat, "jobs": len(b.jobs), "units": sum(u.count for u in b.units),
            "season": money(b.season.mean, b.currency), "bad season": money(b.season.p90, b.currency),
            "stopped, in 100": whole(100 * b.season.p_stops),
            "spares": "-" if b.spares is None else money(b.spares.worth, b.currency),
            "short": "-" if b.spares is None else len(b.spares.short),
        }
        for b in boats
    ]  # fmt: skip
    return pd.DataFrame(rows)
