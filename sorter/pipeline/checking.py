"""The pictures of a card or a shoot looked at: what they say of every sequence, and of the grouping."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sorter import optics
from sorter.disk import shoots
from sorter.disk.card import Card
from sorter.disk.looked import Kept
from sorter.disk.output import Output, add_file, check_target, is_foreign, replace_file
from sorter.disk.shoot import Shoot
from sorter.errors import OutputNotWritable
from sorter.manifest.checks import CHECKS, checks_bytes
from sorter.manifest.corrections import corrections_bytes
from sorter.manifest.rows import in_order
from sorter.model.bond import Bond
from sorter.model.card import CardFile
from sorter.model.correction import PICTURES_SHOW, Correction
from sorter.model.finding import Check, Look, Piece
from sorter.model.focus import Direction
from sorter.model.frame import Facts, ReadFile
from sorter.model.glance import Glance, Measured, Seen
from sorter.model.kinds import PICTURE_ROLES, STACK_KINDS, Kind, Who
from sorter.model.note import related
from sorter.model.plan import Entry, State
from sorter.model.regrouping import Regrouping
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.pipeline.recording import write_records
from sorter.pipeline.scanning import Tick, account_of
from sorter.pixels.measuring import measure
from sorter.pixels.shifts import likeness
from sorter.pixels.sights import seen
from sorter.pixels.store import FORM, restored, stored
from sorter.reading.cards import read_files
from sorter.settings import Settings
from sorter.writing import records
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly

if TYPE_CHECKING:
    from sorter.checking.series import Judged

AHEAD: Final = 2
"""Frames a worker that may wait, decoded: memory does not grow with a stack."""
MOST_JOBS: Final = 8
NEIGHBOURS: Final = 6
"""Stacks that lie no farther apart in their order are held against each other as attempts."""
SAME: Final = 0.8
"""Likeness of two small pictures from which on two stacks show one subject in one framing."""
LEAST_SINGLES: Final = 3
_ALONE: Final = "by its picture: it shows nothing, beside a stack"


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """A sequence to look at. frames: in order of capture. paths: of each frame, on the card.

    nearward: whether focus went toward near; None where the camera does not tell. step_of_depth: as a
    check has it. body: whose sequence it is. retakes: the sequences that it is a retake or a repeat of.
    numbers: of each frame in the manifest; none on a card. is_said: the user said what it is, and
    pictures say nothing else.
    """

    number: int
    kind: Kind
    frames: tuple[Seen, ...]
    paths: tuple[str, ...]
    nearward: bool | None = None
    step_of_depth: float | None = None
    body: str = ""
    retakes: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    is_said: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was found. checks: a row for each sequence of two or more frames, in their order.

    suggested: how the pictures would group frames otherwise; why stands in each. regroupings: the
    same of a shoot, by the frames' numbers in its manifest; none of a card. looks: every sequence,
    singles too, frame by frame, by its number. shoots: folders of a card that are shoots, and were not
    looked into.
    """

    checks: tuple[Check, ...] = ()
    suggested: tuple[Correction, ...] = ()
    regroupings: tuple[Regrouping, ...] = ()
    looks: Mapping[int, Look] = field(default_factory=dict)
    shoots: tuple[str, ...] = ()


def default_jobs() -> int:
    """As many as there are processors, within reason."""
    return max(1, min(MOST_JOBS, os.cpu_count() or 1))


def is_shoot(root: Path) -> bool:
    """Whether the folder is a shoot, and no card; links are followed."""
    return shoots.is_shoot(os.fspath(root))


def check_card(root: Path, settings: Settings, jobs: int, reading: Tick, looking: Tick) -> Checked:
    """What the pictures of a card say. Raises what scan raises; the card is only read."""
    card = Card(root)
    account = account_of(card, card.listing(), settings, reading)
    return replace(check_account(card, account, jobs, looking), shoots=account.shoots)


def check_account(card: Card, account: Account, jobs: int, looking: Tick) -> Checked:
    """What the pictures of these sequences say."""
    return _Looking(jobs=jobs, tick=looking, kept=Kept(None)).checked(
        list(_of_account(card, account))
    )


