"""The disk with faults itself: it passes all on as it is, and each of its faults is there for any program.

What a call does without and with a fault is as the manual pages of the Linux kernel have it: open(2),
rename(2), link(2), readdir(3), posix_fadvise(2), statvfs(3).
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import fcntl
import hashlib
import mmap
import os
import re
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from faults import faulty as instrument
from faults.faulty import (
    ClosedFolder,
    FailingRead,
    FailingRename,
    FailingUnlink,
    Fault,
    Faulty,
    FlipEveryRead,
    FlipFirstRead,
    FoldsNames,
    Full,
    NoDirect,
    NoExclusiveRename,
    NoSecondNames,
    NoStat,
    NoTypes,
    ReadOnly,
    fault_of,
    faulty,
    spelled,
    why_not,
)
from faults.mounting import Way, needed, read, said, sorter
from writing.cards import LIMPETS, contents, hold_whole, tide_card

FIRST = f"{LIMPETS}/IMG_0001.JPG"
SIZE = 700_001
"""Bytes of a file that is read in many requests and ends within a page."""
PAGE = 4096
WAYS: list[Way] = ["cached", "past the cache"]


@pytest.fixture(autouse=True)
def _there_is_one() -> None:
    needed()


@pytest.fixture
def disk(base: Path) -> Iterator[Faulty]:
    """A disk without faults, with one file, not yet read."""
    (base / "below").mkdir()
    (base / "below" / "limpet").write_bytes(tide(SIZE))
    with faulty(base / "disk", base / "below") as disk:
        yield disk


@pytest.fixture
def top(disk: Faulty) -> Path:
    return disk.mountpoint


@pytest.fixture
def limpet(disk: Faulty) -> Path:
    return disk.mountpoint / "limpet"


def tide(size: int) -> bytes:
    """Bytes of which no two blocks are equal."""
    return hashlib.shake_256(b"low tide").digest(size)


def refused(number: int) -> contextlib.AbstractContextManager[object]:
    return pytest.raises(OSError, match=re.escape(os.strerror(number)))


def is_mounted(path: Path) -> bool:
    return any(
        f" {path} " in line for line in Path("/proc/self/mountinfo").read_text().splitlines()
    )


# ---- without faults ----------------------------------------------------------------------------


def test_what_is_written_lies_below_and_what_lies_below_is_read(disk: Faulty, base: Path) -> None:
    (disk.mountpoint / "pool").mkdir()
    (disk.mountpoint / "pool" / "crab").write_bytes(b"sideways")
    assert (base / "below" / "pool" / "crab").read_bytes() == b"sideways"
    (base / "below" / "pool" / "whelk").write_bytes(b"slowly")
    assert (disk.mountpoint / "pool" / "whelk").read_bytes() == b"slowly"
    assert sorted(path.name for path in (disk.mountpoint / "pool").iterdir()) == ["crab", "whelk"]


@pytest.mark.parametrize("way", WAYS)
def test_a_file_is_read_whole(limpet: Path, way: Way) -> None:
    assert read(limpet, way) == tide(SIZE)


def test_what_is_known_of_a_file_is_what_is_known_below(limpet: Path, base: Path) -> None:
    limpet.chmod(0o640)
    os.utime(limpet, ns=(1_779_022_931_500_000_001, 1_779_022_931_500_000_003))
    here, there = limpet.stat(), (base / "below" / "limpet").stat()
    told = ("st_ino", "st_mode", "st_nlink", "st_size", "st_blocks", "st_mtime_ns", "st_atime_ns")
    assert [getattr(here, each) for each in told] == [getattr(there, each) for each in told]
    assert here.st_mtime_ns == 1_779_022_931_500_000_003
    assert here.st_dev != there.st_dev


def test_a_time_may_stay_as_it_was(limpet: Path) -> None:
    """UTIME_OMIT and UTIME_NOW reach the disk as they are: touch(1) sends both."""
    os.utime(limpet, ns=(5, 7))
    subprocess.run(["touch", "-m", str(limpet)], check=True)  # noqa: S603, S607  a tool of the system
    assert limpet.stat().st_atime_ns == 5
    assert abs(limpet.stat().st_mtime - time.time()) < 60


def test_a_mode_is_masked_once(top: Path) -> None:
    (top / "urchin").touch(mode=0o666)
    mask = os.umask(0)
    os.umask(mask)
    assert (top / "urchin").stat().st_mode & 0o777 == 0o666 & ~mask


def test_links_of_both_kinds(top: Path, limpet: Path) -> None:
    (top / "latest").symlink_to("limpet")
    (top / "second").hardlink_to(limpet)
    assert (top / "latest").readlink() == Path("limpet")
    assert (top / "second").samefile(limpet)
    assert limpet.stat().st_nlink == 2


def test_names_that_are_no_text(top: Path, base: Path) -> None:
    name = os.fsdecode(b"shell\xff")
    (top / name).write_bytes(b"empty")
    assert name in {path.name for path in (base / "below").iterdir()}
    assert (top / name).read_bytes() == b"empty"


def test_a_rename_replaces_unless_it_is_asked_not_to(top: Path, limpet: Path) -> None:
    (top / "crab").write_bytes(b"sideways")
    with refused(errno.EEXIST):
        rename_exclusively(top / "crab", limpet)
    assert limpet.stat().st_size == SIZE
    rename_exclusively(top / "crab", top / "whelk")
    (top / "whelk").replace(limpet)
    assert limpet.read_bytes() == b"sideways"
    assert [path.name for path in top.iterdir()] == ["limpet"]


def rename_exclusively(source: Path, target: Path) -> None:
    """renameat2 with RENAME_NOREPLACE."""
    library = ctypes.CDLL(None, use_errno=True)
    here, flag = ctypes.c_int(-100), ctypes.c_uint(1)
    if library.renameat2(here, os.fsencode(source), here, os.fsencode(target), flag):
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def test_a_file_that_was_removed_is_read_on_by_who_has_it_open(limpet: Path) -> None:
    """What is known of it cannot be asked any more (ESTALE), as on some shares."""
    with limpet.open("rb", buffering=0) as stream:
        limpet.unlink()
        assert os.pread(stream.fileno(), SIZE, 0) == tide(SIZE)
    assert list(limpet.parent.iterdir()) == []


def test_files_and_folders_are_forced(top: Path, limpet: Path) -> None:
    for path in (top, limpet):
        handle = os.open(path, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)


def test_a_file_is_changed_through_memory(limpet: Path, base: Path) -> None:
    with limpet.open("r+b") as stream, mmap.mmap(stream.fileno(), 0) as memory:
        memory[SIZE - 1] = memory[SIZE - 1] ^ 1
        memory.flush()
    changed = (base / "below" / "limpet").read_bytes()
    assert changed == tide(SIZE)[:-1] + bytes([tide(SIZE)[-1] ^ 1])


def test_bytes_are_appended_and_cut(limpet: Path) -> None:
    with limpet.open("ab") as stream:
        stream.write(b"wave")
    assert limpet.read_bytes() == tide(SIZE) + b"wave"
    os.truncate(limpet, 3)
    assert limpet.read_bytes() == tide(SIZE)[:3]
    limpet.write_bytes(b"ebb")
    assert limpet.read_bytes() == b"ebb"


def test_a_database_that_is_held_is_held_against_others(top: Path) -> None:
    """SQLite's own locks and a journal that is deleted with each commit, as the ledger has them."""
    with contextlib.closing(sqlite3.connect(top / "ledger")) as ledger:
        ledger.execute("PRAGMA locking_mode = EXCLUSIVE")
        ledger.execute("CREATE TABLE files (name TEXT)")
        ledger.execute("INSERT INTO files VALUES ('limpet')")
        ledger.commit()
        other = (
            "import sqlite3, sys; sqlite3.connect(sys.argv[1], 0).execute('SELECT * FROM files')"
        )
        words = [sys.executable, "-c", other, str(top / "ledger")]
        done = subprocess.run(words, capture_output=True, check=False)  # noqa: S603
        assert b"database is locked" in done.stderr
    with contextlib.closing(sqlite3.connect(top / "ledger")) as ledger:
        assert ledger.execute("SELECT name FROM files").fetchall() == [("limpet",)]
    assert not (top / "ledger-journal").exists()


