"""An account as rows: one for each file of the card, none left out, none twice. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from sorter.manifest.figures import rounded
from sorter.model.frame import Facts, Frame, ReadFile, filled_in
from sorter.model.kinds import PICTURE_ROLES, Kind, Role, Who
from sorter.model.note import Note, Related
from sorter.model.numbers import Numbers, from_one
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.model.sequence import Account, Sequence

_ROLE_ORDER: Final = {role: place for place, role in enumerate(Role)} | {Role.RESULT: 0}
_FLASH: Final = {None: "", True: "fired", False: "off"}
_UNDECODABLE: Final = re.compile("[\ud800-\udfff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where a file stands: what the frame and the sequence give to its row."""

    kind: Kind
    frame: int | None = None
    sequence: int | None = None
    position: int | None = None
    frames: int | None = None
    planned: int | None = None
    merged: bool = False
    said_by: Who = Who.CAMERA


def make_rows(account: Account, numbers: Numbers | None = None) -> tuple[Row, ...]:
    """All rows: by sequence, position, results, role and path; what is no frame last by path.

    grounds, the sequence's own notes and its relations stand on its first row. numbers: those of
    the sequences and frames; None: they count from 1.
    """
    numbers = numbers or from_one(account)
    frames = zip(account.order, numbers.frames, strict=True)
    of_frame = {frame.path: number for frame, number in frames}
    rows: list[Row] = []
    for number, sequence in zip(numbers.sequences, account.sequences, strict=True):
        notes = sequence.remarks(numbers.sequences)
        rows += _sequence_rows(number, sequence, notes, of_frame)
    for kind, file in sorted(account.loose, key=lambda pair: pair[1].path):
        rows.append(_row(file, file.facts, _Place(kind=kind), file.notes))
    return tuple(rows)


def in_order(rows: Iterable[Row]) -> tuple[Row, ...]:
    """The rows of a shoot in the order that make_rows gives to those of one card."""
    return tuple(sorted(rows, key=_place_of))


def _place_of(row: Row) -> tuple[float, float, float, int, str]:
    last = math.inf
    role = 0 if row.frame is None else _ROLE_ORDER[row.role]  # what is no frame stands by path
    return (
        last if row.sequence is None else row.sequence,
        last if row.position is None else row.position,
        last if row.frame is None else row.frame,
        role,
        row.source,
    )


def _sequence_rows(
    number: int, sequence: Sequence, notes: tuple[Note, ...], of_frame: dict[str, int]
) -> Iterator[Row]:
    grounds = sequence.grounds.text()
    for frame, position in _placed(sequence):
        place = _Place(
            kind=sequence.kind,
            frame=of_frame[frame.path],
            sequence=number,
            position=position,
            frames=len(sequence.frames),
            planned=sequence.planned,
            merged=position is None,
            said_by=sequence.grounds.said_by,
        )
        result = () if position else (Related(what=RelationKind.RESULT, sequence=number),)
        about_frame = (*_own_notes(frame), *result)
        for file in sorted(frame.files, key=lambda file: _by_role(file, place)):
            stated = (*about_frame, *file.notes, *notes)
            yield _row(file, _facts_for(file, frame), place, stated, grounds)
            grounds, notes, about_frame = "", (), ()


def _placed(sequence: Sequence) -> Iterator[tuple[Frame, int | None]]:
    for position, frame in enumerate(sequence.frames, 1):
        yield frame, position
    for frame in sequence.results:
        yield frame, None


def _own_notes(frame: Frame) -> tuple[str, ...]:
    """The frame's notes without those that repeat one of its files: they stand on that file's row."""
    known = {note for file in frame.files for note in file.notes}
    known |= {f"{file.file.name}: {note}" for file in frame.files for note in file.notes}
    return tuple(note for note in frame.notes if note not in known)


def _by_role(file: ReadFile, place: _Place) -> tuple[int, str]:
    return _ROLE_ORDER[_role(file, place)], file.path


def _role(file: ReadFile, place: _Place) -> Role:
    return Role.RESULT if place.merged and file.role in PICTURE_ROLES else file.role


def _facts_for(file: ReadFile, frame: Frame) -> Facts:
    """The file's own facts, the frame's where it has none; a sidecar tells only the frame's."""
    if file.role is Role.SIDECAR:
        return frame.facts
    return filled_in(file.facts, frame.facts)


def _row(
    file: ReadFile, facts: Facts, place: _Place, notes: tuple[Note, ...], grounds: str = ""
) -> Row:
    near, far = _focus(facts)
    return Row(
        source=file.path,
        frame=place.frame,
        sequence=place.sequence,
        kind=place.kind,
        position=place.position,
        frames=place.frames,
        planned=place.planned,
        role=_role(file, place),
        captured=facts.moment.iso() if facts.moment else "",
        camera=facts.camera,
        serial=facts.serial,
        lens=facts.lens,
        focal_length_mm=rounded(facts.focal_length_mm),
        f_number=rounded(facts.f_number),
        exposure_time_s=rounded(facts.exposure_time_s),
        iso=rounded(facts.iso),
        exposure_bias_ev=rounded(facts.exposure_bias_ev),
        flash=_FLASH[facts.flash_fired],
        focus_mode=facts.focus_mode,
        drive_mode=facts.drive_mode,
        focus_near_m=rounded(near),
        focus_far_m=rounded(far),
        bytes=file.file.size,
        grounds=grounds,
        remarks=_known((*_about_name(file.path), *_about_obstacle(file), *notes)),
        said_by=place.said_by,
    )


def _focus(facts: Facts) -> tuple[float | None, float | None]:
    """Near and far; a distance that stands alone is both."""
    near, far = facts.focus_near_m, facts.focus_far_m
    return (far if near is None else near), (near if far is None else far)


def spelled(text: str) -> str:
    r"""The text with bytes that are no UTF-8 (surrogates, as the system hands them) as \xNN."""
    return _UNDECODABLE.sub(lambda match: _escape(ord(match[0])), text)


def _escape(code: int) -> str:
    byte = code - ord("\udc00")
    return f"\\x{byte:02x}" if ord("\x80") <= byte <= ord("\xff") else f"\\u{code:04x}"


def _about_name(path: str) -> list[str]:
    return ["the name has bytes that are no UTF-8"] if _UNDECODABLE.search(path) else []


def _about_obstacle(file: ReadFile) -> list[str]:
    return [file.file.obstacle] if file.file.obstacle else []


def _known(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """The notes without repetition."""
    return tuple(dict.fromkeys(note for note in notes if note))
