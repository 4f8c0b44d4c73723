"""How far a picture lies from another, to a fraction of a pixel: correlation of their phases.

The method is C. D. Kuglin, D. C. Hines, "The phase correlation image alignment method", 1975. Both
spectra are brought to equal strength and weighted by a bell, so that the peak is a bell too and its
middle follows from three values, and noise at high frequencies does not count.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from sorter.model.measurement import ALIKE, Displacement

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sorter.model.measurement import Grey, Grid, Measurement

BAND: Final = 0.18
"""Standard deviation of the bell over frequencies, in cycles per pixel."""
BLOCKS: Final = (3, 4)
"""Rows and columns of parts whose own shifts tell growth, and what moved by itself."""
STEP: Final = 10
"""Pixels that the sides of parts are multiples of, …"""
EVENLY: Final = 8
"""… and those of the rough picture: with large prime factors transforms take three times as long."""
SURE: Final = 0.12
"""Peak of a part (1: the same part, moved) below which its shift says nothing."""
STRAYED: Final = 17.0
"""Peak from which on a part moved by itself, times the root of its pixels: 0.18 at 9,000 of them.

Noise alone makes peaks that fall with that root, up to about three quarters of this."""
ROUNDS: Final = 4
LEAST_PARTS: Final = 4
LEAST_STRUCTURE: Final = 0.5
"""Standard deviation in grey levels of a small picture that shows anything."""
OTHER_SHAPE: Final = 0.03
"""Part by which the ratio of two pictures' sides differs where they have not one shape: previews are cut to
whole blocks of eight or sixteen pixels."""
KEPT: Final = 0.75
AT_RANDOM: Final = 0.2
"""Two scenes reach up to 0.65 where they differ least, pictures of one with much spray 0.7 and more:
seen on 200 pairs of real textures, with bright discs over up to a quarter of one."""


def shift(first: Grid, second: Grid) -> tuple[float, float, float]:
    """Down and across, in pixels, from the first picture to the second of equal size; and how sure.

    How sure: the height of the peak, 1 for the same picture moved in a circle. A shift over half a
    side cannot be told from one the other way.
    """
    window = _window(first.shape)
    down, across, sure = _peaks(
        ((first - first.mean()) * window)[None], ((second - second.mean()) * window)[None]
    )
    return float(down[0]), float(across[0]), float(sure[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Placeable:
    """A measured frame, and the pictures by which its place is found. rough: half as large as small.

    In bytes, which are a quarter of what is worked with: frames wait so, and go from process to process.
    """

    measurement: Measurement
    small: Grey
    rough: Grey


def placeable(plain: Grey, measured: Measurement) -> Placeable:
    """The frame at half of what is measured: finer than that, neighbours differ in focus."""
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures
    import numpy as np  # noqa: PLC0415

    half = cv2.resize(plain, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    rough = cv2.resize(half, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    rows, columns = (max(1, side // EVENLY) * EVENLY for side in rough.shape)
    rough = rough[:rows, :columns]
    return Placeable(
        measurement=measured, small=half.astype(np.uint8), rough=rough.astype(np.uint8)
    )


def displacement(first: Placeable, second: Placeable, of: int) -> Displacement | None:
    """How the second frame lies to the first, whose index is given; None where their shapes differ.

    Another size of the same shape is no other scene: the second is brought to the first one's.
    """
    if not alike_in_shape(first.small.shape, second.small.shape):
        return None
    one, two = _figures(first.small), _of_size(second.small, first.small)
    down, across, _ = shift(_figures(first.rough), _of_size(second.rough, first.rough))
    to_pixels = 2 * first.measurement.scale
    growth, strayed, more = _parts(one, two, (round(2 * down), round(2 * across)))
    down, across = more if more is not None else shift(one, two)[:2]
    place = _in_thumb(first, down, across)
    thumb = first.measurement.thumb
    other = _of_size(second.measurement.thumb, thumb).astype(thumb.dtype)
    alike, partly = likenesses(thumb, other, place)
    return Displacement(
        of=of,
        dx=across * to_pixels,
        dy=down * to_pixels,
        growth=growth,
        likeness=alike,
        partly=partly,
        strayed=strayed * to_pixels,
    )


def alike_in_shape(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    """Whether pictures of these rows and columns have one shape, whatever their size."""
    return bool(abs(one[1] * other[0] / (one[0] * other[1]) - 1) < OTHER_SHAPE)


def _of_size(plain: Grey, like: Grey) -> Grid:
    import cv2  # noqa: PLC0415  see above

    if plain.shape == like.shape:
        return _figures(plain)
    size = like.shape[1], like.shape[0]
    scaled: Grid = cv2.resize(_figures(plain), size, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    return scaled


def _figures(plain: Grey) -> Grid:
    import numpy as np  # noqa: PLC0415  see above

    return plain.astype(np.float32)


def _in_thumb(frame: Placeable, down: float, across: float) -> tuple[float, float]:
    share = max(frame.measurement.thumb.shape) / max(frame.small.shape)
    return down * share, across * share


def likeness(first: Grey, second: Grey) -> float:
    """The correlation (-1 to 1) of two small pictures: as likenesses has it."""
    return likenesses(first, second, (0.0, 0.0))[0]


def likenesses(first: Grey, second: Grey, by: tuple[float, float]) -> tuple[float, float]:
    """The correlation (-1 to 1) of two small pictures, the second moved back by so much.

    Both are softened, so that another focus does not make them unlike; only what both show counts.
    0 where one of them shows nothing at all. The second value is that of a part of the pictures
    where the whole of them is not alike (see _without_what_differs).
    """
    if first.shape != second.shape:
        return 0.0, 0.0
    one, two = (_soft(each) for each in (first, second))
    down, across = round(by[0]), round(by[1])
    rows, columns = one.shape
    if abs(down) > rows * 0.6 or abs(across) > columns * 0.6:
        return 0.0, 0.0
    one = one[max(0, -down) : rows - max(0, down), max(0, -across) : columns - max(0, across)]
    two = two[max(0, down) : rows - max(0, -down), max(0, across) : columns - max(0, -across)]
    # A black frame's noise is no structure: below half a grey level there is nothing to compare.
    if min(float(one.std()), float(two.std())) < LEAST_STRUCTURE:
        return 0.0, 0.0
    whole = _correlated(one, two)
    return whole, whole if whole >= ALIKE else max(whole, _without_what_differs(one, two))


def _soft(small: Grey) -> Grid:
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    soft: Grid = cv2.GaussianBlur(small.astype(np.float32), (0, 0), 2.5)  # type: ignore[assignment]
    return soft


def _correlated(one: Grid, two: Grid) -> float:
    import numpy as np  # noqa: PLC0415  see above

    one, two = one - one.mean(), two - two.mean()
    size = float(np.sqrt((one * one).sum() * (two * two).sum()))
    return float((one * two).sum()) / size if size else 0.0


def _without_what_differs(one: Grid, two: Grid) -> float:
    """The correlation where both differ least: spray before a scene hides it in a part alone.

    Less AT_RANDOM: what is left of two scenes is alike by its choice.
    """
    import numpy as np  # noqa: PLC0415  see above

    plain = [each - np.median(each) for each in (one, two)]
    plain = [each / (np.median(np.abs(each)) + LEAST_STRUCTURE) for each in plain]
    apart = np.abs(plain[0] - plain[1])
    kept = apart <= np.quantile(apart, KEPT)
    return _correlated(one[kept], two[kept]) - AT_RANDOM


# ---- within ----------------------------------------------------------------------------------


def _parts(
    one: Grid, two: Grid, by: tuple[int, int]
) -> tuple[float, float, tuple[float, float] | None]:
    """Growth, the farthest stray, and the shift of the middle, out of the shifts of parts."""
    import numpy as np  # noqa: PLC0415  see above

    rows, pixels = [], 1
    for firsts, seconds, middles in _cut(one, two, by):
        rows.append((*_peaks(firsts, seconds), middles))
        pixels = firsts[0].size
    if not rows:
        return 1.0, 0.0, None
    down, across, sure, middles = (np.concatenate(each) for each in zip(*rows, strict=True))
    shifts = np.stack([down + by[0], across + by[1]], axis=1)
    known = sure > SURE
    if known.sum() < LEAST_PARTS:
        return 1.0, 0.0, None
    common, growth, left = _similar(shifts[known], middles[known], sure[known])
    strayed = float(left.max(initial=0.0, where=sure[known] > STRAYED / math.sqrt(pixels)))
    return growth, strayed, (float(common[0]), float(common[1]))


def _cut(
    one: Grid, two: Grid, by: tuple[int, int]
) -> Iterator[tuple[Grid, Grid, NDArray[np.float64]]]:
    """The parts of both pictures that show the same once one is moved; their middles from the centre.

    Row by row of parts: for arrays of all of them the system would be asked for memory every time,
    which takes as long as all that is done with them.
    """
    import numpy as np  # noqa: PLC0415  see above

    rows, columns = one.shape
    down, across = by
    top, left = max(0, -down), max(0, -across)
    tall = (rows - abs(down)) // BLOCKS[0] // STEP * STEP
    wide = (columns - abs(across)) // BLOCKS[1] // STEP * STEP
    if min(tall, wide) < 24:  # noqa: PLR2004  pixels: too few for a peak
        return
    window = _window((tall, wide))
    across_by = left + wide * np.arange(BLOCKS[1])
    for row in range(BLOCKS[0]):
        y = top + row * tall
        firsts = [one[y : y + tall, x : x + wide] for x in across_by]
        moved = [two[y + down : y + down + tall, x : x + wide] for x in across_by + across]
        middle = np.full(BLOCKS[1], y + tall / 2 - rows / 2)
        middles = np.stack([middle, across_by + wide / 2 - columns / 2], axis=1)
        yield _faded(firsts, window), _faded(moved, window), middles


def _faded(parts: Sequence[Grid], window: Grid) -> Grid:
    """The parts as one array, without their means, and with nothing at their borders."""
    import numpy as np  # noqa: PLC0415  see above

    faded: Grid = np.stack(parts)
    faded -= faded.mean((1, 2), keepdims=True)
    faded *= window
    return faded


def _similar(
    shifts: NDArray[np.float64], middles: NDArray[np.float64], weights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float, NDArray[np.float64]]:
    """A common shift and growth for the parts, and how far each lies from it.

    Least squares with weights that fall with the distance, so that a part that moved by itself does
    not draw the others along.
    """
    import numpy as np  # noqa: PLC0415  see above

    weight = weights.copy()
    common, more = np.median(shifts, axis=0), 0.0
    for _ in range(ROUNDS):
        left = np.hypot(*(shifts - common - more * middles).T)
        weight = weights / (1 + (left / max(0.15, float(np.median(left)))) ** 2)
        total = weight.sum()
        middle = (weight[:, None] * middles).sum(0) / total
        mean = (weight[:, None] * shifts).sum(0) / total
        spread = (weight[:, None] * (middles - middle) ** 2).sum()
        more = float((weight[:, None] * (middles - middle) * (shifts - mean)).sum() / spread)
        common = mean - more * middle
    return common, 1 + more, np.hypot(*(shifts - common - more * middles).T)


def _peaks(
    firsts: Grid, seconds: Grid
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Down, across and height of the peak of each pair (pairs by rows by columns)."""
    import numpy as np  # noqa: PLC0415  see above

    shape = firsts.shape[1:]
    found = _correlations(firsts, seconds)
    at = found.reshape(len(found), -1).argmax(1)
    rows, columns = np.unravel_index(at, shape)
    pairs = np.arange(len(found))
    down = _between(found, rows, shape[0], lambda row: (pairs, row, columns))
    across = _between(found, columns, shape[1], lambda column: (pairs, rows, column))
    return down, across, (found[pairs, rows, columns] / _highest(shape)).astype(np.float64)


