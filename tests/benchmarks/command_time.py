"""Processor time of the first screen and how it grows: python tests/benchmarks/command_time.py

The first screen is what it needs of the answer: advice, table, flips, stop rule.

Each command runs in a process of its own; seconds of the processor, the least of some runs, beside importing pandas and
scipy.optimize, which is what such a command cannot do without. Wide cases: the starter's three numbers with as many
parts, each with a price of its own and a tenth of them wanted only for damage, against ten parts.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIBRARIES = ["-c", "import pandas, scipy.optimize"]
FIRST_SCREEN = """
from repairecon import read_case, rebuild_or_buy
answer = rebuild_or_buy(read_case("data/windlass"))
answer.advice, answer.flips, answer.stop_when, answer.table
"""
TARGETS = {"first screen": 2.5, "the command": 2.5, "everything": 6.0}
RUNS = 3
COMPILED = {"PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir()) / "repairecon_compiled")}


def seconds(*words: str) -> float:
    """Least processor time of a fresh Python process [s]."""
    found = []
    # compiled once, as an installed package is
    own = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(RUNS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL, env=own | COMPILED)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


def command(folder: Path | str, *words: str) -> float:
    """Seconds of the job's command."""
    return seconds("-m", "repairecon", "rebuild-or-buy", str(folder), *words)


def wide_folder(root: Path, parts: int) -> Path:
    """A case of many parts."""
    folder = root / f"parts_{parts}"
    folder.mkdir()
    damage = max(parts // 10, 1)
    rows = [f"part {k},1,{'damage' if k < damage else 'always'},{5 + k % 7},{4 + k % 5}" for k in range(parts)]
    head = "part,quantity,needed,price_likely,lead_days_likely"
    (folder / "parts.csv").write_text("\n".join([head, *rows]) + "\n")
    events = ["event,outcome,chance,seen_at,parts"]
    for e in range(3):
        wanted = "; ".join(f"part {k}" for k in range(e, damage, 3))
        events += [f"e{e},good,0.7,measure,", f"e{e},bad,0.3,measure,{wanted}"]
    (folder / "events.csv").write_text("\n".join(events) + "\n")
    (folder / "case.toml").write_text((ROOT / "data" / "starter" / "case.toml").read_text())
    return folder


def main() -> None:
    base = seconds(*LIBRARIES)
    print(f"import pandas, scipy.optimize: {base:.2f} s")
    for name, words in (("first screen", None), ("the command", ()), ("everything", ("--json",))):
        took = seconds("-c", FIRST_SCREEN) if words is None else command("data/windlass", *words)
        print(f"windlass, {name}: {took:.2f} s = {took / base:.2f} x imports (at most {TARGETS[name]})")
    with tempfile.TemporaryDirectory() as root:
        ten, *more = ((n, command(wide_folder(Path(root), n))) for n in (10, 100, 300))
        print(f"10 parts: {ten[1]:.2f} s")
        for (n, took), most in zip(more, (2.0, 4.0), strict=True):
            print(f"{n} parts: {took:.2f} s = {took / ten[1]:.2f} x ten parts (at most {most})")


if __name__ == "__main__":
    main()
