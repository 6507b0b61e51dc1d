"""What the floors test looks for: the import rules and the rooms that alone may do a thing."""

from __future__ import annotations

import ast
import string
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

PACKAGE = "repairecon"
FACE = f"{PACKAGE}.__init__"
ROOMS = {
    "records": (),
    "formulas": (),
    "standards": ("records",),
    "kinds": ("records",),
    "read": ("records", "standards", "kinds"),
    "book": ("records", "formulas", "standards", "read"),
    "buying": ("records", "formulas", "standards"),
    "show": ("records", "read"),
    "many": ("records", "read"),
}
"""Shared rooms, and what each of them may import beside itself."""
JOBS = ("rebuild_or_buy", "compare_quotes", "spares_aboard", "after_the_job", "whole_boat")
"""The jobs: each may import the shared rooms and the jobs before it, no other."""
FACES = ("__init__", "__main__")
KNOWN = {*ROOMS, *JOBS, *FACES}
TABLES = ("repairecon.standards.tables", "repairecon.kinds.facts")
DRAWS = "repairecon.rebuild_or_buy.draws"
WORDS = "repairecon.show.words"
LAYOUT = "repairecon.show.layout"
FILE_ROOMS = ("read", "book")


@dataclass(frozen=True)
class Finding:
    """One breach: module, line and what was seen."""

    module: str
    line: int
    what: str

    def __str__(self) -> str:
        return f"{self.module}:{self.line}: {self.what}"


def module_name(path: Path, root: Path) -> str:
    """Dotted name of a source file; a package's own file keeps its ``__init__``."""
    return ".".join(path.relative_to(root).with_suffix("").parts)


def room_of(module: str) -> str:
    """The room (first name below the package) of a dotted module name."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "__init__"


def imported(tree: ast.AST, module: str, modules: frozenset[str]) -> Iterator[tuple[int, str]]:
    """Each imported name with its line; relative ones made absolute, submodules told from names."""
    packages = {name.rsplit(".", 1)[0] for name in modules if name.endswith(".__init__")}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                up = module.split(".")[: -node.level]
                base = ".".join([*up, base] if base else up)
            for alias in node.names:
                whole = f"{base}.{alias.name}"
                yield node.lineno, whole if whole in modules | packages else base


def import_findings(tree: ast.AST, module: str, modules: frozenset[str]) -> Iterator[Finding]:
    """Imports that go upwards, across a floor, or out of what a room may use."""
    room = room_of(module)
    for line, name in imported(tree, module, modules):
        top = name.split(".")[0]
        if room == "records" and top not in sys.stdlib_module_names and room_of(name) != room:
            yield Finding(module, line, f"records is standard library only, imports {name}")
        if room == "formulas" and top == "pandas":
            yield Finding(module, line, "formulas know no pandas")
        if top != PACKAGE:
            continue
        other = room_of(name)
        if other not in KNOWN:
            yield Finding(module, line, f"{name} is in no room")
        elif room != other and not _may(room, other):
            yield Finding(module, line, f"{room} may not import {name}")


def _may(room: str, other: str) -> bool:
    if room in FACES:
        return other != "__main__"
    if room in JOBS:
        return other in ROOMS or other in JOBS[: JOBS.index(room)]
    return other in ROOMS[room]


FILE_MODULES = {
    "shutil", "sqlite3", "tempfile", "zipfile", "tarfile", "openpyxl", "pickle", "shelve", "fileinput",
    "mmap", "glob", "gzip", "bz2", "lzma", "csv", "importlib.resources",
}  # fmt: skip
FILE_METHODS = {
    "read_text", "read_bytes", "write_text", "write_bytes", "open", "unlink", "rmdir", "mkdir", "touch",
    "iterdir", "rglob", "symlink_to", "imsave", "tofile", "fromfile", "memmap", "loadtxt", "savetxt",
    "genfromtxt", "savez", "savez_compressed", "to_excel", "to_pickle", "to_parquet", "to_feather",
    "to_hdf", "to_sql", "execute_notebook",
}  # fmt: skip
FILE_CALLS = {
    "os.replace", "os.rename", "os.remove", "os.makedirs", "os.listdir", "os.scandir", "os.walk",
    "np.load", "np.save", "numpy.load", "numpy.save", "nbformat.read", "nbformat.write", "tomllib.load",
    "json.load", "json.dump", "plt.imread",
}  # fmt: skip


def dotted(node: ast.AST) -> str:
    """``a.b.c`` of a chain of names, empty for anything else."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        left = dotted(node.value)
        return f"{left}.{node.attr}" if left else ""
    return ""


