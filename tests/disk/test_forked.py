"""A process that is forked from another one reads into memory of its own."""

from __future__ import annotations

import os
from pathlib import Path

from sorter.disk.streams import Stream, digest

LIMPETS, ANEMONES = b"limpets " * 400, b"anemones" * 400


def reads(path: Path) -> tuple[int, str]:
    with Stream(str(path)) as stream:
        return digest(stream)


def test_what_one_reads_does_not_come_into_what_the_other_has_read(tmp_path: Path) -> None:
    (tmp_path / "limpets").write_bytes(LIMPETS)
    (tmp_path / "anemones").write_bytes(ANEMONES)
    reads(tmp_path / "limpets")  # from now on there is memory to be used again
    go, on = os.pipe()
    child = os.fork()
    if not child:
        os.read(go, 1)
        reads(tmp_path / "anemones")
        os._exit(0)
    with Stream(str(tmp_path / "limpets")) as stream:
        block = next(iter(stream.blocks()))
        os.write(on, b"!")
        os.waitpid(child, 0)
        assert bytes(block) == LIMPETS
    os.close(go)
    os.close(on)
