"""What an owner writes, matched by its words: the name of a unit to a kind, with what is dangerous of it; and the
sentence that says what is the matter to the symptoms of that kind."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import inf, log
from typing import Any, Literal, NamedTuple

from repairecon.kinds.facts import OwnRebuild, Row, by, of_kind, parts, rows
from repairecon.kinds.words import Tokens, bag, fold, glued, listed, meaning, mended, rarity, replaced, singular

Certainty = Literal["exact", "taken as", "ask", "none"]

LEVELS: tuple[OwnRebuild, ...] = ("yes", "with care", "licensed practice only")
"""Who may rebuild, from the freest to the strictest."""

_TAKEN = 0.72
_ASKED = 0.5
_APART = 0.1
_IDLE_COUNTS = 0.1
_MAINS = re.compile(r"\b(1[0-2]\d|2[0-4]\d)\s*(v|vac|volt|volts)\b")


@dataclass(frozen=True)
class KindMatch:
    """What a name was taken for, and what its kind and its words demand.

    ``kind`` is empty where none is known; with ``ask`` it is the likelier of the candidates, to go on with until
    the question is answered, while class, level and cautions are the strictest of all candidates.
    """

    written: str
    kind: str
    certainty: Certainty
    candidates: Tokens = ()
    question: str = ""
    said: str = ""
    safety_class: str = "none"
    own_rebuild: OwnRebuild = "with care"
    certificate_needed: bool = False
    cautions: Tokens = ()
    safety_words: Tokens = ()


class _Hit(NamedTuple):
    kind: str
    score: float
    weight: float
    covered: frozenset[str]
    has_head: bool
    whole: bool  # the name is what was written, no more and no less


@cache
def _table(use: str) -> dict[Tokens, Tokens]:
    used = (row for row in rows("words") if row["use"] == use)
    return {tuple(fold(row["word"]).split()): tuple(fold(row["means"]).split()) for row in used}


class _Name(NamedTuple):
    kind: str
    words: frozenset[str]
    head: str


@cache
def _names() -> tuple[_Name, ...]:
    """Every name of every kind as its set of plain words, with the noun that the others describe."""
    return tuple(
        _Name(row["kind"], frozenset(_canonical(name)), _canonical(_first(name))[-1])
        for row in rows("kinds")
        for name in (row["kind"], *parts(row["other_names"]))
    )


def _canonical(name: str) -> list[str]:
    return [singular(w) for w in replaced([singular(w) for w in fold(name).split()], _table("name"))]


def _first(name: str) -> str:
    """A name up to its first comma, "for", "of", "on", "in"."""
    return re.split(r"[,(;]|\b(?:for|of|on|in|from|with)\b", fold(name))[0]


def _whole(kind: str, words: frozenset[str]) -> list[_Name]:
    return [n for n in _names() if n.kind == kind and n.words <= words]


@cache
def _own_words() -> dict[str, frozenset[str]]:
    return {kind: frozenset().union(*(n.words for n in _names() if n.kind == kind)) for kind in by("kinds", "kind")}


@cache
def _known() -> frozenset[str]:
    """Every word that a name may hold and that a mistyped one may be mended to."""
    written = {w for use in ("name", "safety") for run in _table(use) for w in run}
    plain = {w for run in _table("name").values() for w in run}
    asked = {singular(w) for row in rows("ambiguous_names") for w in fold(row["word"]).split()}
    return frozenset(_weights()) | listed("idle") | listed("part") | written | plain | asked


@cache
def _weights() -> dict[str, float]:
    """How much each word of a name says: the fewer kinds use it, the more."""
    used = Counter(word for words in _own_words().values() for word in words)
    return {word: log(1 + len(rows("kinds")) / kinds) for word, kinds in used.items()}


def _weigh(words: Iterable[str]) -> float:
    # a word that no kind uses speaks as loudly against a match as the rarest known one
    unknown = log(1 + len(rows("kinds")))
    return sum(_weights().get(word, unknown) for word in words)


@cache
def plain_words(name: str) -> Tokens:
    """A name as plain known words: slips mended, spellings made one, sizes dropped, mains volts as ``mains``."""
    # "pump, bilge" is a bilge pump
    text = " ".join(reversed(_MAINS.sub(" mains ", fold(name)).split(",")))
    raw = [w for w in re.findall(r"[a-z0-9]{2,}", text) if not re.fullmatch(r"\d+[a-z]{0,3}", w)]
    slips = [(w, mended(w, _known())) for w in glued(raw, _known())]
    words = [m if m in _known() else mended(singular(w), _known()) for w, m in slips]
    words = replaced(words, _table("name"))
    # "mains" is voltage, "main" is size
    return tuple(w if w == "mains" or singular(w) not in _known() else singular(w) for w in words)


@cache
def _asked() -> dict[frozenset[str], Tokens]:
    return {frozenset(plain_words(row["word"])): parts(row["may_mean"]) for row in rows("ambiguous_names")}


def match_kind(name: str) -> KindMatch:
    """Match the name of a unit, as its owner writes it, to a kind.

    Nothing in the name lowers what its kind demands; words that its kind does not explain (gas, steering, mains)
    raise it.
    """
    words = frozenset(plain_words(name))
    meant, hits = words - listed("idle") or words, _hits(words)
    choice = _asked().get(meant)
    if choice and not any(h.score > 0.9 and h.covered > meant for h in hits):
        return _match(name, words, "ask", choice, meant)
    return _judged(name, words, hits) if hits and hits[0].score >= _ASKED else _match(name, words, "none")


def _judged(name: str, words: frozenset[str], hits: list[_Hit]) -> KindMatch:
    """What the best hit is worth: the kind itself, a part of it, one of several, or nothing."""
    best, head = hits[0], next(reversed(plain_words(_first(name))), "")
    full = _whole(best.kind, words)
    if head in listed("part") and head not in {n.head for n in full}:
        if not full:
            return _match(name, words, "none")
        return _match(name, words, "ask", (best.kind, f"its {head} only (no kind)"))
    near = [h for h in hits if best.score - h.score < _APART and not h.covered < best.covered]
    if best.score >= _TAKEN and len(near) == 1 and best.has_head:
        return _match(name, words, "exact" if best.whole else "taken as", (best.kind,))
    asked = _asked().get(frozenset([head]), ())
    named = best.has_head or best.kind in asked
    if not full and (not named or _dangers(words - _own_words()[best.kind])):
        return _match(name, words, "none")
    if best.kind in asked and not best.covered <= {head}:  # told by its other words
        asked = ()
    return _match(name, words, "ask", asked or tuple(h.kind for h in near[:4]), best.covered)


def _hits(words: frozenset[str]) -> list[_Hit]:
    """The best name of each kind that shares a word, best first."""
    best: dict[str, _Hit] = {}
    for known in _names():
        if both := known.words & words:
            idle = (words - known.words) & (listed("idle") | _own_words()[known.kind])
            hit = _weigh(both)
            found = hit / _weigh(known.words)
            used = hit / (hit + _weigh(words - known.words - idle) + _IDLE_COUNTS * len(idle) ** 0.5)
            fit = 2 * found * used / (found + used)
            at = _Hit(known.kind, fit, hit, both, known.head in both, known.words == words)
            best[known.kind] = max(best.get(known.kind, at), at, key=lambda h: (h.score, h.weight))
    # without the kinds that an asked-about word could mean when the other words say which (alternator regulator)
    for asked in (asked for asked in _asked() if asked < words and len(asked) == 1):
        could = [h for h in best.values() if h.kind in _asked()[asked]]
        if len(fits := [h for h in could if h.covered - asked]) == 1:
            best = {h.kind: h for h in best.values() if h not in could or h in fits}
    return sorted(best.values(), key=lambda h: (-h.score, -h.weight, h.kind))


def _dangers(words: frozenset[str]) -> list[tuple[str, str]]:
    """(safety class, the word that tells of it) for each that the words hold."""
    return [(row["means"], row["word"]) for row in rows("words")
            if row["use"] == "safety" and words.issuperset(plain_words(row["word"]))]  # fmt: skip


def _match(
    name: str, words: frozenset[str], certainty: Certainty, choice: Tokens = (), explained: frozenset[str] = frozenset()
) -> KindMatch:
    """The record, its safety the strictest of all candidates and of the words that they do not explain."""
    known = [by("kinds", "kind")[c] for c in choice if c in by("kinds", "kind")]
    kinds = tuple(row["kind"] for row in known)
    *others, last = [c.removesuffix(" (no kind)") for c in choice] or [""]
    question = ""
    said = {"exact": last, "taken as": f"taken as: {last}", "ask": f"not sure: {' or '.join((*others, last))}",
            "none": "no kind of unit that is known here: judged by its words alone"}[certainty]  # fmt: skip
    if certainty == "ask":
        question = f"Which is it: {', '.join(others)} or {last}?" if others else f"Is it this: {last}?"
        # what a whole name explains is judged by its kind; any other word keeps the danger that it tells of
        explained = explained.union(*(n.words for k in kinds for n in _whole(k, words)))
    elif kinds:
        explained = _own_words()[kinds[0]]
    danger = _dangers(words - explained)
    # a word of danger counts as a unit of its class that nobody knows
    units = [*known, *(by("safety_classes", "safety_class")[means] for means, _ in danger)]
    units = units or [by("safety_classes", "safety_class")["none"]]
    return KindMatch(
        name, next(iter(kinds), ""), certainty, kinds, question, said, **_demands(units),
        safety_words=tuple(dict.fromkeys(word for _, word in danger)),
    )  # fmt: skip


def _demands(units: list[Row]) -> dict[str, Any]:
    """The strictest that rows of kinds, and of classes of which no more is known, demand; all of their cautions."""
    found, classes = {row["safety_class"] for row in units}, by("safety_classes", "safety_class")
    levels = [row.get("own_rebuild") or row["unknown_unit_rebuild"] for row in units]
    cautions = [c for row in units for c in ([row["caution"]] if "caution" in row else parts(row["cautions"]))]
    return {
        "safety_class": next(c for c in classes if c in found),  # the table has the strictest first
        "own_rebuild": max(LEVELS, key=lambda level: (level in levels, LEVELS.index(level))),
        "certificate_needed": any(classes[c]["certificate_needed"] == "yes" for c in found),
        "cautions": tuple(dict.fromkeys(cautions)),
    }  # fmt: skip


# ---- sentences ---------------------------------------------------------------------------------------
_LEAST = 2.0
_CLOSE = 0.8
_PHRASE = 0.6
_POINTER = 0.8
_FOUND = 0.74
HOUSING_LOST = "casing or body cracked, holed or burst"
_NO_SYMPTOM = "the sentence fits no symptom that is known of this unit"


@dataclass(frozen=True)
class SymptomMatch:
    """What a sentence was taken for.

    With ``ask`` the symptom is the likelier of the candidates. ``nothing_wrong`` tells, in words, why it may be no
    fault at all; ``first_question`` is the one whose answer would tell most; ``found`` are the causes and findings of
    the kind's rows that the sentence states.
    """

    symptom: str
    certainty: Certainty
    first_question: str = ""
    candidates: Tokens = ()
    nothing_wrong: str = ""
    found: Tokens = ()
    said: str = ""


@cache
def _row(kind: str, symptom: str) -> Mapping[str, str]:
    return next(row for _, row in of_kind("symptoms", kind) if row["symptom"] == symptom)


def score(sentence: str, kind: str, symptom: str) -> float:
    """How well a sentence fits a symptom: rare words count more, whole phrases more still."""
    said, cell = meaning(sentence), _row(kind, symptom)["words"]
    title, phrases = bag(symptom), map(meaning, (*parts(cell), *parts(symptom, ","), symptom))
    total = 1.2 * rarity(said & title) + rarity(said & bag(cell) - title)
    return total + _PHRASE * max((rarity(p) for p in phrases if p <= said), default=0.0)


def _pointers(sentence: str, kind: str) -> Iterator[tuple[str, str, str]]:
    """Where the kind's own rows send a sentence such as this: kind (empty for none known here), symptom, because."""
    for cell in (cell for _, row in of_kind("symptoms", kind) for cell in parts(row["not_these"], "|")):
        phrase, _, target = cell.partition(" > ")
        to_kind, _, to_symptom = target.partition(": ")
        wanted = meaning(phrase)
        if rarity(wanted & meaning(sentence)) >= _POINTER * rarity(wanted):
            yield "" if to_kind == "other" else to_kind, to_symptom or target, phrase