def _correlations(firsts: Grid, seconds: Grid) -> Grid:
    """The correlation of the phases of each pair, weighted by the bell.

    Spectra are OpenCV's packed ones (its documentation of dft: CCS), half as many values as complex
    ones. A frequency counts by its strength only where that is near nothing for all the pairs.
    """
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures
    import numpy as np  # noqa: PLC0415

    found, strengths = np.empty_like(firsts), np.empty_like(firsts)
    for first, second, cross, strength in zip(firsts, seconds, found, strengths, strict=True):
        cv2.mulSpectrums(cv2.dft(second), cv2.dft(first), 0, cross, conjB=True)
        cv2.mulSpectrums(cross, cross, 0, strength, conjB=True)
        _to_both_parts(strength)
        cv2.sqrt(strength, strength)
    strengths += 1e-3 * _mean_of_half(strengths) + 1e-12
    bell = _bell(firsts.shape[1:])
    for cross, strength in zip(found, strengths, strict=True):
        cv2.multiply(cross, bell, cross)
        cv2.divide(cross, strength, cross)
        cv2.idft(cross, cross, flags=cv2.DFT_SCALE)
    return found


def _to_both_parts(packed: Grid) -> None:
    """What stands in the places of real parts stands in those of the imaginary ones too."""
    rows, columns = packed.shape
    packed[:, 2::2] = packed[:, 1 : columns - 1 + columns % 2 : 2]
    for column in _upright(columns):
        packed[2::2, column] = packed[1 : rows - 1 + rows % 2 : 2, column]


