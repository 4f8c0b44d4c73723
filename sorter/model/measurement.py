"""What is measured of pictures: a frame by itself, and how it lies to the one before it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Grid: TypeAlias = NDArray[np.float32]
    Grey: TypeAlias = NDArray[np.uint8]

LEAST_FOR_FOCUS = 480
"""Pixels of the longer side below which only brightness and likeness are judged: a thumbnail is sharp
where its picture is soft."""
LARGE = 800
"""Pixels of the longer side from which on nothing is said of the size, and no larger one is looked for."""
MOST_PIXELS = 250_000_000
"""Of a picture that is looked at, unless the settings say otherwise."""
CELLS_ACROSS = 100
"""Cells along the longer side of a picture, about: it is measured cell by cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviewSource:
    """Where a picture of a frame can be had: a stretch of a file, or all of it.

    path: the file as the system names it. length: 0 for the whole file. side: pixels of the longer
    side as stated, 0 where unknown. orientation: Exif's, 1 to 8. is_raw: a whole file of sensor data,
    in which other decoders see but its thumbnail.
    """

    path: str
    offset: int = 0
    length: int = 0
    side: int = 0
    orientation: int = 1
    is_raw: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSource:
    """A frame to look at. key: equal for equal content; empty where that is not known.

    most_pixels: a picture of more is not decoded.

    previews: where it can be had, the best first; one that cannot be decoded gives way to the next,
    and one that shows little to a larger one.
    """

    previews: tuple[PreviewSource, ...]
    key: str = ""
    most_pixels: int = MOST_PIXELS


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One frame, measured. All grids have one shape: rows by columns of square cells.

    energy: mean square of the Laplacian within each cell, in grey levels (0 to 255). coarse: the same at
    half the size, where a blur of a pixel or two hardly shows. light: mean grey of each cell. thumb: the picture, small, uint8. scale: pixels of the decoded picture for one
    of the measured one. cell: the side of a cell in measured pixels. width, height: of the picture
    that was decoded, in its pixels, turned as Exif says.
    """

    energy: Grid
    coarse: Grid
    light: Grid
    thumb: Grey
    scale: float
    cell: int
    width: int
    height: int

    @property
    def side(self) -> int:
        """Pixels of the longer side of the picture that was decoded."""
        return max(self.width, self.height)

    @property
    def tells_focus(self) -> bool:
        """Whether the picture is large enough to say what is sharp in it."""
        return self.side >= LEAST_FOR_FOCUS


@dataclass(frozen=True, slots=True, kw_only=True)
class Displacement:
    """How a frame lies to an earlier one: where that one's middle went, in pixels of the decoded picture.

    of: the index of that earlier frame. growth: how much larger it shows the scene (1.002: by
    0.2 %). likeness: the correlation of both once one is moved, -1 to 1. partly: the same where spray
    or the like may hide a part of either; never less. strayed: how far the part
    of the frame that strayed farthest from that common move went, in the same pixels.
    """

    of: int
    dx: float
    dy: float
    growth: float
    likeness: float
    partly: float
    strayed: float


ALIKE = 0.5
"""Likeness below which two frames do not show the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TooLarge:
    """A frame, by its index, whose picture has more pixels than are decoded. most: as many are."""

    index: int
    pixels: int
    most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSeries:
    """The frames of a series, measured in order; None for one that cannot be seen.

    moves: how each frame lies to the last one before it that showed the same and was no darker; to
    the last one that did not where none does. None for the first, and where sizes differ. too_large:
    of those that cannot be seen, the ones that have too many pixels.
    """

    measurements: tuple[Measurement | None, ...]
    displacements: tuple[Displacement | None, ...]
    too_large: tuple[TooLarge, ...] = ()
