"""Findings as sentences: what was seen, with figures, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from sorter.model.finding import Check, End, Verdict, listed
from sorter.model.kinds import STACK_KINDS, Kind

if TYPE_CHECKING:
    from sorter.checking.wander import Wander


def sentences(check: Check, found: Wander, nearward: bool | None) -> Iterator[str]:
    """What deserves to be said of the sequence, the verdict first."""
    if check.looks_like is not None:
        yield _other_kind(check, found)
    if check.is_stack:
        yield from _stack(check, nearward)
    if check.best_frames:
        yield f"Best frames: {listed(check.best_frames, sort=False)}."
    yield from _frames(check)


def _other_kind(check: Check, found: Wander) -> str:
    if check.looks_like in STACK_KINDS:
        return (
            f"Looks like a {check.looks_like}: what is sharp wanders over {found.share:.0%} of the "
            f"frame, and focus explains {found.explained:.0%} of what changes; ingest it with --look, "
            "or correct the kind."
        )
    return (
        f"Looks like a {check.looks_like}: what is sharp stays the same in all frames, so there is "
        "nothing to stack; correct the kind, or look whether focus moved at all."
    )


def _stack(check: Check, nearward: bool | None) -> Iterator[str]:
    if check.verdict is None:
        yield "Cannot be judged: too few frames that can be seen, or too little texture in them."
        return
    if check.verdict is Verdict.COMPLETE:
        yield "Complete: sharp from the first slice that counts to the last."
    if check.verdict is Verdict.USABLE:
        yield "Usable without the frames that are named."
    if check.verdict is Verdict.BROKEN:
        yield "Broken by movement: too much moved between the slices to make one picture of them."
    yield from _ends(check, nearward)
    for gap in check.gaps:
        yield (
            f"A gap between slices {gap} and {gap + 1}: what lies between is sharp in neither; take "
            "more slices there."
        )
    yield from _steps(check)
    if check.surplus:
        kept = f": slices {check.keep_first} to {check.keep_last} are worth merging"
        yield (
            f"Surplus: {listed(check.surplus)}, sharpest nowhere"
            f"{kept if check.keep_first is not None else ''}."
        )
    if check.order:
        yield f"By focus the order is {listed(check.order, sort=False)}."


def _steps(check: Check) -> Iterator[str]:
    """How wide the steps are, where slices are missing. Alone an estimate is too rough to be said."""
    wide = check.step_of_depth
    if wide is None or not check.gaps:
        return
    yield (
        f"From slice to slice focus went about {wide:.1f} of the depth of field (an estimate by focal "
        f"length and distance{'; more than 1 leaves soft bands' if wide > 1 else ''})."
    )


def _ends(check: Check, nearward: bool | None) -> Iterator[str]:
    both = check.missing_end is End.BOTH
    if check.missing_end is End.FIRST or both:
        yield (
            f"Starts late{_side(nearward)}: {_share(check.first_sharp_share)} of what has "
            "texture is sharpest in the first slice and still rises there; begin farther out, or leave "
            "it soft on purpose."
        )
    if check.missing_end is End.LAST or both:
        yield (
            f"Stops short{_side(None if nearward is None else not nearward)}: {_share(check.last_sharp_share)} of what has "
            "texture is sharpest in the last slice and still rises there; take more slices, or leave "
            "it soft on purpose."
        )


def _side(nearward: bool | None) -> str:
    """Which end the first slice is at. nearward: whether focus went on from there toward near."""
    if nearward is None:
        return ""
    return " at the far end" if nearward else " at the near end"


def _share(share: float | None) -> str:
    return "some" if share is None else f"{share:.1%}"


def _frames(check: Check) -> Iterator[str]:
    if check.dark:
        yield f"Dark, a misfired flash or something before the lens: {listed(check.dark)}."
    if check.odd:
        yield f"Shows something else: {listed(check.odd)}."
    if check.unseen:
        yield f"Cannot be looked at: {listed(check.unseen)}."
    if check.jumps:
        yield f"The frame jumped behind {listed(check.jumps)}; hold the camera still, or use a support."
    if check.moved:
        yield f"Something moved in the frame behind {listed(check.moved)}: wind, or the subject."
    if check.bright_steps and check.kind is not Kind.EXPOSURE_BRACKET:
        steps = zip(check.bright_steps, check.bright_ev, strict=True)
        changes = ", ".join(f"{position} ({ev:+.1f} EV)" for position, ev in steps)
        yield f"The light changed behind {changes}; even it out before merging."
