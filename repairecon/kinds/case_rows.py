"""The rows that stand beneath a case of which only a kind, a sentence and a price or two are known.

Every row is in the columns of the case's own files, so that one reader takes it, and a row of the owner's goes over it.
"""

from __future__ import annotations

import re
from dataclasses import replace

from repairecon.kinds.facts import KindFacts, KindRow, facts, share
from repairecon.kinds.matching import HOUSING_LOST, SymptomMatch
from repairecon.kinds.words import meaning
from repairecon.records import Range, Source

Row = dict[str, str]
Causes = list[tuple[KindRow, float]]

WHERE = "this unit"
"""The event that says whether this unit is to blame at all."""
INSIDE = "inside"
"""The event that says what is wrong in it."""
TO_BLAME = "to blame"
SAVING, AFTERWARDS = "saving it", "after the rebuild"
SAYS_ITSELF = re.compile(rf"\b({INSIDE}|{SAVING}|{AFTERWARDS}|{WHERE}(?!\s*=\s*{TO_BLAME}))\s*=\s*")
"""Events, before an outcome that says without them what is the matter."""

_GUESSED = (
    ("specialist", "specialist's rebuild", "send away"),
    ("exchange", "exchange unit", "exchange"),
    ("pattern", "pattern unit", "pattern"),
)
"""Ways whose price the kind's ratio gives; a second-hand unit is no way until somebody has found one."""
_BUYS = ("new", "pattern", "exchange", "second-hand")
_CARRY_ON = {"way": "carry on as it is", "kind": "carry on"}
_ENDS = ("low", "likely", "high")
_WEIGHT = "5"
_RUNNING_HOURS_A_DAY = 1.0
_DAYS_OF = {"as long as watched": 90.0, "until a date": 60.0, "to the next port": 3.0}
_LOOK_COSTS = {"none": 0.0, "tool": 0.0, "call": 0.0, "shop fee": 0.05}
_SMALL_COST = 0.01
_ABOUT_PRICE = re.compile(r"\b(price|prices|telephone|call the|pay at all)\b")
_ASSUMED = "assumed, no source"


def case_rows(
    kind: str, symptom: SymptomMatch | None, price_new: Range, price_kit: Range | None = None, *, own: bool = True
) -> tuple[dict[str, list[Row]], str]:
    """Default rows of a case by file, and what the sentence says was found already, as the case writes it.

    ``kind`` is one of ``kinds()``; ``symptom`` what the owner's sentence was taken for, without one the causes of all
    symptoms count alike; prices are home money with tax, without the kit's the ratio of the kind stands for it; ``own``
    says whether an own rebuild may be advised at all.
    """
    known = facts(kind)
    names = [symptom.symptom] if symptom and symptom.symptom else list(known.symptoms)
    causes = _causes(known, names)
    found = symptom.found if symptom else ()
    if HOUSING_LOST in found and not any(f["cause"] in found for f, _ in causes):
        # no cause of the kind's own says so: whatever else is wrong in it, nobody rebuilds it or takes it in exchange
        end = {"cause": HOUSING_LOST, "this_unit": "yes", "mend": "end", "findings": ""}
        bought = {key: ratio for key, ratio in known.ratios.items() if key not in ("kit", "specialist", "exchange")}
        causes, known = [(KindRow(end, Source("")), 1.0)], replace(known, ratios=bought)
    kit, kit_share = list[Row](), known.ratios.get("kit")
    if price_kit is None and kit_share is not None:  # what is always renewed
        kit = [{"part": "rebuild kit", "description": ", ".join(r["part"] for r in known.always_renew), "quantity": "1",
                "needed": "always", **_money("price", kit_share, price_new), "source": _said(kit_share)}]  # fmt: skip
    files = {
        "parts.csv": kit, "tasks.csv": _tasks(known, price_new),
        "events.csv": _opened(known, causes, price_new) + _later(known, price_new),
        "looks.csv": _looks(known, names, causes, price_new), "remedies.csv": _remedies(known, causes, price_new),
        "ways.csv": _ways(known, names, price_new, own),
    }  # fmt: skip
    where = {f["cause"]: f"{INSIDE if f.yes('this_unit') else WHERE}={outcome_name(f['cause'])}" for f, _ in causes}
    return files, next((where[cause] for cause in found if cause in where), "")


