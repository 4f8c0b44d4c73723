"""What one file has told so far, while its reader is still at work."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypedDict

from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, ExposureProgram, FocusMode, Role
from sorter.model.values import Moment, Preview
from sorter.reading import stray
from sorter.reading.directories import Directory


class FoundFacts(TypedDict, total=False):
    """The fields of Facts that were found; what is missing here was not said."""

    make: str
    model: str
    serial: str
    lens: str
    moment: Moment | None
    focal_length_mm: float | None
    f_number: float | None
    exposure_time_s: float | None
    iso: float | None
    exposure_bias_ev: float | None
    flash_fired: bool | None
    focus_mode: FocusMode | None
    focus_follows: bool | None
    drive_mode: DriveMode | None
    bracketing: Bracketing | None
    bracket_offset_ev: float | None
    auto_bracket: bool | None
    exposure_by_hand: bool | None
    exposure_program: ExposureProgram | None
    shot_number: int | None
    planned: int | None
    burst_id: str
    counter: int | None
    session: str
    since_power_on_cs: int | None
    focus_near_m: float | None
    focus_far_m: float | None
    focus_step: int | None
    step_nearward: bool | None
    merged: str
    merged_from: int | None
    sources_kept: bool | None
    orientation: int | None
    width: int | None
    height: int | None


@dataclass(slots=True, kw_only=True)
class FactsBuilder:
    """Filled by a container's reader, the standard tags and the maker's note, in this order.

    main, exif, place: the directories that the standard tags were read from, and the GPS directory
    where it is not IFD0 that points to it.
    """

    container: str = ""
    role: Role = Role.IMAGE
    is_picture: bool = True
    facts: FoundFacts = field(default_factory=FoundFacts)
    previews: list[Preview] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    main: Directory | None = None
    exif: Directory | None = None
    gps: Directory | None = None

    def built(self) -> Facts:
        """The facts as far as they were said."""
        return Facts(**self.facts)

    def lens(self, name: str) -> None:
        """Takes the lens's name where none is known yet, and none that only says so."""
        if not self.facts.get("lens"):
            self.facts["lens"] = stray.lens(name)

    def serial(self, number: str) -> None:
        """Takes the body's number where none is known yet, and none that only says so."""
        if not self.facts.get("serial"):
            self.facts["serial"] = stray.serial(number)

    def flash(self, fired: bool | None) -> None:
        """Takes whether the flash fired where nothing is known of it yet."""
        if fired is not None:
            self.facts.setdefault("flash_fired", fired)

    def distance(self, near_m: float | None, far_m: float | None) -> None:
        """Takes the limits of focus; a lone one stands for both, and near is never the farther."""
        known = [limit for limit in (near_m, far_m) if limit is not None]
        if known:
            self.facts["focus_near_m"] = min(known)
            self.facts["focus_far_m"] = max(known)
