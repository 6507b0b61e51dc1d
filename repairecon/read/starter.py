"""A new case folder, ready to be filled in; and the notebooks and demo cases that come with the package."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from repairecon.kinds import match_kind, match_symptom, settle
from repairecon.kinds.matching import LEVELS
from repairecon.read.boat import JOBS, LOG, boat_folder
from repairecon.read.boat import TABLES as BOAT_TABLES
from repairecon.read.columns import ANY, BOAT, BOAT_SECTIONS, CASE, CASE_FILES, ENDS, FILES, about, sections
from repairecon.read.default_rows import default_rows
from repairecon.read.files import HERE, csv_text, write_all
from repairecon.read.problems import shown
from repairecon.read.reading import CODE, Defaults
from repairecon.read.sheets import DEFAULT, EXAMPLE
from repairecon.read.tables import Row
from repairecon.read.toml_file import toml_value
from repairecon.read.values import plain
from repairecon.records import Range, RepaireconError

_FOLDERS = ("notebooks", "data")
_PACKAGE = HERE.parent
_HEADS = {CASE: """# A case: one failed unit, to be rebuilt or bought. Lines that begin with # are left out.
# Three numbers are enough. Whatever else you leave out is assumed, and the answer lists it.
# In the CSV files rows that begin with "example:" or "default:" are left out: the latter are what is assumed.
# Uncertain numbers may be written as [low, likely, high]. Decimals have a point: 12.50. Rates: 0.20 for 20 %.
""", BOAT: """# A boat: what is typed once and holds for each case in her folder jobs.
# A case's own key or row comes first.
# Her units stand in units.csv, who sells to you in suppliers.csv and carriage.csv, her spares in spares.book.
# Lines that begin with # are left out.
"""}  # fmt: skip
_OPEN = ("name", "figures", "price_new", "price_kit", "wait_days")  # keys of a new case that are not commented out


def new_case(folder: str | os.PathLike[str], kind: str = "", symptom: str = "", **numbers: float) -> Path:
    """Write a starter case folder: three numbers to be replaced, all else ready to be filled in.

    ``folder`` is not there yet, or empty; ``kind`` and ``symptom`` say in the owner's words what the unit is and what
    it does: what is assumed of it then stands in the files. ``numbers`` are ``price_new``, ``price_kit`` and
    ``wait_days`` as far as they are known, else they are invented. RepaireconError, and nothing written, if it cannot.
    """
    target = empty_folder(folder)
    said = {"name": kind, "kind": kind, "symptom": symptom}
    said = {k: toml_value(v) for k, v in said.items() if v} | {k: plain(v) for k, v in numbers.items()}
    unit, three = (sections(CASE)[name] for name in ("unit", "three_numbers"))
    values = {name: column.examples[0] for name, column in {**unit, **three}.items() if column.examples} | said
    # of a known kind the kit's usual share of new is better than an invented price beside the owner's own
    left = {"price_kit"} - numbers.keys() if "price_new" in numbers and match_kind(kind).kind else set()
    own = {"figures"} if three.keys() - left <= numbers.keys() else set()
    new, kit = (Range(float(v), float(v), float(v)) for v in (values["price_new"], values["price_kit"]))
    match = settle(match_kind(kind or unit["kind"].examples[0].strip('"')), symptom)
    heard = match_symptom(match.kind, symptom) if match.kind and symptom else None
    rows, _ = default_rows(match.kind, heard, new, None if left else kit, match.own_rebuild != LEVELS[-1])
    values = {name: values[name] for name in {*_OPEN, *said} - left - own}
    files = {CASE: _toml(CASE, values, BOAT_SECTIONS if boat_folder(target) else ())}
    files |= {file: csv_text(_table(file, rows.get(file, []))).encode("utf-8") for file in CASE_FILES}
    write_all(target, files)
    return target


def empty_folder(folder: str | os.PathLike[str]) -> Path:
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

    ``folder`` is not there yet, or empty; ``currency`` has three letters, and that of her money is returned; ``units``
    is what units.csv is to hold, its headings if left out. RepaireconError, and nothing written, if it cannot.
    """
    target = empty_folder(folder)
    if currency and not CODE.fullmatch(currency):
        raise RepaireconError(f"currency: found {shown(currency)}; write a three-letter code such as EUR")
    money = (currency or str(Defaults().peek("currency"))).upper()
    files = {BOAT: _toml(BOAT, {"name": toml_value(name or "my boat"), "currency": toml_value(money)})}
    files |= {file: csv_text(_table(file, [])).encode("utf-8") for file in BOAT_TABLES}
    files |= {"units.csv": units} if units else {}
    write_all(target, files)
    for inside in (JOBS, LOG):
        (target / inside).mkdir()
    return money


