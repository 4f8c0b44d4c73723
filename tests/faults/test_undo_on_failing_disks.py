"""An undo over disks that fail: what cannot be looked at stays and is named, and the rest is taken back."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner, Result

import tides
from faults.disks import ENOUGH, limited, may_mount, mounted, resize
from sorter.cli import commands
from sorter.disk.shoot import Shoot
from sorter.errors import CardGone, CardNotWritable, NoRoom, ShootNotWritable
from sorter.writing.ledger import Ledger
from writing.cards import (
    LIMPETS,
    contents,
    destinations,
    found,
    hold_whole,
    ingest,
    tide_card,
    undo,
)
from writing.faults import (
    cannot_look,
    fails_at,
    full_disk,
    no_way_to_rename,
    other_devices,
    other_disks,
    read_faults,
)
from writing.regrouping import regrouped, wish

EIO: Final = os.strerror(errno.EIO)
CLOSED: Final = os.strerror(errno.EACCES)
BURST: Final = "0001_burst_4"
FIRST: Final = f"{LIMPETS}/IMG_0001.JPG"
CAN_MOUNT: Final = pytest.mark.skipif(not may_mount(), reason="mounting takes root")


def sorter(*arguments: str | Path) -> Result:
    """Whatever happens is told in words."""
    done = CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter")
    assert "fault of the sorter" not in done.stderr, done.stderr
    assert "Traceback" not in done.output
    return done


card = tides.linkless_card
shoot = tides.new_shoot


Fault = Callable[[pytest.MonkeyPatch, Path, Path], None]

IN_SHOOT: Final[dict[str, tuple[Fault, int, str]]] = {
    "stat of a file": (
        lambda patch, shoot, _: cannot_look(patch, shoot / BURST / "IMG_0001.JPG"), 1, EIO
    ),
    "opening a file": (
        lambda patch, shoot, _: cannot_look(patch, shoot / BURST / "IMG_0001.JPG", opens=True), 1, EIO
    ),
    "reading a file": (
        lambda patch, shoot, _: read_faults(patch, shoot / BURST / "IMG_0001.JPG", times=99), 1, EIO
    ),
    "a folder": (lambda patch, shoot, _: cannot_look(patch, shoot / BURST), 8, EIO),
    "a closed folder": (
        lambda patch, shoot, _: cannot_look(patch, shoot / BURST, number=errno.EACCES), 8, CLOSED
    ),
}  # fmt: skip
ON_CARD: Final[dict[str, tuple[Fault, int, str]]] = {
    "stat of a file": (lambda patch, _, card: cannot_look(patch, card / FIRST), 1, EIO),
    "opening a file": (lambda patch, _, card: cannot_look(patch, card / FIRST, opens=True), 1, EIO),
    "reading a file": (lambda patch, _, card: read_faults(patch, card / FIRST, times=99), 1, EIO),
    "a folder": (lambda patch, _, card: cannot_look(patch, card / LIMPETS), 8, EIO),
    "a closed folder": (
        lambda patch, _, card: cannot_look(patch, card / LIMPETS, number=errno.EACCES), 8, CLOSED
    ),
}  # fmt: skip


@pytest.mark.parametrize("more", [(), ("--without-card",)])
@pytest.mark.parametrize("fault", IN_SHOOT)
def test_copies_that_cannot_be_looked_at_stay(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, fault: str, more: tuple[str, ...]
) -> None:
    originals = contents(card)
    ingest(card, shoot)
    break_it, count, says = IN_SHOOT[fault]
    with monkeypatch.context() as patch:
        break_it(patch, shoot, card)
        done = sorter("undo", shoot, "--yes", *more)
    assert done.exit_code == 1, done.output
    assert done.stdout.count(f"cannot be read in the shoot: {says}") == count
    assert f"{BURST}/IMG_0001.JPG: cannot be read" in done.stdout
    assert f"{len(originals) - count} copies removed" in done.stdout
    assert len([path for path in contents(shoot) if "/" in path]) == count
    is_ended_by_the_next(card, shoot, originals)


@pytest.mark.parametrize("fault", ON_CARD)
def test_copies_whose_originals_cannot_be_looked_at_stay(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    originals = contents(card)
    ingest(card, shoot)
    break_it, count, says = ON_CARD[fault]
    with monkeypatch.context() as patch:
        break_it(patch, shoot, card)
        done = sorter("undo", shoot, "--yes")
    assert done.exit_code == 1, done.output
    assert done.stdout.count(f"what the card has of it cannot be read: {says}") == count
    assert len([path for path in contents(shoot) if "/" in path]) == count
    is_ended_by_the_next(card, shoot, originals)


def test_what_the_card_lacks_counts_more_than_what_it_does_not_tell(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(card, shoot)
    (card / "tides.txt").unlink()
    before = contents(shoot)
    with monkeypatch.context() as patch:
        cannot_look(patch, card / FIRST)
        done = sorter("undo", shoot, "--yes")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "tides.txt: not on the card" in done.stderr
    assert contents(shoot) == before


@pytest.fixture(params=["one disk", "two disks"])
def _disks(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.param == "two disks":
        other_devices(monkeypatch)
        other_disks(monkeypatch)


@pytest.mark.usefixtures("_disks")
@pytest.mark.parametrize("where", ["shoot", "card"])
@pytest.mark.parametrize("fault", IN_SHOOT)
def test_moved_files_that_cannot_be_looked_at_stay(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, fault: str, where: str
) -> None:
    """On the card something came into the place of the file, or its folder is broken."""
    originals = contents(card)
    ingest(card, shoot, moves=True)
    if where == "card":
        (card / FIRST).write_bytes(originals[FIRST][::-1])
    break_it, count, says = (IN_SHOOT if where == "shoot" else ON_CARD)[fault]
    with monkeypatch.context() as patch:
        break_it(patch, shoot, card)
        done = sorter("undo", shoot, "--yes")
    assert done.exit_code == 1, done.output
    assert (
        done.stdout.count(f"cannot be read{' in the shoot' * (where == 'shoot')}: {says}") == count
    )
    assert f"{len(originals) - count} files moved back" in done.stdout
    held = [*contents(shoot).values(), *contents(card).values()]
    assert all(data in held for data in originals.values())
    if where == "card":
        (card / FIRST).unlink()
    is_ended_by_the_next(card, shoot, originals)


def is_ended_by_the_next(card: Path, shoot: Path, originals: dict[str, bytes]) -> None:
    """What stayed is known to the ledger, and taken back once the disk is well again."""
    assert not found(shoot).added
    assert set(destinations(shoot).values()) == {path for path in contents(shoot) if "/" in path}
    done = sorter("undo", shoot, "--yes")
    assert done.exit_code == 0, done.output
    assert contents(card) == originals
    assert not shoot.exists()


@pytest.mark.parametrize("moves", [False, True])
@pytest.mark.parametrize("number", [errno.EIO, errno.EACCES])
def test_a_card_that_cannot_be_listed_ends_it_before_anything_is_done(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, number: int, *, moves: bool
) -> None:
    ingest(card, shoot, moves=moves)
    before = contents(shoot)
    with monkeypatch.context() as patch:
        cannot_look(patch, card, number=number)
        done = sorter("undo", shoot, "--yes")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith(f"Error: {card}: ")
    assert os.strerror(number) in done.stderr
    assert contents(shoot) == before


def test_a_card_that_goes_away_while_it_is_compared_stops_it(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    with monkeypatch.context() as patch:

        def pulled(done: int, _: int) -> None:
            if done > 2000:
                cannot_look(patch, card, number=errno.ENODEV)

        from sorter.pipeline import Undo  # noqa: PLC0415  for this one run

        with Undo(shoot, None) as work, pytest.raises(CardGone, match="went away"):
            work.check_originals(pulled)
    assert contents(shoot) == before
    undo(shoot)
    assert not shoot.exists()


@pytest.mark.parametrize("number", [errno.EIO, errno.EACCES])
@pytest.mark.parametrize("below", ["", ".sorter"])
def test_a_shoot_that_cannot_be_looked_at_is_told_in_words(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, below: str, number: int
) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    with monkeypatch.context() as patch:
        cannot_look(patch, shoot / below, number=number)
        done = sorter("undo", shoot, "--yes")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith(f"Error: {shoot}: the system does not let us look there")
    assert os.strerror(number) in done.stderr
    assert contents(shoot) == before


def test_a_ledger_that_is_closed_is_told_of_by_what_reads_it(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Which is SQLite, with calls of its own: here it is let in."""
    ingest(card, shoot)
    cannot_look(monkeypatch, shoot / ".sorter" / "ledger.db")
    assert sorter("undo", shoot, "--yes").exit_code == 0


