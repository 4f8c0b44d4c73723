"""Counts the words of names and docstrings, and says which of them nobody could know.

A word is plain English (SCOWL, sizes 10 to 35), the trade's, a standard's or computing's
(scripts/wording/trade.txt), or explained in DEVELOPERS.md's table of words. What is none of these and stands
in names is to be renamed, or explained there.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from wording import lists
from wording.counting import Used, counted

_COLUMNS = "{word:<18} {names:>6} {prose:>6} {rooms:>5}  {of:<9} {where}"


def kind_of(word: str) -> str:
    """What a word is: plain, trade, glossary, gone, or unknown."""
    if word in lists.GONE:
        return "gone"
    for name, known in (
        ("glossary", lists.glossary()),
        ("trade", lists.trade()),
        ("plain", lists.plain()),
    ):
        if any(form in known for form in _forms(word)):
            return name
    return "unknown"


def _forms(word: str) -> Iterator[str]:
    """The word, and what it is without an ending or a prefix that English puts before any verb."""
    yield word
    for bare in (
        word,
        *(word.removeprefix(each) for each in ("un", "re") if word.startswith(each)),
    ):
        yield bare
        yield from (bare.removesuffix(each) for each in ("s", "es") if bare.endswith(each))


def unknown(found: dict[str, Used]) -> dict[str, Used]:
    """The words of names that are in no list, or that are gone."""
    return {w: u for w, u in found.items() if u.in_names and kind_of(w) in {"unknown", "gone"}}


def main(arguments: Sequence[str] | None = None) -> int:
    """0 where every word of a name is in a list, else 1."""
    asked = _parser().parse_args(arguments)
    found = counted(asked.package)
    lacking = unknown(found)
    shown = found if asked.all else lacking
    for line in _lines(shown, asked.most):
        print(line)
    named = sum(1 for used in found.values() if used.in_names)
    print(
        f"{named} words in names, {len(found)} with docstrings; {len(lacking)} of them are in no list."
    )
    return 1 if lacking else 0


def _lines(found: dict[str, Used], most: int) -> Iterator[str]:
    if found:
        yield _COLUMNS.format(
            word="word",
            names="names",
            prose="prose",
            rooms="rooms",
            of="list",
            where="most often in",
        )
    ordered = sorted(
        found.items(), key=lambda each: (-each[1].in_names, -each[1].in_docstrings, each[0])
    )
    for word, used in ordered[:most]:
        yield _COLUMNS.format(
            word=word,
            names=used.in_names,
            prose=used.in_docstrings,
            rooms=len(used.rooms),
            of=kind_of(word),
            where=", ".join(name for name, _ in used.names.most_common(3)),
        )


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="scripts/words",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="example:\n  scripts/words --all --most 200",
    )
    parser.add_argument(
        "--all", action="store_true", help="show every word, not only those in no list"
    )
    parser.add_argument(
        "--most", type=int, default=400, help="show no more lines than this (default 400)"
    )
    parser.add_argument(
        "--package", type=Path, default=lists.ROOT / "sorter", help="the folder to look through"
    )
    return parser


if __name__ == "__main__":
    sys.exit(main())
