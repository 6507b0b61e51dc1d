"""Words as owners write them: folding, singulars, stems, typing slips, words of one meaning, what "no" belongs to."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterable
from functools import cache
from math import log

from repairecon.kinds.facts import parts, rows

Tokens = tuple[str, ...]

_SLIP_FROM = 4
"""Shortest word in which a typing slip is mended: of three letters too many are one slip apart (gas, gap, fan)."""


def fold(text: str) -> str:
    """Lower case, plain letters, hyphens as spaces, apostrophes dropped."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return re.sub(r"[-_/&+]", " ", re.sub(r"['’`´]", "", plain))


@cache
def listed(use: str) -> frozenset[str]:
    """Words of one use in ``words.csv``: stop, not, idle, part."""
    return frozenset(row["word"] for row in rows("words") if row["use"] == use)


def singular(word: str) -> str:
    """A plain plural without its ending."""
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("ches", "shes", "sses", "xes")):
        return word[:-2]
    if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word[:-1]
    return word


def stem(word: str) -> str:
    """A word without the endings that do not change what it means to an owner (drips, dripping, dripped)."""
    word = singular(word)
    for ending, least in (("ing", 6), ("ed", 5), ("ly", 6), ("er", 7), ("y", 5)):
        if len(word) >= least and word.endswith(ending):
            word = word[: -len(ending)]
            break
    if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "lsz":
        word = word[:-1]
    return word[:-1] if len(word) > 3 and word.endswith("e") else word


@cache
def slips(a: str, b: str) -> int:
    """Letters wrong, missing, extra or swapped with the next between two words."""
    above: list[int] = []
    last = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        row = [i]
        for j, y in enumerate(b, 1):
            best = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (x != y))
            if i > 1 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                best = min(best, above[j - 2] + 1)
            row.append(best)
        above, last = last, row
    return last[-1]


def mended(word: str, known: Collection[str]) -> str:
    """The known word that a mistyped one stands for; the word itself where none or several are as near."""
    if word in known or len(word) < _SLIP_FROM:
        return word
    allowed = 1 if len(word) < 8 else 2
    alike = (w for w in known if len(w) >= _SLIP_FROM and abs(len(w) - len(word)) <= allowed)
    # a slip changes at most two of the letters that two words do not share
    alike = (w for w in alike if len({*w} ^ {*word}) <= 2 * allowed)
    # as few slips as can be, and of those as near with the same first letter
    near = sorted((slips(word, other), other[0] != word[0], other) for other in alike)
    best = [other for *apart, other in near if apart == list(near[0][:2])]
    return best[0] if len(best) == 1 and near[0][0] <= allowed else word


def glued(tokens: Iterable[str], known: Collection[str]) -> list[str]:
    """Words written apart that belong together (gear box), and together that belong apart (bilgepump)."""
    joined: list[str] = []
    for token in tokens:
        if joined and joined[-1] + token in known and not (joined[-1] in known and token in known):
            joined[-1] += token
        else:
            joined.append(token)
    return [piece for token in joined for piece in _split(token, known) or _split(singular(token), known) or [token]]


def _split(word: str, known: Collection[str]) -> list[str]:
    if word in known:
        return [word]
    starts = (word[:cut] for cut in range(len(word) - 2, 1, -1) if word[:cut] in known)
    return next(([start, *rest] for start in starts if (rest := _split(word.removeprefix(start), known))), [])


def replaced(tokens: list[str], table: dict[Tokens, Tokens]) -> list[str]:
    """Tokens with each listed run put into its plain form, longest runs first."""
    longest, k = max(map(len, table)), 0
    out: list[str] = []
    while k < len(tokens):
        runs = (tuple(tokens[k : k + size]) for size in range(longest, 0, -1))
        run = next((run for run in runs if run in table), ())
        out += table.get(run, tokens[k : k + 1])
        k += len(run) or 1
    return out


@cache
def _meanings() -> dict[Tokens, set[str]]:
    """Groups of one meaning, by a run of one to three stems."""
    found: dict[Tokens, set[str]] = {}
    for row in rows("words"):
        if row["use"] == "sentence":
            found.setdefault(tuple(map(stem, fold(row["word"]).split())), set()).add("@" + row["means"])
    return found


def _runs(text: str) -> list[list[tuple[str, bool]]]:
    """Runs of words that no stop word or comma breaks, each word as (stem, denied)."""
    runs: list[list[tuple[str, bool]]] = [[]]
    denied, waiting = 0, False
    words = re.findall(r"[a-z0-9.]*[a-z0-9]|[,;:.!?]", fold(text))
    for k, word in enumerate(words):
        if word in listed("not"):
            # "stopped charging" both stops and denies what follows
            stops = (stem(word),) in _meanings() and not word.endswith("ly")
            runs.append([(stem(word), False)] if stops else [])
            denied, waiting = 2, True  # "no oil leak" denies both words, "not charging at all" one
        elif not word[0].isalnum():
            runs += [[], []]
            denied = 0
        elif word in listed("well") and _ends(words, k):
            # "the flow is good" denies that the flow is the matter
            last = next((run for run in reversed(runs[-3:]) if run), [])
            last[:] = [(w, True) for w, _ in last]
        elif word in listed("stop"):
            runs.append([])
            denied = denied if waiting else 0
        else:
            runs[-1].append((stem(word), denied > 0))
            denied, waiting = max(0, denied - 1), False
    return runs


def _ends(words: list[str], k: int) -> bool:
    """Whether a word of praise stands after what it praises ("flow good", not "good flow" nor "in the well")."""
    after = words[k + 1] if k + 1 < len(words) else ","
    before = words[k - 1] if k else ","
    return before not in ("the", "a") and (not after[0].isalnum() or after in listed("stop") | listed("not"))


@cache
def meaning(text: str) -> frozenset[str]:
    """What a sentence says: its stems and their groups of one meaning (``@leak``), denied ones with ``!``.

    A word stands as itself and as its group, so that "drip" is nearer to "drips" than to "weeps".
    """
    found: set[str] = set()
    for run in _runs(text):
        words = tuple(word for word, _ in run)
        for k, (word, denied) in enumerate(run):
            groups = (_meanings().get(words[k : k + size], set()) for size in (1, 2, 3))
            found |= {("!" if denied else "") + said for said in {word}.union(*groups)}
    return frozenset(found)


@cache
def _commonness() -> Counter[str]:
    return Counter(word for row in rows("symptoms") for word in bag(f"{row['symptom']}; {row['words']}"))


def rarity(words: Iterable[str]) -> float:
    """How much words say: the fewer symptoms are told by one, the more."""
    return sum(log((1 + len(rows("symptoms"))) / (0.5 + _commonness()[word])) for word in words)


@cache
def bag(cell: str) -> frozenset[str]:
    """What the phrases of a cell say."""
    return frozenset(word for phrase in parts(cell) for word in meaning(phrase))
