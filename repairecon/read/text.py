"""Bytes of a file to clean text."""

from __future__ import annotations

import codecs
import re
from pathlib import Path

LARGEST_FILE = 50_000_000
"""Bytes; a case file of this size is a mistake."""

_TERMINAL = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)?|\x1b[@-_]?")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
_UNDECODED = re.compile("[\udc80-\udcff]")


class Unreadable(Exception):
    """A file that gives no text at all: what was found, what to do."""

    def __init__(self, found: str, write: str) -> None:
        self.found, self.write = found, write
        super().__init__(found)


def clean(text: str) -> str:
    """Text without terminal escapes, control characters and marks that turn the writing direction."""
    if "\x1b" in text:
        text = _TERMINAL.sub("", text)
    return _CONTROL.sub("", text)


def undecoded(text: str) -> bool:
    """True where a byte was not UTF-8."""
    return _UNDECODED.search(text) is not None


def decoded(data: bytes) -> str:
    """Text of bytes; what is not UTF-8 stays as lone surrogates."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise Unreadable("broken UTF-16 text", "save the file again as CSV UTF-8") from error
    return data.decode("utf-8", "surrogateescape")  # its mark, if any, goes with the control characters


def read_text(path: Path) -> str:
    """The clean text of a file; bytes that are not UTF-8 stay as lone surrogates to be found later."""
    return clean(decoded(read_data(path)))


def read_data(path: Path) -> bytes:
    """The bytes of a file of sensible size."""
    try:
        if not path.is_file():
            raise Unreadable("no file of text" if path.exists() else "no such file", "put a text file there")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise Unreadable(f"a file of {size} bytes", f"keep it under {LARGEST_FILE} bytes")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise Unreadable(f"a file that cannot be read ({reason})", "allow it to be read") from error
