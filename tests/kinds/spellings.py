"""The same name as many owners would write it: the spellings that the tests of names go through."""

from __future__ import annotations

from collections.abc import Iterator

AMERICAN = {
    "carburettor": "carburetor",
    "metre": "meter",
    "aluminium": "aluminum",
    "through": "thru",
    "charge air": "chargeair",
}


def slipped(word: str, how: int) -> str:
    """A word with one typing slip inside: letters swapped, one left out, one doubled, one hit beside."""
    k = len(word) // 2
    return (
        word[: k - 1] + word[k] + word[k - 1] + word[k + 1 :],
        word[:k] + word[k + 1 :],
        word[:k] + word[k] + word[k:],
        word[:k] + ("x" if word[k] != "x" else "y") + word[k + 1 :],
    )[how]


def plural(word: str) -> str:
    """The usual plural."""
    if word.endswith(("ch", "sh", "x", "ss")):
        return word + "es"
    return word if word.endswith("s") else word + "s"


def spellings(name: str) -> Iterator[str]:
    """A name upside down, dressed up and mistyped."""
    words = name.replace("-", " ").split()
    yield name.upper()
    yield name.title()
    yield " ".join([*words[:-1], plural(words[-1])])
    yield f"old rusty {name}"
    yield f"the broken {name} of my boat"
    yield f"{name}, 12 V"
    yield f"{name} (2004), leaking"
    yield "-".join(words)
    yield "my " + " ".join([*words[:-1], plural(words[-1])]) + ", 24V, corroded"
    for british, american in AMERICAN.items():
        if british in name:
            yield name.replace(british, american)
    if len(words) > 1:
        yield f"{words[-1]}, {' '.join(words[:-1])}"
        yield f"{' '.join(words[:-1])}-{words[-1]}"
        yield "".join(words)
    longest = max(words, key=len)
    if len(longest) >= 7 and longest.isalpha():
        for how in range(4):
            yield name.replace(longest, slipped(longest, how))
