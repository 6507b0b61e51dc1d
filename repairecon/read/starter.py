"""A new case folder, ready to be filled in; and the notebooks and demo cases that come with the package."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from repairecon.kinds import match_kind, match_symptom, settle
from repairecon.kinds.names import LEVELS
from repairecon.read.boat import JOBS, LOG, boat_folder
from repairecon.read.boat import TABLES as BOAT_TABLES
from repairecon.read.columns import ANY, BOAT, BOAT_SECTIONS, CASE, CASE_FILES, ENDS, FILES, Column, about, sections
from repairecon.read.default_rows import default_rows
from repairecon.read.defaults import Defaults
from repairecon.read.files import HERE, csv_text, write_all
from repairecon.read.problems import shown
from repairecon.read.reading import CODE
from repairecon.read.sheets import DEFAULT, EXAMPLE
from repairecon.read.tables import Row
from repairecon.read.toml_file import toml_value
from repairecon.read.values import plain
from repairecon.records import Range, RepaireconError

_FOLDERS = ("notebooks", "data")
_PACKAGE = HERE.parent
_HEAD = """# A case: one failed unit, to be rebuilt or bought. Lines that begin with # are left out.
# Three numbers are enough. Whatever else you leave out is assumed, and the answer lists it.
# In the CSV files rows that begin with "example:" or "default:" are left out: the latter are what is assumed.
# Uncertain numbers may be written as [low, likely, high]. Decimals have a point: 12.50. Rates: 0.20 for 20 %.
"""
_BOAT_HEAD = """# A boat: what is typed once and holds for each case in her folder jobs.
# A case's own key or row comes first.
# Her units stand in units.csv, who sells to you in suppliers.csv and carriage.csv, her spares in spares.book.
# Lines that begin with # are left out.
"""
_OPEN = ("name", "figures", "price_new", "price_kit", "wait_days")
"""Keys of a new case that are not commented out."""
_NOTE = "invented; take example: away to use this row"


def new_case(folder: str | os.PathLike[str], kind: str = "", symptom: str = "", **numbers: float) -> Path:
    """Write a starter case folder: three numbers to be replaced, all else ready to be filled in.

    Parameters
    ----------
    folder
        A folder that is not there yet, or is empty.
    kind, symptom
        What the unit is and what it does, in the owner's words; what is assumed of it then stands in the files.
    numbers
        ``price_new``, ``price_kit`` and ``wait_days``, as far as they are known; else they are invented.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RepaireconError
        If something is there already, or it cannot be written; nothing is written then.
    """
    target = empty_folder(folder)
    said = {"name": kind, "kind": kind, "symptom": symptom, **{k: plain(v) for k, v in numbers.items()}}
    unit, three = (sections(CASE)[name] for name in ("unit", "three_numbers"))
    values = {name: column.examples[0] for name, column in {**unit, **three}.items() if column.examples}
    values |= {k: v if k in three else toml_value(v) for k, v in said.items() if v}
    # of a known kind the kit's usual share of new is better than an invented price beside the owner's own
    left = {"price_kit"} - numbers.keys() if "price_new" in numbers and match_kind(kind).kind else set()
    own = {"figures"} if three.keys() - left <= numbers.keys() else set()
    open_ = {*_OPEN, *(k for k, v in said.items() if v)} - left - own
    files = {CASE: "\n".join(_case_lines(values, open_, BOAT_SECTIONS if boat_folder(target) else ())).encode("utf-8")}
    rows = _assumed(kind or unit["kind"].examples[0].strip('"'), symptom, values, with_kit=not left)
    files |= {file: csv_text(_table(file, rows.get(file, []))).encode("utf-8") for file in CASE_FILES}
    write_all(target, files)
    return target


def empty_folder(folder: str | os.PathLike[str]) -> Path:
    """A folder that is not there yet, or empty."""
    target = Path(folder)
    if os.path.lexists(target) and not target.is_dir():
        raise RepaireconError(f"{shown(str(target))} is a file: name a new folder")
    try:
        filled = target.is_dir() and any(target.iterdir())
    except OSError as error:
        raise RepaireconError(f"{shown(str(target))} cannot be read: name a new folder") from error
    if filled:
        raise RepaireconError(f"{shown(str(target))} is not empty: name a new folder")
    return target


def new_boat(folder: str | os.PathLike[str], name: str = "", currency: str = "", units: bytes = b"") -> str:
    """Write a boat's folder: her money, her owner's terms and her units to be filled in, room for her jobs and log.

    Parameters
    ----------
    folder
        A folder that is not there yet, or is empty.
    name, currency
        Her name, and her money in three letters.
    units
        What units.csv is to hold; left out: its headings.

    Returns
    -------
    str
        The currency of her money.

    Raises
    ------
    RepaireconError
        If something is there already, or it cannot be written; nothing is written then.
    """
    target = empty_folder(folder)
    if currency and not CODE.fullmatch(currency):
        raise RepaireconError(f"currency: found {shown(currency)}; write a three-letter code such as EUR")
    money = (currency or str(Defaults().peek("currency"))).upper()
    given = {"name": toml_value(name or "my boat"), "currency": toml_value(money)}
    files = {BOAT: "\n".join(_boat_lines(given)).encode("utf-8")}
    files |= {file: csv_text(_table(file, [])).encode("utf-8") for file in BOAT_TABLES}
    files |= {"units.csv": units} if units else {}
    write_all(target, files)
    for inside in (JOBS, LOG):
        (target / inside).mkdir()
    return money


def _boat_lines(given: Mapping[str, str]) -> Iterator[str]:
    """boat.toml with every section and key; what is given is open, all else commented out."""
    yield _BOAT_HEAD
    for section, declared in sections(BOAT).items():
        examples = [c for c in declared.values() if c.examples]
        if not examples:
            continue
        meaning, header = about(BOAT if section == "boat" else CASE, section)
        open_ = [c.name for c in examples if c.name in given]
        line = f"{'' if open_ else '# '}{header or f'[{section}]'}"
        yield f"{line}{' ' * max(1, 34 - len(line))}# {meaning}"
        for c in examples:
            yield _key_line(c, given.get(c.name, c.examples[0]), "" if c.name in open_ else "# ")
        yield ""


def _assumed(kind: str, symptom: str, values: Mapping[str, str], *, with_kit: bool) -> Mapping[str, list[Row]]:
    new, kit = (Range(float(v), float(v), float(v)) for v in (values["price_new"], values["price_kit"]))
    match = settle(match_kind(kind), symptom)
    heard = match_symptom(match.kind, symptom) if match.kind and symptom else None
    return default_rows(match.kind, heard, new, kit if with_kit else None, match.own_rebuild != LEVELS[-1]).files


def _case_lines(values: Mapping[str, str], open_: Collection[str], hers: Collection[str]) -> Iterator[str]:
    """case.toml with every section and key, those that are not needed commented out."""
    yield _HEAD
    for name, declared in sections(CASE).items():
        meaning, header = about(CASE, name)
        examples = [c for c in declared.values() if c.examples]
        if not examples or name in hers:  # what her boat says is typed there
            continue
        own = name in ("unit", "three_numbers")
        mark = "" if own else "# "
        header = header or f"[{name}]"
        yield f"{mark}{header}{' ' * max(1, 34 - len(mark + header))}# {meaning}"
        for c in examples:
            yield _key_line(c, values[c.name] if own else c.examples[0], "" if own and c.name in open_ else "# ")
        yield ""


def _key_line(column: Column, value: str, mark: str) -> str:
    line = f"{mark}{value if column.name == ANY else f'{column.name} = {value}'}"
    words = ", ".join(filter(None, (column.meaning, column.unit)))
    return f"{line}{' ' * max(1, 34 - len(line))}# {words}" if words else line


def _table(file: str, assumed: list[Row]) -> Iterator[list[str]]:
    """Headings; examples, and what is assumed, which are left out until the word before them is taken away."""
    columns = [c for c in FILES[file].columns if not c.endswith("_shape")]
    yield columns
    for row in assumed:
        yield default_line(row, columns)
    for cells in _examples(file) if not assumed or file == "looks.csv" else ():
        yield _line({**cells, "note": _NOTE}, columns, EXAMPLE)


def default_line(row: Row, columns: list[str]) -> list[str]:
    """An assumed row as a new case shows it: left out until the word before it is taken away."""
    return _line({**row.cells, "note": row.cells.get("note") or row.text("source")}, columns, DEFAULT)


def _line(cells: dict[str, str], columns: list[str], mark: str) -> list[str]:
    row = [cells.get(column, "") for column in columns]
    return [f"{mark} {row[0]}", *row[1:]]


def _examples(file: str) -> Iterator[dict[str, str]]:
    declared = FILES[file].declared.values()
    for nth in range(max(len(c.examples) for c in declared)):
        cells: dict[str, str] = {}
        for column in declared:
            text = column.examples[nth] if nth < len(column.examples) else ""
            ends = text.split(" / ") if column.type == "range" else []
            if len(ends) > 1:
                cells |= {f"{column.name}_{end}": value for end, value in zip(ENDS, ends, strict=True)}
            else:
                cells[f"{column.name}_likely" if ends else column.name] = text
        yield cells


def share_dir() -> Path:
    """Folder that holds ``notebooks`` and ``data``: inside an installed package, or the checkout."""
    for place in (_PACKAGE / "_share", _PACKAGE.parent):
        if all((place / name).is_dir() for name in _FOLDERS):
            return place
    raise RepaireconError("the notebooks and demo cases are not here: install the package again")


def _shared_files(place: Path) -> dict[str, bytes]:
    files = {}
    for name in _FOLDERS:
        for path in sorted((place / name).rglob("*")):
            inside = path.relative_to(place)
            hidden = any(part.startswith((".", "__")) for part in inside.parts)
            if path.is_file() and not hidden:
                files[inside.as_posix()] = path.read_bytes()
    return files


def copy_notebooks(folder: str | os.PathLike[str]) -> Path:
    """Copy the notebooks and demo cases to ``folder``, which is made if need be.

    Parameters
    ----------
    folder
        Where ``notebooks`` and ``data`` are to stand.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RepaireconError
        If a file of that name is there already, or it cannot be written; nothing is written then.
    """
    target = Path(folder)
    files = _shared_files(share_dir())
    there = [name for name in files if os.path.lexists(target / name)]
    if there:
        more = f" and {len(there) - 1} more" if len(there) > 1 else ""
        raise RepaireconError(f"{shown(str(target / there[0]))}{more} there already: name another folder")
    write_all(target, files)
    return target
