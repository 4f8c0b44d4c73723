"""The door to a shoot folder: what creates, renames and removes files there.

A file is first written whole under `.sorter/unfinished` and comes to its final name by a rename
that never replaces anything. Nothing is ever written through a link out of the folder.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

from sorter.disk.files import (
    NewFile,
    force_all,
    force_file,
    force_folder,
    make_folders,
    rename_new,
)
from sorter.disk.streams import Measured, Stream, measured
from sorter.disk.systems import SYSTEM
from sorter.errors import BadShoot, ShootNotWritable
from sorter.model.disks import Disk
from sorter.model.plan import ContentCheck

HIDDEN: Final = ".sorter"
UNFINISHED: Final = f"{HIDDEN}/unfinished"
WORK: Final = f"{HIDDEN}/work"
LOGS: Final = f"{HIDDEN}/logs"
"""Where other programs merge stacks, and what they said."""
MEASUREMENTS: Final = f"{HIDDEN}/looked"
"""What was measured of the pictures."""

ASIDE: Final = f"{HIDDEN}/replaced"
"""Where files lie that were not as they were carried when good ones took their places."""

_PART: Final = ".sorter-unfinished"
_MOST_BYTES: Final = 255  # of a name, on every file system that cards and disks have


class CardRefused(Exception):
    """What the card's disk has against a file that is given back to it; the cause is the OSError."""


