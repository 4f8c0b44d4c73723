"""Work handed to an executor: so much of it at a time, and ended where its caller ends."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ThreadPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final, TypeVar

from sorter.errors import WorkersGone

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")

MOST_JOBS: Final = 8
AHEAD: Final = 2
"""Tasks a worker that are handed over before one is done: none waits, and memory stays bounded."""


def default_jobs() -> int:
    """As many as there are processors, within reason."""
    return max(1, min(MOST_JOBS, os.cpu_count() or 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Workers:
    """Who does the work. jobs: how many tasks are done at a time.

    executor: the caller's own, which is left open; None for threads, which end with the work. What is
    handed to it are functions of modules and values that pickle, and none waits for another.
    """

    jobs: int = field(default_factory=default_jobs)
    executor: Executor | None = None

    @contextmanager
    def at_work(self) -> Iterator[Executor]:
        """The executor, for as long as there is work."""
        if self.executor is not None:
            yield self.executor
            return
        with ThreadPoolExecutor(self.jobs) as threads:
            yield threads


def in_order(
    executor: Executor, work: Callable[[Task], Outcome], tasks: Iterable[Task], at_most: int
) -> Generator[Outcome, None, None]:
    """What comes of each task, in their order; at most so many are handed over at a time.

    Where the caller stops, what has not begun is cancelled, and what has is awaited. Raises what the
    work raises, and WorkersGone.
    """
    waiting: deque[Future[Outcome]] = deque()
    try:
        for task in tasks:
            waiting.append(_submit(executor, work, task))
            if len(waiting) >= at_most:
                yield _result(waiting[0])
                waiting.popleft()
        while waiting:
            yield _result(waiting[0])
            waiting.popleft()
    finally:
        _end(waiting)


def as_they_come(
    executor: Executor,
    work: Callable[[Task], Outcome],
    tasks: Iterable[Task],
    at_most: int,
    at_end: Callable[[], None] = lambda: None,
) -> Generator[tuple[Task, Outcome], None, None]:
    """Each task with what came of it, the first that is done first; as in_order in all else.

    at_end: called before what has begun is awaited, so that it can be told to end.
    """
    waiting: dict[Future[Outcome], Task] = {}
    try:
        for task in tasks:
            waiting[_submit(executor, work, task)] = task
            if len(waiting) >= at_most:
                yield from _done(waiting)
        while waiting:
            yield from _done(waiting)
    finally:
        at_end()
        _end(waiting)


def _done(waiting: dict[Future[Outcome], Task]) -> Generator[tuple[Task, Outcome], None, None]:
    ended, _ = wait(waiting, return_when=FIRST_COMPLETED)
    for future in ended:
        outcome = _result(future)
        yield waiting.pop(future), outcome


def _submit(executor: Executor, work: Callable[[Task], Outcome], task: Task) -> Future[Outcome]:
    try:
        return executor.submit(work, task)
    except BrokenExecutor as error:
        raise _gone() from error


def _result(future: Future[Outcome]) -> Outcome:
    try:
        return future.result()
    except BrokenExecutor as error:
        raise _gone() from error


def _gone() -> WorkersGone:
    return WorkersGone(
        "a process that did a part of the work was ended from outside. Nothing is lost: run it again."
    )


def _end(futures: Iterable[Future[Outcome]]) -> None:
    """What has begun is done, so that nothing is written behind the caller's back."""
    wait([future for future in futures if not future.cancel()])
