"""Entries, placements and findings as the columns of the ledger's tables, and back."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from enum import StrEnum
from typing import Any, Final, TypeAlias, TypeVar

from sorter.model.damage import Damage
from sorter.model.finding import Check, End, Unjudged, Verdict
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role, Who
from sorter.model.note import NotCarried, Note, Related, Renamed, WhyRenamed
from sorter.model.plan import Entry, Placement, State
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.writing.ledger.schema import (
    DAMAGES,
    FACTS,
    FILES,
    FINDINGS,
    FRACTIONS,
    GROUPING,
    LISTS,
    NoteOrigin,
    NoteType,
)

Cells: TypeAlias = tuple[Any, ...]
Noted: TypeAlias = tuple[tuple[Note, ...], tuple[Note, ...]]
"""What reading and grouping say of a file, and what carrying says."""
_Word = TypeVar("_Word", bound=StrEnum)

NOTHING: Final[Noted] = ((), ())
OF_RESULTS: Final = -1
"""Stands for the number of an ingest where it was none that brought a file."""


def _by_value(words: type[_Word]) -> dict[str, _Word]:
    """To look a value up costs a tenth of asking its class: a shoot has many thousand."""
    return {each.value: each for each in words}


def _or_none(words: type[_Word]) -> dict[str | None, _Word | None]:
    return {None: None} | {each.value: each for each in words}


def _by_name(words: type[_Word]) -> dict[str, _Word]:
    return {each.name.lower(): each for each in words}


_KIND: Final = _by_value(Kind)
_ROLE: Final = _by_value(Role)
_FOCUS: Final = _or_none(FocusMode)
_DRIVE: Final = _or_none(DriveMode)
_WHO: Final = _by_value(Who)
_STATE: Final = _by_value(State)
_RELATION_KIND: Final = _by_name(RelationKind)
_WHY: Final = _by_name(WhyRenamed)
_DAMAGE: Final = dict(zip(DAMAGES, Damage, strict=True))
_VERDICT: Final = _or_none(Verdict)
_END: Final = _or_none(End)
_UNJUDGED: Final = _or_none(Unjudged)
_LOOKS_LIKE: Final = _or_none(Kind)


def coded(text: str) -> str | bytes:
    """The text as SQLite keeps it: bytes, where the system's names left some in it that are no UTF-8."""
    if text.isascii():
        return text
    try:
        text.encode()
    except UnicodeEncodeError:
        return text.encode(errors="surrogatepass")
    return text


def decoded(cell: str | bytes) -> str:
    """The text that was kept so."""
    return cell if isinstance(cell, str) else cell.decode(errors="surrogatepass")


# ---- what is said of a file --------------------------------------------------------------------


def facts(placement: Placement) -> Cells:
    """The placement's values in the order of FACTS; its notes stand in a table of their own."""
    row = placement.row
    about = (placement.container, placement.unread, placement.fingerprint)
    return (coded(row.destination), row.bytes, row.sha256, *about, *grouping(placement))


def grouping(placement: Placement) -> Cells:
    """Its values in the order of GROUPING."""
    row = placement.row
    return (
        row.frame,
        row.sequence,
        row.kind.value,
        row.position,
        row.frames,
        row.planned,
        row.role.value,
        coded(row.captured),
        coded(row.camera),
        coded(row.serial),
        coded(row.lens),
        row.focal_length_mm,
        row.f_number,
        row.exposure_time_s,
        row.iso,
        row.exposure_bias_ev,
        coded(row.flash),
        row.focus_mode and row.focus_mode.value,
        row.drive_mode and row.drive_mode.value,
        row.focus_near_m,
        row.focus_far_m,
        coded(row.grounds),
        row.said_by.value,
        placement.from_near,
    )


