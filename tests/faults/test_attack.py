"""What a stranger tried: links into the shoot, cards that are swapped, disks that only seem past the cache.

Each was seen to lose a file, or to say what was not so.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import pytest

from faults.disks import may_mount, mounted
from faults.faulty import FailingRead, faulty
from faults.mounting import needed
from sorter.cli import endings
from sorter.disk.shoot import remove_from_card
from sorter.disk.streams import Stream, measured
from sorter.disk.systems import linux
from sorter.errors import CardEmpty, NoRoom, SorterError
from sorter.model.advice import last_line
from sorter.model.disks import Apart, Lies, apart
from sorter.model.plan import Entry, WhyNotRemoved
from sorter.pipeline import Ingest, IngestOptions, Report, against_card, verify_both
from sorter.pipeline import carrying as carrying_stage
from sorter.writing import moving
from writing.cards import (
    ANEMONES,
    LIMPETS,
    QUIET,
    by_source,
    contents,
    found,
    ingest,
    limpets,
    picture,
    rows,
    stamped,
)
from writing.faults import other_devices, other_disks

FRAMES: Final = 4


@pytest.fixture
def card(base: Path) -> Path:
    return lone_limpets(base / "card")


@pytest.fixture
def shoot(base: Path) -> Path:
    return base / "shoot"


@pytest.fixture
def far(monkeypatch: pytest.MonkeyPatch) -> None:
    """Card and shoot lie on two disks."""
    other_devices(monkeypatch)
    other_disks(monkeypatch)


def lone_limpets(card: Path) -> Path:
    """Frames ten minutes apart, of which each file may leave by itself."""
    for number in range(1, FRAMES + 1):
        picture(card / LIMPETS / f"IMG_{number:04d}.JPG", 600 * number, shade=20 * number)
    stamped(card)
    return card


def stopped(work: Callable[[], object], removals: int) -> None:
    """The work in a process that is killed before it takes one more file off the card than these."""
    child = os.fork()
    if child == 0:
        left, remove = [removals], remove_from_card

        def kill_or_remove(path: str) -> None:
            if not left[0]:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1
            remove(path)

        vars(moving)["remove_from_card"] = kill_or_remove  # only in the child
        try:
            work()
        finally:
            os._exit(1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


def said(report: Report, shoot: Path) -> str:
    return "\n".join(line.text for line in endings.ingested(report, shoot))


def needs_mounts() -> None:
    if not may_mount():
        pytest.skip("this user may not mount file systems here")


# ---- a card that leads into the shoot -----------------------------------------------------------


@pytest.mark.usefixtures("far")
@pytest.mark.parametrize("way", ["link", "mounted twice"])
def test_a_folder_of_the_card_that_leads_into_the_shoot_costs_no_copy(
    card: Path, shoot: Path, way: str
) -> None:
    """A move that was stopped is gone on with; the copies would be taken off the card as originals."""
    stopped(lambda: ingest(card, shoot, moves=True), 0)
    copies = contents(shoot)
    (place,) = {path.parent for path in by_name(shoot).values()}
    shutil.rmtree(card / LIMPETS)
    with ExitStack() as stack:
        if way == "link":
            (card / LIMPETS).symlink_to(place)
        else:
            needs_mounts()
            stack.enter_context(mounted(card / LIMPETS, str(place), "--bind"))
        report = ingest(card, shoot, moves=True)
    assert contents(shoot).items() >= copies.items()
    assert report.gone == ()
    assert {why for _, why in report.kept} == {WhyNotRemoved.ELSEWHERE}


def test_what_lies_behind_a_link_is_not_carried_by_a_stopped_plan(
    base: Path, card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On one disk a move is a rename: of a file elsewhere, where a link leads there."""
    with monkeypatch.context() as patch, Ingest(card, shoot, IngestOptions(moves=True)) as work:
        plan = work.inspect(QUIET, hold=True)
        patch.setattr(carrying_stage.Carrying, "carry", _stop)
        with pytest.raises(NoRoom):
            work.carry(plan, QUIET)
    elsewhere = base / "elsewhere"
    (card / LIMPETS).rename(elsewhere)
    (card / LIMPETS).symlink_to(elsewhere)
    before = contents(elsewhere)
    report = ingest(card, shoot, moves=True)
    assert contents(elsewhere) == before
    assert report.gone == ()


def _stop(*_: object) -> None:
    raise NoRoom("stopped here")


# ---- a move that is gone on with ------------------------------------------------------------------