def check_shoot(root: Path, jobs: int, looking: Tick) -> Checked:
    """What the pictures of a shoot say. What was measured before is not measured again.

    Raises what entries_of raises.
    """
    shoot = Shoot(root)
    return check_subjects(shoot, subjects_of(shoot, records.entries_of(root)), jobs, looking)


def subjects_of(shoot: Shoot, entries: Iterable[Entry]) -> list[Subject]:
    """Every sequence of a shoot whose frames lie in it, singles too, in the order of their numbers."""
    return list(_of_entries(shoot, entries))


def check_subjects(shoot: Shoot, subjects: list[Subject], jobs: int, looking: Tick) -> Checked:
    """What the pictures of these sequences say, which are all of the shoot's."""
    kept = Kept(shoot)
    looking_at = _Looking(jobs=jobs, tick=looking, kept=kept)
    found = looking_at.checked(subjects)
    kept.drop_others(frozenset(looking_at.keys))
    return found


def apart_from(
    said: Iterable[Correction], suggested: Iterable[Correction], account: Account
) -> tuple[Correction, ...]:
    """What the pictures suggest of frames of which the user says nothing."""
    place = {file.path: n for n, frame in enumerate(account.order) for file in frame.files}
    taken = [_span(each, place) for each in said]
    return tuple(
        each
        for each in suggested
        if not any(
            start <= _span(each, place)[1] and _span(each, place)[0] <= stop
            for start, stop in taken
        )
    )


def _span(correction: Correction, place: Mapping[str, int]) -> tuple[int, int]:
    first = place.get(correction.first, -1)
    return first, place.get(correction.last or correction.first, first)


# ---- what there is to look at ------------------------------------------------------------------


def _of_account(card: Card, account: Account) -> Iterator[Subject]:
    for number, sequence in enumerate(account.sequences, 1):
        bonds = (Bond.RETAKE, Bond.REPEAT)
        yield Subject(
            number=number,
            kind=sequence.kind,
            frames=tuple(seen(frame.files, card.at) for frame in sequence.frames),
            paths=tuple(frame.path for frame in sequence.frames),
            nearward={Direction.NEARER: True, Direction.FARTHER: False}.get(
                sequence.focus.direction or Direction.STAYS
            ),
            step_of_depth=_step_of_depth([frame.facts for frame in sequence.frames]),
            body=sequence.frames[0].facts.camera + sequence.frames[0].facts.serial,
            retakes=tuple(each.to + 1 for each in sequence.relations if each.what in bonds),
            is_said=sequence.grounds.said_by is Who.USER,
        )


def _of_entries(shoot: Shoot, entries: Iterable[Entry]) -> Iterator[Subject]:
    rows = [
        entry.row
        for entry in entries
        if entry.state is State.PLACED and entry.row.sequence and entry.row.role in PICTURE_ROLES
    ]
    rows = [row for row in in_order(rows) if row.position is not None]
    read = _read(shoot, rows)
    sequences: dict[int, dict[int, list[Row]]] = {}
    for row in rows:
        sequences.setdefault(row.sequence or 0, {}).setdefault(row.position or 0, []).append(row)
    for number, frames in sequences.items():
        first = frames[min(frames)][0]
        notes = [note for each in frames.values() for row in each for note in row.remarks]
        yield Subject(
            number=number,
            kind=first.kind,
            frames=tuple(_seen(shoot, each, read) for each in frames.values()),
            paths=tuple(each[0].source for each in frames.values()),
            nearward=_nearward(list(frames.values())),
            step_of_depth=_step_of_depth([each[0] for each in frames.values()]),
            body=first.camera + first.serial,
            retakes=(*related(notes, Bond.RETAKE), *related(notes, Bond.REPEAT)),
            numbers=tuple(each[0].frame or 0 for each in frames.values()),
            is_said=first.said_by is Who.USER,
        )


def _read(shoot: Shoot, rows: Iterable[Row]) -> dict[str, ReadFile]:
    files = [CardFile(path=row.destination, size=row.bytes, plain=True) for row in rows]
    if not files:
        return {}
    return {file.path: file for file in read_files(Card(shoot.root, of_shoot=True), files)}