def test_many_threads_at_once(top: Path) -> None:
    def work(number: int) -> bytes:
        path = top / f"barnacle{number}"
        path.write_bytes(tide(5000 + number))
        path.replace(top / f"limpet{number}")
        return (top / f"limpet{number}").read_bytes()

    with ThreadPoolExecutor(16) as pool:
        assert list(pool.map(work, range(200))) == [tide(5000 + number) for number in range(200)]


def test_a_long_listing_is_whole(top: Path) -> None:
    names = {f"a barnacle among many others {number}" for number in range(700)}
    (top / "rock").mkdir()
    for name in names:
        (top / "rock" / name).touch()
    assert {path.name for path in (top / "rock").iterdir()} == names


# ---- what is counted ---------------------------------------------------------------------------


def test_only_what_comes_from_below_the_cache_is_counted(disk: Faulty, limpet: Path) -> None:
    assert disk.reads(limpet) == 0
    limpet.read_bytes()
    assert disk.reads(limpet) == SIZE
    limpet.read_bytes()
    assert disk.reads(limpet) == SIZE
    read(limpet, "past the cache")
    assert disk.reads(limpet) == 2 * SIZE


def test_pages_that_are_pushed_out_come_from_below_again(disk: Faulty, limpet: Path) -> None:
    limpet.read_bytes()
    with limpet.open("rb") as stream:
        os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    limpet.read_bytes()
    assert disk.reads(limpet) == 2 * SIZE


