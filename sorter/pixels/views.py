"""Whether two pictures of different exposure show one view: what is left of them without their exposure.

A factor of light is a step of the logarithm, and what is even over a part of a picture goes with it: fine
structure stays, where neither picture is clipped. It is held against the other's at each of some shifts, by
correlation under masks (D. Padfield, "Masked object registration in the Fourier domain", 2012).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sorter.model.measurement import Grey

    Values = NDArray[np.float32]
    Fine = tuple[Values, Values]

DARKEST: Final = 10
BRIGHTEST: Final = 240
"""Grey levels between which a pixel is told from noise, and from what is clipped."""
NOISE: Final = 16
"""Grey levels that are added before the logarithm is taken: in the dark noise would be most of it."""
SMOOTHED: Final = 1.0
FINE: Final = 8.0
"""Standard deviations, in pixels of small pictures (162 of them along the longer side): of the noise's blur, and
of that which tells what is even around."""
REACH: Final = 8
"""Pixels that one may be shifted against the other: a twentieth of the longer side, as a hand drifts."""
LEAST_SHARE: Final = 0.2
"""Of the picture that both have between dark and bright, below which nothing is said.

Real pictures rendered at other exposures, with noise and drift, 140 pairs of each: two stops apart and less they
had 0.7 and more; three stops under 0.75, three stops over 0.5, and three in four of these 0.7. Other views had
up to 0.23, those of panoramas that overlap by half and more up to 0.64."""
LEAST_CONTRAST: Final = 0.03
"""Standard deviation of what is fine, in the logarithm of light: below that it is noise that is seen."""
BEYOND_DOUBT: Final = 0.9
SAME: Final = 0.7
"""From here on two show one view; as checking/exposures.py has it."""


def likeness_over(before: Sequence[Grey | None], after: Sequence[Grey | None]) -> float:
    """How like the nearest of these small pictures and of those are (-1 to 1); NaN where that is not known.

    Of either the nearest first. Where two further apart are as like as one view is, they have the say: all
    between them is one view then. That they are unlike tells nothing of the nearest. None: cannot be seen.
    """
    nearest = likeness(before[0], after[0])
    if nearest >= SAME:
        return nearest
    others = [(before[1], after[0])] if len(before) > 1 else []
    others += [(before[0], after[1])] if len(after) > 1 else []
    return next((like for pair in others if (like := likeness(*pair)) >= SAME), nearest)


def likeness(one: Grey | None, two: Grey | None) -> float:
    """The correlation (-1 to 1) of the two at the shift where it is best; NaN where too little is known.

    Where it is high without any shift, that one is taken: no other would say anything else.
    """
    import numpy as np  # noqa: PLC0415  slow to load, and few commands look at pictures

    if one is None or two is None or one.shape != two.shape:
        return math.nan
    first, second = _fine(one), _fine(two)
    sums = [np.asarray([[each.sum(dtype=np.float64)]]) for each in _products(first, second)]
    at_rest = _correlations(sums, one.size)
    if at_rest >= BEYOND_DOUBT:
        return at_rest
    return _correlations(_shifted(first, second), one.size)


def _products(first: Fine, second: Fine) -> list[Values]:
    """What is summed over the part that both have: how many, each one's values and their squares, both's."""
    (figures, known), (others, seen) = first, second
    return [
        known * seen,
        figures * seen,
        known * others,
        figures**2 * seen,
        known * others**2,
        figures * others,
    ]


def _shifted(first: Fine, second: Fine) -> list[NDArray[np.float64]]:
    """The same sums at each of the shifts."""
    import numpy as np  # noqa: PLC0415  see above

    (figures, known), (others, seen) = first, second
    shape = tuple(_even(side + REACH + 1) for side in known.shape)
    own = [np.conj(np.fft.rfft2(each, shape)) for each in (known, figures, figures**2)]
    theirs = [np.fft.rfft2(each, shape) for each in (seen, others, others**2)]
    near = np.ix_(*(np.r_[0 : REACH + 1, -REACH:0],) * 2)
    pairs = ((0, 0), (1, 0), (0, 1), (2, 0), (0, 2), (1, 1))
    return [np.fft.irfft2(own[a] * theirs[b], shape)[near] for a, b in pairs]


def _correlations(sums: Sequence[NDArray[np.float64]], size: int) -> float:
    """The highest of the correlations that these sums give; NaN where it is of too little. size: in pixels."""
    import numpy as np  # noqa: PLC0415  see above

    count, own, theirs, squares, other_squares, both = sums
    count = np.maximum(count, 1)
    spread, other_spread = squares - own**2 / count, other_squares - theirs**2 / count
    sizes = np.sqrt(np.maximum(spread, _LEAST) * np.maximum(other_spread, _LEAST))
    known = count >= LEAST_SHARE * size
    correlated = np.where(known, (both - own * theirs / count) / sizes, -np.inf)
    best = np.unravel_index(correlated.argmax(), correlated.shape)
    shown = min(spread[best], other_spread[best]) >= LEAST_CONTRAST**2 * count[best]
    return float(correlated[best]) if shown and known[best] else math.nan


_LEAST: Final = 1e-3


def _fine(small: Grey) -> Fine:
    """The logarithm of the picture without what is even around, and where it is known; 0 elsewhere."""
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    known = ((small > DARKEST) & (small < BRIGHTEST)).astype(np.float32)
    smooth = cv2.GaussianBlur(small.astype(np.float32), (0, 0), SMOOTHED)
    figures = np.log(smooth + NOISE) * known
    around, weight = (cv2.GaussianBlur(each, (0, 0), FINE) for each in (figures, known))
    fine = (figures - around / np.maximum(weight, 1e-3)) * known
    return fine.astype(np.float32), known


def _even(side: int) -> int:
    """The next length of small prime factors, which transforms are fast with."""
    import cv2  # noqa: PLC0415  see above

    return int(cv2.getOptimalDFTSize(side))
