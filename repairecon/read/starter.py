"""A new case folder, ready to be filled in."""

from __future__ import annotations

import os
from pathlib import Path

from repairecon.read.headings import FILES
from repairecon.read.problems import shown
from repairecon.read.tables import EXAMPLE
from repairecon.read.writing import write_all
from repairecon.records import RepaireconError

_HERE = Path(__file__).parent
_EXAMPLES = {
    "parts.csv": (
        {
            "part": "shaft seal",
            "quantity": "2",
            "needed": "always",
            "price_likely": "12.50",
            "standard_size": "40x62x10",
            "material": "NBR",
            "fluid": "gear oil",
            "makers_only": "no",
        },
        {
            "part": "shaft",
            "quantity": "1",
            "needed": "damage",
            "price_low": "120",
            "price_likely": "160",
            "price_high": "250",
            "lead_days_low": "3",
            "lead_days_likely": "8",
            "lead_days_high": "30",
        },
    ),
    "tasks.csv": (
        {
            "task": "take off",
            "stage": "removal",
            "by": "owner",
            "hours_low": "0.5",
            "hours_likely": "2",
            "hours_high": "5",
        },
        {"task": "lift-out", "stage": "removal", "cost_likely": "280", "vat": "in"},
    ),
    "events.csv": (
        {"event": "neglect", "outcome": "light", "chance": "0.7", "weight": "3"},
        {"event": "neglect", "outcome": "heavy", "chance": "0.3", "weight": "3"},
        {"event": "shaft", "given": "neglect=light", "outcome": "sound", "chance": "0.9", "seen_at": "strip"},
        {
            "event": "shaft",
            "given": "neglect=light",
            "outcome": "grooved",
            "chance": "0.1",
            "seen_at": "strip",
            "parts": "1 shaft",
            "extra_hours_likely": "1",
        },
        {"event": "shaft", "given": "neglect=heavy", "outcome": "sound", "chance": "0.4", "seen_at": "strip"},
        {
            "event": "shaft",
            "given": "neglect=heavy",
            "outcome": "grooved",
            "chance": "0.6",
            "seen_at": "strip",
            "parts": "1 shaft",
            "extra_hours_likely": "1",
        },
        {"event": "this unit", "outcome": "to blame", "chance": "0.93", "seen_at": "first run", "ways": "all"},
        {
            "event": "this unit",
            "outcome": "another is to blame",
            "chance": "0.07",
            "seen_at": "first run",
            "not_this_unit": "yes",
            "ways": "all",
        },
    ),
    "ways.csv": (
        {"way": "rebuild here", "kind": "rebuild", "life_years_likely": "12", "wear_kept": "0.2"},
        {"way": "new", "kind": "new", "price_likely": "640", "life_hours_likely": "3000", "warranty_months": "24"},
        {
            "way": "second-hand",
            "kind": "second-hand",
            "price_low": "90",
            "price_likely": "150",
            "price_high": "300",
            "p_never": "0.2",
            "instead": "new",
        },
    ),
    "suppliers.csv": (
        {
            "supplier": "bearing stockist",
            "role": "trade counter",
            "vat": "ex",
            "carriage_likely": "9",
            "free_above": "150",
            "minimum_order": "10",
            "discount_rate": "0.05",
            "card_fee_rate": "0.02",
            "insurance_rate": "0.01",
            "delivery": "post",
        },
    ),
    "carriage.csv": (
        {"supplier": "bearing stockist", "up_to_kg": "2", "quoted_likely": "9"},
        {"supplier": "bearing stockist", "up_to_kg": "20", "quoted_likely": "16"},
    ),
    "quotes.csv": (
        {
            "item": "shaft seal",
            "supplier": "bearing stockist",
            "designation": "40x62x10",
            "material": "NBR",
            "quoted_likely": "6.80",
            "pack": "1",
            "minimum_packs": "1",
            "breaks": "10 at 6.10; 50 at 5.40",
            "part_class": "generic part",
            "weight_kg": "0.03",
            "lead_days_likely": "2",
            "quoted_on": "2026-03-31",
            "valid_until": "2026-06-30",
        },
    ),
    "looks.csv": (
        {
            "look": "test it where it sits",
            "event": "this unit",
            "hours_low": "0.3",
            "hours_likely": "0.5",
            "hours_high": "1.5",
            "p_right": "0.9",
        },
        {"look": "let a shop look at the shaft", "event": "shaft", "cost_likely": "45", "days_likely": "1"},
        {"look": "ask for a firm price", "price_of": "second-hand", "hours_likely": "0.2"},
    ),
    "lives.csv": (
        {"way": "rebuild here", "years": "9", "hours": "1400", "failed": "yes"},
        {"way": "rebuild here", "years": "6.5", "failed": "no"},
        {"way": "new", "hours": "2600", "failed": "yes"},
    ),
}


def _row(cells: list[str]) -> str:
    return ",".join(f'"{c}"' if "," in c else c for c in cells) + "\r\n"


def _table(file: str) -> str:
    """Headings and example rows, which are left out until ``example:`` is taken away."""
    columns = [c for c in FILES[file].columns if not c.endswith("_shape")]
    lines = [_row(columns)]
    for example in _EXAMPLES[file]:
        cells = [example.get(column, "") for column in columns]
        cells[0] = f"{EXAMPLE} {cells[0]}"
        cells[columns.index("note")] = "invented; take example: away to use this row"
        lines.append(_row(cells))
    return "".join(lines)


def new_case(folder: str | os.PathLike[str]) -> Path:
    """Write a starter case folder: three invented numbers to be replaced, all else ready to be filled in.

    Parameters
    ----------
    folder
        A folder that is not there yet, or is empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RepaireconError
        If something is there already, or it cannot be written; nothing is written then.
    """
    target = Path(folder)
    if os.path.lexists(target) and not target.is_dir():
        raise RepaireconError(f"{shown(str(target))} is a file: name a new folder")
    try:
        filled = target.is_dir() and any(target.iterdir())
    except OSError as error:
        raise RepaireconError(f"{shown(str(target))} cannot be read: name a new folder") from error
    if filled:
        raise RepaireconError(f"{shown(str(target))} is not empty: name a new folder")
    files = {"case.toml": (_HERE / "starter_case.toml").read_bytes()}
    files |= {file: _table(file).encode("utf-8") for file in FILES}
    write_all(target, files)
    return target