def test_pages_that_are_mapped_stay(disk: Faulty, limpet: Path) -> None:
    """As on ext4: whoever asks for them to be pushed out is not told that they were not."""
    with limpet.open("rb") as stream, mmap.mmap(stream.fileno(), 0, prot=mmap.PROT_READ) as memory:
        assert memory[:] == tide(SIZE)
        os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        limpet.read_bytes()
        assert disk.reads(limpet) == SIZE


def test_what_was_written_is_read_out_of_the_cache(disk: Faulty, top: Path) -> None:
    (top / "crab").write_bytes(tide(8 * PAGE))
    assert (top / "crab").read_bytes() == tide(8 * PAGE)
    assert disk.reads(top / "crab") == 0
    read(top / "crab", "past the cache")
    assert disk.reads(top / "crab") == 8 * PAGE


def test_a_file_is_counted_under_all_its_names(disk: Faulty, top: Path, limpet: Path) -> None:
    limpet.read_bytes()
    limpet.rename(top / "crab")
    assert disk.reads(top / "crab") == SIZE


def test_a_new_file_is_counted_anew(disk: Faulty, top: Path, limpet: Path) -> None:
    limpet.read_bytes()
    limpet.unlink()
    (top / "crab").write_bytes(b"sideways")
    assert disk.reads(top / "crab") == 0


# ---- faults ------------------------------------------------------------------------------------


@pytest.mark.parametrize("bit", [0, 7])
@pytest.mark.parametrize("offset", [0, 300_000, SIZE - 1])
@pytest.mark.parametrize("way", WAYS)
def test_the_first_read_flips_and_the_cache_keeps_it(
    disk: Faulty, limpet: Path, way: Way, offset: int, bit: int
) -> None:
    flip = FlipFirstRead("limpet", offset=offset, bit=bit)
    disk.now(flip)
    assert disk.met(flip) == 0
    assert read(limpet, way) == flipped(offset, bit)
    assert disk.met(flip) == 1
    assert read(limpet, "past the cache") == tide(SIZE)
    assert read(limpet, "cached") == (flipped(offset, bit) if way == "cached" else tide(SIZE))


def flipped(offset: int, bit: int) -> bytes:
    data = bytearray(tide(SIZE))
    data[offset] ^= 1 << bit
    return bytes(data)


def test_every_read_flips(disk: Faulty, limpet: Path) -> None:
    flip = FlipEveryRead("limpet", offset=5, bit=1)
    disk.now(flip)
    for times in (1, 2, 3):
        assert read(limpet, "past the cache") == flipped(5, 1)
        assert disk.met(flip) == times
    assert (disk.mountpoint / "limpet").stat().st_size == SIZE


def test_only_the_named_file_has_a_fault(disk: Faulty, top: Path, limpet: Path) -> None:
    (top / "rock").mkdir()
    (top / "rock" / "limpet").write_bytes(b"holds on")
    disk.now(NoStat("rock/limpet"), FailingRead("pet"))
    assert limpet.read_bytes() == tide(SIZE)
    with refused(errno.EIO):
        (top / "rock" / "limpet").stat()


@pytest.mark.parametrize("types", [True, False])
def test_stat_fails_though_the_name_is_listed(disk: Faulty, limpet: Path, *, types: bool) -> None:
    fault = NoStat("limpet")
    disk.now(fault, *(() if types else (NoTypes(),)))
    for call in (os.lstat, os.stat, Path.read_bytes, os.unlink):
        with refused(errno.EIO):
            call(limpet)
    assert disk.met(fault) == 4
    with os.scandir(limpet.parent) as entries:
        (entry,) = entries
    if types:
        assert entry.is_file(follow_symlinks=False)
    else:
        with refused(errno.EIO):
            entry.is_file(follow_symlinks=False)


