"""The columns that each file of a case folder may have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Headings:
    """Columns of one file."""

    columns: tuple[str, ...]
    required: tuple[str, ...]
    known: frozenset[str]


def _headings(required: str, columns: str) -> Headings:
    """Headings from words; ``name*`` stands for the four columns of a range."""
    every: list[str] = []
    for word in columns.split():
        name = word.removesuffix("*")
        every += [f"{name}_{end}" for end in ("low", "likely", "high", "shape")] if word != name else [word]
    every += [c for c in ("description", "note") if c not in every]
    return Headings(tuple(every), tuple(required.split()), frozenset(every))


FILES: Mapping[str, Headings] = MappingProxyType(
    {
        "parts.csv": _headings(
            "part",
            "part description quantity needed price* vat lead_days* standard_size material fluid makers_only",
        ),
        "tasks.csv": _headings("task stage", "task stage by hours* cost* vat days* ways"),
        "events.csv": _headings(
            "event outcome chance",
            "event given outcome chance weight seen_at parts extra_hours* by outside_cost* vat extra_days* "
            "ends_rebuild core_refused not_this_unit ways",
        ),
        "ways.csv": _headings(
            "way kind",
            "way kind price* vat lead_days* p_never instead fitting_hours* fitting_by core_surcharge* "
            "core_carriage* p_refund core_if_stripped strip_charge* bought life_years* life_hours* life_shape "
            "wear_kept p_early warranty_months old_unit old_unit_price*",
        ),
        "suppliers.csv": _headings(
            "supplier",
            "supplier role currency vat vat_rate carriage* free_above minimum_order discount_rate card_fee_rate "
            "insurance_rate delivery imported duty_rate cost_handling lead_days*",
        ),
        "carriage.csv": _headings("supplier up_to_kg", "supplier up_to_kg quoted*"),
        "quotes.csv": _headings(
            "item supplier",
            "item supplier designation material quoted* pack minimum_packs breaks quoted_core* part_class weight_kg "
            "duty_rate lead_days* p_never quoted_on valid_until take_near",
        ),
        "looks.csv": _headings("look", "look event price_of cost* vat hours* days* p_right"),
        "lives.csv": _headings("way failed", "way years hours failed"),
    }
)
"""Files of a case folder beside case.toml."""

DEFAULT_TASKS = _headings("task stage source", "task stage by hours* share_of_kit* days* ways source")
DEFAULT_EVENTS = _headings(
    "event outcome chance source",
    "event given outcome chance weight seen_at parts extra_hours* by share_of_new* extra_days* "
    "ends_rebuild core_refused not_this_unit ways source",
)
DEFAULT_LOOKS = _headings("look event p_right source", "look event hours* days* p_right source")

COLUMNS = _headings("supplier column heading", "supplier column heading")
"""Which heading of a supplier's list is which column of quotes.csv."""

ACTUAL = _headings(
    "kind name", "kind name outcome quantity bought paid vat hours days by first_time from_spares years failed"
)
"""What an owner writes down of a job that has been done."""

JOB_LOG = _headings(
    "job unit kind name",
    "job closed_on unit kind name group given outcome chance p10 p50 p90 actual years hours first_time happened",
)
"""The rows of a log of jobs."""
