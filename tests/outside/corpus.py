"""The corpus of real files that scripts/fetch_corpus brings: where it is, and what we read in it."""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path
from typing import Final

import pytest

from corpusmaking.fetching import complete
from sorter.disk.card import Card
from sorter.model.frame import ReadFile
from sorter.reading.cards import read_files

ROOT: Final = Path(__file__).parents[2]
FOLDER: Final = ROOT / "build" / "corpus"

DEPTH: Final = "depth/"
"""Pictures with depth and texture: they bear no metadata that we read."""
BARE: Final = ".exv"
"""Bare metadata: no picture by their content."""
CRAFTED: Final = re.compile(
    r"poc|issue|ghsa|coverage|cve|crash|heap|overread|out-?of-?bound|recursion|mem|stack-over"
    r"|divbyzero|string-?format|DataBuf|printStructure|bad_free",
    re.IGNORECASE,
)
"""Names of files that were made or damaged to break a reader; only exiv2 keeps such."""


def crafted(path: str) -> bool:
    """Whether this file was made to break readers: it is no yardstick for values."""
    folder, _, name = path.partition("/")
    return folder in {"exiv2", "exv"} and CRAFTED.search(name) is not None


def need() -> None:
    """Skips a test loudly where the corpus is missing; fails it where CI runs."""
    if complete(FOLDER):
        return
    reason = f"{FOLDER} is not there: run scripts/fetch_corpus (needs the network)"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


@cache
def readings() -> dict[str, ReadFile]:
    """What the sorter reads in every file, by the path within the corpus."""
    card = Card(FOLDER)
    files = [each for each in card.listing().files if not each.path.startswith(DEPTH)]
    return {read.path: read for read in read_files(card, files)}
