"""The notebooks and demo cases that come with the package."""

from __future__ import annotations

import os
from pathlib import Path

from repairecon.read.problems import shown
from repairecon.read.writing import write_all
from repairecon.records import RepaireconError

_FOLDERS = ("notebooks", "data")
_PACKAGE = Path(__file__).resolve().parents[1]


def share_dir() -> Path:
    """Folder that holds ``notebooks`` and ``data``: inside an installed package, or the checkout.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RepaireconError
        If neither is there.
    """
    for place in (_PACKAGE / "_share", _PACKAGE.parent):
        if all((place / name).is_dir() for name in _FOLDERS):
            return place
    raise RepaireconError("the notebooks and demo cases are not here: install the package again")


def notebook_text(name: str) -> str:
    """Text of a notebook that comes with the package.

    Parameters
    ----------
    name
        The job's name, as in ``rebuild_or_buy``.

    Returns
    -------
    str
        The notebook as JSON.
    """
    return (share_dir() / "notebooks" / f"{name}.ipynb").read_text(encoding="utf-8")


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
