"""The bench measures the memory of what it starts, and not its own."""

from __future__ import annotations

import sys

import pytest

from benching.timing import with_memory

HELD_MB = 300


def test_a_commands_memory_is_its_own_whatever_the_bench_holds() -> None:
    _, alone = with_memory([sys.executable, "-c", "pass"])
    held = bytearray(b"tide") * (HELD_MB * 1024 * 256)
    _, beside = with_memory([sys.executable, "-c", "pass"])
    assert len(held) == HELD_MB * 1024 * 1024
    assert abs(beside - alone) < 5


def test_what_a_command_fills_is_counted() -> None:
    fills = f"bytearray(b'tide') * ({HELD_MB} * 1024 * 256)"
    seconds, memory = with_memory([sys.executable, "-c", fills])
    assert HELD_MB < memory < HELD_MB + 100
    assert seconds > 0


def test_a_command_that_fails_ends_the_bench() -> None:
    with pytest.raises(SystemExit, match="ended with 3"):
        with_memory([sys.executable, "-c", "raise SystemExit(3)"])
