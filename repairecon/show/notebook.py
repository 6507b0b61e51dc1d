"""A notebook's parameters: one that it does not have is refused, whatever runs it."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from contextlib import suppress
from difflib import get_close_matches

from repairecon.records import RepaireconError


def only_known_parameters(run: Sequence[str] | None = None) -> None:
    """Refuse each name that a runner set and the parameters' cell does not have, and say what it has. Runners put a
    cell of their own behind the one whose names are annotated (``folder: str = ...``). Called from the cell after both;
    ``run`` is the source of the cells run so far, by default those of the running notebook."""
    if run is None:
        from IPython.core.getipython import get_ipython

        shell = get_ipython()
        run = [] if shell is None else list(shell.user_ns["In"])[1:-1]
    bodies: list[list[ast.stmt]] = []
    for source in run:
        bodies.append([])
        with suppress(SyntaxError):  # a runner's own words, such as %load
            bodies[-1] = ast.parse(source).body
    known = next((names for names in (_names(body, ast.AnnAssign) for body in reversed(bodies)) if names), [])
    unknown = [name for name in (_names(bodies[-1], ast.Assign) if bodies else []) if name not in known]
    if unknown:
        near = {name: get_close_matches(name, known, 1) for name in unknown}
        said = ", ".join(name + (f" (did you mean {close[0]}?)" if close else "") for name, close in near.items())
        raise RepaireconError(f"this notebook has no parameter {said}; it has {', '.join(known)}")


def _names(body: Sequence[ast.stmt], kind: type[ast.Assign] | type[ast.AnnAssign]) -> list[str]:
    """Names set by a cell that does nothing else; none of any other cell."""
    if not body or not all(isinstance(node, kind) for node in body):
        return []
    targets = (node.target if isinstance(node, ast.AnnAssign) else node.targets[0] for node in body)  # type: ignore[attr-defined]
    return [target.id for target in targets if isinstance(target, ast.Name)]