def _mean_of_half(packed: Grid) -> float:
    """The mean over the halves of spectra that are kept: the other halves mirror them."""
    pairs, rows, columns = packed.shape
    whole = float(packed[..., 0].sum()) + float(packed[..., 1::2].sum())
    kept: int = pairs * rows * (columns // 2 + 1)
    return whole / kept


def _upright(columns: int) -> tuple[int, ...]:
    """The columns of a packed spectrum whose parts stand one below the other."""
    return (0,) if columns % 2 else (0, columns - 1)


def _between(
    found: Grid,
    peak: NDArray[np.int64],
    side: int,
    place: Callable[[NDArray[np.int64]], tuple[NDArray[np.int64], ...]],
) -> NDArray[np.float64]:
    """The middle of a bell through the peak and its neighbours, as a shift with its sign."""
    import numpy as np  # noqa: PLC0415  see above

    before, top, after = (
        np.log(np.maximum(found[place((peak + step) % side)], 1e-12)) for step in (-1, 0, 1)
    )
    bend = before - 2 * top + after
    off = np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1), 0.0)
    where = peak + np.clip(off, -0.5, 0.5)
    shifted: NDArray[np.float64] = np.where(where > side / 2, where - side, where)
    return shifted


@lru_cache(maxsize=8)
def _window(shape: tuple[int, ...]) -> Grid:
    import numpy as np  # noqa: PLC0415  see above

    return np.outer(np.hanning(shape[0]), np.hanning(shape[1])).astype(np.float32)