# ---- what the card does not take ----------------------------------------------------------------


def test_a_card_that_fails_is_told_from_a_shoot_that_fails(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    other_devices(monkeypatch)
    ingest(card, shoot, moves=True)
    other_disks(monkeypatch)
    for number, kind, says in (
        (errno.ENOSPC, NoRoom, "the card is full"),
        (errno.EDQUOT, NoRoom, "the card is full"),
        (errno.EIO, CardNotWritable, EIO),
        (errno.EROFS, CardNotWritable, os.strerror(errno.EROFS)),
    ):
        with monkeypatch.context() as patch:
            full_disk(patch, after=1, number=number)
            with pytest.raises(kind, match=f"^{card}: .*{says}.*Nothing is lost") as told:
                undo(shoot)
        assert told.value.exit_code == 3
        assert str(shoot) not in str(told.value)
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "remove", call=1, error=OSError(errno.EIO, EIO))
        with pytest.raises(ShootNotWritable, match=f"^{shoot}: {EIO}"):
            undo(shoot)
    undo(shoot)
    assert contents(card) == originals
    assert not shoot.exists()


@CAN_MOUNT
def test_a_full_card_is_named_and_not_the_shoots_disk(base: Path) -> None:
    card, shoot = base / "mnt" / "card", base / "shoot"
    with limited(base / "mnt", ENOUGH, "mounted"):
        originals = contents(tide_card(card))
        (card / "latest.JPG").unlink()
        ingest(card, shoot, moves=True)
        (card / "filling").write_bytes(b"sand" * 9000)
        resize(base / "mnt", 9000 * 4 + 4096 * 8)
        done = sorter("undo", shoot, "--yes")
        assert done.exit_code == 3
        newest, error = done.stderr.splitlines()
        assert newest.startswith(f"To be taken back: the newest ingest of {card}, 13 files")
        assert error.startswith(f"Error: {card}: the card is full. Nothing is lost")
        assert str(shoot) not in done.stderr
        held = [*contents(shoot).values(), *contents(card).values()]
        assert all(data in held for data in originals.values())
        (card / "filling").unlink()
        resize(base / "mnt", ENOUGH)
        assert sorter("undo", shoot, "--yes").exit_code == 0
        assert contents(card) == originals
        assert not shoot.exists()


