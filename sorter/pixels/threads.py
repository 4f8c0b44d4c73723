"""OpenCV's own threads kept out of work that is done by several at a time, and given back afterwards."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Final, ParamSpec, TypeVar

from sorter.model.borrowed import Borrowed, Restore

Given = ParamSpec("Given")
Made = TypeVar("Made")


def _on_one() -> Restore:
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    return lambda: cv2.setNumThreads(before)


ONE_THREAD: Final = Borrowed(_on_one)
"""OpenCV works on the thread that asks it: the workers are as many as there are to be."""


def on_one_thread(work: Callable[Given, Made]) -> Callable[Given, Made]:
    """The function, with OpenCV on one thread for as long as it runs."""

    @wraps(work)
    def done(*given: Given.args, **named: Given.kwargs) -> Made:
        with ONE_THREAD:
            return work(*given, **named)

    return done