def _toml(file: str, given: Mapping[str, str], without: Collection[str] = ()) -> bytes:
    """A file with every section but those ``without``, and every key; what is given is open, all else commented out."""
    lines = [_HEADS[file]]
    for section, declared in sections(file).items():
        examples = [c for c in declared.values() if c.examples]
        if not examples or section in without:
            continue
        meaning, header = about(file if section == "boat" else CASE, section)
        lines.append(_key_line(header or f"[{section}]", meaning, any(c.name in given for c in examples)))
        for c in examples:
            value = given.get(c.name, c.examples[0])
            words = ", ".join(filter(None, (c.meaning, c.unit)))
            lines.append(_key_line(value if c.name == ANY else f"{c.name} = {value}", words, c.name in given))
        lines.append("")
    return "\n".join(lines).encode("utf-8")


def _key_line(line: str, words: str, is_open: bool) -> str:
    line = line if is_open else f"# {line}"
    return f"{line:<33} # {words}" if words else line


def _table(file: str, assumed: list[Row]) -> Iterator[list[str]]:
    """Headings; examples, and what is assumed, which are left out until the word before them is taken away."""
    columns = [c for c in FILES[file].columns if not c.endswith("_shape")]
    yield columns
    for row in assumed:
        yield default_line(row, columns)
    if assumed and file != "looks.csv":
        return
    declared = FILES[file].declared.values()
    for nth in range(max(len(c.examples) for c in declared)):
        cells: dict[str, str] = {}
        for column in declared:
            text = column.examples[nth] if nth < len(column.examples) else ""
            ends = text.split(" / ") if column.type == "range" else []
            if len(ends) > 1:
                cells |= {f"{column.name}_{end}": value for end, value in zip(ENDS, ends, strict=True)}
            else:
                cells[column.heading] = text
        yield _line({**cells, "note": "invented; take example: away to use this row"}, columns, EXAMPLE)


def default_line(row: Row, columns: list[str]) -> list[str]:
    """An assumed row as a new case shows it: left out until the word before it is taken away."""
    return _line({**row.cells, "note": row.cells.get("note") or row.text("source")}, columns, DEFAULT)


def _line(cells: dict[str, str], columns: list[str], mark: str) -> list[str]:
    row = [cells.get(column, "") for column in columns]
    return [f"{mark} {row[0]}", *row[1:]]


def share_dir() -> Path:
    """Folder that holds ``notebooks`` and ``data``: inside an installed package, or the checkout."""
    for place in (_PACKAGE / "_share", _PACKAGE.parent):
        if all((place / name).is_dir() for name in _FOLDERS):
            return place
    raise RepaireconError("the notebooks and demo cases are not here: install the package again")


def copy_notebooks(folder: str | os.PathLike[str]) -> Path:
    """Copy the folders ``notebooks`` and ``data`` into ``folder``, and return it; nothing there is written over."""
    place, target = share_dir(), Path(folder)
    inside = {p.relative_to(place): p for name in _FOLDERS for p in sorted((place / name).rglob("*")) if p.is_file()}
    ours = {n: p for n, p in inside.items() if not any(part.startswith((".", "__")) for part in n.parts)}
    write_all(target, {name.as_posix(): path.read_bytes() for name, path in ours.items()})
    return target


@contextlib.contextmanager
def served_notebook(source: str) -> Iterator[tuple[Path, Mapping[str, str]]]:
    """A notebook in a folder that is gone afterwards; with it the settings that the server's process takes."""
    import nbformat
    from jupyter_core.paths import jupyter_path
    from nbformat.v4 import new_code_cell, new_notebook

    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        path = place / "what_if.ipynb"
        nbformat.write(new_notebook(cells=[new_code_cell(source)], metadata=kernel), path)
        # the server's page without what it would fetch from elsewhere: the owner may be at sea
        theirs = next(p for p in map(Path, jupyter_path("voila", "templates", "lab")) if p.is_dir())
        index = Path(shutil.copytree(theirs, place / "voila" / "templates" / "lab")) / "index.html.j2"
        kept = [line for line in index.read_text(encoding="utf-8").splitlines() if "https://" not in line]
        index.write_text("\n".join(kept), encoding="utf-8")
        yield path, {"JUPYTER_PATH": name}
