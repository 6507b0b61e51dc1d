"""What a mechanic knows of each kind of unit: names, safety, symptoms, causes, looks, limits, remedies, shares."""

from repairecon.kinds.facts import KindFacts, facts, kinds, own_hours, share
from repairecon.kinds.matching import KindMatch, SymptomMatch, found_in, match_kind, match_symptom, settle
from repairecon.kinds.worn import Judgement, worn

__all__ = [
    "Judgement", "KindFacts", "KindMatch", "SymptomMatch", "facts", "found_in", "kinds", "match_kind", "match_symptom",
    "own_hours", "settle", "share", "worn",
]  # fmt: skip
