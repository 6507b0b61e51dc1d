"""The second job: which quotes to take, what each comes to at the door; several jobs ordered together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import date
from functools import cached_property
from math import inf
from typing import Any

import pandas as pd

from repairecon.buying.basket import Basket, Clock, cheapest_basket, check_size
from repairecon.buying.offers import Offered, order_of, today_of, weigh
from repairecon.buying.other_baskets import frontier, quick_basket
from repairecon.compare_quotes import tables
from repairecon.read.problems import Names, Problems, key
from repairecon.rebuild_or_buy.learned import with_waits_kept
from repairecon.records import Case, OrderWishes, Part, Quote, RepaireconError, Supplier
from repairecon.show.sheet import Panel, Shown

SECONDS = 60.0
MANY_QUOTES, FEW_DAYS = 300, 3
"""With more quotes than these, what is around the basket is worked out of few quotes a part and for few deadlines: each
proven answer more is a search as long as the first, and an owner would wait minutes for them."""


@dataclass(frozen=True, repr=False)
class QuotesAnswer(Shown):
    """The cheapest basket, and around it what is worked out when it is first asked for; money in the home currency.

    ``lines`` has a row a quote for a wanted part: what it is, how it fits, its age and days, ``alone`` (landed, all
    the pieces wanted, ordered alone), ``packs`` bought of it, ``enters_below`` (the price as quoted under which it
    would enter the basket), ``left_out`` (why it may not be bought). ``basket`` has a row a line bought, every charge
    in a column of its own and ``landed``, their sum. ``alternatives`` has a row another way of ordering, ``frontier`` a
    row a deadline, ``equivalents`` a row a quote whose designation was held against the one wanted, ``ask`` a row a
    quote of which the tables cannot tell whether it is the part, ``uncovered`` (part, why). All searches share the time
    allowed: ``late`` names what was not worked out in it.
    """

    case: Case
    wanted: Mapping[str, int]
    wishes: OrderWishes
    offers: tuple[Offered, ...] = field(repr=False)
    found: Basket = field(repr=False)
    seconds: float
    clock: Clock = field(repr=False)
    late: list[str] = field(default_factory=list)

    def said(self) -> Panel:
        """What is ordered for, and from whom to order."""
        from repairecon.compare_quotes.summary import verdict

        return verdict(self)

    @property
    def today(self) -> date:
        """The day the owner decides on."""
        return today_of(self.wishes)

    @cached_property
    def basket(self) -> pd.DataFrame:
        return tables.bought(self.offers, self.found)

    @property
    def total(self) -> float:
        """Landed cost of the basket."""
        return self.found.total if self.found.packs else 0.0

    @property
    def proven(self) -> bool:
        """Whether no basket is cheaper."""
        return self.found.proven

    @property
    def gap(self) -> float:
        """What a cheaper basket could save at most."""
        return self.found.gap

    @property
    def days(self) -> float:
        """Days until all is here."""
        return self.found.days

    @cached_property
    def uncovered(self) -> tuple[tuple[str, str], ...]:
        return tuple((u.part, tables.why_uncovered(self.case, self.offers, u)) for u in self.found.uncovered)

    @property
    def many(self) -> bool:
        """Whether there are so many quotes that what is around the basket must be quick."""
        return len(self.offers) > MANY_QUOTES

    @contextmanager
    def _searching(self) -> Iterator[Clock]:
        """Half of the time that is left, so that no question takes all that the others need."""
        self.clock.go_on()
        yield self.clock.part(0.5)
        self.clock.pause()

    @cached_property
    def by_days(self) -> list[Basket]:
        """The cheapest basket for each deadline that is worth something, for the parts of the basket."""
        if not self.found.packs:
            return []
        order = replace(self.found.covered_order, deadline_days=inf)
        start = None if self.wishes.deadline_days is not None and not self.many else self.found
        with self._searching() as clock:
            found = frontier(order, clock, start, FEW_DAYS if self.many else inf)
            self.late.extend([tables.BY_DAYS] if clock.left <= 0.0 else [])
        return [b for b in found if tables.tells(b)] if self.many else found

    @cached_property
    def frontier(self) -> pd.DataFrame:
        rows = [(b.days, b.total, len(b.parcels), ", ".join(b.suppliers), b.proven) for b in self.by_days]
        return pd.DataFrame(rows, columns=["days", "total", "parcels", "suppliers", "proven"])

    @cached_property
    def ask(self) -> pd.DataFrame:
        asked = (o for o in self.offers if o.ask)
        rows = [(o.quote.item, o.quote.supplier, o.quote.designation, o.ask, str(o.quote.source)) for o in asked]
        return pd.DataFrame(rows, columns=["part", "supplier", "offered", "question", "source"])

    @cached_property
    def alternatives(self) -> pd.DataFrame:
        asked, by_days = any(o.ask for o in self.offers), self.by_days
        all_fit = order_of(self.case, self.wanted, self.offers, self.wishes, all_fit=True) if asked else None
        with self._searching() as clock:
            ways, late = tables.other_ways(self.found, all_fit, by_days, clock, self.many)
        self.late.extend(late)
        return tables.alternatives(ways, self.found)

    @property
    def saved_without_badge(self) -> float:
        """What the basket saves against the maker's parts throughout; 0 where these cover other parts."""
        rows = self.alternatives.set_index("way")
        if not {tables.MAKERS_ONLY, tables.CHOSEN} <= set(rows.index):
            return 0.0
        makers, chosen = rows.loc[tables.MAKERS_ONLY], rows.loc[tables.CHOSEN]
        return float(makers["over"]) if set(makers["lacks"]) == set(chosen["lacks"]) else 0.0

    @cached_property
    def alone(self) -> tuple[float, ...]:
        """Landed cost of each quote ordered alone, nan if not sold so."""
        return tuple(tables.alone(self.found.order, k) for k in range(len(self.offers)))

    @cached_property
    def enters(self) -> dict[int, float]:
        """Price as quoted at which a quote would enter the basket, of those nearest to it."""
        with self._searching() as clock:
            if clock.left > 0.0:
                return tables.entering(self.found, clock.part(1.0, tables.ENTERING), self.many)
        self.late.append(tables.ENTERS)
        return {}

    @cached_property
    def lines(self) -> pd.DataFrame:
        return tables.lines(self.offers, self.found, self.alone, self.enters)

    @cached_property
    def equivalents(self) -> pd.DataFrame:
        return tables.equivalents(self.offers, self.alone)


