"""The second job: which quotes to take, what each comes to at the door, and the same part without the badge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from repairecon.buying.basket import cheapest_basket
from repairecon.buying.basket_terms import Basket, Order
from repairecon.buying.offers import Offered, order_of, today_of, weigh
from repairecon.compare_quotes import orders as quote_orders
from repairecon.compare_quotes import tables as quote_tables
from repairecon.compare_quotes.wishes import asked
from repairecon.records import Assumed, Case, OrderLine, OrderTotal, OrderWishes

SECONDS = 60.0


@dataclass(frozen=True)
class QuotesAnswer:
    """All that the job found, money in the home currency.

    ``lines`` has a row a quote for a wanted part: what it is, how it fits, its age and days, ``alone`` (landed, all
    the pieces wanted, ordered alone), ``packs`` bought of it, ``enters_below`` (the price as quoted under which it
    would enter the basket), ``left_out`` (why it may not be bought). ``basket`` has a row a line bought, every charge
    in a column of its own and ``landed``, their sum. ``alternatives`` has a row another way of ordering, ``frontier`` a
    row a deadline, ``equivalents`` a row a quote whose designation was held against the one wanted, ``uncovered``
    (part, why).
    """

    case: Case
    wanted: Mapping[str, int]
    wishes: OrderWishes
    today: date
    lines: pd.DataFrame
    basket: pd.DataFrame
    total: float
    proven: bool
    gap: float
    days: float
    alternatives: pd.DataFrame
    frontier: pd.DataFrame
    equivalents: pd.DataFrame
    uncovered: tuple[tuple[str, str], ...]
    saved_without_badge: float
    assumed: tuple[Assumed, ...]
    found: Basket = field(repr=False)
    offers: tuple[Offered, ...] = field(repr=False)

    def order_lines(self) -> tuple[OrderLine, ...]:
        """What to write to each supplier."""
        return quote_orders.order_lines(self.offers, self.found)

    def order_totals(self) -> tuple[OrderTotal, ...]:
        """What each supplier's invoice should say."""
        return quote_orders.order_totals(self.offers, self.found)


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
    """Choose among the quotes of a case.

    ``wanted`` part -> pieces, else the parts that are always needed (``also_damage``: those of the damage too);
    ``deadline_days``, ``most_parcels`` and ``without`` take the place of the case's wishes; ``take_near`` allows quotes
    whose designation is near the wanted one but not the same; ``seconds`` is the time allowed to each search.
    """
    pieces, wishes = asked(case, wanted, also_damage, deadline_days, most_parcels, without)
    offers = weigh(case, pieces, wishes, take_near)
    order = order_of(case, pieces, offers, wishes)
    basket = cheapest_basket(order, seconds)
    alternatives = quote_tables.alternatives(order, basket, seconds)
    return QuotesAnswer(
        case=case,
        wanted=pieces,
        wishes=wishes,
        today=today_of(wishes),
        lines=quote_tables.lines(order, offers, basket, seconds),
        basket=quote_tables.bought(offers, basket),
        total=basket.total if basket.packs else 0.0,
        proven=basket.proven,
        gap=basket.gap,
        days=basket.days,
        alternatives=alternatives,
        frontier=quote_tables.frontier(order, basket, seconds),
        equivalents=quote_tables.equivalents(order, offers),
        uncovered=tuple((u.part, quote_tables.why_uncovered(case, offers, u)) for u in basket.uncovered),
        saved_without_badge=quote_tables.saved_without_badge(alternatives),
        assumed=case.assumed,
        found=basket,
        offers=offers,
    )


__all__ = ["Order", "QuotesAnswer", "compare_quotes"]
