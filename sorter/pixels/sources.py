"""Where a frame is best looked at: which embedded preview, or which of its files as a whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from sorter.model.frame import ReadFile
from sorter.model.kinds import PICTURE_ROLES, Role
from sorter.model.measurement import LARGE, MOST_PIXELS, FrameSource, PreviewSource

ENOUGH: Final = 1000
"""Pixels across, above which the smallest preview is taken: more costs time and shows no more."""


def frame_source(
    files: Iterable[ReadFile],
    at: Callable[[str], str],
    key: str = "",
    most_pixels: int = MOST_PIXELS,
) -> FrameSource:
    """The frame's sights, the best first. at: a file's path on the system out of its path here.

    First the previews of ENOUGH pixels and more, the smallest of them first; then a JPEG itself,
    previews of unknown size, those of LARGE pixels and more; then the other pictures as whole files,
    which libraries may know; last what is smaller, the largest first.
    """
    pictures = [file for file in files if file.role in PICTURE_ROLES and file.is_picture]
    ranked: list[tuple[tuple[int, int], PreviewSource]] = []
    for order, file in enumerate(pictures):
        turn = file.facts.orientation if file.facts.orientation in range(1, 9) else 1
        path = at(file.path)
        for each in file.previews:
            preview = PreviewSource(
                path=path,
                offset=each.offset,
                length=each.length,
                side=max(each.width, each.height),
                orientation=turn or 1,
            )
            ranked.append((_rank(preview), preview))
        ranked.append(
            ((1 if file.container == "jpeg" else 4, order), _whole(file, path, turn or 1))
        )
    ranked.sort(key=lambda pair: pair[0])
    return FrameSource(
        previews=tuple(preview for _, preview in ranked), key=key, most_pixels=most_pixels
    )


def _rank(preview: PreviewSource) -> tuple[int, int]:
    side = preview.side
    if not side:
        return 2, -preview.length
    return (0, side) if side >= ENOUGH else (3, -side) if side >= LARGE else (5, -side)


def _whole(file: ReadFile, path: str, turn: int) -> PreviewSource:
    """All of the file.

    What is decoded of HEIF is turned by its own properties already, and Exif's Orientation does not
    count there (ISO/IEC 23000-22).
    """
    is_turned = file.container == "heif" and not path.lower().endswith(".avif")
    return PreviewSource(
        path=path, orientation=1 if is_turned else turn, is_raw=file.role is Role.RAW
    )
