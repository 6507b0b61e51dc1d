"""How many small changes of the code the tests notice.

``python tests/hardness/mutants.py PATH [N [TESTS...]]`` changes every module of PATH (a file or a room), one place at a
time: comparisons, operators, numbers, conditions, returns. Each change is tried in a process of its own against those
tests of the room's folder (or of TESTS) that enter the function changed, quickest first, to the first failure; a test
that takes far longer than it did counts as one. With N, a sample of so many a module, the same each time. What a test
starts as a process of its own is not changed.
``mutants_explained.csv`` says of the changes that change nothing why; they are not tried.
"""

from __future__ import annotations

import ast
import copy
import csv
import gc
import importlib
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings

ROOT = Path(__file__).resolve().parents[2]
EXPLAINED = Path(__file__).with_name("mutants_explained.csv")
SEED, WANTED = 20, 0.9
TIMES, MORE_SECONDS, LONGEST = 4.0, 3.0, 15.0
"""A test may take so many times as long as it did, and so many seconds more; tests of one change, so many in all."""
WALL, MEMORY = 900.0, 4 << 30
LEAST_TEXT, ABOVE = 16, (ast.expr, ast.keyword, ast.arguments, ast.Return, ast.Assign, ast.AnnAssign, ast.AugAssign)
"""Letters of code that a change is shown with, so that it is known by them, and what may hold these."""

