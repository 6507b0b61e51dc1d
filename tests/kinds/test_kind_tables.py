"""The data of the kinds holds together, names no maker, and agrees with what was added up or converted elsewhere."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import pytest
from scipy import constants

import repairecon.kinds
from repairecon.kinds import facts, kinds, own_hours
from repairecon.kinds.case_rows import with_ban
from repairecon.kinds.facts import parts, rows, said_by

NAMES = sorted(p.stem for p in (Path(repairecon.kinds.__file__).parent / "data").glob("*.csv"))
SYMPTOMS = {(r["kind"], r["symptom"]) for r in rows("symptoms")}
OF_A_KIND = [n for n in NAMES if "kind" in rows(n)[0] and n != "kinds"]
OF_A_SYMPTOM = ("failures", "looks", "carry_on", "temporary")
RANGES = {
    "kinds": ("life_years", "life_hours"),
    "tasks": ("hours",),
    "failures": ("chance",),
    "remedies": ("parts_share", "outside_share", "days"),
    "carry_on": ("chance_fails", "more_cost_share"),
    "temporary": ("cost_share", "holds_hours"),
}


@pytest.mark.parametrize("table", OF_A_KIND)
def test_every_row_belongs_to_a_kind_and_every_kind_has_rows(table: str) -> None:
    assert {r["kind"] for r in rows(table)} == set(kinds())


@pytest.mark.parametrize("table", OF_A_SYMPTOM)
def test_every_symptom_has_rows_and_none_is_unknown(table: str) -> None:
    assert {(r["kind"], r["symptom"]) for r in rows(table)} == SYMPTOMS


def test_chances_of_a_symptom_add_up_to_one() -> None:
    for kind in kinds():
        for symptom in facts(kind).symptoms:
            total = sum(f.range("chance").likely for f in facts(kind).failures_of(symptom))
            assert math.isclose(total, 1.0, abs_tol=1e-9), (kind, symptom, total)


@pytest.mark.parametrize("table", RANGES)
def test_low_is_not_above_likely_nor_likely_above_high(table: str) -> None:
    for line, row in enumerate(rows(table), 2):
        for name in RANGES[table]:
            cells = [float(row[f"{name}_{e}"]) for e in ("low", "likely", "high") if row[f"{name}_{e}"]]
            assert cells == sorted(cells), (table, line)
            assert len(cells) in (0, 3), (table, line)


@pytest.mark.parametrize("table", ["ratios", "shares"])
def test_plain_ranges_are_in_order(table: str) -> None:
    for line, row in enumerate(rows(table), 2):
        assert 0 <= float(row["low"]) <= float(row["likely"]) <= float(row["high"]), (table, line)


def test_every_source_is_listed() -> None:
    known = {r["code"] for r in rows("sources")} | {"as read", "none"}
    for table in (*OF_A_KIND, "kinds"):
        for line, row in enumerate(rows(table), 2):
            for column in ("source", "life_source", "chance_source", "figures_source"):
                assert set(parts(row.get(column, ""))) <= known, (table, line, row.get(column))
            assert row.get("source", "-") or row.get("life_source"), (table, line)


def test_pointers_lead_to_a_symptom_that_is_there() -> None:
    for row in rows("symptoms"):
        for cell in parts(row["not_these"], "|"):
            kind, _, symptom = cell.partition(" > ")[2].partition(": ")
            assert kind == "other" or (kind, symptom) in SYMPTOMS, cell


def test_findings_of_a_cause_have_remedies() -> None:
    for kind in kinds():
        for failure in facts(kind).failures:
            assert len(facts(kind).remedies_of(failure)) >= len(failure.several("findings")), (kind, failure["cause"])


# Beside each: the sum as it was told by whoever gathered the tasks (their README), not added up here.
TOLD = {
    "gas locker regulator": 0.9,
    "electric bilge pump": 1.9,
    "winch": 3.2,
    "alternator": 5.1,
    "raw water pump": 6,
    "heat exchanger": 8.5,
    "windlass": 12.8,
    "gearbox": 15.7,
    "outboard power head": 19.6,
}


@pytest.mark.parametrize(("kind", "hours"), TOLD.items())
def test_own_hours_are_those_that_were_said(kind: str, hours: float) -> None:
    assert own_hours(kind).likely == pytest.approx(hours, abs=0.051)


def test_units_agree_with_published_constants() -> None:
    # scipy.constants (CODATA and exact definitions); 1 inHg is 25.4 mm of mercury
    seen = {(r["unit"], w): float(r["times"]) for r in rows("units") for w in parts(r["written"])}
    assert seen["bar", "psi"] == pytest.approx(constants.psi / constants.bar, rel=1e-5)
    assert seen["psi", "bar"] == pytest.approx(constants.bar / constants.psi, rel=1e-5)
    assert seen["mbar", "psi"] == pytest.approx(constants.psi / 100, rel=1e-5)
    assert seen["mbar", "inhg"] == pytest.approx(25.4 * constants.mmHg / 100, rel=1e-5)
    assert seen["mm", "in"] == pytest.approx(constants.inch * 1000)
    assert seen["mm", "thou"] == pytest.approx(constants.mil * 1000)


def test_no_class_of_danger_is_left_to_anyone() -> None:
    # common practice, no source: what can sink, burn, poison or lose the steering is rebuilt with care at least
    for row in rows("kinds"):
        assert row["safety_class"] == "none" or row["own_rebuild"] != "yes", row["kind"]
        assert parts(row["cautions"]), row["kind"]


def test_repairs_near_the_edge_of_safety_are_shown_with_their_ban() -> None:
    edge = re.compile(r"fuses?\b|fused|header can|by-pass|boiling|blank|exciter|join both|cap\b", re.I)
    for kind in kinds():
        for repair in facts(kind).temporary:
            name, ban = repair["temporary_repair"], repair["not_allowed_when"]
            if not name.startswith("none") and edge.search(name + repair["parts_and_tools"]):
                assert ban.strip(), name
                assert ban in with_ban(repair)
    text = " ".join(r["temporary_repair"] for r in rows("temporary"))
    assert "fire blanket" not in text
    assert "Bridge" not in text


def test_names_no_maker() -> None:
    """Inside a sentence only a row's first word, an abbreviation or a unit has a capital."""
    allowed = re.compile(
        r"^(C|F|V|P|O|AC|CO|TIG|DZR|LPG|TDS|RO|TXV|GRP|S\d+|T\d+|V-blocks|O-rings?|P-bracket|C-spanner|II?|I)$"
    )
    folder = Path(__file__).resolve().parent
    mine = [list(csv.DictReader((folder / f"{n}.csv").open(encoding="utf-8"))) for n in ("questions", "sentences")]
    for table in [rows(n) for n in NAMES if n not in ("units", "sources")] + mine:
        for row in table:
            for cell in row.values():
                for word in re.findall(r"(?<=[a-z,] )[A-Z][\w-]*", cell):
                    assert allowed.match(word), (word, cell)


def test_who_says_it_is_said_in_words() -> None:
    assert (
        said_by("S01; from memory")
        == "a boating magazine, stored page; from memory: a trade opinion, not read anywhere"
    )
