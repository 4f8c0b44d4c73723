"""One series judged by its pictures: everything that the rules find, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking import ends
from sorter.checking.align import Alignment, alignment
from sorter.checking.light import bright_steps, dark_frames, lights
from sorter.checking.movement import Movement, movement
from sorter.checking.ordering import order_by_focus
from sorter.checking.ranking import best_frames
from sorter.checking.tiles import tiles
from sorter.checking.wander import CHANGE, SHARE, Wander, wander
from sorter.model.finding import Check, Positions, Verdict
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.measurement import ALIKE, MeasuredSeries

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Flags = NDArray[np.bool_]

MOST_MOVED: Final = 0.2
"""Share of the steps over which something moved, or the frame jumped, that still makes one picture."""
LEAST_MOVED: Final = 3
LEAST_SLICES: Final = 3
"""With fewer there is no curve of sharpness over the slices."""
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
    place = alignment(measured)
    light = lights(measured)
    varied = kind in (Kind.EXPOSURE_BRACKET, Kind.INTERVAL)  # there light is meant to change
    dark = np.zeros(len(light), dtype=bool) if varied else dark_frames(light)
    seen = np.array([each is not None for each in measured.measurements])
    part = _parts(measured, dark, in_part=kind is Kind.BURST)
    lit = seen & ~dark
    use = lit & (part == _main(part, lit))
    indexes = np.flatnonzero(use)
    found = (
        wander(tiles(measured, place, indexes), any_order=kind in (Kind.BURST, Kind.SINGLE))
        if len(indexes)
        else Wander()
    )
    there = replace(place, known=place.known & use)
    looks = _looks_like(kind, found, len(indexes))
    steps = bright_steps(light, use) if kind in LOOKED_AT else {}
    base = Check(
        sequence=sequence,
        kind=kind,
        frames=len(seen),
        dark=_positions(np.flatnonzero(dark)),
        odd=_positions(np.flatnonzero(lit & ~use)),
        unseen=_positions(np.flatnonzero(~seen)),
        looks_like=looks,
        bright_steps=_positions(steps),
        bright_ev=tuple(round(each, 1) for each in steps.values()),
        drift_px=round(there.drift, 1) if seen.any() else None,
        growth=round(there.spread, 4) if seen.any() else None,
    )
    covered = 0
    if base.is_stack:
        base = replace(base, step_of_depth=step_of_depth)
        base = _as_stack(base, movement(measured, lit), found, np.flatnonzero(use))
        covered = len(ends.truly_sharp(found.focus)) if found.focus is not None else 0
    if kind is Kind.BURST and looks is None:
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
        alike = (
            displacement is not None
            and (displacement.partly if in_part else displacement.likeness) >= ALIKE
        )
        if displacement is not None and (alike or dark[index]):
            part[index] = part[displacement.of]
        else:
            part[index], scenes = scenes, scenes + 1
    return part


def _main(part: NDArray[np.int64], use: Flags) -> int:
    """The scene that most frames show."""
    return int(np.bincount(part[use]).argmax()) if use.any() else -1


def _looks_like(kind: Kind, found: Wander, frames: int) -> Kind | None:
    if kind not in LOOKED_AT or frames < LEAST_SLICES:
        return None
    if kind in (Kind.BURST, Kind.SINGLE) and found.wanders:
        by_motor = found.is_even and kind is Kind.BURST
        return Kind.FOCUS_BRACKET if by_motor else Kind.MANUAL_STACK
    little = found.share < SHARE or found.change < CHANGE
    stays = little and found.explained < UNEXPLAINED
    return Kind.BURST if kind in STACK_KINDS and stays and frames > LEAST_SLICES else None


# ---- a stack ---------------------------------------------------------------------------------


def _as_stack(
    base: Check, displacements: Movement, found: Wander, indexes: NDArray[np.int64]
) -> Check:
    """indexes: of the frames that are used."""
    base = replace(
        base, jumps=_positions(displacements.jumps), moved=_positions(displacements.moved)
    )
    if found.focus is None or len(indexes) < LEAST_SLICES:
        return base
    first, last = ends.beyond_ends(found.focus, found.sharp)
    spare = set(indexes[list(ends.surplus(found.focus))].tolist())
    kept = [index for index in indexes.tolist() if index not in spare]
    gaps = ends.gaps(found.focus, found.sharp, by_hand=base.kind is not Kind.FOCUS_BRACKET)
    gaps = tuple(gap for gap in gaps if not _hides(base.unseen, indexes, gap))
    unknown = np.flatnonzero(np.isin(indexes, list(spare)))  # no tile is sharpest there
    order = order_by_focus(found.focus, found.sharp, found.explained, unknown.tolist())
    base = replace(
        base,
        missing_end=ends.missing_end(first, last),
        first_sharp_share=round(first, 4),
        last_sharp_share=round(last, 4),
        gaps=_positions(indexes[list(gaps)]),
        surplus=_positions(sorted(spare)),
        keep_first=kept[0] + 1 if kept else None,
        keep_last=kept[-1] + 1 if kept else None,
        order=() if order is None else _positions(indexes[list(order)]),
    )
    return replace(base, verdict=_verdict(base, displacements, len(indexes)))


def _hides(unseen: Positions, indexes: NDArray[np.int64], gap: int) -> bool:
    """Whether a frame that cannot be looked at lies between this one of those that are used and the next."""
    return any(indexes[gap] < position - 1 < indexes[gap + 1] for position in unseen)


def _verdict(check: Check, displacements: Movement, frames: int) -> Verdict:
    bad = len(set(displacements.jumps) | set(displacements.moved))
    if bad >= LEAST_MOVED and bad > MOST_MOVED * (frames - 1):
        return Verdict.BROKEN
    if check.missing_end is not None or check.gaps:
        return Verdict.INCOMPLETE
    if check.dark or check.jumps or check.odd or check.unseen:
        return Verdict.USABLE
    return Verdict.COMPLETE