def match_symptom(kind: str, sentence: str) -> SymptomMatch:
    """Match what the owner says is the matter to the symptoms of one of ``kinds()``; none where the kind is empty."""
    scores, elsewhere = _scores(kind, sentence)
    if not scores:
        return SymptomMatch("", "none", said=_NO_SYMPTOM)
    first, *_ = ranked = sorted(scores, key=lambda s: -scores[s])
    best = scores[first]
    works = best < 3 * _LEAST and any(f" {phrase} " in f" {fold(sentence)} " for phrase in listed("fine"))
    close = [s for s in ranked if scores[s] >= _CLOSE * best]
    match = SymptomMatch(
        first, "taken as", _row(kind, first)["first_question"], tuple(close),
        _nothing_wrong(kind, sentence) or ("you say that it works" if works else ""), found_in(kind, sentence),
        said=f"taken as: {first}",
    )  # fmt: skip
    if works or best < _LEAST:
        which = f"Which fits best: {'; '.join(ranked)}?"
        return replace(match, symptom="", certainty="none", first_question=which, candidates=tuple(ranked),
                       said=_NO_SYMPTOM)  # fmt: skip
    if len(close) > 1 or any(rarity(meaning(because)) > best for because in elsewhere):
        which, said = f"Which fits best: {'; '.join(close)}?", f"not sure: {' or '.join(close)}"
        return replace(match, certainty="ask", first_question=which, said=said)
    return replace(match, certainty="exact") if sentence == first else match


