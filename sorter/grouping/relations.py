"""How the sequences of one body stand to each other: retakes, repeats, and what is to be blended."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from sorter.grouping import results
from sorter.grouping.evidence import Observation, about_equal, as_bright, differ
from sorter.model.frame import Facts, Frame
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.relation_kind import RelationKind
from sorter.model.sequence import Relation

# A retake begins within a minute or so of the attempt before (common practice, no source).
_RETAKE_S: Final = 90.0
# What is missing, or wanted in other light, is seen and shot within some minutes (common practice).
_SEEN_LATER_S: Final = 300.0
# ... and where focus is not told, only the haste says that it is the same subject.
_UNKNOWN_PAUSE_S: Final = 20.0
# A splash for a stack is shot right before or after it: as soon as the hands can.
_BESIDE_S: Final = 60.0
# So many sequences back a retake looks: a test frame or two may lie between two attempts.
_MOST_BACK: Final = 4
_NEAR: Final = 0.15  # of a focus span: where one series ends and another goes on from there
_SLICES: Final = 2.5  # of a series: as near two ends lie that are one
_NEARLY_ALL: Final = 0.8  # of a ground
_FEW: Final = 0.4  # of the frames: so few were a false start
_HALF: Final = 0.5  # of a ground
_PART: Final = 0.6  # of the frames: more of them are another attempt
_OTHER_STEP: Final = 2.0  # times; slices of another subject have other steps
_ALIKE_EV: Final = 0.5  # the light of one attempt: a cloud more or less
_HARDLY: Final = 0.03  # of a distance: rounding, and a lens that returns to where it was
_AGAIN: Final = STACK_KINDS | {Kind.EXPOSURE_BRACKET}
_BLENDED: Final = frozenset({Kind.SINGLE, Kind.BURST})


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """A sequence as relations see it.

    index: its place in the account. observations: its frames; none for a picture that the camera merged,
    whose sources are not right before it. merged: that picture. pause_s: from the sequence before
    on the same body. stopped: frames that were planned were not taken.
    """

    index: int
    observations: tuple[Observation, ...]
    kind: Kind
    pause_s: float
    stopped: bool = False
    merged: Frame | None = None

    @property
    def tells_focus(self) -> bool:
        """Its first frame tells where it is focused; a step counted from there tells nothing."""
        first = self.observations[0]
        return first.focus is not None and not (first.in_steps and first.focus == 0)


def related(body: tuple[Series, ...]) -> dict[int, tuple[Relation, ...]]:
    """For each series of one body what it is to others, by its index; nothing where it is nothing.

    body: in order of capture.
    """
    shot = tuple(series for series in body if series.observations)
    found: dict[int, list[Relation]] = {series.index: [] for series in body}
    for place, series in enumerate(shot):
        again = _again(shot[max(0, place - _MOST_BACK) : place], series)
        found[series.index] += [again] if again else []
    for one, other in _to_blend(shot):
        found[one.index].append(Relation(what=RelationKind.SAME_SETUP, to=other.index))
    for place, series in enumerate(body):
        if series.merged is not None:
            found[series.index] += _sources(body[:place], series.merged)
    return {index: tuple(relations) for index, relations in found.items() if relations}


# ---- once more -------------------------------------------------------------------------------


def _again(before: tuple[Series, ...], now: Series) -> Relation | None:
    """What the series is to the nearest one before it over the same ground."""
    if now.kind not in _AGAIN:
        return None
    pause, nearest = now.pause_s, True
    for other in reversed(before):
        if pause > _SEEN_LATER_S:
            return None
        if _comparable(other, now):
            relation_kind = _known_relation(other, now, pause) if nearest else None
            if relation_kind is None and other.kind in STACK_KINDS and now.kind in STACK_KINDS:
                relation_kind = (
                    RelationKind.FILLS
                    if _fills(other, now) and not _lit_otherwise(other, now)
                    else None
                )
            if relation_kind:
                return Relation(what=relation_kind, to=other.index)
            nearest = nearest and other.kind is not now.kind
        pause += other.pause_s + _lasted_s(other)
    return None


def _comparable(other: Series, now: Series) -> bool:
    """Of one kind, or both stacks: what is missing in a bracket may be filled in by hand."""
    alike = other.kind is now.kind or {other.kind, now.kind} <= STACK_KINDS
    return alike and _same_lens(other, now)


def _known_relation(other: Series, now: Series, pause_s: float) -> RelationKind | None:
    """What the series is to the nearest one of its kind; a retake or a repeat begins soon."""
    if other.kind is not now.kind:
        return None
    known = other.tells_focus and now.tells_focus
    if not (known or other.stopped or pause_s <= _UNKNOWN_PAUSE_S):
        return None
    relation_kind = _relation_kind(other, now)
    late = pause_s > _RETAKE_S and relation_kind not in (
        RelationKind.FILLS,
        RelationKind.OTHER_LIGHT,
    )
    return None if late else relation_kind


def _lasted_s(series: Series) -> float:
    return (series.observations[-1].start_us - series.observations[0].start_us) / 1e6


def _same_lens(one: Series, two: Series) -> bool:
    """The same lens, zoom and f-number; another of them shows another picture."""
    a, b = one.observations[-1].facts, two.observations[0].facts
    zoomed = differ(a.focal_length_mm, b.focal_length_mm)
    return (a.lens, a.f_number) == (b.lens, b.f_number) and not zoomed


def _relation_kind(before: Series, now: Series) -> RelationKind | None:
    if now.kind is Kind.EXPOSURE_BRACKET:
        return RelationKind.REPEAT if _same_exposures(before, now) else None
    if _lit_otherwise(before, now):
        return RelationKind.OTHER_LIGHT if _same_ground(before, now) else None
    if _goes_on(before, now):
        return RelationKind.GOES_ON
    if not before.stopped and not now.stopped and _same_series(before, now):
        return RelationKind.REPEAT
    if _fills(before, now):
        return RelationKind.FILLS
    return RelationKind.RETAKE if _is_retake(before, now) else None


def _same_ground(before: Series, now: Series) -> bool:
    """Both tell their focus, and begin and end alike."""
    one, two = Ground.of(before), Ground.of(now)
    if one is None or two is None or not (before.tells_focus and now.tells_focus):
        return False
    near = one.within(two) and two.within(one)
    return near and (
        one.has_an_end_of(two) or _same_focus(before.observations[0], now.observations[0])
    )


def _fills(before: Series, now: Series) -> bool:
    """A few slices of about the same step, amid those of the other."""
    one, two = Ground.of(before), Ground.of(now)
    if one is None or two is None or not (before.tells_focus and now.tells_focus):
        return False
    if _same_focus(before.observations[0], now.observations[0]) or len(
        now.observations
    ) > _PART * len(before.observations):
        return False
    alike = one.step > 0 and 1 / _OTHER_STEP <= two.step / one.step <= _OTHER_STEP
    return alike and two.inside(one)


def _lit_otherwise(before: Series, now: Series) -> bool:
    """Both tell how they are exposed, and it is another light or another picture of it."""
    one, two = before.observations[0], now.observations[0]
    brighter = one.ev is not None and two.ev is not None and abs(one.ev - two.ev) > _ALIKE_EV
    return brighter or differ(one.facts.flash_fired, two.facts.flash_fired)


def _same_exposures(before: Series, now: Series) -> bool:
    """The same exposures in the same order, at the same focus."""
    if len(before.observations) != len(now.observations):
        return False
    pairs = list(zip(before.observations, now.observations, strict=True))
    return all(_same_focus(a, b) and _same_exposure(a, b) for a, b in pairs)


def _same_exposure(one: Observation, two: Observation) -> bool:
    return one.intended_ev == two.intended_ev and as_bright(one.facts, two.facts)


def _same_focus(one: Observation, two: Observation) -> bool:
    """The two are focused alike, as far as both tell it."""
    if one.focus is None or two.focus is None or one.in_steps is not two.in_steps:
        return True
    if one.in_steps:
        return abs(one.focus - two.focus) <= _HARDLY * abs(one.focus)
    return about_equal(one.facts, two.facts, _HARDLY)


def _goes_on(before: Series, now: Series) -> bool:
    """Focus begins where it ended before, and moves the same way."""
    ends = (
        before.observations[0].focus,
        before.observations[-1].focus,
        now.observations[0].focus,
        now.observations[-1].focus,
    )
    first, last, again, onward = ends
    if first is None or last is None or again is None or onward is None or first == last:
        return False
    if (
        len(
            {observation.in_steps for observation in (before.observations[-1], now.observations[0])}
        )
        > 1
    ):
        return False
    span = last - first
    return abs(again - last) <= _NEAR * abs(span) and (onward - again) * span > 0


def _same_series(before: Series, now: Series) -> bool:
    """As many frames, from the same focus to the same, at the same exposure."""
    if len(before.observations) != len(now.observations):
        return False
    ends = (
        (before.observations[0], now.observations[0]),
        (before.observations[-1], now.observations[-1]),
    )
    if before.observations[0].facts.orientation != now.observations[0].facts.orientation:
        return False  # the camera was turned: another framing
    return all(_same_focus(a, b) and _set_alike(a.facts, b.facts) for a, b in ends)


def _is_retake(before: Series, now: Series) -> bool:
    """The attempt before was cut short, took fewer frames, or began just where this one does.

    Where focus is told, it covers most of the ground of that one too. What begins elsewhere is
    another subject, unless it has so many more frames that the other was a false start.
    """
    longer = len(now.observations) > len(before.observations)
    one, two = Ground.of(before), Ground.of(now)
    if one is None or two is None or not (before.tells_focus and now.tells_focus):
        return (before.stopped or longer) and _may_overlap(one, two)
    if _same_focus(before.observations[0], now.observations[0]):
        return one.shared(two) > 0 or one.span == 0 or two.span == 0
    if before.stopped:
        return one.shared(two) >= 0
    much_longer = len(before.observations) <= _FEW * len(now.observations)
    return much_longer and one.shared(two) >= _HALF * one.span


def _may_overlap(one: Ground | None, two: Ground | None) -> bool:
    """Focus untold, or counted from somewhere: the time alone speaks for it."""
    return one is None or two is None or one.shared(two) >= 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a series covers: the ends of its focus, in motor steps or negative dioptres.

    step: from slice to slice.
    """

    low: float
    high: float
    step: float

    @classmethod
    def of(cls, series: Series) -> Ground | None:
        """The ground of a series; None where a frame of it tells no focus."""
        spots = [
            observation.focus
            for observation in series.observations
            if observation.focus is not None
        ]
        if not spots:
            return None
        low, high = min(spots), max(spots)
        return cls(low=low, high=high, step=(high - low) / max(1, len(spots) - 1))

    @property
    def span(self) -> float:
        """From end to end."""
        return self.high - self.low

    def shared(self, other: Ground) -> float:
        """How much of the two is common to both; negative: how far they lie apart."""
        return min(self.high, other.high) - max(self.low, other.low)

    def inside(self, other: Ground) -> bool:
        """It goes beyond neither end of the other, but for half a slice."""
        slack = 0.5 * other.step
        return self.low >= other.low - slack and self.high <= other.high + slack

    def within(self, other: Ground) -> bool:
        """Nearly all of it lies in the other."""
        return self.shared(other) >= _NEARLY_ALL * self.span

    def has_an_end_of(self, other: Ground) -> bool:
        """The two end at one place, nearest or farthest."""
        slack = _SLICES * max(self.step, other.step)
        return abs(self.low - other.low) <= slack or abs(self.high - other.high) <= slack


