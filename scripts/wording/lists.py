"""The lists that words are held against: plain English, the trade's and the standards' words, the glossary."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
PLAIN: Final = ROOT / "build" / "words" / "plain.txt"
"""SCOWL, sizes 10 to 35: the 50,000 commonest words and their forms (Debian's package scowl)."""
TRADE: Final = Path(__file__).with_name("trade.txt")
GLOSSARY: Final = ROOT / "DEVELOPERS.md"
_ROW: Final = re.compile(r"^\| (?P<words>[^|]+) \| [^|]+ \|$", re.MULTILINE)
_HEADING: Final = re.compile(r"^## Words\n(?P<text>.*?)^## ", re.MULTILINE | re.DOTALL)

GONE: Final = frozenset(
    [
        "tick",
        "wish",
        "wishes",
        "litter",
        "stranger",
        "strangers",
        "glance",
        "glances",
        "sight",
        "sights",
        "standing",
        "bond",
        "anew",
        "untold",
        "lot",
    ]
)
"""Words that were private here, and stand in no name any more. JSON keys and files on disk keep theirs."""


@cache
def plain() -> frozenset[str]:
    """The words of plain English in small letters. Raises OSError where the list is not there."""
    return frozenset(PLAIN.read_text(encoding="latin-1").lower().split())


@cache
def trade() -> frozenset[str]:
    """Words of photography, of standards, of computing and of the libraries that are used."""
    lines = TRADE.read_text(encoding="utf-8").splitlines()
    return frozenset(word for line in lines if not line.startswith("#") for word in line.split())


@cache
def glossary() -> frozenset[str]:
    """The words that DEVELOPERS.md explains."""
    text = GLOSSARY.read_text(encoding="utf-8")
    found = _HEADING.search(text)
    rows = _ROW.finditer(found["text"]) if found else ()
    return frozenset(w for row in rows for w in re.findall(r"[a-z]+", row["words"].lower()))
