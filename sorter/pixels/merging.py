"""A trial merge: the slices of a stack brought into line and made one picture, to judge the stack by.

Pictures are taken apart into bands (a Laplacian pyramid: P. J. Burt, E. H. Adelson, "The Laplacian
Pyramid as a Compact Image Code", 1983), and of every band each place is taken from the slice in which
most happens there. Slices are brought into line by the correlation of one with the next (G. D.
Evangelidis, E. Z. Psarakis, "Parametric Image Alignment Using Enhanced Correlation Coefficient
Maximization", 2008), at a quarter of their size: there neighbours in focus look alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from sorter.model.boxes import Box, joined
from sorter.pixels.shifts import alike_in_shape

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sorter.model.measurement import Grey, Grid
    from sorter.pixels.reduced import Samples

    Matrix = NDArray[np.float64]

BANDS: Final = 5
AROUND: Final = 1.0
"""Standard deviation, in pixels of its band, of what counts as one place: with less of it noise
chooses the slice, with more the halo around an edge in depth grows. At blur 0.6 of the tests' scene
0 gives a PSNR of 30.0 dB, 1 gives 32.0, 2 gives 30.9."""
AROUND_DEPTH: Final = 2.0
"""The same for the depth map, which is to be read and not to be sharp."""
QUARTER: Final = 0.25
SOFT: Final = 3
"""Side of the filter before slices are correlated, in pixels of their small pictures."""
MOST_ROUNDS: Final = 30
ENOUGH: Final = 1e-5
LIKE: Final = 0.6
"""Correlation of a slice with the next below which its own place is not believed."""
FARTHEST: Final = 0.05
"""Of the side, that a place may lie from where the check of the pictures had it, to be believed."""
STILL: Final = 0.6
CLEARLY_OFF: Final = 1.5
"""Pixels in the corners: up to the first nothing is moved, from the second on all of it. Added up
from slice to slice a camera on a tripod was seen to move by up to 0.4 pixels in a picture of 740."""
TEXTURE: Final = 2.0
"""Times its mean over all slices that the sharpest one has to show, for the depth to be told there …"""
LEAST_TEXTURE: Final = 0.6
"""… and squares of grey levels in its band."""

SPECKS: Final = 7
BLENDED: Final = 3
"""Bands, the finest first, in which a place that no slice shows better than the others is their mean: the
most of many noises is more than noise."""
LEAST_BLENDED: Final = 5
"""Slices, below which the most is little more than their mean anyhow."""
NO_BETTER, BETTER = 1.7, 3.0
"""Times the mean energy of all slices, up to which a place is their mean, and from which on the best one's."""
NOISE: Final = 0.1
"""Where, in the order of all places by their mean energy, there is but noise …"""
OF_NOISE: Final = 6.0
"""… above which, times so many, a place is the best slice's by half, and twice that altogether."""
OF_ALL: Final = 0.3
"""Of the mean weight, that every slice has in what no band shows; else its weight is what it shows there."""


FINE_BANDS: Final = 3
"""By which it is told which slice shows most of a box."""


