"""How sharp each part of a picture is: the energy of its Laplacian, cell by cell."""

from __future__ import annotations

from threading import local
from typing import TYPE_CHECKING, Final

from sorter.model.measurement import CELLS_ACROSS, Measurement

if TYPE_CHECKING:
    from sorter.model.measurement import Grey, Grid

SMOOTHING: Final = 0.8
"""Standard deviation in pixels of what is taken off noise before: else the noisier frame wins."""
THUMB_SIDE: Final = 162
_kept: Final = local()


def laplacian(plain: Grid, out: Grid | None = None) -> Grid:
    """The Laplacian by the kernel [0 1 0; 1 -4 1; 0 1 0], the border mirrored; into out if given.

    J. L. Pech-Pacheco et al., "Diatom autofocusing in brightfield microscopy", ICPR 2000.
    """
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

    found: Grid = cv2.Laplacian(plain, cv2.CV_32F, dst=out, ksize=1)  # type: ignore[assignment]
    return found


def means(values: Grid, cell: int) -> Grid:
    """The mean of each square cell of so many pixels; what is left over at the end is left out."""
    import cv2  # noqa: PLC0415  see above

    rows, columns = (max(1, side // cell) for side in values.shape)
    whole = values[: rows * cell, : columns * cell]
    found: Grid = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    return found


def _arrays(shape: tuple[int, ...]) -> tuple[Grid, Grid]:
    """Two arrays of this thread's: asking the system for new ones takes longer than all that is done here."""
    import numpy as np  # noqa: PLC0415  see above

    kept: tuple[Grid, Grid] | None = getattr(_kept, "room", None)
    if kept is None or kept[0].shape != shape:
        kept = _kept.room = (np.empty(shape, np.float32), np.empty(shape, np.float32))
    return kept


def measure(plain: Grey, scale: float) -> Measurement:
    """The picture in grey (uint8), measured. scale: pixels of the decoded picture for one of it."""
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    cell = max(2, 2 * round(max(plain.shape) / CELLS_ACROSS / 2))
    values, soft = _arrays(plain.shape)
    np.copyto(values, plain)
    light = means(values, cell)
    cv2.GaussianBlur(values, (3, 3), SMOOTHING, dst=soft)
    laplacian(soft, out=values)
    np.multiply(values, values, out=values)
    share = min(1.0, THUMB_SIDE / max(plain.shape))
    thumb = cv2.resize(plain, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return Measurement(
        energy=means(values, cell),
        coarse=_coarse(plain, cell, light.shape),
        light=light,
        thumb=thumb.astype(np.uint8),
        scale=scale,
        cell=cell,
        width=round(plain.shape[1] * scale),
        height=round(plain.shape[0] * scale),
    )


def _coarse(plain: Grey, cell: int, shape: tuple[int, ...]) -> Grid:
    """The energy of each cell of the picture at half its size."""
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    rows, columns = (max(1, side) * cell for side in shape)
    whole = plain[:rows, :columns]
    half = cv2.resize(whole, (columns // 2, rows // 2), interpolation=cv2.INTER_AREA)
    values = half.astype(np.float32)
    soft: Grid = cv2.GaussianBlur(values, (3, 3), SMOOTHING)  # type: ignore[assignment]
    laplacian(soft, out=values)
    np.multiply(values, values, out=values)
    return means(values, cell // 2)