def _causes(known: KindFacts, names: list[str]) -> Causes:
    """Causes with their chances, those of several symptoms counted alike and joined by name."""
    failures = {f["cause"]: f for name in names for f in known.failures_of(name)}
    chances = dict.fromkeys(failures, 0.0)
    for name in names:
        for f in known.failures_of(name):
            chances[f["cause"]] += f.range("chance").likely / len(names)
    total = sum(chances.values())
    return [(f, chances[cause] / total) for cause, f in failures.items()]


def outcome_name(cause: str) -> str:
    """A cause as the name of an outcome: the signs that part findings are taken out."""
    return re.sub(r"\s*[;=]\s*", ", ", cause)


def _said(known: Range | KindRow) -> str:
    return known.source.note or _ASSUMED


def _opened(known: KindFacts, causes: Causes, price_new: Range) -> list[Row]:
    """Whether it is this unit at all, what is wrong in it if so, and whether what is worn can be saved."""
    mine = [(f, p) for f, p in causes if f.yes("this_unit")]
    inside, events = sum(p for _, p in mine), list[Row]()
    other = [_branch(WHERE, outcome_name(f["cause"]), p, "strip", f.source.note, ways="all", not_this_unit="yes")
             for f, p in causes if not f.yes("this_unit")]  # fmt: skip
    if other and inside > 0:
        events += [_branch(WHERE, TO_BLAME, inside, "strip", "sum of the causes that lie in it", ways="all"), *other]
    for f, p in mine:
        more = {"ways": "all"}
        if f["mend"] == "fix":
            # a small job cures it: what follows falls away, as where another unit is to blame
            hours, cost = _about(f.number("fix_hours"), high=2.5), _about(f.number("fix_share"))
            more |= {"not_this_unit": "yes", **_three("extra_hours", hours), **_money("outside_cost", cost, price_new)}
        elif f["mend"] == "end":
            more = {"ends_rebuild": "yes"}
        cause, given = outcome_name(f["cause"]), f"{WHERE}={TO_BLAME}" if other else ""
        events.append(_branch(INSIDE, cause, p / inside, "strip", f.source.note, given=given, **more))
    if _can_rebuild(known):
        # the share of rebuilds given up, less what the causes themselves end
        ended = sum(p for f, p in mine if f["mend"] == "end") / (inside or 1.0)
        given_up = share(known.kind, "given up: full rebuild")
        rest, why = max(0.02, given_up.likely - ended), given_up.source.note
        events += [
            _branch(SAVING, "parts and housing will do", 1 - rest, "measure", why),
            _branch(SAVING, "past saving, or a part not to be had", rest, "measure", why, ends_rebuild="yes"),
        ]
    return events


def _later(known: KindFacts, price_new: Range) -> list[Row]:
    """Work done again, and a bought unit that is dead on arrival.

    One event holds the chances of several ways, the least likely inside the likelier: the same share for each way as
    with an event a way, on fewer courses.
    """
    rows: list[Row] = []
    off_and_on = (t for t in known.tasks if t["needed"] == "always" and t["stage"] in ("removal", "first run"))
    hours = sum(t.range("hours").likely for t in off_and_on)
    again = _three("extra_hours", _about(hours, low=0.4))
    if _can_rebuild(known):
        event = AFTERWARDS
        own, shop = (share(known.kind, f"done again: {depth}") for depth in ("full rebuild", "specialist"))
        both = min(own.likely, shop.likely)
        extra = {**again, **_three("extra_days", Range(0.0, 3.0, 14.0)),
                 **_money("outside_cost", Range(0.01, 0.03, 0.1), price_new)}  # fmt: skip
        mine, why = "rebuild; buy and rebuild; rebuild and spare", own.source.note
        rows += [
            _branch(event, "holds", 1 - own.likely, "later", why),
            _branch(event, "own work done again", own.likely - both, "later", why, ways=mine, **extra),
            _branch(event, "done again, whoever did it", both, "later", shop.source.note, **extra),
        ]
    dead = {way: share(known.kind, f"dead on arrival: {way}") for way in _BUYS}
    ranked = sorted(_BUYS, key=lambda way: dead[way].likely)
    extra = {**again, **_three("extra_days", Range(2.0, 10.0, 30.0))}
    rows.append(_branch("bought unit", "works", 1 - dead[ranked[-1]].likely, "first run", "the rest", ways="buys"))
    below = 0.0
    for k, way in enumerate(ranked):
        p, below = dead[way].likely - below, dead[way].likely
        if p > 0:
            hit = ranked[k:]
            name = "dead on arrival" if k == 0 else f"dead on arrival if {' or '.join(hit)}"
            ways = "; ".join((*hit, "buy and rebuild") if "new" in hit else hit)
            rows.append(_branch("bought unit", name, p, "first run", dead[way].source.note, ways=ways, **extra))
    return rows


