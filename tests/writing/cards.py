"""Small cards of a rock pool on the disk, carried through the stages; and what a shoot holds then."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Final

import piexif
from PIL import Image

from sorter.manifest.csvfile import read_manifest
from sorter.model.row import Row
from sorter.pipeline import (
    Findings,
    Ingest,
    IngestOptions,
    Report,
    StageProgress,
    Undo,
    Undone,
    verify,
)

RECORDS: Final = frozenset({"manifest.csv", "SHA256SUMS"})
LIMPETS: Final = "DCIM/100TIDES"
ANEMONES: Final = "DCIM/101TIDES"
STAMP_NS: Final = 1_779_022_931_500_000_000
"""When the first file was written, by the file system's clock; the next ones every two seconds."""

QUIET: Final = StageProgress(
    reading=lambda *_: None, comparing=lambda *_: None, carrying=lambda *_: None
)


def picture(
    path: Path, after_s: float, *, shade: int = 90, side: int = 24, lens: str = "100mm Macro"
) -> Path:
    """A small JPEG with Exif, taken so long after low tide."""
    path.parent.mkdir(parents=True, exist_ok=True)
    whole, part = divmod(round(after_s * 100), 100)
    clock = f"2026:05:17 13:{2 + whole // 60:02d}:{whole % 60:02d}"
    exif = {
        "0th": {piexif.ImageIFD.Make: b"Tidepool", piexif.ImageIFD.Model: b"Tidepool R8"},
        "Exif": {
            piexif.ExifIFD.DateTimeOriginal: clock.encode(),
            piexif.ExifIFD.SubSecTimeOriginal: f"{part:02d}".encode(),
            piexif.ExifIFD.ExposureTime: (1, 60),
            piexif.ExifIFD.FNumber: (56, 10),
            piexif.ExifIFD.ISOSpeedRatings: 400,
            piexif.ExifIFD.LensModel: lens.encode(),
            piexif.ExifIFD.BodySerialNumber: b"0417",
        },
    }
    noise = Image.effect_noise((side, side), 60).point(lambda value: (value + shade) % 256)
    noise.convert("RGB").save(path, quality=95, exif=piexif.dump(exif))
    return path


def limpets(card: Path, count: int = 4, *, side: int = 24) -> Path:
    """A burst of so many frames, each with a sidecar."""
    for number in range(1, count + 1):
        stem = card / LIMPETS / f"IMG_{number:04d}"
        picture(stem.with_suffix(".JPG"), 0.25 * number, shade=20 * number, side=side)
        stem.with_suffix(".xmp").write_text(f"<x:xmpmeta>limpet {number}</x:xmpmeta>")
    stamped(card)
    return card


def tide_card(card: Path) -> Path:
    """A burst with sidecars, two lone frames of names that it has too, and what is no frame."""
    limpets(card)
    picture(card / ANEMONES / "IMG_0001.JPG", 300, shade=7)
    picture(card / ANEMONES / "IMG_0002.JPG", 700, shade=9)
    (card / ANEMONES / "MVI_0003.MP4").write_bytes(b"\0\0\0\x10ftypmp42\0\0\0\0" + b"splash" * 400)
    (card / ANEMONES / "IMG_0004.JPG").write_bytes(b"")
    (card / "tides.txt").write_text("low tide at 13:40")
    stamped(card)
    (card / "latest.JPG").symlink_to(card / LIMPETS / "IMG_0004.JPG")
    return card


def stamped(card: Path) -> None:
    """Gives every file its own modification time."""
    for place, path in enumerate(sorted(card.rglob("*.*"))):
        if path.is_file() and not path.is_symlink():
            stamp = STAMP_NS + place * 2_000_000_000
            os.utime(path, ns=(stamp, stamp))


# ---- the stages ------------------------------------------------------------------------------


def ingest(
    card: Path, shoot: Path, *, progress: StageProgress = QUIET, **options: object
) -> Report:
    """The card looked at and carried into the shoot."""
    with Ingest(card, shoot, IngestOptions(**options)) as work:  # type: ignore[arg-type]
        return work.carry(work.inspect(progress, hold=True), progress)


def undo(shoot: Path, card: Path | None = None) -> Undone:
    """The last ingest taken back, with a look at the card first."""
    with Undo(shoot, card) as work:
        work.check_originals(lambda *_: None)
        return work.carry(lambda *_: None)


def found(shoot: Path) -> Findings:
    """What verifying the shoot finds."""
    return verify(shoot, lambda *_: None)


# ---- what lies where --------------------------------------------------------------------------


def contents(folder: Path) -> dict[str, bytes]:
    """Every plain file below the folder by its path; what is hidden at its top is left out."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink() and ".sorter" not in path.parts
    }


def tree(*folders: Path) -> dict[str, tuple[int, int, bytes]]:
    """All that a write would change: kinds, times and contents, of folders too."""
    return {
        str(path): (
            path.lstat().st_mode,
            path.lstat().st_mtime_ns,
            path.read_bytes() if path.is_file() else b"",
        )
        for folder in folders
        for path in (folder, *folder.rglob("*"))
    }


def rows(shoot: Path) -> tuple[Row, ...]:
    """The manifest of the shoot."""
    return read_manifest((shoot / "manifest.csv").read_bytes())


def by_source(shoot: Path) -> dict[str, bytes]:
    """The bytes in the shoot of every carried file, by its path on the card, told by the manifest."""
    return {row.source: (shoot / row.destination).read_bytes() for row in rows(shoot) if row.sha256}


def destinations(shoot: Path) -> dict[str, str]:
    """Where the manifest says that each file is."""
    return {row.source: row.destination for row in rows(shoot)}


def hold_whole(shoot: Path, originals: dict[str, bytes]) -> None:
    """Fails where not every file is in the shoot once, equal, known by its digest; or more is there."""
    assert by_source(shoot) == originals
    hold_consistent(shoot)
    known = [row.destination for row in rows(shoot) if row.destination]
    assert sorted(contents(shoot).keys() - RECORDS) == sorted(known)
    assert list((shoot / ".sorter" / "unfinished").iterdir()) == []


def hold_consistent(shoot: Path) -> None:
    """Fails where the manifest or SHA256SUMS says of a file that it is there, and it is not, whole."""
    sums = []
    for row in rows(shoot):
        assert bool(row.destination) == bool(row.sha256), row.source
        if row.destination:
            data = (shoot / row.destination).read_bytes()
            assert (len(data), hashlib.sha256(data).hexdigest()) == (row.bytes, row.sha256)
            sums.append(f"{row.sha256}  {row.destination}")
    assert (shoot / "SHA256SUMS").read_text().splitlines() == sums
