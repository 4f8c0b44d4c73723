"""An account as what a person is to see: the table's lines, what is no frame, the summary. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from sorter.cli import phrases, planview
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import Kind, Role
from sorter.model.sequence import BEYOND_DOUBT, Account, Sequence

MOST_NAMED: Final = 12  # clips and other files by name; more are counted
LEFT: Final = "left on the card: pictures and clips in a trash or a system folder, and what cannot be read there"
SHOOTS: Final = "shoots, no part of the card: not looked into"
_JSON: Final = "; --json names them all"
_REASONS: Final = {
    Kind.CLIP: "a clip",
    Kind.UNDATED: "no usable time",
    Kind.UNREADABLE: "nothing readable in it",
    Kind.OTHER: "no picture",
}
_BESIDE: Final = frozenset({Role.SIDECAR, Role.THUMBNAIL, Role.SOUND})


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the table; empty text where there is nothing to say.

    notes: what deserves a look, each a clause.
    """

    number: str
    kind: str
    frames: str
    day: str
    start: str
    took: str = ""
    camera: str = ""
    lens: str = ""
    aperture: str = ""
    exposure: str = ""
    focus: str = ""
    notes: tuple[str, ...] = ()


def table(account: Account, *, fold: bool = True) -> tuple[Line, ...]:
    """A line for each sequence; singles in a row of one body and day share one where fold is on.

    Tries at one subject are a line of their own.
    """
    cameras = _camera_names(account)
    lines: list[Line] = []
    for first, run in _runs(account.sequences, fold=fold):
        lines.append(_line(first, run, cameras))
    return tuple(lines)


def _runs(
    sequences: tuple[Sequence, ...], *, fold: bool
) -> Iterator[tuple[int, tuple[Sequence, ...]]]:
    run: list[Sequence] = []
    for number, sequence in enumerate(sequences, 1):
        if run and not (fold and _go_together(run[-1], sequence)):
            yield number - len(run), tuple(run)
            run = []
        run.append(sequence)
    if run:
        yield len(sequences) + 1 - len(run), tuple(run)


def _go_together(one: Sequence, two: Sequence) -> bool:
    """Tries in one row, or plain singles of one body on one day: they need no line of their own."""
    if one.grounds.row or two.grounds.row:
        # The row's doubt is told with its first frame, and stands on their line.
        return one.grounds.row == two.grounds.row and not _notes(two)
    return all(_is_plain_single(each) for each in (one, two)) and (
        _body(one.frames[0]) == _body(two.frames[0])
        and phrases.day(one.frames[0]) == phrases.day(two.frames[0])
    )


def _is_plain_single(sequence: Sequence) -> bool:
    return sequence.kind is Kind.SINGLE and not _notes(sequence)


def _line(first: int, run: tuple[Sequence, ...], cameras: dict[tuple[str, str], str]) -> Line:
    sequence, shots = run[0], tuple(frame for each in run for frame in each.frames)
    folded = len(run) > 1
    lens = _one(frame.facts.lens for frame in shots)
    return Line(
        number=f"{first}{phrases.DASH}{first + len(run) - 1}" if folded else str(first),
        kind=_folded_kind(run) if folded else str(sequence.kind),
        frames=phrases.frames(len(shots), None if folded else sequence.planned),
        day=phrases.day(shots[0]),
        start=phrases.clock(shots[0]),
        took=phrases.took(shots),
        camera=cameras.get(_body(shots[0]), ""),
        lens=phrases.safe(lens),
        aperture=phrases.apertures(shots),
        exposure=phrases.exposures(shots),
        focus="" if folded else phrases.focus_path(shots),
        notes=_notes(sequence),
    )


def _folded_kind(run: tuple[Sequence, ...]) -> str:
    """So many singles, or tries where they are one row of them."""
    if run[0].grounds.row:
        return phrases.counted(len(run), "try", "tries")
    return phrases.kinds(len(run), Kind.SINGLE)


def _one(texts: Iterable[str]) -> str:
    different = list(dict.fromkeys(text for text in texts if text))
    return different[0] if len(different) == 1 else "several" if different else ""


def _body(frame: Frame) -> tuple[str, str]:
    return frame.facts.camera, frame.facts.serial


def _camera_names(account: Account) -> dict[tuple[str, str], str]:
    """A short name for each body; none where there is only one. Twins get their serial's end."""
    bodies = {_body(frame): frame for frame in _shots(account)}
    if len(bodies) < 2:  # noqa: PLR2004
        return {}
    names = {body: phrases.safe(phrases.camera(frame.facts)) for body, frame in bodies.items()}
    same = Counter(names.values())
    return {
        body: f"{name} {phrases.safe(body[1][-4:])}".strip() if same[name] > 1 else name
        for body, name in names.items()
    }


def _shots(account: Account) -> Iterator[Frame]:
    for sequence in account.sequences:
        yield from sequence.frames


def _notes(sequence: Sequence) -> tuple[str, ...]:
    """The sequence's own notes and relations, its results, and what its files say, gathered."""
    own = [phrases.safe(note) for note in sequence.clauses()]
    if sequence.results:
        own.append(f"{phrases.counted(len(sequence.results), 'result', 'results')} beside it")
    return (*own, *_file_notes(sequence))


def _file_notes(sequence: Sequence) -> Iterator[str]:
    """Each clause once, with the name of its file, or how many frames say it."""
    known: dict[str, list[str]] = {}
    for frame in (*sequence.frames, *sequence.results):
        for note, name in _noted(frame).items():
            known.setdefault(note, []).append(name)
    for note, names in known.items():
        where = names[0] if len(names) == 1 else f"{len(names)} frames"
        yield phrases.safe(f"{where}: {note}")


