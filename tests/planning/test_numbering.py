from __future__ import annotations

from dataclasses import replace

from manifest.accounts import account_of, at, bracket, frame, grounds, rock_pool, single
from planning.carrying import carried, contents, plan_of
from sorter.model.frame import Frame
from sorter.model.kinds import Kind
from sorter.model.numbers import from_one
from sorter.model.plan import Entry
from sorter.model.sequence import Account, Sequence
from sorter.planning.numbering import numbers_for


def series(*frames: Frame) -> Sequence:
    return Sequence(kind=Kind.FOCUS_BRACKET, frames=frames, grounds=grounds())


def after(*accounts: Account) -> tuple[Entry, ...]:
    """What the ledger knows once these cards were carried, one after the other."""
    known: tuple[Entry, ...] = ()
    for account in accounts:
        known = carried(plan_of(account, contents(account, known)), known)
    return known


def numbers(account: Account, known: tuple[Entry, ...]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    found = numbers_for(account, contents(account, known).there, known)
    return found.sequences, found.frames


def test_in_an_empty_shoot_both_count_from_one() -> None:
    account = rock_pool()
    assert numbers_for(account, {}, ()) == from_one(account)


def test_what_is_there_keeps_its_numbers() -> None:
    account = rock_pool()
    assert numbers_for(account, contents(account, after(account)).there, after(account)) == (
        from_one(account)
    )


def test_another_card_goes_on_behind_the_highest() -> None:
    other = account_of(series(*bracket(50, 2, 500)), single(60, 600))
    assert numbers(other, after(rock_pool())) == ((7, 8), (11, 12, 13))


def test_the_highest_counts_though_its_card_is_another() -> None:
    far = after(account_of(single(1, 0)), account_of(single(2, 9)), account_of(single(3, 20)))
    assert numbers(account_of(single(2, 9), single(4, 30)), far) == ((2, 4), (2, 4))


def test_a_series_that_grew_goes_on_with_its_number_and_new_frames_get_new_ones() -> None:
    shots = bracket(10, 5, 20)
    before = account_of(single(1, 0), series(*shots[:2]), single(30, 90))
    grown = account_of(single(1, 0), series(*shots), single(30, 90))
    assert numbers(grown, after(before)) == ((1, 2, 3), (1, 2, 3, 5, 6, 7, 4))


def test_a_series_that_grew_in_its_middle_joins_too() -> None:
    shots = bracket(10, 5, 20)
    before = account_of(series(shots[0], shots[4]))
    assert numbers(account_of(series(*shots)), after(before)) == ((1,), (1, 3, 4, 5, 2))


def test_a_sidecar_that_came_later_has_its_frames_number() -> None:
    before, now = frame("DCIM/A", at(0), "CR3"), frame("DCIM/A", at(0), "CR3", "xmp")
    first = account_of(series(before, *bracket(10, 2, 1)))
    then = account_of(series(now, *bracket(10, 2, 1)))
    assert numbers(then, after(first)) == ((1,), (1, 2, 3))


def test_two_series_that_became_one_have_the_number_of_the_first() -> None:
    shots = bracket(10, 5, 20)
    before = account_of(series(*shots[:2]), series(*shots[3:]))
    assert numbers(account_of(series(*shots)), after(before))[0] == (1,)


def test_no_number_is_given_twice_where_something_is_new() -> None:
    shots = bracket(10, 6, 20)
    before = account_of(series(shots[0], shots[1], shots[4]))
    now = account_of(series(*shots[:3]), series(*shots[3:]))
    assert numbers(now, after(before))[0] == (1, 2)


def test_a_frame_of_which_a_result_is_there_has_its_number() -> None:
    pool = rock_pool()
    stack = pool.sequences[1]
    merged = account_of(replace(stack, results=()))
    alone = tuple(
        entry for entry in after(pool) if entry.row.source == stack.results[0].files[0].path
    )
    assert numbers(account_of(stack), alone)[0] == (2,)
    assert numbers(merged, alone)[0] == (3,)
