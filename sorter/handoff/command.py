"""The command line of a stacking program, written once and filled in for every stack. Pure.

It is split into arguments first, as a shell would (POSIX shell quoting, `shlex`), and each argument is
filled in then: whatever a path or a lens is called, it never becomes two arguments, nor a command.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sorter.errors import BadChoice
from sorter.model.fields import FieldFault, FieldPart, parts_of
from sorter.model.row import COLUMNS, Row

FRAMES: Final = "frames"
LIST: Final = "list"
FOLDER: Final = "folder"
RESULT: Final = "result"
NAME: Final = "name"
RELATED: Final = "related"

SLICES: Final = frozenset({FRAMES, LIST, FOLDER})
"""The fields of which a command needs one: how it is given the slices."""
_MANY: Final = frozenset({FRAMES, RELATED})
_OWN: Final = (FRAMES, LIST, FOLDER, RESULT, NAME)
EXAMPLE: Final = "'merge --output {result} {frames}'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A command that was tried on every kind of value. Made by `parse_command`.

    arguments: each as its parts, the program first.
    """

    arguments: tuple[tuple[FieldPart, ...], ...]

    @property
    def fields(self) -> frozenset[str]:
        """The fields that it names."""
        return frozenset(part.field for each in self.arguments for part in each if part.field)

    @property
    def program(self) -> str:
        """The program, which holds no field."""
        return "".join(part.literal for part in self.arguments[0])

    def filled(
        self, row: Row, texts: Mapping[str, str], many: Mapping[str, Sequence[str]]
    ) -> tuple[str, ...]:
        """The arguments for one stack: an argument with a field of many is there once for each.

        row: the stack's first. texts: its list, folder, result and name, those of them that are
        asked for. many: its frames, and what is related to it.
        """
        values = {each: getattr(row, each) for each in COLUMNS} | dict(texts)
        return tuple(text for each in self.arguments for text in _filled(each, values, many))


def parse_command(text: str, *, with_related: bool = False) -> Command:
    """The command; raises BadChoice where it could not be filled in for some stack, and says why.

    with_related: it is to be given what is related to a stack, too.
    """
    try:
        words = shlex.split(text)
    except ValueError as error:
        raise BadChoice(f"--run {text!r} cannot be split into arguments: {error}.") from error
    if not words:
        raise BadChoice(f"--run is empty. Write a command such as {EXAMPLE}.")
    known = (*_OWN, *([RELATED] if with_related else []), *(c for c in COLUMNS if c not in _OWN))
    command = Command(arguments=tuple(_parts(word, known) for word in words))
    _check(command, with_related=with_related)
    return command


def _parts(word: str, known: Sequence[str]) -> tuple[FieldPart, ...]:
    try:
        parts = parts_of(word, known, "{frames} or {result}")
    except FieldFault as fault:
        raise BadChoice(f"--run: in {word!r}: {fault}.") from fault
    many = [part for part in parts if part.field in _MANY]
    if any(part.form or part.conversion for part in many):
        raise BadChoice(f"--run: in {word!r}: {many[0].field} takes no format.")
    if len(many) > 1:
        raise BadChoice(
            f"--run: {word!r} holds two fields that stand for many files. Part them with a blank."
        )
    return parts


def _check(command: Command, *, with_related: bool) -> None:
    if any(part.field for part in command.arguments[0]):
        raise BadChoice("--run: the program comes first, and is the same for every stack.")
    if not command.program:
        raise BadChoice(f"--run: no program is named. Write a command such as {EXAMPLE}.")
    if RESULT not in command.fields:
        raise BadChoice(
            "--run: the command does not say {result}, so that nobody would know where its result "
            f"is. Write it such as {EXAMPLE}."
        )
    if not command.fields & SLICES:
        raise BadChoice(
            "--run: the command is given no slices. Write {frames} where it takes paths, {list} "
            "where it takes a file of paths, {folder} where it takes a folder."
        )
    if with_related and RELATED not in command.fields:
        raise BadChoice("--with-related: write {related} in the command where it takes them.")


def _filled(
    parts: tuple[FieldPart, ...], values: Mapping[str, object], many: Mapping[str, Sequence[str]]
) -> Iterator[str]:
    field = next((part.field for part in parts if part.field in _MANY), None)
    if field is None:
        yield _joined(parts, values)
        return
    for each in many.get(field, ()):
        yield _joined(parts, {**values, field: each})


def _joined(parts: tuple[FieldPart, ...], values: Mapping[str, object]) -> str:
    return "".join(part.literal + (_path(part, values) if part.field else "") for part in parts)


def _path(part: FieldPart, values: Mapping[str, object]) -> str:
    """Paths stand whole, however long they are; all else in its format."""
    value = values.get(part.field or "", "")
    is_path = part.field in {*_OWN, RELATED} and not part.form
    return str(value) if is_path else part.filled(value)
