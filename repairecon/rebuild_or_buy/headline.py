"""The advice in sentences, most important first: what to do, what it comes to, and both sides where parts disagree."""

from __future__ import annotations

from collections.abc import Iterator

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.advice import WORTH_HAVING
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.sentences import named, step
from repairecon.rebuild_or_buy.stages import LEAVE
from repairecon.rebuild_or_buy.tree import STAGE
from repairecon.records.case import NO_WAY
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, hours_words, number, tenths, whole

SOONER_DAYS, SOONER_SHARE, MORE_LIKELY = 2.0, 0.2, 0.05
"""A way is named as quicker if it saves so many days and such a share of them; as likelier in time by so much."""
LEAST_GAP = 0.5
"""A lead that rounds to nothing is none [home money]."""
SPARE = "To end with a spare aboard as well"


def advice(answer: Answer) -> list[str]:
    """The sentences of the advice; the first two say what to do and what it comes to."""
    order = (sooner, tie) if strips(answer) else (tie, sooner)
    said = (do, worth, safety, back_by, longer, *order)
    return [sentence for sentence in (*(say(answer) for say in said), *_besides(answer)) if sentence]


def do(answer: Answer) -> str:
    """What to do now: strip, then go on or turn to something else, how often each; or the way to take, of a makeshift
    for how long, at what risk, and what then."""
    a = answer.advice
    if a.do == "leave":
        return f"Leave this unit alone and look elsewhere first: {'; '.join(a.because)}."
    way = answer.case.way(a.way)
    act = step(answer, a.way)
    if strips(answer):
        on = chance_words(1.0 - sum(s.chance for s in a.stops if s.action != LEAVE))
        instead = " or ".join(step(answer, action) for action in _stops(answer))
        begin = "strip it, then" if answer.model.done < STAGE["strip"] else "go on, and"
        act = f"{begin} decide by what you find: {step(answer, begun(answer))} ({on}), else {instead}"
    elif way.traits.in_service == "old" and way.until_days is not None:
        risk = f" ({chance_words(way.p_fails)} that it fails before)" if way.p_fails > 0 else ""
        then = {"": "the lasting repair", NO_WAY: "nothing more if it holds"}.get(way.then, way.then)
        act += f" for about {days_words(mean_of(way.until_days))}{risk}, then {then}"
    if a.look is None:
        return f"{capital(act)}."
    price = f"costs {answer.money(a.look.cost)}, saves {answer.money(a.look.evsi)} on average"
    if a.look.evsi <= WORTH_HAVING * abs(a.total):
        price = "it may well be something else"  # asked first for that, not for the money
    return f"First: {a.what} ({price}). If that changes nothing, {act}."


def strips(answer: Answer) -> bool:
    """Whether the advice is to open the unit and decide by what is found."""
    a = answer.advice
    if a.do == "strip":
        return True
    saves = a.total - a.value > WORTH_HAVING * abs(a.total)
    rebuilds = answer.case.way(a.way).kind == "rebuild"
    return a.do in ("look", "take") and bool(_stops(answer)) and (rebuilds or saves)


def _stops(answer: Answer) -> list[str]:
    """What may be turned to once the unit is open, by how often; looking elsewhere apart."""
    often: dict[str, float] = {}
    for s in answer.advice.stops:
        if s.action != LEAVE:
            often[s.action] = often.get(s.action, 0.0) + s.chance
    return sorted(often, key=lambda action: -often[action])


def begun(answer: Answer) -> str:
    """The way that the advice begins: where it is to strip, a rebuild here, though another may be taken unopened."""
    way, table = answer.advice.way, answer.table
    rebuilds = [w.way for w in answer.case.ways if w.kind == "rebuild" and table.loc[w.way, "allowed"]]
    if way in rebuilds or not strips(answer):
        return way
    return min(rebuilds, key=lambda w: float(table.loc[w, "total_mean"]))


def worth(answer: Answer) -> str:
    """What the advice comes to, against what, and on which basis."""
    a = answer.advice
    if a.do == "leave":
        return ""
    row = answer.table.loc[a.way]
    rebuilds, opened = answer.case.way(a.way).kind == "rebuild", strips(answer)
    against, other = (a.against, a.total + a.gap) if rebuilds or not opened else (a.way, a.total)
    total = a.value if opened else a.total
    lead = "" if a.against else ": the only way that may be chosen"
    if against and other - total >= LEAST_GAP:
        lead = f", {answer.money(other - total)} less than {against}{' at once' if opened else ''}"
    if a.basis == "years":
        today = f"costs {answer.money(row['total_mean'])} and {days_words(row['days_mean'])}"
        what, today = ("that", answer.money(answer.bench.value)) if opened else (a.way, today)
        return (
            f"Over the {number(a.years)} years you keep her, {what} comes to {answer.money(total)} in today's "
            f"money{lead}; this job alone {today}."
        )
    cash, hours = answer.money(row["cash_mean"]), hours_words(row["own_hours_mean"])
    out = f" ({cash} cash, {hours} own hours, {days_words(row['days_mean'])} out of use)"
    what, out = ("That", "") if opened else (capital(a.way), out)
    return f"{what} comes to {answer.money(total)} all in on average{out}{lead}."


def tie(answer: Answer) -> str:
    a = answer.advice
    if a.ties:
        return f"{capital(named(a.ties))} would cost the same; {a.way} is the simpler or the quicker."
    if not a.near_tie or not a.against:
        return ""
    if strips(answer):
        return f"Chosen for good now, {a.way} and {a.against} would be a near tie."
    if any("decided by the years" in reason for reason in a.because):
        return f"That is a near tie with {a.against}; over the years this is the better one."
    return f"That is a near tie with {a.against}: either will do, so take the one that is simpler or sooner for you."