@pytest.mark.usefixtures("far")
def test_another_card_does_not_end_the_move_of_the_one_before(
    base: Path, card: Path, shoot: Path
) -> None:
    """It was taken for the first card, of which all was then noted as gone; and called moved itself."""
    stopped(lambda: ingest(card, shoot, moves=True), 1)
    other = base / "other"
    picture(other / ANEMONES / "IMG_0077.JPG", 9000)
    report = ingest(other, shoot)
    assert "1 of 1 file verified: copied and read back" in said(report, shoot)
    assert contents(other)
    report = ingest(card, shoot, moves=True)
    assert contents(card) == {}
    assert len(report.gone) == FRAMES - 1


@pytest.mark.usefixtures("far")
def test_another_card_in_the_same_place_is_not_taken_for_the_one_before(
    base: Path, card: Path, shoot: Path
) -> None:
    stopped(lambda: ingest(card, shoot, moves=True), 1)
    card.rename(base / "first")
    picture(card / ANEMONES / "IMG_0077.JPG", 9000)
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=True)
        assert plan.goes_on is None
        assert plan.waits_elsewhere is not None


@pytest.mark.usefixtures("far")
def test_a_move_whose_last_note_was_cut_is_ended_with_the_bare_card(
    card: Path, shoot: Path
) -> None:
    stopped(lambda: ingest(card, shoot, moves=True), FRAMES - 1)
    for path in contents(card):
        (card / path).unlink()
    report = ingest(card, shoot, moves=True)
    assert report.is_whole
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=True)
        assert plan.goes_on is plan.waits_elsewhere is None


@pytest.mark.usefixtures("far")
def test_so_is_one_of_a_flat_folder_that_holds_nothing_now(base: Path, shoot: Path) -> None:
    flat = lone_limpets(base / "card") / LIMPETS
    stopped(lambda: ingest(flat, shoot, moves=True), FRAMES - 1)
    for path in contents(flat):
        (flat / path).unlink()
    report = ingest(flat, shoot, moves=True)
    assert report.verified == FRAMES
    assert report.is_whole


def test_an_empty_folder_is_no_card_that_was_emptied(base: Path, card: Path, shoot: Path) -> None:
    """It was said that all was moved: of a card that was not in, too."""
    ingest(card, shoot, moves=True)
    assert ingest(card, shoot, moves=True).is_whole
    (base / "empty").mkdir()
    with pytest.raises(CardEmpty):
        ingest(base / "empty", shoot)


def test_the_folder_that_a_card_was_mounted_on_is_no_card_that_was_emptied(
    base: Path, shoot: Path
) -> None:
    needs_mounts()
    with mounted(base / "card", "tmpfs") as card:
        lone_limpets(card)
        ingest(card, shoot, moves=True)
        assert ingest(card, shoot, moves=True).is_whole
    with pytest.raises(CardEmpty):
        ingest(base / "card", shoot)


@pytest.mark.usefixtures("far")
def test_a_move_that_has_only_to_take_files_off_says_which_before_it_asks(
    card: Path, shoot: Path
) -> None:
    """Nobody was asked: nothing was left to carry."""
    stopped(lambda: ingest(card, shoot, moves=True), 1)
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=True)
        assert plan.would_move
        assert len(plan.finishing) == FRAMES - 1


@pytest.mark.usefixtures("far")
@pytest.mark.parametrize("fault", ["a spoiled copy", "no second copy"])
def test_what_a_cut_run_took_off_is_not_called_still_on_the_card(
    base: Path, card: Path, shoot: Path, fault: str
) -> None:
    stopped(lambda: ingest(card, shoot, moves=True), 2)
    first, second, *here = sorted(by_name(shoot))
    backup = None
    if fault == "a spoiled copy":
        by_name(shoot)[first].write_bytes(b"")
    else:
        backup = base / "a file" / "second"
        backup.parent.write_text("no folder")
    try:
        report = ingest(card, shoot, moves=True, backup=backup)
    finally:
        left = {Path(path).name for path in contents(card)}
    assert {Path(entry.row.source).name for entry, _ in report.kept} == left
    assert {Path(entry.row.source).name for entry in report.gone} == set(here) - left
    assert "equal to the card's" not in said(report, shoot)
    assert second not in left


def by_name(shoot: Path) -> dict[str, Path]:
    """The copies, by their names."""
    return {path.name: path for path in shoot.rglob("IMG_*") if ".sorter" not in path.parts}


def test_a_file_that_two_plans_of_a_run_kept_is_named_once(base: Path) -> None:
    """And not at all where the second of them took it off."""
    needed()
    below, shoot, name = base / "below", base / "shoot", "IMG_0003.xmp"
    limpets(below, FRAMES)
    with faulty(base / "card", below, FailingRead(name)) as disk:
        stopped(lambda: ingest(disk.mountpoint, shoot, moves=True), 1)
        report = ingest(disk.mountpoint, shoot, moves=True)
        kept = [entry.row.source for entry, _ in report.kept]
        assert sorted(kept) == sorted(contents(below)) == sorted(set(kept))
        disk.now()
        report = ingest(disk.mountpoint, shoot, moves=True)
        assert (report.kept, contents(below)) == ((), {})


