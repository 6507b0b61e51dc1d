"""events.csv to the branches of the probability tree."""

from __future__ import annotations

import re
from dataclasses import replace

from repairecon.read import values
from repairecon.read.conditions import check_tree
from repairecon.read.defaults import default_events
from repairecon.read.names import Names, key
from repairecon.read.parts_tasks import VAT, check_wanted
from repairecon.read.problems import shown
from repairecon.read.reading import Reading
from repairecon.read.rows import Row
from repairecon.records import STAGES, Branch, Part, Range, Source

_COUNT = re.compile(r"([0-9]{1,6})\s*x?\s+(.+)|([0-9]{1,6})x(.+)")
_BRINGS = (
    ("extra_hours", "more hours"),
    ("share_of_new", "of the price of new"),
    ("extra_days", "more days"),
)
_ENDS = (
    ("ends_rebuild", "the rebuild ends"),
    ("core_refused", "the core is refused"),
    ("not_this_unit", "the fault is elsewhere"),
)
_CONSEQUENCES = ("extra_hours", "outside_cost", "extra_days")


class Outcomes:
    """Events and their outcomes by name."""

    def __init__(self, rows: list[Row], whole: bool = True) -> None:
        self.events = Names(whole=whole)
        self.outcomes: dict[str, Names] = {}
        for row in rows:
            event, outcome = row.text("event"), row.text("outcome")
            if not event:
                self.events.whole = False
                continue
            self.events.add(event)
            names = self.outcomes.setdefault(key(event), Names())
            if outcome:
                names.add(outcome)
            else:
                names.whole = False


def outcomes(reading: Reading) -> Outcomes:
    """Events and outcomes of the case, or of the default tree."""
    table = reading.tables["events.csv"]
    return Outcomes(table.rows, table.whole) if table.given else Outcomes(default_events().rows)


def branches(reading: Reading, made: tuple[Part, ...], price_new: float | None) -> tuple[Branch, ...]:
    """The tree, the default one if none is given."""
    table = reading.tables["events.csv"]
    if not table.given:
        return _default_branches(reading, price_new or 0.0)
    known = outcomes(reading)
    wanted: dict[str, None] = {}
    read = [_branch(reading, row, known, wanted) for row in table.rows]
    for part in made:
        if part.part in wanted:
            check_wanted(reading, part, "an outcome in events.csv needs it")
    return check_tree(table.rows, read)


def _branch(reading: Reading, row: Row, known: Outcomes, wanted: dict[str, None]) -> Branch:
    reading.keep_note(row)
    event = row.required("event", "name the event")
    outcome = row.required("outcome", "name the outcome")
    names = known.outcomes.get(key(event), Names())
    if not row.has("chance"):
        row.required("chance", "write a chance from 0 to 1")
    chance = row.number("chance", values.FRACTION)
    weight = row.number("weight", values.WEIGHT)
    if weight is None:
        weight = 0.0 if row.has("weight") else reading.defaults.number("event_weight")
    vat = row.choice("vat", VAT, "in")
    parts = _parts(reading, row, wanted)
    cost = reading.money.with_vat(reading.amount(row, "outside_cost", values.MONEY), vat)
    branch = Branch(
        event=known.events.find(event) or event,
        given=_given(row, known),
        outcome=names.find(outcome) or outcome,
        chance=0.0 if chance is None else chance,
        weight=weight,
        seen_at=row.choice("seen_at", STAGES, ""),
        parts=parts,
        extra_hours=reading.amount(row, "extra_hours", values.HOURS),
        by=reading.worker(row, "by"),
        outside_cost=cost,
        extra_days=reading.amount(row, "extra_days", values.DAYS),
        ends_rebuild=row.yes("ends_rebuild"),
        core_refused=row.yes("core_refused"),
        ways=reading.ways_cell(row),
        source=row.source,
        not_this_unit=row.yes("not_this_unit"),
    )
    if branch.not_this_unit and branch.ends_rebuild:
        row.fault(
            "not_this_unit",
            f"{shown(branch.key)}, which also ends the rebuild",
            "write no in one of the two: a unit that is not to blame is not past rebuilding",
        )
    if not row.has("seen_at"):
        _check_hidden(row, branch)
    return branch