ALL = "<module>"
OTHERS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.MatMult: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
    ast.USub: ast.UAdd,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: its function and line, the code as it was and as it becomes; its node, and which of those there."""

    function: str
    line: int
    was: str
    becomes: str
    node: int
    which: int

    def tree(self, source: str) -> ast.Module:
        """The module with this change."""
        tree = ast.parse(source)
        list(_changes([node for node, _ in _code(tree)][self.node]))[self.which]()
        return ast.fix_missing_locations(tree)


def _changes(node: ast.AST) -> Iterator[Callable[[], None]]:
    """What can be changed at one node, each to be done in place."""
    if isinstance(node, ast.Compare):
        for k, op in enumerate(node.ops):
            yield lambda k=k, op=op: node.ops.__setitem__(k, OTHERS[type(op)]())  # type: ignore[misc]
    elif isinstance(node, (ast.BinOp, ast.BoolOp, ast.AugAssign, ast.UnaryOp)) and type(node.op) in OTHERS:
        yield lambda: setattr(node, "op", OTHERS[type(node.op)]())
    elif isinstance(node, ast.UnaryOp):
        yield lambda: setattr(node, "operand", ast.UnaryOp(node.op, node.operand))
    elif isinstance(node, ast.Constant) and isinstance(node.value, (bool, int, float)):
        value = node.value
        yield lambda: setattr(node, "value", not value if isinstance(value, bool) else value + 1)
    elif isinstance(node, ast.Return) and node.value is not None:
        yield lambda: setattr(node, "value", ast.Constant(None))
    elif isinstance(node, (ast.If, ast.IfExp, ast.While)):
        yield lambda: setattr(node, "test", ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.comprehension):
        for k, test in enumerate(node.ifs):
            yield lambda k=k, test=test: node.ifs.__setitem__(k, ast.UnaryOp(ast.Not(), test))  # type: ignore[misc]


def _code(tree: ast.Module) -> Iterator[tuple[ast.AST, str]]:
    """The nodes that work out something, each with its function: no type, fault, decorator or guard of lengths."""
    waiting: list[tuple[ast.AST, str]] = [(tree, ALL)]
    while waiting:
        node, function = waiting.pop()
        yield node, function
        if isinstance(node, ast.FunctionDef):
            first = min([node, *node.decorator_list], key=lambda n: n.lineno)
            inner, function = [node.args, *node.body], f"{node.name}:{first.lineno}"
        elif isinstance(node, ast.ClassDef):
            inner = list(node.body)
        elif isinstance(node, (ast.Raise, ast.arg)) or getattr(node, "arg", "") == "strict":
            inner = []
        elif isinstance(node, ast.AnnAssign):
            inner = [node.value] if node.value else []
        else:
            inner = list(ast.iter_child_nodes(node))
        waiting += [(child, function) for child in reversed(inner)]


def mutants(source: str) -> list[Mutant]:
    """Every change of a module."""
    made, line, tree = [], 1, ast.parse(source)
    above = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for number, (node, function) in enumerate(_code(tree)):
        line = getattr(node, "lineno", line)
        seen = node
        while len(_text(seen)) < LEAST_TEXT and isinstance(above[seen], ABOVE):
            seen = above[seen]
        place = list(ast.walk(seen)).index(node)
        for which in range(len(list(_changes(node)))):
            changed = copy.deepcopy(seen)
            list(_changes(list(ast.walk(changed))[place]))[which]()
            made.append(Mutant(function, line, _text(seen), _text(changed), number, which))
    return made


def _text(node: ast.AST) -> str:
    return f"if {ast.unparse(node.test)}" if isinstance(node, (ast.If, ast.While)) else ast.unparse(node).strip()


def functions_of(path: str) -> list[FunctionType]:
    """All functions that were made by a file."""
    return [f for f in gc.get_objects() if isinstance(f, FunctionType) and f.__code__.co_filename == path]


def put_in(module: ModuleType, functions: list[FunctionType], tree: ast.Module) -> None:
    """Make a loaded module, whose functions are given, behave as changed for all that have imported from it."""
    path = str(module.__file__)
    changed = {"__name__": module.__name__, "__file__": path}
    exec(compile(tree, f"{path} changed", "exec"), changed)
    new = {_key(f): f for f in functions_of(f"{path} changed")}
    for old in functions:
        if now := new.get(_key(old)):
            old.__code__, old.__defaults__, old.__kwdefaults__ = now.__code__, now.__defaults__, now.__kwdefaults__
    for name, was in list(vars(module).items()):
        if isinstance(was, type) and was.__module__ == module.__name__:
            _put_in_class(was, changed[name])
        if not (isinstance(was, (FunctionType, type)) or hasattr(was, "__wrapped__") or name.startswith("__")):
            for user in list(sys.modules.values()):
                if vars(user).get(name) is was:
                    setattr(user, name, changed.get(name, was))


def _put_in_class(old: type, new: type) -> None:
    """The values that stand in a class, and what its fields are where nothing is given."""
    for name, value in vars(new).items():
        if isinstance(value, (bool, int, float, str, tuple)) and not name.startswith("__"):
            setattr(old, name, value)
        elif name in ("__init__", "__new__") and isinstance(value, FunctionType):
            made = vars(old)[name]
            made.__defaults__, made.__kwdefaults__ = value.__defaults__, value.__kwdefaults__


def _key(function: FunctionType) -> tuple[str, int]:
    return function.__qualname__, function.__code__.co_firstlineno


class Trials:
    """A pytest plugin that, in place of the tests collected, runs them once watched and then under each change."""

    def __init__(self, path: Path, tried: list[Mutant]) -> None:
        self.path, self.source, self.tried = path, path.read_text(), tried
        self.name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        self.left: list[Mutant] = []
        self.into: set[str] = set()
        self.tests: dict[str, tuple[float, set[str]]] = {}
        self.items: dict[str, pytest.Item] = {}
        self.functions: list[FunctionType] = []

    def pytest_sessionstart(self) -> None:
        """No search for a smaller example."""
        steady = settings.get_profile("steady")
        health, phases = list(HealthCheck), (Phase.explicit, Phase.generate)
        settings.register_profile("once", steady, phases=phases, suppress_health_check=health)
        settings.load_profile("once")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """The first failure ends it."""
        if report.failed:
            os._exit(1)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """All trials, each in a process of its own."""
        self.items = {item.nodeid: item for item in session.items}
        session.config.pluginmanager.unregister(name="terminalreporter")
        module = importlib.import_module(self.name)
        self.functions = functions_of(str(self.path))
        gc.freeze()
        with tempfile.NamedTemporaryFile("r", suffix=".json") as kept:
            if _in_a_process(lambda: self._watch(module, Path(kept.name))):
                raise SystemExit(f"{self.name}: its tests fail as they are")
            self.tests = json.load(kept)
        for mutant in self.tried:
            tests = self._tests_of(mutant.function)
            if not tests or _in_a_process(lambda m=mutant, t=tests: self._try(module, m, t)) == 0:  # type: ignore[misc]
                self.left.append(mutant)
        return True

    def _enter(self, frame: Any, *_: Any) -> None:
        if frame.f_code.co_filename.startswith(str(self.path)):
            self.into.add(f"{frame.f_code.co_name}:{frame.f_code.co_firstlineno}")

    def _run(self, name: str) -> None:
        item = self.items[name]
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)

    def _watch(self, module: ModuleType, kept: Path) -> int:
        put_in(module, self.functions, ast.parse(self.source))  # unchanged: what is put in must pass
        seen = {}
        for name in self.items:
            self.into, start = set(), time.process_time()
            sys.settrace(self._enter)
            self._run(name)
            sys.settrace(None)
            seen[name] = (time.process_time() - start, sorted(self.into))
        kept.write_text(json.dumps(seen))
        return 0

    def _tests_of(self, function: str) -> list[str]:
        """Tests that enter the function, quickest first, then others beside them, which may share what they made."""
        enter = {t for t, (_, into) in self.tests.items() if function in into or (function == ALL and into)}
        files = {t.split("::")[0] for t in enter}
        beside = [t for t in self.tests if t.split("::")[0] in files]
        chosen, left = [], LONGEST
        for test in sorted(beside, key=lambda t: (t not in enter, self.tests[t][0])):
            left -= self.tests[test][0]
            if left > 0.0 or not chosen:
                chosen.append(test)
        return chosen

    def _try(self, module: ModuleType, mutant: Mutant, tests: list[str]) -> int:
        limit = TIMES * max(self.tests[t][0] for t in tests) + MORE_SECONDS
        signal.setitimer(signal.ITIMER_PROF, limit)
        put_in(module, self.functions, mutant.tree(self.source))
        for name in tests:
            signal.setitimer(signal.ITIMER_PROF, limit)
            self._run(name)
        return 0


def _in_a_process(work: Callable[[], int]) -> int:
    """What the work gives, or minus the signal that ended it."""
    child = os.fork()
    if child == 0:
        os.setsid()
        for stream in (1, 2):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        try:
            os._exit(work())
        finally:
            os._exit(3)
    end, done, status = time.monotonic() + WALL, 0, 0
    while not done:
        time.sleep(0.01)
        late = time.monotonic() > end
        if late:
            os.killpg(child, signal.SIGKILL)
        done, status = os.waitpid(child, 0 if late else os.WNOHANG)
    return os.waitstatus_to_exitcode(status)


def tried(path: str, most: str, tests: list[str]) -> bool:
    """Try one module; whether enough was noticed."""
    file = (ROOT / path).resolve()
    name = str(file.relative_to(ROOT / "repairecon"))
    found = mutants(file.read_text())
    sample = random.Random(SEED).sample(found, min(len(found), int(most or len(found))))
    with EXPLAINED.open(newline="") as rows:
        known = {(r["module"], r["function"], r["was"], r["becomes"]) for r in csv.DictReader(rows)}
    explained = [m for m in sample if (name, m.function.split(":")[0], m.was, m.becomes) in known]
    trials = Trials(file, [m for m in sample if m not in explained])
    if trials.tried:
        ended = pytest.main(["-qq", "-p", "no:cacheprovider", str(file), *tests], plugins=[trials])
        if ended not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            print(f"{name}: not tried: its tests fail as they are, or cannot be run")
            return False
    score = 1.0 - len(trials.left) / max(len(trials.tried), 1)
    noticed = len(trials.tried) - len(trials.left)
    print(f"{name}: {len(sample)} of {len(found)} changes, {noticed} noticed, {len(explained)} explained, {score:.0%}")
    for m in sorted(trials.left, key=lambda m: m.line):
        print(f"  {m.line} {m.function.split(':')[0]}: {m.was}  ->  {m.becomes}", flush=True)
    return score >= WANTED


def _tests_that_name(module: Path) -> list[str]:
    """Test files of the room that name the module; where there are none, all of them."""
    files = sorted((ROOT / "tests" / module.relative_to(ROOT).parts[1]).glob("test_*.py"))
    named = [f for f in files if re.search(rf"\b{module.stem}\b", f.read_text())]
    return list(map(str, named or files))


def main(path: str, most: str = "", *tests: str) -> int:
    """Try the modules of a path; a line each, and the changes that nothing noticed."""
    os.chdir(ROOT)
    os.environ.update(PYTHONPATH=str(ROOT), MPLBACKEND="Agg", OMP_NUM_THREADS="1")
    sys.path.insert(0, str(ROOT))
    place, codes = (ROOT / path).resolve(), []
    if place.is_file():
        return int(not tried(path, most, list(tests) or _tests_that_name(place)))
    for file in sorted(place.rglob("*.py")):
        if file.stat().st_size:
            run = [sys.executable, __file__, str(file.relative_to(ROOT)), most, *tests]
            codes.append(subprocess.run(run, check=False).returncode)
    return max(codes)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
