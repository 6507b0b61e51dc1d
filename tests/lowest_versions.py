"""The lowest versions that pyproject.toml allows, installed together, and a part of the suite run with them.

``python tests/lowest_versions.py [FOLDER]`` makes a fresh environment there (default: one that is thrown away), says
what was installed and ends with the exit code of the tests.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LOOKED_AT = (
    "tests/formulas", "tests/read", "tests/show", "tests/many", "tests/book/test_book_file.py",
    "tests/book/test_workbook.py", "tests/buying", "tests/compare_quotes", "tests/spares_aboard/test_carry.py",
    "tests/rebuild_or_buy/test_page.py", "tests/rebuild_or_buy/test_charts.py", "tests/rebuild_or_buy/test_depths.py",
    "tests/rebuild_or_buy/test_draws.py", "tests/test_notebooks.py",
)  # fmt: skip
"""One test or more of everything that uses a library."""


def lowest() -> list[str]:
    """What the project and its tests need, each at its lowest version."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    return [re.sub(r">=", "==", one) for one in wanted]


def main(place: Path) -> int:
    """Make the environment, run the tests."""
    subprocess.run([sys.executable, "-m", "venv", place], check=True)
    python = str(place / "bin" / "python")
    subprocess.run([python, "-m", "pip", "install", "-q", *lowest()], check=True)
    print(subprocess.run([python, "-m", "pip", "list"], capture_output=True, text=True, check=True).stdout)
    command = [python, "-m", "pytest", "-q", "-n", "2", "--dist", "loadfile", *LOOKED_AT]
    return subprocess.run(command, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False).returncode


if __name__ == "__main__":
    if sys.argv[1:]:
        sys.exit(main(Path(sys.argv[1])))
    with tempfile.TemporaryDirectory() as made:
        sys.exit(main(Path(made)))
