"""A wish and what a shoot holds become stacks. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from sorter.errors import BadChoice
from sorter.handoff.naming import (
    LEAST_DIGITS,
    numbered,
    plain_name,
    refuse_same_names,
    stack_names,
)
from sorter.handoff.numbers import is_in, lacking, spans_of, written
from sorter.handoff.slices import frames_of, in_order, picked, wanted_roles, what_lacks
from sorter.model.finding import Verdict
from sorter.model.kinds import Kind
from sorter.model.note import related
from sorter.model.plan import Entry
from sorter.model.relation_kind import RelationKind
from sorter.model.stack import Choice, LeftOut, PassedOver, Spans, Stack, StackRequest

_MOST_NAMED: Final = 3
_NO_BEST: Final = "checks.csv names no best frames of it that are to be handed over. Leave out --best to hand over all."


@dataclass(frozen=True, slots=True, kw_only=True)
class StackFindings:
    """What the findings say, by the sequences' numbers, as far as a request asks for it.

    best: positions of the best frames, the best first. left_out: positions that a trimmed stack does
    without.
    """

    best: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    verdicts: Mapping[int, Verdict] = field(default_factory=dict)
    left_out: Mapping[int, frozenset[int]] = field(default_factory=dict)


def choose(
    entries: Sequence[Entry], request: StackRequest, findings: StackFindings | None = None
) -> Choice:
    """The stacks that the request asks for, each whole; those that are not whole, with the reason.

    said: what the findings say, where the request asks for it. A shoot without any sequence of these
    kinds gives an empty choice. Raises BadChoice where a number is none of the shoot's, where
    numbers leave nothing to hand over, and where two stacks would have one name.
    """
    sequences = _by_number(entries)
    chosen, passed_over = _numbers(
        {number: files[0].row.kind for number, files in sequences.items()}, request
    )
    findings = findings or StackFindings()
    if request.verdicts is not None:
        chosen = [number for number in chosen if findings.verdicts.get(number) in request.verdicts]
    chooser = _Chooser(
        sequences=sequences, names=stack_names(entries), request=request, findings=findings
    )
    made = [chooser.stack(number) for number in chosen]
    stacks = tuple(each for each in made if isinstance(each, Stack))
    refuse_same_names(each for stack in stacks for each in (stack, *stack.related))
    left_out = (*(each for each in made if isinstance(each, LeftOut)), *chooser.without)
    return Choice(stacks=stacks, left_out=left_out, passed_over=passed_over)


def _numbers(kinds: Mapping[int, Kind], request: StackRequest) -> tuple[list[int], PassedOver]:
    """The sequences of the wished kinds, and those that were asked for and are of another."""
    if request.only is None:
        return sorted(number for number, kind in kinds.items() if kind in request.kinds), ()
    _refuse_unknown_numbers(request.only, kinds)
    asked = sorted(number for number in kinds if is_in(number, request.only))
    chosen = [number for number in asked if kinds[number] in request.kinds]
    passed_over = tuple((number, kinds[number]) for number in asked if number not in chosen)
    if not chosen:
        _refuse_nothing(passed_over)
    return chosen, passed_over


def _by_number(entries: Sequence[Entry]) -> dict[int, list[Entry]]:
    sequences: dict[int, list[Entry]] = {}
    for entry in entries:
        if entry.row.sequence is not None:
            sequences.setdefault(entry.row.sequence, []).append(entry)
    return sequences


@dataclass(slots=True, kw_only=True)
class _Chooser:
    """Makes stacks of a shoot's sequences. without: related ones that could not go along."""

    sequences: Mapping[int, list[Entry]]
    names: Mapping[int, str]
    request: StackRequest
    findings: StackFindings
    without: list[LeftOut] = field(default_factory=list)

    def stack(self, number: int) -> Stack | LeftOut:
        """The stack with what is related to it, where that is asked for."""
        name = self.names.get(number) or plain_name(self.sequences[number][0])
        made = self._made(number, name, self._wanted(number))
        if isinstance(made, LeftOut) or not self.request.with_related:
            return made
        return replace(made, related=tuple(self._related(made)))

    def _wanted(self, number: int) -> tuple[int, ...] | None:
        """The positions of the frames that go along; None for all."""
        left_out = (
            self.findings.left_out.get(number, frozenset()) if self.request.trims else frozenset()
        )
        if self.request.best is not None:
            best = (each for each in self.findings.best.get(number, ()) if each not in left_out)
            return tuple(best)[: self.request.best]
        if not left_out:
            return None
        frames = frames_of(self.sequences[number])
        return tuple(frame.position for frame in frames if frame.position not in left_out)

    def _made(self, number: int, name: str, only: tuple[int, ...] | None) -> Stack | LeftOut:
        entries = self.sequences[number]
        frames = frames_of(entries)
        if only is not None:
            name = name if self.request.best is None else f"{name}_best-{len(only)}"
            frames = tuple(frame for frame in frames if frame.position in only)
            if not frames:
                return LeftOut(number=number, name=name, reason=_NO_BEST)
        roles = wanted_roles(frames, self.request.files)
        for frame, wanted in zip(frames, roles, strict=True):
            if reason := what_lacks(frame, wanted):
                return LeftOut(number=number, name=name, reason=reason)
        wanted_of = {frame.position: wanted for frame, wanted in zip(frames, roles, strict=True)}
        ordered, order = in_order(frames, self.request.order)
        files = [picked(frame, wanted_of[frame.position]) for frame in ordered]
        kind = entries[0].row.kind
        return Stack(number=number, kind=kind, name=name, order=order, slices=numbered(files))

    def _related(self, stack: Stack) -> Iterator[Stack]:
        """The sequences that the stack's notes call of the same set-up, whole."""
        notes = [note for entry in self.sequences[stack.number] for note in entry.row.remarks]
        numbers = set(related(notes, RelationKind.SAME_SETUP))
        for number in sorted(numbers & self.sequences.keys()):
            made = self._made(number, f"{stack.name}_beside_{number:0{LEAST_DIGITS}d}", None)
            if isinstance(made, LeftOut):
                self.without.append(made)
            else:
                yield made


def _refuse_unknown_numbers(only: Spans, kinds: Mapping[int, Kind]) -> None:
    unknown = lacking(only, kinds)
    if unknown:
        there = written(spans_of(kinds))
        raise BadChoice(
            f"--only: this shoot has no sequence {written(unknown)}. "
            + (f"It has {there}." if there else "It has no sequences.")
        )


def _refuse_nothing(passed_over: PassedOver) -> None:
    known = [f"sequence {number} is of kind {kind}" for number, kind in passed_over[:_MOST_NAMED]]
    more = len(passed_over) - len(known)
    others = f" and {more} more are of other kinds than asked for" if more else ""
    options = " ".join(sorted({f"--kind {kind}" for _, kind in passed_over}))
    raise BadChoice(
        f"--only: nothing is left to hand over: {', '.join(known)}{others}. Give {options}."
    )