def placement_of(source: bytes, cells: Cells, noted: Noted) -> Placement:
    """The placement of which these are the source, the facts and the notes."""
    destination, count, sha256, container, unread, fingerprint, *about = cells
    (
        frame,
        sequence,
        kind,
        position,
        frames,
        planned,
        role,
        captured,
        camera,
        serial,
        lens,
        focal_length_mm,
        f_number,
        exposure_time_s,
        iso,
        exposure_bias_ev,
        flash,
        focus_mode,
        drive_mode,
        focus_near_m,
        focus_far_m,
        grounds,
        said_by,
        from_near,
    ) = about
    row = Row(
        source=os.fsdecode(source),
        destination=decoded(destination),
        frame=frame,
        sequence=sequence,
        kind=_KIND[kind],
        position=position,
        frames=frames,
        planned=planned,
        role=_ROLE[role],
        captured=decoded(captured),
        camera=decoded(camera),
        serial=decoded(serial),
        lens=decoded(lens),
        focal_length_mm=focal_length_mm,
        f_number=f_number,
        exposure_time_s=exposure_time_s,
        iso=iso,
        exposure_bias_ev=exposure_bias_ev,
        flash=decoded(flash),
        focus_mode=_FOCUS[focus_mode],
        drive_mode=_DRIVE[drive_mode],
        focus_near_m=focus_near_m,
        focus_far_m=focus_far_m,
        bytes=count,
        sha256=decoded(sha256),
        grounds=decoded(grounds),
        remarks=noted[0],
        said_by=_WHO[said_by],
    )
    return Placement(
        row=row,
        container=decoded(container),
        from_near=from_near,
        carrying_notes=noted[1],
        unread=bool(unread),
        fingerprint=fingerprint,
    )


# ---- notes -------------------------------------------------------------------------------------


def notes(placement: Placement) -> Iterator[Cells]:
    """All notes on a file in the order of the columns NOTES."""
    for part, stated in (
        (NoteOrigin.ROW, placement.row.remarks),
        (NoteOrigin.CARRYING, placement.carrying_notes),
    ):
        for place, note in enumerate(stated):
            yield (part.value, place, *_note(note))


def _note(note: Note) -> Cells:
    """What the note is, its text, why, and the sequence that it names."""
    match note:
        case Damage():
            return NoteType.DAMAGE.value, note.name.lower(), "", None
        case Related():
            return NoteType.RELATED.value, "", note.what.name.lower(), note.sequence
        case Renamed():
            return NoteType.RENAMED.value, coded(note.name), note.why.name.lower(), None
        case NotCarried():
            return NoteType.NOT_CARRIED.value, coded(note.reason), "", None
        case _:
            return NoteType.TEXT.value, coded(note), "", None


def _read_note(what: str, cell: str | bytes, why: str, sequence: int | None) -> Note:
    """The note. Raises KeyError where text or why is none that such a note may have."""
    text = decoded(cell)
    match what:
        case NoteType.DAMAGE:
            return _DAMAGE[text]
        case NoteType.RELATED:
            return Related(what=_RELATION_KIND[why], sequence=sequence or 0)
        case NoteType.RENAMED:
            return Renamed(name=text, why=_WHY[why])
        case NoteType.NOT_CARRIED:
            return NotCarried(reason=text)
        case _:
            return text


def read_notes(found: Iterable[tuple[Cells, Cells]]) -> dict[Cells, Noted]:
    """The notes by what tells their file. found: that, and the columns NOTES, in their order."""
    noted: dict[Cells, tuple[list[Note], list[Note]]] = {}
    for file, (part, _, what, text, why, sequence) in found:
        both = noted.setdefault(file, ([], []))
        both[part != NoteOrigin.ROW].append(_read_note(what, text, why, sequence))
    return {file: (tuple(one), tuple(two)) for file, (one, two) in noted.items()}


# ---- files -------------------------------------------------------------------------------------


def first_state(placement: Placement) -> State:
    """Planned, or left where it is never carried."""
    return State.PLANNED if placement.row.destination else State.LEFT


