"""Pieces of what came after the job for a notebook: words, tables and the frames of the charts."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.after_the_job import told as after_told
from repairecon.after_the_job.answer import AfterTheJob
from repairecon.after_the_job.summary import largest_steps, step_name
from repairecon.formulas.scores import chances_below, histogram_band
from repairecon.show.layout import capital
from repairecon.show.sheet import Panel
from repairecon.show.words import chance_words, whole

Floats = NDArray[np.float64]
LEAST_BARS = 10
"""Jobs from which on bars are drawn."""

KINDS = {"chance": "Chances before and after", "hours": "Your hours over your guesses, before and after"}


def heading(found: AfterTheJob) -> Panel:
    """What was done, and whose figures these are."""
    unit = found.case.unit if found.case else None
    title = capital(unit.name if unit else found.name)
    figures = [f"Figures: {unit.figures}."] if unit and unit.figures else []
    return Panel(title, [after_told.decided(found), *figures], listed=False)


def verdict(found: AfterTheJob) -> Panel:
    """Estimate against actual, and the choice then and now."""
    b, h, currency = found.bridge, found.hindsight, after_told.currency_of(found)
    if b is None or h is None:
        return Panel("After the job", ["No closed job: only the log is looked at."], listed=False)
    lines = [after_told.bridge(b, currency), after_told.judged(h), after_told.then(h, currency)]
    return Panel("After the job", [*lines, after_told.now(h, currency), after_told.not_told(b)], listed=False)


def held(found: AfterTheJob) -> Panel:
    """Whether the ranges hold, and the chances."""
    lines = after_told.all_held(found)
    return Panel("Do the ranges hold", [*lines, *filter(None, [after_told.chances(found)])])


def learned(found: AfterTheJob) -> Panel:
    """What the log teaches."""
    return Panel("What the log teaches", after_told.learned(found))


def bridge_frame(found: AfterTheJob, most: int = 12) -> pd.DataFrame:
    """The bridge as its chart takes it."""
    b = found.bridge
    if b is None:
        return pd.DataFrame(columns=["name", "amount"])
    bars = [("estimate", b.estimate["total"])]
    bars += [(step_name(s), s.amount) for s in largest_steps(b, most)]
    return pd.DataFrame([*bars, ("what it came to", b.actual["total"])], columns=["name", "amount"])


def bridge_caption(found: AfterTheJob) -> str:
    """Under the bridge."""
    b, currency = found.bridge, after_told.currency_of(found)
    if b is None or not b.steps:
        return ""
    name, amount = next(iter(b.groups.items()))
    dearer = {
        "found inside": "no estimate is to blame for that; look first next time",
        "days": "ask for the days in writing next time, or widen their range",
        "hours": "let your own record correct the hours of the next case",
        "price": "quote before you choose",
    }
    cheaper = {
        "found inside": "luck inside; leave the chances to the log",
        "days": "reckon with fewer days next time",
        "hours": "let your own record correct the hours of the next case",
        "price": "take these prices into the next case",
    }
    todo = (dearer if amount > 0 else cheaper).get(name, "put it into the next case")
    return f"The largest reason is {after_told.GROUPS.get(name, name)} ({after_told.signed(amount, currency)}): {todo}."


def held_frame(found: AfterTheJob) -> pd.DataFrame:
    """Where jobs fell, as the chart takes it."""
    columns = ["quantity", "places", "inside", "of", "says"]
    return pd.DataFrame([[getattr(h, c) for c in columns] for h in found.held], columns=columns)


def held_caption(found: AfterTheJob) -> str:
    """Under the places of the jobs."""
    bad = [h for h in found.held if h.says == "too narrow"]
    if bad:
        worst = max(bad, key=lambda h: h.factor)
        return f"Eight dots in ten belong in the band. Widen the ranges of {worst.quantity} first."
    return "Eight dots in ten belong in the band; nothing here asks for wider ranges."


def chances_frame(found: AfterTheJob) -> pd.DataFrame:
    """Groups of stated chances, as the chart takes them."""
    groups = found.calibration.groups if found.calibration else ()
    return pd.DataFrame([g._asdict() for g in groups], columns=["stated", "happened", "low", "high", "many"])


def chances_caption(found: AfterTheJob) -> str:
    """Under the stated chances."""
    c = found.calibration
    if c is None or c.many < after_told.LEAST_STATED:
        return "Too few stated chances to tell anything yet: go on writing down what you find."
    off = after_told.off_groups(c)
    if not off:
        return "Every range meets the dashed line: keep your chances as they are."
    g = max(off, key=lambda g: g.many)
    side = "higher" if g.happened > g.stated else "lower"
    ends = f"{chance_words(g.low)} to {chance_words(g.high)}"
    return f"Where you would say {chance_words(g.stated)}, go {side}: the log leaves {ends} open."


def moved_frame(found: AfterTheJob, kind: str, most: int = 8) -> pd.DataFrame:
    """Figures of a kind before and after, those that moved most."""
    some = [s for s in after_told.most_moved(found, most) if s.kind == kind]
    columns = ["name", "before", "before_low", "before_high", "after", "low", "high"]
    return pd.DataFrame([[getattr(s, c) for c in columns] for s in some], columns=columns)


def rank_frame(ranks: Floats, bars: int = 10) -> pd.DataFrame:
    """Ranks from 0 to 1 counted in equal bars."""
    counts, edges = np.histogram(ranks, bars, (0.0, 1.0))
    return pd.DataFrame({"low": edges[:-1], "high": edges[1:], "count": counts})


def rank_band(ranks: Floats, bars: int = 10) -> tuple[float, float]:
    """The counts that nine bars in ten should keep to."""
    return histogram_band(len(ranks), bars, 0.9)


def places_of(found: AfterTheJob, quantity: str) -> Floats:
    """Places from 0 to 1 of past jobs in the ranges stated for a quantity."""
    return chances_below([z for h in found.held if h.quantity == quantity for z in h.places])


def places_caption(places: Floats) -> str:
    """Under the places of past jobs."""
    high, low = float((places > 0.8).mean()), float((places < 0.2).mean())
    if high > 2 * low and high > 0.3:
        return f"{chance_words(high)} came in the top fifth of their range: raise your middle values."
    if low > 2 * high and low > 0.3:
        return f"{chance_words(low)} came in the bottom fifth of their range: lower your middle values."
    return "Right ranges give even bars; heaps at both ends ask for wider ones, a heap in the middle for narrower ones."


def rank_caption(ranks: Floats, bars: int = 10) -> str:
    """Under the bars of ranks."""
    low, high = rank_band(ranks, bars)
    counts = rank_frame(ranks, bars)["count"]
    out = int(((counts < low) | (counts > high)).sum())
    inside = chance_words(float(((ranks >= 0.1) & (ranks <= 0.9)).mean()))
    leave = "leaves" if out == 1 else "leave"
    claim = f"{inside} lie between P10 and P90, which claim 80 in 100"
    told = f"{claim}; {whole(out)} of {whole(bars)} bars {leave} the band"
    return f"{told}. " + ("Trust the ranges as far as the case." if out <= bars // 4 else "Take the ranges with care.")


def show_bridge(found: AfterTheJob) -> None:
    """Put the bridge on the page, if there is a closed job."""
    from repairecon.after_the_job import charts

    if found.bridge is not None:
        frame = bridge_frame(found)
        charts.show(charts.bridge(frame, after_told.currency_of(found), bridge_caption(found)))


def show_log(found: AfterTheJob) -> None:
    """Put the pictures of the log on the page, as far as it fills them."""
    from repairecon.after_the_job import charts

    if found.held:
        charts.show(charts.held(held_frame(found), held_caption(found)))
    places = places_of(found, "total")
    if len(places) >= LEAST_BARS:
        title, caption = "Total: the place of each job in the range stated for it", places_caption(places)
        charts.show(charts.rank_bars(rank_frame(places, 5), rank_band(places, 5), title, caption))
    if found.calibration is not None and found.calibration.many >= after_told.LEAST_STATED:
        charts.show(charts.honest_chances(chances_frame(found), chances_caption(found)))


def show_learned(found: AfterTheJob) -> None:
    """Put what moved on the page."""
    from repairecon.after_the_job import charts

    for kind, title in KINDS.items():
        frame = moved_frame(found, kind)
        if not frame.empty:
            unit = "chance" if kind == "chance" else "times"
            caption = "Grey is what was believed before, with its 8 in 10 range; let the next case use the lower bars."
            charts.show(charts.before_after(frame, title, unit, caption))
