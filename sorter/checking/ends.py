"""Whether a series covers its subject: its two ends, its gaps, and what of it is to spare."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.model.finding import End

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.focus import FocusFit

    Values = NDArray[np.float64]

MISSING: Final = 0.027
"""Share of the textured tiles beyond an end from which on it is missing.

On the corpus's picture with known depth, cut at either end, up to 0.022 was seen where under 1 % of the
tiles lose their slice, and 0.032 and more where over 5 % do; up to 0.022 on 100 stacks without a fault.
"""
PAST: Final = 0.5
"""Steps beyond the end at which a tile's top is no longer in the last slice."""
PAST_WIDTHS: Final = 0.25
"""The same in widths of the curve: where steps are fine, a place is known no better than that."""
RISES: Final = 0.1
"""Nats below its sharpest frame in which a tile is still as sharp as that."""
NEAR_STEPS: Final = 2.5
"""A tile is truly sharp at an end where its top lies no farther beyond it than so many steps: what
lies farther was left soft."""
FINE: Final = 6.0
"""Steps in a width, above which steps are so fine that the width's half says what is sharp."""
GAP: Final = 1.6
"""Times the usual step around it from which on slices are missing between two …"""
GAP_OF_ALL: Final = 1.2
"""… and times the usual step of the series: where a place is not well known, steps look small."""
GAP_LOSS: Final = 0.08
"""Nats of energy that a tile in the middle between two slices has lost: below, nobody sees it."""
TURNED_LOSS: Final = 0.6
"""The same for focus turned by hand, whose steps are never even."""
WIDE_LOSS: Final = 2.2
"""The same where all steps are as wide: a ninth of the energy, a third of the contrast, is left."""
CHANGES: Final = 1.4
"""Times what tiles change over the other steps, that they change over a gap."""
CLOSE_BY: Final = 2.0
AROUND: Final = 5
LEAST_TILES: Final = 0.03
"""Share of the tiles that lie around a gap, at the least …"""
BOTH_SIDES: Final = 0.04
"""… and on either side of it: beside an end where next to nothing is sharp, places are guesses."""
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
    total = max(1, int(counted.sum()))
    past = max(PAST, PAST_WIDTHS * focus.width)
    rises = sharp > sharp.max(1, keepdims=True) - RISES
    at_first = (before > past) & counted & rises[:, first]
    at_last = (after > past) & counted & rises[:, last]
    return float(at_first.sum() / total), float(at_last.sum() / total)


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


def gaps(focus: FocusFit, sharp: Values, *, by_hand: bool) -> tuple[int, ...]:
    """Indexes of the frames behind which slices are missing, in order of focus.

    sharp: log sharpness, tiles by frames. Both have to say it: the frames' places, and how much the
    tiles that are sharp there change from one to the other.
    """
    order = np.argsort(focus.at, kind="stable")
    steps = np.diff(focus.at[order])
    changes = _changes(sharp[:, order])
    found = []
    for index, step in enumerate(steps):
        if changes[index] < CHANGES * float(np.median(np.delete(changes, index))):
            continue
        loss = -float(focus.lowered(step / 2))
        middle = (focus.at[order[index]] + focus.at[order[index + 1]]) / 2
        held = np.abs(focus.depth - middle) < step / 2 + NEAR_STEPS
        nearer = float((focus.depth < middle).mean())
        if held.mean() < LEAST_TILES or min(nearer, 1 - nearer) < BOTH_SIDES:
            continue
        around = np.delete(steps, index)[max(0, index - AROUND) : index + AROUND]
        usual = float(np.median(around)) if len(around) else step
        least = TURNED_LOSS if by_hand else GAP_LOSS
        if loss > WIDE_LOSS or (step > max(GAP * usual, GAP_OF_ALL) and loss > least):
            found.append(int(min(order[index], order[index + 1])))
    return tuple(sorted(found))


def _changes(sharp: Values) -> NDArray[np.float64]:
    """How much the tiles that are sharp around there change from each frame to the next, in nats."""
    best = sharp.argmax(1)
    found = np.zeros(sharp.shape[1] - 1)
    for index, change in enumerate(np.diff(sharp, axis=1).T):
        close = change[np.abs(best - index - 0.5) < CLOSE_BY]
        if len(close):
            found[index] = float(np.median(np.abs(close - np.median(change))))
    return found


def truly_sharp(focus: FocusFit) -> NDArray[np.float64]:
    """The places of the tiles that are sharp in one of the frames, or not far beyond the outermost."""
    reach = _reach(focus)
    low, high = float(focus.at.min()), float(focus.at.max())
    return focus.depth[(focus.depth > low - reach) & (focus.depth < high + reach)]


def surplus(focus: FocusFit) -> tuple[int, ...]:
    """Indexes of the frames that are sharpest nowhere: no tile has its top close to them.

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
    return tuple(int(index) for index in np.flatnonzero(spare))