def compare_quotes(
    case: Case,
    *,
    wanted: Mapping[str, int] | None = None,
    also_damage: bool = False,
    deadline_days: float | None = None,
    most_parcels: int | None = None,
    without: tuple[str, ...] | None = None,
    take_near: bool = False,
    seconds: float = SECONDS,
) -> QuotesAnswer:
    """The cheapest basket among the quotes of a case; what lies around it is worked out when asked for [home money].

    ``wanted`` is part -> pieces (None: the parts that are always needed), ``also_damage`` takes those that only damage
    would need, too. ``deadline_days`` (within which all must be here [day]), ``most_parcels`` and ``without``
    (suppliers left out) stand in place of the case's wishes. ``take_near`` allows quotes whose designation is near the
    wanted one but not the same. ``seconds`` are for all searches together, the basket first [s].
    """
    faults = [] if seconds > 0.0 else [f"seconds: found {seconds}; give more than 0"]
    case = with_waits_kept(case)
    pieces = wanted_parts(case, wanted, also_damage, faults)
    wishes = _wishes(case, {"deadline_days": deadline_days, "most_parcels": most_parcels}, without, faults)
    if faults:
        raise RepaireconError("\n".join(faults))
    offers = weigh(case, pieces, wishes, take_near)
    order = order_of(case, pieces, offers, wishes)
    check_size(order)
    clock, many = Clock(seconds), len(offers) > MANY_QUOTES
    found = cheapest_basket(order, clock.part(0.7) if many else clock)
    if many and found.status == "out of time" and not found.packs:
        found = quick_basket(order, clock)
    clock.pause()
    return QuotesAnswer(case, pieces, wishes, offers, found, seconds, clock)


def _wishes(
    case: Case, limits: Mapping[str, float | None], without: tuple[str, ...] | None, faults: list[str]
) -> OrderWishes:
    """The case's wishes with those given in their place; suppliers are found whatever their case."""
    given: dict[str, Any] = {name: value for name, value in limits.items() if value is not None}
    for name, least, unit, kind in (("deadline_days", 0, "days of 0", float), ("most_parcels", 1, "1", int)):
        if not given.get(name, least) >= least:
            faults.append(f"{name}: found {given.pop(name)}; give {unit} or more")
        elif name in given:
            given[name] = kind(given[name])
    if without is not None:
        sellers = Names(s.supplier for s in case.suppliers)
        unknown = [name for name in without if name not in sellers]
        faults += [f"without: no supplier is called {n!r}; {sellers.advice(Problems(), n)}" for n in unknown]
        given["without"] = tuple(sellers.find(name) for name in without)
    return replace(case.wishes, **given)


def wanted_parts(case: Case, wanted: Mapping[str, int] | None, also_damage: bool, faults: list[str]) -> dict[str, int]:
    """Pieces to buy: of the parts always needed, of those of the damage too, or as named."""
    pieces = _lacking(case, also_damage) if wanted is None else _named(case, wanted, faults)
    if not pieces and not faults:
        faults.append(
            "nothing to order: every part that is always needed lies aboard (--also-damage, or name some)"
            if case.from_stock
            else "no part is wanted: add parts that are always needed to parts.csv, or name some"
        )
    return pieces


