"""The parts of the answer, each as titled sentences and tables of words: the same in terminal, notebook and page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

import pandas as pd

from repairecon.read.look_again import look_again
from repairecon.rebuild_or_buy import headline, sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.records import Assumed, Moved
from repairecon.show.layout import capital
from repairecon.show.sheet import Panel, Sheet
from repairecon.show.words import chance_words, hours_words, money, number, price, tenths, whole

Blocks = Sequence[Panel | Sheet]
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


def ranked(answer: Answer) -> pd.Index:
    """The ways on the basis of the advice, cheapest first, those that may not be chosen last."""
    cost = present(answer) if answer.advice.basis == "years" else answer.table["total_mean"]
    order = answer.table.assign(cost=cost).sort_values(["allowed", "cost"], ascending=[False, True], kind="stable")
    return order.index


def present(answer: Answer) -> pd.Series[float]:
    """Way -> present cost over the years, without all else that is worked out for them."""
    return pd.Series(answer.horizon.ledger.present, index=answer.table.index)


def ways(answer: Answer) -> Sheet:
    """Every way: cash, own hours, all in, days, bad case, over the years."""
    table, currency = answer.table, answer.case.terms.currency
    order = ranked(answer)
    columns: dict[str, list[str]] = {"way": [str(w) if table.loc[w, "allowed"] else f"{w} (barred)" for w in order]}
    rows = table.loc[order]
    columns["cash"] = [money(x, "") for x in rows["cash_mean"]]
    columns["own hours"] = [hours_words(x) for x in rows["own_hours_mean"]]
    columns["all in"] = [money(x, "") for x in rows["total_mean"]]
    columns["days"] = [whole(x) for x in rows["days_mean"]]
    columns["bad case"] = [money(x, "", se) for x, se in zip(rows["total_p90"], rows["total_p90_se"], strict=True)]
    if "back_by" in table:
        columns[headline.wanted(answer)] = [chance_words(x) for x in rows["back_by"]]
    if answer.advice.basis == "years" and answer.advice.years:
        columns[f"{number(answer.advice.years)} years"] = [money(x, "") for x in present(answer)[order]]
    return Sheet(pd.DataFrame(columns), f"{currency} on average. {how_counted(answer)}")


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


def looks(answer: Answer) -> Blocks:
    """What to look at first."""
    return [Panel("What to look at first", sentences.looks(answer))]


def flips(answer: Answer) -> Blocks:
    """Where another way takes over."""
    return [Panel("Where it turns, for this job", sentences.flips(answer))]


def ranges(answer: Answer) -> Blocks:
    """Good and bad case of money and days, own time at nothing, chance of being cheapest."""
    currency, rows = answer.case.terms.currency, answer.table.loc[ranked(answer)]

    def sampled(column: str) -> list[str]:
        return [money(x, "", se) for x, se in zip(rows[column], rows["total_p90_se"], strict=True)]

    table = pd.DataFrame(
        {
            "way": [str(w) for w in rows.index],
            "1 in 10 under": sampled("total_p10"),
            "half under": sampled("total_p50"),
            "1 in 10 over": sampled("total_p90"),
            "own time free": [money(x, "") for x in rows["total_own_time_free_mean"]],
            "days: half under": [whole(x) for x in rows["days_p50"]],
            "1 in 10 over ": [whole(x) for x in rows["days_p90"]],
            "cheapest in": list(rows["p_cheapest"].map(chance_words).where(rows["allowed"], "barred")),
        }
    )  # fmt: skip
    return [
        Sheet(table, f"Good and bad cases, in {currency} all in"),
        Panel("", [sentences.how_sampled(answer)], listed=False),
    ]


def years(answer: Answer) -> Blocks:
    """What each way comes to over the years, and whether a spare pays."""
    h, currency = answer.horizon, answer.case.terms.currency
    said = Panel("Over the years", sentences.years(answer))
    if h.years.horizon_years == 0:
        return [said]
    rows = h.ways.sort_values("present_cost", kind="stable")
    table = pd.DataFrame(
        {
            "way": [str(w) for w in rows.index],
            "in today's money": [money(x, "") for x in rows["present_cost"]],
            "a year": [money(x, "") for x in rows["annual_cost"]],
            "fails again, times": [tenths(x) for x in rows["failures_expected"]],
            "ever away from base": [chance_words(x) for x in rows["p_failure_away"]],
            "half last, years": [tenths(x) for x in rows["median_life"]],
            "turns at, years": [tenths(x) if x is not None and x == x else "never" for x in rows["break_even_life"]],
            "cheapest in": [chance_words(x) for x in rows["p_cheapest"]],
        }
    )
    return [said, Sheet(table, f"Over {number(h.years.horizon_years)} years, in {currency}")]


def rules(answer: Answer) -> Blocks:
    """Rules in use, ways left out, ways that may never come."""
    panels = [
        Panel("Rules of thumb in use", sentences.thumb_rules(answer)),
        Panel("Ways that may not be chosen", sentences.ruled_out(answer)),
        Panel("Ways that may never come", sentences.nevers(answer)),
    ]
    return [p for p in panels if p.lines]


def cautions(answer: Answer) -> Blocks:
    """Cautions that fit the unit."""
    return [Panel("Before you start", list(answer.cautions))]


def prices(answer: Answer) -> Blocks:
    """Where each price comes from."""
    currency, lines = answer.case.terms.currency, answer.lines
    table = pd.DataFrame(
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
    ask = [capital(question) for question in answer.model.buying.questions]
    return [*([Panel("Ask before you order", ask)] if ask else []), Sheet(table, "Where the prices come from")]


def assumed(answer: Answer) -> Blocks:
    """Every default that was used, those of one source together."""
    by_source: dict[str, list[str]] = {}
    for a in answer.assumed:
        by_source.setdefault(a.source, []).append(f"{_name(a.name)}: {_value(a)}")
    table = pd.DataFrame(
        [("; ".join(values), source) for source, values in by_source.items()], columns=["taken as", "because"]
    )
    case = answer.case
    yours = [Panel("Your rows in place of assumed ones", list(case.replaced)),
             Panel("Assumed rows that you dropped", list(case.dropped))]  # fmt: skip
    sheet = Sheet(table, f"Assumed, as the case does not say ({whole(len(answer.assumed))})")
    return [sheet, *(panel for panel in yours if panel.lines)]


def _name(name: str) -> str:
    """What a figure is, with the name by which the files know it."""
    code, _, more = name.partition(" ")
    return f"{MEANING[code]} [{code}] {more}".strip() if code in MEANING else sentences.plain(name)


def _value(a: Assumed) -> str:
    """An assumed figure with its unit, or one that was learned with what it was."""
    value = f"{number(a.now)} (was {number(a.was)})" if isinstance(a, Moved) else sentences.plain(a.value)
    return f"{value} {a.unit}".strip() if a.unit not in ("chance", "low / likely / high", "code", "part") else value


def again(answer: Answer) -> Blocks:
    """What may be a slip of the pen, and how to say that it is right."""
    lines = [f"{r.what} ({r.where}; if right: checked = \"{r.rule}\" under [unit])" for r in look_again(answer.case)
             if not r.acknowledged]  # fmt: skip
    return [Panel("Look again", lines or ["No figure of yours looks like a slip."])]


PARTS: Mapping[str, Callable[[Answer], Blocks]] = MappingProxyType(
    {
        "bench": bench, "looks": looks, "years": years, "flips": flips, "ranges": ranges, "rules": rules,
        "cautions": cautions, "again": again, "prices": prices, "assumed": assumed,
    }
)  # fmt: skip
"""The parts that may be asked for by name, in the order of the full answer."""
