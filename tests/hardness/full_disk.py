"""Every file that is written, on a disk that is full after so many bytes: a sentence, and all is as it was.

``python tests/hardness/full_disk.py`` limits the size of any file of the process (RLIMIT_FSIZE) and so meets the same
error in the middle of a write that a full disk gives; each act is tried at sizes that cut its output.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "data"
ACTS = (
    ["bench-sheet", str(DATA / "starter"), "--html", "sheet.html"],
    ["rebuild-or-buy", str(DATA / "starter"), "--draws", "64", "--report", "page.html"],
    ["spares-aboard", "own.spares", "sheet", "--to", "sheet.csv"],
    ["spares-aboard", "own.spares", "--insurance", "list.xlsx"],
    ["spares-aboard", "own.spares", "export", "papers"],
    ["spares-aboard", "own.spares", "backup", "copy.spares"],
    ["after-the-job", str(DATA / "job_log"), "--learn", "learned.toml"],
    ["compare-quotes", str(DATA / "engine_service"), "--orders", "orders"],
    ["new-case", "case", "--kind", "raw water pump"],
)
SIZES = (0, 100, 600)
"""Bytes after which no file grows; each of the acts writes a file that is longer."""


def ran(act: list[str], place: Path, size: int | None = None) -> subprocess.CompletedProcess[str]:
    """One command, in a place with so much room a file."""

    def limited() -> None:
        if size is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    env = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "repairecon", *act]
    return subprocess.run(command, cwd=place, env=env, capture_output=True, text=True, preexec_fn=limited, check=False)


def there(place: Path) -> dict[str, bytes]:
    """All that lies in a place but what SQLite keeps beside a book that is open."""
    files = (p for p in place.rglob("*") if not p.name.endswith(("-wal", "-shm")))
    return {str(p.relative_to(place)): p.read_bytes() if p.is_file() else b"" for p in files}


def main(short: bool) -> int:
    """Try them and count."""
    wrong = tried = 0
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        shutil.copytree(DATA / "spares", place / "lists")
        built = ran(["spares-aboard", "own.spares", "new", "lists"], place)
        assert built.returncode == 0, built.stderr
        before = there(place)
        for act in ACTS[2:5] if short else ACTS:
            for size in SIZES[1:2] if short else SIZES:
                done = ran(act, place, size)
                tried += 1
                fine = done.returncode == 2 and "Traceback" not in done.stderr and there(place) == before
                if not fine:
                    wrong += 1
                    print(f"WRONG {act} at {size} bytes: exit {done.returncode}: {done.stderr.strip()[-200:]}")
                    print("   left:", sorted(set(there(place)) ^ set(before)))
    print(f"{tried} writes cut short, {tried - wrong} told so and left all as it was")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main("--short" in sys.argv))
