"""The door to where a stacking program works: a folder a stack under `.sorter`, and its log.

Only what the sorter put there itself, and what the program made in it, is ever removed.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Final

from sorter.disk import stacks
from sorter.disk.files import make_folders
from sorter.disk.shoot import LOGS, WORK, Shoot
from sorter.disk.streams import Stream
from sorter.errors import BadShoot

MOST_BYTES: Final = 4 * 1024**3
"""Of a result: a TIFF finds its own parts by 32 bits (TIFF 6.0, section 2)."""
_SLICES: Final = "slices"
_LIST: Final = "slices.txt"


class Workplace:
    """Where one stack is merged. number: the sequence's; name: the stack's.

    Raises BadShoot where its folder is a link to another place, OSError.
    """

    def __init__(self, shoot: Shoot, number: int, name: str) -> None:
        self._name = name
        self.folder = shoot.root / WORK / str(number)
        self._logs = shoot.root / LOGS
        for folder in (shoot.root / WORK, self._logs):
            if folder.is_symlink():
                raise BadShoot(
                    f"{folder} is a link to another place, and nothing is written through links. "
                    "Take it away, and run it again."
                )

    def prepare(self) -> None:
        """The folder is there and empty: what a stopped run left in it is gone. Raises OSError."""
        self.clear()
        make_folders(str(self.folder))
        make_folders(str(self._logs))

    def clear(self) -> None:
        """The folder is gone, with all that is in it. Raises OSError."""
        if self.folder.is_symlink():
            self.folder.unlink()
        with contextlib.suppress(FileNotFoundError):
            shutil.rmtree(self.folder)

    def result(self, extension: str) -> Path:
        """The path that the program is to write its result to."""
        return self.folder / f"{self._name}.{extension}"

    @property
    def log(self) -> Path:
        """The path of the log, which stays."""
        return self._logs / f"{self._name}.log"

    def open_log(self) -> IO[bytes]:
        """The log, empty; what was in it is of an earlier run. Raises OSError."""
        with contextlib.suppress(FileNotFoundError):
            self.log.unlink()  # a link or a pipe in its place would lead elsewhere
        return self.log.open("xb")

    def write_list(self, text: str) -> Path:
        """The path of a file that holds this text. Raises OSError."""
        path = self.folder / _LIST
        with path.open("xb") as file:
            file.write(text.encode())
        return path

    def lay_out(self, files: Iterable[tuple[Path, str, int, str]]) -> Path:
        """The path of a folder that holds these files and nothing else: links, or copies.

        files: of each where it is, its name in the folder, its bytes and its SHA-256. Raises
        Spoiled where one is not what it was, NoRoom, OutputNotWritable, OSError.
        """
        folder = self.folder / _SLICES
        folder.mkdir()
        for source, name, size, sha256 in files:
            stacks.place(source, folder / name, size=size, sha256=sha256)
        return folder


def write_pieces(shoot: Shoot, number: int, parts: Iterable[bytes | memoryview]) -> tuple[int, str]:
    """The unfinished file of this number holds the pieces, forced to the disk and read back.

    Returns its bytes and its SHA-256. Raises OSError, also where it does not read back as it was
    written.
    """
    count, hashed = 0, hashlib.sha256()
    with shoot.new_file(number) as file:
        for part in parts:
            file.write(memoryview(part))
            hashed.update(part)
            count += len(part)
    shoot.force(number)
    path = shoot.unfinished(number)
    if not shoot.holds(path, count, hashed.hexdigest()):
        raise OSError(errno.EIO, "a result did not read back as it was written", shoot.at(path))
    return count, hashed.hexdigest()


def read_whole(path: Path) -> bytes:
    """The bytes of a plain file, never through a link. Raises OSError, also where they are too many."""
    with Stream(str(path)) as stream:
        if stream.size > MOST_BYTES:
            raise OSError(errno.EFBIG, "it is longer than 4 GiB, as no TIFF is", str(path))
        return b"".join(bytes(block) for block in stream.blocks())
