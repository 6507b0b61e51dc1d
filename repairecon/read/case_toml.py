"""The sections of case.toml: the failed unit, waivers, the owner's terms, the years, the border, wishes of an order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from repairecon.kinds import KindMatch, SymptomMatch, match_kind, match_symptom, settle
from repairecon.read.defaults import Defaults, class_caution, general_cautions
from repairecon.read.problems import Names, key, shown
from repairecon.read.reading import Money, Reading
from repairecon.read.tables import Table
from repairecon.read.toml_file import Section, TomlFile
from repairecon.read.values import plain
from repairecon.records import NOTHING, SAFETY_CLASSES, Branch, Needed, Supplier, Terms, Unit, Waiver, Years
from repairecon.records.supply import Customs, OrderWishes


def check_sections(toml: TomlFile, defaults: Defaults) -> None:
    """Note sections that nothing reads; that of bearings, which older cases have, is left alone."""
    toml.check_sections()
    if "bearing" in toml.data:
        defaults.note("[bearing]", "left alone", "", "such data are no longer read: give lives in ways.csv")


def unit(toml: TomlFile, defaults: Defaults) -> Unit:
    """The failed unit; its price is filled in later."""
    section = toml.section("unit")
    name, given, symptom = section.text("name"), section.text("kind"), section.text("symptom")
    match = settle(match_kind(given or name), symptom)
    if match.kind and match.kind != key(given):
        words = f"assumed from {'the kind' if given else 'the name of the unit'}: {match.said}"
        defaults.note("kind of unit", match.kind, "", f"{words}. {match.question}".rstrip(". "))
    if symptom and match.kind:
        _list_symptom(match_symptom(match.kind, symptom), defaults)
    safety = _safety(section, match, defaults)
    by_class = (class_caution(c) for c in safety)
    return Unit(
        name=name,
        kind=match.kind or given,
        symptom=symptom,
        safety=safety,
        cautions=tuple(dict.fromkeys((*match.cautions, *by_class, *general_cautions()))),
        own_rebuild=match.own_rebuild,
        certificate_needed=match.certificate_needed,
        question=match.question,
        waived="waiver" in toml.data,
        **section.these("age_years", "expected_life_years", "figures"),
    )


def _list_symptom(match: SymptomMatch, defaults: Defaults) -> None:
    """List what the owner's sentence was taken for, and what would tell more."""
    said = "; ".join(filter(None, (match.said, match.first_question)))
    defaults.note("symptom", match.symptom or "none known", "", f"assumed from your sentence: {said}")
    if match.nothing_wrong:
        defaults.note("perhaps no fault", match.nothing_wrong, "", "assumed from your sentence")


def _safety(section: Section, match: KindMatch, defaults: Defaults) -> tuple[str, ...]:
    """Safety classes that bar an own rebuild: as given, else those of the kind and of the words in the name."""
    if section.has("safety"):
        known = [key(c) for c in section.words("safety")]
        wrong = [c for c in known if c not in SAFETY_CLASSES]
        if wrong:
            section.fault("safety", shown(wrong[0]), section.problems.advice(wrong[0], SAFETY_CLASSES))
        return tuple(c for c in dict.fromkeys(known) if c in SAFETY_CLASSES)
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
    """Files whose defaults are not wanted."""
    section = toml.section("defaults")
    said = [name for name in section.declared if section.choice(name)]
    if "ways" in said and not tables["ways.csv"].given:
        section.fault("ways", "none, and no ways.csv", "write the ways in ways.csv, or take this line away")
    return frozenset(f"{name}.csv" for name in said)


def waivers(toml: TomlFile, ways: Names) -> tuple[Waiver, ...]:
    """Written reasons for going past the safety screen."""
    read = []
    for section in toml.sections("waiver"):
        way, reason = section.text("way"), section.text("reason")
        if way and ways.whole and way not in ways:
            section.fault("way", shown(way), ways.advice(toml.problems, way))
        read.append(Waiver(ways.find(way) or way, reason))
    return tuple(read)