def _branch(event: str, outcome: str, chance: float, seen_at: str, source: str, **more: str) -> Row:
    return {"event": event, "outcome": outcome, "chance": repr(chance), "weight": _WEIGHT, "seen_at": seen_at,
            "source": source or _ASSUMED, **more}  # fmt: skip


def _tasks(known: KindFacts, price_new: Range) -> list[Row]:
    """Work that is always needed, what the boat ashore costs where it must come out, and what is used up."""
    rows, ashore = list[Row](), _money("cost", Range(0.1, 0.3, 0.8), price_new)
    for t in (t for t in known.tasks if t["needed"] != "if found"):
        used = ", ".join(t.several("consumables", ","))
        rows.append({"task": t["task"], "stage": t["stage"], "by": t["by"], **_three("hours", t.range("hours")),
                     **(ashore if t["needed"] == "ashore" else {}), "note": f"uses: {used}" if used else "",
                     "source": _said(t)})  # fmt: skip
    if any(t["consumables"] for t in known.tasks):
        small = _money("cost", Range(0.002, 0.01, 0.03), price_new)
        rows.append({"task": "grease, sealant, cleaner and the like", "stage": "reassembly", "by": "owner", **small,
                     "source": "assumed, no source: tools are taken as borrowed or at hand"})  # fmt: skip
    return rows


def _looks(known: KindFacts, names: list[str], causes: Causes, price_new: Range) -> list[Row]:
    """Looks in the mechanic's order; each tells whether it is this unit, or what is wrong in it."""
    rows: list[Row] = []
    mine, others = ([meaning(f["cause"]) for f, _ in causes if f.yes("this_unit") is this] for this in (True, False))
    for look in known.looks_of(names[0]):
        # what it tells of, by the words it shares with the causes; an early look asks whether it is this unit
        words = f"{look['tells']} {look['look']}"
        said = meaning(words)
        inside, other = (max((len(said & cause) for cause in some), default=0) for some in (mine, others))
        event = INSIDE if len(mine) > 1 else WHERE
        if others and other >= inside + (look.number("order") > 2):
            event = WHERE
        if (others or event == INSIDE) and not _ABOUT_PRICE.search(words):
            paid = _LOOK_COSTS.get(look["cost_hint"], _SMALL_COST)
            cost = _money("cost", _about(paid), price_new) if paid else {}
            hours = _about(look.number("hours"), low=0.6)
            rows.append({"look": look["look"], "event": event, **_three("hours", hours), **cost,
                         "p_right": repr(look.number("p_right")), "source": _said(look)})  # fmt: skip
    return rows


def _remedies(known: KindFacts, causes: Causes, price_new: Range) -> list[Row]:
    """What meets each cause that the kit alone does not."""
    rows: list[Row] = []
    for f, r in ((x, r) for x, _ in causes if x["mend"] == "remedy" for r in known.remedies_of(x)):
        low, likely, high = (r.number(f"parts_share_{end}") + r.number(f"outside_share_{end}") for end in _ENDS)
        cost = _money("outside_cost", Range(low, likely, high), price_new)
        ban = f"not when: {r['not_allowed_when']}" if r["not_allowed_when"] else ""
        rows.append({"event": INSIDE, "outcome": outcome_name(f["cause"]), "remedy": r["remedy"], "by": "owner",
                     **_three("extra_hours", _about(r.number("own_hours"))), **cost,
                     **_three("extra_days", r.range("days")), "life_share": repr(min(r.number("life_share"), 1.0)),
                     "note": ban, "source": _said(r)})  # fmt: skip
    return rows


