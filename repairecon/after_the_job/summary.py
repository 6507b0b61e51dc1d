"""After the job as plain text for a terminal, and as tables of words for a notebook."""

from __future__ import annotations

import pandas as pd

from repairecon.after_the_job import told as after_told
from repairecon.after_the_job.answer import AfterTheJob, Bridge, Step
from repairecon.show.layout import as_text, capital, section, wrapped
from repairecon.show.words import chance_words, hours_words, money, number, price, tenths, whole

MOST_STEPS = 12


def largest_steps(b: Bridge, most: int = MOST_STEPS) -> list[Step]:
    """The steps, largest first, the smallest put together."""
    ranked = sorted(b.steps, key=lambda s: -abs(s.amount))
    if len(ranked) <= most:
        return ranked
    rest = ranked[most - 1 :]
    sums = [sum(getattr(s, c) for s in rest) for c in ("amount", "cash", "own_hours", "days")]
    return [*ranked[: most - 1], Step(f"{whole(len(rest))} small steps", "", *sums)]


def bridge_table(found: AfterTheJob, most: int = MOST_STEPS) -> pd.DataFrame:
    """From estimate to actual in words, largest step first."""
    b, currency = found.bridge, after_told.currency_of(found)
    if b is None:
        return pd.DataFrame()
    rows = {"estimate": _row(b.estimate, currency)}
    for s in largest_steps(b, most):
        step = {"total": s.amount, "cash": s.cash, "own hours": s.own_hours, "days": s.days}
        rows[step_name(s)] = _row(step, currency)
    rows["actual"] = _row(b.actual, currency)
    return pd.DataFrame.from_dict(rows, orient="index")


def step_name(s: Step) -> str:
    """A step with its group."""
    alone = not s.name or s.name.startswith((s.group, "up to"))
    return (s.name or s.group) if alone else f"{s.group}: {s.name}"


def _row(of: dict[str, float], currency: str) -> dict[str, str]:
    return {
        "all in": money(of["total"], currency),
        "cash": money(of["cash"], currency),
        "own hours": hours_words(of["own hours"]),
        "days": tenths(of["days"]),
    }


def ways_table(found: AfterTheJob) -> pd.DataFrame:
    """Each way as reckoned then and as it would be reckoned now."""
    h, currency = found.hindsight, after_told.currency_of(found)
    if h is None:
        return pd.DataFrame()
    rows = {}
    for way in sorted(h.now, key=lambda w: h.now[w]):
        came = money(h.actual, currency) if found.bridge and way == found.bridge.way else ""
        rows[way] = {
            "reckoned then": money(h.then[way], currency),
            "reckoned now": money(h.now[way], currency),
            "came to": came,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def held_table(found: AfterTheJob) -> pd.DataFrame:
    """Whether the ranges held, in words."""
    rows = {}
    for h in found.held:
        rows[h.quantity] = {
            "inside": f"{h.inside} of {h.of}",
            "true share": f"{chance_words(h.low)} to {chance_words(h.high)}",
            "spread": f"{number(h.factor)} times ({number(h.factor_low)} to {number(h.factor_high)})",
            "loss": number(h.loss),
            "says": h.says,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def learned_table(found: AfterTheJob) -> pd.DataFrame:
    """Every figure before and after the log."""
    rows = []
    for s in found.shifts:
        before, after = after_told.figure(s.kind, s.before), after_told.figure(s.kind, s.after)
        low, high = after_told.figure(s.kind, s.low).removesuffix(" times"), after_told.figure(s.kind, s.high)
        rows.append((s.kind, s.name, before, after, f"{low} to {high}", number(s.jobs)))
    return pd.DataFrame(rows, columns=["kind", "figure", "before", "now", "8 in 10 sure", "jobs"]).set_index("kind")


def movements_table(found: AfterTheJob) -> pd.DataFrame:
    """What was bought and what was fitted."""
    currency = after_told.currency_of(found)
    rows = [
        (
            m.on,
            m.movement,
            m.item,
            number(m.quantity),
            price(m.paid, currency) if m.paid is not None and m.movement == "bought" else "",
            "the spares" if m.from_spares else "",
        )
        for m in found.movements
    ]
    return pd.DataFrame(rows, columns=["on", "movement", "item", "pieces", "paid", "from"]).set_index("on")


def summary(found: AfterTheJob) -> str:
    """All of it on one screen: estimate against actual, the choice in hindsight, the ranges, what was learned."""
    b, h, currency = found.bridge, found.hindsight, after_told.currency_of(found)
    head = found.case.unit.name if found.case else found.name
    parts = [wrapped(capital(head) + f"   {after_told.decided(found)}")]
    if b is not None and h is not None:
        parts += [
            "Estimate against actual\n" + wrapped(after_told.bridge(b, currency)),
            as_text(bridge_table(found), "step"),
            wrapped(after_told.not_told(b)),
            section(
                "The choice, then and now",
                [after_told.judged(h), after_told.then(h, currency), after_told.now(h, currency)],
            ),
            as_text(ways_table(found)),
        ]
    lines = after_told.all_held(found)
    parts += [
        section("Do the ranges hold", [*lines, *filter(None, [after_told.chances(found)])]),
        section("What the log teaches", after_told.learned(found)),
    ]
    if found.movements:
        table = movements_table(found)
        parts.append("Into and out of the stores\n" + as_text(table, "on"))
    return "\n\n".join(p for p in parts if p) + "\n"
