"""The sections of case.toml: the failed unit, waivers, the owner's terms, the years, the border, wishes of an order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from repairecon.kinds import KindMatch, match_kind, match_symptom, settle
from repairecon.read.defaults import Defaults, cautions
from repairecon.read.events import Outcomes
from repairecon.read.problems import Names, key, shown
from repairecon.read.reading import Money, Reading
from repairecon.read.tables import Table
from repairecon.read.toml_file import Section, TomlFile
from repairecon.read.values import listed, plain
from repairecon.records import NOTHING, SAFETY_CLASSES, Branch, Needed, Supplier, Terms, Unit, Years
from repairecon.records.supply import Customs, OrderWishes


def unit(toml: TomlFile, defaults: Defaults) -> Unit:
    """The failed unit; its price is filled in later."""
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


def waivers(toml: TomlFile, ways: Names) -> dict[str, str]:
    """Written reasons for going past the safety screen, by way."""
    return {s.named("way", ways): s.text("reason") for s in toml.sections("waiver")}


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
    cap_chance, elsewhere = owner.number("cap_chance"), owner.number("elsewhere_days")
    if cap_chance is None:
        capped = owner.number("cap_cost") is not None
        cap_chance = defaults.number("cap_chance") if capped else float(defaults.peek("cap_chance"))
    if elsewhere is None:
        elsewhere = defaults.number("elsewhere_days") if wrong_unit else 0.0
    return defaults.record(
        Terms, owner, currency=money.currency, vat_rate=money.vat_rate_unlisted, exchange=dict(money.exchange),
        exchange_date=money.exchange_date, labour=dict(reading.labour.rates), cost_own_hour=own_hour,
        cost_lost_day=lost_day or NOTHING, own_hour_stated=own_hour_stated, lost_day_stated=lost_day_stated,
        cap_chance=cap_chance, elsewhere_days=elsewhere,
    )  # fmt: skip


def needed(toml: TomlFile) -> Needed | None:
    """When the boat must be back in use, if the case says so."""
    if "needed" not in toml.data:
        return None
    section = toml.section("needed")
    needed = section.record(Needed)
    if not section.has("by") and not section.has("within_days"):
        section.fault("by", "neither by nor within_days", "write the day, or in how many days, the boat must be back")
    if section.has("by") and section.has("within_days"):
        section.fault("within_days", "days beside a date", "keep one of the two")
    return needed


def found_in_words(toml: TomlFile) -> str:
    """What is found already in the owner's own words, without an event of the tree."""
    return "; ".join(w for w in listed(toml.section("unit").text("found")) if "=" not in w)


def found(toml: TomlFile, branches: Sequence[Branch], heard: str, *, strict: bool) -> str:
    """What is found already, as events and outcomes of the tree; ``heard`` is what the sentence on the symptom says.

    Not ``strict`` where the tree of the kind is not laid beneath: what it alone knows is then passed over.
    """
    section, unit = toml.section("found"), toml.section("unit")
    said = [(section, name, name, section.text(name)) for name in section.cells]
    for word in listed(unit.text("found")):
        if "=" not in word:  # in the owner's own words: heard with the sentence on the symptom
            continue
        event, _, outcome = word.partition("=")
        said.append((unit, "found", event.strip(), outcome.strip()))
    known, made = Outcomes((b.event, b.outcome) for b in branches), {}
    for where, column, event, outcome in said:
        if strict or event in known.events:
            event, outcome = known.spelt(where, event, outcome, (column, column))
            made[event] = outcome
    event, _, outcome = heard.partition("=")
    if any((b.event, b.outcome) == (event, outcome) for b in branches):
        made.setdefault(event, outcome)
    return "; ".join(f"{event}={outcome}" for event, outcome in made.items())


def measured(toml: TomlFile) -> str:
    """What was measured, as measure=value pieces; numbers may stand without quotes."""
    section = toml.section("measured")
    texts = ((n, plain(v) if isinstance(v, int | float) else section.text(n)) for n, v in section.cells.items())
    return "; ".join(f"{name}={text}" for name, text in texts if text)


def years(toml: TomlFile, money: Money, defaults: Defaults) -> Years:
    """The years as the owner sees them, completed out of ``defaults``."""
    section = toml.section("years")
    unit = money.per("each time, tax included")
    cost_away = section.range("cost_away") or money.from_euro(defaults.range("cost_away", unit=unit))
    return defaults.record(Years, section, cost_away=cost_away, horizon_stated=section.has("horizon_years"))


def customs(toml: TomlFile, sellers: Sequence[Supplier], defaults: Defaults) -> Customs:
    """Terms at the border; their date and the buyer matter once somebody sells from beyond it."""
    section = toml.section("customs")
    flat, up_to = section.number("flat_duty_rate"), section.number("flat_duty_up_to")
    if flat is not None and up_to is None and "flat_duty_up_to" not in section.bad:
        section.fault("flat_duty_up_to", "nothing", "write the goods value up to which flat_duty_rate holds")
    if up_to and flat is None and "flat_duty_rate" not in section.bad:
        section.fault("flat_duty_rate", "nothing", "write the rate that holds up to flat_duty_up_to")
    if not section.date("as_of") and "as_of" not in section.bad and any(s.imported for s in sellers):
        defaults.text("customs_as_of")
    buyer = section.choice("buyer") or defaults.text("buyer")
    registered = "VAT-registered" if buyer == "vat-registered" else "private"
    return section.record(Customs, flat_duty_up_to=up_to or 0.0, buyer=registered)


def wishes(toml: TomlFile, reading: Reading, defaults: Defaults) -> OrderWishes:
    """What the owner asks of an order; a blank ``today`` is left to whoever asks."""
    section = toml.section("order")
    known, whole, by = reading.suppliers, reading.sellers_known, section.choice("deadline_by")
    unknown = "an unknown supplier "
    without = (section.named("without", known, unknown, whole=whole, word=word) for word in section.words("without"))
    if not by:
        dated = section.number("deadline_days") is not None
        by = (defaults.text("deadline_by") if dated else str(defaults.peek("deadline_by"))).casefold()
    deadline_by = "likely" if by == "likely" else "P90"
    return defaults.record(OrderWishes, section, deadline_by=deadline_by, without=tuple(dict.fromkeys(without)))