def _lacking(case: Case, also_damage: bool) -> dict[str, int]:
    """Pieces that the plan and what was found inside take, less those aboard."""
    needed = Counter({p.part: p.quantity for p in case.parts if p.needed == "always" or also_damage})
    for name in {piece.strip() for piece in case.found.split(";")}:
        brought = Counter[str]()
        for branch in case.branches:
            if branch.key == name:  # under several conditions it brings its parts once
                brought |= Counter(dict(branch.parts))
        needed += brought
    needed -= Counter({x.part: x.have for x in case.from_stock})
    return {p.part: needed[p.part] for p in case.parts if needed[p.part]}


def _named(case: Case, wanted: Mapping[str, int], faults: list[str]) -> dict[str, int]:
    known, pieces = Names([*(p.part for p in case.parts), *(w.way for w in case.ways)]), dict[str, int]()
    for name, count in wanted.items():
        if name not in known:
            faults.append(f"wanted: no part or way is called {name!r}; {known.advice(Problems(), name)}")
        elif known.find(name) in pieces:
            faults.append(f"wanted: {name} twice; name each part once")
        elif count < 1:
            faults.append(f"wanted: found {count} of {name}; give 1 or more")
        else:
            pieces[known.find(name)] = count
    return pieces


# ---- several jobs ordered together: the same part is one part, so that packs and carriage are shared --------------
_SHARED: dict[str, Callable[[Case], object]] = {
    "home money": lambda case: case.terms.currency, "rate of tax": lambda case: case.terms.vat_rate,
    "rates of exchange": lambda case: dict(case.terms.exchange),
    "terms at the border": lambda case: _bare(case.customs),
}  # fmt: skip
"""What jobs must share to be in one parcel."""


def together(cases: Sequence[Case], also_damage: bool = False) -> tuple[Case, dict[str, dict[str, int]]]:
    """One case made of several, of one or several boats, and the pieces wanted of each part by job.

    Parts of the same standard size and material are one part, else those of the same name for a kind of unit.
    RepaireconError with all that differs where the jobs do not buy on the same terms.
    """
    first = cases[0]
    faults = [
        f"{case.folder}: another {what} than {first.folder}"
        for case in cases[1:] for what, of in _SHARED.items() if of(case) != of(first)
    ]  # fmt: skip
    names: dict[tuple[str, ...], str] = {}
    parts: dict[str, Part] = {}
    quotes: dict[str, Quote] = {}
    sellers: dict[str, Supplier] = {}
    shares: dict[str, dict[str, int]] = {}
    for case in cases:
        called = {p.part: _name(p, case, names, parts) for p in case.parts}
        for seller in case.suppliers:
            known = sellers.setdefault(key(seller.supplier), seller)
            if _bare(known) != _bare(seller):
                faults.append(f"{case.folder}: {seller.supplier} has other terms than in the jobs before")
        for q in case.quotes:
            if q.item in called:
                named = replace(q, item=called[q.item])
                quotes.setdefault(_bare(named), named)
        wrong: list[str] = []
        for part, pieces in wanted_parts(case, None, also_damage, wrong).items():
            shares.setdefault(called[part], {})[case.folder] = pieces
    if faults:
        raise RepaireconError("These jobs cannot be ordered together:\n" + "\n".join(dict.fromkeys(faults)))
    if not shares:
        raise RepaireconError("nothing to order: no job wants a part that does not lie aboard")
    made = replace(
        first, unit=replace(first.unit, name=f"{len(cases)} jobs together"), parts=tuple(parts.values()),
        quotes=tuple(quotes.values()), suppliers=tuple(sellers.values()), from_stock=(), found="",
    )  # fmt: skip
    return made, shares


def _bare(x: Any) -> str:
    """A record without where it stands."""
    return repr({f.name: _bare(getattr(x, f.name)) for f in fields(x) if f.name != "source"} if is_dataclass(x) else x)


def _name(part: Part, case: Case, names: dict[tuple[str, ...], str], parts: dict[str, Part]) -> str:
    """The name of a part among all jobs; a name that stands for another part already gets its unit beside it."""
    sized = (key(part.standard_size), key(part.material))
    same = sized if part.standard_size else (key(part.part), key(case.unit.kind))
    mark = (*same, key(part.fluid), str(part.makers_only))
    if mark not in names:
        taken = key(part.part) in map(key, parts)
        names[mark] = f"{part.part} ({case.unit.name}, {len(parts) + 1})" if taken else part.part
        parts[names[mark]] = replace(part, part=names[mark])
    return names[mark]
