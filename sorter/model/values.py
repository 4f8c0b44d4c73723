"""Small values: a moment of capture, where a preview lies."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

MICROSECONDS = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """When a frame was taken, by the camera's own clock, exactly as far as it said.

    local_s: whole seconds of the camera's wall clock since 1970-01-01 00:00:00 of that clock.
    digits: the decimal fraction of the second as the camera wrote it ("07" is 0.07 s); None
        where it gave none, which is not ".0".
    offset_min: the clock's distance from UTC in minutes, east positive; None where unknown.
    """

    local_s: int
    digits: str | None = None
    offset_min: int | None = None

    @property
    def fraction_us(self) -> int | None:
        """The fraction in microseconds, cut (not rounded) at six digits; None where not given."""
        return None if self.digits is None else int(f"{self.digits:0<6}"[:6])

    @property
    def local_us(self) -> int:
        """Microseconds by the camera's wall clock; a missing fraction counts as the second's start."""
        return self.local_s * MICROSECONDS + (self.fraction_us or 0)

    @property
    def grain_us(self) -> int:
        """How coarse the stamp is: one unit of its last digit, in microseconds."""
        return MICROSECONDS if self.digits is None else 10 ** max(0, 6 - len(self.digits))

    def shifted(self, seconds: int) -> Moment:
        """The same moment by a clock that is set forward by so many seconds."""
        return Moment(
            local_s=self.local_s + seconds, digits=self.digits, offset_min=self.offset_min
        )

    def iso(self) -> str:
        """ISO 8601, with the fraction as given and the offset where known."""
        # A naive datetime on purpose: the camera's wall clock is all that is known.
        wall = datetime(1970, 1, 1) + timedelta(seconds=self.local_s)  # noqa: DTZ001
        fraction = "" if self.digits is None else f".{self.digits}"
        return wall.isoformat(timespec="seconds") + fraction + _offset_text(self.offset_min)


def _offset_text(minutes: int | None) -> str:
    if minutes is None:
        return ""
    sign = "-" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    return f"{sign}{hours:02d}:{rest:02d}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """Where an embedded JPEG lies in its file: bytes from the start; pixels, 0 where unknown."""

    offset: int
    length: int
    width: int = 0
    height: int = 0
