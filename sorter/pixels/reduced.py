"""A picture in small, grey or in colour: the embedded preview, else the JPEG itself, else what libraries give."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sorter.model.borrowed import Borrowed, Restore
from sorter.model.measurement import LARGE, FrameSource, PreviewSource
from sorter.pixels.decoded import Undecodable, opened

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL import Image

    from sorter.model.measurement import Grey

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
            found = _turned(_reduced(preview, mode), preview.orientation)
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


def _reduced(preview: PreviewSource, mode: str) -> Reduced:
    if preview.length:
        return _by_pillow(BytesIO(_stretch(preview)), mode)
    if preview.is_raw:
        return _of_raw(preview.path, mode)
    is_heif = Path(preview.path).suffix.lower() in _HEIF
    try:
        with _HEIF_KNOWN if is_heif else nullcontext():
            return _by_pillow(Path(preview.path), mode)
    except Undecodable as error:
        return _developed(preview.path, error, mode)


def _of_raw(path: str, mode: str) -> Reduced:
    """A raw developed; where that cannot be done, what Pillow sees in it, which may be its thumbnail."""
    try:
        return _developed(path, Undecodable("cannot be developed"), mode)
    except Undecodable:
        return _by_pillow(Path(path), mode)


def _stretch(preview: PreviewSource) -> bytes:
    if preview.length > MOST_BYTES:
        raise Undecodable(f"says that its preview has {preview.length} bytes")
    with Path(preview.path).open("rb") as file:
        file.seek(preview.offset)
        return file.read(preview.length)


def _by_pillow(file: BytesIO | Path, mode: str) -> Reduced:
    """The picture by Pillow, whose JPEG decoder unpacks grey alone, and at half its size, at once."""
    with opened(file) as picture:
        return _small(picture, mode)


def _small(picture: Image.Image, mode: str) -> Reduced:
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures
    import numpy as np  # noqa: PLC0415

    width, height = picture.size
    if min(width, height) < LEAST_PIXELS:
        raise Undecodable(f"has {width} by {height} pixels, too few to look at")
    share = LEAST_SIDE / max(width, height)
    profile = picture.info.get("icc_profile")
    picture.draft(mode, (max(1, round(width * share)), max(1, round(height * share))))
    plain = _samples(picture, mode)
    sides = plain.shape[1::-1]
    if max(sides) > MOST_SIDE:
        size = [max(LEAST_PIXELS // 2, round(n * LONG_SIDE / max(sides))) for n in sides]
        plain = cv2.resize(plain, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    # A profile tells of the samples as they are stored, and not of what they were made to.
    known = profile if isinstance(profile, bytes) and picture.mode == mode == COLOUR else b""
    return Reduced(samples=plain, scale=max(width, height) / max(plain.shape), profile=known)


def _samples(picture: Image.Image, mode: str) -> Samples:
    """The picture's samples in eight bits; Pillow itself would cut off what is deeper in one channel."""
    import numpy as np  # noqa: PLC0415  see above

    if picture.mode not in _DEEP:
        return np.asarray(picture if picture.mode == mode else picture.convert(mode))
    deep = np.nan_to_num(np.asarray(picture).astype(np.float32))
    white = next((each for each in _WHITES if deep.max() <= each), float(deep.max()))
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


def _developed(path: str, error: Undecodable, mode: str) -> Reduced:
    """A raw that holds no preview, developed at half its size, where the extra is installed."""
    try:
        import rawpy  # noqa: PLC0415  an extra
    except ImportError:
        raise error from None
    import cv2  # noqa: PLC0415  see above

    try:
        with rawpy.imread(path) as raw:
            full = max(raw.sizes.width, raw.sizes.height)  # before they become the halves'
            shown: Any = raw.postprocess(half_size=True, use_camera_wb=True, user_flip=0)
    except rawpy.LibRawError as fault:
        raise error from fault  # no raw either: what Pillow says of it tells more
    plain = cv2.cvtColor(shown, cv2.COLOR_RGB2GRAY) if mode == GREY else shown
    share = min(1.0, LONG_SIDE / max(plain.shape))
    small = cv2.resize(plain, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return Reduced(samples=small.astype("uint8"), scale=full / max(small.shape))
