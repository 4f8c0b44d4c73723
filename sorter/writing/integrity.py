"""Whether a file is whole, judged from its bytes while they pass. Pure.

A look at the end, not a decoding: JPEG ends with the marker EOI (ISO/IEC 10918-1), PNG with the chunk
IEND (ISO/IEC 15948); boxes (ISO/IEC 14496-12) and RIFF tell how long they are; and no picture ends in
a long run of zeros, which is what a card leaves that lost its power in the middle of a write.
"""

from __future__ import annotations

from typing import Final

from sorter.model.damage import Damage

TAIL: Final = 64 * 1024
"""Bytes that are kept for a look: bodies pad, phones append behind the end marker."""
LONG: Final = 64 * 1024
"""So many zeros at the end are no padding: file systems give space in units of up to 32 KiB, and
some bodies write whole units (common practice, no source)."""
SHORT: Final = 512
"""Fewer zeros than a sector say nothing, however small the file is."""
SHARE: Final = 4
"""Of a small file a quarter in zeros is much."""

BOXES: Final = 4096
"""A file of more boxes on its top level is none of a camera, and is not followed any further."""

_ENDS: Final = {"jpeg": b"\xff\xd9", "png": b"IEND"}
_BOXED: Final = frozenset({"cr3", "heif", "mp4", "jxl", "jp2"})
_RIFFS: Final = frozenset({"avi", "wav", "webp"})
_BARE: Final = b"\xff"  # JPEG 2000 and JPEG XL without boxes begin with a marker
_RIFF_HEAD: Final = 8
_UNKNOWN: Final = frozenset({0, 0xFF_FF_FF_FF})  # a RIFF that was not closed


class IntegrityCheck:
    """Sees the bytes of one file pass, in order, and says at the end what is wrong with it.

    container: the format by content. is_picture: zeros at the end are judged, which sound and other
    files may well have.
    """

    def __init__(self, container: str, *, is_picture: bool) -> None:
        self._container = container
        self._is_picture = is_picture
        self._count = 0
        self._zeros = 0
        self._tail = b""
        self._box = 0  # where the next box begins
        self._boxes = 0
        self._stated_size = 0  # bytes that the file says it has
        self._begun = b""  # the start of a box head that goes on in the next block

    def feed(self, block: memoryview) -> None:
        """Takes in the next bytes."""
        if self._container in _BOXED:
            self._follow_boxes(block)
        elif self._container in _RIFFS and self._count < _RIFF_HEAD:
            self._follow_riff(block)
        self._count += len(block)
        tail = bytes(block[-TAIL:])
        self._tail = tail if len(tail) == TAIL else (self._tail + tail)[-TAIL:]
        self._count_zeros(block)

    def _count_zeros(self, block: memoryview) -> None:
        if block and block[-1]:
            self._zeros = 0
            return
        stripped = len(bytes(block).rstrip(b"\0"))
        self._zeros = len(block) - stripped + (self._zeros if stripped == 0 else 0)

    def verdict(self) -> str:
        """What is wrong; empty where nothing is seen to be."""
        if self._count == 0:
            return Damage.EMPTY
        if self._box > self._count or self._stated_size > self._count:
            return Damage.CUT
        end = _ENDS.get(self._container)
        if end is not None:
            ends = self._tail.endswith(end) or end in self._tail  # most end there: no search then
            return "" if ends else Damage.ZEROS if self._zeros >= SHORT else Damage.NO_END
        return Damage.ZEROS if self._is_picture and self._has_many_zeros() else ""

    def _has_many_zeros(self) -> bool:
        return self._zeros >= LONG or self._zeros >= max(SHORT, self._count / SHARE)

    def _follow_riff(self, block: memoryview) -> None:
        self._begun += bytes(block[: _RIFF_HEAD - len(self._begun)])
        size = int.from_bytes(self._begun[4:], "little")
        is_riff = len(self._begun) == _RIFF_HEAD and self._begun.startswith(b"RIFF")
        if is_riff and size not in _UNKNOWN:
            self._stated_size = size + _RIFF_HEAD

    def _follow_boxes(self, block: memoryview) -> None:
        """Goes from box to box; each tells where the next begins."""
        if self._count == 0 and bytes(block[:1]) == _BARE:
            self._container = ""
            return
        begun = len(self._begun)  # what the last block had of a head
        while self._box - self._count < len(block):
            at = self._box - self._count + begun
            head = (self._begun + bytes(block[max(at - begun, 0) : at - begun + 16]))[:16]
            length = _box_length(head)
            if length is None:  # it goes on in the next block
                self._begun = head
                return
            self._boxes += 1
            if length == 0 or self._boxes > BOXES:  # the last one takes the rest of the file
                self._box, self._container = 0, ""
                return
            self._box += length
            self._begun, begun = b"", 0


def _box_length(head: bytes) -> int | None:
    """The bytes of a box by its head; 0 for one that takes the rest, None for too little of it."""
    if len(head) < 8:  # noqa: PLR2004
        return None
    size = int.from_bytes(head[:4])
    if size == 1:
        return int.from_bytes(head[8:16]) or 0 if len(head) == 16 else None  # noqa: PLR2004
    return size if size >= 8 else 0  # noqa: PLR2004
