"""How a card differs between two listings of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sorter.model.card import CardFile, Drift, Listing, differences

LIMPET = CardFile(path="DCIM/IMG_0001.JPG", size=9, modified_ns=5, changed_ns=6)
BARNACLE = CardFile(path="DCIM/IMG_0002.JPG", size=9, modified_ns=5, changed_ns=6)
THROWN = CardFile(path=".Trashes/501/IMG_0003.JPG", size=9, modified_ns=5, changed_ns=6)
POOL = Listing(files=(LIMPET, BARNACLE), thrown=(THROWN,), folders_closed=("MISC",))


def test_a_card_that_stayed_as_it_was_does_not_differ() -> None:
    drift = differences(POOL, POOL, frozenset())
    assert drift == Drift()
    assert not drift


def test_files_that_came_are_new_in_the_order_of_their_paths() -> None:
    more = (CardFile(path="b.JPG", size=1), CardFile(path="a.JPG", size=1))
    drift = differences(POOL, replace(POOL, files=(*POOL.files, *more)), frozenset())
    assert drift == Drift(new=("a.JPG", "b.JPG"))
    assert drift


@pytest.mark.parametrize(
    "other",
    [
        replace(LIMPET, size=10),
        replace(LIMPET, modified_ns=7),
        replace(LIMPET, changed_ns=7),
        replace(LIMPET, plain=False),
        replace(LIMPET, obstacle="cannot be read: Input/output error"),
    ],
)
def test_a_file_of_another_size_time_or_kind_is_changed(other: CardFile) -> None:
    drift = differences(POOL, replace(POOL, files=(other, BARNACLE)), frozenset())
    assert drift == Drift(changed=(LIMPET.path,))


def test_a_file_whose_system_stamps_no_changes_is_as_it_was() -> None:
    plain = replace(POOL, files=(replace(LIMPET, changed_ns=0),), thrown=())
    assert not differences(plain, plain, frozenset())


def test_what_the_run_took_off_the_card_did_not_vanish() -> None:
    after = replace(POOL, files=())
    assert differences(POOL, after, {LIMPET.path}) == Drift(vanished=(BARNACLE.path,))
    assert not differences(POOL, after, {LIMPET.path, BARNACLE.path})


def test_what_was_taken_and_is_there_again_is_not_gone() -> None:
    again = replace(LIMPET, size=1)
    drift = differences(POOL, replace(POOL, files=(again, BARNACLE)), {LIMPET.path})
    assert drift == Drift(changed=(LIMPET.path,))


def test_a_file_that_went_to_a_trash_vanished_and_is_named_there() -> None:
    there = replace(BARNACLE, path=".Trashes/501/IMG_0002.JPG")
    after = replace(POOL, files=(LIMPET,), thrown=(THROWN, there))
    assert differences(POOL, after, frozenset()) == Drift(
        new=(there.path,), vanished=(BARNACLE.path,), thrown=(there.path,)
    )


def test_a_trash_that_was_emptied_is_no_loss() -> None:
    assert not differences(POOL, replace(POOL, thrown=()), frozenset())


def test_what_changes_in_a_trash_is_changed() -> None:
    after = replace(POOL, thrown=(replace(THROWN, size=10),))
    assert differences(POOL, after, frozenset()) == Drift(changed=(THROWN.path,))


def test_folders_that_closed_meanwhile_are_named() -> None:
    after = replace(POOL, folders_closed=("DCIM/101TIDES", "MISC"))
    assert differences(POOL, after, frozenset()) == Drift(closed=("DCIM/101TIDES",))
    assert not differences(POOL, replace(POOL, folders_closed=()), frozenset())


def test_what_systems_write_in_their_own_folders_does_not_count() -> None:
    written = CardFile(path=".fseventsd/0000000000a1b2c3", size=72)
    assert not differences(POOL, replace(POOL, aside=(written,), system_files=4), frozenset())
