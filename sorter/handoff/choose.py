"""A wish and what a shoot holds become stacks. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from sorter.errors import BadChoice
from sorter.handoff.naming import numbered, plain_name, refuse_same_names, stack_names
from sorter.handoff.numbers import is_in, lacking, spans_of, written
from sorter.handoff.slices import frames_of, in_order, picked, wanted_roles, what_lacks
from sorter.model.kinds import Kind
from sorter.model.plan import Entry
from sorter.model.stack import Choice, LeftOut, PassedOver, Spans, Stack, Wish

_MOST_NAMED: Final = 3


def choose(entries: Sequence[Entry], wish: Wish) -> Choice:
    """The stacks that the wish asks for, each whole; those that are not whole, with the reason.

    A shoot without any sequence of these kinds gives an empty choice. Raises BadChoice where a
    number is none of the shoot's, where numbers leave nothing to hand over, and where two stacks
    would have one name.
    """
    sequences = _by_number(entries)
    chosen, passed_over = _numbers(
        {number: files[0].row.kind for number, files in sequences.items()}, wish
    )
    names = stack_names(entries)
    made = [_stack(number, sequences[number], names, wish) for number in chosen]
    stacks = tuple(each for each in made if isinstance(each, Stack))
    refuse_same_names(stacks)
    left_out = tuple(each for each in made if isinstance(each, LeftOut))
    return Choice(stacks=stacks, left_out=left_out, passed_over=passed_over)


def _numbers(kinds: Mapping[int, Kind], wish: Wish) -> tuple[list[int], PassedOver]:
    """The sequences of the wished kinds, and those that were asked for and are of another."""
    if wish.only is None:
        return sorted(number for number, kind in kinds.items() if kind in wish.kinds), ()
    _refuse_strangers(wish.only, kinds)
    asked = sorted(number for number in kinds if is_in(number, wish.only))
    chosen = [number for number in asked if kinds[number] in wish.kinds]
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


def _stack(
    number: int, entries: list[Entry], names: Mapping[int, str], wish: Wish
) -> Stack | LeftOut:
    name = names.get(number) or plain_name(entries[0])
    frames = frames_of(entries)
    roles = wanted_roles(frames, wish.files)
    for frame, wanted in zip(frames, roles, strict=True):
        if reason := what_lacks(frame, wanted):
            return LeftOut(number=number, name=name, reason=reason)
    wanted_of = {frame.position: wanted for frame, wanted in zip(frames, roles, strict=True)}
    ordered, order = in_order(frames, wish.order)
    files = [picked(frame, wanted_of[frame.position]) for frame in ordered]
    return Stack(
        number=number, kind=entries[0].row.kind, name=name, order=order, slices=numbered(files)
    )


def _refuse_strangers(only: Spans, kinds: Mapping[int, Kind]) -> None:
    strangers = lacking(only, kinds)
    if strangers:
        there = written(spans_of(kinds))
        raise BadChoice(
            f"--only: this shoot has no sequence {written(strangers)}. "
            + (f"It has {there}." if there else "It has no sequences.")
        )


def _refuse_nothing(passed_over: PassedOver) -> None:
    told = [f"sequence {number} is of kind {kind}" for number, kind in passed_over[:_MOST_NAMED]]
    more = len(passed_over) - len(told)
    others = f" and {more} more are of other kinds than asked for" if more else ""
    options = " ".join(sorted({f"--kind {kind}" for _, kind in passed_over}))
    raise BadChoice(
        f"--only: nothing is left to hand over: {', '.join(told)}{others}. Give {options}."
    )
