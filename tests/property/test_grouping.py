"""What must hold for every shoot, whatever was shot."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from grouping.shoots import BODIES, shoot
from property.made import bodies, few, reading_of, seeds
from sorter.grouping.account import account_for
from sorter.grouping.timeline import timelines
from sorter.model.frame import Frame, Reading
from sorter.model.kinds import Kind
from sorter.model.sequence import Account

FAR_S = 601
"""Seconds: more than ten minutes."""


def _shape(account: Account) -> list[tuple[str, list[str]]]:
    return [(s.kind, [frame.path for frame in s.frames]) for s in account.sequences]


def _frames(seed: int, body: str, count: int = 120) -> tuple[Frame, ...]:
    return reading_of(seed, body, count).frames


def _later(frame: Frame, seconds: int) -> Frame:
    return replace(frame, facts=replace(frame.facts, moment=frame.moment.shifted(seconds)))


@few
@given(seed=seeds, body=bodies)
def test_every_frame_is_in_exactly_one_sequence(seed: int, body: str) -> None:
    frames = _frames(seed, body)
    account = account_for(Reading(frames=frames))
    grouped = [frame.path for s in account.sequences for frame in (*s.frames, *s.results)]
    assert sorted(grouped) == sorted(frame.path for frame in frames)
    assert sorted(frame.path for frame in account.order) == sorted(grouped)


@few
@given(seed=seeds, body=bodies, data=st.data())
def test_the_order_of_the_listing_does_not_matter(
    seed: int, body: str, data: st.DataObject
) -> None:
    frames = _frames(seed, body)
    shuffled = data.draw(st.permutations(frames))
    assert _shape(account_for(Reading(frames=tuple(shuffled)))) == _shape(
        account_for(Reading(frames=frames))
    )


@few
@given(seed=seeds, body=bodies, seconds=st.integers(min_value=-(10**8), max_value=10**8))
def test_a_constant_added_to_all_times_changes_nothing(seed: int, body: str, seconds: int) -> None:
    frames = _frames(seed, body)
    moved = tuple(_later(frame, seconds) for frame in frames)
    assert _shape(account_for(Reading(frames=moved))) == _shape(account_for(Reading(frames=frames)))


@few
@given(one=seeds, two=seeds, first=bodies, second=bodies)
def test_two_bodies_on_one_card_give_the_union(one: int, two: int, first: str, second: str) -> None:
    here = _frames(one, first, 60)
    there = tuple(
        replace(
            frame,
            facts=replace(frame.facts, make="Other", serial="other"),
            files=tuple(
                replace(f, file=replace(f.file, path=f"SECOND/{f.path}")) for f in frame.files
            ),
        )
        for frame in _frames(two, second, 60)
    )
    apart = _shape(account_for(Reading(frames=here))) + _shape(account_for(Reading(frames=there)))
    together = _shape(account_for(Reading(frames=here + there)))
    assert sorted(together) == sorted(apart)


@few
@given(seed=seeds, body=st.sampled_from(sorted(BODIES)))
def test_a_single_far_behind_everything_leaves_all_else(seed: int, body: str) -> None:
    shot = shoot(seed, BODIES[body], 80)
    before = _shape(account_for(shot.reading()))
    shot.press(5000.0)
    after = _shape(account_for(shot.reading()))
    assert [s for s in after if shot.frames[-1].path not in s[1]] == before


@few
@given(
    seed=seeds,
    body=bodies,
    share=st.floats(min_value=0, max_value=1, exclude_max=True),
    before=st.integers(min_value=FAR_S, max_value=10**5),
    behind=st.integers(min_value=FAR_S, max_value=10**5),
)
def test_without_a_single_far_from_everything_all_else_stays(
    seed: int, body: str, share: float, before: int, behind: int
) -> None:
    first, *others = timelines(_frames(seed, body, 80))
    place = int(share * len(first.frames))
    lone = _later(first.frames[place], before)
    rest = (
        *first.frames[:place],
        *(_later(frame, before + behind) for frame in first.frames[place + 1 :]),
        *(frame for line in others for frame in line.frames),
    )
    whole = _shape(account_for(Reading(frames=(*rest, lone))))
    assert (Kind.SINGLE, [lone.path]) in whole
    without = _shape(account_for(Reading(frames=rest)))
    assert sorted(s for s in whole if s[1] != [lone.path]) == sorted(without)
