"""Several jobs ordered together: the same part is one part, so that packs, carriage and free limits are shared."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from repairecon.compare_quotes.job import wanted_parts
from repairecon.read.problems import key
from repairecon.records import Case, Part, Quote, RepaireconError, Supplier


@dataclass(frozen=True)
class Together:
    """One case made of several, what is wanted of each part, and of which jobs: ``shares`` pieces by job, by part."""

    case: Case
    wanted: dict[str, int]
    shares: dict[str, dict[str, int]]


def together(cases: Sequence[Case], also_damage: bool = False) -> Together:
    """The orders of several jobs, of one or several boats, put together; ``also_damage`` as for one.

    Parts of the same standard size and material are one part, else those of the same name for a kind of unit.
    RepaireconError with all that differs where the jobs do not buy on the same terms.
    """
    first, faults = cases[0], list(_unlike(cases))
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
    return Together(made, {part: sum(some.values()) for part, some in shares.items()}, shares)


def _bare(x: Any) -> str:
    """A record without where it stands."""
    return repr({f.name: _bare(getattr(x, f.name)) for f in fields(x) if f.name != "source"} if is_dataclass(x) else x)


def _unlike(cases: Sequence[Case]) -> Iterator[str]:
    """What the jobs do not share and must, to be in one parcel."""
    def terms(case: Case) -> dict[str, object]:
        t, border = case.terms, _bare(case.customs)
        return {"home money": t.currency, "rate of tax": t.vat_rate, "rates of exchange": dict(t.exchange),
                "terms at the border": border}  # fmt: skip

    first = cases[0]
    for case in cases[1:]:
        for what, a in terms(first).items():
            if a != terms(case)[what]:
                yield f"{case.folder}: another {what} than {first.folder}"


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


def shares_words(made: Together) -> list[str]:
    """Which job wants how many of what."""
    return [
        f"{part}: " + ", ".join(f"{pieces} for {folder}" for folder, pieces in some.items())
        for part, some in made.shares.items()
    ]
