"""The whole answer as plain text for a terminal, and as tables of words for a notebook."""

from __future__ import annotations

import pandas as pd

from repairecon.rebuild_or_buy import sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.records import Assumed, Moved
from repairecon.show.layout import as_text, capital, section, wrapped
from repairecon.show.words import chance_words, days_words, hours_words, money, number, price


def ways_table(answer: Answer) -> pd.DataFrame:
    """Money and days of every way, then the bad case, in words; cheapest first, barred ways last."""
    currency = answer.case.terms.currency
    rows = {}
    for way, r in _ranked(answer).iterrows():
        rows[way] = {
            "all in": money(r["total_mean"], currency),
            "days out": days_words(r["days_mean"]),
            "bad case": money(r["total_p90"], currency, r["total_p90_se"]),
            "bad case days": days_words(r["days_p90"]),
            "cash": money(r["cash_mean"], currency),
            "own hours": hours_words(r["own_hours_mean"]),
            "own time free": money(r["total_own_time_free_mean"], currency),
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def ranges_table(answer: Answer) -> pd.DataFrame:
    """All-in money and days as ranges, then percentages."""
    currency = answer.case.terms.currency
    rows = {}
    for way, r in _ranked(answer).iterrows():
        rows[way] = {
            "1 in 10 under": money(r["total_p10"], currency, r["total_p90_se"]),
            "half under": money(r["total_p50"], currency, r["total_p90_se"]),
            "1 in 10 over": money(r["total_p90"], currency, r["total_p90_se"]),
            "days, half under": days_words(r["days_p50"]),
            "cost of days": money(r["cost_lost_days_mean"], currency),
            "cheapest in": chance_words(r["p_cheapest"]) if r["allowed"] else "ruled out",
            "regret": money(r["expected_regret"], currency) if r["allowed"] else "none",
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def years_table(answer: Answer) -> pd.DataFrame:
    """Every way over the years, cheapest first; empty when only this job is looked at."""
    h, currency = answer.horizon, answer.case.terms.currency
    if h.years.horizon_years == 0:
        return pd.DataFrame()
    rows = {}
    allowed = answer.table["allowed"]
    for way, r in h.ways.sort_values("present_cost", kind="stable").iterrows():
        life = r["break_even_life"]
        rows[way] = {
            f"over {number(h.years.horizon_years)} years": money(r["present_cost"], currency),
            "a year": money(r["annual_cost"], currency),
            "failures": number(r["failures_expected"]),
            "one away in": chance_words(r["p_failure_away"]),
            "cheapest in": chance_words(r["p_cheapest"]) if allowed[way] else "ruled out",
            "half last": f"{number(r['median_life'])} years",
            "turns at": "never" if life is None or life != life else f"{number(life)} years",
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def assumed_table(answer: Answer) -> pd.DataFrame:
    """Every default that was used."""
    rows = [(a.name, assumed_value(a), a.unit, a.source) for a in answer.assumed]
    return pd.DataFrame(rows, columns=["assumed", "value", "unit", "source"])


def assumed_value(a: Assumed) -> str:
    """An assumed figure, or one that was learned with what it was."""
    return f"{number(a.now)} (was {number(a.was)})" if isinstance(a, Moved) else a.value


def price_table(answer: Answer) -> pd.DataFrame:
    """Where each price comes from."""
    currency = answer.case.terms.currency
    lines = answer.lines
    return pd.DataFrame(
        {
            "item": lines["item"],
            "needed": lines["needed"],
            "pieces": lines["pieces"].astype(str),
            "from": lines["supplier"].replace("", "own range"),
            "price": [price(q, c or currency) for q, c in zip(lines["quoted"], lines["currency"], strict=True)],
            "all in": [price(x, currency) for x in lines["cost_all_in"]],
            "read in": lines["source"],
        }
    )


def _ranked(answer: Answer) -> pd.DataFrame:
    return answer.table.sort_values(["allowed", "total_mean"], ascending=[False, True], kind="stable")


def summary(answer: Answer) -> str:
    """The answer on one screen: money and days, the bad case, the verdict, then what it rests on."""
    case, currency = answer.case, answer.case.terms.currency
    head = f"{case.unit.name}" + (f": {case.unit.symptom}" if case.unit.symptom else "")
    figures = f"   [figures: {case.unit.figures}]" if case.unit.figures else ""
    found = "".join(f"\n{line}" for line in sentences.so_far(answer))
    day = money(answer.cost_own_hour, case.terms.currency)
    note = f"All in = cash + own hours at {day} each + days out at their cost. Bad case = one time in ten it is more."
    parts = [
        capital(head) + figures + found,
        as_text(ways_table(answer)),
        wrapped(note),
        "Verdict\n" + wrapped(sentences.verdict(answer)),
        section("At the bench", bench_lines(answer)),
        section("Look first", [sentences.look(w, currency) for w in sentences.useful_looks(answer)]),
        "Ranges and percentages\n" + as_text(ranges_table(answer)),
        _years(answer),
        section("Where it flips", [sentences.flip(f) + "." for f in sentences.useful_flips(answer.flips)]),
        section("Ruled out", ruled_out(answer)),
        section("Ways that may never come", nevers(answer)),
        section("Thumb rules in use", [sentences.thumb_rule(r, case.terms.currency) for r in answer.thumb_rules]),
        section("Before you start", list(answer.cautions)),
        "Where the prices come from\n" + as_text(price_table(answer), ""),
        section("Assumed, as the case does not say", _assumed(answer)),
        wrapped(sentences.how_sampled(answer)),
    ]
    return "\n\n".join(p for p in parts if p) + "\n"


def _years(answer: Answer) -> str:
    table = years_table(answer)
    if table.empty:
        return ""
    return "\n".join([as_text(table), "", section("Over the years", sentences.over_the_years(answer))])


def bench_lines(answer: Answer) -> list[str]:
    """Next step, stop rule, when to order."""
    lines = [sentences.next_step(answer), *sentences.stop_rule(answer), sentences.order_time(answer)]
    return [line for line in lines if line]


def ruled_out(answer: Answer) -> list[str]:
    """Every way that may not be chosen, and why."""
    barred = answer.table[~answer.table["allowed"]]
    return [f"{capital(str(way))}: {why}." for way, why in barred["why_not"].items()]


def nevers(answer: Answer) -> list[str]:
    """A sentence for every way that may never come."""
    return [line for way in answer.table.index if (line := sentences.never_row(answer, str(way)))]


def _assumed(answer: Answer) -> list[str]:
    by_source: dict[str, list[str]] = {}
    for a in answer.assumed:
        by_source.setdefault(a.source, []).append(f"{a.name} {assumed_value(a)} {a.unit}".strip())
    return [f"{source}: {'; '.join(values)}" for source, values in by_source.items()]
