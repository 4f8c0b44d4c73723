"""The bodies of the random cards: how they name files, and what each tells of a frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from cardmaking.shots import Shot

if TYPE_CHECKING:
    from datetime import datetime

Distance = Literal["none", "cm", "mm"]

INFINITY_STEP, NEAREST_STEP = 1500, 9800
STEPS_BY_METRE = 1577.0
"""Motor steps beyond the one at infinity, times the distance in metres: from memory, of no lens."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A body: its name in the truth table, its shots' common values, its habits with names.

    subsec_digits is the number of digits of the fraction of a second. The flags say what its files
    tell: that a bracket is one of focus, the shot's place in its series, the drive and focus mode.
    """

    name: str
    shot: Shot
    subsec_digits: int
    folder: str
    prefix: str
    raw: str = ""
    distance: Distance = "none"
    tells_focus_bracket: bool = False
    tells_number: bool = False
    tells_drive: bool = True
    merges: bool = False
    """Whether it can leave a picture merged out of a focus bracket."""

    @property
    def tells_distance(self) -> bool:
        """Whether its files say where the focus lay."""
        return self.distance != "none"

    @property
    def brackets_continuously(self) -> bool:
        """Whether it writes continuous drive during a focus bracket; Canon's bodies write single."""
        return not self.name.startswith("canon")


_MACRO = Shot(make="", model="", captured=None, lens="100mm F2.8 Macro", offset="+01:00")


def _body(make: str, model: str, serial: str, **values: object) -> Shot:
    return replace(_MACRO, make=make, model=model, serial=serial, **values)  # type: ignore[arg-type]


CAMERAS = (
    Camera(
        name="canon",
        shot=_body("Canon", "Canon EOS R8", "083021004417"),
        subsec_digits=2,
        folder="CANON",
        prefix="IMG_",
        raw="CR3",
        distance="cm",
        tells_focus_bracket=True,
        merges=True,
    ),
    Camera(
        name="canon-blind",
        shot=_body("Canon", "Canon EOS R8", "083021007731", lens="90mm F2.8 1-5x Macro"),
        subsec_digits=2,
        folder="CANON",
        prefix="IMG_",
        raw="CR3",
        tells_focus_bracket=True,
        merges=True,
    ),
    Camera(
        name="om",
        shot=_body(
            "OM Digital Solutions",
            "OM-1",
            "BJ7A60417",
            lens="60mm F2.8 Macro",
            focal_mm=60,
            offset="   :  ",
            step_limits=(INFINITY_STEP, NEAREST_STEP),
        ),
        subsec_digits=0,
        folder="OMSYS",
        prefix="P517",
        raw="ORF",
        distance="mm",
        tells_focus_bracket=True,
        tells_number=True,
        merges=True,
    ),
    Camera(
        name="panasonic",
        shot=_body("Panasonic", "DC-G9M2", "", lens="45mm F2.8 Macro", focal_mm=45),
        subsec_digits=3,
        folder="_PANA",
        prefix="P100",
        tells_focus_bracket=True,
        tells_number=True,
        merges=True,
    ),
    Camera(
        name="nikon",
        shot=_body("NIKON CORPORATION", "NIKON Z 7_2", "6004417", lens="105mm F2.8 Macro"),
        subsec_digits=2,
        folder="NCZ7L",
        prefix="DSC_",
    ),
    Camera(
        name="nikon-numbered",
        shot=_body("NIKON CORPORATION", "NIKON Z 8", "6017731", lens="105mm F2.8 Macro"),
        subsec_digits=2,
        folder="NCZ_8",
        prefix="DSC_",
        tells_number=True,
    ),
    Camera(
        name="sony",
        shot=_body("SONY", "ILCE-7RM5", "", lens="90mm F2.8 Macro", focal_mm=90),
        subsec_digits=3,
        folder="MSDCF",
        prefix="DSC0",
        tells_number=True,
    ),
    Camera(
        name="fujifilm",
        shot=_body("FUJIFILM", "X-T5", "2F004417", lens="80mm F2.8 Macro", focal_mm=80),
        subsec_digits=2,
        folder="_FUJI",
        prefix="DSCF",
        tells_number=True,
    ),
    Camera(
        name="fujifilm-seconds",
        shot=_body(
            "FUJIFILM", "X-E1", "2F007731", lens="60mm F2.4 Macro", focal_mm=60, offset=None
        ),
        subsec_digits=0,
        folder="_FUJI",
        prefix="DSCF",
        tells_number=True,
    ),
    Camera(
        name="pentax",
        shot=_body("RICOH IMAGING COMPANY, LTD.", "PENTAX K-1 Mark II", "5604417", offset=None),
        subsec_digits=0,
        folder="PENTX",
        prefix="IMGP",
    ),
    Camera(
        name="plain",
        shot=_body("Tidemark", "TM-20", "TM2004417", lens="70mm F2.8 Macro", focal_mm=70),
        subsec_digits=2,
        folder="TIDEM",
        prefix="TIDE",
        tells_drive=False,
    ),
    Camera(
        name="plain-seconds",
        shot=_body("Tidemark", "TM-5", "", lens="50mm F2.8 Macro", focal_mm=50, offset=None),
        subsec_digits=0,
        folder="TIDES",
        prefix="TM5_",
        tells_drive=False,
    ),
)
BY_NAME = {camera.name: camera for camera in CAMERAS}


