"""Fractions of a second that are none: milliseconds, padded to four digits.

Some phones write 63 ms as "0063", which as a decimal fraction would be 6 ms. One frame does not tell
that, the body does: all of its fractions have four digits, and all begin with 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from sorter.model.frame import Facts, ReadFile
from sorter.reading.makers.samsung import PADS_MILLISECONDS

_PADDED: Final = 4
_ENOUGH: Final = 3
"""Different fractions: by chance three of them begin with 0 once in a thousand bodies."""

Body = tuple[str, str, str]


def settled(files: Sequence[ReadFile]) -> list[ReadFile]:
    """The files, with the fractions of bodies that write padded milliseconds as what they mean."""
    padded = _padded_bodies(files)
    return list(_meant(files, padded)) if padded else list(files)


def _meant(files: Sequence[ReadFile], padded: set[Body]) -> Iterator[ReadFile]:
    for file in files:
        moment = file.facts.moment
        if moment is None or not moment.digits or _body(file.facts) not in padded:
            yield file
        else:
            known = replace(moment, digits=moment.digits[1:])
            yield replace(file, facts=replace(file.facts, moment=known))


def _padded_bodies(files: Sequence[ReadFile]) -> set[Body]:
    """Bodies all of whose fractions are padded, and enough of them for their make."""
    known = [(file.facts, file.facts.moment.digits) for file in files if file.facts.moment]
    padded = [(_body(facts), digits) for facts, digits in known if digits and _is_padded(digits)]
    if not padded:  # as nearly always
        return set()
    plain = {_body(facts) for facts, digits in known if digits and not _is_padded(digits)}
    return {
        body
        for body in {body for body, _ in padded} - plain
        if body[0] == PADS_MILLISECONDS
        or len({digits for one, digits in padded if one == body}) >= _ENOUGH
    }


def _is_padded(digits: str) -> bool:
    return len(digits) == _PADDED and digits[0] == "0"


def _body(facts: Facts) -> Body:
    return facts.make.casefold(), facts.model.casefold(), facts.serial