def longer(answer: Answer) -> str:
    """Today against the years, in one sentence."""
    a = answer.advice
    if a.basis == "years" and a.best_this_job != a.way:
        today = answer.table["total_mean"]
        now = answer.money(today[a.way] - today[a.best_this_job])
        later = answer.money(a.years_gap)
        return f"{capital(a.best_this_job)} is {now} cheaper for this job alone but {later} dearer over those years."
    if a.basis == "this job" and a.do != "leave" and a.beyond_years is not None and a.beyond_way:
        known = all(answer.basis.life_known(way) for way in (a.way, a.beyond_way))
        turns = [] if a.life_turns is None else [f"it turns at a life of {tenths(a.life_turns)} years for {a.way}"]
        reasons = [*([] if known else ["by assumed lives"]), *turns]
        why = f" ({'; '.join(reasons)})" if reasons else ""
        return f"Kept for more than about {whole(a.beyond_years)} years, {a.beyond_way} comes cheaper{why}."
    return ""


def sooner(answer: Answer) -> str:
    """Money against days and against the bad case in one sentence, with the price of a day at which it turns."""
    a, table = answer.advice, answer.table
    if a.do == "leave":
        return ""
    fast, mild, way = answer.verdict.fastest, answer.verdict.steadiest, begun(answer)
    saved = table.loc[way, "days_mean"] - table.loc[fast, "days_mean"]
    quicker = saved >= max(SOONER_DAYS, SOONER_SHARE * table.loc[way, "days_mean"])
    said = [f"{fast} is back about {days_words(saved)} sooner"] if quicker else []
    if mild != way:
        bad, better = (answer.money(table.loc[w, "total_p90"], table.loc[w, "total_p90_se"]) for w in (way, mild))
        whose = "its bad case" if quicker and mild == fast else f"the bad case of {mild}"
        said.append(f"{whose} is {better} against {bad}")
    turns = (
        "" if a.day_price_turns is None or way != a.way else f"; it turns from {answer.money(a.day_price_turns)} a day"
    )
    if not (answer.case.terms.lost_day_stated and answer.case.terms.cost_lost_day.high > 0):
        said.append(f"waiting is not priced here{turns}")
    return f"{capital('; '.join(said))}." if said else ""


def _besides(answer: Answer) -> Iterator[str]:
    """What changes for an owner with limits, a price of the hour or a spare in mind; when a makeshift must not be."""
    a, terms, table = answer.advice, answer.case.terms, answer.table
    mine = [] if terms.risk_tolerance is None else [f"risk tolerance {answer.money(terms.risk_tolerance)}"]
    if terms.cap_cost is not None:
        mine.append(f"over {answer.money(terms.cap_cost)} at most {chance_words(terms.cap_chance)}")
    if mine and not answer.risk.best:
        yield f"No way that may be chosen keeps to your limits ({', '.join(mine)})."
    elif mine and answer.risk.changes:
        yield f"With your limits ({', '.join(mine)}) the choice is {answer.risk.best} instead."
    if not (terms.own_hour_stated or answer.cost_own_hour > 0):
        turns = a.hour_price_turns
        at = "" if turns is None else f"it turns if an hour is worth {answer.money(turns)} to you"
        yield f"Your own hours are not priced; {at or 'no worth of an hour changes this'}."
    way = answer.case.way(a.way)
    bounds = (("not when", way.not_when), ("only until", way.allowed_until))
    if said := " and ".join(f"{lead} {bound}" for lead, bound in bounds if bound):
        yield f"{capital(said)}."
    # a spare, where the years do not already say what it is worth
    pairs = table[table["allowed"] & (table["p_spare"] > 0)]
    if a.basis != "years" and a.do != "leave" and len(pairs) and not table.loc[a.way, "p_spare"] > 0:
        row = pairs.loc[pairs["total_mean"].idxmin()]
        more = answer.money(row["total_mean"] - table.loc[a.way, "total_mean"])
        yield f"{SPARE}: {row.name}, {more} more ({chance_words(row['p_spare'])} that there is one)."


def back_by(answer: Answer) -> str:
    """The chance of being back by the date that is wanted, of the advice and of the likeliest way."""
    a, table = answer.advice, answer.table
    if a.back_by is None:
        return ""
    line = f"Back {wanted(answer)}: {chance_words(a.back_by)}"
    best = table["back_by"][table["allowed"]].idxmax()
    if table.loc[best, "back_by"] - a.back_by >= MORE_LIKELY:
        line += f" with {a.way}, {chance_words(table.loc[best, 'back_by'])} with {best}"
    barred = table.index[~table["allowed"] & (table["back_by"] > table.loc[best, "back_by"] + MORE_LIKELY)]
    if len(barred):
        line += f"; {named(barred)} would be sooner, but no date goes before safety"
    return f"{line}."


def wanted(answer: Answer) -> str:
    """The date or the days within which the boat is needed, in words."""
    needed = answer.case.needed
    within = "" if needed is None else f"in {days_words(needed.within_days or 0.0)}"
    return f"by {needed.by}" if needed is not None and needed.by else within


def safety(answer: Answer) -> str:
    """Ways that the safety screen keeps out, and how a written waiver lifts it."""
    out = answer.table[~answer.table["allowed"] & answer.table["why_not"].str.contains("price alone")]
    return "" if out.empty else (
        f"Not to be chosen on price alone ({', '.join(answer.case.unit.safety)}): {named(out.index)}; leave the "
        "rebuild to a specialist, or write a [[waiver]] with your reason into case.toml."
    )  # fmt: skip
