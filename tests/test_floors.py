"""The house: imports go only downwards; one room opens files, one draws, one plots, one rounds."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from floor_rules import KNOWN, PACKAGE, RULES, check, module_name, room_of

ROOT = Path(__file__).resolve().parent.parent
SOURCES = {module_name(p, ROOT): p for p in sorted((ROOT / PACKAGE).rglob("*.py"))}
MODULES = frozenset(SOURCES)
FORMULA = "repairecon.formulas.sums"


@pytest.mark.parametrize("rule", RULES)
def test_the_package_obeys(rule: str) -> None:
    found = [f for name, path in SOURCES.items() for f in check(path.read_text("utf-8"), name, MODULES, rule)]
    assert not found, "\n" + "\n".join(map(str, found))


def test_every_module_is_on_a_floor() -> None:
    assert {room_of(name) for name in MODULES} <= set(KNOWN)
    # every room that holds more than its empty face was really read
    assert len(SOURCES) >= 7


BAD = [
    ("imports", "repairecon.read.reader", "from repairecon.rebuild_or_buy import anything"),
    ("imports", "repairecon.read.reader", "import repairecon.book.acts"),
    ("imports", "repairecon.read.reader", "from ..rebuild_or_buy import draws"),
    ("imports", "repairecon.read.reader", "def f():\n    from repairecon.show import words"),
    ("imports", "repairecon.rebuild_or_buy.draws", "from repairecon import read_case"),
    ("imports", "repairecon.show.report", "from repairecon.__main__ import run"),
    ("imports", "repairecon.show.report", "import repairecon"),
    ("imports", "repairecon.records", "import numpy as np"),
    ("imports", FORMULA, "from repairecon.records import Range"),
    ("imports", FORMULA, "import pandas as pd"),
    ("imports", "repairecon.compare_quotes.buy", "from repairecon.cellar import wine"),
    ("files", FORMULA, "open('x')"),
    ("files", FORMULA, "from pathlib import Path\nPath('x').read_text()"),
    ("files", "repairecon.compare_quotes.buy", "p.write_bytes(b'')"),
    ("files", "repairecon.compare_quotes.buy", "with p.open() as f: pass"),
    ("files", "repairecon.compare_quotes.buy", "import numpy as np\nnp.load('x')"),
    ("files", "repairecon.compare_quotes.buy", "import numpy as np\nnp.loadtxt('x')"),
    ("files", "repairecon.compare_quotes.buy", "import pandas as pd\npd.read_csv('x')"),
    ("files", "repairecon.compare_quotes.buy", "frame.to_csv(path)"),
    ("files", "repairecon.show.plots", "fig.savefig('x.png')"),
    ("files", "repairecon.compare_quotes.buy", "import os\nos.replace('a', 'b')"),
    ("files", "repairecon.compare_quotes.buy", "import shutil"),
    ("files", "repairecon.compare_quotes.buy", "from sqlite3 import connect"),
    ("files", "repairecon.__init__", "from importlib import resources"),
    ("files", "repairecon.standards.bearings", "from importlib import resources"),
    ("files", "repairecon.standards.bearings", "import csv"),
    ("files", "repairecon.standards.tables", "open('x')"),
    ("files", "repairecon.standards.tables", "p.write_text('x')"),
    ("files", "repairecon.standards.tables", "import shutil"),
    ("chance", "repairecon.rebuild_or_buy.outcomes", "import numpy as np\nnp.random.default_rng(1)"),
    ("chance", "repairecon.rebuild_or_buy.outcomes", "from numpy import random"),
    ("chance", "repairecon.rebuild_or_buy.outcomes", "from numpy.random import default_rng"),
    ("chance", "repairecon.compare_quotes.buy", "import random"),
    ("chance", "repairecon.compare_quotes.buy", "from scipy.stats import qmc"),
    ("chance", "repairecon.compare_quotes.buy", "stats.norm.rvs(3)"),
    ("plots", "repairecon.compare_quotes.words", "import matplotlib.pyplot as plt"),
    ("plots", "repairecon.compare_quotes.words", "def f():\n    from matplotlib.figure import Figure"),
    ("plots", "repairecon.compare_quotes.pictures", "import matplotlib.pyplot as plt"),
    ("plots", "repairecon.compare_quotes.page", "import matplotlib.pyplot as plt"),
    ("rounding", "repairecon.compare_quotes.buy", "round(x, 2)"),
    ("rounding", "repairecon.compare_quotes.buy", "frame.round(1)"),
    ("rounding", "repairecon.compare_quotes.buy", "import numpy as np\nnp.around(x)"),
    ("rounding", "repairecon.compare_quotes.buy", "x.quantize(cent)"),
    ("rounding", "repairecon.compare_quotes.buy", "f'{x:.2f}'"),
    ("rounding", "repairecon.compare_quotes.buy", "f'{x:,}'"),
    ("rounding", "repairecon.compare_quotes.buy", "f'{x:g}'"),
    ("rounding", "repairecon.compare_quotes.buy", "f'{x:8%}'"),
    ("rounding", "repairecon.compare_quotes.buy", "f'{x:{spec}}'"),
    ("rounding", "repairecon.compare_quotes.buy", "'%5.1f' % x"),
    ("rounding", "repairecon.compare_quotes.buy", "'{:.1f}'.format(x)"),
    ("rounding", "repairecon.compare_quotes.buy", "format(x, '.1f')"),
    ("rounding", "repairecon.show.plots", "frame.to_string(float_format=str)"),
]


@pytest.mark.parametrize(("rule", "module", "source"), BAD)
def test_a_breach_is_seen(rule: str, module: str, source: str) -> None:
    assert check(source, module, MODULES | {module}, rule), source


GOOD = [
    ("imports", "repairecon.read.reader", "from repairecon import records\nimport tomllib, numpy"),
    ("imports", "repairecon.read.reader", "from repairecon.read import problems\nfrom . import problems"),
    ("imports", FORMULA, "import numpy as np\nfrom repairecon.formulas import ranges"),
    ("imports", "repairecon.__main__", "import repairecon\nfrom repairecon.show import words"),
    ("imports", "repairecon.show.report", "from repairecon.show import words\nfrom ..read import share"),
    ("files", "repairecon.read.reader", "open('x').read()\nimport shutil"),
    ("files", "repairecon.standards.tables", "import csv\nfrom importlib import resources\nx.read_text()"),
    ("files", "repairecon.show.plots", "fig.savefig(buffer)\nframe.to_csv()"),
    ("files", "repairecon.compare_quotes.buy", "text.replace('a', 'b')\njson.dumps(x)"),
    ("chance", "repairecon.rebuild_or_buy.draws", "import numpy as np\nnp.random.default_rng(1)"),
    ("plots", "repairecon.compare_quotes.charts", "import matplotlib.pyplot as plt"),
    ("plots", "repairecon.show.plots", "def f():\n    from matplotlib.figure import Figure"),
    ("rounding", "repairecon.show.words", "round(f(x), 2)\nf'{x:.2f}'"),
    ("rounding", "repairecon.compare_quotes.buy", "f'{x}, {y:>12} {n:02d} {when:%Y-%m-%d}'\n'%s' % x"),
]


@pytest.mark.parametrize(("rule", "module", "source"), GOOD)
def test_what_is_allowed_passes(rule: str, module: str, source: str) -> None:
    known = MODULES | {module, "repairecon.formulas.ranges", "repairecon.read.problems"}
    assert check(source, module, known, rule) == []


def test_import_stays_light() -> None:
    code = (
        "import sys, repairecon; "
        "print(*[m for m in ('matplotlib', 'scipy.optimize', 'scipy.stats') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert run.stdout.strip() == ""
