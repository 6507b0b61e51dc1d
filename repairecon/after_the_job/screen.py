"""What happened after the job: in sentences and tables that an owner can act on, on a screen, as blocks and page."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from math import inf, isfinite
from typing import TYPE_CHECKING

import pandas as pd

from repairecon.after_the_job.bridge import Bridge, Step
from repairecon.after_the_job.job import AfterTheJob, Hindsight
from repairecon.after_the_job.learning import Shift
from repairecon.after_the_job.log import Held
from repairecon.rebuild_or_buy.sentences import named, plain
from repairecon.show.layout import Block, as_text, capital, fitted, shortened, terminal_width, wrapped
from repairecon.show.sheet import Panel, Sheet, text_of
from repairecon.show.words import chance_words, days_words, hours_words, money, number, price, share, tenths, whole

if TYPE_CHECKING:
    from repairecon.show.plots import Picture

MOST_LINES, STEPS = 24, 7
"""Lines of the first screen; steps from estimate to actual on it."""

MOST, MOST_STEPS = 3, 12
"""Reasons that are named in a sentence, and steps that have a line in the table."""

LEAST_STATED, LEAST_IN_GROUP = 10, 4
"""Stated chances from which on they are judged, in all and in a group; choices of ours."""

NOTHING_YET = "Nothing filled in yet: write into actual.csv what was found, paid and worked, as far as you know it."

GROUPS = {
    "found inside": "what was found inside",
    "price": "prices",
    "quantity": "pieces more or fewer",
    "hours": "own hours",
    "paid for work": "what was paid for work",
    "carriage": "carriage and handling",
    "refund": "what the old unit brought back",
    "unforeseen": "what the case did not foresee",
    "days": "days out of service",
    "whether it came": "whether what was ordered came",
    "given up": "what was bought when the rebuild was given up",
    "another way": "another way taken",
    "not line by line": "what was written as a total only",
    "this version": "this version expects something else of the same case",
}
SUPPLIER_KINDS = {"days, supplier": "waits", "price, supplier": "prices"}
NO_CHANGE = {
    "hold": ("These ranges hold", "leave them as they are"),
    "cannot tell": ("Too few to tell whether these ranges hold", "no advice yet"),
}


def signed(amount: float, currency: str) -> str:
    return f"{money(abs(amount), currency)} {'more' if amount > 0 else 'less'}"


def bridge(b: Bridge, currency: str) -> str:
    """What it came to and where the difference came from."""
    came, was = money(b.actual["total"], currency), money(b.estimate["total"], currency)
    if not b.steps:
        return f"All that was written down is as expected: {was} all in for {b.way}."
    side = "inside" if b.p10 <= b.actual["total"] <= b.p90 else "outside"
    ends = f"{money(b.p10, currency)} to {money(b.p90, currency)}"
    more = f"{signed(b.difference, currency)} than the {was} expected" if abs(b.difference) >= 0.5 else "as expected"
    text = f"{capital(b.way)} came to {came} all in, {more}; {side} the range that eight jobs in ten keep to ({ends}). "
    largest = [f"{GROUPS[g]} ({signed(x, currency)})" for g, x in b.groups.items() if abs(x) >= 1.0][:MOST]
    return f"{text}{f'The difference comes from {named(largest)}' if largest else 'No single thing made a difference'}."


def choice(h: Hindsight, currency: str) -> list[str]:
    """Decision and luck in one line; the choice by what was known, and, kept apart, by what is known now."""
    judged = f"{'Good' if h.good_decision else 'Poor'} decision, {h.luck} luck."
    then = f"When you chose, {h.best_then} was {money(h.gap_then, currency)} cheaper on average"
    if h.chosen == h.best_then:
        then = f"When you chose, {h.chosen} was the cheapest on average: the choice was right."
    elif h.good_decision:
        then += ", too near to call: the choice was sound."
    else:
        then += ": the choice was a costly one, however it fell."
    if h.gap_now <= 0:
        return [judged, then, f"With all that is known now, no other way would have come to less than {h.chosen} did."]
    total, gap = money(h.now[h.best_now], currency), money(h.gap_now, currency)
    now = f"With all that is known now, {h.best_now} would have come to about {total}, {gap} less"
    return [judged, then, f"{now}: that is how it fell, not a mistake." if h.good_decision else f"{now}."]


def held(h: Held) -> str:
    """Whether a quantity's ranges held, and what to do; no advice where the log cannot tell."""
    many = f"{h.inside} of {h.of} inside the range stated"
    text = f"{capital(h.quantity)}: {many}, where about {whole(0.8 * h.of)} belong"
    if h.says in NO_CHANGE:
        return f"{text}. {': '.join(NO_CHANGE[h.says])}."
    if not isfinite(h.factor):
        return f"{text}: too narrow. Give both ends of the next ones room."
    low, high = h.factor_low, h.factor_high
    ends = f"{number(low)} to {number(high)}" if isfinite(high) else f"{number(low)} or more"
    times_wide = f"{number(h.factor)} times as wide would have held eight in ten ({ends} times)"
    return f"{text}: {h.says}. {capital(times_wide)}; make the next ones so."


