"""The owner's own sentence, matched by its words to the symptoms of a kind."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import log

from repairecon.kinds.facts import of_kind, parts, rows
from repairecon.kinds.names import Certainty, KindMatch, as_kind
from repairecon.kinds.words import Tokens, fold, listed, meaning

_LEAST = 2.0
_CLOSE = 0.8
_PHRASE = 0.6
_POINTER = 0.8
_FOUND = 0.74
_NO_SYMPTOM = "the sentence fits no symptom that is known of this unit"


@dataclass(frozen=True)
class SymptomMatch:
    """What a sentence was taken for.

    With ``ask`` the symptom is the likelier of the candidates. ``nothing_wrong`` tells, in words, why it may be no
    fault at all; ``first_question`` is the one whose answer would tell most; ``found`` are the causes and findings of
    the kind's rows that the sentence states.
    """

    kind: str
    sentence: str
    symptom: str
    certainty: Certainty
    first_question: str = ""
    candidates: Tokens = ()
    nothing_wrong: str = ""
    found: Tokens = ()
    said: str = ""


@cache
def _commonness() -> Counter[str]:
    return Counter(word for row in rows("symptoms") for word in _bag(f"{row['symptom']}; {row['words']}"))


def _weigh(words: Iterable[str]) -> float:
    return sum(log((1 + len(rows("symptoms"))) / (0.5 + _commonness()[word])) for word in words)


@cache
def _bag(cell: str) -> frozenset[str]:
    return frozenset(word for phrase in parts(cell) for word in meaning(phrase))


@cache
def _row(kind: str, symptom: str) -> Mapping[str, str]:
    return next(row for _, row in of_kind("symptoms", kind) if row["symptom"] == symptom)


def score(sentence: str, kind: str, symptom: str) -> float:
    """How well a sentence fits a symptom: rare words count more, whole phrases more still."""
    said, cell = meaning(sentence), _row(kind, symptom)["words"]
    title, phrases = _bag(symptom), map(meaning, (*parts(cell), *parts(symptom, ","), symptom))
    total = 1.2 * _weigh(said & title) + _weigh(said & _bag(cell) - title)
    return total + _PHRASE * max((_weigh(p) for p in phrases if p <= said), default=0.0)


def _pointers(sentence: str, kind: str) -> Iterator[tuple[str, str, str]]:
    """Where the kind's own rows send a sentence such as this: kind (empty for none known here), symptom, because."""
    for cell in (cell for _, row in of_kind("symptoms", kind) for cell in parts(row["not_these"], "|")):
        phrase, _, target = cell.partition(" > ")
        to_kind, _, to_symptom = target.partition(": ")
        wanted, both = meaning(phrase), meaning(phrase) & meaning(sentence)
        if len(both) > 1 and _weigh(both) / (_weigh(wanted) or 1) >= _POINTER:
            yield "" if to_kind == "other" else to_kind, to_symptom or target, phrase


def match_symptom(kind: str, sentence: str) -> SymptomMatch:
    """Match what the owner says is the matter to the symptoms of one of ``kinds()``; none where the kind is empty."""
    symptoms = [row["symptom"] for _, row in of_kind("symptoms", kind)]
    if not symptoms:
        return SymptomMatch(kind=kind, sentence=sentence, symptom="", certainty="none", said=_NO_SYMPTOM)
    scores, elsewhere = {s: score(sentence, kind, s) for s in symptoms}, list[str]()
    for to_kind, to_symptom, because in _pointers(sentence, kind):
        if to_kind != kind:
            elsewhere.append(because)
        elif to_symptom in scores:
            scores[to_symptom] += _PHRASE * _weigh(meaning(because))
    ranked = sorted(scores, key=lambda s: -scores[s])
    best = scores[ranked[0]]
    if not elsewhere and best < 2 * _LEAST:
        # another kind's symptom, where a sentence that says little of this kind says much of that one
        others = [(row["kind"], row["symptom"]) for row in rows("symptoms") if row["kind"] != kind]
        top = max(score(sentence, *other) for other in others)
        elsewhere = [sentence] if top > 4 * _LEAST + 2 * best else []
    works = any(f" {phrase} " in f" {fold(sentence)} " for phrase in listed("fine"))
    fine = "you say that it works" if works and best < 3 * _LEAST else ""
    lost = best < _LEAST or bool(fine)
    close = ranked if lost else [s for s in ranked if scores[s] >= _CLOSE * best]
    sure = len(close) == 1 and not lost and all(_weigh(meaning(because)) <= best for because in elsewhere)
    return SymptomMatch(
        kind, sentence, "" if lost else ranked[0],
        certainty="none" if lost else "ask" if not sure else "exact" if sentence == ranked[0] else "taken as",
        first_question=_row(kind, ranked[0])["first_question"] if sure else f"Which fits best: {'; '.join(close)}?",
        candidates=tuple(close), nothing_wrong=_nothing_wrong(kind, sentence) or fine,
        found=found_in(kind, sentence),
        said=f"taken as: {ranked[0]}" if sure else _NO_SYMPTOM if lost else f"not sure: {' or '.join(close)}",
    )  # fmt: skip


