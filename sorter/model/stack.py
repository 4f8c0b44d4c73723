"""A stack as it is handed to another program: what is asked for, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from sorter.model.finding import Verdict
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.row import Row

Spans: TypeAlias = tuple[tuple[int, int], ...]
"""Numbers as their first and last in a row, both included: in order, none touching the next."""
PassedOver: TypeAlias = tuple[tuple[int, Kind], ...]
"""Sequences that were asked for by number, and are of a kind that was not."""


class SliceFiles(StrEnum):
    """Which files of a frame go along."""

    IMAGE = "image"
    RAW = "raw"
    BOTH = "both"


class SliceOrder(StrEnum):
    """In which order the slices of a stack stand."""

    CAPTURE = "capture"
    NEAR_FIRST = "near-first"
    FAR_FIRST = "far-first"


@dataclass(frozen=True, slots=True, kw_only=True)
class StackRequest:
    """Which sequences of a shoot are to be handed over, and how.

    only: their numbers; None stands for all of these kinds. files: None stands for what the frames
    of a stack have in common, images before raws. best: only so many frames of each, those that the
    findings call the best; None for all. verdicts: only stacks of these; None for all. trims: without
    the frames that the findings call surplus or broken. with_related: also the single or burst of a stack's set-up.
    """

    kinds: frozenset[Kind] = STACK_KINDS
    only: Spans | None = None
    files: SliceFiles | None = None
    order: SliceOrder = SliceOrder.CAPTURE
    best: int | None = None
    verdicts: frozenset[Verdict] | None = None
    trims: bool = False
    with_related: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """One file of a stack. number: its frame's place in the stack's order, from 1.

    name: what it is called in a folder of the stack's own.
    """

    row: Row
    number: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """The files of one sequence in the order in which they are handed over.

    number: the sequence's. name: the folder's in the shoot, without its parents. order: the one
    that they truly have. related: singles and bursts of its set-up, where they go along.
    """

    number: int
    kind: Kind
    name: str
    order: SliceOrder
    slices: tuple[Slice, ...]
    related: tuple[Stack, ...] = ()

    @property
    def frames(self) -> int:
        """How many frames; fewer than slices where raw and image both go along."""
        return max((each.number for each in self.slices), default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A stack that is not handed over, and why: a sentence that says what to do."""

    number: int
    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Handed:
    """A stack that was handed over. linked, copied: files that this run put in its folder.

    there_already: its folder held all of them before.
    """

    stack: Stack
    linked: int = 0
    copied: int = 0
    there_already: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What a request comes to: stacks to hand over, those that lack a frame, and what is passed over."""

    stacks: tuple[Stack, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    passed_over: PassedOver = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Handoff:
    """What came of a request, in the order of the sequences. lists, folders: where; empty where not."""

    request: StackRequest
    handed: tuple[Handed, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    passed_over: PassedOver = ()
    lists: str = ""
    folders: str = ""
