"""What a sequence may be to another one of the same body."""

from __future__ import annotations

from enum import StrEnum


class RelationKind(StrEnum):
    """What a sequence may be to another one of the same body; the value is its wording.

    RETAKE: the same ground once more at the same exposure, as the other was stopped, shorter or from
    another end. FILLS: a few slices within the other's ground. OTHER_LIGHT: the same ground once more,
    at another exposure or flash.
    GOES_ON: focus begins where it ended in the other, and moves the same way. REPEAT: as many
    frames over the same focus, or the same exposures, once more. SAME_SETUP: right beside the
    other, with its lens, exposure and focus, so that the two can be blended. RESULT: the camera
    merged it out of the other's frames.
    """

    RETAKE = "retake of"
    GOES_ON = "goes on from"
    FILLS = "fills a part of"
    OTHER_LIGHT = "pass in other light than"
    REPEAT = "identical repeat of"
    SAME_SETUP = "same set-up as"
    RESULT = "result of"

    def text(self, number: int) -> str:
        """The clause that says it of the sequence with this number."""
        return f"{self} sequence {number}"
