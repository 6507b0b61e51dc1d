"""What importing the library brings along, and the names it promises."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import repairecon

ROOT = Path(__file__).resolve().parent.parent

NAMES = [
    "Answer",
    "BookError",
    "Branch",
    "Case",
    "CaseError",
    "Fault",
    "FindingError",
    "Part",
    "Quote",
    "QuotesAnswer",
    "Range",
    "ReceiveLine",
    "RepaireconError",
    "Source",
    "SparesAnswer",
    "Supplier",
    "Task",
    "Terms",
    "Unit",
    "Verdict",
    "Way",
    "after_the_job",
    "book_at",
    "book_from_csv",
    "compare_quotes",
    "copy_notebooks",
    "decide",
    "equivalent",
    "export_book",
    "new_case",
    "open_book",
    "read_case",
    "read_closed",
    "read_log",
    "rebuild_or_buy",
    "screen",
    "spares_aboard",
    "what_if",
    "whole_boat",
]
HEAVY = ("matplotlib", "scipy.optimize", "scipy.stats")


def loaded_after(code: str) -> list[str]:
    """Heavy modules that a new interpreter holds once it has run some code."""
    ask = f"import sys; {code}; print(*[m for m in {HEAVY!r} if m in sys.modules], sep=',')"
    run = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, cwd=ROOT, check=True)
    return [m for m in run.stdout.strip().split(",") if m]


def test_importing_stays_light() -> None:
    assert loaded_after("import repairecon") == []
    jobs = "repairecon.rebuild_or_buy, repairecon.read_case, repairecon.equivalent"
    assert loaded_after(f"import repairecon; {jobs}") == []


def test_a_heavy_import_would_be_seen() -> None:
    assert loaded_after("import repairecon, matplotlib, scipy.stats") == [
        "matplotlib",
        "scipy.optimize",
        "scipy.stats",
    ]


def test_the_public_names() -> None:
    assert sorted(repairecon.__all__) == NAMES
    assert all(hasattr(repairecon, name) for name in NAMES)