def _scores(kind: str, sentence: str) -> tuple[dict[str, float], list[str]]:
    """How well a sentence fits each symptom of a kind; and the words in it that tell of another kind."""
    scores = {row["symptom"]: score(sentence, kind, row["symptom"]) for _, row in of_kind("symptoms", kind)}
    elsewhere = list[str]()
    for to_kind, to_symptom, because in _pointers(sentence, kind):
        if to_kind != kind:
            elsewhere.append(because)
        else:
            scores[to_symptom] += _PHRASE * rarity(meaning(because))
    best = max(scores.values(), default=inf)
    if not elsewhere and best < 2 * _LEAST:
        # another kind's symptom, where a sentence that says little of this kind says much of that one
        others = (score(sentence, row["kind"], row["symptom"]) for row in rows("symptoms") if row["kind"] != kind)
        elsewhere = [sentence] if max(others) > 4 * _LEAST + 2 * best else []
    return scores, elsewhere


def _nothing_wrong(kind: str, sentence: str) -> str:
    """The kind's own word that this is no fault, where the sentence says hardly more than that."""
    said = _affirmed(sentence)
    for clause in (clause for _, row in of_kind("symptoms", kind) for clause in parts(row["nothing_wrong"])):
        wanted = _affirmed(clause.split(":")[0])
        if rarity(wanted & said) >= max(0.7 * rarity(wanted), 0.5 * rarity(said)):
            return clause
    return ""


