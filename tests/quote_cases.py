"""Case folders of quotes for the tests, from plain rows. Figures are invented unless a test names a source."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.case_folder import read_case
from repairecon.records import Case

Row = Mapping[str, Any]


def write_rows(path: Path, rows: Sequence[Row]) -> None:
    heads = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, heads)
        writer.writeheader()
        writer.writerows(rows)


def case_of(
    folder: Path, parts: Sequence[Row], suppliers: Sequence[Row], quotes: Sequence[Row], toml: str = ""
) -> Case:
    """A case with these parts, suppliers and quotes; ``toml`` holds further sections."""
    folder.mkdir(exist_ok=True)
    (folder / "case.toml").write_text(
        f'[unit]\nname = "pump"\nkind = "raw water pump"\n[three_numbers]\nprice_new = 900\nwait_days = 5\n{toml}'
    )
    write_rows(folder / "parts.csv", parts)
    write_rows(folder / "suppliers.csv", suppliers)
    write_rows(folder / "quotes.csv", quotes)
    return read_case(folder)


def quotes_of(prices: Mapping[tuple[str, str], float], **more: Any) -> list[dict[str, Any]]:
    """Rows of quotes.csv from (part, supplier) -> price."""
    return [{"item": part, "supplier": name, "quoted_likely": price, **more} for (part, name), price in prices.items()]


def table(path: Path) -> tuple[list[str], list[list[float]]]:
    """Headings and numbers of a plain CSV file; lines that begin with # are left out."""
    with path.open() as file:
        head, *rows = csv.reader(line for line in file if not line.startswith("#"))
    return head, [[float(x) for x in row] for row in rows]


def named(prefix: str, many: int) -> Iterable[str]:
    return [f"{prefix} {k + 1}" for k in range(many)]
