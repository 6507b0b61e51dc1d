"""The parts of the answer, each as titled sentences and tables of words: the same in terminal, notebook and page;
and the page to read and print."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pandas as pd

from repairecon.read.look_again import look_again
from repairecon.rebuild_or_buy import headline, sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.records import Assumed, Moved
from repairecon.show.layout import capital
from repairecon.show.sheet import Panel, Sheet
from repairecon.show.words import chance_words, hours_words, money, number, price, tenths, whole

Blocks = Sequence[Panel | Sheet]
EACH_WAY, LEAST, LOW, HIGH = 0.95, 2.4, 5.0, 6.5
"""Height of the picture of ranges on a narrow page, a way and in all; of low and high pictures [inch]."""
ENDS = 9
"""Ends of the tree that stay legible on paper."""
MEANING = {
    "cost_away": "what a failure away costs more", "cost_lost_day": "worth of a day without the boat",
    "cost_own_hour": "worth of an own hour", "days_away": "days more that a failure away takes",
    "discount_rate": "interest", "elsewhere_days": "lost if the fault was here after all",
    "give_up_days": "waited at most", "horizon_years": "years you keep her", "hours_a_year": "use of the unit",
    "hours_correlation": "slow at one task, slow at all", "hours_per_day": "a working day",
    "inflation_rate": "prices rise by", "life_shape": "spread of lives", "life_share": "life it has",
    "life_years": "life", "like_units": "such units in service", "near_tie_chance": "near tie below this chance",
    "near_tie_share": "near tie within", "order_parts": "parts are ordered", "p_away": "chance of failing away",
    "p_early": "chance of failing at once", "p_kit_fits": "chance that a kit can be fitted away",
    "p_never": "chance that it never comes", "resale_share": "a spare fetches with the boat",
    "shelf_life_years": "life of a spare on its shelf", "shelf_shape": "spread of lives on the shelf",
    "swap_hours": "hours to swap in a spare", "turned_every_years": "a spare is turned every",
    "wait_multiples": "how long waits spread", "wear_kept": "wear kept at a rebuild",
}  # fmt: skip
"""What a name of the files means, for who has not written it."""


def title(answer: Answer) -> str:
    """The unit and what is wrong with it."""
    unit = answer.case.unit
    return capital(unit.name) + (f": {unit.symptom}" if unit.symptom else "")


def advice(answer: Answer) -> Blocks:
    """The advice, what is done so far, and the ways beside each other."""
    figures = answer.case.unit.figures
    about = [*sentences.so_far(answer), *([f"Figures: {figures}."] if figures else [])]
    return [Panel(title(answer), [" ".join(headline.advice(answer)), *about], listed=False), ways(answer)]


def ranked(answer: Answer) -> pd.DataFrame:
    """The table of ways on the basis of the advice, cheapest first, those that may not be chosen last.

    ``present`` is the present cost over the years, without all else that is worked out for them.
    """
    cost = answer.table["total_mean"]
    if answer.advice.basis == "years":
        cost = pd.Series(answer.horizon.ledger.present, index=answer.table.index)
    return answer.table.assign(present=cost).sort_values(["allowed", "present"], ascending=[False, True], kind="stable")


Say = Callable[["pd.Series[Any]"], str]


def _sheet(title: str, rows: pd.DataFrame, columns: Mapping[str, Say]) -> Sheet:
    """A table of words: heading -> what is said of a row."""
    return Sheet(pd.DataFrame({name: [say(row) for _, row in rows.iterrows()] for name, say in columns.items()}), title)


def _money(column: str, error: str = "") -> Say:
    return lambda row: money(row[column], "", row[error] if error else 0.0)


def ways(answer: Answer) -> Sheet:
    """Every way: cash, own hours, all in, days, bad case, over the years."""
    columns: dict[str, Say] = {
        "way": lambda row: f"{row.name}" if row["allowed"] else f"{row.name} (barred)",
        "cash": _money("cash_mean"),
        "own hours": lambda row: hours_words(row["own_hours_mean"]),
        "all in": _money("total_mean"),
        "days": lambda row: whole(row["days_mean"]),
        "bad case": _money("total_p90", "total_p90_se"),
    }
    if "back_by" in answer.table:
        columns[headline.wanted(answer)] = lambda row: chance_words(row["back_by"])
    if answer.advice.basis == "years" and answer.advice.years:
        columns[f"{number(answer.advice.years)} years"] = _money("present")
    return _sheet(f"{answer.case.terms.currency} on average. {how_counted(answer)}", ranked(answer), columns)


def how_counted(answer: Answer) -> str:
    """What "all in" and "bad case" mean here."""
    terms = answer.case.terms
    hours = f" + hours at {whole(answer.cost_own_hour)}" if answer.cost_own_hour > 0 else ""
    days = " + days out" if terms.cost_lost_day.high > 0 else ""
    return f"All in = cash{hours}{days}. Bad case: 1 in 10 over."


def bench(answer: Answer) -> Blocks:
    """When to go on, when to stop."""
    alone = " (costs by this job alone)" if answer.advice.basis == "years" else ""
    return [Panel(f"At the bench: when to go on, when to stop{alone}", sentences.bench(answer))]


def _panel(title: str, say: Callable[[Answer], Sequence[str]]) -> Callable[[Answer], Blocks]:
    """A part of sentences alone."""
    return lambda answer: [Panel(title, say(answer))]


looks = _panel("What to look at first", sentences.looks)
flips = _panel("Where it turns, for this job", sentences.flips)
cautions = _panel("Before you start", lambda answer: answer.cautions)


def ranges(answer: Answer) -> Blocks:
    """Good and bad case of money and days, own time at nothing, chance of being cheapest."""
    columns: dict[str, Say] = {
        "way": lambda row: f"{row.name}",
        "1 in 10 under": _money("total_p10", "total_p90_se"),
        "half under": _money("total_p50", "total_p90_se"),
        "1 in 10 over": _money("total_p90", "total_p90_se"),
        "own time free": _money("total_own_time_free_mean"),
        "days: half under": lambda row: whole(row["days_p50"]),
        "1 in 10 over ": lambda row: whole(row["days_p90"]),
        "cheapest in": lambda row: chance_words(row["p_cheapest"]) if row["allowed"] else "barred",
    }
    title = f"Good and bad cases, in {answer.case.terms.currency} all in"
    return [_sheet(title, ranked(answer), columns), Panel("", [sentences.how_sampled(answer)], listed=False)]


def years(answer: Answer) -> Blocks:
    """What each way comes to over the years, and whether a spare pays."""
    h = answer.horizon
    said = Panel("Over the years", sentences.years(answer))
    if h.years.horizon_years == 0:
        return [said]
    columns: dict[str, Say] = {
        "way": lambda row: f"{row.name}",
        "in today's money": _money("present_cost"),
        "a year": _money("annual_cost"),
        "fails again, times": lambda row: tenths(row["failures_expected"]),
        "ever away from base": lambda row: chance_words(row["p_failure_away"]),
        "half last, years": lambda row: tenths(row["median_life"]),
        "turns at, years": lambda row: "never" if pd.isna(row["break_even_life"]) else tenths(row["break_even_life"]),
        "cheapest in": lambda row: chance_words(row["p_cheapest"]),
    }
    title = f"Over {number(h.years.horizon_years)} years, in {answer.case.terms.currency}"
    return [said, _sheet(title, h.ways.sort_values("present_cost", kind="stable"), columns)]


def rules(answer: Answer) -> Blocks:
    """Rules in use, ways left out, ways that may never come."""
    barred = answer.table.loc[~answer.table["allowed"], "why_not"]
    panels = {
        "Rules of thumb in use": sentences.thumb_rules(answer),
        "Ways that may not be chosen": [f"{capital(str(way))}: {why}." for way, why in barred.items()],
        "Ways that may never come": sentences.nevers(answer),
    }
    return [Panel(title, lines) for title, lines in panels.items() if lines]


def prices(answer: Answer) -> Blocks:
    """Where each price comes from."""
    currency = answer.case.terms.currency
    columns: dict[str, Say] = {
        "item": lambda row: f"{row['item']}",
        "needed": lambda row: f"{row['needed']}",
        "pieces": lambda row: f"{row['pieces']}",
        "from": lambda row: row["supplier"] or "own range",
        "price": lambda row: price(row["quoted"], row["currency"] or currency),
        "all in": lambda row: price(row["cost_all_in"], currency),
        "read in": lambda row: f"{row['source']}",
    }
    ask = [capital(question) for question in answer.model.buying.questions]
    sheet = _sheet("Where the prices come from", answer.lines, columns)
    return [*([Panel("Ask before you order", ask)] if ask else []), sheet]


def assumed(answer: Answer) -> Blocks:
    """Every default that was used, those of one source together."""
    by_source: dict[str, list[str]] = {}
    for a in answer.assumed:
        by_source.setdefault(a.source, []).append(f"{_name(a.name)}: {_value(a)}")
    table = pd.DataFrame(
        [("; ".join(values), source) for source, values in by_source.items()], columns=["taken as", "because"]
    )
    yours = {"Your rows in place of assumed ones": answer.case.replaced,
             "Assumed rows that you dropped": answer.case.dropped,
             "From the boat's folder": _of_the_boat(answer.case.from_boat)}  # fmt: skip
    sheet = Sheet(table, f"Assumed, as the case does not say ({whole(len(answer.assumed))})")
    return [sheet, *(Panel(title, [sentences.plain(x) for x in rows]) for title, rows in yours.items() if rows)]


def _of_the_boat(taken: Sequence[str]) -> list[str]:
    """What the case has from its boat, a line a file; keys of boat.toml in words."""
    by_file: dict[str, list[str]] = {}
    for line in taken:
        file, _, what = line.partition(": ")
        key = what.rpartition(".")[2]
        by_file.setdefault(file, []).append(MEANING.get(key, key))
    return [f"{file}: {', '.join(what)}" for file, what in by_file.items()]


def _name(name: str) -> str:
    """What a figure is."""
    code, _, more = name.partition(" ")
    return f"{MEANING[code]} {more}".strip() if code in MEANING else sentences.plain(name)


def _value(a: Assumed) -> str:
    """An assumed figure with its unit, or one that was learned with what it was."""
    value = f"{number(a.now)} (was {number(a.was)})" if isinstance(a, Moved) else sentences.plain(a.value)
    return f"{value} {a.unit}".strip() if a.unit not in ("chance", "low / likely / high", "code", "part") else value


def again(answer: Answer) -> Blocks:
    """What may be a slip of the pen, and how to say that it is right."""
    slips = [r for r in look_again(answer.case) if not r.acknowledged]
    lines = [f"{r.what} ({r.where}; if right: checked = \"{r.rule}\" under [unit])" for r in slips]
    return [Panel("Look again", lines or ["No figure of yours looks like a slip."])]


PARTS: Mapping[str, Callable[[Answer], Blocks]] = MappingProxyType(
    {
        "bench": bench, "looks": looks, "years": years, "flips": flips, "ranges": ranges, "rules": rules,
        "cautions": cautions, "again": again, "prices": prices, "assumed": assumed,
    }
)  # fmt: skip
"""The parts that may be asked for by name, in the order of the full answer."""


def page(answer: Answer, today: date | None = None) -> str:
    """The whole answer as one offline page: the advice on top, pictures beside the words they prove."""
    from repairecon.show.report import about, render

    case = answer.case
    where = about(f"Case {Path(case.folder).name}", today or date.today(), case.unit.figures)
    first, *why = headline.advice(answer)
    locker = [f"From the locker: {said}" for said in sentences.from_the_locker(answer)]
    said = [s for s in (first, " ".join(why), *sentences.so_far(answer), *locker) if s]
    return render(title(answer), where, said, _main(answer), _rest(answer))


def _main(answer: Answer) -> Iterator[Any]:
    """What an owner reads before choosing."""
    from repairecon.rebuild_or_buy import charts
    from repairecon.show.plots import Picture

    yield ways(answer)
    yield from cautions(answer)
    yield Picture(partial(charts.ranges, answer), LEAST + EACH_WAY * len(answer.table))
    yield from looks(answer)
    yield from bench(answer)
    if answer.leaves["ends_rebuild"].any() or len(answer.nodes) > 1:
        yield Picture(partial(charts.tree, answer, keep=ENDS), HIGH)
    yield years(answer)[0]
    if answer.horizon.years.horizon_years > 0:
        yield Picture(partial(charts.years, answer), LOW)
    yield from flips(answer)
    if answer.swings:
        yield Picture(partial(charts.swings, answer), LOW)


def _rest(answer: Answer) -> Iterator[Any]:
    """What it rests on."""
    from repairecon.rebuild_or_buy import charts
    from repairecon.show.plots import Picture

    yield from ranges(answer)
    yield Picture(partial(charts.curves, answer), HIGH)
    yield Picture(partial(charts.days, answer), HIGH)
    yield from years(answer)[1:]
    if not answer.horizon.spare_lines.empty:
        yield Picture(partial(charts.spare, answer), LOW)
    for part in (rules, prices, assumed):
        yield from part(answer)