def _affirmed(text: str) -> set[str]:
    return {word.lstrip("!") for word in meaning(text)}


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
            share = rarity(w for w in own if w in said) / (rarity(own) or 1)
            if share >= _FOUND and words & said & (_tells("state") | _tells("damage")):
                heard[cause] = max((share, rarity(own)), heard.get(cause, (0.0, 0.0)))
        if said & _tells("housing") and said & _tells("lost"):
            heard.setdefault(HOUSING_LOST, (0.0, 0.0))
    return tuple(sorted(heard, key=lambda cause: heard[cause], reverse=True))


def settle(match: KindMatch, sentence: str) -> KindMatch:
    """Answer "which is it?" from the owner's sentence where its words leave no doubt; else the match as it was."""
    if match.certainty != "ask" or len(match.candidates) < 2:
        return match
    best = {kind: max(score(sentence, kind, row["symptom"]) for _, row in of_kind("symptoms", kind))
            for kind in match.candidates}  # fmt: skip
    first, second, *_ = sorted(best, key=lambda k: -best[k])
    if best[first] >= _LEAST and best[second] < _CLOSE * best[first]:
        settled = _match(match.written, frozenset(plain_words(match.written)), "taken as", (first,))
        return replace(settled, said=f"taken as: {first}, by what is said of it")
    return replace(match, kind=first if best[first] > best[match.kind] else match.kind)
