"""What to do with each picture of the spares."""

from __future__ import annotations

from repairecon.show.words import money, price, whole
from repairecon.spares_aboard.answer import SparesAnswer
from repairecon.spares_aboard.dates import INSPECT, OVER, RUNS_OUT


def risk(answer: SparesAnswer) -> str:
    """Under risk against money."""
    c, curve = answer.currency, answer.budget_curve
    if len(curve) < 2:
        return "Nothing more is worth its money for this passage."
    first = curve.iloc[1]
    apart = " The list for your budget may do better: it weighs all purchases together." if answer.joint else ""
    return (
        f"Buy from the left for as long as the line falls steeply: {first['item']} first, for "
        f"{price(first['spend'], c)}; beyond {money(curve['spend'].iloc[-1], c)} nothing more pays.{apart}"
    )


def places(answer: SparesAnswer) -> str:
    """Under the value by locker."""
    if answer.by_locker.empty:
        return "Nothing lies aboard by the book."
    top = str(answer.by_locker.index[0])
    return f"Count {top} first: most of the money lies there. Throw away what is hatched, lest it be trusted."


def expiry(answer: SparesAnswer) -> str:
    """Under the expiry timeline."""
    counts = {s: int((answer.shelf["state"] == s).sum()) for s in (OVER, INSPECT, RUNS_OUT)}
    said = [
        f"throw away {whole(counts[OVER])}" if counts[OVER] else "",
        f"inspect {whole(counts[INSPECT])} before you trust them" if counts[INSPECT] else "",
        f"replace {whole(counts[RUNS_OUT])} that run out on the way" if counts[RUNS_OUT] else "",
    ]
    what = ", ".join(w for w in said if w)
    return f"Before you sail: {what}." if what else "Nothing runs out before the passage ends; use the topmost first."
