"""An answer written as one offline HTML page, made for reading and for paper."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from repairecon.read.files import PAGE, check_own, write_own

FOOT = (
    "An aid to judgement, not advice in law or class: local law, insurance rules and licensed practice come before "
    "anything said here."
)


def render(title: str, about: str, advice: Sequence[str], blocks: Iterable[Any], appendix: Iterable[Any] = ()) -> str:
    """One self-contained page for reading: the advice, its first sentence set apart, then blocks, then the appendix.
    ``about`` is date, case and version; ``blocks`` and ``appendix`` are ``Panel``, ``Sheet`` and ``Picture`` in their
    order. Nothing in it is fetched from elsewhere, and text from files is escaped."""
    shown = {name: [b for b in some if len(getattr(b, "table", "x"))]
             for name, some in (("blocks", blocks), ("appendix", appendix))}  # fmt: skip
    return filled("page.html", title=title, about=about, advice=advice, foot=FOOT, **shown)


def about(what: str, day: date | str, figures: str) -> str:
    return ", ".join(filter(None, (what, str(day), f"repairecon {version()}", figures and f"figures: {figures}")))


def filled(template: str, **values: Any) -> str:
    """A page of this room with values in their places, all text escaped."""
    from jinja2 import Environment, PackageLoader
    from markupsafe import Markup

    pages = Environment(loader=PackageLoader("repairecon", "show"), autoescape=True, trim_blocks=True)
    return pages.get_template(template).render(mark=Markup(PAGE), **values)


def write_page(path: Path, page: str | Callable[[], str]) -> None:
    """Write a page whole or not at all; where none can go, it is not even made."""
    check_own(path)
    write_own(path, page if isinstance(page, str) else page())


def version() -> str:
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("repairecon")
    except PackageNotFoundError:
        return "not installed"
