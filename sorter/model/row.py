"""A row of the manifest: what is known of one file of a card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from sorter.model.kinds import DriveMode, FocusMode, Kind, Role, Who
from sorter.model.note import Note, joined

COLUMNS: Final = (
    "source",
    "destination",
    "frame",
    "sequence",
    "kind",
    "position",
    "frames",
    "planned",
    "role",
    "captured",
    "camera",
    "serial",
    "lens",
    "focal_length_mm",
    "f_number",
    "exposure_time_s",
    "iso",
    "exposure_bias_ev",
    "flash",
    "focus_mode",
    "drive_mode",
    "focus_near_m",
    "focus_far_m",
    "bytes",
    "sha256",
    "grounds",
    "notes",
)
"""The manifest's columns in their order: each is an attribute of a row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One file of the card, as the manifest tells of it.

    source: the path below the card as the system gave it, undecodable bytes as surrogates.
    destination: the path below the shoot. None and empty text: unknown, or it does not apply.
    Numbers are rounded to what is written. remarks: what needs a look, or is to be said of the file. said_by:
    who says what its sequence is.
    """

    source: str
    destination: str = ""
    frame: int | None = None
    sequence: int | None = None
    kind: Kind
    position: int | None = None
    frames: int | None = None
    planned: int | None = None
    role: Role
    captured: str = ""
    camera: str = ""
    serial: str = ""
    lens: str = ""
    focal_length_mm: float | None = None
    f_number: float | None = None
    exposure_time_s: float | None = None
    iso: float | None = None
    exposure_bias_ev: float | None = None
    flash: str = ""
    focus_mode: FocusMode | None = None
    drive_mode: DriveMode | None = None
    focus_near_m: float | None = None
    focus_far_m: float | None = None
    bytes: int
    sha256: str = ""
    grounds: str = ""
    remarks: tuple[Note, ...] = ()
    said_by: Who = Who.CAMERA

    @property
    def notes(self) -> str:
        """The remarks as the manifest's cell has them."""
        return joined(self.remarks)


def is_brought_back(row: Row) -> bool:
    """Whether it is a result that another program merged from a stack: it came from no card."""
    return row.role is Role.RESULT and not row.source