@CAN_MOUNT
def test_a_locked_card_is_named(base: Path) -> None:
    card, shoot = base / "card", base / "shoot"
    originals = contents(tide_card(card))
    (card / "latest.JPG").unlink()
    ingest(card, shoot, moves=True)
    with mounted(base / "view", str(card), "--bind", "-o", "ro"):
        done = sorter("undo", shoot, "--yes", "--card", base / "view")
    assert done.exit_code == 3
    newest, error = done.stderr.splitlines()
    assert newest.startswith(f"To be taken back: the newest ingest of {card}, 13 files")
    assert error.startswith(f"Error: {base / 'view'}: the card does not take a file back")
    assert "its lock" in done.stderr
    assert sorter("undo", shoot, "--yes").exit_code == 0
    assert contents(card) == originals


def test_a_file_that_is_on_a_full_card_already_needs_no_room_there(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An undo was killed behind the copy; the card filled up since."""
    originals = contents(card)
    other_devices(monkeypatch)
    ingest(card, shoot, moves=True)
    other_disks(monkeypatch)
    for path, data in originals.items():
        (card / path).write_bytes(data)
    full_disk(monkeypatch, after=0)
    monkeypatch.setattr(Ledger, "set_state", lambda *_: None)
    assert undo(shoot).returned == len(originals)


# ---- names --------------------------------------------------------------------------------------


@pytest.mark.parametrize("moves", [False, True])
@pytest.mark.parametrize("both", [False, True])
def test_a_name_that_cannot_be_taken_away_leaves_no_file_twice(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, *, both: bool, moves: bool
) -> None:
    """On a file system without renames that replace nothing. both: the second name stays too."""
    originals = contents(card)
    no_way_to_rename(monkeypatch, second_names=True)
    works: list[Callable[[], object]] = [
        lambda: ingest(card, shoot, moves=moves),
        lambda: undo(shoot),
    ]
    for work in works if moves else works[:1]:  # an undo of copies gives no names
        with monkeypatch.context() as patch:
            _cannot_be_taken_away(patch, both=both)
            with pytest.raises((ShootNotWritable, CardNotWritable), match=EIO):
                work()
        if not both:
            names = [path for each in (card, shoot) for path in each.rglob("IMG_0001.JPG")]
            assert all(path.stat().st_nlink == 1 for path in names)
        work()
        if shoot.exists():
            hold_whole(shoot, originals)
            assert contents(card) == ({} if moves else originals)
    assert contents(card) == originals
    assert shoot.exists() is not moves


def _cannot_be_taken_away(patch: pytest.MonkeyPatch, *, both: bool) -> None:
    """The first picture's names, after it was given a second one."""
    link, unlink = os.link, os.unlink
    stuck: set[str] = set()

    def noted(source: str, target: str, **more: bool) -> None:
        link(source, target, **more)
        if os.stat(source).st_size > 999:  # noqa: PTH116  no lists of ours
            stuck.update((source, target) if both else (source,))

    def fail(path: str | Path, **more: bool) -> None:
        if str(path) in stuck:
            raise OSError(errno.EIO, EIO, str(path))
        unlink(path, **more)

    patch.setattr(os, "link", noted)
    patch.setattr(os, "unlink", fail)


# ---- regroupings --------------------------------------------------------------------------------


def test_a_regrouping_is_taken_back_around_what_cannot_be_looked_at(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sorter.model.kinds import Kind  # noqa: PLC0415  for this one wish

    ingest(card, shoot)
    before = contents(shoot)
    regrouped(shoot, wish(Kind.MARKER, 2))
    with monkeypatch.context() as patch:
        cannot_look(patch, shoot / "markers" / "IMG_0002.JPG")
        done = sorter("undo", shoot, "--yes")
    assert done.exit_code == 1, done.output
    assert f"markers/IMG_0002.JPG: cannot be looked at: {EIO}" in done.stdout
    assert not found(shoot).has_failed
    assert sorted(contents(shoot).values()) != []
    shutil.move(shoot / "markers" / "IMG_0002.JPG", shoot / BURST / "IMG_0002.JPG")
    assert contents(shoot).keys() == before.keys()
