"""A notebook run on a case and written as one offline HTML page, code hidden."""

from __future__ import annotations

import ast
import html
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.files import write_whole
from repairecon.read.starter import notebook_text, share_dir
from repairecon.records import RepaireconError

CELL_TIMEOUT = 600
FOOT = (
    "An aid to judgement, not advice in law or class: local law, insurance rules and licensed practice come before "
    "anything said here."
)
PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>
body{{font:16px/1.5 system-ui,sans-serif;color:#1c2430;max-width:64em;margin:2em auto;padding:0 1em}}
h1,h2,h3{{line-height:1.2}} img{{max-width:100%;height:auto}} pre{{white-space:pre-wrap}}
.jp-OutputArea-output,.output{{overflow-x:auto}}
table{{border-collapse:collapse;margin:.6em 0}} th,td{{padding:.3em .7em;border-bottom:1px solid #ccd3dc}}
th,td{{white-space:nowrap}} th{{text-align:left}} td{{text-align:right}} @media print{{body{{max-width:none;margin:0}}}}
</style></head><body>
{body}
</body></html>
"""


def parameter_names(notebook: Any) -> list[str]:
    """Names set in the notebook's parameters cell."""
    for cell in notebook.cells:
        if "parameters" in cell.metadata.get("tags", ()):
            names = []
            for node in ast.parse(cell.source).body:
                target = node.target if isinstance(node, ast.AnnAssign) else getattr(node, "targets", [None])[0]
                if isinstance(target, ast.Name):
                    names.append(target.id)
            return names
    return []


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
            client.execute()
        except CellExecutionError as error:
            raise RepaireconError(f"{name}.ipynb stopped: {error.ename}: {error.evalue}") from error
    notebook.metadata.pop("widgets", None)
    return notebook


def page(notebook: Any, title: str) -> str:
    """One self-contained page: outputs and text, no code, nothing fetched from elsewhere."""
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(template_name="basic", embed_images=True)
    exporter.exclude_input = exporter.exclude_input_prompt = exporter.exclude_output_prompt = True
    exporter.exclude_anchor_links = True
    body, _ = exporter.from_notebook_node(notebook)
    return PAGE.format(title=html.escape(title), body=body)


def render(title: str, about: str, advice: Sequence[str], blocks: Sequence[Any], appendix: Sequence[Any]) -> str:
    """One self-contained page made for reading: the advice, then words, tables and pictures, then the appendix.

    Parameters
    ----------
    title, about
        What the page is of; date, case and version.
    advice
        Its sentences, the first set apart.
    blocks, appendix
        ``Panel``, ``Sheet`` and ``Picture``, in their order.

    Returns
    -------
    str
        The page; nothing in it is fetched from elsewhere, and text from files is escaped.
    """
    return filled(
        "page.html", title=title, about=about, advice=advice, blocks=blocks, appendix=appendix, foot=FOOT
    )


def filled(template: str, **values: Any) -> str:
    """A page of this room with values in their places, all text escaped."""
    from jinja2 import Environment, PackageLoader

    pages = Environment(loader=PackageLoader("repairecon", "show"), autoescape=True, trim_blocks=True)
    return pages.get_template(template).render(**values)


def write_page(path: Path, text: str) -> None:
    """Write a page whole or not at all."""
    _may_write(path)
    write_whole(path, text)


def version() -> str:
    """The version of this package, where it is installed."""
    from importlib.metadata import PackageNotFoundError, metadata

    try:
        return str(metadata("repairecon")["Version"])
    except PackageNotFoundError:
        return "not installed"


def _may_write(path: Path) -> None:
    """Refuse a path where no page can go, before any work is done."""
    if path.is_dir():
        raise RepaireconError(f"{path} is a folder; give the name of a file, such as report.html")
    if not path.parent.is_dir():
        raise RepaireconError(f"{path.parent} is no folder; make it first")


def write_report(
    name: str, path: Path, parameters: Mapping[str, Any], *, show_bar: bool = False, title: str = ""
) -> None:
    """Run a job's notebook on a case and write the page, whole or not at all."""
    _may_write(path)
    notebook = run_notebook(name, parameters, show_bar=show_bar)
    title = title or f"{name.replace('_', ' ').capitalize()}: {Path(str(parameters['case_folder'])).name}"
    write_whole(path, page(notebook, title))