class Shoot:
    """A shoot folder. Paths given and returned are below it, with forward slashes.

    Raises BadShoot where the path is there and is no folder.
    """

    def __init__(self, root: Path) -> None:
        self.root = Path(os.path.realpath(root))
        try:
            if self.root.exists() and not self.root.is_dir():
                raise BadShoot(f"{root}: this is a file. Name a folder for the shoot.")
            is_link = self.hidden.is_symlink()
        except OSError as error:
            raise BadShoot(
                f"{root}: the system does not let us look there ({error.strerror}). Check the "
                "permissions, or name another folder."
            ) from error
        if is_link:
            raise BadShoot(
                f"{self.hidden} is a link to another place, and nothing is written through links. "
                "Take it away, or name another folder."
            )
        self._root = os.path.join(self.root, "")
        self._checked: set[str] = set()  # folders that are in the shoot, and no links

    @property
    def hidden(self) -> Path:
        """The folder of the ledger and of unfinished files."""
        return self.root / HIDDEN

    def prepare(self) -> None:
        """The folder and what is hidden in it are there. Raises OSError."""
        make_folders(os.path.join(self.root, UNFINISHED))

    def free_space(self) -> int:
        """How many bytes may still be written where the folder lies, or will lie.

        A disk that does not tell has endless free space, until it has none. Raises OSError.
        """
        return SYSTEM.free_space(str(self._nearest()))

    def device(self) -> int:
        """The file system that the folder lies on, or will lie on. Raises OSError."""
        return self._nearest().stat().st_dev

    def is_writable(self) -> bool:
        """Whether the system says that we may write in the folder, or make it."""
        return os.access(self._nearest(), os.W_OK | os.X_OK)

    def paths(self, closed: Callable[[str], object] = lambda _: None) -> Iterator[tuple[str, bool]]:
        """Every path below the folder, and whether it is a folder; what is hidden is left out.

        Links are named and not followed. closed is told of each folder that cannot be listed.
        """

        def known(error: OSError) -> None:
            closed(os.path.relpath(error.filename, self.root).replace(os.sep, "/"))

        for folder, folders, names in os.walk(self.root, onerror=known):
            below = os.path.relpath(folder, self.root)
            if below == ".":
                folders[:] = [name for name in folders if name != HIDDEN]
            before = "" if below == "." else f"{below.replace(os.sep, '/')}/"
            yield from ((before + name, True) for name in folders)
            yield from ((before + name, False) for name in names)

    def refuse_obstacles(self, folders: Iterable[str], files: Iterable[str]) -> None:
        """Returns where nothing stands in the way of these folders, nor of these files of ours.

        Nothing is made to find out. Raises BadShoot, which says what to move away.
        """
        for folder in sorted({*folders, HIDDEN, UNFINISHED}):
            there = self._refuse_link(folder)
            if os.path.lexists(there) and not os.path.isdir(there):
                raise BadShoot(
                    f"{there} is no folder, and a folder of this name is needed. Nothing was done: "
                    "move it away, or name another folder for the shoot."
                )
        for name in files:
            there = os.path.join(self.root, name)
            if os.path.isdir(there) and not os.path.islink(there):
                raise BadShoot(
                    f"{there} is a folder, and the sorter keeps a file of this name. Nothing was "
                    "done: move it away, or name another folder for the shoot."
                )

    # ---- reading ---------------------------------------------------------------------------

    def stream(self, path: str, *, past: bool = False) -> Stream:
        """The file, to be read from its first byte on; past the system's cache or not. Raises OSError."""
        return Stream(self.at(path), past=past)

    def measured(self, path: str, progress: Callable[[int], None] | None = None) -> Measured:
        """The whole file, read past the system's cache. Raises OSError."""
        return measured(self.stream(path, past=True), progress)

    def size(self, path: str) -> int | None:
        """The bytes of a plain file; None where there is none of that name."""
        try:
            status = os.lstat(self.at(path))
        except (FileNotFoundError, NotADirectoryError):
            return None
        return status.st_size if stat.S_ISREG(status.st_mode) else -1

    def is_one_file(self, path: str, other: str) -> bool:
        """Whether both paths lead to one plain file, as far as the system tells."""
        try:
            one, two = os.lstat(self.at(path)), os.lstat(self.at(other))
        except (OSError, BadShoot):
            return False
        return os.path.samestat(one, two) and stat.S_ISREG(one.st_mode)

    def can_list(self, path: str) -> bool:
        """Whether the system lists the folder at the path."""
        try:
            with os.scandir(self.at(path)) as entries:
                next(entries, None)
        except OSError:
            return False
        return True

    def has_folder(self, path: str) -> bool:
        """Whether there is a folder at the path."""
        return os.path.isdir(self.at(path))

    def holds(
        self, path: str, count: int, sha256: str, progress: Callable[[int], None] | None = None
    ) -> ContentCheck:
        """Whether a plain file of these bytes is there, read past the system's cache.

        progress is called for each block that was read. Raises OSError where it cannot be read.
        """
        if self.size(path) != count:
            return ContentCheck.NO
        found = self.measured(path, progress)
        return ContentCheck.of(same=(found.count, found.sha256) == (count, sha256), sure=found.sure)

    def disk(self) -> Disk:
        """Where the folder lies, or will lie. Raises OSError."""
        return SYSTEM.disk(str(self._nearest()))

    def unfinished(self, number: int) -> str:
        """The path of an unfinished file."""
        return f"{UNFINISHED}/{number}"

    # ---- changing --------------------------------------------------------------------------

    def new_file(self, number: int) -> NewFile:
        """A new unfinished file; what a stopped run left under its name is removed. Raises OSError."""
        path = self.at(self.unfinished(number))
        try:
            return NewFile(path)
        except FileExistsError:
            os.unlink(path)
            return NewFile(path)

    def force(self, number: int) -> None:
        """Returns when the system says that the unfinished file is on the disk. Raises OSError."""
        force_file(self.at(self.unfinished(number)))

    def force_all(self) -> bool:
        """Whether all unfinished files are on the disk now; False where each is to be forced."""
        return force_all(self.at(UNFINISHED))

    def place(self, number: int, path: str) -> None:
        """The unfinished file stands under its final name.

        Raises FileExistsError where something is there, OSError.
        """
        source = self.at(self.unfinished(number))
        try:  # looking for the folder before each file would be a call more
            rename_new(source, self.at(path))
        except (FileNotFoundError, NotADirectoryError):
            rename_new(source, self._made(path))

    def move(self, before: str, path: str) -> None:
        """The shoot's file stands under another name in it, its folder made where it was not there.

        Raises FileExistsError where something is there, FileNotFoundError where the file is not,
        ShootNotWritable, OSError.
        """
        rename_new(self.at(before), self._made(path))

    def take(self, source: str, path: str) -> None:
        """The file of the card stands in the shoot and no more on the card; both on one disk.

        Raises FileExistsError, OSError (EXDEV where it is another file system after all).
        """
        rename_new(source, self._made(path))

    def restamp(self, path: str, modified_ns: int) -> None:
        """The file has this modification time, where its disk lets it have one.

        Its bytes may lie in a file that was written since, as where two have changed places.
        """
        there = self.at(path)
        with contextlib.suppress(OSError):
            if os.lstat(there).st_mtime_ns != modified_ns:
                os.utime(there, ns=(modified_ns, modified_ns))

    def give_back(self, path: str, source: str) -> None:
        """The file stands on the card again. Raises FileExistsError, OSError as take does, CardRefused."""
        there = self.at(path)
        with _on_card():
            make_folders(os.path.dirname(source))
        with _on_card(out_of=os.path.dirname(there)):
            rename_new(there, source)
        with _on_card():
            force_folder(os.path.dirname(source))

    def copy_back(self, path: str, source: str, known: tuple[int, str]) -> None:
        """A copy of the file stands on the card again, forced to its disk and read back.

        Written beside its final name, so that nothing but these bytes ever has that name. known: how
        many bytes, and their SHA-256. Raises FileExistsError, CardRefused, and OSError where the file
        itself cannot be read.
        """
        unfinished = _beside(source)
        with self.stream(path) as stream:
            with _on_card():
                make_folders(os.path.dirname(source))
                with contextlib.suppress(FileNotFoundError):
                    os.unlink(unfinished)
            try:
                _write_on_card(unfinished, stream)
                with _on_card():
                    force_file(unfinished)
                    _refuse_other(unfinished, known)
                    rename_new(unfinished, source)
                    force_folder(os.path.dirname(source))
            except BaseException:
                with contextlib.suppress(OSError):
                    os.unlink(unfinished)
                raise

    def set_aside(self, number: int, path: str) -> str:
        """What is in this place lies under .sorter/replaced now; returns where. Raises OSError."""
        name = path.rpartition("/")[2]
        tries = 1
        while True:
            before = f"{number}_{tries}_"
            aside = f"{ASIDE}/{before}{_end_of(name, _MOST_BYTES - len(before))}"
            try:
                rename_new(self.at(path), self._made(aside))
            except FileExistsError:
                tries += 1
            else:
                self.force_folders([ASIDE, path.rpartition("/")[0]])
                return aside

    def set_aside_before(self) -> tuple[str, ...]:
        """The paths of all that was set aside."""
        try:
            return tuple(f"{ASIDE}/{name}" for name in sorted(os.listdir(self.root / ASIDE)))
        except OSError:
            return ()

    def replace(self, path: str, data: bytes) -> None:
        """The file holds exactly these bytes, or what it held before; a link gives way to it.

        Raises ShootNotWritable where a folder is in its place, OSError.
        """
        there = self.at(path)
        if os.path.isdir(there) and not os.path.islink(there):
            raise ShootNotWritable(
                f"{there} is a folder, and the sorter keeps a file of this name. Move it away, and "
                "run the same command again."
            )
        unfinished = self._made(f"{UNFINISHED}/{path}")
        _write_again(unfinished, data)
        force_file(unfinished)
        os.replace(unfinished, there)
        force_folder(os.path.dirname(there))

    def keep(self, path: str, data: bytes) -> None:
        """The file holds these bytes, or is gone: what can be made again is not forced. Raises OSError."""
        there = self._made(path)
        unfinished = self.at(f"{UNFINISHED}/{path.rpartition('/')[2]}")
        try:
            _write_again(unfinished, data)
            os.replace(unfinished, there)
        except OSError:
            with contextlib.suppress(OSError):
                os.unlink(unfinished)
            raise

    def remove(self, path: str) -> None:
        """The file is gone; it may have been gone before. Raises OSError."""
        with contextlib.suppress(FileNotFoundError):
            os.unlink(self.at(path))

    def remove_unfinished(self, keep: frozenset[int] = frozenset()) -> None:
        """What stopped runs left is gone, but for the numbers to keep. Raises OSError."""
        kept = {str(number) for number in keep}
        folder = self.root / UNFINISHED
        with contextlib.suppress(FileNotFoundError):
            for name in os.listdir(folder):
                if name not in kept:
                    os.unlink(folder / name)

    def remove_empty(self, folders: Iterable[str]) -> None:
        """Those of the folders that are empty are gone, and so are those above that held nothing else."""
        for folder in folders:
            while folder and self._remove_empty(folder):
                folder = folder.rpartition("/")[0]  # noqa: PLW2901  from each one up

    def _remove_empty(self, folder: str) -> bool:
        """Whether the folder is not there any more: a run that was cut may have removed it."""
        try:
            os.rmdir(self.at(folder))
        except FileNotFoundError:
            return True
        except OSError:
            return False
        return True

    def clear(self, folder: str) -> None:
        """The folder is gone with all that is in it; a link in its place is left. Raises OSError."""
        there = self.root / folder
        if there.is_dir() and not there.is_symlink():
            shutil.rmtree(there)

    def remove_hidden(self) -> None:
        """The hidden folder is gone with all that is ours in it, and the shoot where it is empty.

        What was set aside stays. Raises OSError.
        """
        self.remove_unfinished()
        self.clear(WORK)
        self.clear(LOGS)
        self.clear(MEASUREMENTS)
        with contextlib.suppress(FileNotFoundError):
            os.rmdir(self.root / UNFINISHED)
        kept = self.set_aside_before()
        with contextlib.suppress(OSError):
            os.rmdir(self.root / ASIDE)
        with contextlib.suppress(FileNotFoundError):
            for entry in list(os.scandir(self.hidden)):
                if not entry.is_dir(follow_symlinks=False):
                    os.unlink(entry.path)
            if not kept:
                os.rmdir(self.hidden)
        with contextlib.suppress(OSError):
            os.rmdir(self.root)

    def force_folders(self, folders: Iterable[str]) -> None:
        """Returns when the system says that the names in these folders are on the disk."""
        for folder in folders:
            force_folder(self.at(folder))

    # ---- paths -----------------------------------------------------------------------------

    def at(self, path: str) -> str:
        """The path as the system names it. Raises BadShoot where it would lead out of the folder."""
        folder, slash, _ = path.rpartition("/")
        if folder not in self._checked or path.startswith("/") or "\0" in path:
            self._refuse_ways_out(path, folder.split("/") if slash else [])
            self._refuse_links(folder)
        return f"{self._root}{path}"

    def _refuse_ways_out(self, path: str, folders: Sequence[str]) -> None:
        if "\0" in path or any(folder in ("..", "") for folder in folders):
            raise BadShoot(f"{path!r} would lead out of the shoot. The ledger is damaged.")

    def _refuse_links(self, folder: str) -> None:
        """A folder that was made a link since would take our files elsewhere."""
        if os.path.isdir(self._refuse_link(folder)):
            self._checked.add(folder)

    def _refuse_link(self, folder: str) -> str:
        there = os.path.join(self.root, folder)
        if os.path.realpath(there) != os.path.normpath(there):
            raise BadShoot(
                f"{folder} in {self.root} is a link to another place, and nothing is written "
                "through links. Put a folder there, or name another shoot."
            )
        return there

    def _made(self, path: str) -> str:
        """The path for the system, its folder made."""
        there = self.at(path)
        folder = os.path.dirname(there)
        if not os.path.isdir(folder):
            self._make(folder)
        return there

    def _make(self, folder: str) -> None:
        """Raises ShootNotWritable where a file stands in the folder's way, OSError."""
        try:
            make_folders(folder)
        except (FileExistsError, NotADirectoryError) as error:
            raise ShootNotWritable(
                f"{folder} is a file, and a folder of this name is needed. Nothing is lost: move "
                "that file away, and run the same command again; it goes on where it stopped."
            ) from error

    def _nearest(self) -> Path:
        """The folder itself, or the nearest one above it that is there."""
        return next(each for each in (self.root, *self.root.parents) if each.is_dir())