@lru_cache(maxsize=8)
def _bell(shape: tuple[int, ...]) -> Grid:
    """The weight of each frequency, in the place of its real part and in that of its imaginary one."""
    import numpy as np  # noqa: PLC0415  see above

    rows, columns = shape
    across = _bell_of(_packed(columns))
    bell = np.outer(_bell_of(np.fft.fftfreq(rows)), across)
    for column in _upright(columns):
        bell[:, column] = _bell_of(_packed(rows)) * across[column]
    return bell.astype(np.float32)


def _packed(side: int) -> NDArray[np.float64]:
    """The frequencies of a packed side, in cycles per pixel: none, then each twice."""
    import numpy as np  # noqa: PLC0415  see above

    return (np.arange(side) + 1) // 2 / side


def _bell_of(frequencies: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
    import numpy as np  # noqa: PLC0415  see above

    bell: NDArray[np.float64] = np.exp(-(frequencies**2) / (2 * BAND**2))
    return bell


@lru_cache(maxsize=8)
def _highest(shape: tuple[int, ...]) -> float:
    """What the peak of a picture with itself comes to: the bell's own."""
    import numpy as np  # noqa: PLC0415  see above

    down, across = (float(_bell_of(np.fft.fftfreq(side)).mean()) for side in shape)
    return down * across
