"""A notebook's parameters: one that it does not have is refused, whatever runs it."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from difflib import get_close_matches

from repairecon.records import RepaireconError


def only_known_parameters(run: Sequence[str] | None = None) -> None:
    """Refuse each name that a runner set and the parameters' cell does not have, and say what it has. Runners put a
    cell of their own behind the one whose names are annotated (``folder: str = ...``). Called from the cell after both;
    ``run`` is the source of the cells run so far, by default those of the running notebook."""
    cells = _cells() if run is None else run
    bodies = [_body(source) for source in cells]
    known = next((names for names in (_names(body, ast.AnnAssign) for body in reversed(bodies)) if names), [])
    unknown = [name for name in (_names(bodies[-1], ast.Assign) if bodies else []) if name not in known]
    if unknown:
        near = {name: get_close_matches(name, known, 1) for name in unknown}
        said = ", ".join(name + (f" (did you mean {close[0]}?)" if close else "") for name, close in near.items())
        raise RepaireconError(f"this notebook has no parameter {said}; it has {', '.join(known)}")


def _cells() -> list[str]:
    """Source of the cells before the running one."""
    from IPython.core.getipython import get_ipython

    shell = get_ipython()
    return [] if shell is None else list(shell.user_ns["In"])[1:-1]


def _body(source: str) -> list[ast.stmt]:
    try:
        return ast.parse(source).body
    except SyntaxError:  # a runner's own words, such as %load
        return []


def _names(body: Sequence[ast.stmt], kind: type[ast.Assign] | type[ast.AnnAssign]) -> list[str]:
    """Names set by a cell that does nothing else; none of any other cell."""
    if not body or not all(isinstance(node, kind) for node in body):
        return []
    targets = (node.target if isinstance(node, ast.AnnAssign) else node.targets[0] for node in body)  # type: ignore[attr-defined]
    return [target.id for target in targets if isinstance(target, ast.Name)]
