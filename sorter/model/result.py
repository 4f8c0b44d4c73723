"""Results: pictures that another program merged from stacks, and what became of each stack."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from sorter.model.stack import LeftOut, PassedOver, Stack, StackRequest


class ResultType(StrEnum):
    """The form that a program is asked for, by its extension."""

    TIF = "tif"
    JPG = "jpg"
    PNG = "png"


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandRequest:
    """How a program is to be run. command: with its fields. jobs: how many at a time.

    limit_s: how long each may take, in seconds; None for as long as it needs. again: also for stacks
    that have a result.
    """

    command: str
    result_type: ResultType = ResultType.TIF
    jobs: int = 1
    limit_s: float | None = None
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """A stack that has a result. path: below the shoot. seconds: how long the program ran.

    notes: what deserves a look. there_already: it was there before this run.
    """

    stack: Stack
    path: str
    seconds: float = 0.0
    notes: tuple[str, ...] = ()
    there_already: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """A stack of which no result came, and why: the end of a sentence. log: what the program said."""

    stack: Stack
    reason: str
    log: str = ""
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Results:
    """What came of a run over stacks, in the order of the sequences."""

    request: StackRequest
    merged: tuple[Merged, ...] = ()
    failed: tuple[Failed, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    passed_over: PassedOver = ()
    folder: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Collected:
    """A file that was taken in as a result. path: below the shoot. by: how it was matched."""

    file: str
    sequence: int
    path: str
    by: str
    notes: tuple[str, ...] = ()
    there_already: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class NotCollected:
    """A file that was not taken in, and why: a sentence that says what to do."""

    file: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Collection:
    """What came of files that were to be taken in, in the order in which they were named."""

    collected: tuple[Collected, ...] = ()
    refused: tuple[NotCollected, ...] = ()
