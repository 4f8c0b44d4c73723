"""The kinds of sequence, the roles of files and the words for what a camera says."""

from __future__ import annotations

from enum import StrEnum


class Kind(StrEnum):
    """What a sequence is, or what a file is that is no frame."""

    FOCUS_BRACKET = "focus-bracket"
    MANUAL_STACK = "manual-stack"
    EXPOSURE_BRACKET = "exposure-bracket"
    BURST = "burst"
    INTERVAL = "interval"
    SINGLE = "single"
    MARKER = "marker"
    CLIP = "clip"
    UNDATED = "undated"
    UNREADABLE = "unreadable"
    OTHER = "other"


NO_FRAME_KINDS = frozenset({Kind.CLIP, Kind.UNDATED, Kind.UNREADABLE, Kind.OTHER})
SEQUENCE_KINDS = tuple(kind for kind in Kind if kind not in NO_FRAME_KINDS)
STACK_KINDS = frozenset({Kind.FOCUS_BRACKET, Kind.MANUAL_STACK})


class Role(StrEnum):
    """What part a file plays in its frame, or beside all frames."""

    RAW = "raw"
    IMAGE = "image"
    SIDECAR = "sidecar"
    THUMBNAIL = "thumbnail"
    SOUND = "sound"
    CLIP = "clip"
    RESULT = "result"
    OTHER = "other"


PICTURE_ROLES = frozenset({Role.RAW, Role.IMAGE})


class FocusMode(StrEnum):
    """Who turns the focus."""

    AUTO = "auto"
    MANUAL = "manual"


class ExposureProgram(StrEnum):
    """Who sets time, aperture and sensitivity (Exif ExposureProgram, CIPA DC-008)."""

    MANUAL = "manual"
    NORMAL = "normal"
    APERTURE = "aperture priority"
    SHUTTER = "shutter priority"
    SCENE = "scene"  # creative, action, portrait, landscape


class DriveMode(StrEnum):
    """What one press of the shutter does."""

    SINGLE = "single"
    CONTINUOUS = "continuous"
    TIMER = "timer"


class Bracketing(StrEnum):
    """What the camera says that it varied from frame to frame.

    OFF is a statement; a camera that does not say gives None.
    """

    OFF = "off"
    FOCUS = "focus"
    EXPOSURE = "exposure"
    OTHER = "other"  # white balance, ISO, flash power, aperture, film look


class Who(StrEnum):
    """Who says what a sequence is: the camera with its evidence, the pictures, or the user."""

    CAMERA = "camera"
    PICTURES = "pictures"
    USER = "user"
