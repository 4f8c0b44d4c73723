"""A picture in small, grey or in colour: the embedded preview, else the JPEG itself, else what libraries give."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sorter.model.borrowed import Borrowed, Restore
from sorter.model.measurement import LARGE, FrameSource, PreviewSource
from sorter.pixels.decoded import HasTooMany, Undecodable, all_at_once, opened, strips
from sorter.pixels.memory import BUDGET, FREE, RAW, need_of, room

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    import numpy as np
    from numpy.typing import NDArray
    from PIL import Image

    from sorter.model.measurement import Grey, Grid

    Samples = NDArray[np.uint8]

LONG_SIDE: Final = 810
"""Pixels of the longer side that is measured: half of the previews that bodies embed."""
LEAST_SIDE: Final = 720
"""What a JPEG may be unpacked to at least: it gives halves, quarters and eighths at once."""
MOST_SIDE: Final = 1100
LEAST_PIXELS: Final = 48
MOST_BYTES: Final = 64 * 1024 * 1024
"""Of an embedded preview. The largest that bodies write have a fifth of that."""
_DEEP: Final = ("I", "I;16", "I;16B", "I;16L", "I;16N", "F")
"""Pillow's modes of one channel with more than eight bits."""
_WHITES: Final = (1.0, 255.0, 65535.0)
"""What white is in such a channel, by the brightest that is in it."""
STRIP: Final = 16_000_000
"""Bytes of rows of a large picture that are made small at a time."""
_HEIF: Final = (".heic", ".heif", ".hif", ".avif")


GREY: Final = "L"
COLOUR: Final = "RGB"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """A picture in small. samples: rows by columns, in colour by red, green and blue; uint8.

    scale: how many of the decoded picture's pixels one of it stands for. profile: the ICC profile
    that its colours are told in; empty where the file names none.
    """

    samples: Samples
    scale: float
    profile: bytes = b""

    @property
    def side(self) -> int:
        """Pixels of the longer side of the picture that was decoded."""
        rows, columns = self.samples.shape[:2]
        return round(max(int(rows), int(columns)) * self.scale)


def grey(source: FrameSource) -> tuple[Grey, float]:
    """The frame's picture in grey, and how many of its pixels one of them stands for.

    The longer side has LONG_SIDE pixels, or what a smaller picture has. Raises Undecodable with the
    reason for the last of its places, OSError where a file cannot be read.
    """
    found = reduced(source, GREY)
    return found.samples, found.scale


def reduced(source: FrameSource, mode: str) -> Reduced:
    """The frame's picture as grey has it. mode: GREY or COLOUR. Raises what grey raises.

    The first of its places that gives a LARGE one; without such a place that with the largest.
    """
    reason: Exception = Undecodable("has no picture that can be looked at")
    best: Reduced | None = None
    for preview in source.previews:
        if best is not None and 0 < preview.side <= best.side:
            continue
        try:
            found = _turned(_reduced(preview, mode, source.most_pixels), preview.orientation)
        except Undecodable as error:
            reason = error
            continue
        if best is None or found.side > best.side:
            best = found
        if best.side >= LARGE:
            break
    if best is None:
        raise reason
    return best


def _reduced(preview: PreviewSource, mode: str, most: int) -> Reduced:
    if preview.length:
        return _by_pillow(BytesIO(_stretch(preview)), mode, most)
    if preview.is_raw:
        return _of_raw(preview.path, mode, most)
    is_heif = Path(preview.path).suffix.lower() in _HEIF
    try:
        with _HEIF_KNOWN if is_heif else nullcontext():
            return _by_pillow(Path(preview.path), mode, most)
    except HasTooMany:
        raise
    except Undecodable as error:
        return _developed(preview.path, error, mode, most)


def _of_raw(path: str, mode: str, most: int) -> Reduced:
    """A raw developed; where that cannot be done, what Pillow sees in it, which may be its thumbnail."""
    try:
        return _developed(path, Undecodable("cannot be developed"), mode, most)
    except HasTooMany:
        raise
    except Undecodable:
        return _by_pillow(Path(path), mode, most)


def _stretch(preview: PreviewSource) -> bytes:
    if preview.length > MOST_BYTES:
        raise Undecodable(f"says that its preview has {preview.length} bytes")
    with Path(preview.path).open("rb") as file:
        file.seek(preview.offset)
        return file.read(preview.length)


def _by_pillow(file: BytesIO | Path, mode: str, most: int) -> Reduced:
    """The picture by Pillow, whose JPEG decoder unpacks grey alone, and at half its size, at once."""
    with opened(file) as picture:
        width, height = picture.size
        if width * height > most:
            raise HasTooMany(width * height, most)
        return _small(picture, mode, all_at_once(file))


