"""How much memory decoding may take: all pictures that are decoded at a time stay below one budget.

A picture's need is estimated before it is decoded. Within a process needs are added up, and what would
go beyond the budget waits. Processes know nothing of each other: in all of them together one picture at a
time may need more than FREE. With up to eight processes, of which each decodes one after the other, that
is less than 2 GB.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final

from sorter.disk.systems import SYSTEM
from sorter.model.borrowed import Borrowed, Restore

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from PIL import Image

BUDGET: Final = 1_300_000_000
"""Bytes of all that is decoded at a time in a process; beside it lie Python and what was measured."""
FREE: Final = 64_000_000
"""Bytes that a picture may need without waiting for those of other processes: a JPEG of 24 megapixels,
unpacked at half its size, needs 24."""
_BYTES: Final = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16B": 2, "I;16L": 2, "I;16N": 2}
"""Bytes that Pillow takes for a pixel; of all other modes four."""
COEFFICIENT: Final = 2
"""Bytes of a coefficient, of which a JPEG in several scans has one a sample (ISO/IEC 10918-1, G.1.1.1)."""
MAYBE_IN_SCANS: Final = 30_000_000
"""Pixels from which on every JPEG is taken for one of several scans: Pillow tells of progressive ones alone."""
BLOCK: Final = 64 * 1024 * 1024
HEIF: Final = 12
"""Bytes a pixel: planes of 16 bits, the same as colours, and Pillow's copy."""
RAW: Final = 10
"""Bytes a pixel of a raw that is developed at half its size: samples, four planes, and the result."""


class MoreThanAll(Exception):
    """It needs more than the budget: it would never be its turn."""


class _Budget:
    """Bytes that are taken, added up over the threads of this process."""

    def __init__(self) -> None:
        self._taken = 0
        self._changed = threading.Condition()

    @contextmanager
    def take(self, need: int) -> Iterator[None]:
        """So many bytes are taken, as soon as there are as many."""
        with self._changed:
            self._changed.wait_for(lambda: self._taken + need <= BUDGET)
            self._taken += need
        try:
            yield
        finally:
            with self._changed:
                self._taken -= need
                self._changed.notify_all()


_OURS: Final = _Budget()


@contextmanager
def room(need: int) -> Iterator[None]:
    """So many bytes may be taken within; waits until they may. Raises MoreThanAll.

    Not to be asked for by who has some already.
    """
    if need > BUDGET:
        raise MoreThanAll(need)
    if need <= FREE:
        with _OURS.take(need):
            yield
        return
    with _alone(), _OURS.take(need), _GIVEN_BACK:
        yield


def _in_large_blocks() -> Restore:
    """Pillow asks for memory in blocks that go back to the system as soon as they are free.

    Blocks of its own 16 MB stay with the thread that had them (glibc, mallopt(3): M_MMAP_THRESHOLD is at
    most 32 MB): four pictures of 0.9 GB, one after the other in four threads, took 2.7 GB.
    """
    from PIL import Image  # noqa: PLC0415  only where a picture is decoded

    core: Any = vars(Image)["core"]  # its manual: "Block allocator"; its types do not tell of it
    before = core.get_block_size()
    core.set_block_size(BLOCK)
    return lambda: core.set_block_size(before)


_GIVEN_BACK: Final = Borrowed(_in_large_blocks)


def _alone() -> AbstractContextManager[object]:
    """No other process is here meanwhile, nor another thread of this one.

    The lock is on this module's own file: every process of ours can open it, and nothing is written. Where
    the system has no such locks (a network's file system, a packed program), processes do not wait.
    """
    try:
        file: BinaryIO = Path(__file__).open("rb")  # noqa: SIM115  whoever called closes it
    except OSError:
        return nullcontext()
    try:
        SYSTEM.hold_alone(file.fileno())
    except OSError:
        file.close()
        return nullcontext()
    return file


def need_of(picture: Image.Image, size: tuple[int, int], file: int) -> int:
    """The bytes that Pillow takes to decode the picture, as it is drafted.

    size: of the picture in the file, whatever the draft. file: bytes of it that are read at once.
    """
    width, height = picture.size
    decoded = width * height * _BYTES.get(picture.mode, 4)
    if picture.format in ("HEIF", "AVIF"):
        return HEIF * width * height
    if picture.format in ("JPEG", "MPO"):
        decoded += 2 * file
        if picture.info.get("progressive") or size[0] * size[1] > MAYBE_IN_SCANS:
            decoded += _coefficients(picture, size)
    return decoded


def _coefficients(picture: Image.Image, size: tuple[int, int]) -> int:
    """Of all components, each with its share of samples; three whole ones where that is not told."""
    layers = getattr(picture, "layer", None) or [(1, 1, 1, 0)] * 3
    across, down = (max(int(each[n]) for each in layers) or 1 for n in (1, 2))
    share = sum(int(each[1]) * int(each[2]) for each in layers) / (across * down)
    return round(COEFFICIENT * size[0] * size[1] * share)
