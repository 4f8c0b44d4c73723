"""Pictures that the camera merged itself: no slices, but they belong to their sources."""

from __future__ import annotations

from collections.abc import Sequence as Run
from itertools import pairwise

from sorter.grouping.timeline import Timeline, counter_step
from sorter.model.frame import Frame
from sorter.model.kinds import STACK_KINDS, Bracketing, Kind, Role

# Merging takes a camera up to a minute or two (common practice, no source).
LATEST_S = 180.0
_MERGED_KINDS = {
    "focus": STACK_KINDS,
    "exposure": frozenset({Kind.EXPOSURE_BRACKET}),
    "other": frozenset({Kind.BURST, Kind.EXPOSURE_BRACKET, Kind.FOCUS_BRACKET}),
}
_FEWEST_SOURCES = 2
_MOST_DELETED = 30  # frames in a row


def shots(line: Timeline) -> tuple[Frame, ...]:
    """The timeline's frames without those that the camera says it merged."""
    return tuple(frame for frame in line.frames if not is_marked(frame))


def is_marked(frame: Frame) -> bool:
    """The camera says that it merged this picture out of others."""
    return bool(frame.facts.merged)


def may_merge(result: Frame, kind: Kind, sources: Run[Frame]) -> bool:
    """A marked result may be of a sequence of the kind that it merges, and of so many frames.

    Where it says of how many it was merged, the sequence has at least as many: a camera may leave
    out some of them, but makes none up. Where it says that it merged, but not for focus or for
    exposure, the count must be the sequence's, unless the picture says that it is of the bracket
    too. What the camera made of shots that it did not keep is nobody's result.
    """
    known, usual = result.facts.merged_from, _MERGED_KINDS.get(result.facts.merged, frozenset())
    if result.facts.sources_kept is False or kind not in usual or len(sources) < _FEWEST_SOURCES:
        return False
    if result.facts.merged == "other" and not _brackets_on(sources[-1], result):
        return known is not None and len(sources) <= known <= _taken(sources, result)
    return _taken(sources, result) >= (known or 0)


def _brackets_on(last: Frame, result: Frame) -> bool:
    """Both say that they are of a bracket of one kind."""
    on = result.facts.bracketing in (Bracketing.FOCUS, Bracketing.EXPOSURE)
    return on and result.facts.bracketing is last.facts.bracketing


def _taken(sources: Run[Frame], result: Frame) -> int:
    """How many frames the sequence had before some were deleted, by file and by shot numbers."""
    steps = (counter_step(a, b) for a, b in pairwise((*sources, result)))
    passed = sum(step - 1 for step in steps if step and 1 < step <= _MOST_DELETED)
    return max(len(sources) + passed, sources[-1].facts.shot_number or 0)


def fits(result: Frame, kind: Kind, sources: Run[Frame], pause_s: float) -> bool:
    """A marked result belongs to the sequence right before it, if it may be merged of that."""
    return pause_s <= LATEST_S and may_merge(result, kind, sources)


def is_unmarked(frame: Frame, sources: Run[Frame], kind: Kind, pause_s: float) -> bool:
    """A lone picture without a raw right behind a focus bracket of raws is its merged result.

    Some bodies leave no mark on what they merge; but every source has a raw, the merged one never.
    """
    if kind is not Kind.FOCUS_BRACKET or len(sources) <= _FEWEST_SOURCES or pause_s > LATEST_S:
        return False
    if has_raw(frame) or not all(has_raw(source) for source in sources):
        return False
    facts, last = frame.facts, sources[-1].facts
    alike = (facts.lens, facts.f_number) == (last.lens, last.f_number)
    still_on = facts.bracketing in (None, Bracketing.FOCUS)
    return alike and still_on and counter_step(sources[-1], frame) == 1


def has_raw(frame: Frame) -> bool:
    """One of the frame's files is a raw."""
    return any(file.role is Role.RAW for file in frame.files)
