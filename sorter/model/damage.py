"""What can be wrong with a file's content, in the words of the notes."""

from __future__ import annotations

EMPTY = "the file is empty"
NO_END = "the picture ends early: no end marker"
ZEROS = "the file ends in zeros"
CUT = "the file ends early: it tells of more bytes than it has"

DAMAGES = (NO_END, ZEROS, CUT)
"""What says that a file is not whole, though it may be a good picture by its metadata. An empty picture
could not be read at all, which is another thing; an empty clip is damaged."""