def terms(toml: TomlFile, reading: Reading, wrong_unit: bool) -> Terms:
    """Money and time terms; ``wrong_unit``: another unit may be to blame."""
    money, defaults, as_decided = reading.money, reading.defaults, reading.as_decided
    owner = toml.section("owner")
    own_hour, lost_day = owner.number("cost_own_hour"), owner.range("cost_lost_day")
    own_hour_stated, lost_day_stated = own_hour is not None, lost_day is not None
    if own_hour is None:
        # older decisions rest on what an hour was then taken to be; today nobody says for an owner what it is worth
        own_hour = money.assumed("cost_own_hour", "per hour").likely if as_decided else 0.0
    for name, stated, what in (("cost_own_hour", own_hour_stated or as_decided, "an hour of yours"),
                               ("cost_lost_day", lost_day_stated, "a day without the boat")):  # fmt: skip
        if not stated:
            defaults.note(name, "0", money.currency, f"assumed: not counted, as you do not say what {what} is worth")
    cap_chance = owner.number("cap_chance")
    if cap_chance is None:
        capped = owner.number("cap_cost") is not None
        cap_chance = defaults.number("cap_chance") if capped else float(defaults.peek("cap_chance"))
    elsewhere = owner.number("elsewhere_days")
    if elsewhere is None:
        elsewhere = defaults.number("elsewhere_days") if wrong_unit else 0.0
    plain = ("hours_per_day", "hours_correlation", "order_parts", "give_up_days", "near_tie_share", "near_tie_chance")
    return Terms(
        currency=money.currency,
        vat_rate=money.vat_rate_unlisted,
        exchange=dict(money.exchange),
        exchange_date=money.exchange_date,
        labour=dict(reading.labour.rates),
        cost_own_hour=own_hour,
        cost_lost_day=lost_day or NOTHING,
        own_hour_stated=own_hour_stated,
        lost_day_stated=lost_day_stated,
        cap_chance=cap_chance,
        elsewhere_days=elsewhere,
        **defaults.complete(owner, *plain),
        **owner.these("risk_tolerance", "cap_cost"),
    )


def needed(toml: TomlFile) -> Needed | None:
    """When the boat must be back in use, if the case says so."""
    if "needed" not in toml.data:
        return None
    section = toml.section("needed")
    read = section.these(*section.declared)
    if not section.has("by") and not section.has("within_days"):
        section.fault("by", "neither by nor within_days", "write the day, or in how many days, the boat must be back")
    if section.has("by") and section.has("within_days"):
        section.fault("within_days", "days beside a date", "keep one of the two")
    return Needed(**read)


def found_in_words(toml: TomlFile) -> str:
    """What is found already in the owner's own words, without an event of the tree."""
    words = map(str.strip, toml.section("unit").text("found").split(";"))
    return "; ".join(w for w in words if w and "=" not in w)


def found(toml: TomlFile, branches: Sequence[Branch], heard: str, *, strict: bool) -> str:
    """What is found already, as events and outcomes of the tree; ``heard`` is what the sentence on the symptom says.

    Not ``strict`` where the tree of the kind is not laid beneath: what it alone knows is then passed over.
    """
    section, unit = toml.section("found"), toml.section("unit")
    said = [(section, name, name, section.text(name)) for name in section.cells]
    for word in filter(None, map(str.strip, unit.text("found").split(";"))):
        if "=" not in word:  # in the owner's own words: heard with the sentence on the symptom
            continue
        event, _, outcome = word.partition("=")
        said.append((unit, "found", event.strip(), outcome.strip()))
    events = Names(b.event for b in branches)
    made: dict[str, str] = {}
    for where, column, event, outcome in said:
        outcomes = Names(b.outcome for b in branches if key(b.event) == key(event))
        if event not in events and not strict:
            continue
        if event not in events:
            where.fault(column, f"an unknown event {shown(event)}", events.advice(toml.problems, event))
        elif outcome not in outcomes:
            write = outcomes.advice(toml.problems, outcome)
            where.fault(column, f"an unknown outcome {shown(outcome)} of {shown(events.find(event))}", write)
        else:
            made[events.find(event)] = outcomes.find(outcome)
    event, _, outcome = heard.partition("=")
    if any((b.event, b.outcome) == (event, outcome) for b in branches):
        made.setdefault(event, outcome)
    return "; ".join(f"{event}={outcome}" for event, outcome in made.items())


