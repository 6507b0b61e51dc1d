"""Names of units as people write them. What each means is common practice, no source."""

from __future__ import annotations

import pytest
from kinds.spellings import spellings

from repairecon.kinds import KindMatch, facts, kinds, match_kind, settle
from repairecon.kinds.facts import rows
from repairecon.kinds.matching import LEVELS

ORDER = [r["safety_class"] for r in rows("safety_classes")]


@pytest.fixture(scope="module")
def written() -> list[tuple[str, str, KindMatch]]:
    """Kind, a spelling of one of its names, and what that is taken for."""
    named = ((kind, name) for kind in kinds() for name in (kind, *facts(kind).other_names))
    return [(kind, text, match_kind(text)) for kind, name in named for text in spellings(name)]


def test_thousands_of_spellings_find_their_kind(written: list[tuple[str, str, KindMatch]]) -> None:
    assert len(written) > 3000
    lost = [(kind, text) for kind, text, match in written if kind not in match.candidates]
    assert len(lost) <= 5, lost


def test_no_spelling_loses_its_safety(written: list[tuple[str, str, KindMatch]]) -> None:
    for kind, text, match in written:
        known = facts(kind)
        if kind in match.candidates or match.kind == "":
            assert LEVELS.index(match.own_rebuild) >= LEVELS.index(known.own_rebuild), text
        if kind in match.candidates:
            assert ORDER.index(match.safety_class) <= ORDER.index(known.safety_class), text


BY_HAND = {
    "gas locker fan": ("locker fan", "gas", "licensed practice only"),
    "fuel injector": ("injectors", "pressure injection", "licensed practice only"),
    "seacock valve": ("seacock", "flooding", "with care"),
    "bilge pump, electric": ("electric bilge pump", "flooding", "with care"),
    "old rusty bilge-pumps, electric 12V": ("electric bilge pump", "flooding", "with care"),
    "manual bilge pump": ("hand bilge pump", "flooding", "with care"),
    "autopilot": ("autopilot drive", "steering", "with care"),
    "turbocharger": ("turbocharger", "fire/fuel", "licensed practice only"),
    "fridge": ("refrigerator compressor", "fire/fuel", "licensed practice only"),
    "toilet": ("toilet pump", "flooding", "with care"),
    "heads": ("toilet pump", "flooding", "with care"),
    "boat engine alternator": ("alternator", "fire/fuel", "with care"),
    "outboard gearbox": ("outboard lower unit", "lifting", "with care"),
    "windlass gearbox": ("windlass", "anchoring", "with care"),
    "engine oil cooler": ("heat exchanger", "flooding", "with care"),
    "pump for the heads": ("toilet pump", "flooding", "with care"),
    "sea water pump (engine)": ("raw water pump", "flooding", "with care"),
    "outboard carburetor": ("outboard carburettor", "fire/fuel", "with care"),
    "steering ram": ("hydraulic steering", "steering", "with care"),
    "shore power charger": ("battery charger", "mains voltage", "licensed practice only"),
    "thru-hull": ("seacock", "flooding", "with care"),
    "main engine starter": ("starter motor", "fire/fuel", "with care"),
}


@pytest.mark.parametrize(("text", "wanted"), BY_HAND.items())
def test_a_name_is_taken_for(text: str, wanted: tuple[str, str, str]) -> None:
    match = match_kind(text)
    assert match.certainty in ("exact", "taken as")
    assert (match.kind, match.safety_class, match.own_rebuild) == wanted
    assert match.cautions


ASKED = {
    "pump": {"raw water pump", "electric bilge pump", "injection pump"},
    "water pump": {"raw water pump", "circulating pump", "fresh water pump"},
    "outboard": {"outboard power head", "outboard lower unit", "outboard carburettor"},
    "generator": {"generator set", "alternator"},
    "watermaker": {"watermaker pump", "watermaker membrane"},
    "bilge pump": {"electric bilge pump", "hand bilge pump"},
    "fuel pump": {"lift pump", "injection pump"},
    "regulator": {"gas locker regulator", "alternator"},
    "alternator belt": {"alternator"},
    "gas heater": {"diesel heater"},
}


@pytest.mark.parametrize(("text", "among"), ASKED.items())
def test_what_fits_several_is_asked(text: str, among: set[str]) -> None:
    match = match_kind(text)
    assert match.certainty == "ask"
    assert among <= set(match.candidates)
    assert match.question.endswith("?")
    strictest = max(LEVELS.index(facts(k).own_rebuild) for k in match.candidates)
    assert LEVELS.index(match.own_rebuild) >= strictest


def test_the_other_words_say_which_is_meant() -> None:
    # alone it is asked about as gas or engine; an alternator's has nothing to do with gas
    assert match_kind("alternator regulator").candidates == ("alternator",)
    assert match_kind("alternator regulator").safety_class == "fire/fuel"
    assert match_kind("gas solenoid").kind == "gas locker regulator"


NO_KIND = {
    "rudder bearing": "steering",
    "fan belt": "none",
    "toaster": "none",
    "trailer brake": "lifting",
    "hydraulic crane": "lifting",
    "rigging screw": "lifting",
    "fuel tank": "fire/fuel",
    "gas oven": "gas",
    "exhaust hose": "carbon monoxide",
    "liferaft": "life saving",
    "240 V socket": "mains voltage",
    "steereing column": "steering",
}


@pytest.mark.parametrize(("text", "danger"), NO_KIND.items())
def test_an_unknown_unit_is_judged_by_the_strictest_reading_of_its_words(text: str, danger: str) -> None:
    match = match_kind(text)
    assert (match.certainty, match.kind, match.safety_class) == ("none", "", danger)
    assert match.own_rebuild == ("with care" if danger == "none" else "licensed practice only")
    assert match.cautions


@pytest.mark.parametrize("word", ["gas", "LPG", "230 V", "steering", "injection", "petrol", "exhaust"])
def test_a_word_of_danger_raises_what_its_kind_demands(word: str) -> None:
    plain, raised = match_kind("winch"), match_kind(f"{word} winch")
    assert plain.own_rebuild == "yes"
    assert raised.own_rebuild == "licensed practice only"
    assert raised.safety_words


@pytest.mark.parametrize(
    ("text", "needed"),
    [("gas regulator", True), ("exhaust elbow", True), ("helm pump", True), ("injectors", True), ("winch", False)],
)
def test_a_pattern_part_needs_its_certificate(text: str, needed: bool) -> None:
    assert match_kind(text).certificate_needed is needed


SETTLED = {
    ("outboard", "no pee stream"): "outboard lower unit",
    ("watermaker", "the product tastes salty"): "watermaker membrane",
    ("generator", "starts, then shuts itself down"): "generator set",
    ("generator", "no charge, the light is on"): "alternator",
    ("water pump", "drips green coolant"): "circulating pump",
    ("bilge pump", "float switch does nothing"): "electric bilge pump",
}


@pytest.mark.parametrize(("said", "kind"), SETTLED.items())
def test_the_sentence_settles_which_is_meant(said: tuple[str, str], kind: str) -> None:
    match = settle(match_kind(said[0]), said[1])
    assert (match.certainty, match.kind) == ("taken as", kind)


def test_a_sentence_that_fits_both_leaves_the_question() -> None:
    assert settle(match_kind("generator"), "it is broken").certainty == "ask"
