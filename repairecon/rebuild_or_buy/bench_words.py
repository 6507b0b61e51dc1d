"""At the bench in sentences: when to stop, what is worth spending, when to order; and what to look at first."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from typing import Any

from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.bench import StopWhen, Worth
from repairecon.rebuild_or_buy.sentences import AFTER, MOST_FINDINGS, plain, step
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE
from repairecon.records import STAGES
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, whole


def bench(answer: Answer) -> Iterator[str]:
    b = answer.bench
    less, first = b.value_of_stripping, "It depends on what you see now, as below."
    if b.now == GO_ON:
        begin = "Go on, and decide as below" if less is None else "Strip it and decide by what you find"
        saved = answer.money(b.cost_commit - b.value)
        first = f"{begin}: {answer.money(b.value)} on average, {saved} less than {b.best_commit} come what may."
    elif b.now == LEAVE and answer.advice.look is not None:
        first = "Not to be opened before the first look: as it stands something else is probably to blame."
    elif b.now in (LEAVE, *answer.table.index):
        more = "" if less is None or b.now == LEAVE else f" Stripping it first costs {answer.money(-less)} more."
        first = f"{'Stop here' if answer.stage else 'Do not begin'}: {step(answer, b.now)}.{more}"
    yield first
    yield from stop_rule(answer, answer.advice.stops)
    met = answer.model.costs.remedied
    for (way, event, outcome), remedies in met.items():
        first, second = [*(r.remedy for r in remedies), "end the rebuild", ""][:2]
        then = f"; if that does not hold, {second}" if len(remedies) > 1 and second != first else ""
        several = f" ({way})" if len({key[0] for key in met}) > 1 else ""
        yield f"{capital(plain(f'{event}={outcome}'))}{several}: {first}{then}."
    yield repair_limit(answer)
    given_up = answer.table["p_given_up"][answer.table["allowed"] & (answer.table["p_given_up"] > 0)]
    for way, p in given_up.head(1).items():
        yield f"{capital(str(way))}: {chance_words(p)} that it ends in a bought unit after all."
    for way, b in answer.benches.items() if len(answer.benches) > 1 else ():
        most = f"at most {answer.money(b.repair_limit)} is worth spending on it"
        yield f"Begun as {way}: {answer.money(b.value)} on average; {most}."
    yield order_time(answer)
    if averaged := sorted(answer.model.tree.averaged):
        yield (
            "Counted in every cost, but not looked at by this rule, as there are too many to lay out: "
            f"{', '.join(averaged)}. Once one is found, keep it in the case, and the rule counts it."
        )


def repair_limit(answer: Answer) -> str:
    b, most, free = answer.bench, answer.money(answer.bench.repair_limit), answer.money(answer.bench.repair_limit_cash)
    said = f"The most worth spending on it from here is {most} all in, or {free} if your hours cost nothing"
    return b.limit_way and f"{said}: that is what {b.limit_way} comes to."


def stop_rule(answer: Answer, stops: Sequence[StopWhen]) -> list[str]:
    """For each stage the findings on which to stop, and what to do then."""
    places: dict[tuple[int, str], list[StopWhen]] = {}
    for s in stops:
        places.setdefault((s.point, s.action), []).append(s)
    lines = []
    for (point, action), some in places.items():
        when, often = AFTER["now" if point < 0 else STAGES[point]], chance_words(sum(s.chance for s in some))
        said = [" with ".join(o if action == LEAVE else plain(f"{event}={o}") for event, o in s.findings) for s in some]
        rarer = len(said) - MOST_FINDINGS
        more = "one rarer finding" if rarer == 1 else f"one of {whole(rarer)} rarer findings"
        found = "; or ".join([*said[:MOST_FINDINGS], *([more] if rarer > 0 else [])])
        lines.append(f"{capital(when)}: {step(answer, action)}{found and f' if you find {found}'} ({often}).")
    return lines


def order_time(answer: Answer) -> str:
    rows = answer.order_times.to_dict("records")
    if not rows:
        return ""

    def said(row: dict[Hashable, Any]) -> str:
        vain = f", {chance_words(row['p_in_vain'])} bought for nothing" if row["p_in_vain"] > 0 else ""
        return f"{answer.money(row['expected_total'])}, {days_words(row['expected_days'])}{vain}"

    best = min(rows, key=lambda row: float(row["expected_total"]))
    when = {row["order"]: AFTER[row["order"].removeprefix("after ")] for row in rows}
    others = "; ".join(f"{when[row['order']]} {said(row)}" for row in rows if row is not best)
    instead = f" Instead: {others}." if others else ""
    return f"Order the parts {when[best['order']]}: {said(best)} on average.{instead}"


def looks(answer: Answer) -> list[str]:
    first = answer.advice.look  # its worth is on the basis of the advice, that of the others by this job alone
    at_hand = [first if first is not None and w.look == first.look else w for w in answer.looks]
    lines = [look(answer, w) for w in at_hand if w.net > 0 or w is first]
    poor = (w for w in at_hand if w.net <= 0 and w is not first)
    said = [f"{w.look} (costs {answer.money(w.cost)}, saves {answer.money(w.evsi)})" for w in poor]
    lines += [f"Not worth their cost here: {'; '.join(said)}."] if said else []
    return lines or ["No look is known here: looks.csv names them."]


def look(answer: Answer, worth: Worth) -> str:
    why = "it may well be something else; " if worth.net <= 0 else ""
    return f"{capital(worth.look)}: {why}costs {answer.money(worth.cost)}, saves {answer.money(worth.evsi)} on average."