def _seen(shoot: Shoot, rows: Sequence[Row], read: Mapping[str, ReadFile]) -> Seen:
    key = " ".join(row.sha256 for row in rows)
    return seen((read[row.destination] for row in rows), shoot.at, key)


def _nearward(frames: Sequence[Sequence[Row]]) -> bool | None:
    told = [each[0].focus_near_m for each in frames]
    if len(told) < 2 or told[0] is None or told[-1] is None or told[0] == told[-1]:  # noqa: PLR2004
        return None
    return told[-1] < told[0]


def _step_of_depth(told: Sequence[Facts | Row]) -> float | None:
    """An estimate for a full-frame sensor: cameras do not tell how large theirs is."""
    first = told[0]
    known = [
        (each.focus_near_m + each.focus_far_m) / 2
        for each in told
        if each.focus_near_m is not None and each.focus_far_m is not None
    ]
    if len(known) < len(told) or not first.focal_length_mm or not first.f_number:
        return None
    circle = optics.CIRCLES_MM["full-frame"]
    share = optics.step_of_depth(first.focal_length_mm, first.f_number, known, circle)
    return None if share is None else round(share, 2)


# ---- looking -----------------------------------------------------------------------------------


class _Looking:
    """One look at many sequences. keys: of the stores that hold what was measured."""

    def __init__(self, *, jobs: int, tick: Tick, kept: Kept) -> None:
        self._jobs = jobs
        self._tick = tick
        self._kept = kept
        self._done = 0
        self._total = 0
        self.keys: set[str] = set()

    def checked(self, subjects: list[Subject]) -> Checked:
        """The findings on all of them."""
        from sorter.checking.attempts import attempts  # noqa: PLC0415  loads NumPy
        from sorter.checking.looks import look  # noqa: PLC0415
        from sorter.checking.regrouping import pieces  # noqa: PLC0415
        from sorter.checking.series import judge  # noqa: PLC0415

        self._total = sum(len(each.frames) for each in subjects)
        judged: dict[int, Judged] = {}
        suggested = _Suggested()
        middles: dict[int, Glance] = {}
        edges: dict[int, tuple[Glance | None, Glance | None]] = {}
        singles: list[tuple[list[Subject], Measured]] = []
        looks: dict[int, Look] = {}
        with ThreadPoolExecutor(self._jobs) as workers:
            for run in _runs(subjects):
                measured = self._measured(run, workers)
                if run[0].kind in (Kind.SINGLE, Kind.MARKER):
                    singles.append((run, measured))
                    continue
                subject = run[0]
                one = judge(
                    measured,
                    sequence=subject.number,
                    kind=subject.kind,
                    nearward=subject.nearward,
                    step_of_depth=subject.step_of_depth,
                )
                judged[subject.number] = one
                looks[subject.number] = look(one, measured)
                found = pieces(one, measured.glances)
                suggested.add(found, [subject] * len(subject.frames))
                edges[subject.number] = measured.glances[0], measured.glances[-1]
                used = [g for g, use in zip(measured.glances, one.use, strict=True) if g and use]
                if one.check.is_stack and used:
                    middles[subject.number] = used[len(used) // 2]
        for run, measured in singles:
            suggested.add(_of_singles(run, measured, edges, subjects), run)
            looks |= _looks_alone(run, measured)
        best = attempts(judged, _same(subjects, middles))
        return Checked(
            checks=tuple(
                _with_attempts(judgement.check, best, judged)
                for subject in subjects
                if len(subject.frames) > 1 and (judgement := judged.get(subject.number))
            ),
            suggested=tuple(suggested.corrections),
            regroupings=tuple(suggested.regroupings),
            looks=looks,
        )

    def _measured(self, run: list[Subject], workers: ThreadPoolExecutor) -> Measured:
        """The frames of these sequences as one series, out of the store where it is there."""
        frames = [frame for subject in run for frame in subject.frames]
        key = _key(frames)
        data = self._kept.get(key)
        measured = None if data is None else restored(data)
        if measured is None:
            measured = measure(frames, workers, self._jobs * AHEAD, self._count)
            if key:
                data = stored(measured)
                self._kept.put(key, data)
                # What comes out of the store is what the rules see, the first time too.
                measured = restored(data) or measured
        else:
            self._count(len(frames))
        self.keys.add(key)
        return measured

    def _count(self, amount: int) -> None:
        self._done += amount
        self._tick(self._done, self._total)


def _key(frames: Sequence[Seen]) -> str:
    """One text for these contents in this order; empty where they are not known."""
    if not all(frame.key for frame in frames):
        return ""
    hashed = hashlib.sha256(f"{FORM}\n".encode())
    for frame in frames:
        turn = frame.sights[0].orientation if frame.sights else 0
        hashed.update(f"{turn} {frame.key}\n".encode())
    return hashed.hexdigest()


def _runs(subjects: Iterable[Subject]) -> Iterator[list[Subject]]:
    """Each sequence by itself; singles of one body that follow each other together."""
    run: list[Subject] = []
    for subject in subjects:
        is_lone = subject.kind in (Kind.SINGLE, Kind.MARKER)
        if run and not (is_lone and run[-1].body == subject.body):
            yield run
            run = []
        if is_lone:
            run.append(subject)
        else:
            yield [subject]
    if run:
        yield run


class _Suggested:
    """What the pictures suggest, as corrections, and of a shoot as regroupings.

    A frame is suggested once, and none of a sequence of which the user said what it is.
    """

    def __init__(self) -> None:
        self.corrections: list[Correction] = []
        self.regroupings: list[Regrouping] = []

    def add(self, found: Iterable[Piece], owners: Sequence[Subject]) -> None:
        """The pieces of a series of frames. owners: of each frame, the sequence that it is in."""
        paths = [path for subject in _each_once(owners) for path in subject.paths]
        numbers = [number for subject in _each_once(owners) for number in subject.numbers]
        taken: set[int] = set()
        for piece in found:
            span = range(piece.first, piece.last + 1)
            if taken.isdisjoint(span) and not any(owners[index].is_said for index in span):
                taken.update(span)
                self._add(piece, paths, numbers[piece.first : piece.last + 1])

    def _add(self, piece: Piece, paths: Sequence[str], numbers: Sequence[int]) -> None:
        first, last, why = paths[piece.first], paths[piece.last], piece.grounds
        self.corrections.append(Correction(first=first, last=last, kind=str(piece.kind), why=why))
        if numbers:
            grounds = f"{why}; begins here: {PICTURES_SHOW}"
            self.regroupings.append(
                Regrouping(
                    frames=tuple(numbers),
                    kind=piece.kind,
                    grounds=grounds,
                    said_by=Who.PICTURES,
                )
            )


def _each_once(owners: Iterable[Subject]) -> Iterator[Subject]:
    for _, each in groupby(owners, lambda subject: subject.number):
        yield next(each)


def _of_singles(
    run: list[Subject],
    measured: Measured,
    edges: Mapping[int, tuple[Glance | None, Glance | None]],
    subjects: Sequence[Subject],
) -> Iterator[Piece]:
    """Stacks and markers among singles that follow each other."""
    from sorter.checking.regrouping import is_marker_alone  # noqa: PLC0415  loads NumPy
    from sorter.checking.singles import stacks_in  # noqa: PLC0415

    beside = [each for each in _beside(run, subjects) if each.kind in STACK_KINDS]
    yield from stacks_in(measured, LEAST_SINGLES)
    if not beside:
        return
    neighbours = [glance for each in beside for glance in edges.get(each.number, ())]
    yield from (
        Piece(first=index, last=index, kind=Kind.MARKER, grounds=_ALONE)
        for index, glance in enumerate(measured.glances)
        if run[index].kind is not Kind.MARKER and glance and is_marker_alone(glance, neighbours)
    )


def _looks_alone(run: list[Subject], measured: Measured) -> Iterator[tuple[int, Look]]:
    """Of each single or marker of the run, by its number."""
    from sorter.checking.looks import sizes  # noqa: PLC0415  loads NumPy

    glances = iter(measured.glances)
    for subject in run:
        own = tuple(next(glances) for _ in subject.frames)
        yield (
            subject.number,
            Look(
                use=tuple(each is not None for each in own),
                shares=(None,) * len(own),
                places=(None,) * len(own),
                sizes=sizes(own),
            ),
        )


def _beside(run: list[Subject], subjects: Sequence[Subject]) -> Iterator[Subject]:
    """The sequences of the same body right before and right behind the run."""
    own = [each for each in subjects if each.body == run[0].body]
    first, last = own.index(run[0]), own.index(run[-1])
    yield from own[max(0, first - 1) : first]
    yield from own[last + 1 : last + 2]


def _same(subjects: Sequence[Subject], middles: Mapping[int, Glance]) -> Iterator[tuple[int, int]]:
    """Pairs of stacks that show one subject: by what grouping says, and by their pictures."""
    for subject in subjects:
        yield from ((subject.number, other) for other in subject.retakes)
    stacks = [each for each in subjects if each.number in middles]
    for index, one in enumerate(stacks):
        for two in stacks[index + 1 : index + 1 + NEIGHBOURS]:
            first, second = middles[one.number], middles[two.number]
            if one.body == two.body and likeness(first.thumb, second.thumb) >= SAME:
                yield one.number, two.number


def _with_attempts(
    check: Check, best: Mapping[int, tuple[int, ...]], judged: Mapping[int, Judged]
) -> Check:
    group = best.get(check.sequence, ())
    if len(group) < 2:  # noqa: PLR2004  two are attempts
        return check
    first = judged[group[0]].check
    return replace(
        check, attempts=group, attempts_verdict=first.verdict, attempts_frames=first.frames
    )


# ---- kept in the shoot -------------------------------------------------------------------------


def write_checks(root: Path, found: Checked) -> None:
    """checks.csv of the shoot holds the findings, and the manifest's notes say them in short.

    Raises ShootBusy, ShootNotWritable, NoRoom; then the files hold what they held before.
    """
    shoot = Shoot(root)
    with Ledger(shoot.hidden, hold=True) as ledger, stopping_clearly(shoot):
        ledger.say_findings(_first_files(ledger.entries(), found))
        shoot.replace(CHECKS, checks_bytes(found.checks))
        write_records(shoot, ledger.entries())


def _first_files(entries: Iterable[Entry], found: Checked) -> dict[int, Check]:
    """The findings by the number that their sequence's first file has in the ledger."""
    says = {check.sequence: check for check in found.checks}
    notes: dict[int, Check] = {}
    # By destination: two cards may have given files of one path, and one shoot never has.
    placed = {e.row.destination: e.number for e in entries if e.state is State.PLACED}
    for row in in_order(e.row for e in entries if e.state is State.PLACED):
        said = says.pop(row.sequence, None) if row.sequence and row.position == 1 else None
        if said is not None:
            notes[placed[row.destination]] = said
    return notes


def check_outputs(root: Path, target: Path | None, written: Path | None) -> None:
    """Returns where the table and the corrections may be written: not in the shoot, nor in a card.

    And where a shoot's own checks.csv is one that may be replaced.
    Raises OutputNotWritable, and what cards_of raises.
    """
    shoots, card = ((root,), None) if is_shoot(root) else ((), root)
    cards = records.cards_of(root) if shoots else ()
    if shoots:
        _refuse_foreign(root)
    for file, output in ((target, Output.CHECKS), (written, Output.CORRECTIONS)):
        if file is not None:
            check_target(file, output=output, card=card, shoots=shoots, cards=cards)


def _refuse_foreign(root: Path) -> None:
    """A table that no check of ours wrote may be the user's own."""
    if is_foreign(root / CHECKS, Output.CHECKS):
        raise OutputNotWritable(
            f"{root / CHECKS} is there already and was not written by `sorter check`: it is never "
            "replaced. Move it away, and run it again."
        )


def write_table(target: Path, found: Checked) -> None:
    """The file holds the table of findings. Raises OutputNotWritable."""
    replace_file(target, checks_bytes(found.checks), Output.CHECKS)


def write_suggested(target: Path, found: Checked) -> bool:
    """The file holds what is suggested as corrections; whether it was written now.

    Raises OutputNotWritable, also where anything else is there: it may have been edited.
    """
    return add_file(target, corrections_bytes(found.suggested))
