"""A notebook of one cell to be served as a page of this machine, and the server's own page without the network."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path


@contextlib.contextmanager
def served_notebook(source: str) -> Iterator[tuple[Path, Mapping[str, str]]]:
    """A notebook in a folder that is gone afterwards; with it the settings that the server's process takes.

    The server's page template is copied without what it would fetch from elsewhere: the owner may be at sea.
    """
    import nbformat
    from jupyter_core.paths import jupyter_path
    from nbformat.v4 import new_code_cell, new_notebook

    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        path = place / "what_if.ipynb"
        nbformat.write(new_notebook(cells=[new_code_cell(source)], metadata=kernel), path)
        theirs = next(p for p in map(Path, jupyter_path("voila", "templates", "lab")) if p.is_dir())
        index = Path(shutil.copytree(theirs, place / "voila" / "templates" / "lab")) / "index.html.j2"
        kept = [line for line in index.read_text(encoding="utf-8").splitlines() if "https://" not in line]
        index.write_text("\n".join(kept), encoding="utf-8")
        yield path, {"JUPYTER_PATH": name}
