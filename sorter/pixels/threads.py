"""OpenCV's own threads kept out of work that is done by several at a time, and given back afterwards."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from threading import Lock
from typing import ParamSpec, TypeVar

Given = ParamSpec("Given")
Made = TypeVar("Made")


class _Count:
    """How many are at work in this process, and what the number of threads was before the first."""

    def __init__(self) -> None:
        self.lock = Lock()
        self.at_work = 0
        self.before = 0


_count = _Count()


def on_one_thread(work: Callable[Given, Made]) -> Callable[Given, Made]:
    """The function, with OpenCV on one thread for as long as it runs."""

    @wraps(work)
    def done(*given: Given.args, **named: Given.kwargs) -> Made:
        with one_thread():
            return work(*given, **named)

    return done


@contextmanager
def one_thread() -> Iterator[None]:
    """OpenCV works on the thread that asks it: the workers are as many as there are to be.

    The setting is the process's, which may be another program's: with the last that is at work here it
    is what it was.
    """
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

    with _count.lock:
        if not _count.at_work:
            _count.before = cv2.getNumThreads()
            cv2.setNumThreads(1)
        _count.at_work += 1
    try:
        yield
    finally:
        with _count.lock:
            _count.at_work -= 1
            if not _count.at_work:
                cv2.setNumThreads(_count.before)
