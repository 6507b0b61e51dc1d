"""Every kind of unit with three numbers through the whole job, held to common sense (common practice, no source)."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

import repairecon
from repairecon.kinds import facts, kinds
from repairecon.kinds.case_rows import outcome_name
from repairecon.kinds.matching import HOUSING_LOST, found_in
from repairecon.rebuild_or_buy import sentences
from repairecon.rebuild_or_buy.answer import Answer

LICENSED = [k for k in kinds() if facts(k).own_rebuild == "licensed practice only"]


@cache
def answer_of(kind: str) -> Answer:
    with TemporaryDirectory() as folder:
        text = f'[unit]\nname = "unit"\nkind = "{kind}"\n[three_numbers]\nprice_new = 900\nwait_days = 7\n'
        (Path(folder) / "case.toml").write_text(text)
        return repairecon.rebuild_or_buy(repairecon.read_case(folder), 200)


def hours(kind: str) -> float:
    table = answer_of(kind).table
    here = table[table["kind"] == "rebuild"]
    return float(here["own_hours_mean"].iloc[0])


@pytest.mark.parametrize("kind", kinds())
def test_every_kind_has_an_advice_its_cautions_and_a_way(kind: str) -> None:
    answer = answer_of(kind)
    assert answer.advice.do in ("look", "strip", "take", "leave", "carry on")
    assert answer.table.loc[answer.advice.way, "allowed"]
    assert set(facts(kind).cautions) <= set(answer.cautions)


@pytest.mark.parametrize("kind", LICENSED)
def test_what_is_for_licensed_practice_has_no_own_rebuild(kind: str) -> None:
    table = answer_of(kind).table
    assert not table[table["kind"].isin(["rebuild", "second-hand"])]["allowed"].any()


@pytest.mark.parametrize(
    ("more", "less"),
    [
        ("gearbox", "windlass"),  # out of the boat, on a bench, many shims
        ("windlass", "alternator"),  # deck gear to unship against two bolts and a belt
        ("outboard power head", "outboard carburettor"),
        ("heat exchanger", "lift pump"),
        ("saildrive", "winch"),
        ("raw water pump", "hand bilge pump"),
    ],
)
def test_more_hours_for_the_larger_work(more: str, less: str) -> None:
    assert hours(more) > hours(less)


def test_kinds_differ_in_what_is_given_up() -> None:
    given_up = {k: float(answer_of(k).table["p_given_up"].max()) for k in ("gearbox", "winch", "alternator")}
    assert given_up["gearbox"] > given_up["winch"]
    assert len({round(p, 6) for p in given_up.values()}) == 3


@pytest.mark.parametrize("kind", kinds())
def test_what_is_cracked_through_is_not_rebuilt(kind: str, tmp_path: Path) -> None:
    """Unless a cause of the kind's own says how such a casing is met."""
    said = "frost has burst it, the housing is cracked right through"
    (tmp_path / "case.toml").write_text(
        f'[unit]\nname = "unit"\nkind = "{kind}"\nsymptom = "{said}"\n[three_numbers]\nprice_new = 900\nwait_days = 7\n'
    )
    answer = repairecon.rebuild_or_buy(repairecon.read_case(tmp_path), 200)
    own = {outcome_name(f["cause"]) for f in facts(kind).failures}
    assert len(answer.found) == 1
    if str(answer.found[0]).partition("=")[2] not in own:
        assert answer.advice.do == "take"
        assert {"rebuild", "send away", "exchange"}.isdisjoint(answer.table["kind"])
        assert "cracked, holed or burst" in next(iter(sentences.so_far(answer)))


def test_a_sound_casing_is_no_cracked_one() -> None:
    assert found_in("alternator", "the casing is cracked") == (HOUSING_LOST,)
    for said in ("no crack in the casing, but it leaks", "the casing is sound", "bearing broken, casing good"):
        assert HOUSING_LOST not in found_in("alternator", said)