def all_held(found: AfterTheJob) -> list[str]:
    """Every quantity's ranges: first those to change, then a line of those that hold and one of the undecided."""
    lines = [held(h) for h in found.held if h.says not in NO_CHANGE]
    for says, (what, todo) in NO_CHANGE.items():
        counts = ", ".join(f"{h.quantity} {h.inside} of {h.of}" for h in found.held if h.says == says)
        lines += [f"{what} (inside the range stated: {counts}): {todo}."] if counts else []
    return lines


def chances(found: AfterTheJob) -> str:
    c = found.calibration
    if c is None:
        return ""
    if c.many < LEAST_STATED:
        return f"Chances: {c.many} stated, too few to tell whether they were honest."
    # what came contradicts these groups; one of a few chances contradicts nothing
    off = [g for g in c.groups if g.many >= LEAST_IN_GROUP and not g.low <= g.stated <= g.high]
    verb = "better than" if c.brier < c.brier_plain else "no better than"
    text = f"Chances: {c.many} stated; they were {verb} one and the same chance for everything. "
    if not off:
        return text + "What came agrees with what was stated."
    worst = max(off, key=lambda g: g.many * abs(g.stated - g.happened))
    side, came = "more" if worst.happened > worst.stated else "less", chance_words(worst.happened)
    return text + f"Things given about {chance_words(worst.stated)} came {side} often: {came} of {worst.many}."


def times(x: float) -> str:
    """So many times the guess."""
    return "as guessed" if number(x) == "1" else f"{number(x)} times"


def figure(kind: str, x: float) -> str:
    """A learned figure in the words of its kind."""
    if kind == "price":
        return share(x) if abs(x) >= 0.1 else f"{number(100.0 * x)} %"
    if kind in SUPPLIER_KINDS or kind == "median life":
        return f"{number(x)} {'years' if kind == 'median life' else 'times'}"
    return chance_words(x) if kind == "chance" else times(x)


def shift(s: Shift) -> str:
    low, high = figure(s.kind, s.low).removesuffix(" times"), figure(s.kind, s.high)
    ends = f"{low} to {high}" if isfinite(s.high) else "open"
    now = figure(s.kind, s.after)
    if s.kind in SUPPLIER_KINDS:
        return f"{s.name}: {SUPPLIER_KINDS[s.kind]} {now} what was promised ({ends}), from {number(s.jobs)} orders."
    if s.kind == "hours":
        return f"Own hours, {s.name}: {now} what you guess ({ends})."
    lead = s.name if s.kind == "chance" else f"{'prices' if s.kind == 'price' else s.kind}, {s.name}"
    return f"{capital(plain(lead))}: {figure(s.kind, s.before)} before, now {now} ({ends})."


def most_moved(found: AfterTheJob, most: int = 3) -> list[Shift]:
    """Of each kind the figures that moved most, in steps of their own spread before; one outcome of each event."""
    kinds: dict[str, dict[str, Shift]] = {}

    def moved(s: Shift) -> float:
        return abs(s.after - s.before) / ((s.before_high - s.before_low) or inf)

    for s in sorted(found.shifts, key=moved, reverse=True):
        event, _, rest = s.name.partition("=")
        whose = event + rest.partition(" given ")[2] if s.kind == "chance" else s.name
        kinds.setdefault(s.kind, {}).setdefault(whose, s)
    return [s for some in kinds.values() for s in list(some.values())[:most]]


def learned(found: AfterTheJob) -> list[str]:
    """What moved, and how to use it."""
    jobs = found.learned.jobs
    lines = [shift(s) for s in most_moved(found)]
    other = f"s; one on another kind of unit counted for {number(found.learned.strength)} of a job" if jobs > 1 else ""
    use = "if its case.toml says [learned] use = true and the learned.toml that --learn writes lies beside it"
    return [*lines, f"From {jobs} job{other}. The next case uses it {use}."] if lines else []


