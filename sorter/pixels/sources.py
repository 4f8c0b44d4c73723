"""Where a frame is best looked at: which embedded preview, or which of its files as a whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from sorter.model.frame import ReadFile
from sorter.model.kinds import PICTURE_ROLES
from sorter.model.measurement import FrameSource, PreviewSource

ENOUGH: Final = 1000
"""Pixels across, above which the smallest preview is taken: more costs time and shows no more."""
LEAST: Final = 200


def frame_source(files: Iterable[ReadFile], at: Callable[[str], str], key: str = "") -> FrameSource:
    """The frame's sights, the best first. at: a file's path on the system out of its path here.

    First the previews of ENOUGH pixels and more, the smallest of them first; then a JPEG itself,
    then previews of unknown size and smaller ones, the largest first; last the other pictures as
    whole files, which libraries may know.
    """
    pictures = [file for file in files if file.role in PICTURE_ROLES and file.is_picture]
    ranked: list[tuple[tuple[int, int], PreviewSource]] = []
    for order, file in enumerate(pictures):
        turn = file.facts.orientation if file.facts.orientation in range(1, 9) else 1
        path = at(file.path)
        for each in file.previews:
            side = max(each.width, each.height)
            rank = (0, side) if side >= ENOUGH else (3, -side) if side >= LEAST else (4, -side)
            rank = rank if side else (2, -each.length)
            preview = PreviewSource(
                path=path,
                offset=each.offset,
                length=each.length,
                width=each.width,
                orientation=turn or 1,
            )
            ranked.append((rank, preview))
        whole = 1 if file.container == "jpeg" else 5
        ranked.append(((whole, order), PreviewSource(path=path, orientation=turn or 1)))
    ranked.sort(key=lambda pair: pair[0])
    return FrameSource(previews=tuple(preview for _, preview in ranked), key=key)
