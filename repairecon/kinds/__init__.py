"""What a mechanic knows of each kind of unit: names, safety, symptoms, causes, looks, limits, remedies, shares."""

from repairecon.kinds.facts import KindFacts, facts, kinds
from repairecon.kinds.names import KindMatch, match_kind
from repairecon.kinds.shares import dead_on_arrival, default_prices, done_again, given_up, own_hours, wrong_unit
from repairecon.kinds.symptoms import SymptomMatch, found_in, match_symptom, settle
from repairecon.kinds.worn import Judgement, worn

__all__ = [
    "Judgement",
    "KindFacts",
    "KindMatch",
    "SymptomMatch",
    "dead_on_arrival",
    "default_prices",
    "done_again",
    "facts",
    "found_in",
    "given_up",
    "kinds",
    "match_kind",
    "match_symptom",
    "own_hours",
    "settle",
    "worn",
    "wrong_unit",
]