def test_stat_fails_so_many_times(disk: Faulty, limpet: Path) -> None:
    disk.now(NoStat("limpet", times=2))
    for _ in range(2):
        with refused(errno.EIO):
            limpet.stat()
    assert limpet.stat().st_size == SIZE


def test_a_listing_without_types_has_whole_names(disk: Faulty, top: Path) -> None:
    (top / "rock").mkdir()
    (top / "latest").symlink_to("limpet")
    disk.now(NoTypes())
    with os.scandir(top) as entries:
        kinds = {
            each.name: (each.is_dir(follow_symlinks=False), each.is_symlink()) for each in entries
        }
    assert kinds == {"rock": (True, False), "limpet": (False, False), "latest": (False, True)}
    assert disk.met(NoTypes()) == 3


@pytest.mark.parametrize("way", WAYS)
def test_reads_fail_from_a_place_on(disk: Faulty, limpet: Path, way: Way) -> None:
    disk.now(FailingRead("limpet", offset=SIZE - 1))
    with limpet.open("rb", buffering=0) as stream:
        assert stream.read(PAGE) == tide(PAGE)
    with refused(errno.EIO):
        read(limpet, way)
    disk.now()
    assert read(limpet, way) == tide(SIZE)


def test_a_file_and_a_folder_cannot_be_removed(disk: Faulty, top: Path, limpet: Path) -> None:
    (top / "rock").mkdir()
    disk.now(FailingUnlink("limpet"), FailingUnlink("rock"))
    for call, path in ((os.unlink, limpet), (os.rmdir, top / "rock")):
        with refused(errno.EIO):
            call(path)
    disk.now()
    limpet.unlink()
    (top / "rock").rmdir()
    assert list(top.iterdir()) == []


def test_a_file_cannot_be_renamed_nor_another_to_it(disk: Faulty, top: Path, limpet: Path) -> None:
    (top / "crab").touch()
    disk.now(FailingRename("limpet"))
    for source, target in ((limpet, top / "whelk"), (top / "crab", limpet)):
        with refused(errno.EIO):
            source.rename(target)
    (top / "crab").rename(top / "whelk")
    assert limpet.read_bytes() == tide(SIZE)


def test_a_closed_folder(disk: Faulty, top: Path) -> None:
    (top / "rock").mkdir()
    (top / "rock" / "crab").write_bytes(b"sideways")
    disk.now(ClosedFolder("rock"))
    with refused(errno.EIO):
        os.scandir(top / "rock")
    assert (top / "rock" / "crab").read_bytes() == b"sideways"


@pytest.mark.parametrize("after", [0, 3, 400])
def test_a_listing_that_breaks_off(disk: Faulty, top: Path, after: int) -> None:
    (top / "rock").mkdir()
    for number in range(500):
        (top / "rock" / f"a barnacle {number}").touch()
    disk.now(ClosedFolder("rock", after=after))
    names: list[str] = []
    with refused(errno.EIO), os.scandir(top / "rock") as entries:
        for entry in entries:
            names.append(entry.name)  # noqa: PERF401  what came before the error is what counts
    assert len(set(names)) == after


@pytest.mark.parametrize("second_names", [True, False])
def test_no_rename_without_replacing(
    disk: Faulty, top: Path, limpet: Path, *, second_names: bool
) -> None:
    disk.now(NoExclusiveRename(), *(() if second_names else (NoSecondNames(),)))
    with refused(errno.EINVAL):
        rename_exclusively(limpet, top / "crab")
    if second_names:
        (top / "whelk").hardlink_to(limpet)
    else:
        with refused(errno.EPERM):
            (top / "whelk").hardlink_to(limpet)
    limpet.rename(top / "crab")
    assert (top / "crab").read_bytes() == tide(SIZE)


def test_capitals_are_taken_for_small_letters(disk: Faulty, top: Path, limpet: Path) -> None:
    loud = top / limpet.name.upper()
    assert not loud.exists()
    disk.now(FoldsNames())
    assert loud.read_bytes() == tide(SIZE)
    assert loud.samefile(limpet)
    listed = [path.name for path in top.iterdir()]
    assert limpet.name in listed
    assert loud.name not in listed
    assert disk.met(FoldsNames())


