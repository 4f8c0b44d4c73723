"""A frame: one press of the shutter with all its files, and what it says about itself."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

from sorter.model.card import CardFile
from sorter.model.kinds import Bracketing, DriveMode, ExposureProgram, FocusMode, Kind, Role
from sorter.model.values import Moment, Preview


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the head of one file says. None: the camera did not say, which is not "off".

    Lengths in mm, distances in m (math.inf for infinity), times in s, exposure in EV.
    focus_step: the focus motor's position or the bracket's own step number, in units of its own;
    compare only within one body and lens, and only its order: it grows toward near where
    step_nearward is true, toward far where it is false.
    focus_follows: autofocus goes on following the subject (continuous, servo); false where one press
    focuses once. auto_bracket, exposure_by_hand: what Exif's ExposureMode says (2, 1); many bodies
    bracket without saying so there.
    shot_number: the camera's own count within a burst or bracket, from 1. planned: the number of
    frames that the camera was set to take. burst_id: equal for all frames of one burst.
    counter: a count of shots over the body's life, or since power-on where it keeps no other. It
    grows by 1 from frame to frame (some bodies count no electronic shutter: then it stands still)
    and is never reset within a series.
    session: equal for all frames between two times that the body was switched on.
    since_power_on_cs: whole hundredths of a second from then until the file was written.
    merged: the camera made this picture out of several others ("focus", "exposure", "other").
    merged_from: how many others, where it says so. sources_kept: false where none of these is a
    picture of its own.
    """

    make: str = ""
    model: str = ""
    serial: str = ""
    lens: str = ""
    moment: Moment | None = None
    focal_length_mm: float | None = None
    f_number: float | None = None
    exposure_time_s: float | None = None
    iso: float | None = None
    exposure_bias_ev: float | None = None
    flash_fired: bool | None = None
    focus_mode: FocusMode | None = None
    focus_follows: bool | None = None
    drive_mode: DriveMode | None = None
    bracketing: Bracketing | None = None
    bracket_offset_ev: float | None = None
    auto_bracket: bool | None = None
    exposure_by_hand: bool | None = None
    exposure_program: ExposureProgram | None = None
    shot_number: int | None = None
    planned: int | None = None
    burst_id: str = ""
    counter: int | None = None
    session: str = ""
    since_power_on_cs: int | None = None
    focus_near_m: float | None = None
    focus_far_m: float | None = None
    focus_step: int | None = None
    step_nearward: bool | None = None
    merged: str = ""
    merged_from: int | None = None
    sources_kept: bool | None = None
    orientation: int | None = None
    width: int | None = None
    height: int | None = None

    @property
    def camera(self) -> str:
        """Make and model, the make not twice."""
        if not self.make or self.model.lower().startswith(self.make.lower().split()[0]):
            return self.model or self.make
        return f"{self.make} {self.model}".strip()


_UNSAID = {one.name: one.default for one in fields(Facts)}
_TOGETHER = (
    {"focus_near_m", "focus_far_m"},
    {"focus_step", "step_nearward"},
    {"merged", "merged_from", "sources_kept"},
)


def filled_in(own: Facts, other: Facts) -> Facts:
    """The one's facts, with what it does not say taken from another file of the same frame.

    Some are of one file or none of it: two files may round one distance differently, and count
    their steps from different places; a count of sources says nothing of another file's merging.
    """
    if own is other:
        return own
    unsaid = {name for name, default in _UNSAID.items() if getattr(own, name) == default}
    for pair in _TOGETHER:
        if not unsaid >= pair:
            unsaid -= pair
    return replace(own, **{name: getattr(other, name) for name in unsaid})


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadFile:
    """One file of the card after reading.

    container: the format by its content ("jpeg", "cr3", "tiff" …); empty where it is none that we
    know. is_picture: a picture container by content. notes: what could not be read, in words.
    fingerprint: a checksum over its first bytes, which hold its time and counters: another file has another
    one. 0 where something of it could not be read.
    """

    file: CardFile
    role: Role
    container: str = ""
    is_picture: bool = False
    facts: Facts = field(default_factory=Facts)
    previews: tuple[Preview, ...] = ()
    notes: tuple[str, ...] = ()
    fingerprint: int = 0

    @property
    def path(self) -> str:
        """The path below the card."""
        return self.file.path


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One press of the shutter: its files (the one whose facts speak for the frame first).

    facts.moment is never None in a Frame: what has no usable time is no frame but `undated`.
    """

    files: tuple[ReadFile, ...]
    facts: Facts
    notes: tuple[str, ...] = ()

    @property
    def path(self) -> str:
        """The path of the file that speaks for the frame; the frame's key."""
        return self.files[0].path

    @property
    def moment(self) -> Moment:
        """When it was taken."""
        moment = self.facts.moment
        if moment is None:
            raise ValueError("a frame without a time is no frame")
        return moment

    @property
    def previews(self) -> tuple[tuple[str, Preview], ...]:
        """The JPEGs in the frame's files, each with the path of its file, the best one first.

        Best has most pixels; those of unknown size come behind, by their bytes. Of equal ones the
        file that speaks for the frame goes first.
        """
        pairs = [(file.path, one) for file in self.files for one in file.previews]
        return tuple(sorted(pairs, key=_worth, reverse=True))


def _worth(pair: tuple[str, Preview]) -> tuple[int, int]:
    _, preview = pair
    return preview.width * preview.height, preview.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A card read: frames in the order of their paths, and the files that are no frame.

    loose: files with the kind of what is no frame ("clip", "undated", "unreadable", "other"). system_files:
    how many files of systems were passed over. thrown_away: the paths of pictures and clips in a trash
    or another folder of a system, and of what there cannot be read; they are no files of the card.
    shoots: folders that are shoots, and were not looked into.
    """

    frames: tuple[Frame, ...]
    loose: tuple[tuple[Kind, ReadFile], ...] = ()
    system_files: int = 0
    folders_closed: tuple[str, ...] = ()
    thrown_away: tuple[str, ...] = ()
    shoots: tuple[str, ...] = ()
