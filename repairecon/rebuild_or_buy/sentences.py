"""The answer in sentences: the advice, most important first, with both sides where parts disagree; where it turns."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from repairecon.buying.inputs import mean_of
from repairecon.kinds.case_rows import SAYS_ITSELF
from repairecon.rebuild_or_buy.advice import DAY_IN_HOURS, WORTH_HAVING
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.sensitivity import Flip
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE
from repairecon.rebuild_or_buy.tree import STAGE
from repairecon.records import NO_WAY
from repairecon.show.layout import capital
from repairecon.show.words import chance_words, days_words, hours_words, measured, number, tenths, whole

SOONER_DAYS, SOONER_SHARE, MORE_LIKELY, LEAST_GAP = 2.0, 0.2, 0.05, 0.5
"""A way is named as quicker if it saves so many days and such a share of them; as likelier in time by so much; a lead
that rounds to nothing is none [home money]."""
SPARE = "To end with a spare aboard as well"
LEAST_HOURS, LEAST_DAYS = 0.25, 0.5  # less than these is not said of a way that takes more
MOST_FINDINGS, MOST_SAID = 4, 6  # findings and numbers said one by one
AFTER = {
    "outside": "after a look from outside", "removal": "once it is off", "strip": "once it is stripped",
    "measure": "once it is measured", "reassembly": "once it is together again", "first run": "after the first run",
    "later": "later", "now": "now",
}  # fmt: skip


def named(names: Iterable[object]) -> str:
    *first, last = map(str, names)
    return f"{', '.join(first)} and {last}" if first else last


DOING = {
    "new": "buy {}", "pattern": "buy {}", "second-hand": "buy {}", "carry on": "carry on as it is ({})",
    "temporary": "make do for now ({})", "without": "do without ({})", "own spare": "fit your spare ({})",
}  # fmt: skip
DONE = {"send away": "send it away", "exchange": "take the exchange unit", LEAVE: "look elsewhere"}


def step(answer: Answer, way: str) -> str:
    """A way as something to do: "buy new from the maker", "send it away"; names that say it already stay."""
    if way.startswith(over := f"{GO_ON} as "):
        return f"go over to {way.removeprefix(over)}"
    if way in DONE or way.split()[0] in ("rebuild", "buy", "send", "fit", "carry", "repair", "do"):
        return DONE.get(way, way)
    kind = answer.case.way(way).kind if way in answer.table.index else ""
    return DOING.get(kind, "take {}").format(way)


def plain(text: str) -> str:
    """A name of the files as words: ``shaft=grooved given neglect=salt`` is "shaft grooved (neglect salt)"."""
    words = re.sub(r"\s*=\s*", " ", SAYS_ITSELF.sub("", text.replace("_", " ")))
    words = re.sub(r"\bwhat (.+) brings\b", r"if \1", words)
    return re.sub(r" given (.+)$", r" (\1)", words)


def plain_number(name: str) -> str:
    what, _, where = name.partition(", ")
    said = f"{what} if {where.partition(' given ')[0]}" if "=" in where else name
    return plain(said).removeprefix("the ")


# ---- the advice ----
def advice(answer: Answer) -> list[str]:
    """The sentences of the advice; the first two say what to do and what it comes to."""
    order = (sooner, tie) if strips(answer) else (tie, sooner)
    said = (do, worth, safety, back_by, longer, *order)
    return [sentence for sentence in (*(say(answer) for say in said), *_besides(answer)) if sentence]


def do(answer: Answer) -> str:
    """What to do now: strip and decide, how often each; or the way to take, a makeshift for how long, at what risk."""
    a = answer.advice
    if a.do == "leave":
        return f"Leave this unit alone and look elsewhere first: {'; '.join(a.because)}{_elsewhere(answer)}."
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


def _elsewhere(answer: Answer) -> str:
    """What else is to blame, the likeliest first."""
    tree, rows = answer.model.tree, answer.case.branches
    chances = {
        b.outcome: float(tree.chance[on].sum()) for b, on in zip(rows, tree.holds, strict=True) if b.not_this_unit
    }
    likely = sorted(chances, key=lambda outcome: -chances[outcome])[:MOST_FINDINGS]
    named_ = [f"{plain(outcome)} ({chance_words(chances[outcome])})" for outcome in likely if chances[outcome] > 0]
    return f"; more likely it is {' or '.join(named_)}" if named_ else ""


def strips(answer: Answer) -> bool:
    """Whether the advice is to open the unit and decide by what is found."""
    a = answer.advice
    saves, rebuilds = a.total - a.value > WORTH_HAVING * abs(a.total), answer.case.way(a.way).kind == "rebuild"
    return a.do == "strip" or (a.do in ("look", "take") and bool(_stops(answer)) and (rebuilds or saves))


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
    a, row = answer.advice, answer.table.loc[answer.advice.way]
    if a.do == "leave":
        return ""
    rebuilds, opened = answer.case.way(a.way).kind == "rebuild", strips(answer)
    against, other = (a.against, a.total + a.gap) if rebuilds or not opened else (a.way, a.total)
    total = a.value if opened else a.total
    lead = "" if a.against else ": the only way that may be chosen"
    if against and other - total >= LEAST_GAP:
        lead = f", {answer.money(other - total)} less than {against}{' at once' if opened else ''}"
    if a.basis == "years":
        what, today = a.way, f"costs {answer.money(row['total_mean'])} and {days_words(row['days_mean'])}"
        if opened:
            what, today = "that", answer.money(answer.bench.value)
        return (
            f"Over the {number(a.years)} years you keep her, {what} comes to {answer.money(total)} in today's "
            f"money{lead}; this job alone {today}."
        )
    cash, hours = answer.money(row["cash_mean"]), hours_words(row["own_hours_mean"])
    what, out = capital(a.way), f" ({cash} cash, {hours} own hours, {days_words(row['days_mean'])} out of use)"
    if opened:
        what, out = "That", ""
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
    a = answer.advice
    if a.basis == "years" and a.best_this_job != a.way and a.years_gap >= LEAST_GAP:
        today, later = answer.table["total_mean"], answer.money(a.years_gap)
        now = answer.money(today[a.way] - today[a.best_this_job])
        return f"{capital(a.best_this_job)} is {now} cheaper for this job alone but {later} dearer over those years."
    basis, way = answer.basis, begun(answer)
    years, other = basis.beyond(way) if a.basis == "this job" and a.do != "leave" else (None, "")
    if years is not None:
        known, life = all(map(basis.life_known, (way, other))), basis.life_turns(way)
        turns = "" if life is None else f"it turns at a life of {tenths(life)} years for {way}"
        reasons = "; ".join(filter(None, ("" if known else "by assumed lives", turns)))
        for_long = f"about {whole(years)} years" if years >= 1.5 else "a year or so"
        return f"Kept for more than {for_long}, {other} comes cheaper{reasons and f' ({reasons})'}."
    return ""


def sooner(answer: Answer) -> str:
    """Money against days and against the bad case in one sentence, with the price of a day at which it turns."""
    a, table = answer.advice, answer.table
    if a.do == "leave":
        return ""
    fast, mild, way = answer.verdict.fastest, answer.verdict.steadiest, begun(answer)
    saved = table.loc[way, "days_mean"] - table.loc[fast, "days_mean"]
    quicker = saved >= max(SOONER_DAYS, SOONER_SHARE * table.loc[way, "days_mean"])
    said = [f"back about {days_words(saved)} sooner with {fast}"] if quicker else []
    bad, better = (answer.money(table.loc[w, "total_p90"], table.loc[w, "total_p90_se"]) for w in (way, mild))
    if bad != better:
        with_it = f"its bad case is {better}" if quicker and mild == fast else f"the bad case is {better} with {mild}"
        said.append(f"{with_it} against {bad}")
    if not (answer.case.terms.lost_day_stated and answer.case.terms.cost_lost_day.high > 0):
        price = answer.basis.day_price_turns if way == a.way == answer.basis.this_job.way else None
        turns = "" if price is None else f"; it turns from {answer.money(price)} a day"
        turns = turns if price is None or price >= LEAST_GAP else "; it turns as soon as a day counts"
        said += [f"waiting is not priced here{turns}"] if quicker or turns else []
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
    if a.do != "leave":
        yield _not_priced(answer)
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


def _not_priced(answer: Answer) -> str:
    """Where a cheaper way is passed over for its hours or days, what it saves and when to take it all the same; else
    at which worth of an hour it turns."""
    terms, cheaper, way = answer.case.terms, answer.basis.this_job.way, answer.advice.way
    columns = ["total_mean", "own_hours_mean", "days_mean"]
    saved, hours, days = map(float, answer.table.loc[way, columns] - answer.table.loc[cheaper, columns])
    more_hours = 0.0 if terms.own_hour_stated or answer.cost_own_hour > 0 else max(-hours, 0.0)
    later = 0.0 if terms.lost_day_stated else max(-days, 0.0)
    # one that is passed over for the years may take no more of either
    if answer.advice.basis == "this job" and cheaper != begun(answer) and saved > 0 and more_hours + later > 0:
        costs = [f"costs {answer.money(saved)} less"]
        costs += [f"takes {hours_words(more_hours)} more hours of yours"] if more_hours >= LEAST_HOURS else []
        costs += [f"is back {days_words(later)} later"] if later >= LEAST_DAYS else []
        each, free, turns = "an hour", "your hours cost nothing", saved / max(more_hours, 1e-9)
        if more_hours < later * DAY_IN_HOURS:
            each, free, turns = "a day", "waiting costs you nothing", saved / later
        when = free if turns < 1.0 else f"{each} is worth less than {answer.money(turns)} to you"
        return f"{capital(cheaper)} {named(costs)}: take it if {when}."
    if terms.own_hour_stated or answer.cost_own_hour > 0:
        return ""
    if (price := answer.basis.hour_price_turns) is None:
        return "Your own hours are not priced; no worth of an hour changes this."
    return f"Your own hours are not priced; it turns if an hour is worth {answer.money(price)} to you."


def back_by(answer: Answer) -> str:
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
    needed = answer.case.needed
    within = "" if needed is None else f"in {days_words(needed.within_days or 0.0)}"
    return f"by {needed.by}" if needed is not None and needed.by else within


def safety(answer: Answer) -> str:
    """Ways that the safety screen keeps out, and how a written waiver lifts it."""
    out = answer.table[~answer.table["allowed"] & answer.table["why_not"].str.contains("price alone")]
    if out.empty:
        return ""
    lead = f"Not to be chosen on price alone ({', '.join(answer.case.unit.safety)}): {named(out.index)}"
    return f"{lead}; leave the rebuild to a specialist, or write a [[waiver]] with your reason into case.toml."


def so_far(answer: Answer) -> list[str]:
    lines = [f"Found: {'; '.join(plain(str(f)) for f in answer.found)}."] if answer.found else []
    if answer.stage:
        spent = answer.bench.spent
        took = f"{answer.money(spent['cash'])} and {hours_words(spent['own_hours'])} own hours"
        lines.append(f"Done up to {answer.stage}: {took}, expected; that is spent and counts no more.")
    return lines


def flip(f: Flip) -> str:
    """One number and the value at which another way takes over."""
    side = "above" if f.value_flip > f.value_now else "below"
    now = measured(f.value_now, f.unit)
    return f"{plain_number(f.number)} {side} {measured(f.value_flip, f.unit)}, now {now} (then {f.to_way})"


def flips(answer: Answer) -> list[str]:
    inside = [f for f in answer.flips if f.within_range]
    where = "" if inside else "; that is outside its range"
    lines = [f"{capital(flip(f))}{where}." for f in inside[:MOST_SAID] or answer.flips[:1]]
    return lines or ["No single number turns this within five times its value."]


def years(answer: Answer) -> Iterator[str]:
    h, way = answer.horizon, answer.basis.over_years.way
    if h.years.horizon_years == 0:
        yield "Only this job is looked at: say how long you keep her (--horizon-years 10) to look further."
        return
    best = h.ways.loc[way]
    yield (
        f"Over {number(h.years.horizon_years)} years {way} comes cheapest: {answer.money(best['present_cost'])} in "
        f"today's money, {answer.money(best['annual_cost'])} a year. {capital(chance_words(best['p_failure_away']))} "
        "that it fails away from base in that time."
    )
    age, pays = best["best_replacement_age"], "in time, before it fails, does not pay within these years"
    if age <= h.years.horizon_years:
        pays = f"before it fails pays, best at about {number(age)} years"
    yield f"Renewing {way} {pays}."
    for c in (c for c in h.spares if c.worth > 0 or c.cost > 0):
        pays = f"{answer.money(c.worth)} over these years, so it {'pays' if c.net > 0 else 'does not pay'}"
        yield f"{capital(c.combination)}: costs {answer.money(c.cost)} more and saves {pays}."
    for f in answer.life_fits:
        ends = f"9 times in 10 between {number(f.median_low)} and {number(f.median_high)}"
        tells = f" cannot tell: {f.refused}" if f.refused else f": half last {number(f.median)} {f.clock}, {ends}"
        yield f"Your own lives of {f.way} ({f.failures} failed, {f.survivors} still going, in {f.clock}){tells}."
    yield "Nobody publishes hours to failure of such units: the lives are the case's or assumed."