def _noted(frame: Frame) -> dict[str, str]:
    """Each clause of a frame and the name of the file that it is about."""
    noted = {note: file.file.name for file in frame.files for note in file.notes}
    for note in frame.notes:
        name, colon, rest = note.partition(": ")
        if note not in noted and not (colon and noted.get(rest) == name):
            noted[note] = frame.files[0].file.name
    return noted


# ---- what is no frame -----------------------------------------------------------------------


def no_frames(account: Account, unread: tuple[ReadFile, ...]) -> tuple[str, ...]:
    """A line with its reason for each file that is no frame, or could not be read; closed folders.

    Of clips and of other files a dozen are named; more are counted.
    """
    lines: list[str] = []
    for kind in _REASONS:
        files = sorted(
            (file for each, file in account.loose if each is kind), key=lambda file: file.path
        )
        lines += _named(kind, files)
    loose = {file.path for _, file in account.loose}
    lines += [f"unreadable  {_with_reason(file)}" for file in unread if file.path not in loose]
    for path in account.folders_closed:
        lines.append(f"closed      {phrases.safe(path)}/: a folder that cannot be listed")
    return tuple(lines)


def _named(kind: Kind, files: list[ReadFile]) -> Iterator[str]:
    most = len(files) if kind in (Kind.UNREADABLE, Kind.UNDATED) else MOST_NAMED
    for file in files[:most]:
        part = f" ({file.role})" if file.role in _BESIDE else ""
        yield f"{kind:<12}{_with_reason(file, _REASONS[kind] + part)}"
    if len(files) > most:
        yield f"{kind:<12}and {len(files) - most} more; the manifest names them all"


def _with_reason(file: ReadFile, otherwise: str = "it cannot be read") -> str:
    reasons = [reason for reason in (file.file.obstacle, *file.notes) if reason]
    return phrases.safe(f"{file.path}: {', '.join(dict.fromkeys(reasons)) or otherwise}")


# ---- what is not looked into, and stays ------------------------------------------------------


def left(account: Account) -> tuple[tuple[str, ...], ...]:
    """Lines that name what is a picture and no file of the card; and those that name shoots in it."""
    both = (
        planview.named(LEFT, account.thrown_away, rest=_JSON),
        planview.named(SHOOTS, (f"{folder}/" for folder in account.shoots), rest=_JSON),
    )
    return tuple(lines for lines in map(tuple, both) if lines)


# ---- summary and reasons --------------------------------------------------------------------


def summary(account: Account) -> str:
    """How much of everything there is, in one sentence."""
    shots = sum(len(sequence.frames) for sequence in account.sequences)
    results = sum(len(sequence.results) for sequence in account.sequences)
    clauses = [_counts(account, shots)]
    if results:
        clauses.append(f"{phrases.counted(results, 'result', 'results')} merged from them")
    if account.loose:
        clauses.append(
            phrases.counted(len(account.loose), "file is no frame", "files are no frames")
        )
    if account.system_files:
        files = phrases.counted(account.system_files, "system file", "system files")
        clauses.append(f"{files} passed over")
    if account.folders_closed:
        closed = phrases.counted(len(account.folders_closed), "folder", "folders")
        clauses.append(f"{closed} could not be listed")
    if account.thrown_away:
        are = phrases.counted(len(account.thrown_away), "file is", "files are")
        clauses.append(f"{are} left on the card in a trash or a system folder")
    if account.shoots:
        clauses.append(f"{phrases.counted(len(account.shoots), 'shoot', 'shoots')} not looked into")
    return "; ".join(clauses) + "."


def _counts(account: Account, shots: int) -> str:
    if not account.sequences:
        return "No frames"
    number = Counter(sequence.kind for sequence in account.sequences)
    size: Counter[Kind] = Counter()
    for sequence in account.sequences:
        size[sequence.kind] += len(sequence.frames)
    known = [
        phrases.kinds(number[kind], kind)
        + ("" if size[kind] == number[kind] else f" ({size[kind]})")
        for kind in Kind
        if number[kind]
    ]
    frames = phrases.counted(shots, "frame", "frames")
    return f"{frames} in {phrases.counted(len(account.sequences), 'sequence', 'sequences')}: " + (
        ", ".join(known)
    )


def reasons(sequence: Sequence) -> tuple[tuple[str, str], ...]:
    """Why it begins where it does and is what it is, with the margins: pairs of label and text."""
    grounds = sequence.grounds
    return (
        ("begins", f"{phrases.safe(grounds.begins)} {_margin(grounds.begins_margin)}"),
        ("kind", phrases.safe(grounds.kind)),
        ("next best", _runner_up(sequence)),
        ("look at", "; ".join(_notes(sequence))),
    )


def _runner_up(sequence: Sequence) -> str:
    other, grounds = sequence.grounds.runner_up, sequence.grounds
    if other is None:
        one = sequence.kind is Kind.SINGLE
        return "none: one frame is a single" if one else "no other kind comes into question"
    name = phrases.kinds(len(sequence.frames), other) if other is Kind.SINGLE else str(other)
    return f"{name} {_margin(grounds.margin)}"


def _margin(margin: float) -> str:
    return "[beyond doubt]" if margin >= BEYOND_DOUBT else f"[margin {margin:.1f}]"


MARGINS: Final = (
    "margin: how sure, from 0 to 30: at 1 this is three times as likely as the next best account, at 3 "
    "twenty times, at 7 a thousand times, and from 30 on it is beyond doubt. Where a sequence "
    "begins, the next best is that it goes on from what is before; of its kind, it is the next kind."
)
