"""Pictures as files for a page: in small as JPEG, and depth in false colour as PNG."""

from __future__ import annotations

from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sorter.pixels.reduced import Samples

SMALL_SIDE: Final = 240
QUALITY: Final = 80
GOOD: Final = 88
"""Of what a stack is judged by: what the sharpest slices show is not to be lost in saving it."""
MOST_PROFILE: Final = 4096
"""Bytes of an ICC profile that goes along with every picture: those of cameras have about 600."""
COLOURS: Final = 255
UNKNOWN: Final = (128, 128, 128)
"""Where nothing tells depth: no colour of the map is grey."""


def jpeg(samples: Samples, quality: int = QUALITY, profile: bytes = b"") -> bytes:
    """The picture (rows by columns by red, green and blue) as JPEG. profile: of its colours, ICC."""
    from PIL import Image  # noqa: PLC0415  slow to load, and few commands draw

    out = BytesIO()
    more: dict[str, Any] = {"icc_profile": profile} if 0 < len(profile) <= MOST_PROFILE else {}
    Image.fromarray(samples).save(out, "JPEG", quality=quality, **more)
    return out.getvalue()


def small(samples: Samples) -> Samples:
    """The picture with SMALL_SIDE pixels along its longer side, or as it is where it has fewer."""
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures
    import numpy as np  # noqa: PLC0415

    rows, columns = samples.shape[:2]
    share = SMALL_SIDE / max(rows, columns)
    if share >= 1:
        return samples
    size = max(1, round(columns * share)), max(1, round(rows * share))
    return cv2.resize(samples, size, interpolation=cv2.INTER_AREA).astype(np.uint8)


def false_colour(depth: NDArray[np.float64], known: NDArray[np.bool_]) -> bytes:
    """Depth as PNG. depth: 0 for the first colour to 1 for the last one. told: where it is known.

    The colours are viridis, even to the eye (S. van der Walt, N. Smith, "A Better Default Colormap for
    Matplotlib", 2015).
    """
    import numpy as np  # noqa: PLC0415  see above
    from PIL import Image  # noqa: PLC0415

    index = np.where(known, np.rint(np.clip(depth, 0, 1) * (COLOURS - 1)) + 1, 0)
    shown = Image.fromarray(index.astype(np.uint8), mode="P")
    shown.putpalette([*UNKNOWN, *(part for each in _table() for part in each)])
    out = BytesIO()
    shown.save(out, "PNG", optimize=True)
    return out.getvalue()


def colours(count: int) -> tuple[str, ...]:
    """So many colours of the map as #rrggbb, from the first to the last one."""
    table = _table()
    places = (round(n * (COLOURS - 1) / max(1, count - 1)) for n in range(count))
    return tuple("#" + bytes(table[place]).hex() for place in places)


@lru_cache(maxsize=1)
def _table() -> tuple[tuple[int, int, int], ...]:
    import cv2  # noqa: PLC0415  see above
    import numpy as np  # noqa: PLC0415

    ramp = np.rint(np.linspace(0, 255, COLOURS)).astype(np.uint8)[None]
    found = cv2.applyColorMap(ramp, cv2.COLORMAP_VIRIDIS)[0]
    return tuple((int(red), int(green), int(blue)) for blue, green, red in found)
