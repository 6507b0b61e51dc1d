"""Draws the picture of the README anew from the demo case; run it when the faces or the demo change."""

from __future__ import annotations

from pathlib import Path

import repairecon
from repairecon.rebuild_or_buy import charts
from repairecon.show.plots import save_png

ROOT = Path(__file__).resolve().parents[1]


def main() -> None:
    case = repairecon.read_case(ROOT / "data" / "windlass")
    answer = repairecon.rebuild_or_buy(case)
    ax = charts.ranges(answer)
    target = ROOT / ".pictures" / "cost_ranges.png"
    target.parent.mkdir(exist_ok=True)
    target.write_bytes(save_png(ax.figure))


if __name__ == "__main__":
    main()