def measured(toml: TomlFile) -> str:
    """What was measured, as measure=value pieces; numbers may stand without quotes."""
    section = toml.section("measured")
    texts = ((n, plain(v) if isinstance(v, int | float) else section.text(n)) for n, v in section.cells.items())
    return "; ".join(f"{name}={text}" for name, text in texts if text)


def hours_a_year(toml: TomlFile) -> float | None:
    """Running hours a year, where the case gives them."""
    years = toml.data.get("years", {})
    return toml.section("years").number("hours_a_year") if isinstance(years, dict) and years else None


def years(toml: TomlFile, money: Money, defaults: Defaults) -> Years:
    """The years as the owner sees them, completed out of ``defaults``."""
    section = toml.section("years")
    cost_away = section.range("cost_away")
    if cost_away is None:
        cost_away = money.from_euro(defaults.range("cost_away", unit=money.per("each time, tax included")))
    others = (name for name in section.declared if name != "cost_away")
    stated = section.has("horizon_years")
    return Years(cost_away=cost_away, horizon_stated=stated, **defaults.complete(section, *others))


def customs(toml: TomlFile, sellers: Sequence[Supplier], defaults: Defaults) -> Customs:
    """Terms at the border; their date and the buyer matter once somebody sells from beyond it."""
    section = toml.section("customs")
    read = section.these(*section.declared)
    flat, up_to = read["flat_duty_rate"], read["flat_duty_up_to"]
    if flat is not None and up_to is None and "flat_duty_up_to" not in section.bad:
        section.fault("flat_duty_up_to", "nothing", "write the goods value up to which flat_duty_rate holds")
    if up_to and flat is None and "flat_duty_rate" not in section.bad:
        section.fault("flat_duty_rate", "nothing", "write the rate that holds up to flat_duty_up_to")
    if not read["as_of"] and "as_of" not in section.bad and any(s.imported for s in sellers):
        defaults.text("customs_as_of")
    buyer = read["buyer"] or defaults.text("buyer")
    more: dict[str, Any] = {
        "flat_duty_up_to": up_to or 0.0,
        "buyer": "VAT-registered" if buyer == "vat-registered" else "private",
    }
    return Customs(**{**read, **more})


def wishes(toml: TomlFile, reading: Reading, defaults: Defaults) -> OrderWishes:
    """What the owner asks of an order; a blank ``today`` is left to whoever asks."""
    section = toml.section("order")
    deadline, by = section.number("deadline_days"), section.choice("deadline_by")
    if not by:
        by = (defaults.text("deadline_by") if deadline is not None else str(defaults.peek("deadline_by"))).casefold()
    return OrderWishes(
        deadline_days=deadline,
        deadline_by="likely" if by == "likely" else "P90",
        without=_without(section, reading),
        **section.these("today", "most_parcels"),
        **defaults.complete(section, "price_inflation_rate", "old_after_days"),
    )


def _without(section: Section, reading: Reading) -> tuple[str, ...]:
    found, suppliers = [], reading.suppliers
    for name in section.words("without"):
        spelt = suppliers.find(name)
        if not spelt and reading.sellers_known:
            section.fault("without", f"an unknown supplier {shown(name)}", suppliers.advice(section.problems, name))
        found.append(spelt or name)
    return tuple(dict.fromkeys(found))
