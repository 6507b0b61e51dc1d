"""What every notebook of the project must be like; pure checks, nothing is run here."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import nbformat
from refresh import COMPARED, as_text, normal_form

CELLS, LINES = 8, 40


def faults(path: Path) -> list[str]:
    """Everything that is wrong with a committed notebook."""
    text = path.read_text(encoding="utf-8")
    notebook = nbformat.reads(text, as_version=4)
    cells = [c for c in notebook.cells if c.cell_type == "code"]
    found = [*_size(cells), *_source(cells), *_tags(cells), *_outputs(cells)]
    if as_text(normal_form(notebook)) != text:
        found.append("not in normal form: run tests/refresh.py")
    return found


def code_lines(source: str) -> int:
    """Lines that are neither blank nor only a comment."""
    return sum(bool(line.strip()) and not line.strip().startswith("#") for line in source.splitlines())


def _size(cells: list[Any]) -> list[str]:
    lines = sum(code_lines(c.source) for c in cells)
    found = [f"{len(cells)} code cells, at most {CELLS}"] if len(cells) > CELLS else []
    return found + ([f"{lines} code lines, at most {LINES}"] if lines > LINES else [])


def _source(cells: list[Any]) -> list[str]:
    found = []
    for k, cell in enumerate(cells):
        try:
            tree = ast.parse(cell.source)
        except SyntaxError:
            found.append(f"code cell {k}: not plain Python")
            continue
        made = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)
        if any(isinstance(node, made) for node in ast.walk(tree)):
            found.append(f"code cell {k}: computing belongs in the library, no def here")
    return found


def _tags(cells: list[Any]) -> list[str]:
    found = []
    for tag in ("parameters", "verdict", COMPARED):
        count = sum(tag in c.metadata.get("tags", []) for c in cells)
        if count != 1:
            found.append(f"{count} cells tagged {tag}, wanted 1")
    for cell in cells:
        tags = cell.metadata.get("tags", [])
        if ("verdict" in tags) != (COMPARED in tags):
            found.append(f"the verdict cell and no other is tagged {COMPARED}")
    return found


def _outputs(cells: list[Any]) -> list[str]:
    found = []
    if [c.execution_count for c in cells] != list(range(1, len(cells) + 1)):
        found.append("not run once from top to bottom")
    for k, cell in enumerate(cells):
        if "verdict" in cell.metadata.get("tags", []) and not cell.outputs:
            found.append("the verdict cell has no output")
        for out in cell.outputs:
            if out.output_type == "error" or out.get("name") == "stderr":
                found.append(f"code cell {k}: an error or a warning in the output")
    return found
