"""Waits and prices by supplier, promised against kept: from the sheet of a job through the log into the next case."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from quoted_done import write_quoted

from repairecon.after_the_job import learning
from repairecon.after_the_job.job import after_the_job, decide
from repairecon.after_the_job.screen import learned as learned_words
from repairecon.compare_quotes import tables
from repairecon.compare_quotes.job import compare_quotes
from repairecon.read.case_folder import read_case
from repairecon.read.closed import Closed, add_to_log, log_text, read_actual, read_closed, read_log
from repairecon.read.problems import Problems
from repairecon.read.toml_records import learned_text, read_learned
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.records import JobLog, Logged, Moved, Source

SHEET = (
    "kind,name,quantity,paid,days\npart,shaft seal,2,9,6\npart,front bearing,1,8,6\n"
    "part,valve set,1,40,27\npart,cover o-ring,3,,\n"
)


def wait(job: str, supplier: str, promised: float, came: float, name: str = "seal") -> Logged:
    return Logged(job=job, closed_on="", unit="pump", kind="days", name=name, group=supplier, p50=promised,
                  actual=came, source=Source("x"))  # fmt: skip


@pytest.fixture(scope="module")
def closed(tmp_path_factory: pytest.TempPathFactory) -> Closed:
    folder = write_quoted(tmp_path_factory.mktemp("kept") / "deckwash pump")
    decide(folder, "rebuild here", on="2026-04-03", draws=200)
    (folder / "actual.csv").write_text(SHEET, encoding="utf-8")
    return replace(read_closed(folder), actual=read_actual(folder, read_case(folder)))


def test_one_late_parcel_by_hand() -> None:
    """A normal belief of precision 1 for all, 4 for the supplier, 1 for the job, 1 for the scatter (by hand)."""
    log = JobLog((wait("a", "Stockist", 3.0, 6.0), wait("a", "stockist", 5.0, 10.0, "bearing")))
    (kept,) = learning.learn(log).suppliers
    variance = 1 / 1 + 1 / 4
    assert kept.days == pytest.approx(2.0 ** (variance / (variance + 1 / 1 + 1)))
    assert (kept.supplier, kept.parcels, kept.price) == ("Stockist", 1, 1.0)  # two lines came in one parcel
    assert kept.days_low < kept.days < kept.days_high


def test_what_suppliers_keep_is_found_again() -> None:
    """Simulated: one keeps its word, one is half as late again; what came at once has a wait of half a day."""
    rng = np.random.default_rng(5)
    rows = [
        wait(f"{k:03}", name, 4.0, 4.0 * factor * float(np.exp(0.2 * rng.standard_normal())))
        for k in range(150) for name, factor in (("true", 1.0), ("late", 1.5))
    ]  # fmt: skip
    kept = {k.supplier: k for k in learning.learn(JobLog(tuple(rows))).suppliers}
    assert kept["true"].days == pytest.approx(1.0, abs=0.05)
    assert kept["late"].days == pytest.approx(1.5, abs=0.08)
    assert learning.learn(JobLog((wait("a", "by hand", 2.0, 0.0),))).suppliers[0].days > 0.1


def test_prices_are_held_against_the_rise_of_all() -> None:
    """Quotes a year old that came 2 % dearer say nothing against the supplier: that is the rise taken beforehand."""
    row = replace(wait("a", "s", 100.0, 102.0), kind="price", years=1.0)
    (kept,) = learning.learn(JobLog((row,))).suppliers
    assert kept.price == pytest.approx(1.0, abs=2e-3)
    (dear,) = learning.learn(JobLog((replace(row, actual=150.0, years=0.0),))).suppliers
    assert dear.price > 1.05


def test_the_sheet_goes_into_the_log_and_the_log_into_the_next_case(closed: Closed, tmp_path: Path) -> None:
    found = after_the_job(closed)
    days = {r.name: r for r in found.logged if r.kind == "days"}
    assert {n: (r.group, r.p50, r.actual) for n, r in days.items()} == {
        "shaft seal": ("stockist", 2.0, 6.0), "front bearing": ("stockist", 2.0, 6.0),
        "valve set": ("pump house", 6.0, 27.0),
    }  # fmt: skip
    add_to_log(tmp_path, found.logged)
    log = read_log(tmp_path)
    assert log_text(log.rows) == (tmp_path / "job_log.csv").read_text(encoding="utf-8")
    (tmp_path / "learned.toml").write_text(learned_text(found.learned), encoding="utf-8")
    learned = read_learned(tmp_path / "learned.toml", Problems())
    assert learned.suppliers == found.learned.suppliers
    by = {k.supplier: k for k in learned.suppliers}
    case = replace(closed.case, learned=learned)
    after = with_learned(case)
    assert after.supplier("pump house").lead_days.likely == pytest.approx(6.0 * by["pump house"].days)
    assert after.supplier("abroad").lead_days == case.supplier("abroad").lead_days  # it delivered nothing
    was, now = ({(q.item, q.supplier): q.quoted.likely for q in c.quotes} for c in (case, after))
    assert now["rotor", "pump house"] == pytest.approx(was["rotor", "pump house"] * by["pump house"].price)
    assert abs(by["pump house"].price - 1.0) > 0.01
    moved = {a.name: a for a in after.assumed if isinstance(a, Moved)}
    assert (moved["wait, stockist"].was, moved["wait, stockist"].now) == (1.0, by["stockist"].days)
    assert "stockist: waits" in " ".join(learned_words(found))
    # an order counts the wait as kept, and is written at the price quoted
    plain, kept = (compare_quotes(c, wanted={"rotor": 1}, without=("abroad",)) for c in (closed.case, case))
    assert kept.days == pytest.approx(plain.days * by["pump house"].days)
    assert [x["quoted"] for x in tables.order_lines(kept.offers, kept.found)] == [
        x["quoted"] for x in tables.order_lines(plain.offers, plain.found)
    ]


def test_the_next_job_is_logged_against_what_was_promised(closed: Closed) -> None:
    """Not against the waits and prices that were learned before: else a lesson would be forgotten by its own use."""
    learned = after_the_job(closed).learned
    again = after_the_job(replace(closed, case=replace(closed.case, learned=learned))).logged
    promised = {"stockist": 2.0, "pump house": 6.0, "abroad": 9.0}  # SUPPLIERS of quoted_done
    assert {r.group: r.p50 for r in again if r.kind == "days"}.items() <= promised.items()
    quoted = {("shaft seal", "stockist"): 3.4 * 1.21, ("front bearing", "stockist"): 6.1 * 1.21}  # QUOTES, tax on top
    prices = {(r.name, r.group): r.p50 for r in again if r.kind == "price"}
    assert {k: prices[k] for k in quoted} == pytest.approx(quoted)
