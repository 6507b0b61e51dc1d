"""The parts of the answer, each as titled sentences and tables of words, the same in terminal, notebook and page; the
one screen that a terminal shows first; and the page to read and print."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from repairecon.rebuild_or_buy import bench_words, sentences
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.lives import median_life
from repairecon.rebuild_or_buy.stages import LEAVE
from repairecon.records import ASSUMED, Moved, Way
from repairecon.show.layout import Block, capital, fitted, shortened, terminal_width, wrapped
from repairecon.show.sheet import Panel, Sheet, text_of
from repairecon.show.words import chance_words, hours_words, measured, money, number, price, tenths, whole

Blocks = Sequence[Panel | Sheet]
EACH_WAY, LEAST, LOW, HIGH, TALL = 0.95, 2.4, 5.0, 6.5, 9.0
"""Height of the picture of ranges on a narrow page, a way and in all; of low, high and tall pictures [inch]."""
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
    unit = answer.case.unit
    return capital(unit.name) + (f": {unit.symptom}" if unit.symptom else "")


def said(answer: Answer) -> Panel:
    figures = answer.case.unit.figures
    about = [*sentences.so_far(answer), *([f"Figures: {figures}."] if figures else [])]
    return Panel(title(answer), [" ".join(sentences.advice(answer)), *about], listed=False)


def advice(answer: Answer) -> Blocks:
    return [said(answer), ways(answer)]


def ranked(answer: Answer) -> pd.DataFrame:
    """The ways on the basis of the advice, cheapest first, barred ones last; ``present``: what each comes to."""
    cost = answer.table["total_mean"]
    if answer.advice.basis == "years":
        cost = pd.Series(answer.horizon.ledger.present, index=answer.table.index)
    return answer.table.assign(present=cost).sort_values(["allowed", "present"], ascending=[False, True], kind="stable")


def _amounts(rows: pd.DataFrame, column: str, error: str = "") -> list[str]:
    return [money(x, "", se) for x, se in zip(rows[column], rows[error] if error else [0.0] * len(rows), strict=True)]


def _called(allowed: pd.Series[Any]) -> list[str]:
    return [str(way) if may else f"{way} (barred)" for way, may in allowed.items()]


def ways(answer: Answer) -> Sheet:
    rows = ranked(answer)
    shown = {
        "way": _called(rows["allowed"]),
        "cash": _amounts(rows, "cash_mean"), "own hours": rows["own_hours_mean"].map(hours_words),
        "all in": _amounts(rows, "total_mean"), "days": rows["days_mean"].map(whole),
        "bad case": _amounts(rows, "total_p90", "total_p90_se"),
    }  # fmt: skip
    if "back_by" in rows:
        shown[sentences.wanted(answer)] = rows["back_by"].map(chance_words)
    if answer.advice.basis == "years" and answer.advice.years:
        shown[f"{number(answer.advice.years)} years"] = _amounts(rows, "present")
    return Sheet(pd.DataFrame(shown), f"{answer.case.terms.currency} on average. {how_counted(answer)}")


def how_counted(answer: Answer) -> str:
    terms = answer.case.terms
    hours = f" + hours at {whole(answer.cost_own_hour)}" if answer.cost_own_hour > 0 else ""
    days = " + days out" if terms.cost_lost_day.high > 0 else ""
    return f"All in = cash{hours}{days}. Bad case: 1 in 10 over."


def bench(answer: Answer) -> Blocks:
    alone = " (costs by this job alone)" if answer.advice.basis == "years" else ""
    return [Panel(f"At the bench: when to go on, when to stop{alone}", filter(None, bench_words.bench(answer)))]


def _panel(title: str, say: Callable[[Answer], Iterable[str]]) -> Callable[[Answer], Blocks]:
    return lambda answer: [Panel(title, say(answer))]


looks = _panel("What to look at first", bench_words.looks)
flips = _panel("Where it turns, for this job", sentences.flips)
cautions = _panel("Before you start", lambda answer: answer.cautions)


def ranges(answer: Answer) -> Blocks:
    rows, currency = ranked(answer), answer.case.terms.currency
    shown = {
        "way": rows.index,
        **{name: _amounts(rows, f"total_{p}", "total_p90_se")
           for name, p in (("1 in 10 under", "p10"), ("half under", "p50"), ("1 in 10 over", "p90"))},
        "own time free": _amounts(rows, "total_own_time_free_mean"),
        "days: half under": rows["days_p50"].map(whole), "1 in 10 over ": rows["days_p90"].map(whole),
        "cheapest in": rows["p_cheapest"].map(chance_words).where(rows["allowed"], "barred"),
    }  # fmt: skip
    sheet = Sheet(pd.DataFrame(shown), f"Good and bad cases, in {currency} all in")
    o, courses = answer.outcomes, whole(len(answer.leaves))
    sampled = (
        f"Averages are exact over {courses} courses of what may be found; ranges and chances of being cheapest come "
        f"from {whole(o.draws)} draws (seed {o.seed})."
    )
    return [sheet, Panel("", [sampled], listed=False)]


def years(answer: Answer) -> Blocks:
    h = answer.horizon
    said = Panel("Over the years", sentences.years(answer))
    if h.years.horizon_years == 0:
        return [said]
    rows = h.ways.assign(allowed=answer.table["allowed"])
    rows = rows.sort_values(["allowed", "present_cost"], ascending=[False, True], kind="stable")
    shown = {
        "way": _called(rows["allowed"]),
        "in today's money": _amounts(rows, "present_cost"), "a year": _amounts(rows, "annual_cost"),
        "fails again, times": rows["failures_expected"].map(tenths),
        "ever away from base": rows["p_failure_away"].map(chance_words),
        "half last, years": rows["median_life"].map(tenths),
        "turns at, years": ["never" if pd.isna(life) else tenths(life) for life in rows["break_even_life"]],
    }  # fmt: skip
    title = f"Over {number(h.years.horizon_years)} years, in {answer.case.terms.currency}"
    return [said, Sheet(pd.DataFrame(shown), title)]


def rules(answer: Answer) -> Blocks:
    table = answer.table
    barred, never = table[~table["allowed"]]["why_not"], table[table["p_never"] > 0]
    panels = {
        "Rules of thumb in use": list(_thumb_rules(answer)),
        "Ways that may not be chosen": [f"{capital(str(way))}: {why}." for way, why in barred.items()],
        "Ways that may never come": [
            f"{capital(str(way))}: {chance_words(row['p_never'])} that {_never_comes(answer.case.way(str(way)), row)}."
            for way, row in never.iterrows()
        ],
    }
    return [Panel(title, lines) for title, lines in panels.items() if lines]


def _thumb_rules(answer: Answer) -> Iterator[str]:
    """What each rule says of the rebuild that is advised, else of the cheapest that may be chosen."""
    rules = [r for r in answer.thumb_rules if answer.table.loc[r.way, "allowed"]]
    if not rules:
        return
    advised, total = sentences.begun(answer), answer.table["total_mean"]
    first = min(rules, key=lambda r: (r.way != advised, float(total[r.way])))
    share = f", {chance_words(first.rebuild_cost / first.price_new)}" if first.price_new > 0 else ""
    yield (
        f"{capital(first.way)}: parts and outside work as planned {answer.money(first.rebuild_cost)}, a new unit "
        f"{answer.money(first.price_new)}{share}; this answer counts hours, days and what may be found as well."
    )
    for r in (r for r in rules if r.way == first.way):
        verdict = "needs the unit's age and expected life"
        if r.limit is not None:
            ours = "agrees" if r.agrees else f"says {'buy' if r.says == 'rebuild' else 'rebuild'}"
            verdict = f"up to {answer.money(r.limit)}, so {r.says}; this answer {ours}"
        yield f"{capital(r.rule)} ({r.source}): {verdict}."


def _never_comes(way: Way, row: pd.Series[Any]) -> str:
    if way.traits.in_service == "rebuilt" and way.bought:
        return "the spare never comes; then there is none"
    if not row["instead"]:
        return "it never comes in time; nothing else is left then but to wait"
    then = f"it never comes; after the wait you take {row['instead']}"
    if row["p_nothing"] < 0.005:  # under 1 in 100
        return then
    chance = chance_words(row["p_nothing"])
    return f"{then} ({chance} that this never comes either: then nothing is bought, nor paid for)"


def prices(answer: Answer) -> Blocks:
    rows, currency = answer.lines, answer.case.terms.currency
    shown = {
        "item": rows["item"], "needed": rows["needed"], "pieces": rows["pieces"],
        "from": rows["supplier"].replace("", "own range"),
        "price": [price(x, of or currency) for x, of in zip(rows["quoted"], rows["currency"], strict=True)],
        "all in": [price(x, currency) for x in rows["cost_all_in"]],
        "read in": rows["source"],
    }  # fmt: skip
    ask = [capital(question) for question in answer.model.buying.questions]
    sheet = Sheet(pd.DataFrame(shown), "Where the prices come from")
    return [*([Panel("Ask before you order", ask)] if ask else []), sheet]


def assumed(answer: Answer) -> Blocks:
    """Every default that was used, those of one source together."""
    by_source: dict[str, list[str]] = {}
    for a in answer.assumed:
        code, _, more = a.name.partition(" ")
        name = f"{MEANING[code]} {more}".strip() if code in MEANING else sentences.plain(a.name)
        value = f"{number(a.now)} (was {number(a.was)})" if isinstance(a, Moved) else sentences.plain(a.value)
        unit = "" if a.unit in ("chance", "low / likely / high", "code", "part") else a.unit
        by_source.setdefault(a.source, []).append(f"{name}: {value} {unit}".strip())
    taken = {"taken as": ["; ".join(values) for values in by_source.values()], "because": list(by_source)}
    sheet = Sheet(pd.DataFrame(taken), f"Assumed, as the case does not say ({whole(len(answer.assumed))})")
    yours = {
        "Your rows in place of assumed ones": _by_file(answer.case.replaced),
        "Assumed rows that you dropped": _by_file(answer.case.dropped, most=3),
        "From the boat's folder": _by_file(answer.case.from_boat),
    }
    return [sheet, *(Panel(title, lines) for title, lines in yours.items() if lines)]


def _by_file(rows: Sequence[str], most: int | None = None) -> list[str]:
    """Rows written as "file: name", a line a file, the first names alone where there are more."""
    by_file: dict[str, list[str]] = {}
    for row in rows:
        file, _, name = row.partition(": ")
        key = name.rpartition(".")[2] if file.endswith(".toml") else name
        by_file.setdefault(file, []).append(sentences.plain(MEANING.get(key, key)))
    for names in by_file.values():
        if most and len(names) > most:
            names[most:] = [f"{whole(len(names) - most)} more"]
    return [f"{file}: {'; '.join(names)}" for file, names in by_file.items()]


def again(answer: Answer) -> Blocks:
    lines = [f'{r.what} ({r.where}; if right: checked = "{r.rule}" under [unit])' for r in answer.look_again]
    return [Panel("Look again", lines or ["No figure of yours looks like a slip."])]


PARTS: Mapping[str, Callable[[Answer], Blocks]] = {
    "bench": bench, "looks": looks, "years": years, "flips": flips, "ranges": ranges, "rules": rules,
    "cautions": cautions, "again": again, "prices": prices, "assumed": assumed,
}  # fmt: skip
"""The parts that may be asked for by name, in the order of the full answer."""


def _from_the_locker(answer: Answer) -> str:
    taken = answer.case.from_stock
    return ", ".join(x.part + (f" ({x.have} of {x.wanted})" if x.have < x.wanted else "") for x in taken)


def page(answer: Answer, today: date | None = None) -> str:
    from repairecon.rebuild_or_buy import charts
    from repairecon.show.plots import Picture
    from repairecon.show.report import about, render

    case = answer.case
    where = about(f"Case {Path(case.folder).name}", today or date.today(), case.unit.figures)
    first, *why = sentences.advice(answer)
    locker = _from_the_locker(answer)
    said = [first, " ".join(why), *sentences.so_far(answer), locker and f"From the locker: {locker}."]

    def picture(draw: Callable[..., Any], height: float, shown: bool = True) -> list[Picture]:
        return [Picture(partial(draw, answer), height)] if shown else []

    over, *table_of_years = years(answer)
    main = [
        ways(answer), *cautions(answer), *picture(charts.ranges, LEAST + EACH_WAY * len(answer.table)), *looks(answer),
        *bench(answer), *picture(charts.tree, TALL, len(answer.nodes) > 1),
        over, *picture(charts.years, LOW, answer.horizon.years.horizon_years > 0),
        *flips(answer), *picture(charts.swings, HIGH, bool(answer.swings)),
    ]  # fmt: skip
    rest = [
        *ranges(answer), *picture(charts.days, HIGH), *table_of_years,
        *picture(charts.spare, LOW, not answer.horizon.spare_lines.empty), *rules(answer), *prices(answer),
        *assumed(answer),
    ]  # fmt: skip
    return render(title(answer), where, list(filter(None, said)), main, rest)


# ---- in a terminal: one screen first, all of it or one part on request ----
MOST_LINES, FEWEST_WAYS = 24, 4
LEAST_SAID = 0.5  # a look that saves less than this [home currency] would be said to save nothing


def first_screen(answer: Answer, width: int = 0) -> str:
    width = width or terminal_width()
    # only one look is the first: where the advice names it, the others are further ones
    look = "Worth a look too:" if any(w.look == answer.advice.what for w in answer.looks) else "Look first:"
    paying = [w for w in answer.looks if w.net >= LEAST_SAID and w.look != answer.advice.what]
    looks = [bench_words.look(answer, w) for w in paying]
    ask, cautions = [capital(q) for q in answer.model.buying.questions[:2]], answer.cautions
    slips = [r.what for r in answer.look_again if r.could_turn]
    do, *why = sentences.advice(answer)
    locker, whose = _from_the_locker(answer), answer.case.unit.figures
    figures = f"figures: {whose}" if whose else ""
    head = shortened(title(answer), width - len(figures) - 2).ljust(width - len(figures)) + figures
    # what it comes to is never cut
    forms = [(9 if why[many - 1].startswith(sentences.SPARE) else 4, _lines(" ".join(why[:many]), width))
             for many in range(len(why), 0, -1)]  # fmt: skip
    blank = Block([(0, [""])])
    blocks = [
        Block([(0, [head.rstrip()])]),
        Block.of("", sentences.so_far(answer), width, 6, 3),
        Block([(0, _lines(do, width))]), Block(forms or [(0, [])]),
        blank,
        Block.of_table(ways(answer).table, width, FEWEST_WAYS, "dearer ways"),
        Block([(5, [shortened(ways(answer).title, width)]), (0, [])]),
        blank,
        Block.of("From the locker:", [f"{locker}."] if locker else [], width, 5, 1),
        Block.of(look, looks, width, 7, 4),
        Block.of("When to stop:", _stops(answer), width, 6, 2),
        Block.of("It turns:", _turns(answer), width, 6, 3),
        Block.of("Guesses:", _guesses(answer), width, 6, 4),
        Block.of("Ask before you order:", ask, width, 5, 2),
        Block.of("Look again:", _counted(slips, len(answer.look_again) - len(slips), "--full") if slips else [],
                 width, 5, 2),
        Block.of("Before you start:", _counted(cautions, len(cautions) - 2, "--part cautions"), width, 5, 1),
        Block([(0, _lines(f"More: --full --part {'|'.join(PARTS)}", width))]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def _lines(text: str, width: int) -> list[str]:
    return wrapped(text, width=width).split("\n")


def _stops(answer: Answer) -> list[str]:
    """The rules of when to stop that the advice does not say, and the most worth spending."""
    if not sentences.strips(answer):
        return []
    here = [s for s in answer.advice.stops if s.action != LEAVE]
    return [s for s in (*bench_words.stop_rule(answer, here), bench_words.repair_limit(answer)) if s]


def _turns(answer: Answer) -> list[str]:
    """What would change the advice, nearest first; over the years the life at which it turns."""
    a, lines = answer.advice, []
    if a.basis == "years" and (life := answer.basis.life_turns(a.way)) is not None:
        ledger = answer.horizon.ledger
        expected = median_life(ledger.clocks(answer.model.ways.index(a.way)), ledger.years)
        side = "under" if life < expected else "over"
        lines.append(f"{capital(a.way)} lasting {side} {tenths(life)} years, {tenths(expected)} expected.")
    turns = sentences.begun(answer) == answer.verdict.best and answer.flips
    return lines + (sentences.flips(answer)[:2] if turns else [])


def _counted(lines: Sequence[str], rest: int, where: str) -> list[str]:
    """The first two lines, and how many more stand elsewhere."""
    return [*lines[:2], *([f"({whole(rest)} more: {where})"] if rest > 0 else [])]


def _guesses(answer: Answer) -> list[str]:
    """Assumed numbers that can turn the advice between their good and bad case; the others counted."""
    many = len(answer.assumed)
    if not many:
        return []
    assumed = {n.name for n in answer.numbers if n.source.startswith((ASSUMED, "default_"))}
    swings = answer.swings if assumed else ()  # dear, and none of them would be said
    turning = [s for s in swings if min(s.lead_low, s.lead_high) < 0 and s.number in assumed]
    said = "; ".join(f"{sentences.plain_number(s.number)} ({measured(s.value_low, s.unit)} to "
                     f"{measured(s.value_high, s.unit)})" for s in turning)  # fmt: skip
    turns = f"{said} can turn it." if said else "No guessed price, hour or day turns it."
    return [turns, f"{whole(many)} figures are assumed (--part assumed)."]


def full(answer: Answer, part: str = "") -> str:
    every = [*advice(answer), *(b for show in PARTS.values() for b in show(answer))] if not part else []
    return text_of(every or PARTS[part](answer))
