"""Names of things, found whatever their case and spacing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from repairecon.read.problems import Problems


def key(name: str) -> str:
    """A name without case and spare spaces."""
    return " ".join(name.casefold().split())


class Names:
    """The spelling of each name; ``whole`` is False where some may be missing for another fault."""

    def __init__(self, names: Iterable[str] = (), whole: bool = True) -> None:
        self.whole = whole
        self._spelling: dict[str, str] = {}
        for name in names:
            self.add(name)

    def add(self, name: str) -> bool:
        """Take a name; False if it was there already."""
        word = key(name)
        if word in self._spelling:
            return False
        self._spelling[word] = name
        return True

    def find(self, name: str) -> str:
        """The name as first spelt, or an empty string."""
        return self._spelling.get(key(name), "")

    def __contains__(self, name: str) -> bool:
        return key(name) in self._spelling

    def __iter__(self) -> Iterator[str]:
        return iter(self._spelling.values())

    def __len__(self) -> int:
        return len(self._spelling)

    def advice(self, problems: Problems, name: str, otherwise: str = "") -> str:
        """What to write instead of an unknown name."""
        return problems.advice(name, tuple(self._spelling.values()), otherwise)
