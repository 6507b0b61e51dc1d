"""The list of all spares for an insurer, as a table any program opens."""

from __future__ import annotations

from pathlib import Path

from repairecon.read.files import replace_all
from repairecon.read.sheet_writing import Value, csv_text, workbook_bytes
from repairecon.records import RepaireconError
from repairecon.spares_aboard.answer import SparesAnswer


def write_insurance(answer: SparesAnswer, path: Path) -> None:
    """Write what is there, how many, where, bought when and from whom, what it cost and what it would cost now.

    Raises
    ------
    RepaireconError
        If the name ends neither in .csv nor in .xlsx, or the file cannot be written.
    """
    frame = answer.insurance
    rows: list[list[Value]] = [[*map(str, frame.columns), "currency"]]
    rows += [[*(_plain(v) for v in row), answer.currency] for row in frame.itertuples(index=False)]
    total: list[Value] = [f"all, {answer.today.isoformat()}", *[None] * (len(frame.columns) - 1), answer.currency]
    for name in ("cost", "replacement"):
        total[list(frame.columns).index(name)] = float(frame[name].sum())
    rows.append(total)
    form = path.suffix.casefold()
    if form not in (".csv", ".xlsx"):
        raise RepaireconError(f"{path.name}: write a name that ends in .csv or .xlsx")
    data = csv_text(rows, defuse=True).encode("utf-8-sig") if form == ".csv" else workbook_bytes({"spares": rows})
    replace_all(path.parent, {path.name: data})


def _plain(value: object) -> Value:
    if isinstance(value, float):
        return None if value != value else int(value) if value == int(value) else value
    return str(value)
