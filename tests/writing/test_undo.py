"""The last ingest taken back: nothing that is the only one is removed, nothing changed is touched."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import tides
from sorter.disk import files
from sorter.disk.shoot import Shoot
from sorter.errors import (
    BadShoot,
    CardNotFound,
    CardNotWritable,
    NoRoom,
    NoShoot,
    OnlyCopies,
    ShootNotWritable,
)
from sorter.pipeline import Undo
from sorter.writing.undo import CHANGED, OCCUPIED
from writing.cards import (
    ANEMONES,
    LIMPETS,
    contents,
    destinations,
    found,
    hold_whole,
    ingest,
    limpets,
    picture,
    tree,
    undo,
)
from writing.faults import fails_at, full_disk, other_devices, other_disks

FIRST, BURST = f"{LIMPETS}/IMG_0001.JPG", "0001_burst_4"


def two_disks(patch: pytest.MonkeyPatch) -> None:
    other_devices(patch)
    other_disks(patch)


WAYS: dict[str, Callable[[pytest.MonkeyPatch], None]] = {
    "one disk": lambda _: None,
    "two disks": two_disks,
}
card = tides.whole_card
shoot = tides.new_shoot


def stamps(card: Path) -> dict[str, int]:
    return {path: (card / path).stat().st_mtime_ns for path in contents(card)}


# ---- copies ------------------------------------------------------------------------------------


def test_unchanged_copies_are_removed_and_the_card_is_not_touched(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    before = tree(card)
    outcome = undo(shoot)
    assert (outcome.removed, outcome.returned, outcome.stay) == (len(contents(card)), 0, {})
    assert not shoot.exists()
    assert tree(card) == before


def test_a_second_undo_finds_nothing(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    undo(shoot)
    with pytest.raises(NoShoot):
        undo(shoot)
    ingest(card, shoot)
    hold_whole(shoot, contents(card))


def test_what_was_changed_and_what_was_added_stays(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    (shoot / BURST / "IMG_0001.xmp").write_text("<x:xmpmeta>five stars</x:xmpmeta>")
    (shoot / "singles" / "IMG_0001.JPG").write_bytes(b"cropped")
    (shoot / "best.txt").write_text("IMG_0003")
    outcome = undo(shoot)
    assert outcome.stay == {f"{BURST}/IMG_0001.xmp": CHANGED, "singles/IMG_0001.JPG": CHANGED}
    assert contents(shoot) == {
        f"{BURST}/IMG_0001.xmp": b"<x:xmpmeta>five stars</x:xmpmeta>",
        "best.txt": b"IMG_0003",
        "singles/IMG_0001.JPG": b"cropped",
    }
    assert sorted(path.name for path in shoot.iterdir()) == [BURST, "best.txt", "singles"]


def test_a_manifest_that_was_edited_stays(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    (shoot / "manifest.csv").write_text("my own notes")
    undo(shoot)
    assert contents(shoot) == {"manifest.csv": b"my own notes"}


@pytest.mark.parametrize("lost", ["emptied", "one changed", "gone"])
def test_copies_that_are_the_only_ones_are_not_removed(card: Path, shoot: Path, lost: str) -> None:
    ingest(card, shoot)
    if lost == "one changed":
        (card / FIRST).write_bytes((card / FIRST).read_bytes().swapcase())
    else:
        shutil.rmtree(card)
        if lost == "emptied":
            card.mkdir()
    before = tree(shoot)
    with pytest.raises(OnlyCopies, match="--without-card") as refused:
        undo(shoot)
    assert refused.value.exit_code == 2
    after = tree(shoot)
    assert contents(shoot) and {p: after[p] for p in after if ".sorter" not in p} == {  # noqa: PT018
        p: before[p] for p in before if ".sorter" not in p
    }
    with Undo(shoot, None) as work:
        work.carry(lambda *_: None)
    assert not shoot.exists()


def test_the_card_may_lie_elsewhere_by_now(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    elsewhere = card.rename(card.with_name("elsewhere"))
    undo(shoot, elsewhere)
    assert not shoot.exists()


def test_a_copy_that_was_placed_and_not_noted_counts_as_a_copy(
    tmp_path: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = limpets(tmp_path / "card", 1)
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "force_folders", call=3, error=KeyboardInterrupt())
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot)
    assert contents(shoot).keys() >= {"singles/IMG_0001.JPG", "singles/IMG_0001.xmp"}
    shutil.rmtree(card)
    with pytest.raises(OnlyCopies):
        undo(shoot)


# ---- moves -------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
def test_moved_files_go_back_as_they_were(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    originals, before = contents(card), stamps(card)
    WAYS[way](monkeypatch)
    ingest(card, shoot, moves=True)
    shutil.rmtree(card / "DCIM")
    outcome = undo(shoot)
    assert (outcome.removed, outcome.returned) == (0, len(originals))
    assert (contents(card), stamps(card)) == (originals, before)
    assert not shoot.exists()


@pytest.mark.parametrize("way", WAYS)
def test_a_moved_file_that_was_changed_stays_and_stays_known(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    originals = contents(card)
    WAYS[way](monkeypatch)
    ingest(card, shoot, moves=True)
    (shoot / BURST / "IMG_0001.JPG").write_bytes(b"cropped")
    outcome = undo(shoot)
    assert outcome.stay == {f"{BURST}/IMG_0001.JPG": CHANGED}
    assert contents(card) == {path: originals[path] for path in originals if path != FIRST}
    assert found(shoot).changed == [f"{BURST}/IMG_0001.JPG"]
    assert list(destinations(shoot)) == [FIRST]
    again = undo(shoot)
    assert again.stay == outcome.stay


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("same", [True, False])
def test_what_lies_in_a_moved_files_place_on_the_card_is_not_replaced(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, way: str, *, same: bool
) -> None:
    originals = contents(card)
    WAYS[way](monkeypatch)
    ingest(card, shoot, moves=True)
    (card / FIRST).write_bytes(originals[FIRST] if same else b"a crab")
    outcome = undo(shoot)
    if same:
        assert not shoot.exists()
        assert contents(card) == originals
    else:
        assert outcome.stay == {f"{BURST}/IMG_0001.JPG": OCCUPIED}
        assert contents(card) == {**originals, FIRST: b"a crab"}
        assert (shoot / BURST / "IMG_0001.JPG").read_bytes() == originals[FIRST]
        (card / FIRST).unlink()
        undo(shoot)
        assert contents(card) == originals


def test_moved_files_wait_for_their_card(card: Path, shoot: Path) -> None:
    ingest(card, shoot, moves=True)
    before = contents(shoot)
    elsewhere = card.rename(card.with_name("elsewhere"))
    with pytest.raises(CardNotFound, match="--card"):
        undo(shoot)
    assert contents(shoot) == before
    undo(shoot, elsewhere)
    assert not shoot.exists()


def test_moved_files_do_not_go_to_the_folder_that_their_card_was_mounted_on(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    mounted = [True]
    monkeypatch.setattr(os.path, "ismount", lambda path: mounted[0] and Path(path) == card)
    ingest(card, shoot, moves=True)
    mounted[0] = False
    with pytest.raises(CardNotFound, match="Put it in"):
        undo(shoot)
    assert contents(card) == {}
    mounted[0] = True
    undo(shoot)
    assert contents(card) == originals


def test_a_copy_back_that_came_out_different_keeps_the_moved_file(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    ingest(card, shoot, moves=True)
    force = files.force_file

    def spoiled(path: str) -> None:
        force(path)
        Path(path).write_bytes(b"spoiled")

    with monkeypatch.context() as patch:
        other_disks(patch)
        patch.setattr("sorter.disk.shoot.force_file", spoiled)
        with pytest.raises(CardNotWritable, match="did not come back to the card as it was"):
            undo(shoot)
    everywhere = [*contents(shoot).values(), *contents(card).values()]
    assert all(data in everywhere for data in originals.values())


def test_the_name_on_the_card_is_forced_before_the_shoots_is_taken_away(
    tmp_path: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = limpets(tmp_path / "card", 1)
    (card / LIMPETS / "IMG_0001.xmp").unlink()
    ingest(card, shoot, moves=True)
    other_disks(monkeypatch)
    done: list[str] = []
    fsync, remove = os.fsync, Shoot.remove

    def forced(handle: int) -> None:
        if os.path.samestat(os.fstat(handle), (card / LIMPETS).stat()):
            done.append("force")
        fsync(handle)

    def removed(self: Shoot, path: str) -> None:
        done.append(f"remove {path}")
        remove(self, path)

    monkeypatch.setattr(os, "fsync", forced)
    monkeypatch.setattr(Shoot, "remove", removed)
    undo(shoot)
    assert done[:2] == ["force", "remove singles/IMG_0001.JPG"]


# ---- stopped -----------------------------------------------------------------------------------


@pytest.mark.parametrize("after", [0, 5, 9])
@pytest.mark.parametrize("moves", [True, False])
def test_an_ingest_that_was_stopped_is_taken_back_too(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, after: int, *, moves: bool
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        patch.setattr("sorter.writing.carry.BATCH_FILES", 3)
        other_devices(patch)
        full_disk(patch, after=after)
        with pytest.raises(NoRoom):
            ingest(card, shoot, moves=moves)
    undo(shoot)
    assert contents(card) == originals
    assert not shoot.exists()


VERBS = [("remove", 1), ("remove", 4), ("remove_unfinished", 1), ("force_folders", 1)]
MOVING = [("give_back", 1), ("give_back", 5), *VERBS[2:]]


@pytest.mark.parametrize(
    ("moves", "verb", "call"),
    [(False, *each) for each in VERBS] + [(True, *each) for each in MOVING],
)
def test_an_undo_that_was_stopped_is_ended_by_the_next_one(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, verb: str, call: int, *, moves: bool
) -> None:
    originals = contents(card)
    ingest(card, shoot, moves=moves)
    with monkeypatch.context() as patch:
        error = OSError(errno.EIO, os.strerror(errno.EIO))
        fails_at(patch, Shoot, verb, call=call, error=error)
        with pytest.raises(ShootNotWritable, match="run the same command again"):
            undo(shoot)
    with pytest.raises(BadShoot, match="an undo was stopped here"):
        ingest(card, shoot)
    undo(shoot)
    assert contents(card) == originals
    assert not shoot.exists()


def test_a_full_card_stops_an_undo_and_leaves_no_part_there(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    ingest(card, shoot, moves=True)
    with monkeypatch.context() as patch:
        other_disks(patch)
        full_disk(patch, after=4)
        with pytest.raises(NoRoom, match=f"^{card}: the card is full.*run the same command again"):
            undo(shoot)
    assert contents(card).items() <= originals.items()
    other_disks(monkeypatch)
    undo(shoot)
    assert contents(card) == originals


# ---- one after the other -----------------------------------------------------------------------


def test_only_the_last_ingest_is_taken_back(card: Path, shoot: Path, tmp_path: Path) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    second = tmp_path / "second"
    picture(second / FIRST, 4000, shade=201)
    ingest(second, shoot)
    assert contents(shoot) != before
    assert undo(shoot).removed == 1
    assert contents(shoot) == before
    hold_whole(shoot, contents(card))
    undo(shoot)
    assert not shoot.exists()


@pytest.mark.parametrize("moves", [True, False])
def test_a_sequence_that_grew_is_as_it_was(card: Path, shoot: Path, *, moves: bool) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    picture(card / LIMPETS / "IMG_0005.JPG", 1.25, shade=100)
    picture(card / ANEMONES / "IMG_0005.JPG", 900, shade=100)
    grown = contents(card)
    ingest(card, shoot, moves=moves)
    assert contents(shoot)["manifest.csv"] != before["manifest.csv"]
    undo(shoot)
    assert contents(shoot) == before
    assert contents(card) == grown