def _can_rebuild(known: KindFacts) -> bool:
    return not {"kit", "specialist"}.isdisjoint(known.ratios)


def _ways(known: KindFacts, names: list[str], price_new: Range, own: bool) -> list[Row]:
    """The ways that owners of such a unit have; prices that were not asked are ranges of the kind, and say so."""
    rows: list[Row] = []
    if own and "kit" in known.ratios:
        rows.append({"way": "rebuild here", "kind": "rebuild", "source": "by the kind of unit"})
    for key, way, kind in _GUESSED:
        share = known.ratios.get(key)
        if share is not None:
            guess = f"price not asked: {_said(share)}"
            rows.append({"way": way, "kind": kind, **_money("price", share, price_new), "source": guess})
    rows.append({"way": "new", "kind": "new", "source": "price as given"})
    carry = known.carry_on_of(names[0]) if len(names) == 1 else None
    if carry is not None and carry["may_carry_on"] != "never":
        rows.append(_carried_on(carry, price_new))
    # a row that begins with none says that there is no such repair
    mends = [m for m in known.temporary if not re.match(r"none\b", m["temporary_repair"]) and m["symptom"] in names]
    rows += [_mended(mend, price_new) for mend in mends[:1]]
    if carry is not None and carry["may_carry_on"] == "never" and (why := carry["why"]):
        rows.append({**_CARRY_ON, "never": "yes", "note": why, "source": why})
    return rows


def _carried_on(carry: KindRow, price_new: Range) -> Row:
    days = carry.number("within_days") or _DAYS_OF[carry["may_carry_on"]]
    spans = days / 30.0 if carry["unit"] == "month" else days * _RUNNING_HOURS_A_DAY / 10.0
    fails = 1.0 - (1.0 - min(carry.range("chance_fails").likely, 0.999)) ** spans
    said = {"make safe": carry["makes_safe"], "watch for": carry["watch_for"]}
    return {
        **_CARRY_ON, **_three("until_days", Range(0.5 * days, days, days)), "p_fails": repr(fails),
        **_money("more_cost", carry.range("more_cost_share"), price_new), "works_meanwhile": carry["still_works"],
        "not_when": f"only while: {carry['when']}" if carry["when"] else "",
        "note": "; ".join(f"{do}: {what}" for do, what in said.items() if what), "source": _said(carry),
    }  # fmt: skip


def _mended(mend: KindRow, price_new: Range) -> Row:
    share, holds = mend.spread("cost_share"), mend.spread("holds_hours") or Range(2.0, 10.0, 40.0)
    cost = {} if share is None else _money("price", share, price_new)
    a_day = 24.0 if mend["holds_unit"] == "hours by the clock" else _RUNNING_HOURS_A_DAY
    return {
        "way": "mend for now", "kind": "temporary", **cost, "fitting_by": "owner",
        **_three("fitting_hours", _about(mend.number("own_hours"))), **_three("until_days", holds.scaled(1.0 / a_day)),
        "p_fails": repr(1.0 - mend.number("chance_it_holds")), "works_meanwhile": "yes",
        "not_when": mend["not_allowed_when"], "note": with_ban(mend), "source": _said(mend),
    }  # fmt: skip


def with_ban(mend: KindRow) -> str:
    """A repair that gets the boat home, together with its ban and what must follow."""
    ban = f" Not allowed: {mend['not_allowed_when']}." if mend["not_allowed_when"] else ""
    after = f" Afterwards: {mend['afterwards']}." if mend["afterwards"] else ""
    return f"{mend['temporary_repair'].rstrip('.')}.{ban}{after}"


def _three(name: str, r: Range) -> Row:
    return {f"{name}_{end}": repr(float(getattr(r, end))) for end in _ENDS}


def _about(likely: float, low: float = 0.5, high: float = 2.0) -> Range:
    """A figure that one person gave, with a spread (assumed, no source)."""
    return Range(low * likely, likely, high * likely)


def _money(name: str, share: Range, price_new: Range) -> Row:
    """A share of the price of new as home money, at the likely price."""
    return _three(name, share.scaled(price_new.likely))