@contextlib.contextmanager
def _on_card(out_of: str | None = None) -> Iterator[None]:
    """What is done to the card in here fails as CardRefused, and is not taken for the shoot's disk.

    That something is there, or that the two lie on different disks, says nothing against it; nor does
    what is refused where the shoot's folder (out_of) lets no file go.
    """
    try:
        yield
    except FileExistsError:
        raise
    except OSError as error:
        lets_go = out_of is None or os.access(out_of, os.W_OK | os.X_OK)
        if error.errno == errno.EXDEV or not lets_go:
            raise
        raise CardRefused from error


def _write_on_card(unfinished: str, stream: Stream) -> None:
    """A new file there holds what the stream gives. Raises CardRefused, and OSError for the stream."""
    with _on_card():
        file = NewFile(unfinished)
    try:
        for block in stream.blocks():
            with _on_card():
                file.write(block)
        file.stamp(stream.modified_ns)
    finally:
        with _on_card():
            file.close()


def _write_again(path: str, data: bytes) -> None:
    """The file is new and holds these bytes; what a stopped run left under its name is gone."""
    with contextlib.suppress(FileNotFoundError):
        os.unlink(path)
    with NewFile(path) as file:
        file.write(memoryview(data))


def _beside(path: str) -> str:
    """The path of a part of the file, in its folder: its own name where that leaves room for more."""
    folder, name = os.path.split(path)
    kept = os.fsencode(name)[: _MOST_BYTES - len(_PART)]
    return os.path.join(folder, os.fsdecode(kept) + _PART)


def _end_of(name: str, most: int) -> str:
    """The name, or as much of its end as so many bytes hold: there is what tells its kind."""
    return os.fsdecode(os.fsencode(name)[-most:])


def _refuse_other(path: str, known: tuple[int, str]) -> None:
    """Raises OSError where the file, read from its disk, is not what is known of it."""
    found = measured(Stream(path, past=True))
    if (found.count, found.sha256) != known:
        raise OSError(errno.EIO, "a file did not come back to the card as it was", path)


def remove_from_card(path: str) -> None:
    """The card's file is gone; it may have been gone before. Raises OSError.

    Only ever called for a file whose copy is verified, noted and placed.
    """
    with contextlib.suppress(FileNotFoundError):
        os.unlink(path)