def test_reading_past_the_cache_is_refused(disk: Faulty, limpet: Path) -> None:
    disk.now(NoDirect())
    with refused(errno.EINVAL):
        os.open(limpet, os.O_RDONLY | os.O_DIRECT)
    with limpet.open("rb", buffering=0) as stream:
        fcntl.fcntl(stream.fileno(), fcntl.F_SETFL, os.O_DIRECT)
        with mmap.mmap(-1, PAGE) as memory, refused(errno.EINVAL):
            stream.readinto(memory)
    assert limpet.read_bytes() == tide(SIZE)


@pytest.mark.parametrize(("offset", "size"), [(7, PAGE), (0, 100), (PAGE, PAGE + 8)])
def test_reading_past_the_cache_takes_whole_sectors(limpet: Path, offset: int, size: int) -> None:
    """As on most disks: open(2), O_DIRECT, asks for alignment of the place and of the length."""
    handle = os.open(limpet, os.O_RDONLY | os.O_DIRECT)
    with mmap.mmap(-1, 1 << 20) as memory, memoryview(memory) as view, refused(errno.EINVAL):
        os.preadv(handle, [view[:size]], offset)
    os.close(handle)


@pytest.mark.parametrize("told", [True, False])
def test_a_disk_that_fills(disk: Faulty, top: Path, *, told: bool) -> None:
    room = os.statvfs(top).f_bavail
    disk.now(Full(3 * PAGE, told=told))
    left = os.statvfs(top).f_bavail
    assert (left == 3) is told
    assert told or left > room // 2  # other processes write to the disk below meanwhile
    with refused(errno.ENOSPC):
        (top / "crab").write_bytes(tide(5 * PAGE))
    assert (top / "crab").read_bytes() == tide(3 * PAGE)
    with refused(errno.ENOSPC):
        (top / "whelk").write_bytes(b"slowly")
    disk.now()
    (top / "whelk").write_bytes(b"slowly")
    assert os.statvfs(top).f_bavail > 3


CHANGES: list[Callable[[Path], object]] = [
    lambda path: path.write_bytes(b"wave"),
    lambda path: path.with_name("crab").touch(),
    lambda path: path.with_name("rock").mkdir(),
    lambda path: path.with_name("crab").symlink_to(path),
    lambda path: path.with_name("crab").hardlink_to(path),
    lambda path: path.rename(path.with_name("crab")),
    lambda path: path.unlink(),
    lambda path: path.chmod(0o600),
    os.utime,
    lambda path: os.truncate(path, 5),
]


@pytest.mark.parametrize("change", CHANGES)
def test_a_disk_that_takes_no_change(
    disk: Faulty, limpet: Path, change: Callable[[Path], object]
) -> None:
    disk.now(ReadOnly())
    with refused(errno.EROFS):
        change(limpet)
    assert contents(limpet.parent) == {"limpet": tide(SIZE)}


EVERY: list[Fault] = [
    FlipFirstRead("limpet", offset=3, bit=2),
    FlipEveryRead("limpet", offset=3),
    NoStat("limpet"),
    NoStat("limpet", times=2),
    FailingRead("limpet", offset=9),
    FailingUnlink("limpet"),
    FailingRename(os.fsdecode(b"shell\xff")),
    ClosedFolder("rock"),
    ClosedFolder("rock", after=4),
    NoTypes(),
    NoExclusiveRename(),
    NoSecondNames(),
    FoldsNames(),
    NoDirect(),
    Full(17, told=False),
    ReadOnly(),
]


def test_faults_reach_the_disk_as_they_are() -> None:
    assert {type(fault).__name__ for fault in EVERY} == instrument.KINDS.keys()
    assert [fault_of(spelled(fault)) for fault in EVERY] == EVERY


# ---- its end -----------------------------------------------------------------------------------


def test_it_is_unmounted_after_a_test_that_fails_with_a_file_open(base: Path) -> None:
    def fails() -> None:
        with faulty(base / "disk", base / "below") as disk:
            assert is_mounted(disk.mountpoint)
            (disk.mountpoint / "crab").write_bytes(b"sideways")
            handles.append(os.open(disk.mountpoint / "crab", os.O_RDONLY))
            raise AssertionError("the tide came in")

    handles: list[int] = []
    with pytest.raises(AssertionError, match="the tide"):
        fails()
    assert not is_mounted(base / "disk")
    assert list((base / "disk").iterdir()) == []
    assert (base / "below" / "crab").read_bytes() == b"sideways"
    os.close(*handles)


