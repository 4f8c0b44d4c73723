"""One folder out of an archive, and bare metadata files wrapped up as JPEGs."""

from __future__ import annotations

import tarfile
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Final

BARE_MARK: Final = b"\xff\x01Exiv2"
"""What bare metadata files begin with, in place of a JPEG's start; segments and an end follow."""
JPEG_START: Final = b"\xff\xd8"


def unpack(archive: Path, within: str, target: Path) -> int:
    """How many files of this folder of the archive were written below target."""
    count = 0
    for name, data in _members(archive):
        inner = _inside(name, within)
        if inner is not None:
            path = target / inner
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            count += 1
    return count


def _inside(name: str, within: str) -> PurePosixPath | None:
    """The path below the folder; the archive's first folder bears name and version of its own."""
    parts, wanted = PurePosixPath(name).parts[1:], PurePosixPath(within).parts
    if parts[: len(wanted)] != wanted or len(parts) == len(wanted) or ".." in parts:
        return None
    return PurePosixPath(*parts[len(wanted) :])


def _members(archive: Path) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each plain file."""
    if archive.suffix in (".zip", ".whl"):
        with zipfile.ZipFile(archive) as opened:
            for entry in opened.infolist():
                if not entry.is_dir():
                    yield entry.filename, opened.read(entry)
        return
    with tarfile.open(archive) as tape:
        for member in tape:
            content = tape.extractfile(member) if member.isfile() else None
            if content is not None:
                yield member.name, content.read()


def wrap(bare: Path, target: Path) -> int:
    """How many bare metadata files were written as JPEGs that hold nothing else."""
    target.mkdir(parents=True, exist_ok=True)
    count = 0
    for path in sorted(bare.glob("*.exv")):
        data = path.read_bytes()
        if data.startswith(BARE_MARK):
            (target / f"{path.stem}.jpg").write_bytes(JPEG_START + data[len(BARE_MARK) :])
            count += 1
    return count
