"""Whole files in blocks: every byte, and no request more than that takes."""

from __future__ import annotations

from pathlib import Path

import pytest

from sorter.disk import streams
from sorter.disk.streams import BLOCK, Stream

READ_AT = streams._read_at  # noqa: SLF001 - what the system is asked for shows only there


def requests(patch: pytest.MonkeyPatch) -> list[int]:
    """What each request to a file gives, in turn, from now on."""
    given: list[int] = []

    def read_at(handle: int, memory: memoryview, at: int) -> int:
        given.append(READ_AT(handle, memory, at))
        return given[-1]

    patch.setattr(streams, "_read_at", read_at)
    return given


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        (0, [0]),
        (1, [1]),
        (BLOCK - 1, [BLOCK - 1]),
        (BLOCK, [BLOCK, 0]),  # it was not asked for more than it has
        (BLOCK + 1, [BLOCK, 1]),
        (2 * BLOCK, [BLOCK, BLOCK, 0]),
    ],
)
def test_all_bytes_come_and_the_end_is_asked_for_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: int, expected: list[int]
) -> None:
    data = bytes(range(256)) * (size // 256) + bytes(size % 256)
    (tmp_path / "pool.jpg").write_bytes(data)
    given = requests(monkeypatch)
    with Stream(str(tmp_path / "pool.jpg")) as stream:
        assert b"".join(map(bytes, stream.blocks())) == data
    assert given == expected


@pytest.mark.parametrize("more", [1, BLOCK, 3 * BLOCK])
def test_what_a_file_grew_by_since_it_was_opened_comes_too(tmp_path: Path, more: int) -> None:
    path = tmp_path / "pool.jpg"
    path.write_bytes(b"tide")
    with Stream(str(path)) as stream:
        path.write_bytes(b"tide" + bytes(more))
        assert sum(map(len, stream.blocks())) == 4 + more


def test_requests_that_give_less_than_was_asked_for_are_made_until_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pool.jpg").write_bytes(b"low tide")
    monkeypatch.setattr(
        streams, "_read_at", lambda handle, memory, at: READ_AT(handle, memory[:3], at)
    )
    with Stream(str(tmp_path / "pool.jpg")) as stream:
        assert b"".join(map(bytes, stream.blocks())) == b"low tide"
