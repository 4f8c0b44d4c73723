"""What must hold for every shoot, whatever was shot."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from grouping.shoots import BODIES, shoot
from sorter.grouping.account import account_for
from sorter.model.frame import Frame, Reading
from sorter.model.sequence import Account

seeds = st.integers(min_value=0, max_value=10**6)
bodies = st.sampled_from(sorted(BODIES))
few = settings(max_examples=25, deadline=None)


def _shape(account: Account) -> list[tuple[str, list[str]]]:
    return [(s.kind, [frame.path for frame in s.frames]) for s in account.sequences]


def _frames(seed: int, body: str, count: int = 120) -> tuple[Frame, ...]:
    return shoot(seed, BODIES[body], count).reading().frames


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
    moved = tuple(
        replace(f, facts=replace(f.facts, moment=f.moment.shifted(seconds))) for f in frames
    )
    assert _shape(account_for(Reading(frames=moved))) == _shape(account_for(Reading(frames=frames)))


@few
@given(one=seeds, two=seeds, first=bodies, second=bodies)
def test_two_bodies_on_one_card_give_the_union(one: int, two: int, first: str, second: str) -> None:
    here = _frames(one, first, 60)
    there = tuple(
        replace(
            frame,
            facts=replace(frame.facts, serial="other"),
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
@given(seed=seeds, body=bodies)
def test_a_single_far_from_anything_leaves_all_else(seed: int, body: str) -> None:
    made = shoot(seed, BODIES[body], 80)
    before = _shape(account_for(made.reading()))
    made.press(5000.0)
    after = _shape(account_for(made.reading()))
    assert [s for s in after if made.frames[-1].path not in s[1]] == before
