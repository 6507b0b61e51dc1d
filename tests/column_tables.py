"""The tables of notebooks/columns.md, made from what the reader declares."""

from __future__ import annotations

from repairecon.read.columns import ANY, CASE_FILES, FILES, Column, about, columns_of
from repairecon.read.files import rows_of
from repairecon.read.values import plain

_HEAD = """# Every column and key

Made from `repairecon/read/columns.csv`. A range is three columns, `_low`, `_likely`, `_high` (with only `_likely` it is
sure), and `_shape`. A default with @ stands in `repairecon/read/defaults.toml`."""
_TABLE = "| | what | unit | may be | blank means |\n|---|---|---|---|---|"


def table_of_files() -> str:
    """The files of a case as a table, with the columns that may not be missing."""
    lines = ["| file | a row is | needs |", "|---|---|---|"]
    for file in CASE_FILES:
        needed = ", ".join(f"`{name}`" for name in FILES[file].required)
        lines.append(f"| `{file}` | {about(file)[0]} | {needed} |")
    return "\n".join(lines)


def reference() -> str:
    """Every column and key with its meaning, unit, what may be written and what a blank one means."""
    lines = [_HEAD, "\nFiles of a case:\n", table_of_files()]
    for file, section in dict.fromkeys((row["file"], row["section"]) for row in rows_of("columns.csv")):
        declared = tuple(columns_of(file, section))
        if declared:
            title = "every CSV file" if file == ANY else f"{file} [{section}]" if section else file
            lines.append(f"\n## {title}\n\n{about(file, section)[0]}\n\n{_TABLE}")
            lines += [
                f"| `{c.name}`{' (needed)' if c.need else ''} | {c.meaning} | {c.unit} | {_may_be(c)} | {c.default} |"
                for c in declared
            ]
    return "\n".join(lines) + "\n"


def _may_be(column: Column) -> str:
    if column.options:
        return (" to " if column.type == "date" else ", ").join(column.options)
    if column.type in ("number", "whole", "fraction", "range"):
        low, high = plain(column.limits.low), plain(column.limits.high)
        sort = {"number": "", "range": "range, "}.get(column.type, f"{column.type}, ")
        return f"{sort}{'more than ' if column.limits.above else ''}{low} to {high}"
    return {"yes": "yes or no", "worker": "owner or one of [labour]", "ways": "ways"}.get(column.type, column.type)