@dataclass(slots=True, kw_only=True)
class _OneSlice:
    """A box, and what the slice that shows most of it shows there, band by band and then what is left."""

    box: Box
    most: float = -1.0
    seen: float = 0.0
    bands: list[Grid] = field(default_factory=list)

    def see(self, band: int, energy: Grid) -> None:
        """The energy of a band of the slice at hand; the finest one first."""
        if band == 0:
            self.seen = 0.0
        if band < FINE_BANDS:
            self.seen += float(energy[self._rows(energy), self._columns(energy)].sum())

    def take(self, bands: Sequence[Grid], rest: Grid) -> None:
        """What the slice at hand shows of it, if that is more than others do."""
        if self.seen > self.most:
            self.most = self.seen
            self.bands = [
                each[self._rows(each), self._columns(each)].copy() for each in (*bands, rest)
            ]

    def put(self, band: int, out: Grid) -> None:
        """What was taken of this band is there."""
        if self.bands:
            out[self._rows(out), self._columns(out)] = self.bands[band]

    def _rows(self, of: Grid) -> slice:
        return slice(
            round(self.box[1] * of.shape[0]), round((self.box[1] + self.box[3]) * of.shape[0])
        )

    def _columns(self, of: Grid) -> slice:
        return slice(
            round(self.box[0] * of.shape[1]), round((self.box[0] + self.box[2]) * of.shape[1])
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SlicePosition:
    """Where a slice lies to the first one, as a check had it: shift in shares of the longer side."""

    x: float
    y: float
    growth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialResult:
    """A trial merge. picture: rows by columns by red, green, blue. slices: how many it is made of.

    depth: which of the slices, in the order in which they came and from 0, is sharpest at each place;
    half as large as the picture. told: where it has texture that tells.
    """

    picture: Samples
    depth: NDArray[np.uint16]
    textured: NDArray[np.bool_]
    slices: int


class TrialMerge:
    """Takes slices as they come, and keeps no more of them than one picture's worth."""

    def __init__(self, boxes: Sequence[Box] = ()) -> None:
        """boxes: places in which something moved: each is taken from one slice alone."""
        self._room: _Bands | None = None
        self._line = _Line()
        self._boxes = joined(boxes)

    def add(self, samples: Samples, place: SlicePosition | None) -> bool:
        """The next slice, in colour; whether it was taken: one of another shape cannot be.

        place: where the check of the pictures had it; None where that is not known.
        """
        import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

        if self._room is None:
            self._room = _Bands(samples.shape[:2], self._boxes)
        tall, wide = self._room.shape
        if samples.shape[:2] != (tall, wide):
            if not alike_in_shape(samples.shape, (tall, wide)):
                return False
            scaled = cv2.resize(samples, (wide, tall), interpolation=cv2.INTER_AREA)
            samples = scaled.astype(samples.dtype, copy=False)
        grey = cv2.cvtColor(samples, cv2.COLOR_RGB2GRAY).astype("uint8")
        self._room.take(samples, self._line.found(grey, place))
        return True

    def merged(self) -> TrialResult | None:
        """The picture of all slices so far; None where there was none."""
        if self._room is None:
            return None
        depth, known = self._room.depth()
        return TrialResult(
            picture=self._room.picture(), depth=depth, textured=known, slices=self._room.taken
        )


# ---- into line -------------------------------------------------------------------------------


class _Line:
    """Finds how each slice lies to the first, from slice to slice."""

    def __init__(self) -> None:
        self._last: Grey | None = None
        self._place: SlicePosition | None = None
        self._matrix: Matrix | None = None

    def found(self, grey: Grey, place: SlicePosition | None) -> Matrix | None:
        """The place of the first slice's pixels in this one, from the middle; None: where they were."""
        import cv2  # noqa: PLC0415  see above
        import numpy as np  # noqa: PLC0415

        small: Grey = cv2.resize(
            grey, None, fx=QUARTER, fy=QUARTER, interpolation=cv2.INTER_AREA
        ).astype(np.uint8)
        if self._last is None or self._matrix is None:
            matrix = np.eye(3)
        else:
            start = _between(self._place, place, max(grey.shape))
            matrix = _step(self._last, small, start) @ self._matrix
        self._last, self._place, self._matrix = small, place, matrix
        return _but_for_errors(matrix, grey.shape)


def _between(first: SlicePosition | None, second: SlicePosition | None, side: int) -> Matrix:
    """From one slice to the next as the check had them, in pixels."""
    import numpy as np  # noqa: PLC0415  see above

    if first is None or second is None:
        return np.eye(3)
    growth = second.growth / first.growth
    x, y = (second.x - growth * first.x) * side, (second.y - growth * first.y) * side
    return np.array([[growth, 0, x], [0, growth, y], [0, 0, 1]])


def _step(one: Grey, two: Grey, start: Matrix) -> Matrix:
    """From one small picture to the next, in pixels of the large ones: shift, scale and turn."""
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    middle = (np.array(one.shape[::-1]) - 1) / 2
    linear = start[:2, :2]
    shift = start[:2, 2] * QUARTER + middle - linear @ middle
    warp = np.column_stack([linear, shift]).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, MOST_ROUNDS, ENOUGH)
    empty: Grey = np.empty(0, np.uint8)
    try:
        like, found = cv2.findTransformECC(one, two, warp, cv2.MOTION_AFFINE, criteria, empty, SOFT)
    except cv2.error:  # it came to no end, or the pictures show nothing
        return start
    # An affine change of the frame is more than a camera can do: the nearest shift, scale and turn.
    scale, turn = (found[0, 0] + found[1, 1]) / 2, (found[1, 0] - found[0, 1]) / 2
    x, y = (found[:, :2] @ middle + found[:, 2] - middle) / QUARTER
    step = np.array([[scale, -turn, x], [turn, scale, y], [0, 0, 1]])
    side = max(one.shape) / QUARTER
    is_near = _corner_shift(step @ np.linalg.inv(start), one.shape) / QUARTER < FARTHEST * side
    return step if like >= LIKE and is_near else start


def _corner_shift(matrix: Matrix, shape: tuple[int, ...]) -> float:
    """How far the corner that moves farthest does, in pixels of a picture of this shape."""
    import numpy as np  # noqa: PLC0415  see above

    down, across = shape[0] / 2, shape[1] / 2
    corners = np.array([[x, y, 1] for x in (-across, across) for y in (-down, down)]).T
    return float(np.hypot(*((matrix @ corners)[:2] - corners[:2])).max())


