"""An answer with some of its parts replaced, to read the words without computing the case that brings them about."""

from __future__ import annotations

from dataclasses import replace
from typing import Any


class Instead:
    """An answer whose named attributes are others."""

    def __init__(self, answer: Any, **others: Any) -> None:
        self._answer = answer
        self.__dict__.update(others)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._answer, name)


def advised(answer: Any, **fields: Any) -> Any:
    """The answer with fields of its advice replaced, and where another way takes over."""
    own = {name: fields.pop(name) for name in list(fields) if name in answer.advice.__dataclass_fields__}
    return Instead(answer, advice=replace(answer.advice, **own), basis=Instead(answer.basis, **fields))
