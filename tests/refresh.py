"""Run notebooks where they lie and write them in one normal form; ``--check`` only compares.

    python tests/refresh.py [--check] [NOTEBOOK ...]

Pictures are compared by being there, not byte by byte: their bytes change with the machine.
"""

from __future__ import annotations

import argparse
import copy
import re
import sys
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient
from traitlets.config import Config

FOLDER = Path(__file__).resolve().parent.parent / "notebooks"
HEAD = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
COMPARED = "nbval-check-output"
ADDRESS = re.compile(r"\b0x[0-9a-fA-F]{6,}")
# newer kernels warn at every start that they run over unencrypted TCP unless told to choose
QUIET = Config({"KernelManager": {"transport_encryption": "auto"}})


def run(path: Path, seconds: int = 300, kernel: Any = None) -> Any:
    """The notebook executed in its own folder, in normal form; by a ``kernel`` that runs, or one of its own."""
    notebook = nbformat.read(path, as_version=4)
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
    NotebookClient(
        notebook,
        timeout=seconds,
        km=kernel,
        kernel_name="python3",
        record_timing=False,
        config=QUIET,
        resources={"metadata": {"path": str(path.resolve().parent)}},
    ).execute()
    return normal_form(notebook)


def normal_form(notebook: Any) -> Any:
    """A copy without anything that changes while the source does not."""
    notebook = copy.deepcopy(notebook)
    notebook.metadata = nbformat.from_dict(copy.deepcopy(HEAD))
    notebook.nbformat, notebook.nbformat_minor = 4, 5
    for k, cell in enumerate(notebook.cells):
        cell.id = f"cell-{k:02d}"
        tags = list(cell.metadata.get("tags", []))
        if "verdict" in tags and COMPARED not in tags:
            tags.append(COMPARED)
        cell.metadata = nbformat.from_dict({"tags": tags} if tags else {})
        if cell.cell_type == "code":
            cell.outputs = _joined([_plain(out) for out in cell.outputs])
    return notebook


def _plain(out: Any) -> Any:
    if "metadata" in out:  # only the words for who cannot see a picture are kept
        alt = {m: {"alt": d["alt"]} for m, d in out.metadata.items() if isinstance(d, dict) and "alt" in d}
        out.metadata = nbformat.from_dict(alt)
    for mime, value in out.get("data", {}).items():
        if isinstance(value, str) and mime.startswith("text/"):
            out.data[mime] = ADDRESS.sub("0x0", value)
    if out.output_type == "stream":
        out.text = ADDRESS.sub("0x0", out.text)
    return out


def _joined(outputs: list[Any]) -> list[Any]:
    """Text printed in one go may arrive in pieces: put them together."""
    whole: list[Any] = []
    for out in outputs:
        last = whole[-1] if whole else None
        if last is not None and last.output_type == out.output_type == "stream" and last.name == out.name:
            last.text += out.text
        else:
            whole.append(out)
    return whole


def as_text(notebook: Any) -> str:
    """The text of the file."""
    return nbformat.writes(notebook, indent=1).rstrip("\n") + "\n"


def without_pictures(notebook: Any) -> Any:
    """A copy whose pictures are only said to be there."""
    notebook = copy.deepcopy(notebook)
    for cell in notebook.cells:
        for out in cell.get("outputs", []):
            for mime in out.get("data", {}):
                if mime.startswith("image/"):
                    out.data[mime] = "a picture"
    return notebook


def same(one: Any, other: Any) -> bool:
    """Whether two notebooks in normal form say the same."""
    return as_text(without_pictures(one)) == as_text(without_pictures(other))


def refresh(path: Path, check: bool) -> bool:
    """Write the fresh run, or only compare; True when the file was already right."""
    old, new = path.read_text(encoding="utf-8"), run(path)
    if check:
        return same(nbformat.reads(old, as_version=4), new)
    if as_text(new) != old:
        path.write_text(as_text(new), encoding="utf-8")
        return False
    return True


def main(arguments: list[str] | None = None) -> int:
    """Go through the notebooks; with ``--check`` 1 when one is stale."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare, write nothing")
    parser.add_argument("notebooks", nargs="*", type=Path)
    given = parser.parse_args(arguments)
    right = True
    for path in given.notebooks or sorted(FOLDER.glob("*.ipynb")):
        fresh = refresh(path, given.check)
        right = right and fresh
        print("same " if fresh else "stale" if given.check else "wrote", path.name, flush=True)
    return 1 if given.check and not right else 0


if __name__ == "__main__":
    sys.exit(main())