def test_it_is_unmounted_where_the_tests_are_killed(base: Path) -> None:
    words = (
        "import os, sys; from pathlib import Path; from faults.faulty import faulty\n"
        f"with faulty(Path({str(base / 'disk')!r}), Path({str(base / 'below')!r})):\n"
        "    print('mounted', flush=True); os.kill(os.getpid(), 9)"
    )
    done = subprocess.run(  # noqa: S603  our own words
        [sys.executable, "-c", words],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == "mounted\n", done.stderr
    end = time.monotonic() + 10
    while is_mounted(base / "disk") and time.monotonic() < end:
        time.sleep(0.01)
    assert not is_mounted(base / "disk")


def test_a_fault_of_its_own_is_no_fault_of_the_disk(base: Path) -> None:
    """A bit that no byte has makes it fail itself: a test must not take that for what it planned."""

    def misuse() -> None:
        with faulty(
            base / "disk", base / "below", FlipEveryRead("limpet", offset=0, bit=9)
        ) as disk:
            (disk.mountpoint / "limpet").write_bytes(b"holds on")
            with refused(errno.EINVAL):
                read(disk.mountpoint / "limpet", "past the cache")

    with pytest.raises(RuntimeError, match="failed itself"):
        misuse()


def test_where_there_is_none_the_reason_is_told(
    monkeypatch: pytest.MonkeyPatch, base: Path
) -> None:
    monkeypatch.setattr(instrument, "DEVICE", base / "fuse")
    assert "there is no" in why_not.__wrapped__()
    monkeypatch.undo()
    monkeypatch.setenv("PATH", str(base))
    assert "fuse3" in why_not.__wrapped__()


def test_where_there_is_none_a_test_is_skipped_and_fails_where_ci_is_set(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("faults.mounting.why_not", lambda: "the tide is in")
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="the tide is in"):
        needed()
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="the tide is in"):
        needed()


def test_who_holds_a_file_is_not_stopped_by_who_asks(disk: Faulty, top: Path) -> None:
    """Requests and files go their own ways: asking while threads read does not come to a standstill."""
    done = threading.Event()

    def reads() -> None:
        while not done.is_set():
            read(top / "limpet", "past the cache")

    with ThreadPoolExecutor(2) as pool:
        at_work = [pool.submit(reads) for _ in range(2)]
        counts = [disk.reads(top / "limpet") for _ in range(50)]
        done.set()
        assert [each.result() for each in at_work] == [None, None]
    assert counts == sorted(counts)


# ---- the sorter on it --------------------------------------------------------------------------


MOVES = ("--move", "--yes")
PLAIN: tuple[Fault, ...] = ()
POOR: tuple[Fault, ...] = (NoDirect(), NoTypes(), NoExclusiveRename(), NoSecondNames())
"""What many cards and shares do not have; that is no fault to be told of."""


@pytest.mark.parametrize(
    ("options", "faults", "one_disk"),
    [
        pytest.param((), PLAIN, True, id="copied on one disk"),
        pytest.param(MOVES, PLAIN, False, id="moved to another disk"),
        pytest.param((), POOR, False, id="copied between poor disks"),
        pytest.param(MOVES, POOR, True, id="moved on one poor disk"),
    ],
)
def test_a_card_is_carried_verified_and_taken_back(
    base: Path, options: tuple[str, ...], faults: tuple[Fault, ...], *, one_disk: bool
) -> None:
    """latest.JPG is a link, which is left on the card: so 1 and not 0."""
    with (
        faulty(base / "first", base / "one", *faults) as first,
        faulty(base / "second", base / "two", *faults) as second,
    ):
        card = tide_card(first.mountpoint / "card")
        shoot = (first if one_disk else second).mountpoint / "shoot"
        originals = contents(card)
        assert sorter("ingest", card, shoot, *options).returncode == 1
        hold_whole(shoot, originals)
        assert contents(card) == ({} if options else originals)
        verified = sorter("verify", shoot)
        assert verified.returncode == 1
        assert f"{len(originals)} of {len(originals)} files verified" in said(verified)
        assert sorter("undo", shoot, "--yes").returncode == 0
        assert contents(card) == originals
        assert not shoot.exists()
    assert contents(base / "one" / "card") == originals