def decided(found: AfterTheJob) -> str:
    d, b = found.decision, found.bridge
    if d is None:
        return f"{len(found.log.jobs)} jobs in the log."
    if b is None:
        return f"Decided on {d.decided_on}: {d.way}. {NOTHING_YET}"
    run = f" First run: {found.first_run}." if found.first_run else ""
    took = [f"{hours_words(b.actual['own hours'])} own hours"] if "own hours" in b.whole else []
    took += [f"{days_words(b.actual['days'])} out of service"] if "days" in b.whole else []
    spent = f" It took {' and '.join(took)}." if took else ""
    other = f" In the end: {b.way}." if b.way != d.way else ""
    return f"Decided on {d.decided_on}: {d.way}.{other}{spent}{run}"


def largest_steps(b: Bridge, most: int = MOST_STEPS) -> list[Step]:
    """The steps, largest first, the smallest put together."""
    ranked = sorted(b.steps, key=lambda s: -abs(s.amount))
    if len(ranked) <= most:
        return ranked
    rest = ranked[most - 1 :]
    sums = {c: sum(getattr(s, c) for s in rest) for c in ("amount", "cash", "own_hours", "days")}
    return [*ranked[: most - 1], Step(group=f"{whole(len(rest))} small steps", name="", **sums)]


def bridge_table(found: AfterTheJob, most: int) -> pd.DataFrame:
    """From estimate to actual in words, largest step first."""
    b, currency = found.bridge, found.currency
    if b is None:
        return pd.DataFrame()
    first, last = ({"amount": of["total"], "cash": of["cash"], "own_hours": of["own hours"], "days": of["days"]}
                   for of in (b.estimate, b.actual))  # fmt: skip
    steps = ((step_name(s), vars(s)) for s in largest_steps(b, most))
    return pd.DataFrame([
        {"step": step, "all in": money(of["amount"], currency), "cash": money(of["cash"], currency),
         "own hours": hours_words(of["own_hours"]), "days": tenths(of["days"])}
        for step, of in (("estimate", first), *steps, ("actual", last))
    ])  # fmt: skip


def step_name(s: Step) -> str:
    alone = not s.name or s.name.startswith((s.group, "up to"))
    return plain((s.name or s.group) if alone else f"{s.group}: {s.name}")


def ways_table(found: AfterTheJob, h: Hindsight) -> pd.DataFrame:
    """Each way as expected then and as it would be expected now."""
    currency = found.currency
    return pd.DataFrame([
        {"way": way, "expected then": money(h.then[way], currency), "expected now": money(total, currency),
         "came to": money(h.actual, currency) if found.bridge and way == found.bridge.way else ""}
        for way, total in sorted(h.now.items(), key=lambda item: item[1])
    ])  # fmt: skip


def held_table(found: AfterTheJob) -> pd.DataFrame:
    return pd.DataFrame([
        {"ranges of": h.quantity, "inside": f"{h.inside} of {h.of}",
         "true share": f"{chance_words(h.low)} to {chance_words(h.high)}",
         "spread": f"{number(h.factor)} times ({number(h.factor_low)} to {number(h.factor_high)})",
         "loss": number(h.loss), "says": h.says}
        for h in found.held
    ])  # fmt: skip


def learned_table(found: AfterTheJob) -> pd.DataFrame:
    rows = [
        (s.kind, plain(s.name), figure(s.kind, s.before), figure(s.kind, s.after),
         f"{figure(s.kind, s.low).removesuffix(' times')} to {figure(s.kind, s.high)}", number(s.jobs))
        for s in found.shifts
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["kind", "figure", "before", "now", "8 in 10 sure", "jobs"])


def movements_table(found: AfterTheJob) -> pd.DataFrame:
    """What was bought and what was fitted."""
    currency = found.currency
    rows = [
        (m.on, m.movement, m.item, number(m.quantity),
         price(m.paid, currency) if m.paid is not None and m.movement == "bought" else "",
         "the spares" if m.from_spares else "")
        for m in found.movements
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["on", "movement", "item", "pieces", "paid", "from"])


