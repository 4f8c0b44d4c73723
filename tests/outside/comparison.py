"""Every file of the corpus, field by field: what a reference says against what the sorter says."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from outside import by_exifread, by_exiftool, by_exiv2, corpus, fields
from outside.fields import Value, Values
from sorter.model.frame import ReadFile
from sorter.reading.containers import block

EXIFTOOL, EXIFREAD, EXIV2 = "exiftool", "exifread", "exiv2"
NOBODY: Final = "nobody"
"""Stands for all references together, where the sorter knows what none of them knows."""
TABLE: Final = Path(__file__).with_name("known_differences.csv")

_MAKERS_OWN: Final = frozenset({fields.PICTURE, fields.FOCUS, fields.DRIVE})
KNOWN_TO: Final[dict[str, tuple[str, ...]]] = {
    EXIFTOOL: fields.FIELDS,
    EXIFREAD: tuple(field for field in fields.FIELDS if field not in _MAKERS_OWN),
    EXIV2: tuple(field for field in fields.FIELDS if field != fields.PICTURE),
}
"""Which fields each reference tells at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One field of one file: what a reference says, and what the sorter says."""

    file: str
    field: str
    reference: str
    theirs: Value | None
    ours: Value | None

    @property
    def same(self) -> bool:
        """Whether both say the same."""
        return fields.same(self.theirs, self.ours)

    @property
    def line(self) -> tuple[str, str, str, str, str]:
        """The case as it stands in the table of known differences."""
        return (
            self.file,
            self.field,
            self.reference,
            fields.shown(self.theirs),
            fields.shown(self.ours),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """Differences that one reason explains.

    unread: the sorter knows nothing there, and does not mean to; else it says what nobody says.
    """

    name: str
    reason: str
    covers: Callable[[Case, ReadFile], bool]
    unread: bool = True

    def explains(self, case: Case) -> bool:
        """Whether this rule is why the sorter says nothing, or what no reference says."""
        if (case.ours is None) is not self.unread:
            return False
        return self.covers(case, corpus.readings()[case.file])


RULES: Final = (
    Rule(
        name="numbered lens",
        reason="where a body writes no name of the lens its number stands for it, without a look "
        "into tables of names: a swap of lenses is to be seen",
        covers=lambda case, _: (
            (case.reference, case.field) == (NOBODY, fields.LENS)
            and re.fullmatch(r"lens \d+(-\d+)*", str(case.ours)) is not None
        ),
        unread=False,
    ),
    Rule(
        name="Exif as text",
        reason="converters wrote Exif as hexadecimal text into PNG before it had a chunk for it; "
        "cameras and phones never did",
        covers=lambda _, read: read.container == "png" and block.NONE in read.notes,
    ),
    Rule(
        name="enciphered",
        reason="Nikon enciphers the distance with numbers of the body; the sorter does not decipher",
        covers=lambda case, read: (
            case.field in {fields.NEAR, fields.FAR} and read.facts.make.startswith("NIKON")
        ),
    ),
)


@cache
def cases() -> tuple[Case, ...]:
    """Every value that a reference knows, and every one that only the sorter knows."""
    return tuple(case for path in sorted(corpus.readings()) for case in _of_file(path))


def _of_file(path: str) -> Iterator[Case]:
    if corpus.crafted(path):
        return
    ours, told = fields.ours(corpus.readings()[path]), _told(path)
    for reference, known in KNOWN_TO.items():
        for field in known:
            theirs = told[reference].get(field)
            if theirs is not None:
                yield Case(
                    file=path,
                    field=field,
                    reference=reference,
                    theirs=theirs,
                    ours=ours.get(field),
                )
    for field in ours.keys() - {fields.PICTURE, *(key for one in told.values() for key in one)}:
        yield Case(file=path, field=field, reference=NOBODY, theirs=None, ours=ours[field])


def _told(path: str) -> dict[str, Values]:
    """What each reference says of a file; only whether it is a picture where it is none."""
    nothing: dict[str, Values] = {reference: {} for reference in KNOWN_TO}
    if path.endswith(corpus.BARE):  # wrapped up as a JPEG it is compared in another folder
        return nothing
    by_tool = by_exiftool.tells(corpus.FOLDER).get(path, {})
    if by_tool.get(fields.PICTURE) != "picture":
        said = {key: value for key, value in by_tool.items() if key == fields.PICTURE}
        return nothing | {EXIFTOOL: said}
    return {
        EXIFTOOL: by_tool,
        EXIFREAD: by_exifread.tells(corpus.FOLDER / path),
        EXIV2: by_exiv2.tells(corpus.FOLDER / path),
    }


def rule_for(case: Case) -> Rule | None:
    """The rule that explains a difference."""
    return next((rule for rule in RULES if rule.explains(case)), None)


@cache
def differences() -> tuple[Case, ...]:
    """What differs, without what a rule explains."""
    return tuple(case for case in cases() if not case.same and rule_for(case) is None)


def is_theirs(case: Case) -> bool:
    """Whether the table says that in this difference the reference is wrong."""
    return table().get(case.line, ("", ""))[0] == "ours"


@cache
def table() -> dict[tuple[str, str, str, str, str], tuple[str, str]]:
    """The known differences: the case to who is right and why."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    found = {
        (row["file"], row["field"], row["reference"], row["theirs"], row["ours"]): (
            row["right"],
            row["why"],
        )
        for row in rows
    }
    assert len(found) == len(rows), f"{TABLE.name} has a line twice"
    return found
