"""A spares book under kills of its writer and flipped bits.

``python tests/hardness/books.py [KILLS FLIPS]`` (default 5 and 50) runs the tests that hold this, that many times.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HELD = ("test_book_file_kills.py", "test_proof.py::test_any_flipped_bit_by_which_a_row_reads_otherwise_is_found")


def main(kills: str = "5", flips: str = "50") -> int:
    """Run them; what they counted is printed."""
    often = {"SPARES_BOOK_KILLS": kills, "SPARES_BOOK_FLIPS": flips, "PYTHONPATH": str(ROOT)}
    run = [sys.executable, "-m", "pytest", "-q", "-s", *(f"tests/book/{name}" for name in HELD)]
    return subprocess.run(run, cwd=ROOT, env=os.environ | often, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