def _check_hidden(row: Row, branch: Branch) -> None:
    """A cause that is never seen costs nothing by itself."""
    costs = [f"{name}_likely" for name in _CONSEQUENCES if row.has_range(name) and getattr(branch, name).high > 0]
    costs += [name for name, _ in _ENDS if getattr(branch, name)]
    for column in (["parts"] if branch.parts else []) + costs:
        row.fault(
            column,
            f"a consequence of {shown(branch.key)}, which is never seen",
            f"write in seen_at when it shows ({', '.join(STAGES)}), or move the consequence to an event "
            "given by this one",
        )


def _given(row: Row, known: Outcomes) -> tuple[tuple[str, str], ...]:
    """Conditions, each event once, in order of name."""
    conditions: dict[str, str] = {}
    for word in row.text("given").split(";"):
        if not word.strip():
            continue
        event, equals, outcome = (w.strip() for w in word.partition("="))
        if not equals or not event or not outcome:
            row.fault("given", shown(word.strip()), "write event=outcome, several with ; between")
            continue
        event, outcome = _known(row, known, event, outcome)
        if conditions.get(event, outcome) != outcome:
            row.fault("given", f"{shown(event)} with two outcomes", "keep one: they cannot both hold")
        conditions[event] = outcome
    return tuple(sorted(conditions.items()))


def _known(row: Row, known: Outcomes, event: str, outcome: str) -> tuple[str, str]:
    """A condition as its event spells it."""
    found = known.events.find(event)
    if not found:
        if known.events.whole:
            row.fault("given", f"an unknown event {shown(event)}", known.events.advice(row.problems, event))
        return event, outcome
    names = known.outcomes[key(event)]
    if outcome not in names and names.whole:
        row.fault(
            "given",
            f"an unknown outcome {shown(outcome)} of {shown(found)}",
            names.advice(row.problems, outcome),
        )
    return found, names.find(outcome) or outcome


def _parts(reading: Reading, row: Row, wanted: dict[str, None]) -> tuple[tuple[str, int], ...]:
    """Parts that an outcome needs, with counts."""
    needs: dict[str, int] = {}
    for raw in row.text("parts").split(";"):
        word = raw.strip()
        if not word:
            continue
        count, name = _counted(reading.parts, word)
        found = reading.parts.find(name)
        if count < 1:
            row.fault("parts", shown(word), "write how many, 1 or more, before the part")
        elif found:
            needs[found] = needs.get(found, 0) + count
            wanted[found] = None
        elif reading.parts.whole:
            row.fault("parts", f"an unknown part {shown(name)}", reading.parts.advice(row.problems, name))
    return tuple(needs.items())


def _counted(parts: Names, word: str) -> tuple[int, str]:
    """``2 bearing`` as (2, bearing); a part whose name begins with a number goes before."""
    counted = _COUNT.fullmatch(word)
    if word in parts or counted is None:
        return 1, word
    return int(counted[1] or counted[3]), (counted[2] or counted[4]).strip()


def _default_branches(reading: Reading, price_new: float) -> tuple[Branch, ...]:
    """The default tree; its money is a share of the price of new."""
    table = default_events()
    known = Outcomes(table.rows)
    made = []
    for row in table.rows:
        branch = _branch(reading, row, known, {})
        share = reading.amount(row, "share_of_new", values.FRACTION)
        source = Source(row.file, row.row, row.text("source"))
        cost = Range(share.low * price_new, share.likely * price_new, share.high * price_new, source=source)
        made.append(replace(branch, outside_cost=cost, source=source))
    _list_assumed(reading, table.rows)
    return check_tree(table.rows, made)


def _list_assumed(reading: Reading, rows: list[Row]) -> None:
    """List the chances of each event under each condition, and what each outcome brings."""
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        groups.setdefault((row.text("event"), row.text("given")), []).append(row)
    for (event, given), group in groups.items():
        chances = "; ".join(f"{row.text('outcome')} {row.text('chance')}" for row in group)
        where = f" given {given}" if given else ""
        reading.defaults.note(f"chances: {event}{where}", chances, "chance", group[0].text("source"))
    for row in rows:
        brings = [
            f"{' / '.join(row.text(f'{name}_{end}') for end in ('low', 'likely', 'high'))} {unit}"
            for name, unit in _BRINGS
            if row.has_range(name)
        ]
        brings += [words for column, words in _ENDS if row.yes(column)]
        title = f"what {row.text('event')}={row.text('outcome')} brings"
        if brings:
            reading.defaults.note(title, "; ".join(brings), "low / likely / high", row.text("source"))