def _small(picture: Image.Image, mode: str, file: int) -> Reduced:
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures
    import numpy as np  # noqa: PLC0415

    width, height = picture.size
    if min(width, height) < LEAST_PIXELS:
        raise Undecodable(f"has {width} by {height} pixels, too few to look at")
    share = LEAST_SIDE / max(width, height)
    profile = picture.info.get("icc_profile")
    picture.draft(mode, (max(1, round(width * share)), max(1, round(height * share))))
    need = need_of(picture, (width, height), file)
    with _room(need):
        picture.load()
        plain = _samples(picture, mode) if need < FREE else _in_strips(picture, mode)
        is_as_stored = picture.mode == mode == COLOUR
        picture.close()  # its memory is given back before the room is
    sides = plain.shape[1::-1]
    if max(sides) > MOST_SIDE:
        size = [max(LEAST_PIXELS // 2, round(n * LONG_SIDE / max(sides))) for n in sides]
        plain = cv2.resize(plain, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    # A profile tells of the samples as they are stored, and not of what they were made to.
    known = profile if isinstance(profile, bytes) and is_as_stored else b""
    return Reduced(samples=plain, scale=max(width, height) / max(plain.shape), profile=known)


def _room(need: int) -> AbstractContextManager[None]:
    """Room for so many bytes. Raises Undecodable where there is never so much."""
    if need > BUDGET:
        raise Undecodable(
            f"needs {need / 1e9:.1f} GB to be decoded, more than the {BUDGET / 1e9:.1f} GB that all take together"
        )
    return room(need)


def _in_strips(picture: Image.Image, mode: str) -> Samples:
    """The samples of a picture that is large, made small strip by strip: never all of them once more."""
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    by = max(1, max(picture.size) // (2 * MOST_SIDE))
    white = None
    if picture.mode in _DEEP:
        white = _white_of(max(float(_deep(each).max()) for each in strips(picture, STRIP)))
    width, height = picture.size
    rows = max(1, STRIP // (4 * width * by)) * by
    parts = []
    for top in range(0, height, rows):
        strip = picture.crop((0, top, width, min(height, top + rows)))
        size = (max(1, width // by), max(1, strip.height // by))
        plain = _samples(strip, mode, white)
        parts.append(cv2.resize(plain, size, interpolation=cv2.INTER_AREA).astype(np.uint8))
    whole: Samples = np.concatenate(parts)
    return whole


def _deep(picture: Image.Image) -> Grid:
    import numpy as np  # noqa: PLC0415  see above

    return np.nan_to_num(np.asarray(picture).astype(np.float32))


def _white_of(brightest: float) -> float:
    return next((each for each in _WHITES if brightest <= each), brightest)


def _samples(picture: Image.Image, mode: str, white: float | None = None) -> Samples:
    """The picture's samples in eight bits; Pillow itself would cut off what is deeper in one channel.

    white: what white is in one; None to tell by this picture.
    """
    import numpy as np  # noqa: PLC0415  see above

    if picture.mode not in _DEEP:
        return np.asarray(picture if picture.mode == mode else picture.convert(mode))
    deep = _deep(picture)
    white = white or _white_of(float(deep.max()))
    plain: Samples = np.clip(deep * (255 / white), 0, 255).astype(np.uint8)
    return plain if mode == GREY else plain[..., None].repeat(3, 2)


def _turned(found: Reduced, orientation: int) -> Reduced:
    """As it is to be seen (Exif 2.32, tag Orientation)."""
    import numpy as np  # noqa: PLC0415  see above

    plain = found.samples
    if orientation in (2, 3, 4):
        plain = {2: plain[:, ::-1], 3: plain[::-1, ::-1], 4: plain[::-1]}[orientation]
    elif orientation in (5, 6, 7, 8):
        across = plain.swapaxes(0, 1)
        plain = {5: across, 6: across[:, ::-1], 7: across[::-1, ::-1], 8: across[::-1]}[orientation]
    return replace(found, samples=np.ascontiguousarray(plain))


# ---- what needs an extra ---------------------------------------------------------------------


def _teach() -> Restore:
    """Pillow can open HEIF files, where the extra for them is installed."""
    try:
        import pillow_heif  # noqa: PLC0415  an extra
    except ImportError:
        return lambda: None
    from PIL import Image  # noqa: PLC0415  only where a picture is decoded

    tables: list[Any] = [Image.OPEN, Image.SAVE, Image.SAVE_ALL, Image.MIME, Image.EXTENSION]
    before, known = [dict(table) for table in tables], list(Image.ID)
    pillow_heif.register_heif_opener()

    def restore() -> None:
        for table, kept in zip(tables, before, strict=True):
            for name in table.keys() - kept.keys():
                del table[name]
        Image.ID[:] = [name for name in Image.ID if name in known or name in Image.OPEN]

    return restore


_HEIF_KNOWN: Final = Borrowed(_teach)


def _developed(path: str, error: Undecodable, mode: str, most: int) -> Reduced:
    """A raw that holds no preview, developed at half its size, where the extra is installed."""
    try:
        import rawpy  # noqa: PLC0415  an extra
    except ImportError:
        raise error from None
    import cv2  # noqa: PLC0415  see above

    try:
        with rawpy.imread(path) as raw:
            pixels = raw.sizes.raw_width * raw.sizes.raw_height
            if pixels > most:
                raise HasTooMany(pixels, most)
            full = max(raw.sizes.width, raw.sizes.height)  # before they become the halves'
            with _room(RAW * pixels):
                shown: Any = raw.postprocess(half_size=True, use_camera_wb=True, user_flip=0)
    except rawpy.LibRawError as fault:
        raise error from fault  # no raw either: what Pillow says of it tells more
    plain = cv2.cvtColor(shown, cv2.COLOR_RGB2GRAY) if mode == GREY else shown
    share = min(1.0, LONG_SIDE / max(plain.shape))
    small = cv2.resize(plain, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return Reduced(samples=small.astype("uint8"), scale=full / max(small.shape))
