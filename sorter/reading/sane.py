"""What a file said, held against what can be: damage writes any number, a camera does not.

A number of a signed type may stand where a count is meant, a code may be one that no table has. Each
decoder would have to look, so it is done once for all of them.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final, cast

from sorter.model.values import Preview
from sorter.reading.draft import Draft
from sorter.reading.standard import LARGEST_EV, LARGEST_ISO, SMALLEST

_MOST: Final = 0xFFFFFFFF
_COUNTS: Final = ("shot_number", "planned", "counter", "merged_from", "width", "height")
_BOUNDS: Final[dict[str, tuple[float, float]]] = {
    **dict.fromkeys(_COUNTS, (1, _MOST)),
    "iso": (SMALLEST, LARGEST_ISO),
    "bracket_offset_ev": (-LARGEST_EV, LARGEST_EV),
    "focus_near_m": (SMALLEST, math.inf),
    "focus_far_m": (SMALLEST, math.inf),
}
_TOGETHER: Final = ("focus_near_m", "focus_far_m")


def settle(draft: Draft, size: int) -> None:
    """Takes back what no camera means, and previews that do not lie within the file's size."""
    said = cast("dict[str, Any]", draft.said)
    for name, (low, high) in _BOUNDS.items():
        value = said.get(name)
        if value is not None and not low <= value <= high:
            said.update(dict.fromkeys(_TOGETHER if name in _TOGETHER else (name,)))
    if not all(_is_sane(one, size) for one in draft.previews):
        kept = [_sized(one) for one in draft.previews]
        draft.previews[:] = [one for one in kept if _is_sane(one, size)]


def _is_sane(preview: Preview, size: int) -> bool:
    start, length = preview.offset, preview.length
    return start >= 0 and 0 < length <= size - start and min(preview.width, preview.height) >= 0


def _sized(preview: Preview) -> Preview:
    """The preview, of unknown size where what was said of it is none."""
    if min(preview.width, preview.height) >= 0:
        return preview
    return replace(preview, width=0, height=0)
