"""A notebook run on a case and written as one offline HTML page, code hidden."""

from __future__ import annotations

import ast
import socket
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.files import PAGE, check_own, write_own
from repairecon.read.starter import notebook_text, share_dir
from repairecon.records import RepaireconError

CELL_TIMEOUT = 600
FOOT = (
    "An aid to judgement, not advice in law or class: local law, insurance rules and licensed practice come before "
    "anything said here."
)


def parameter_names(notebook: Any) -> list[str]:
    """Names set in the notebook's parameters cell."""
    cells = (cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", ()))
    body = ast.parse(next(cells).source).body
    targets = (node.target if isinstance(node, ast.AnnAssign) else getattr(node, "targets", [None])[0] for node in body)
    return [target.id for target in targets if isinstance(target, ast.Name)]


def _set_parameters(notebook: Any, parameters: Mapping[str, Any]) -> None:
    """A cell with the parameters' values behind the cell that names them."""
    from nbformat.v4 import new_code_cell

    at = next(k for k, cell in enumerate(notebook.cells) if "parameters" in cell.metadata.get("tags", ()))
    lines = [f"{name} = {value!r}" for name, value in parameters.items()]
    notebook.cells.insert(at + 1, new_code_cell("\n".join(lines), metadata={"tags": ["injected-parameters"]}))


def run_notebook(name: str, parameters: Mapping[str, Any], *, show_bar: bool = False) -> Any:
    """The executed notebook of a job, its parameters set; unknown parameters are refused."""
    import nbformat
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError
    from tqdm import tqdm
    from traitlets.config import Config

    notebook = nbformat.reads(notebook_text(name), as_version=4)
    unknown = sorted(set(parameters) - set(parameter_names(notebook)))
    if unknown:
        raise RepaireconError(f"{name}.ipynb has no parameter {', '.join(unknown)}")
    _set_parameters(notebook, parameters)
    client = NotebookClient(
        notebook,
        timeout=CELL_TIMEOUT,
        kernel_name="python3",
        resources={"metadata": {"path": str(share_dir() / "notebooks")}},
        config=Config({"KernelManager": {"transport_encryption": "auto"}}),
    )
    code_cells = sum(cell.cell_type == "code" for cell in notebook.cells)
    with tqdm(total=code_cells, unit=" cells", leave=False, disable=not show_bar) as bar:
        client.on_cell_executed = lambda **_: bar.update(1)
        try:
            with socket.create_server(("127.0.0.1", 0)) as here:  # else the kernel is waited for a minute in vain
                socket.create_connection(here.getsockname(), 2).close()
            client.execute()
        except CellExecutionError as error:
            raise RepaireconError(f"{name}.ipynb stopped: {error.ename}: {error.evalue}") from error
        except Exception as error:  # a kernel that is missing, dies, or cannot be talked to has many names
            why = f"{type(error).__name__}: {error}".rstrip(": ")
            raise RepaireconError(
                f"{name}.ipynb could not be run ({why}): a page needs the kernel python3 (python -m ipykernel install "
                "--sys-prefix) and connections within this machine; without --report the answer needs neither"
            ) from error
    notebook.metadata.pop("widgets", None)
    return notebook


def page(notebook: Any, title: str) -> str:
    """One self-contained page: outputs and text, no code, nothing fetched from elsewhere."""
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(template_name="basic", embed_images=True)
    exporter.exclude_input = exporter.exclude_input_prompt = exporter.exclude_output_prompt = True
    exporter.exclude_anchor_links = True
    body, _ = exporter.from_notebook_node(notebook)
    return filled("notebook.html", title=title, body=body)


def render(title: str, about: str, advice: Sequence[str], blocks: Sequence[Any], appendix: Sequence[Any]) -> str:
    """One self-contained page for reading: the advice, its first sentence set apart, then blocks, then the appendix.

    ``about`` is date, case and version; ``blocks`` and ``appendix`` are ``Panel``, ``Sheet`` and ``Picture`` in their
    order. Nothing in it is fetched from elsewhere, and text from files is escaped.
    """
    parts = {"title": title, "about": about, "advice": advice, "blocks": blocks, "appendix": appendix, "foot": FOOT}
    return filled("page.html", **parts)


def filled(template: str, **values: Any) -> str:
    """A page of this room with values in their places, all text escaped."""
    from jinja2 import Environment, PackageLoader
    from markupsafe import Markup

    pages = Environment(loader=PackageLoader("repairecon", "show"), autoescape=True, trim_blocks=True)
    return pages.get_template(template).render(mark=Markup(PAGE), **values)


def write_page(path: Path, page: str | Callable[[], str]) -> None:
    """Write a page whole or not at all; where none can go, it is not even made."""
    check_own(path)
    write_own(path, page if isinstance(page, str) else page())


def version() -> str:
    """The version of this package, where it is installed."""
    from importlib.metadata import PackageNotFoundError, metadata

    try:
        return str(metadata("repairecon")["Version"])
    except PackageNotFoundError:
        return "not installed"


def write_report(
    name: str, path: Path, parameters: Mapping[str, Any], *, show_bar: bool = False, title: str = ""
) -> None:
    """Run a job's notebook on a case and write the page, whole or not at all."""
    title = title or f"{name.replace('_', ' ').capitalize()}: {Path(str(parameters['case_folder'])).name}"
    write_page(path, lambda: page(run_notebook(name, parameters, show_bar=show_bar), title))
