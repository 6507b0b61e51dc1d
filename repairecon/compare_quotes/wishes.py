"""What the owner asks of an order: the parts wanted and the wishes, every one that cannot be told at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from repairecon.read.problems import Names, Problems
from repairecon.records import Case, OrderWishes, RepaireconError


def asked(
    case: Case,
    wanted: Mapping[str, int] | None,
    also_damage: bool,
    deadline_days: float | None,
    most_parcels: int | None,
    without: tuple[str, ...] | None,
) -> tuple[dict[str, int], OrderWishes]:
    """Pieces by part or way, and the wishes; names are found whatever their case."""
    faults: list[str] = []
    pieces = wanted_parts(case, wanted, also_damage, faults)
    wishes = case.wishes
    if deadline_days is not None:
        if not deadline_days >= 0:
            faults.append(f"deadline_days: found {deadline_days}; give days of 0 or more")
        wishes = replace(wishes, deadline_days=float(deadline_days))
    if most_parcels is not None:
        if most_parcels < 1:
            faults.append(f"most_parcels: found {most_parcels}; give 1 or more")
        wishes = replace(wishes, most_parcels=most_parcels)
    if without is not None:
        sellers = Names(s.supplier for s in case.suppliers)
        unknown = [name for name in without if name not in sellers]
        faults += [f"without: no supplier is called {name!r}; {_instead(sellers, name)}" for name in unknown]
        wishes = replace(wishes, without=tuple(sellers.find(name) for name in without))
    if faults:
        raise RepaireconError("\n".join(faults))
    return pieces, wishes


def wanted_parts(case: Case, wanted: Mapping[str, int] | None, also_damage: bool, faults: list[str]) -> dict[str, int]:
    """Pieces to buy: of the parts always needed, of those of the damage too, or as named."""
    if wanted is None:
        pieces = {p.part: p.quantity for p in case.parts if p.needed == "always" or also_damage}
    else:
        known = Names([*(p.part for p in case.parts), *(w.way for w in case.ways)])
        pieces = {}
        for name, count in wanted.items():
            if name not in known:
                faults.append(f"wanted: no part or way is called {name!r}; {_instead(known, name)}")
            elif known.find(name) in pieces:
                faults.append(f"wanted: {name} twice; name each part once")
            elif count < 1:
                faults.append(f"wanted: found {count} of {name}; give 1 or more")
            else:
                pieces[known.find(name)] = count
    if not pieces and not faults:
        faults.append("no part is wanted: add parts that are always needed to parts.csv, or name some")
    return pieces


def _instead(known: Names, name: str) -> str:
    return known.advice(Problems(), name)
