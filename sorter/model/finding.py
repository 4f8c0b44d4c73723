"""What the pictures of a sequence say of it: a row of checks.csv, and how sequences are to be cut."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.measurement import LARGE, LEAST_FOR_FOCUS

Positions = tuple[int, ...]
"""Places of frames in their sequence, from 1. What lies between two is named by the one before it."""

LEAST_RUN = 3
MOST_PARTS = 2
"""Parts of the frame that are named."""
"""Positions in a row that are written as a span."""


class Verdict(StrEnum):
    """Whether a stack is worth merging.

    complete: as it is. usable: without the frames that dark and jumps name. incomplete: something of
    the subject is sharp in no slice. broken: it moved too much to be one picture. unjudged: the pictures
    do not tell, and nothing is done by what they seem to say.
    """

    COMPLETE = "complete"
    USABLE = "usable"
    INCOMPLETE = "incomplete"
    BROKEN = "broken"
    UNJUDGED = "unjudged"


JUDGED: Final = tuple(each for each in Verdict if each is not Verdict.UNJUDGED)
"""The verdicts by which stacks can be chosen."""


class Unjudged(StrEnum):
    """Why the pictures of a stack do not tell.

    few: fewer slices that can be seen than make a curve. plain: too little in them has texture. unclear:
    focus explains too few of the tiles that have. small: there are no pictures but small ones.
    """

    FEW = "few"
    PLAIN = "plain"
    UNCLEAR = "unclear"
    SMALL = "small"


class End(StrEnum):
    """At which end of a series sharp subject goes on beyond it."""

    FIRST = "first"
    LAST = "last"
    BOTH = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The findings on one sequence of two or more frames.

    verdict: None for what is no stack. first_sharp_share, last_sharp_share: the
    share of textured tiles that peak there and still rise. surplus: slices that are sharpest nowhere.
    drift_px: the largest shift between two frames, in pixels of the pictures that were looked at.
    best_frames: of a burst, best first. looks_like: the kind that the pictures say, where it differs.
    attempts: sequences of one subject, the best first.

    Behind the contract's columns: moved, where something in the frame moved by itself; bright_steps,
    where the light changed, and bright_ev, by how much; unseen, frames that could not be looked at;
    order, the frames by focus where that is not the order of capture; odd: frames that show something
    else altogether; step_of_depth: an estimate of how far focus goes from slice to slice, in depths of
    field; growth: how much larger the largest frame shows the scene than the smallest (breathing),
    0.01 is 1 %; fitting: the share of the tiles with texture of which focus explains the half or more;
    unjudged: why there is no verdict; moved_boxes: where something moved, for each of moved four numbers:
    left, top, width and height in shares of the first frame's picture; judged_at: pixels of the longer side
    of the picture that was decoded, the smallest of all frames that were judged. too_small: those of the
    unseen frames that can be decoded, but only as a picture too small to tell focus. too_large: those that
    have more than most_megapixels; megapixels: how many each of these has.
    """

    sequence: int
    kind: Kind
    frames: int
    verdict: Verdict | None = None
    missing_end: End | None = None
    first_sharp_share: float | None = None
    last_sharp_share: float | None = None
    gaps: Positions = ()
    jumps: Positions = ()
    dark: Positions = ()
    surplus: Positions = ()
    keep_first: int | None = None
    keep_last: int | None = None
    drift_px: float | None = None
    best_frames: Positions = ()
    looks_like: Kind | None = None
    attempts: tuple[int, ...] = ()
    moved: Positions = ()
    bright_steps: Positions = ()
    unseen: Positions = ()
    order: Positions = ()
    odd: Positions = ()
    bright_ev: tuple[float, ...] = ()
    step_of_depth: float | None = None
    growth: float | None = None
    fitting: float | None = None
    unjudged: Unjudged | None = None
    moved_boxes: tuple[float, ...] = ()
    judged_at: int | None = None
    too_small: Positions = ()
    too_large: Positions = ()
    megapixels: Positions = ()
    most_megapixels: int | None = None
    nearward: bool | None = None
    wander_share: float = 0.0
    explained: float = 0.0
    attempts_verdict: Verdict | None = None
    attempts_frames: int = 0

    @property
    def says(self) -> str:
        """The findings as sentences."""
        return " ".join(sentences(self))

    @property
    def tells_focus(self) -> bool:
        """Whether the pictures are large enough to say what is sharp in them."""
        return self.judged_at is None or self.judged_at >= LEAST_FOR_FOCUS

    @property
    def boxes(self) -> tuple[tuple[float, float, float, float], ...]:
        """Where something moved: moved_boxes, four sides each."""
        sides = self.moved_boxes
        return tuple(
            (sides[at], sides[at + 1], sides[at + 2], sides[at + 3])
            for at in range(0, len(sides), 4)
        )

    @property
    def by_picture(self) -> Kind:
        """The kind that the pictures say, which mostly is the sequence's own."""
        return self.looks_like or self.kind

    @property
    def is_stack(self) -> bool:
        """Whether the pictures say that there is a stack."""
        return self.by_picture in STACK_KINDS