# ---- to be blended ----------------------------------------------------------------------------


def _to_blend(shot: tuple[Series, ...]) -> Iterator[tuple[Series, Series]]:
    """Each single or burst right beside a stack of its set-up, and the two the other way round."""
    for before, now in pairwise(shot):
        one, stack = (before, now) if now.kind in STACK_KINDS else (now, before)
        if stack.kind not in STACK_KINDS or one.kind not in _BLENDED or now.pause_s > _BESIDE_S:
            continue
        if _same_setup(one, stack):
            yield one, stack
            yield stack, one


def _same_setup(one: Series, stack: Series) -> bool:
    alike = all(
        _set_alike(observation.facts, stack.observations[0].facts)
        for observation in one.observations
    )
    return alike and all(_within(observation, stack) for observation in one.observations)


def _set_alike(one: Facts, two: Facts) -> bool:
    """The same lens, zoom, f-number, sensitivity, time and flash."""
    return as_bright(one, two) and _setup(one) == _setup(two)


def _setup(facts: Facts) -> tuple[object, ...]:
    return (facts.lens, facts.focal_length_mm, facts.f_number, facts.iso, facts.flash_fired)


def _within(observation: Observation, stack: Series) -> bool:
    """Focused on what the stack covers, as far as it is told."""
    spots = [each.focus for each in stack.observations if each.in_steps is observation.in_steps]
    known = [spot for spot in spots if spot is not None]
    if observation.focus is None or not known:
        return True
    if any(
        _same_focus(observation, end) for end in (stack.observations[0], stack.observations[-1])
    ):
        return True
    return min(known) <= observation.focus <= max(known)


# ---- merged in the camera ---------------------------------------------------------------------


def _sources(before: tuple[Series, ...], merged: Frame) -> list[Relation]:
    """The last sequence of which the picture may have been merged."""
    for series in reversed(before):
        if series.observations and _may_be_of(merged, series):
            return [Relation(what=RelationKind.RESULT, to=series.index)]
    return []


def _may_be_of(merged: Frame, series: Series) -> bool:
    lenses = {merged.facts.lens, series.observations[0].facts.lens} - {""}
    return len(lenses) <= 1 and results.may_merge(
        merged, series.kind, [observation.frame for observation in series.observations]
    )
