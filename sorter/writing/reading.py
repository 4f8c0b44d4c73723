"""Threads that read files whole, beside the one that notes what they found."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Final

READERS: Final = 3
"""As many as carry (carry.WORKERS): more of them only make a disk seek."""


@contextmanager
def readers() -> Iterator[ThreadPoolExecutor]:
    """The threads. What they have not begun when the work ends, or is stopped, is not begun any more."""
    pool = ThreadPoolExecutor(READERS, thread_name_prefix="reading")
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
