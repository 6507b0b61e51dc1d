"""Sections of case.toml to records: the failed unit, the owner's terms, the years; and passage.toml, learned.toml."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from repairecon.kinds import KindMatch, match_kind, match_symptom, settle
from repairecon.read.boat import LEARNED
from repairecon.read.columns import sections
from repairecon.read.events import Outcomes
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.reading import Defaults, Money, Reading, cautions
from repairecon.read.tables import Table
from repairecon.read.toml_file import Section, TomlFile, read_toml, toml_lines
from repairecon.read.values import listed, pair, pieces, plain
from repairecon.records import NOTHING, SAFETY_CLASSES, Branch, Needed, PassageError, Source, Terms, Unit, Years
from repairecon.records.done import ChanceCount, HoursBias, Learned, LearnedLife, SupplierKept
from repairecon.records.spares import Passage, SpareWish
from repairecon.records.supply import Customs, OrderWishes, Supplier

PASSAGE = "passage.toml"
CRITICAL, OTHER = "critical", "other"
PERIOD = sections(PASSAGE)["passage"]["days"].limits  # days of a passage or season: a hundred years at most
_SEVERAL = {"chance": ("chances", ChanceCount), "hours": ("hours", HoursBias), "supplier": ("suppliers", SupplierKept),
            "life": ("lives", LearnedLife)}  # fmt: skip
"""Field of ``Learned`` by section of learned.toml, and what each of its records is."""
_HEAD = """# What your own jobs say. In a boat's log each of her jobs uses it; else a case only if case.toml says so:
#     [learned]
#     use = true
# and this file lies beside it. Counts are of your jobs; a job on another kind of unit counts for `strength` of one.
"""


def unit(toml: TomlFile, defaults: Defaults) -> Unit:
    section = toml.section("unit")
    name, given, symptom = section.text("name"), section.text("kind"), section.text("symptom")
    match = settle(match_kind(given or name), symptom)
    if match.kind and match.kind != key(given):
        words = f"assumed from {'the kind' if given else 'the name of the unit'}: {match.said}"
        defaults.note("kind of unit", match.kind, "", f"{words}. {match.question}".rstrip(". "))
    if symptom and match.kind:
        heard = match_symptom(match.kind, symptom)
        said = "; ".join(filter(None, (heard.said, heard.first_question)))
        defaults.note("symptom", heard.symptom or "none known", "", f"assumed from your sentence: {said}")
        if heard.nothing_wrong:
            defaults.note("perhaps no fault", heard.nothing_wrong, "", "assumed from your sentence")
    safety = _safety(section, match, defaults)
    return section.record(
        Unit, kind=match.kind or given, safety=safety,
        cautions=tuple(dict.fromkeys((*match.cautions, *cautions(safety)))), own_rebuild=match.own_rebuild,
        certificate_needed=match.certificate_needed, question=match.question, waived="waiver" in toml.data,
    )  # fmt: skip


def _safety(section: Section, match: KindMatch, defaults: Defaults) -> tuple[str, ...]:
    """Safety classes that bar an own rebuild: as given, else those of the kind and of the words in the name."""
    if section.has("safety"):
        known = dict.fromkeys(key(c) for c in section.words("safety"))
        if wrong := [c for c in known if c not in SAFETY_CLASSES]:
            section.fault("safety", shown(wrong[0]), section.problems.advice(wrong[0], SAFETY_CLASSES))
        return tuple(c for c in known if c in SAFETY_CLASSES)
    barred = match.own_rebuild == "licensed practice only"
    if match.certainty == "none" and not barred:
        say = "say safety = [...] if its failure can sink, burn, gas or leave you without steering"
        defaults.note("safety", "none set", "", f"assumed: the kind of unit is not known; {say}")
        return ()
    classes = (match.safety_class,) if barred and match.safety_class != "none" else ()
    of_what = f"kind {match.kind}" if match.kind else f"the words {', '.join(match.safety_words)}"
    defaults.note("safety", ", ".join(classes) or "none", "", f"common practice, no source: {of_what}")
    return classes


def no_defaults(toml: TomlFile, tables: Mapping[str, Table]) -> frozenset[str]:
    section = toml.section("defaults")
    said = [name for name in section.declared if section.choice(name)]
    if "ways" in said and not tables["ways.csv"].given:
        section.fault("ways", "none, and no ways.csv", "write the ways in ways.csv, or take this line away")
    return frozenset(f"{name}.csv" for name in said)


def beside_the_unit(reading: Reading, toml: TomlFile, sellers: Sequence[Supplier], wrong_unit: bool) -> dict[str, Any]:
    """Fields of the case by name; ``wrong_unit``: another unit may be to blame."""
    of_order = reading.defaults if reading.ordering else Defaults()
    measured = toml.section("measured")
    texts = ((n, plain(v) if isinstance(v, int | float) else measured.text(n)) for n, v in measured.cells.items())
    return {
        "customs": _customs(toml, sellers, of_order), "wishes": _wishes(toml, reading, of_order),
        "terms": _terms(toml, reading, wrong_unit), "needed": _needed(toml) if "needed" in toml.data else None,
        "checked": toml.section("unit").text("checked"), "done": toml.section("done").choice("stage"),
        "waivers": {s.named("way", reading.ways): s.text("reason") for s in toml.sections("waiver")},
        "measured": "; ".join(f"{name}={text}" for name, text in texts if text),
    }  # fmt: skip


def _terms(toml: TomlFile, reading: Reading, wrong_unit: bool) -> Terms:
    money, defaults = reading.money, reading.defaults
    owner = toml.section("owner")
    own_hour, lost_day = owner.number("cost_own_hour"), owner.range("cost_lost_day")
    stated = {"own_hour_stated": own_hour is not None, "lost_day_stated": lost_day is not None}
    uncounted = {} if lost_day else {"cost_lost_day": "a day without the boat"}
    if own_hour is None and reading.as_decided:
        # older decisions rest on what an hour was then taken to be; today nobody says for an owner what it is worth
        own_hour = money.assumed("cost_own_hour", "per hour").likely
    elif own_hour is None:
        uncounted = {"cost_own_hour": "an hour of yours", **uncounted}
    for name, what in uncounted.items():
        defaults.note(name, "0", money.currency, f"assumed: not counted, as you do not say what {what} is worth")
    cap_chance, elsewhere = owner.number("cap_chance"), owner.number("elsewhere_days")
    if cap_chance is None:
        capped = owner.number("cap_cost") is not None
        cap_chance = defaults.number("cap_chance") if capped else float(defaults.peek("cap_chance"))
    if elsewhere is None:
        elsewhere = defaults.number("elsewhere_days") if wrong_unit else 0.0
    return defaults.record(
        Terms, owner, currency=money.currency, vat_rate=money.vat_rate_unlisted, exchange=dict(money.exchange),
        exchange_date=money.exchange_date, labour=dict(reading.labour.rates), cost_own_hour=own_hour or 0.0,
        cost_lost_day=lost_day or NOTHING, cap_chance=cap_chance, elsewhere_days=elsewhere, **stated,
    )  # fmt: skip


def _needed(toml: TomlFile) -> Needed:
    section = toml.section("needed")
    section.either("by", "within_days", "write the day, or in how many days, the boat must be back")
    both = section.has("by") and section.has("within_days")
    section.check((both, "within_days", "days beside a date", "keep one of the two"))
    return section.record(Needed)


def _customs(toml: TomlFile, sellers: Sequence[Supplier], defaults: Defaults) -> Customs:
    """Their date and the buyer matter once somebody sells from beyond the border."""
    section = toml.section("customs")
    rate, up_to = section.number("flat_duty_rate"), section.number("flat_duty_up_to")
    section.check(
        (rate is not None and section.lacks("flat_duty_up_to"), "flat_duty_up_to", "nothing",
         "write the goods value up to which flat_duty_rate holds"),
        (up_to and section.lacks("flat_duty_rate"), "flat_duty_rate", "nothing",
         "write the rate that holds up to flat_duty_up_to"),
    )  # fmt: skip
    if not section.date("as_of") and "as_of" not in section.bad and any(s.imported for s in sellers):
        defaults.text("customs_as_of")
    buyer = section.choice("buyer") or defaults.text("buyer")
    registered = "VAT-registered" if buyer == "vat-registered" else "private"
    return section.record(Customs, flat_duty_up_to=up_to or 0.0, buyer=registered)


def _wishes(toml: TomlFile, reading: Reading, defaults: Defaults) -> OrderWishes:
    """A blank ``today`` is left to whoever asks."""
    section = toml.section("order")
    known, whole, by = reading.suppliers, reading.sellers_known, section.choice("deadline_by")
    unknown = "an unknown supplier "
    without = (section.named("without", known, unknown, whole=whole, word=word) for word in section.words("without"))
    if not by:
        dated = section.number("deadline_days") is not None
        by = (defaults.text("deadline_by") if dated else str(defaults.peek("deadline_by"))).casefold()
    deadline_by = "likely" if by == "likely" else "P90"
    return defaults.record(OrderWishes, section, deadline_by=deadline_by, without=tuple(dict.fromkeys(without)))


def found(toml: TomlFile, branches: Sequence[Branch], heard: str, *, strict: bool) -> str:
    """What is found already, as the tree spells it; ``heard`` in the sentence. Not ``strict``: others are left."""
    section, unit = toml.section("found"), toml.section("unit")
    said = [(section, name, name, section.text(name)) for name in section.cells]
    # a word without = is in the owner's own words: heard with the sentence on the symptom
    said += [(unit, "found", *pair(word)) for word in listed(unit.text("found")) if "=" in word]
    known, made = Outcomes((b.event, b.outcome) for b in branches), {}
    for where, column, event, outcome in said:
        if strict or event in known.events:
            event, outcome = known.spelt(where, event, outcome, (column, column))
            made[event] = outcome
    for event, outcome in pieces(heard).items():
        if any((b.event, b.outcome) == (event, outcome) for b in branches):
            made.setdefault(event, outcome)
    return "; ".join(f"{event}={outcome}" for event, outcome in made.items())


def years(toml: TomlFile, money: Money, defaults: Defaults) -> Years:
    section = toml.section("years")
    per = "each time, tax included"
    cost_away = section.range("cost_away") or defaults.money("cost_away", per, money.currency, money.exchange)
    return defaults.record(Years, section, cost_away=cost_away, horizon_stated=section.has("horizon_years"))


# ---- what was learned ------------------------------------------------------------------------------
def learned_of(toml: TomlFile, folder: str, log: Path | None = None) -> Learned | None:
    """What was learned: beside the case if it asks for it, else in ``log``, that of its boat, unless it says no."""
    section = toml.section("learned")
    use, first_time = section.yes_if_written("use"), section.yes("first_time")
    path = Path(folder) / LEARNED
    if log is not None and use is not False and not path.is_file() and (log / LEARNED).is_file():
        path, use = log / LEARNED, True
    if use and not path.is_file():
        section.fault("use", "true, and no learned.toml beside case.toml", "put it there, or write false")
        return None
    return read_learned(path, toml.problems, first_time) if use else None


def read_learned(path: Path, problems: Problems, first_time: bool = True) -> Learned:
    toml = read_toml(path, problems, LEARNED)
    head = toml.section("learned")
    several: dict[str, Any] = {field: tuple(
        section.record(kind, **{"unit": key(section.text("unit"))} if "unit" in section.declared else {})
        for section in toml.sections(name)
    ) for name, (field, kind) in _SEVERAL.items()}  # fmt: skip
    return head.record(
        Learned, jobs=head.whole("jobs") or 0, strength=head.number("strength") or 0.0, first_time=first_time,
        source=Source(LEARNED), **several,
    )  # fmt: skip


def learned_text(learned: Learned) -> str:
    head = {"jobs": learned.jobs, "strength": learned.strength, "drift_rate": learned.drift_rate}
    lines = [_HEAD, *toml_lines("[learned]", head)]
    for name, (field, _) in _SEVERAL.items():
        for record in getattr(learned, field):
            lines += toml_lines(f"[[{name}]]", asdict(record))
    return "\n".join(lines)


# ---- a passage -------------------------------------------------------------------------------------
def read_passage(folder: str | os.PathLike[str], items: Iterable[str], systems: Iterable[str] = ()) -> Passage:
    """Read passage.toml if it is there; names not among ``items`` and ``systems`` are faults (PassageError)."""
    path = Path(folder) / PASSAGE
    if not os.path.lexists(path):
        return Passage()
    problems = Problems()
    toml = read_toml(path, problems, PASSAGE)
    toml.check_sections()
    about, costs = toml.section("passage"), toml.section("cost_without")
    known = Names([*systems, CRITICAL, OTHER])
    for name in costs.cells:
        costs.named(name, known, "an unknown system ", word=name)
    read = {known.find(name): costs.range(name) for name in costs.cells if name not in costs.bad}
    of_items, seen = Names(items), Names()
    passage = about.record(
        Passage,
        tools=about.words("tools") if about.has("tools") else None,
        cost_without={name: cost for name, cost in read.items() if cost is not None},
        items=tuple(_wish(section, of_items, seen, Path(folder)) for section in toml.sections("items")),
    )
    problems.stop_if_any(PassageError)
    return passage


def _wish(section: Section, known: Names, seen: Names, folder: Path) -> SpareWish:
    item, case = section.named("item", known), section.text("case")
    guessed = [k for k in ("failures_per_year", "failures_per_1000_hours") if section.has(k)]
    section.check(
        (item in known and not seen.add(item), "item", f"{shown(item)} again", "write one section for each item"),
        *((section.has("case"), k, "a guess beside a case", "keep one of the two: the case tells how often it fails")
          for k in guessed[:1]),
        (case and not (folder / case).is_dir(), "case", shown(case),
         "name a case folder, its path counted from passage.toml"),
    )  # fmt: skip
    return section.record(
        SpareWish, item=item, case=str(folder / case) if case else "",
        source=Source(PASSAGE, section.place("")[0], item),
        **{name: tuple(other for word in section.words(name)
                       if (other := section.named(name, known, word=word)) and other != item)
           for name in ("covers", "together")},
    )  # fmt: skip