@pytest.mark.usefixtures("far")
def test_second_names_of_a_file_on_the_card_leave_it_as_others_do(card: Path, shoot: Path) -> None:
    """The first that goes changes the stamp of the other: it was said to hold other bytes."""
    os.link(card / LIMPETS / "IMG_0002.JPG", card / "COPY_0002.JPG")
    os.link(card / LIMPETS / "IMG_0002.JPG", card / LIMPETS / "IMG_0012.JPG")
    report = ingest(card, shoot, moves=True)
    assert (report.kept, contents(card)) == ((), {})
    assert report.is_whole


def test_the_twin_of_a_moved_file_is_said_to_stay(base: Path, card: Path, shoot: Path) -> None:
    """It stayed on the card of the other slot without a word."""
    shutil.copytree(card, base / "other slot")
    ingest(card, shoot, moves=True)
    with Ingest(base / "other slot", shoot, IngestOptions(moves=True)) as work:
        plan = work.inspect(QUIET, hold=True)
        lines = list(endings.beforehand(plan))
        assert f"{FRAMES} files stay on the card" in lines[-1]
        work.carry(plan, QUIET)
    assert len(contents(base / "other slot")) == FRAMES


# ---- on one disk: between the reading and the rename -------------------------------------------


def edit_in_secret(path: Path) -> None:
    """Other bytes, of the same number and the same time."""
    about, data = path.stat(), bytearray(path.read_bytes())
    data[-5] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))


def edit(path: Path) -> None:
    path.write_bytes(path.read_bytes()[::-1])


def delete(path: Path) -> None:
    path.unlink()


@pytest.mark.parametrize("change", [edit_in_secret, edit, delete])
def test_a_rename_takes_only_what_was_read(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path], None]
) -> None:
    """It took a file with other bytes as verified, or stopped and blamed the shoot's disk."""
    path, taken = card / LIMPETS / "IMG_0002.JPG", moving.CardRemover._taken  # noqa: SLF001  just before it

    def change_first(self: moving.CardRemover, entry: Entry) -> bool:
        if entry.row.source.endswith(path.name):
            change(path)
        return taken(self, entry)

    monkeypatch.setattr(moving.CardRemover, "_taken", change_first)
    report = ingest(card, shoot, moves=True)
    assert [Path(entry.row.source).name for entry in report.failed] == [path.name]
    assert len(report.gone) == FRAMES - 1
    assert not found(shoot).has_failed
    assert not report.is_whole


# ---- the second copy ------------------------------------------------------------------------------


@pytest.mark.parametrize("spoils", [False, True])
def test_what_only_the_second_copy_had_is_read_there_when_the_shoot_gets_it(
    base: Path, card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, *, spoils: bool
) -> None:
    """It was not looked at, "0 of 4 files verified" there, and the exit code was 0."""
    other = base / "other"
    with monkeypatch.context() as patch:
        patch.setattr(
            carrying_stage,
            "no_space",
            lambda place, _: NoRoom("none") if place.root == shoot else None,
        )
        ingest(card, shoot, backup=other)
    assert len(by_source(other)) == FRAMES
    if spoils:
        next(iter(by_name(other).values())).write_bytes(b"")
    report = ingest(card, shoot, backup=other)
    assert report.backup is not None
    assert report.verified == report.backup.verified == FRAMES
    assert by_source(shoot) == by_source(other) == contents(card)


def test_a_second_copy_of_which_less_is_verified_is_not_whole(
    base: Path, card: Path, shoot: Path
) -> None:
    report = ingest(card, shoot, backup=base / "other")
    assert report.backup is not None
    assert report.backup.is_whole
    (first, *_) = report.backup.entries
    held = {number: one for number, one in report.backup.held.items() if number != first.number}
    less = type(report.backup)(folder=base / "other", entries=report.backup.entries, held=held)
    assert not less.is_whole


def test_an_edited_sidecar_is_sought_in_the_second_copy_too(base: Path, shoot: Path) -> None:
    """It was whole there, and said to be in no copy."""
    card, other = limpets(base / "card", FRAMES), base / "other"
    ingest(card, shoot, backup=other)
    edited = next(row for row in rows(shoot) if row.destination.endswith("IMG_0001.xmp"))
    (shoot / edited.destination).write_text("edited by hand")
    both = verify_both(shoot, other, lambda *_: None, lambda *_: None, mends=False)
    one, two = (each.findings for each in both)
    side = against_card(card, shoot, other, one, lambda *_: None)
    assert side.unknown == ()
    assert edited.source in side.held_by(two)
    assert edited.source not in side.held_by(one)
    line = last_line(side.evidence(one, two))
    assert "not everything is in the shoot" in line
    assert "not everything is in the second copy" not in line


