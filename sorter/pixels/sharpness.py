"""How sharp each part of a picture is: the energy of its Laplacian, cell by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sorter.model.glance import CELLS_ACROSS, Glance

if TYPE_CHECKING:
    from sorter.model.glance import Grey, Grid

SMOOTHING: Final = 0.8
"""Standard deviation in pixels of what is taken off noise before: else the noisier frame wins."""
THUMB_SIDE: Final = 162


def laplacian(plain: Grid) -> Grid:
    """The Laplacian by the kernel [0 1 0; 1 -4 1; 0 1 0], the border mirrored.

    J. L. Pech-Pacheco et al., "Diatom autofocusing in brightfield microscopy", ICPR 2000.
    """
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

    found: Grid = cv2.Laplacian(plain, cv2.CV_32F, ksize=1)  # type: ignore[assignment]
    return found


def tenengrad(plain: Grid) -> Grid:
    """The square of the gradient by Sobel's kernels; J. M. Tenenbaum 1970, E. Krotkov 1987."""
    import cv2  # noqa: PLC0415  see above

    across = cv2.Sobel(plain, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(plain, cv2.CV_32F, 0, 1, ksize=3)
    found: Grid = across * across + down * down
    return found


def means(values: Grid, cell: int) -> Grid:
    """The mean of each square cell of so many pixels; what is left over at the end is left out."""
    import cv2  # noqa: PLC0415  see above

    rows, columns = (max(1, side // cell) for side in values.shape)
    whole = values[: rows * cell, : columns * cell]
    found: Grid = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    return found


def glance(plain: Grey, scale: float) -> Glance:
    """The picture in grey (uint8), measured. scale: pixels of the decoded picture for one of it."""
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    cell = max(2, 2 * round(max(plain.shape) / CELLS_ACROSS / 2))
    values = plain.astype(np.float32)
    fine = laplacian(cv2.GaussianBlur(values, (3, 3), SMOOTHING))  # type: ignore[arg-type]
    half = laplacian(cv2.pyrDown(values))  # type: ignore[arg-type]
    rows, columns = (max(1, side // cell) for side in plain.shape)
    coarse = means(half * half, cell // 2)[:rows, :columns]
    share = min(1.0, THUMB_SIDE / max(plain.shape))
    thumb = cv2.resize(plain, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return Glance(
        energy=means(fine * fine, cell),
        coarse=coarse,
        light=means(values, cell),
        thumb=thumb.astype(np.uint8),
        scale=scale,
        cell=cell,
        width=round(plain.shape[1] * scale),
        height=round(plain.shape[0] * scale),
    )
