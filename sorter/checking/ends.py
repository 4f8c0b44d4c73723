"""Whether a series covers its subject: its two ends, and what of it is to spare."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.focus import FALL
from sorter.model.finding import End

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.focus import FocusFit

    Values = NDArray[np.float64]

MISSING: Final = 0.021
"""Share of the textured tiles beyond an end from which on it is missing.

On the corpus's picture with known depth, cut at either end, up to 0.019 was seen where under 1 % of the
tiles lose their slice, and 0.037 and more where 4 % do; up to 0.015 on 340 stacks without such a fault.
"""
PAST: Final = 0.45
"""Steps beyond the end at which a tile's top is no longer in the last slice …"""
PAST_ERRORS: Final = 3.0
MOST_PAST: Final = 0.75
"""… and so many more for each nat² that the fit's tiles are off, up to that: places are less sure then."""
PAST_WIDTHS: Final = 0.25
"""The same in widths of the curve: where steps are fine, a place is known no better than that."""
RISES: Final = 0.1
"""Nats below its sharpest frame in which a tile is still as sharp as that."""
STILL_RISES: Final = 0.5
FAR_STEPS: Final = 8.0
GOES_ON: Final = 0.1
"""Of these, the share within NEAR_STEPS: with less there is nothing between, and what lies behind is a
background that was left soft."""
SEEN_LOSS: Final = 0.15
"""Nats that a tile beyond an end has lost in the last slice, from which on it counts up to FAR_STEPS
beyond it: where a subject goes on evenly, a tenth of it spans more than a few steps."""
NEAR_STEPS: Final = 2.5
"""A tile is truly sharp at an end where its top lies no farther beyond it than so many steps: what
lies farther was left soft."""
FINE: Final = 6.0
"""Steps in a width, above which steps are so fine that the width's half says what is sharp."""
OWN_SHARE: Final = 0.02
OWNS: Final = 0.002
CLOSE: Final = 0.8
"""Steps: the places of tiles are known to a fraction of one."""
WELL_APART: Final = 1.6


def beyond_ends(focus: FocusFit, sharp: Values) -> tuple[float, float]:
    """The share of tiles whose top lies beyond the first and the last frame, and not far.

    sharp: log sharpness, tiles by frames; it has to rise up to the very end. Ends are those of the
    order of capture: where focus wandered, of its nearer and farther reach.
    """
    reach = _reach(focus)
    low, high = int(focus.at.argmin()), int(focus.at.argmax())
    first, last = (low, high) if _goes_up(focus) else (high, low)
    before, after = (
        np.sign(focus.at[one] - focus.at[other]) * (focus.depth - focus.at[one])
        for one, other in ((first, last), (last, first))
    )
    counted = (before < reach) & (after < reach)
    doubt = PAST_ERRORS * float(np.median(focus.error))
    past = max(min(MOST_PAST, PAST + doubt), PAST_WIDTHS * focus.width)
    rises = sharp > sharp.max(1, keepdims=True) - RISES
    shares = []
    for beyond, end in ((before, first), (after, last)):
        near = (beyond > past) & counted & rises[:, end]
        seen = (beyond > max(past, _softer_by(focus, SEEN_LOSS))) & (beyond < FAR_STEPS)
        far = seen & rises[:, end]
        is_even = (far & (beyond < NEAR_STEPS)).sum() >= GOES_ON * far.sum()
        found = 0.0
        for own in (near, far) if is_even else (near,):
            if _still_rises(focus, sharp, own, end):
                found = max(found, float(own.sum() / max(1, int((counted | far).sum()))))
        shares.append(found)
    return shares[0], shares[1]


def _softer_by(focus: FocusFit, loss: float) -> float:
    """Steps from its place at which a tile has lost so many nats."""
    return focus.width * float(np.sqrt(np.expm1(loss / FALL)))


def _still_rises(focus: FocusFit, sharp: Values, own: NDArray[np.bool_], end: int) -> bool:
    """Whether these tiles are seen to rise up to that end, by a good part of what their places promise.

    Tiles of one plane right at an end all lie a little off where the curve does not quite fit; their
    sharpness has come to rest there.
    """
    if not own.any():
        return False
    apart = np.abs(focus.at - focus.at[end])
    apart[end] = np.inf
    before = int(apart.argmin())
    seen = float(np.median(sharp[own, end] - sharp[own, before]))
    depth = focus.depth[own]
    promised = focus.lowered(focus.at[end] - depth) - focus.lowered(focus.at[before] - depth)
    return seen > STILL_RISES * float(np.median(promised))


def _reach(focus: FocusFit) -> float:
    if focus.width > FINE:
        return focus.width / 2
    return NEAR_STEPS


def _goes_up(focus: FocusFit) -> bool:
    """Whether places grow over the series, on the whole."""
    return bool(np.arange(len(focus.at)) @ (focus.at - focus.at.mean()) >= 0)


def missing_end(first: float, last: float) -> End | None:
    """At which end sharp subject goes on beyond the series."""
    if first >= MISSING and last >= MISSING:
        return End.BOTH
    if first >= MISSING:
        return End.FIRST
    return End.LAST if last >= MISSING else None


def truly_sharp(focus: FocusFit) -> NDArray[np.float64]:
    """The places of the tiles that are sharp in one of the frames, or not far beyond the outermost."""
    reach = _reach(focus)
    low, high = float(focus.at.min()), float(focus.at.max())
    return focus.depth[(focus.depth > low - reach) & (focus.depth < high + reach)]


def surplus(focus: FocusFit, sharp: Values) -> tuple[int, ...]:
    """Indexes of the frames that are sharpest nowhere: no tile has its top close to them.

    sharp: log sharpness, tiles by frames. A frame that shows a share of the tiles sharper than any other
    (OWN_SHARE) is none of them, wherever the fit has it.
    Before the first and behind the last frame that counts, one step off is off; between these the
    doubt is a slice's, for a slice too few costs more than one too many.
    """
    truly = truly_sharp(focus)
    # A tile beyond an end is sharpest in the last slice before it, however far it lies.
    within = np.clip(truly, focus.at.min(), focus.at.max())
    apart = np.abs(within[:, None] - focus.at[None, :])
    least = max(1, OWNS * len(truly))
    counts = np.flatnonzero((apart < CLOSE).sum(0) >= least)
    if not len(counts):
        return ()
    first, last = focus.at[counts].min(), focus.at[counts].max()
    outside = (focus.at < first) | (focus.at > last)
    spare = outside | ((apart < WELL_APART).sum(0) < least)
    owned = np.bincount(sharp.argmax(1), minlength=len(spare)) / max(1, len(sharp))
    return tuple(int(index) for index in np.flatnonzero(spare & (owned <= OWN_SHARE)))
