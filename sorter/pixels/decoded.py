"""A whole picture decoded, and a digest of its samples: whether two files hold the same picture."""

from __future__ import annotations

import hashlib
import logging
import stat
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sorter.model.borrowed import Borrowed, Restore
from sorter.pixels.memory import BUDGET, FREE, need_of, room

if TYPE_CHECKING:
    from PIL import Image

MOST_PIXELS: Final = 1_000_000_000
"""Of one picture. Panoramas of stacks have hundreds of millions; a bomb says that it has more."""
MEGA: Final = 1_000_000
_STRIP: Final = 16_000_000
"""Bytes of rows that are hashed at a time: the whole as bytes would be the picture once more."""
_JPEG: Final = ("JPEG", "MPO")
"""Pillow's names of them."""
_TIFF: Final = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")


class Undecodable(Exception):
    """The file holds no whole picture; the text is the end of a sentence.

    No end of a run: what was made of it is not there, and that is said.
    """


class HasTooMany(Undecodable):
    """It has more pixels than are decoded."""

    def __init__(self, pixels: int, most: int) -> None:
        self.pixels, self.most = pixels, most
        super().__init__(
            f"has {-(-pixels // MEGA)} megapixels, more than {most // MEGA}; set most_megapixels in "
            "sorter.toml to look at it"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """A picture's size in pixels, and the SHA-256 of its samples in their order, page by page."""

    width: int
    height: int
    sha256: str


def picture_digest(path: Path) -> Decoded:
    """What the file decodes to: TIFF as it is stored, in 16 bit too; all else as Pillow decodes it.

    Raises Undecodable where it is no picture, or not all of it is there; OSError where it cannot be
    opened. Links are not followed.
    """
    about = path.lstat()
    if not stat.S_ISREG(about.st_mode):
        raise Undecodable("is no plain file")
    if not about.st_size:
        raise Undecodable("is empty")
    with path.open("rb") as file:
        is_tiff = file.read(4) in _TIFF
    found = _by_tifffile(path) if is_tiff else None
    return found or _by_pillow(path)


def _silence() -> Restore:
    """What the library finds odd is not ours to print."""
    logger = logging.getLogger("tifffile")
    level = logger.level
    logger.setLevel(logging.CRITICAL)
    return lambda: logger.setLevel(level)


def _allow() -> Restore:
    """Pillow opens pictures of as many pixels as we do; ours are counted before they are decoded."""
    from PIL import Image  # noqa: PLC0415  only where a picture is decoded

    most = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = MOST_PIXELS

    def restore() -> None:
        Image.MAX_IMAGE_PIXELS = most

    return restore


_QUIET: Final = Borrowed(_silence)
_ALLOWED: Final = Borrowed(_allow)


def _by_tifffile(path: Path) -> Decoded | None:
    """None where the file is of a kind of TIFF that this library needs more for."""
    import tifffile  # noqa: PLC0415  only where a picture is decoded

    try:
        with _QUIET, tifffile.TiffFile(path) as file:
            return _hashed(list(file.pages), path.stat().st_size)
    except Undecodable:
        raise
    except Exception:  # noqa: BLE001  made of any bytes, it raises anything; the other one tries then
        return None


def _hashed(pages: list[Any], size: int) -> Decoded:
    """The pages of a TIFF of so many bytes."""
    import numpy as np  # noqa: PLC0415  only where a picture is decoded

    hashed = hashlib.sha256()
    for page in pages:
        _refuse_size(page.imagewidth * page.imagelength)
        _refuse_missing(zip(page.dataoffsets, page.databytecounts, strict=True), size)
        for part in _parts(page):
            hashed.update(np.ascontiguousarray(part).tobytes())
    first = pages[0]
    return Decoded(width=first.imagewidth, height=first.imagelength, sha256=hashed.hexdigest())


def _refuse_size(pixels: int) -> None:
    if not 0 < pixels <= MOST_PIXELS:
        raise Undecodable(f"says that it has {pixels} pixels")


def _refuse_missing(stretches: Iterable[tuple[int, int]], size: int) -> None:
    """A page whose data lies behind the file's end is not whole: some decoders would fill it up."""
    if any(offset + count > size for offset, count in stretches):
        raise Undecodable("ends early: not all of its picture data is there")


def _by_pillow(path: Path) -> Decoded:
    hashed = hashlib.sha256()
    with opened(path) as picture:
        size = picture.size
        for page in _pages(picture):
            with room(min(BUDGET, need_of(page, page.size, path.stat().st_size))):
                page.load()
                for strip in strips(page, _STRIP):
                    hashed.update(strip.tobytes())
    return Decoded(width=size[0], height=size[1], sha256=hashed.hexdigest())


@contextmanager
def opened(file: BytesIO | Path) -> Iterator[Image.Image]:
    """The picture by Pillow, to be decoded in a with statement.

    Whatever it raises there becomes Undecodable, but for a file that is not there or closed to us.
    """
    from PIL import Image, UnidentifiedImageError  # noqa: PLC0415  only where a picture is decoded

    try:
        with _ALLOWED, warnings.catch_warnings(action="ignore"), Image.open(file) as picture:
            if picture.format in _JPEG:
                picture.decodermaxblock = all_at_once(file)
            yield picture
    except (Undecodable, FileNotFoundError, PermissionError, IsADirectoryError):
        raise
    except UnidentifiedImageError as error:
        raise Undecodable("is no picture that can be decoded") from error
    except Exception as error:
        raise Undecodable(f"cannot be decoded: {str(error).rstrip('. ')}") from error


def all_at_once(file: BytesIO | Path) -> int:
    """The bytes of a file: JPEGs with arithmetic coding cannot be decoded piece by piece."""
    return max(1, file.stat().st_size if isinstance(file, Path) else len(file.getbuffer()))


def strips(picture: Image.Image, size: int) -> Iterator[Image.Image]:
    """The rows of a picture that is decoded, so many bytes of them at a time."""
    width, height = picture.size
    rows = max(1, size // (4 * width))
    for top in range(0, height, rows):
        yield picture.crop((0, top, width, min(height, top + rows)))


def _parts(page: Any) -> Iterator[Any]:  # noqa: ANN401  tifffile's
    """The samples of a page of a TIFF in their order: strip by strip where it is in several."""
    import numpy as np  # noqa: PLC0415  see above

    need = int(np.prod(page.shape)) * page.dtype.itemsize
    in_strips = not page.is_tiled and len(page.dataoffsets) > 1 and need > _STRIP
    with room(min(BUDGET, FREE if in_strips else 2 * need)):
        if not in_strips:
            yield page.asarray()
            return
        for number, (data, _, shape) in enumerate(page.segments(maxworkers=1)):
            if data is None:
                raise Undecodable(f"has nothing in its strip {number + 1}")
            yield data[tuple(slice(side) for side in shape)]


def _pages(picture: Image.Image) -> Iterator[Image.Image]:
    for number in range(getattr(picture, "n_frames", 1)):
        picture.seek(number)
        _refuse_size(picture.width * picture.height)
        yield picture