CHECK_COLUMNS: Final = (
    "sequence",
    "kind",
    "frames",
    "verdict",
    "missing_end",
    "first_sharp_share",
    "last_sharp_share",
    "gaps",
    "jumps",
    "dark",
    "surplus",
    "keep_first",
    "keep_last",
    "drift_px",
    "best_frames",
    "looks_like",
    "attempts",
    "says",
    "moved",
    "bright_steps",
    "unseen",
    "order",
    "odd",
    "bright_ev",
    "step_of_depth",
    "growth",
    "fitting",
    "judged_at",
    "moved_boxes",
)
"""The columns of checks.csv in their order: each is an attribute of a check."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameFindings:
    """A sequence frame by frame, all in order of capture.

    use: whether the frame shows the sequence's subject in its light. shares: of what has texture, the
    share that is sharpest in the frame; None for frames that are left out, and for what is no stack.
    places: how the frame lies to the first one: x and y as shares of its longer side, and growth (1:
    as large); None where that is not known. sizes: width and height of its picture in pixels; None
    where it cannot be looked at.
    """

    use: tuple[bool, ...]
    shares: tuple[float | None, ...]
    places: tuple[tuple[float, float, float] | None, ...]
    sizes: tuple[tuple[int, int] | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedSequence:
    """Frames that the pictures say are one sequence of a kind, and why.

    first, last: indexes into the frames that were looked at, in order of capture; both included.
    """

    first: int
    last: int
    kind: Kind
    grounds: str


def listed(positions: Positions, *, sort: bool = True) -> str:
    """Positions in words: 1 to 3, 7."""
    if not sort:
        return ", ".join(map(str, positions))
    runs: list[list[int]] = []
    for position in sorted(positions):
        if runs and position == runs[-1][-1] + 1:
            runs[-1].append(position)
        else:
            runs.append([position])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) >= LEAST_RUN else ", ".join(map(str, run))
        for run in runs
    )


# ---- in words ------------------------------------------------------------------------------


def sentences(check: Check) -> Iterator[str]:
    """What deserves to be said of the sequence, the verdict first: with figures, and what to do."""
    if check.looks_like is not None:
        yield _other_kind(check)
    if check.is_stack:
        yield from _stack(check)
    if check.best_frames:
        yield f"Best frames: {listed(check.best_frames, sort=False)}."
    yield from _frames(check)
    yield from _attempts(check)
    yield from _size(check)


def _size(check: Check) -> Iterator[str]:
    """How small the pictures are, where that limits what was said."""
    if check.judged_at is None or check.judged_at >= LARGE:
        return
    if check.tells_focus:
        yield f"Judged on pictures of {check.judged_at} pixels on the longer side: fine detail is not in them."
    elif not check.is_stack:
        yield f"Only brightness and likeness were judged: {_only(check.judged_at)}."


def _only(pixels: int) -> str:
    return (
        f"the largest picture that can be decoded has {pixels} pixels on the longer side, and below "
        f"{LEAST_FOR_FOCUS} it does not tell what is sharp"
    )


def _other_kind(check: Check) -> str:
    if check.looks_like in STACK_KINDS:
        return (
            f"Looks like a {check.looks_like}: what is sharp wanders over {check.wander_share:.0%} of the "
            f"frame, and focus explains {check.explained:.0%} of what changes; ingest it with --look, "
            "or correct the kind."
        )
    return (
        f"Looks like a {check.looks_like}: what is sharp stays the same in all frames, so there is "
        "nothing to stack; correct the kind, or look whether focus moved at all."
    )


def _stack(check: Check) -> Iterator[str]:
    if check.verdict in (None, Verdict.UNJUDGED):
        yield _unjudged(check)
        return
    if check.verdict is Verdict.COMPLETE:
        yield "Complete: sharp from the first slice that counts to the last."
    if check.verdict is Verdict.USABLE:
        yield "Usable without the frames that are named."
    if check.verdict is Verdict.BROKEN:
        yield "Broken by movement: too much moved between the slices to make one picture of them."
    yield from _ends(check)
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


def _unjudged(check: Check) -> str:
    if check.unjudged is Unjudged.UNCLEAR:
        return (
            f"Cannot be judged: focus explains what changes in only {_share(check.fitting)} of the tiles "
            "with texture, and nothing is said of ends, gaps or surplus; look at the slices yourself."
        )
    if check.unjudged is Unjudged.PLAIN:
        return "Cannot be judged: too little in the frames has texture that focus changes."
    if check.unjudged is Unjudged.SMALL and check.judged_at is not None:
        return f"Cannot be judged: {_only(check.judged_at)}. Brightness and likeness alone were looked at."
    if check.unjudged is Unjudged.FEW:
        return "Cannot be judged: too few frames that can be seen."
    return "Cannot be judged: too few frames that can be seen, or too little texture in them."


def _steps(check: Check) -> Iterator[str]:
    """How wide the steps are, where slices are missing. Alone an estimate is too rough to be said."""
    wide = check.step_of_depth
    if wide is None or not check.gaps:
        return
    yield (
        f"From slice to slice focus went about {wide:.1f} of the depth of field (an estimate by focal "
        f"length and distance{'; more than 1 leaves soft bands' if wide > 1 else ''})."
    )


def _ends(check: Check) -> Iterator[str]:
    farther = None if check.nearward is None else not check.nearward
    both = check.missing_end is End.BOTH
    if check.missing_end is End.FIRST or both:
        yield (
            f"Starts late{_side(check.nearward)}: {_share(check.first_sharp_share)} of what has "
            f"texture is sharpest in the first slice and still rises there; begin {_on(check.nearward)}, "
            "or leave it soft on purpose."
        )
    if check.missing_end is End.LAST or both:
        yield (
            f"Stops short{_side(farther)}: {_share(check.last_sharp_share)} of what has "
            f"texture is sharpest in the last slice and still rises there; go on {_on(farther)}, "
            "or leave it soft on purpose."
        )


def _side(is_far: bool | None) -> str:
    """Which end of the subject it is. is_far: None where the camera does not tell which way focus went."""
    if is_far is None:
        return ""
    return " at the far end" if is_far else " at the near end"


def _on(is_far: bool | None) -> str:
    """Which way slices are missing from there."""
    if is_far is None:
        return "further away from the other end"
    return "farther out" if is_far else "nearer"


def _share(share: float | None) -> str:
    return "some" if share is None else f"{share:.1%}"


def _frames(check: Check) -> Iterator[str]:
    if check.dark:
        yield f"Dark, a misfired flash or something before the lens: {listed(check.dark)}."
    if check.odd:
        yield f"Shows something else: {listed(check.odd)}."
    told = {*check.too_small, *check.too_large}
    lost = tuple(each for each in check.unseen if each not in told)
    if lost:
        yield f"Cannot be looked at: {listed(lost)}."
    if check.too_large:
        has = zip(check.too_large, check.megapixels, strict=True)
        sizes = ", ".join(f"{position} has {mega} megapixels" for position, mega in has)
        yield (
            f"Not looked at: {sizes}, more than {check.most_megapixels}; set most_megapixels in "
            "sorter.toml, or --most-megapixels, to look at that."
        )
    if check.too_small:
        yield (
            f"Too small to tell what is sharp, below {LEAST_FOR_FOCUS} pixels on the longer side: "
            f"{listed(check.too_small)}; no larger picture of them can be decoded."
        )
    if check.jumps:
        yield f"The frame jumped behind {listed(check.jumps)}; hold the camera still, or use a support."
    if check.moved:
        yield (
            f"Something moved in the frame behind {listed(check.moved)}{_where(check)}: wind, or the subject."
        )
    if check.bright_steps and check.kind is not Kind.EXPOSURE_BRACKET:
        steps = zip(check.bright_steps, check.bright_ev, strict=True)
        changes = ", ".join(f"{position} ({ev:+.1f} EV)" for position, ev in steps)
        yield f"The light changed behind {changes}; even it out before merging."


def _where(check: Check) -> str:
    """In which parts of the frame something moved, the most frequent first; empty where that is not known."""
    parts = Counter(_part(*box) for box in check.boxes)
    named = [part for part, _ in parts.most_common(MOST_PARTS)]
    return f" ({' and '.join(named)})" if named else ""


def _part(left: float, top: float, width: float, height: float) -> str:
    down, across = (int(3 * min(0.99, at)) for at in (top + height / 2, left + width / 2))
    names = ("upper", "middle", "lower")[down], ("left", "middle", "right")[across]
    return "in the middle" if names == ("middle", "middle") else f"{names[0]} {names[1]}"


def _attempts(check: Check) -> Iterator[str]:
    if not check.attempts:
        return
    verdict, count = check.attempts_verdict, check.attempts_frames
    state = f" ({verdict}, {count} frames)" if verdict else ""
    names = ", ".join(map(str, check.attempts))
    yield f"Attempts at one subject: {names}; {check.attempts[0]} is the best{state}."
