"""The dimension tables of this room, read when first asked for. The only module here that reads files."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

from repairecon.records import worst_status

Row = Mapping[str, str]

NAMES = (
    "batteries",
    "bearing_clearance",
    "bearing_marks",
    "bearing_name_clashes",
    "bearings",
    "bearings_more",
    "bearings_taper_inch",
    "belts_lengths",
    "belts_multirib",
    "belts_sections",
    "belts_synchronous",
    "brushes_sizes",
    "circlips_keys",
    "features",
    "fuse_speeds",
    "fuses_blade",
    "fuses_glass",
    "hose_bores",
    "hose_standards",
    "hose_tails",
    "hose_unfit_words",
    "lamp_bases",
    "lamp_festoon",
    "mechanical_seals",
    "oring_as568",
    "oring_metric",
    "pins_clips",
    "relays",
    "retaining_rings_heavy",
    "rubber_storage",
    "seal_materials",
    "seal_ranges",
    "seal_shafts",
    "seal_types",
    "seals",
    "stainless_classes",
    "stainless_grades",
    "threads",
    "threads_fit",
    "wear_limits",
    "woodruff_inch",
    "woodruff_metric",
    "words",
)


@cache
def rows(name: str) -> tuple[Row, ...]:
    """All rows of one table, cells as printed."""
    text = resources.files("repairecon.standards").joinpath(f"{name}.csv").read_text("utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


@cache
def by(name: str, key: Callable[[Row], Iterable[str]]) -> Mapping[str, Row]:
    """Rows of a table by the keys that ``key`` gives for each; the first row of a key stays."""
    found: dict[str, Row] = {}
    for row in rows(name):
        for word in key(row):
            if word:
                found.setdefault(word, row)
    return MappingProxyType(found)


def trust(used: Iterable[Row]) -> tuple[str, tuple[str, ...]]:
    """Worst status and the sources of some rows."""
    taken = tuple(used)
    return worst_status(row["status"] for row in taken), tuple(dict.fromkeys(row["source"] for row in taken))
