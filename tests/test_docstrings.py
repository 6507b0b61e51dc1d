"""Every public formula says what goes in, what comes out, in which unit, and from where."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

FORMULAS = Path(__file__).resolve().parent.parent / "repairecon" / "formulas"
FILES = sorted(FORMULAS.glob("*.py"))
UNIT = re.compile(r"\[[^\[\]\n]+\]")
UNITLESS = re.compile(r"\b(bool|str)\b")
SECTIONS = ("Parameters", "Returns", "Notes")


def sections(doc: str) -> dict[str, list[str]]:
    """Lines below each underlined heading; the text before the first one under ``""``."""
    found: dict[str, list[str]] = {"": []}
    lines, name, k = doc.splitlines(), "", 0
    while k < len(lines):
        below = lines[k + 1].strip() if k + 1 < len(lines) else ""
        if lines[k].strip() and len(below) >= 3 and set(below) == {"-"}:
            name, k = lines[k].strip(), k + 2
            found[name] = []
        else:
            found[name].append(lines[k])
            k += 1
    return found


def entries(lines: list[str]) -> dict[str, str]:
    """``name`` -> its line and what is said below it; ``a, b : float`` stands for both."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in lines:
        if line.strip() and not line.startswith(" "):
            names = [n.strip().lstrip("*") for n in line.split(" : ")[0].split(",")]
            found.update(dict.fromkeys(names, line))
        else:
            found.update({n: f"{found[n]}\n{line}" for n in names})
    return found


def public_functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """Module-level functions without a leading underscore; of overloads the one with the body."""
    for node in tree.body:
        overloaded = isinstance(node, ast.FunctionDef) and any(
            isinstance(d, ast.Name) and d.id == "overload" for d in node.decorator_list
        )
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_") and not overloaded:
            yield node


def signature(function: ast.FunctionDef) -> list[str]:
    """Names of the arguments in order."""
    a = function.args
    star = [x for x in (a.vararg, a.kwarg) if x]
    return [x.arg for x in (*a.posonlyargs, *a.args, *a.kwonlyargs, *star)]


def faults(function: ast.FunctionDef) -> list[str]:
    """What is wrong with one function's docstring."""
    doc = sections(ast.get_docstring(function) or "")
    nothing_back = isinstance(function.returns, ast.Constant) and function.returns.value is None
    wanted = [s for s in SECTIONS if not (nothing_back and s == "Returns")]
    found = [f"no section {s}" for s in wanted if s not in doc]
    if not re.search(r"Source: |[Cc]ommon practice, no source", " ".join(" ".join(doc.get("Notes", [])).split())):
        found.append("Notes names no source")
    summary = doc[""][0] if doc[""] else ""
    if not summary.endswith(".") or (len(doc[""]) > 1 and doc[""][1].strip()):
        found.append("the summary is not one line with a full stop")
    said, arguments = entries(doc.get("Parameters", [])), signature(function)
    if sorted(said) != sorted(arguments):
        found.append(f"Parameters names {list(said)}, the signature {arguments}")
    for name, text in said.items():
        if not UNIT.search(text) and not UNITLESS.search(text.splitlines()[0]):
            found.append(f"{name} has no [unit]")
    back = "\n".join(doc.get("Returns", []))
    if not nothing_back and not UNIT.search(back) and not UNITLESS.search(back.split("\n")[0]):
        found.append("Returns has no [unit]")
    return found


@pytest.mark.parametrize("path", FILES, ids=[p.name for p in FILES])
def test_public_formulas_are_documented(path: Path) -> None:
    found = [
        f"{path.name}:{f.lineno} {f.name}: {fault}"
        for f in public_functions(ast.parse(path.read_text("utf-8")))
        for fault in faults(f)
    ]
    assert not found, "\n" + "\n".join(found)


def test_some_formulas_were_looked_at() -> None:
    count = sum(len(list(public_functions(ast.parse(p.read_text("utf-8"))))) for p in FILES)
    assert count >= 10


GOOD = '''def tax(price, vat_rate, name="", *, paid=True):
    """Tax on a price.

    Parameters
    ----------
    price : float
        Price without tax [home money].
    vat_rate : float
        Rate [-].
    name : str
        What it is for.
    paid : bool
        Whether it was paid.

    Returns
    -------
    float
        Tax [home money].

    Notes
    -----
    price x rate. Source: a handbook of taxes, chapter 2.
    """
'''
BREAKS = {
    "no unit": ("Price without tax [home money].", "Price without tax."),
    "no unit back": ("Tax [home money].", "Tax."),
    "argument left out": ("    name : str\n        What it is for.\n", ""),
    "argument too many": ("    paid : bool\n", "    late : bool\n        No.\n    paid : bool\n"),
    "renamed": ("def tax(price,", "def tax(cost,"),
    "no returns": ("    Returns\n    -------\n", ""),
    "no source": (" Source: a handbook of taxes, chapter 2.", ""),
    "two-line summary": ("Tax on a price.\n", "Tax on a\n    price.\n"),
}


def _only(source: str) -> ast.FunctionDef:
    return next(public_functions(ast.parse(source)))


def test_a_good_docstring_passes() -> None:
    assert faults(_only(GOOD)) == []


@pytest.mark.parametrize("name", BREAKS)
def test_a_bad_docstring_is_seen(name: str) -> None:
    bad = GOOD.replace(*BREAKS[name])
    assert bad != GOOD
    assert faults(_only(bad))