def _calls(tree: ast.AST) -> Iterator[tuple[ast.Call, str, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            last = node.func.attr if isinstance(node.func, ast.Attribute) else ""
            yield node, dotted(node.func), last


def _imports_any(tree: ast.AST, module: str, names: set[str]) -> Iterator[Finding]:
    for node in ast.walk(tree):
        whole: list[str] = []
        if isinstance(node, ast.Import):
            whole = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            whole = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in whole:
            if any(name == n or name.startswith(n + ".") for n in names):
                yield Finding(module, node.lineno, f"imports {name}")


def file_findings(tree: ast.AST, module: str) -> Iterator[Finding]:
    """Opening, reading, writing or moving files outside read/ and book/; one module reads the tables of standards/."""
    if room_of(module) in FILE_ROOMS:
        return
    of_the_package = {"csv", "importlib.resources"} if module in TABLES else set()
    of_the_package |= {"shutil"} if module == LAYOUT else set()  # it asks for the width of the terminal
    yield from _imports_any(tree, module, FILE_MODULES - of_the_package)
    for call, name, last in _calls(tree):
        reader = last.startswith("read_") and name.split(".")[0] in ("pd", "pandas")
        to_path = last in ("to_csv", "savefig") and bool(call.args) and not _is_buffer(call.args[0])
        from_memory = name == "Image.open" and bool(call.args) and _is_buffer(call.args[0])
        if from_memory:
            continue
        if module in TABLES and last == "read_text":
            continue
        if name in FILE_CALLS | {"open"} or last in FILE_METHODS or reader or to_path:
            yield Finding(module, call.lineno, f"touches files: {name or last}")


def _is_buffer(node: ast.AST) -> bool:
    return isinstance(node, ast.Name) and node.id.endswith("buffer")


def chance_findings(tree: ast.AST, module: str) -> Iterator[Finding]:
    """Randomness outside rebuild_or_buy/draws.py."""
    if module == DRAWS:
        return
    roots = {"random", "secrets", "numpy.random", "scipy.stats.qmc", "uuid"}
    yield from _imports_any(tree, module, roots)
    for node in ast.walk(tree):
        name = dotted(node) if isinstance(node, ast.Attribute) else ""
        if name.startswith(("np.random", "numpy.random", "stats.qmc")) and name.count(".") == 1:
            yield Finding(module, node.lineno, f"draws: {name}")
    for call, name, last in _calls(tree):
        if last == "rvs" or name == "os.urandom":
            yield Finding(module, call.lineno, f"draws: {name or last}")


def plot_findings(tree: ast.AST, module: str) -> Iterator[Finding]:
    """Plotting outside show/ and the charts of a job."""
    if room_of(module) != "show" and not module.rsplit(".", 1)[-1].startswith("chart"):
        yield from _imports_any(tree, module, {"matplotlib", "mpl_toolkits", "pylab", "seaborn"})


def spec_rounds(spec: str) -> bool:
    """True for a format spec that fixes how many digits of a number are shown."""
    if spec.startswith("%") or spec == "":
        return False
    return "." in spec or "," in spec or "_" in spec or spec[-1] in "eEfFgGn%"


def _percent_rounds(text: str) -> bool:
    after = text.replace("%%", "").split("%")[1:]
    return any(part.lstrip("#0- +.123456789*")[:1] in tuple("eEfFgG") for part in after if part)


def _brace_rounds(text: str) -> bool:
    try:
        return any(spec_rounds(spec or "") for _, _, spec, _ in string.Formatter().parse(text))
    except ValueError:
        return False


def _spec(node: ast.FormattedValue) -> str:
    parts = node.format_spec.values if isinstance(node.format_spec, ast.JoinedStr) else []
    return "".join(str(p.value) if isinstance(p, ast.Constant) else ".?" for p in parts)


def round_findings(tree: ast.AST, module: str) -> Iterator[Finding]:
    """Rounding or formatting numbers outside show/words.py."""
    if module == WORDS:
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.FormattedValue) and spec_rounds(_spec(node)):
            yield Finding(module, node.lineno, f"formats a number: {_spec(node)}")
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod) and _percent_rounds(_text(node.left)):
            yield Finding(module, node.lineno, "formats a number with %")
        if isinstance(node, ast.keyword) and node.arg in ("float_format", "precision", "decimals"):
            yield Finding(module, node.value.lineno, f"formats numbers: {node.arg}=")
    names = {"around", "rint", "quantize", "set_printoptions", "format_float_positional"}
    for call, name, last in _calls(tree):
        if name == "round" or last == "round" or last in names:
            yield Finding(module, call.lineno, f"rounds: {name or last}")
        if name == "format" and len(call.args) > 1:
            yield Finding(module, call.lineno, "formats a number: format()")
        if last == "format" and _brace_rounds(_text(_owner(call))):
            yield Finding(module, call.lineno, "formats a number: .format()")


def _owner(call: ast.Call) -> ast.AST:
    return call.func.value if isinstance(call.func, ast.Attribute) else call


def _text(node: ast.AST) -> str:
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


RULES = ("imports", "files", "chance", "plots", "rounding")
_ONE_ROOM = {
    "files": file_findings,
    "chance": chance_findings,
    "plots": plot_findings,
    "rounding": round_findings,
}


_parsed = lru_cache(maxsize=None)(ast.parse)


def check(source: str, module: str, modules: frozenset[str], rule: str) -> list[Finding]:
    """Breaches of one rule in one source text."""
    tree = _parsed(source)
    if rule == "imports":
        return list(import_findings(tree, module, modules))
    return list(_ONE_ROOM[rule](tree, module))