def _nothing_wrong(kind: str, sentence: str) -> str:
    """The kind's own word that this is no fault, where the sentence says hardly more than that."""
    said = {word.lstrip("!") for word in meaning(sentence)}
    for _, row in of_kind("symptoms", kind):
        for clause in parts(row["nothing_wrong"]):
            wanted = {word.lstrip("!") for word in meaning(clause.split(":")[0])}
            both = _weigh(wanted & said)
            if both >= 0.7 * _weigh(wanted) and both >= 0.5 * _weigh(said):
                return clause
    return ""


@cache
def _clauses(kind: str) -> tuple[tuple[frozenset[str], str], ...]:
    """The words that tell of each thing that can be found on a kind, a cause or a finding to be remedied."""
    known = [row["cause"] for _, row in of_kind("failures", kind)]
    known += [row["finding"] for _, row in of_kind("remedies", kind)]
    found: list[tuple[frozenset[str], str]] = []
    for cause in dict.fromkeys(known):
        # "brushes stuck or worn" is named by "brushes worn" as well
        pieces, ways = [p.strip() for comma in parts(cause, ",") for p in re.split(r" or | and |: ", comma)], [cause]
        for k, piece in enumerate(pieces):
            noun = pieces[k - 1].split()[0] if k and set(piece.split()) <= listed("state") else ""
            stated = listed("state") & set(piece.split())
            state = pieces[k + 1].split()[-1] if not stated and k + 1 < len(pieces) else ""
            ways.append(f"{noun} {piece} {state}".strip())
        # "shaft grooved under the seal" is named by "shaft grooved"
        cut = [re.split(r" (?:under|of|in|from|behind|by|to|at|with|on|inside|past) ", way)[0] for way in ways]
        for words in map(meaning, dict.fromkeys([*ways, *cut])):
            # "intake hose" names only a part, "leaks" only a symptom: a finding has a part and its state, or damage
            part = any(not w.startswith("@") and not meaning(w) & _tells("state") for w in words)
            if words & _tells("damage") or (part and words & _tells("state")):
                found.append((words, cause))
    return tuple(found)


@cache
def _tells(use: str) -> frozenset[str]:
    return frozenset(w for state in listed(use) for w in meaning(state) if not w.startswith("!"))


def found_in(kind: str, text: str) -> Tokens:
    """What a text says was found already on a unit of a kind: causes and findings, the nearest wording first."""
    heard: dict[str, tuple[float, float]] = {}
    # clause by clause, so that "brushes worn, rings fine" tells nothing of the rings
    for said in (meaning(clause) for clause in re.split(r"[,;.:]| but | though | while ", text)):
        for words, cause in _clauses(kind):
            # a word and its group tell the same thing: the group is enough
            own = [w for w in words if "@" in w or not any("@" in group for group in meaning(w.lstrip("!")))]
            share = _weigh(w for w in own if w in said) / (_weigh(own) or 1)
            if share >= _FOUND and words & said & (_tells("state") | _tells("damage")):
                heard[cause] = max((share, _weigh(own)), heard.get(cause, (0.0, 0.0)))
    return tuple(sorted(heard, key=lambda cause: heard[cause], reverse=True))


def settle(match: KindMatch, sentence: str) -> KindMatch:
    """Answer "which is it?" from the owner's sentence where its words leave no doubt; else the match as it was."""
    if match.certainty != "ask" or len(match.candidates) < 2:
        return match
    best = {kind: max(score(sentence, kind, row["symptom"]) for _, row in of_kind("symptoms", kind))
            for kind in match.candidates}  # fmt: skip
    first, second, *_ = sorted(best, key=lambda k: -best[k])
    if best[first] >= _LEAST and best[second] < _CLOSE * best[first]:
        settled = as_kind(match, first)
        return replace(settled, said=f"taken as: {first}, by what is said of it")
    return replace(match, kind=first if best[first] > best[match.kind] else match.kind)