def verdict_lines(found: AfterTheJob) -> list[str]:
    """What an owner reads first: was the choice right, what did it come to, what would have come to less."""
    b, h = found.bridge, found.hindsight
    if b is None or h is None:
        return [NOTHING_YET if found.nothing_written else "No closed job: only the log is looked at."]
    judged, *why = choice(h, found.currency)
    some = ", ".join(b.not_written[:6]) + (", ..." if len(b.not_written) > 6 else "")
    taken = [f"Not written down, so taken as expected: {some}."] if some else []
    return [judged, bridge(b, found.currency), *why, *taken]


# ---- screen, blocks and page -----------------------------------------------------------------------
def _title(found: AfterTheJob) -> tuple[str, str]:
    return (capital(found.case.unit.name), found.case.unit.figures) if found.case else (capital(found.name), "")


def first_screen(found: AfterTheJob) -> str:
    """Whether the choice was right and what it came to, the largest steps, the ranges, what is learned."""
    width, (title, figures) = terminal_width(), _title(found)
    figures = figures and f"figures: {figures}"
    head = shortened(title, width - len(figures) - 2)
    first, *why = verdict_lines(found)
    table = bridge_table(found, STEPS)
    steps = as_text(table, fold=True, width=width).split("\n") if len(table) else []
    blank = Block([(0, [""] if steps else [])])
    # which ranges to change and which to leave, by name alone
    words, says = {"hold": "right", "cannot tell": "too few jobs to tell"}, dict.fromkeys(h.says for h in found.held)
    by = [f"{words.get(x, x)}: {', '.join(h.quantity for h in found.held if h.says == x)}" for x in says]
    ranges = [f"{capital('; '.join(by))}."] if by else []
    blocks = [
        Block([(0, [f"{head}{figures.rjust(width - len(head))}".rstrip()])]),
        Block([(0, wrapped(first, width=width).split("\n"))]),
        Block.of("", why, width, 3, 1),
        blank, Block([(2, steps[:1] + steps[2:]), (0, steps[-1:])]), blank,
        Block.of("Your ranges:", [*ranges, *filter(None, [chances(found)])], width, 5, 3),
        Block.of("The log teaches:", learned(found), width, 6, 3),
        Block.of("", [decided(found)] if not found.nothing_written else [], width, 4, 2),
        Block([(0, ["More: --full"])]),
    ]  # fmt: skip
    return "\n".join(fitted(blocks, MOST_LINES)) + "\n"


def verdict(found: AfterTheJob) -> Panel:
    """Whether the choice was right, what it came to and took."""
    first, *why = verdict_lines(found)
    said = [first, " ".join(why), "" if found.nothing_written else decided(found)]
    return Panel(f"After the job: {_title(found)[0]}", [s for s in said if s], listed=False)


def full(found: AfterTheJob) -> str:
    return text_of([verdict(found), *main(found, pictures=False), *rest(found)])


def main(found: AfterTheJob, *, pictures: bool = True) -> Iterator[Panel | Sheet | Picture]:
    """What an owner reads after a job; without pictures for a terminal."""
    drawn: list[tuple[str, Picture]] = []
    if pictures:
        from repairecon.after_the_job import charts

        drawn = list(charts.pictures(found))
    yield from (picture for part, picture in drawn if part == "bridge")
    if found.bridge is not None:
        every = bridge_table(found, len(found.bridge.steps))
        yield Sheet(every, "Every step from the estimate to what it came to")
    if found.hindsight is not None:
        yield Sheet(ways_table(found, found.hindsight), f"The ways, then and now, in {found.currency} all in")
    yield Panel("Do the ranges hold", [*all_held(found), *filter(None, [chances(found)])])
    yield from (picture for part, picture in drawn if part == "log")
    yield Panel("What the log teaches", learned(found))
    yield from (picture for part, picture in drawn if part == "learned")


def rest(found: AfterTheJob) -> Iterator[Panel | Sheet]:
    """What it rests on: the ranges in figures, every figure learned, what was bought and fitted."""
    tables = {"The ranges in figures": held_table, "Every figure before and after the log": learned_table,
              "Into and out of the stores": movements_table}  # fmt: skip
    yield from (Sheet(table, name) for name, make in tables.items() if len(table := make(found)))


def page(found: AfterTheJob) -> str:
    from repairecon.show.report import about, render

    panel, where = verdict(found), about(f"Job {found.name}", date.today(), _title(found)[1])
    return render(panel.title, where, panel.lines, main(found), rest(found))
