"""What a stranger tried and is not solved yet; each is expected to fail, and is to be moved when it does not."""

from __future__ import annotations

import os
from contextlib import ExitStack
from pathlib import Path

import pytest

from faults.test_attack import BTRFS, images, mounted_as, read_from
from sorter.disk.streams import Stream, measured

__all__ = ["images"]


@pytest.mark.xfail(strict=True, reason="small files stand among the names there, whose pages stay")
def test_a_small_file_that_comes_from_memory_is_not_called_sure(images: Path) -> None:
    """A sidecar of 200 bytes on btrfs: read past the cache, as is said, and 0 bytes from the disk."""
    with ExitStack() as stack:
        disk = mounted_as(stack, images, BTRFS, "loop")
        path = disk / "limpet.xmp"
        path.write_bytes(b"limpet " * 30)
        os.sync()
        path.read_bytes()
        before = read_from(disk)
        told = measured(Stream(str(path), past=True))
        assert read_from(disk) > before or not told.sure