def file(operation: int, placement: Placement, number: int) -> Cells:
    """A new file's values in the order of FILES."""
    state = first_state(placement).value
    source = os.fsencode(placement.row.source)
    return (number, operation, source, state, 0, 0, None, None, *facts(placement))


_BEFORE_FACTS: Final = len(FILES.columns) - len(FACTS)


def entry(
    cells: Cells,
    noted: Mapping[Cells, Noted],
    runs: Mapping[int, tuple[int, bool]],
    found: Mapping[int, Check | str],
) -> Entry:
    """The entry of which these are the values in FILES.

    runs: number and whether it moves, by operation, of ingests. found: findings by file.
    """
    number, operation, source, state, modified, gone, *_ = cells
    run, moves = runs.get(operation, (OF_RESULTS, False))
    return Entry(
        number=number,
        run=run,
        placement=placement_of(source, cells[_BEFORE_FACTS:], noted.get((number,), NOTHING)),
        state=_STATE[state],
        modified_ns=modified,
        moves=moves,
        gone=bool(gone),
        found=found.get(number, ""),
    )


# ---- findings ----------------------------------------------------------------------------------

_PLAIN: Final = tuple(name for name in FINDINGS.names if name not in ("number", "verbatim"))
_WORDS: Final[Mapping[str, Mapping[Any, Any]]] = {
    "kind": _KIND,
    "verdict": _VERDICT,
    "missing_end": _END,
    "looks_like": _LOOKS_LIKE,
    "attempts_verdict": _VERDICT,
    "nearward": {None: None, 0: False, 1: True},
    "unjudged": _UNJUDGED,
}
_LONE: Final = ("judged_at", "most_megapixels")
"""Kept as a list of at most one value: a column of its own would be another table."""
_WHOLE: Final = tuple(name for name in LISTS if name not in (*FRACTIONS, *_LONE))


def finding(number: int, check: Check) -> Cells:
    """The findings' values in the order of FINDINGS; lists stand in a table of their own."""
    return (number, "", *(_plain(getattr(check, name)) for name in _PLAIN))


def verbatim(number: int, says: str) -> Cells:
    """The same of a sentence."""
    known = finding(number, Check(sequence=0, kind=Kind.SINGLE, frames=0))
    return (number, coded(says), *known[2:])


def _plain(value: object) -> object:
    """Numbers as Python has them: those of NumPy are of other classes."""
    if isinstance(value, StrEnum):
        return value.value
    as_python: Callable[[], object] | None = getattr(value, "item", None)
    return as_python() if as_python else value


def lists(number: int, check: Check) -> Iterator[Cells]:
    """The positions in the order of LISTED."""
    for name in LISTS:
        found = getattr(check, name)
        values = found if name not in _LONE else () if found is None else (found,)
        for place, value in enumerate(values):
            yield (number, name, place, float(value))


def read_finding(cells: Cells, listed: Mapping[str, list[float]]) -> Check | str:
    """The findings, or the sentence. listed: what stands in LISTED, by name and in order.

    Raises ValueError where that does not go together.
    """
    _, says, *plain = cells
    if says:
        return decoded(says)
    known: dict[str, Any] = {
        name: _WORDS[name][value] if name in _WORDS else value
        for name, value in zip(_PLAIN, plain, strict=True)
    }
    known |= {name: tuple(map(int, listed.get(name, ()))) for name in _WHOLE}
    known |= {name: tuple(listed.get(name, ())) for name in FRACTIONS}
    known |= {name: int(listed[name][0]) for name in _LONE if listed.get(name)}
    check = Check(**known)
    if len(check.bright_ev) != len(check.bright_steps):
        raise ValueError("steps of brightness without their figures")
    if len(check.moved_boxes) not in (0, 4 * len(check.moved)):
        raise ValueError("places of movement without their boxes")
    return check


GROUPING_NAMES: Final = tuple(column.name for column in GROUPING)
FACT_NAMES: Final = tuple(column.name for column in FACTS)
