"""A shoot and its second copy held against each other, and each mended from the other."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

import tides
from sorter.disk import streams
from sorter.disk.shoot import Shoot
from sorter.errors import BadBackup, BadShoot, NoRoom, NoShoot, ShootBusy
from sorter.pipeline import Verified, verify_both
from sorter.writing.ledger import Ledger
from writing.cards import (
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
)  # fmt: skip
from writing.faults import is_file

PICTURE = f"{LIMPETS}/IMG_0002.JPG"
SIDECAR = f"{LIMPETS}/IMG_0002.xmp"
card = tides.linkless_card


@pytest.fixture
def shoot(card: Path, tmp_path: Path) -> Path:
    ingest(card, tmp_path / "shoot", backup=tmp_path / "other")
    return tmp_path / "shoot"


@pytest.fixture
def other(shoot: Path) -> Path:
    return shoot.parent / "other"


def both(shoot: Path, other: Path, *, mends: bool = False) -> tuple[Verified, Verified]:
    return verify_both(shoot, other, lambda *_: None, lambda *_: None, mends=mends)


def hold_both(shoot: Path, other: Path, originals: dict[str, bytes]) -> None:
    for folder in (shoot, other):
        hold_whole(folder, originals)
        assert not found(folder).has_failed
        assert not found(folder).has_remarks


def spoil(path: Path) -> bytes:
    """One bit is another; the size and the times are as they were."""
    about, data = path.stat(), path.read_bytes()
    spoiled = data[:-3] + bytes([data[-3] ^ 4]) + data[-2:]
    path.write_bytes(spoiled)
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))
    return spoiled


# ---- looking ------------------------------------------------------------------------------------


def test_two_whole_copies_are_whole_and_nothing_is_touched(
    card: Path, shoot: Path, other: Path
) -> None:
    before = tree(shoot, other)
    for each in both(shoot, other):
        assert each.findings.good == len(contents(card))
        assert not each.findings.has_failed
        assert not each.findings.has_remarks
    assert tree(shoot, other) == before


def test_what_is_wrong_is_told_of_each_of_them(shoot: Path, other: Path) -> None:
    path = destinations(shoot)[PICTURE]
    (shoot / path).unlink()
    spoil(other / path)
    before = tree(shoot, other)
    one, two = both(shoot, other)
    assert (one.findings.missing, two.findings.missing) == ([path], [])
    assert (one.findings.changed, two.findings.changed) == ([], [path])
    assert tree(shoot, other) == before


def test_what_the_second_copy_never_got_is_named(card: Path, shoot: Path, other: Path) -> None:
    picture(card / LIMPETS / "IMG_0009.JPG", 1.25)
    ingest(card, shoot)
    one, two = both(shoot, other)
    assert not one.findings.has_remarks
    assert f"{LIMPETS}/IMG_0009.JPG" in two.findings.uncarried


def test_a_copy_without_a_ledger_is_held_against_the_shoots(shoot: Path, other: Path) -> None:
    shutil.rmtree(other / ".sorter")
    path = destinations(shoot)[PICTURE]
    spoil(other / path)
    _, two = both(shoot, other)
    assert two.findings.changed == [path]
    assert not (other / ".sorter").exists()


def test_a_second_copy_that_is_not_there_is_named(shoot: Path) -> None:
    with pytest.raises(BadBackup, match="Is the disk of the second copy in"):
        both(shoot, shoot.parent / "nowhere")
    assert not (shoot.parent / "nowhere").exists()


def test_the_shoot_of_another_card_is_refused(shoot: Path, tmp_path: Path) -> None:
    ingest(limpets(tmp_path / "second", 2, side=32), tmp_path / "third")
    for mends in (False, True):
        with pytest.raises(BadBackup, match="does not know"):
            both(shoot, tmp_path / "third", mends=mends)


def test_a_shoot_and_itself_are_no_two_copies(shoot: Path) -> None:
    with pytest.raises(BadBackup):
        both(shoot, shoot, mends=True)


# ---- mending ------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize("damage", ["missing", "changed", "folder", "link"])
@pytest.mark.parametrize("source", [PICTURE, "DCIM/101TIDES/MVI_0003.MP4"])
def test_each_is_mended_from_the_other(  # noqa: PLR0917
    card: Path, shoot: Path, other: Path, side: int, damage: str, source: str
) -> None:
    folder = (shoot, other)[side]
    path = folder / destinations(shoot)[source]
    if damage == "changed":
        spoil(path)
    else:
        path.unlink()
    if damage == "folder":
        path.mkdir()
    if damage == "link":
        path.symlink_to(card / source)
    mended = both(shoot, other, mends=True)
    assert mended[side].findings.mended == [destinations(shoot)[source]]
    assert mended[1 - side].findings.mended == []
    hold_both(shoot, other, contents(card))
    assert (path.stat().st_mtime_ns) == (card / source).stat().st_mtime_ns


def test_both_ways_at_once(card: Path, shoot: Path, other: Path) -> None:
    one, two = sorted(p for p in destinations(shoot).values() if p.endswith(".JPG"))[:2]
    (shoot / one).unlink()
    spoil(other / two)
    both(shoot, other, mends=True)
    hold_both(shoot, other, contents(card))


def test_what_a_good_copy_takes_the_place_of_is_kept(shoot: Path, other: Path) -> None:
    path = destinations(shoot)[PICTURE]
    spoiled = spoil(shoot / path)
    mended, _ = both(shoot, other, mends=True)
    (aside,) = mended.aside
    assert aside.startswith(".sorter/replaced/")
    assert (shoot / aside).read_bytes() == spoiled
    again = spoil(shoot / path)
    (shoot / path).write_bytes(again + b"!")
    both(shoot, other, mends=True)
    assert len(list((shoot / ".sorter" / "replaced").iterdir())) == 2
    gone = undo(shoot)
    assert set(gone.stay) == {aside, aside.replace("_1_", "_2_")}
    assert (shoot / aside).read_bytes() == spoiled


@pytest.mark.parametrize(
    "name", ["w" * 251 + ".JPG", "\N{CJK UNIFIED IDEOGRAPH-6D77}" * 83 + ".JPG"]
)
def test_a_file_of_the_longest_name_there_is_is_mended_too(tmp_path: Path, name: str) -> None:
    card, shoot, other = tmp_path / "card", tmp_path / "shoot", tmp_path / "other"
    picture(card / LIMPETS / name, 1.0)
    ingest(card, shoot, backup=other)
    path = destinations(shoot)[f"{LIMPETS}/{name}"]
    spoiled = spoil(shoot / path)
    mended, _ = both(shoot, other, mends=True)
    (aside,) = mended.aside
    assert (shoot / aside).read_bytes() == spoiled
    assert aside.endswith(".JPG")
    hold_both(shoot, other, contents(card))


def test_what_is_broken_in_both_stays_as_it_is(shoot: Path, other: Path) -> None:
    path = destinations(shoot)[PICTURE]
    spoiled = spoil(shoot / path)
    (other / path).unlink()
    one, two = both(shoot, other, mends=True)
    assert (one.findings.changed, two.findings.missing) == ([path], [path])
    assert (shoot / path).read_bytes() == spoiled
    assert not (other / path).exists()


def test_an_edited_sidecar_stays_in_both(shoot: Path, other: Path) -> None:
    path = destinations(shoot)[SIDECAR]
    (other / path).write_text("keep this limpet")
    one, two = both(shoot, other, mends=True)
    assert (other / path).read_text() == "keep this limpet"
    assert (shoot / path).read_text() != "keep this limpet"
    assert two.findings.edited == [path]
    assert not one.findings.has_remarks


def test_what_the_second_copy_never_got_comes_from_the_shoot_without_a_card(
    card: Path, shoot: Path, other: Path
) -> None:
    originals = contents(card)
    picture(card / LIMPETS / "IMG_0009.JPG", 1.25)
    originals |= contents(card)
    ingest(card, shoot, moves=True)
    shutil.rmtree(card)
    both(shoot, other, mends=True)
    hold_both(shoot, other, originals)


def test_a_second_copy_is_made_anew(card: Path, shoot: Path, other: Path) -> None:
    shutil.rmtree(other)
    both(shoot, other, mends=True)
    hold_both(shoot, other, contents(card))


def test_a_shoot_is_made_anew_from_its_second_copy(card: Path, shoot: Path, other: Path) -> None:
    shutil.rmtree(shoot)
    both(other, shoot, mends=True)
    hold_both(shoot, other, contents(card))


def test_a_copy_made_by_hand_becomes_a_second_copy(card: Path, shoot: Path, other: Path) -> None:
    shutil.rmtree(other)
    shutil.copytree(shoot, other, ignore=shutil.ignore_patterns(".sorter"))
    kept = (other / destinations(shoot)[SIDECAR]).stat().st_ino
    path = destinations(shoot)[PICTURE]
    spoil(other / path)
    _, two = both(shoot, other, mends=True)
    assert two.findings.mended == [path]
    assert (other / destinations(shoot)[SIDECAR]).stat().st_ino == kept
    hold_both(shoot, other, contents(card))


def test_a_folder_with_lists_of_its_own_is_not_made_a_second_copy(
    shoot: Path, tmp_path: Path
) -> None:
    (tmp_path / "third").mkdir()
    (tmp_path / "third" / "manifest.csv").write_text("my own list")
    with pytest.raises(BadShoot, match=r"manifest\.csv"):
        both(shoot, tmp_path / "third", mends=True)
    assert (tmp_path / "third" / "manifest.csv").read_text() == "my own list"
    assert not (tmp_path / "third" / ".sorter").exists()


# ---- faults -------------------------------------------------------------------------------------


def test_a_good_copy_that_cannot_be_read_leaves_the_other_as_it_is(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = destinations(shoot)[PICTURE]
    spoiled, reads, read_at = spoil(shoot / path), [0], streams._read_at  # noqa: SLF001

    def fail(handle: int, memory: memoryview, at: int) -> int:
        if is_file(handle, other / path):
            reads[0] += 1
            if reads[0] > 1:  # verified at first, and then it fails
                raise OSError(errno.EIO, os.strerror(errno.EIO))
        return read_at(handle, memory, at)

    with monkeypatch.context() as patch:
        patch.setattr(streams, "_read_at", fail)
        one, _ = both(shoot, other, mends=True)
    assert one.unmended == {path: "cannot be read: Input/output error"}
    assert one.findings.changed == [path]
    assert (shoot / path).read_bytes() == spoiled
    both(shoot, other, mends=True)
    hold_both(shoot, other, contents(card))


def test_a_good_copy_that_changes_meanwhile_is_not_taken(
    shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = destinations(shoot)[PICTURE]
    spoiled, new_file = spoil(shoot / path), Shoot.new_file

    def slow(self: Shoot, number: int) -> object:
        spoil(other / path)
        return new_file(self, number)

    monkeypatch.setattr(Shoot, "new_file", slow)
    one, _ = both(shoot, other, mends=True)
    assert "does not hold the bytes any more" in one.unmended[path]
    assert (shoot / path).read_bytes() == spoiled


def test_no_room_is_told_and_nothing_is_done(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = destinations(shoot)[PICTURE]
    (other / path).unlink()
    room = Shoot.free_space
    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "free_space", lambda self: 9 if self.root == other else room(self))
        one, two = both(shoot, other, mends=True)
    assert one.failure is None
    assert isinstance(two.failure, NoRoom)
    assert two.findings.missing == [path]
    both(shoot, other, mends=True)
    hold_both(shoot, other, contents(card))


def test_a_copy_at_which_another_run_is_at_work_is_left_alone(shoot: Path, other: Path) -> None:
    with Ledger(other / ".sorter", hold=True), pytest.raises(ShootBusy):
        both(shoot, other, mends=True)


def test_a_shoot_without_a_ledger_is_no_shoot(shoot: Path, other: Path) -> None:
    shutil.rmtree(shoot / ".sorter")
    with pytest.raises(NoShoot):
        both(shoot, other, mends=True)