# ---- disks that are not what they seem -------------------------------------------------------------


def formatted(folder: Path, *words: str) -> Path:
    """A new file system in a file."""
    if shutil.which(words[0]) is None:
        pytest.skip(f"{words[0]} is not installed")
    image = folder / "image"
    with image.open("wb") as file:
        file.truncate(128 * 1024 * 1024)
    subprocess.run([*words, str(image)], check=True, capture_output=True)  # noqa: S603  named here
    return image


@pytest.fixture
def images(tmp_path: Path) -> Iterator[Path]:
    needs_mounts()
    yield tmp_path
    (tmp_path / "image").unlink(missing_ok=True)


def mounted_as(stack: ExitStack, images: Path, words: tuple[str, ...], options: str) -> Path:
    image = formatted(images, *words)
    try:
        return stack.enter_context(mounted(images / "disk", str(image), "-o", options))
    except subprocess.CalledProcessError as error:
        pytest.skip(f"cannot be mounted here: {error.stderr.decode()}")


def read_from(folder: Path) -> int:
    """Bytes that were read from the block device of this file system so far, by sysfs's stat."""
    device = folder.stat().st_dev
    if os.major(device) == 0:  # btrfs has numbers of its own
        mount = linux._mount_of(str(folder))  # noqa: SLF001  only a test needs its device
        assert mount is not None
        device = Path(mount.source).stat().st_rdev
    place = Path(f"/sys/dev/block/{os.major(device)}:{os.minor(device)}/stat")
    return int(place.read_text().split()[2]) * 512


EXT4: Final = ("mkfs.ext4", "-q", "-F")
BTRFS: Final = ("mkfs.btrfs", "-q", "-f")


@pytest.mark.parametrize(
    ("words", "options"),
    [(EXT4, "loop"), (EXT4, "loop,data=journal"), (BTRFS, "loop,compress-force=zstd")],
)
def test_a_direct_read_that_the_file_system_takes_through_the_cache_is_seen(
    images: Path, words: tuple[str, ...], options: str
) -> None:
    """O_DIRECT was taken without an error, and nothing came from the disk."""
    with ExitStack() as stack:
        disk = mounted_as(stack, images, words, options)
        path = disk / "splash"
        path.write_bytes(b"limpet " * 600_000)
        os.sync()
        path.read_bytes()
        before = read_from(disk)
        told = measured(Stream(str(path), past=True))
        assert told.sure
        assert read_from(disk) > before


def test_what_an_overlay_only_reads_lies_on_the_disk_below_it(images: Path) -> None:
    """Its files were taken to lie where new ones would: in memory, and so on no disk of a copy."""
    upper, place = images / "upper", images / "place"
    with ExitStack() as stack:
        lower = mounted_as(stack, images, EXT4, "loop")
        stack.enter_context(mounted(upper, "tmpfs"))
        for name in ("new", "work"):
            (upper / name).mkdir()
        options = f"lowerdir={lower},upperdir={upper}/new,workdir={upper}/work"
        try:
            stack.enter_context(mounted(place, "overlay", "-t", "overlay", "-o", options))
        except subprocess.CalledProcessError as error:
            pytest.skip(f"no overlay can be mounted here: {error.stderr.decode()}")
        seen = linux.disk(str(place))
        assert seen.lies is Lies.MEMORY
        assert apart(seen, linux.disk(str(lower))) is Apart.ONE


def test_a_mount_that_another_hides_tells_nothing_of_what_lies_above_it(images: Path) -> None:
    """In memory was taken for a disk, and a disk for memory."""
    upper = images / "upper"
    place = upper / "pool"
    with ExitStack() as stack:
        place.mkdir(parents=True)
        hidden = mounted_as(stack, images, EXT4, "loop")
        stack.enter_context(mounted(place, str(hidden), "--bind"))
        assert linux.disk(str(place)).lies is Lies.DISK
        stack.enter_context(mounted(upper, "tmpfs"))
        place.mkdir()
        assert linux.disk(str(place)).lies is Lies.MEMORY


def test_a_shoot_whose_folder_is_the_cards_mounted_twice_is_refused(base: Path) -> None:
    """Only the roots of the mounts tell that."""
    needs_mounts()
    card, twice = limpets(base / "card"), base / "twice"
    (card / "within").mkdir()
    before = contents(card)
    with mounted(twice, str(card / "within"), "--bind"):
        with pytest.raises(SorterError):
            ingest(card, twice)
        assert contents(card) == before
