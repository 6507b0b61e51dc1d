"""Cases that would take all memory and all day, each given to the command line in a process of its own.

``python tests/hardness/bombs.py [NAME... | --short]`` tries them: seconds, memory, exit code, the last line said. Each
must end in an answer or in a sentence (exit code 0 or 2), within SECONDS and under MEMORY; else the exit code is 1.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SECONDS = 120.0
"""About a minute, and what a busy machine adds."""
MEMORY = 3 << 30
"""Bytes of address space: 2 GB for the work, and the program with its libraries."""
CASE = """[unit]
name = "pump"
[defaults]
tasks = "none"
events = "none"
looks = "none"
remedies = "none"
ways = "none"
[three_numbers]
price_new = [400, 450, 600]
price_kit = [60, 80, 120]
wait_days = [2, 6, 20]
[owner]
cost_own_hour = 20
cost_lost_day = [5, 20, 60]
[money]
currency = "EUR"
"""
WAYS = "way,kind\nnew,new\nrebuild,rebuild\n"
EVENTS = "event,given,outcome,chance,seen_at,parts,extra_hours_low,extra_hours_likely,extra_hours_high,ends_rebuild\n"
Files = dict[str, str]


def one_event(outcomes: int) -> Files:
    """One event of many outcomes, some of which end the rebuild."""
    ends = ["yes" if k % 10 == 0 else "no" for k in range(outcomes)]
    rows = [f"wear,,o{k},{1 / outcomes!r},strip,,1,{1 + k % 7},9,{end}" for k, end in enumerate(ends)]
    return {"events.csv": EVENTS + "\n".join(rows) + "\n"}


def chain(events: int) -> Files:
    """Each event given the one before."""
    rows = ["e0,,yes,0.5,strip,,1,2,3,no", "e0,,no,0.5,strip,,,,,no"]
    for k in range(1, events):
        rows += [f"e{k},e{k - 1}=yes,yes,0.5,strip,,1,2,3,no", f"e{k},e{k - 1}=yes,no,0.5,strip,,,,,no"]
    return {"events.csv": EVENTS + "\n".join(rows) + "\n"}


def independent(events: int) -> Files:
    """Events that have nothing to do with each other."""
    rows = [f"e{k},,{o},0.5,strip,,{h},no" for k in range(events) for o, h in (("yes", "1,2,3"), ("no", ",,"))]
    return {"events.csv": EVENTS + "\n".join(rows) + "\n"}


def parts(many: int) -> Files:
    """Parts, all of them needed, each with a range."""
    rows = [f"p{k},1,always,1,{2 + k % 9},20" for k in range(many)]
    return {"parts.csv": "part,quantity,needed,price_low,price_likely,price_high\n" + "\n".join(rows) + "\n"}


def charged_quotes(lines: int) -> Files:
    """Quotes of ten suppliers with every sort of charge: breaks, weights, limits of goods, three rates of duty."""
    columns = "supplier,currency,vat,carriage_likely,imported,duty_rate,cost_handling,free_above,minimum_order\n"
    abroad, free = ("no", "no", "yes"), ("", "150")
    sellers = [f"s{k},EUR,ex,{5 + k},{abroad[k % 3]},0.05,6,{free[k % 2]},{k}" for k in range(10)]
    rows = [
        f"p{k // 10},s{k % 10},{2 + (k * 7919) % 97},{'20 at 1.5; 50 at 1' if k % 4 == 0 else ''},0.3,{k % 3 / 50}"
        for k in range(lines)
    ]
    bands = [f"s{k},{kg},{kg + 4}" for k in range(1, 10, 2) for kg in (2, 10, 90_000)]
    return {
        **parts(lines // 10),
        "case.toml": CASE + "vat_rate = 0.2\n[customs]\nas_of = 2026-01-01\nduty_free_up_to = 150\n"
        "vat_free_up_to = 22\nflat_duty_rate = 0.025\nflat_duty_up_to = 700\n",
        "suppliers.csv": columns + "\n".join(sellers) + "\n",
        "carriage.csv": "supplier,up_to_kg,quoted_likely\n" + "\n".join(bands) + "\n",
        "quotes.csv": "item,supplier,quoted_likely,breaks,weight_kg,duty_rate\n" + "\n".join(rows) + "\n",
    }


def quotes(lines: int) -> Files:
    """Parts with ten quotes each, of ten suppliers."""
    sellers = [f"s{k},EUR,in,{5 + k}" for k in range(10)]
    rows = [f"p{k // 10},s{k % 10},{2 + (k * 7919) % 97}" for k in range(lines)]
    return {
        **parts(lines // 10),
        "suppliers.csv": "supplier,currency,vat,carriage_likely\n" + "\n".join(sellers) + "\n",
        "quotes.csv": "item,supplier,quoted_likely\n" + "\n".join(rows) + "\n",
    }


BOMBS: dict[str, tuple[Files, list[str]]] = {
    "1,000 outcomes": (one_event(1_000), ["rebuild-or-buy"]),
    "20,000 outcomes": (one_event(20_000), ["rebuild-or-buy"]),
    "chain of 2,000": (chain(2_000), ["rebuild-or-buy"]),
    "12 independent": (independent(12), ["rebuild-or-buy"]),
    "16 independent": (independent(16), ["rebuild-or-buy"]),
    "18 independent": (independent(18), ["rebuild-or-buy"]),
    "20 independent": (independent(20), ["rebuild-or-buy"]),
    "1,000 parts": (parts(1_000), ["rebuild-or-buy"]),
    "10,000 parts": (parts(10_000), ["rebuild-or-buy"]),
    "1e11 draws": (parts(3), ["rebuild-or-buy", "--draws", "100000000000"]),
    "1,000 quotes": (quotes(1_000), ["compare-quotes"]),
    "10,000 quotes": (quotes(10_000), ["compare-quotes"]),
    "10,000 quotes rebuilt": (quotes(10_000), ["rebuild-or-buy"]),
    "100,000 quotes": (quotes(100_000), ["compare-quotes"]),
    "10,000 quotes with every charge": (charged_quotes(10_000), ["compare-quotes", "--seconds", "30", "--json"]),
    "100,000 quotes with every charge": (charged_quotes(100_000), ["compare-quotes"]),
}  # fmt: skip

SHORT = ("20,000 outcomes", "20 independent", "1e11 draws", "1,000 quotes")


def tried(name: str, folder: Path) -> tuple[int | None, float, float, str]:
    """Exit code (None: not done in time), seconds, most memory held by any so far [GB] and the last line said."""
    files, (job, *words) = BOMBS[name]
    for file, text in {"case.toml": CASE, "ways.csv": WAYS, **files}.items():
        (folder / file).write_text(text)
    began, run = time.perf_counter(), [sys.executable, "-m", "repairecon", job, str(folder), *words]
    try:
        done = subprocess.run(
            run, capture_output=True, text=True, timeout=SECONDS, cwd=ROOT, check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY)),
        )  # fmt: skip
        code, said = done.returncode, (done.stderr or done.stdout).strip().splitlines()
    except subprocess.TimeoutExpired:
        code, said = None, ["not done in time"]
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
    return code, time.perf_counter() - began, most, said[-1] if said else ""


def main(names: list[str]) -> int:
    """Try them and print a line each."""
    wrong = 0
    for name in SHORT if names == ["--short"] else names or BOMBS:
        with tempfile.TemporaryDirectory() as place:
            code, seconds, most, said = tried(name, Path(place))
        bad = code not in (0, 2)
        wrong += bad
        print(f"{'WRONG ' if bad else ''}{name}: {seconds:.1f} s, {most:.2f} GB, exit {code}: {said[:120]}", flush=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
