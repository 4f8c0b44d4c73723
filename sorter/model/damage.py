"""What can be wrong with a file's content."""

from __future__ import annotations

from enum import StrEnum


class Damage(StrEnum):
    """What is wrong with a file's content; the value is its wording.

    NO_END, ZEROS, CUT: it is not whole, though it may be a good picture by its metadata. EMPTY: a
    picture could not be read at all then, which is another thing; a clip is damaged.
    """

    EMPTY = "the file is empty"
    NO_END = "the picture ends early: no end marker"
    ZEROS = "the file ends in zeros"
    CUT = "the file ends early: it tells of more bytes than it has"
