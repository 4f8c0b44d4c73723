"""One series judged by its pictures: everything that the rules find, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking import ends
from sorter.checking.align import Alignment, alignment
from sorter.checking.gaps import gaps
from sorter.checking.light import bright_steps, dark_frames, lights, shows_nothing
from sorter.checking.movement import Movement, movement
from sorter.checking.ordering import order_by_focus
from sorter.checking.ranking import best_frames
from sorter.checking.sizes import smallest, telling, too_small
from sorter.checking.tiles import tiles
from sorter.checking.wander import CHANGE, SHARE, Wander, freely, wander
from sorter.model.finding import Check, Positions, Unjudged, Verdict
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.measurement import ALIKE, LEAST_FOR_FOCUS, MeasuredSeries

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import Measurement

    Flags = NDArray[np.bool_]

MOST_MOVED: Final = 0.2
"""Share of the steps over which something moved, or the frame jumped, that still makes one picture."""
LEAST_MOVED: Final = 3
LEAST_SLICES: Final = 3
"""With fewer there is no curve of sharpness over the slices."""
FITTING: Final = 0.55
"""Share of the tiles with texture that focus has to explain: with fewer, places of frames and tiles are
guesses. Of the sound stacks of scripts/score_checks about one in fourteen has fewer."""
UNEXPLAINED: Final = 0.3
"""Below that, focus has no part in what little changes: it stayed."""
LOOKED_AT: Final = frozenset({Kind.FOCUS_BRACKET, Kind.MANUAL_STACK, Kind.BURST, Kind.SINGLE})
"""Kinds of which the pictures may say that they are another one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A series with all that was found. use: the frames that show its subject in its light.

    part: of each frame, the number of the scene that it shows, from 0 (the first frame's); -1 where
    it cannot be seen. places: where the frames lie.
    """

    check: Check
    wander: Wander
    use: Flags
    part: NDArray[np.int64]
    covered: int
    places: Alignment


def judge(
    measured: MeasuredSeries,
    *,
    sequence: int,
    kind: Kind,
    nearward: bool | None = None,
    step_of_depth: float | None = None,
) -> Judged:
    """The findings on a sequence of this kind.

    nearward: whether focus went toward near. step_of_depth: how far it goes from slice to slice, in
    depths of field, an estimate. Both None where the camera did not tell.
    """
    small = too_small(measured)
    measured = telling(measured)
    place = alignment(measured)
    light = lights(measured)
    varied = kind in (Kind.EXPOSURE_BRACKET, Kind.INTERVAL)  # there light is meant to change
    dark = np.zeros(len(light), dtype=bool) if varied else dark_frames(light)
    seen = np.array([each is not None for each in measured.measurements])
    part = _parts(measured, dark, in_part=kind is Kind.BURST)
    lit = seen & ~dark
    use = lit & (part == _main(part, lit))
    indexes = np.flatnonzero(use)
    side = smallest(measured)
    tells_focus = side is not None and side >= LEAST_FOR_FOCUS
    found = (
        wander(
            tiles(measured, place, indexes),
            any_order=kind in (Kind.BURST, Kind.SINGLE),
            is_driven=kind is Kind.FOCUS_BRACKET,
        )
        if len(indexes) and tells_focus
        else Wander()
    )
    there = replace(place, known=place.known & use)
    looks = _looks_like(kind, found, len(indexes)) if tells_focus else None
    steps = bright_steps(light, use) if kind in LOOKED_AT else {}
    base = Check(
        sequence=sequence,
        kind=kind,
        frames=len(seen),
        dark=_positions(np.flatnonzero(dark)),
        odd=_positions(np.flatnonzero(lit & ~use)),
        unseen=_positions(np.flatnonzero(~seen)),
        too_small=_positions(small),
        judged_at=side,
        too_large=_positions(each.index for each in measured.too_large),
        megapixels=tuple(-(-each.pixels // 1_000_000) for each in measured.too_large),
        most_megapixels=next((each.most // 1_000_000 for each in measured.too_large), None),
        looks_like=looks,
        bright_steps=_positions(steps),
        bright_ev=tuple(round(each, 1) for each in steps.values()),
        drift_px=round(there.drift, 1) if tells_focus else None,
        growth=round(there.spread, 4) if tells_focus else None,
    )
    covered = 0
    if base.is_stack:
        fitting = round(found.fitting, 3) if tells_focus else None
        base = replace(base, step_of_depth=step_of_depth, fitting=fitting)
        why = _why_unjudged(found, len(indexes), side)
        base = _as_stack(base, movement(measured, place, lit), found, np.flatnonzero(use), why)
        covered = len(ends.truly_sharp(found.focus)) if found.focus is not None else 0
    if kind is Kind.BURST and looks is None and tells_focus:
        base = replace(base, best_frames=_positions(best_frames(measured, place, use)))
    base = replace(
        base, nearward=nearward, wander_share=float(found.share), explained=float(found.explained)
    )
    return Judged(check=base, wander=found, use=use, part=part, covered=covered, places=place)


def _positions(indexes: object) -> tuple[int, ...]:
    return tuple(int(index) + 1 for index in indexes)  # type: ignore[attr-defined]


def _parts(measured: MeasuredSeries, dark: Flags, *, in_part: bool) -> NDArray[np.int64]:
    """The number of the scene that each frame shows; a dark one shows that of the frame before it.

    in_part: the scene may be hidden in part, as spray does in a burst.
    """
    part = np.full(len(dark), -1)
    scenes = 0
    for index, (measurement, displacement) in enumerate(
        zip(measured.measurements, measured.displacements, strict=True)
    ):
        if measurement is None:
            continue
        alike = displacement is not None and (
            (displacement.partly if in_part else displacement.likeness) >= ALIKE
            or _show_nothing(measurement, measured.measurements[displacement.of])
        )
        if displacement is not None and (alike or dark[index]):
            part[index] = part[displacement.of]
        else:
            part[index], scenes = scenes, scenes + 1
    return part


def _show_nothing(*measurements: Measurement | None) -> bool:
    """Whether all of them do: then none is seen to show something else."""
    return all(each is None or shows_nothing(each) for each in measurements)


def _main(part: NDArray[np.int64], use: Flags) -> int:
    """The scene that most frames show."""
    return int(np.bincount(part[use]).argmax()) if use.any() else -1


def _looks_like(kind: Kind, found: Wander, frames: int) -> Kind | None:
    if kind not in LOOKED_AT or frames < LEAST_SLICES:
        return None
    if kind in (Kind.BURST, Kind.SINGLE) and found.wanders:
        by_motor = found.is_even and kind is Kind.BURST
        return Kind.FOCUS_BRACKET if by_motor else Kind.MANUAL_STACK
    if found.structured < SHARE:  # where nothing shows, nothing is seen to stay
        return None
    little = found.share < SHARE * found.structured or found.change < CHANGE
    stays = little and found.explained < UNEXPLAINED
    return Kind.BURST if kind in STACK_KINDS and stays and frames > LEAST_SLICES else None


# ---- a stack ---------------------------------------------------------------------------------


def _why_unjudged(found: Wander, frames: int, side: int | None) -> Unjudged | None:
    """Why nothing is said of a stack of so many frames that are used; None where it is.

    side: pixels of the longer side of their pictures; None where none can be seen.
    """
    if side is not None and side < LEAST_FOR_FOCUS:
        return Unjudged.SMALL
    if frames < LEAST_SLICES:
        return Unjudged.FEW
    if found.focus is None:
        return Unjudged.PLAIN
    return Unjudged.UNCLEAR if found.fitting < FITTING else None


def _as_stack(
    base: Check,
    displacements: Movement,
    found: Wander,
    indexes: NDArray[np.int64],
    why: Unjudged | None,
) -> Check:
    """indexes: of the frames that are used. why: the pictures do not tell."""
    if why is Unjudged.SMALL:
        return replace(base, verdict=Verdict.UNJUDGED, unjudged=why)
    if why is Unjudged.PLAIN:  # what shows nothing shows nothing else, nor moves
        return replace(base, verdict=Verdict.UNJUDGED, unjudged=why, odd=())
    base = replace(
        base,
        jumps=_positions(displacements.jumps),
        moved=_positions(each.before for each in displacements.moved),
        moved_boxes=tuple(side for each in displacements.moved for side in each.box),
    )
    if why is not None or found.focus is None:
        is_broken = _is_broken(displacements, len(indexes))
        return replace(
            base, verdict=Verdict.BROKEN if is_broken else Verdict.UNJUDGED, unjudged=why
        )
    first, last = ends.beyond_ends(found.focus, found.sharp)
    spare = set(indexes[list(ends.surplus(found.focus, found.sharp))].tolist())
    kept = [index for index in indexes.tolist() if index not in spare]
    by_hand = base.kind is not Kind.FOCUS_BRACKET
    missing = gaps(found.focus, found.sharp, found.fine, by_hand=by_hand)
    missing = tuple(gap for gap in missing if not _hides(base.unseen, indexes, gap))
    unknown = np.flatnonzero(np.isin(indexes, list(spare)))  # no tile is sharpest there
    free = freely(found.sharp, found.focus)
    order = (
        None
        if free is None
        else order_by_focus(free, found.sharp, found.explained, unknown.tolist())
    )
    base = replace(
        base,
        missing_end=ends.missing_end(first, last),
        first_sharp_share=round(first, 4),
        last_sharp_share=round(last, 4),
        gaps=_positions(indexes[list(missing)]),
        surplus=_positions(sorted(spare)),
        keep_first=kept[0] + 1 if kept else None,
        keep_last=kept[-1] + 1 if kept else None,
        order=() if order is None else _positions(indexes[list(order)]),
    )
    return replace(base, verdict=_verdict(base, displacements, len(indexes)))


def _hides(unseen: Positions, indexes: NDArray[np.int64], gap: int) -> bool:
    """Whether a frame that cannot be looked at lies between this one of those that are used and the next."""
    return any(indexes[gap] < position - 1 < indexes[gap + 1] for position in unseen)


def _is_broken(displacements: Movement, frames: int) -> bool:
    bad = displacements.breaks
    return bad >= LEAST_MOVED and bad > MOST_MOVED * (frames - 1)


def _verdict(check: Check, displacements: Movement, frames: int) -> Verdict:
    if _is_broken(displacements, frames):
        return Verdict.BROKEN
    if check.missing_end is not None or check.gaps:
        return Verdict.INCOMPLETE
    if check.dark or check.jumps or check.odd or check.unseen:
        return Verdict.USABLE
    return Verdict.COMPLETE