def _but_for_errors(matrix: Matrix, shape: tuple[int, ...]) -> Matrix | None:
    """The matrix, or less of it where it may be an error: a step between two slices would show."""
    import numpy as np  # noqa: PLC0415  see above

    share = (_corner_shift(matrix, shape) - STILL) / (CLEARLY_OFF - STILL)
    if share <= 0:
        return None
    less: Matrix = np.eye(3) + (matrix - np.eye(3)) * min(1.0, share)
    return less


def _displacement(samples: Grid, matrix: Matrix, out: Grid) -> None:
    """The slice where the first one has what it shows; beyond its border it is mirrored.

    In floating point, where this takes half as long as in bytes.
    """
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    rows, columns = samples.shape[:2]
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2])
    linear = matrix[:2, :2]
    warp = np.column_stack([linear, middle - linear @ middle + matrix[:2, 2]])
    cv2.warpAffine(
        samples,
        warp,
        (columns, rows),
        out,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REFLECT_101,
    )


def _inside(matrix: Matrix | None, shape: tuple[int, int]) -> tuple[float, float, float, float]:
    """The part of the picture that a slice shows, in shares: top, bottom, left, right."""
    import numpy as np  # noqa: PLC0415  see above

    if matrix is None:
        return 0.0, 1.0, 0.0, 1.0
    down, across = shape[0] / 2, shape[1] / 2
    corners = np.array([[x, y, 1] for y in (-down, down) for x in (-across, across)]).T
    x, y = (np.linalg.inv(matrix) @ corners)[:2]
    top, bottom = max(y[0], y[1], -down), min(y[2], y[3], down)
    left, right = max(x[0], x[2], -across), min(x[1], x[3], across)
    return (
        (top + down) / shape[0],
        (bottom + down) / shape[0],
        (left + across) / shape[1],
        (right + across) / shape[1],
    )


# ---- bands -----------------------------------------------------------------------------------


