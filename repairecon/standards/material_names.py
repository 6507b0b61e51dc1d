"""Rubbers and metals by the words that name them, and how hard a rubber is."""

from __future__ import annotations

import re

from repairecon.records import Designation
from repairecon.standards.writing import plain

_NAMES = {
    "NBR": r"NBR|NITRILE?",
    "HNBR": r"HNBR|HSN",
    "EPDM": r"EPDM|EPM",
    "FKM": r"FKM|FPM|FLUORO(?:CARBON|ELASTOMER)",
    "VMQ": r"VMQ|SILICONE?|MVQ",
    "CR": r"CR|NEOPRENE|CHLOROPRENE",
    "ACM": r"ACM|POLYACRYLATE",
    "NR": r"NR(?!\.? ?\d)|NATURAL RUBBER",
    "AU": r"AU|PUR?|POLYURETHANE",
    "PTFE": r"PTFE",
}
_RUBBER = {name: re.compile(rf"(?<![A-Z0-9])(?:{p})(?![A-Z]|\d{{3}}|\.\d)") for name, p in _NAMES.items()}
_METALS = (("stainless", r"STAINLESS|INOX|A2|A4|1\.4122|1\.4310|1\.4401|1\.4571|AISI ?3\d\d|SS|NIRO|RVS"),
           ("steel", r"CARBON STEEL|SPRING STEEL|STEEL|C45K?|C75S?|1\.1231"))  # fmt: skip
KIND = "rubber part"
_PART = re.compile(r"\b(?:SEALS?|GASKETS?|IMPELLERS?|HOSES?|DIAPHRAGMS?|MEMBRANES?|BELLOWS|RUBBER|RINGS?|PACKING)\b")


def material_of(text: str) -> str:
    """The rubber or metal that a text names, or empty."""
    words = plain(text)
    for name, pattern in _RUBBER.items():
        if pattern.search(words):
            return name
    for name, signs in _METALS:
        if re.search(rf"(?<![A-Z0-9.])(?:{signs})(?![A-Z0-9])", words):
            return name
    return ""


def hardness_of(text: str) -> str:
    """Hardness (Shore A or IRHD) that a text names, or empty."""
    words = plain(text)
    names = "|".join(_NAMES.values())
    found = re.search(r"(?<![\d.])(\d\d) ?(?:SHORE|SH\b|IRHD)|(?:SHORE|IRHD) ?A? ?(\d\d)\b", words)
    behind = found or re.search(rf"(?<![A-Z0-9])(?:{names})[ -]?()(\d\d)(?![\d.X])", words)
    return "" if behind is None else behind[1] or behind[2]


def rubber_marks(words: str) -> dict[str, str]:
    """Material and hardness that a name says."""
    found = {"material": material_of(words), "hardness": hardness_of(words)}
    return {name: value for name, value in found.items() if value}


def read(words: str) -> Designation | None:
    """A rubber part of which no more is said than its material."""
    material = material_of(words)
    if material not in _NAMES or not (_PART.search(words) or words == material):
        return None
    return Designation(words, KIND, "", marks=rubber_marks(words))