def told(camera: Camera, shot: Shot, taken: datetime) -> Shot:
    """The shot as the camera's files tell it; the shot itself holds what was.

    The distance in near_m is that of the plane of focus; taken is what the body's clock shows.
    """
    digits = camera.subsec_digits
    fraction = f"{taken.microsecond:06d}"[:digits] if digits else None
    shown = replace(
        shot,
        captured=taken.replace(microsecond=0),
        subsec=fraction,
        switched_on=_switched_on(shot, taken),
    )
    return _focus_told(camera, _number_told(camera, shown))


def _switched_on(shot: Shot, taken: datetime) -> datetime:
    """When the body was switched on, to the nearest second."""
    on = taken - timedelta(seconds=shot.uptime_s) + timedelta(milliseconds=500)
    return on.replace(microsecond=0)


def _number_told(camera: Camera, shot: Shot) -> Shot:
    """Without the place in the series where the body writes none.

    Canon numbers the frames of an exposure bracket, Nikon nothing that was pressed singly.
    """
    pressed = camera.name.startswith("nikon") and shot.drive == "single"
    canons = camera.name.startswith("canon") and shot.bracket == "exposure"
    planned = shot.planned if camera.name.startswith("canon") else None
    if canons or (camera.tells_number and not pressed):
        return replace(shot, planned=planned)
    return replace(shot, planned=planned, shot_number=0)


def _focus_told(camera: Camera, shot: Shot) -> Shot:
    metres = shot.near_m
    if camera.distance == "cm" and metres is not None:
        return replace(shot, near_m=metres, far_m=metres + 0.012, focus_step=None)
    if camera.distance == "mm" and metres is not None:
        step = round(INFINITY_STEP + STEPS_BY_METRE / metres)
        return replace(shot, near_m=metres, far_m=metres, focus_step=step)
    offset = shot.focus_step if camera.name == "panasonic" else None
    return replace(shot, near_m=None, far_m=None, focus_step=offset)


# ---- what is set on dials -------------------------------------------------------------------

_ENGRAVED = """
30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13
1/15 1/20 1/25 1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640
1/800 1/1000 1/1250 1/1600 1/2000 1/2500 1/3200 1/4000 1/5000 1/6400 1/8000
"""
SPEEDS = tuple(Fraction(text) for text in _ENGRAVED.split())
"""Exposure times as they are engraved, in thirds of a stop, longest first (common practice)."""
F_NUMBERS = (2.8, 4.0, 5.6, 8.0, 11.0, 16.0)
SENSITIVITIES = (100, 200, 400, 800)


def speed(index: int) -> Fraction:
    """The engraved exposure time (seconds) at the place, or the nearest end of the dial."""
    return SPEEDS[min(max(index, 0), len(SPEEDS) - 1)]