class _Bands:
    """The bands of the merge, and of the slice at hand.

    Made once: asking for memory takes as long as all that is done with it.
    """

    def __init__(self, shape: tuple[int, int], boxes: Sequence[Box]) -> None:
        import numpy as np  # noqa: PLC0415  see above

        self.shape = shape
        self._boxes = [_OneSlice(box=box) for box in boxes]
        sizes = [shape]
        bands = max(1, min(BANDS, min(shape).bit_length() - 4))
        for _ in range(bands):
            sizes.append(((sizes[-1][0] + 1) // 2, (sizes[-1][1] + 1) // 2))
        self._plain = np.empty((*shape, 3), np.float32)
        self._colours = [np.empty((*size, 3), np.float32) for size in sizes]
        self._bands = [np.empty((*size, 3), np.float32) for size in sizes[:-1]]
        self._greys = [np.empty(size, np.float32) for size in sizes]
        self._energies = [np.empty(size, np.float32) for size in sizes[:-1]]
        self._masks = [np.empty(size, np.uint8) for size in sizes[:-1]]
        self._best = [np.zeros((*size, 3), np.float32) for size in sizes[:-1]]
        self._most = [np.full(size, -1, np.float32) for size in sizes[:-1]]
        self._rest = np.zeros((*sizes[-1], 3), np.float32)
        self._weights = np.zeros(sizes[-1], np.float32)
        self._sums = [np.zeros((*size, 3), np.float32) for size in sizes[:-1][:BLENDED]]
        self._energy_sums = [np.zeros(size, np.float32) for size in sizes[:-1][:BLENDED]]
        self.taken = 0
        self._sharpest = np.full(sizes[1], -1, np.float32)
        self._sharpness = np.zeros(sizes[1], np.float32)
        self._which = np.zeros(sizes[1], np.uint16)

    def take(self, samples: Samples, matrix: Matrix | None) -> None:
        """Of every band of a slice what it shows better than those before it.

        matrix: where it lies; None where nothing is to be moved.
        """
        import cv2  # noqa: PLC0415  see above

        inside = _inside(matrix, self.shape)
        if matrix is None:
            self._colours[0][...] = samples
        else:
            self._plain[...] = samples
            _displacement(self._plain, matrix, self._colours[0])
        cv2.cvtColor(self._colours[0], cv2.COLOR_RGB2GRAY, self._greys[0])
        for band, most in enumerate(self._most):
            cv2.pyrDown(self._colours[band], self._colours[band + 1])
            cv2.pyrDown(self._greys[band], self._greys[band + 1])
            _less_rough(self._colours, band, self._bands[band])
            energy = self._energies[band]
            _less_rough(self._greys, band, energy)
            cv2.multiply(energy, energy, energy)
            cv2.GaussianBlur(energy, (0, 0), AROUND, energy)
            _outside_zero(energy, inside)
            for each in self._boxes:
                each.see(band, energy)
            cv2.compare(energy, most, cv2.CMP_GT, self._masks[band])
            cv2.copyTo(energy, self._masks[band], most)
            cv2.copyTo(self._bands[band], self._masks[band], self._best[band])
            if band < BLENDED:
                cv2.accumulate(self._bands[band], self._sums[band])
                cv2.accumulate(energy, self._energy_sums[band])
        self._take_rest()
        for each in self._boxes:
            each.take(self._bands, self._colours[-1])
        self._note_depth()
        self.taken += 1

    def _take_rest(self) -> None:
        """What is coarser than all bands, more of it where the slice shows more.

        Else what was blurred widely leaves a fringe about its edges.
        """
        import cv2  # noqa: PLC0415  see above
        import numpy as np  # noqa: PLC0415

        rows, columns = self._rest.shape[:2]
        weight = cv2.resize(self._energies[-1], (columns, rows), interpolation=cv2.INTER_AREA)
        weight = cv2.GaussianBlur(weight, (0, 0), AROUND)
        weight = weight + np.float32(OF_ALL * float(weight.mean()) + 1e-3)
        self._weights += weight
        self._rest += self._colours[-1] * weight[..., None]

    def _note_depth(self) -> None:
        import cv2  # noqa: PLC0415  see above

        band = min(1, len(self._energies) - 1)
        rows, columns = self._which.shape
        energy = cv2.resize(self._energies[band], (columns, rows))
        energy = cv2.GaussianBlur(energy, (0, 0), AROUND_DEPTH)
        better = energy > self._sharpest
        self._sharpest[better] = energy[better]
        self._which[better] = self.taken
        self._sharpness += energy

    def depth(self) -> tuple[NDArray[np.uint16], NDArray[np.bool_]]:
        """Which slice is sharpest, and where that can be told."""
        import cv2  # noqa: PLC0415  see above

        mean = self._sharpness / max(1, self.taken)
        known = (self._sharpest > LEAST_TEXTURE) & (
            self._sharpest > min(TEXTURE, 0.5 * self.taken) * mean
        )
        # A lone place that tells among many that do not is noise, and the other way round.
        known = cv2.blur(known.astype("float32"), (SPECKS, SPECKS)) > 0.5  # noqa: PLR2004  most of them
        return cv2.medianBlur(self._which, 5).astype("uint16"), known

    def picture(self) -> Samples:
        """The bands put together again."""
        import cv2  # noqa: PLC0415  see above
        import numpy as np  # noqa: PLC0415

        whole: Any = self._rest / np.maximum(self._weights, 1e-6)[..., None]
        for each in self._boxes:
            each.put(len(self._best), whole)
        for band in reversed(range(len(self._best))):
            best = self._blended(band)
            for each in self._boxes:
                each.put(band, best)
            rows, columns = best.shape[:2]
            whole = cv2.pyrUp(whole, dstsize=(columns, rows)).astype(np.float32) + best
        picture: Samples = np.clip(np.rint(whole), 0, 255).astype(np.uint8)
        return picture

    def _blended(self, band: int) -> Grid:
        """The band's best, or the mean of all slices where none is better than the others."""
        import numpy as np  # noqa: PLC0415  see above

        best = self._best[band]
        if band >= BLENDED or self.taken < LEAST_BLENDED:
            return best
        usual = np.maximum(self._energy_sums[band] / self.taken, 1e-6)
        most = self._most[band]
        noise = float(np.quantile(usual[::2, ::2], NOISE))
        sure = np.clip((most / usual - NO_BETTER) / (BETTER - NO_BETTER), 0, 1)
        sure = np.maximum(sure, np.clip(most / (noise * OF_NOISE) - 1, 0, 1))
        mean = self._sums[band] / self.taken
        blended: Grid = mean + sure[..., None] * (best - mean)
        return blended


def _less_rough(levels: list[Grid], band: int, out: Grid) -> None:
    """A level less what is left of it on the next one."""
    import cv2  # noqa: PLC0415  see above

    rows, columns = levels[band].shape[:2]
    cv2.pyrUp(levels[band + 1], out, dstsize=(columns, rows))
    cv2.subtract(levels[band], out, out)


def _outside_zero(energy: Grid, inside: tuple[float, float, float, float]) -> None:
    """What a slice does not show is not taken from it."""
    rows, columns = energy.shape
    top, bottom, left, right = inside
    down, up = round(top * rows + 0.49), rows - round((1 - bottom) * rows + 0.49)
    energy[:down] = 0
    energy[max(0, up) :] = 0
    energy[:, : round(left * columns + 0.49)] = 0
    energy[:, max(0, columns - round((1 - right) * columns + 0.49)) :] = 0
