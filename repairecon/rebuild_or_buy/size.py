"""How large the work is, known before it is begun: over the limit it is refused, with what to thin out.

The measures were taken on cases of one event of 500 to 2,000 outcomes, chains, independent events, 300 to 2,000 parts
and 400,000 draws (``tests/hardness/bombs.py``), on one core of 2024.
"""

from __future__ import annotations

from repairecon.records import RepaireconError

MOST_BYTES = 2e9
MOST_SECONDS = 60.0
BYTES_A_HOLD = 48.0
"""For each row of events in each leaf: whether it holds, and what it costs there, in double and in single."""
SECONDS_A_HOLD = 8e-7
"""For each of these and each rebuild."""
BYTES_AN_INPUT = 80_000.0
"""For each uncertain number: its values in a block of draws, their steps, their points."""
SECONDS_A_PAIR = 6e-8
"""For each pair of uncertain numbers: each is moved once, and all costs added up."""
SECONDS_A_DRAW = 1e-8
"""For each draw and each amount in it."""
AMOUNTS_A_WAY = 10
"""What is counted of a way in each draw, whatever it costs."""
THIN_OUT = "put outcomes that cost about the same together, or leave out events that change little"


def check_leaves(rows: int, leaves: int, rebuilds: int) -> None:
    """Refuse a tree whose rows and leaves are too many together."""
    holds = float(rows * leaves)
    _check(
        holds * BYTES_A_HOLD, holds * SECONDS_A_HOLD * max(rebuilds, 1),
        f"events.csv: {rows} rows and {leaves} courses of events for {rebuilds} rebuilds",
        THIN_OUT,
    )  # fmt: skip


def check_inputs(inputs: int, ways: int) -> None:
    """Refuse more uncertain numbers than can be drawn and moved."""
    _check(
        inputs * BYTES_AN_INPUT, inputs**2 * SECONDS_A_PAIR,
        f"{inputs} uncertain prices, waits and hours in {ways} ways",
        "write parts that are bought together as one row, or one kit",
    )  # fmt: skip


def check_draws(draws: int, amounts: int, ways: int) -> None:
    """Refuse more draws than a limited time has room for."""
    each = SECONDS_A_DRAW * (amounts + AMOUNTS_A_WAY * ways)
    _check(0.0, draws * each, f"{draws} draws", f"at most {int(MOST_SECONDS / each)} of this case, or auto")


def _check(needs: float, seconds: float, what: str, thin_out: str) -> None:
    if needs > MOST_BYTES:
        raise RepaireconError(
            f"{what} would take about {int(needs / 1e9)} GB of memory (limit {int(MOST_BYTES / 1e9)} GB): {thin_out}"
        )
    if seconds > MOST_SECONDS:
        raise RepaireconError(
            f"{what} would take about {int(seconds / 60)} minutes (limit {int(MOST_SECONDS / 60)}): {thin_out}"
        )
