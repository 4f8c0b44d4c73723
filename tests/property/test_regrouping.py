"""What must hold for every regrouping of every shoot: no frame and no file lost, all taken back."""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from planning.carrying import carried, plan_of
from planning.heaps import accounts
from sorter.model.change import Change, Regrouping
from sorter.model.kinds import SEQUENCE_KINDS, Kind
from sorter.model.note import Related
from sorter.model.plan import Entry, State
from sorter.planning.changing import RegroupRequest, regrouped, taken_back, touched
from sorter.planning.free import Naming
from sorter.planning.pattern import parse

PATTERNS = ("{kind}", "{name}", "{sequence:04d}_{kind}_{frames}_{name}", "{name}{frames}", "report")
NONE: frozenset[int] = frozenset()
some = examples(150)


@st.composite
def asked(draw: st.DrawFn) -> tuple[tuple[Entry, ...], RegroupRequest]:
    """A shoot, now and then with a file that failed, and regroupings that share no frame."""
    entries = carried(plan_of(draw(accounts())))
    if draw(st.booleans()) and entries:
        failed = draw(st.integers(0, len(entries) - 1))
        state = State.LEFT if entries[failed].state is State.LEFT else State.FAILED
        entries = tuple(
            replace(e, state=state) if n == failed else e for n, e in enumerate(entries)
        )
    frames = sorted({e.row.frame for e in entries if e.row.frame and e.row.position})
    shuffled = draw(st.permutations(frames)) if draw(st.booleans()) else frames
    regroupings = []
    while shuffled:
        count = draw(st.integers(1, 5))
        part, shuffled = shuffled[:count], shuffled[count:]
        if draw(st.integers(0, 3)):
            kind = draw(st.sampled_from(SEQUENCE_KINDS))
            name = draw(st.sampled_from(("", "limpet", "Singles", "../tide")))
            regroupings.append(Regrouping(frames=tuple(part), kind=kind, grounds="told", name=name))
    some_lost = st.frozensets(st.sampled_from(frames), max_size=1) if frames else st.just(NONE)
    lost: frozenset[int] = draw(some_lost)
    pattern = parse(draw(st.sampled_from(PATTERNS)))
    taken = frozenset({"singles/IMG_0001.JPG", "LIMPET", "burst/a", "markers/img_0002.cr3"})
    ask = RegroupRequest(
        regroupings=tuple(regroupings), naming=Naming(pattern=pattern), lost=lost, taken=taken
    )
    return entries, ask


def after(entries: Iterable[Entry], changes: Iterable[Change]) -> tuple[Entry, ...]:
    """The ledger once the changes are noted and carried out."""
    by_number = {change.number: change for change in changes}
    return tuple(
        replace(entry, placement=by_number[entry.number].after)
        if entry.number in by_number
        else entry
        for entry in entries
    )


def sequences(entries: Iterable[Entry]) -> dict[int, tuple[int, ...]]:
    found: dict[int, dict[int, int]] = defaultdict(dict)
    for entry in entries:
        if entry.row.sequence and entry.row.position and entry.row.frame:
            found[entry.row.sequence].setdefault(entry.row.position, entry.row.frame)
            assert found[entry.row.sequence][entry.row.position] == entry.row.frame
    for places in found.values():
        assert sorted(places) == list(range(1, len(places) + 1))
    return {number: tuple(p[place] for place in sorted(p)) for number, p in found.items()}


def folded(path: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


@some
@given(asked())
def test_no_frame_and_no_file_is_lost_or_comes_twice(
    case: tuple[tuple[Entry, ...], RegroupRequest],
) -> None:
    entries, ask = case
    now = after(entries, regrouped(entries, ask))
    told = [(e.number, e.row.source, e.row.sha256, e.row.frame, e.row.role) for e in entries]
    assert told == [(e.number, e.row.source, e.row.sha256, e.row.frame, e.row.role) for e in now]
    frames = sorted(f for each in sequences(entries).values() for f in each)
    assert frames == sorted(f for each in sequences(now).values() for f in each)
    places = [folded(e.row.destination) for e in now if e.row.destination]
    assert len(places) == len({*places})


@some
@given(asked())
def test_a_new_place_is_none_that_anything_had(
    case: tuple[tuple[Entry, ...], RegroupRequest],
) -> None:
    entries, ask = case
    before = {folded(e.row.destination) for e in entries} | {folded(path) for path in ask.taken}
    for change in regrouped(entries, ask):
        place = change.after.row.destination
        if change.moves:
            assert folded(place) not in before
            assert place.count("/") == 1
            assert not {"", ".", ".."} & set(place.split("/"))
            assert change.before.row.frame not in ask.lost
            assert change.before.row.position is not None  # results stay where they are


@some
@given(asked())
def test_every_sequence_is_of_one_wish_or_left_of_one_sequence(
    case: tuple[tuple[Entry, ...], RegroupRequest],
) -> None:
    entries, ask = case
    now = after(entries, regrouped(entries, ask))
    was = {frame: n for n, frames in sequences(entries).items() for frame in frames}
    wish = {f: n for n, each in enumerate(ask.regroupings) for f in each.frames} | dict.fromkeys(
        ask.lost
    )
    rows = {e.row.sequence: e.row for e in now if e.row.position is not None}
    for number, frames in sequences(now).items():
        (wished,) = {wish.get(frame) for frame in frames}
        assert {e.row.kind for e in now if e.row.sequence == number} == {rows[number].kind}
        assert {e.row.frames for e in now if e.row.sequence == number} == {len(frames)}
        if wished is None:
            assert len({was[frame] for frame in frames}) == 1
        elif len(frames) > 1 or ask.regroupings[wished].kind is Kind.MARKER:
            assert rows[number].kind is ask.regroupings[wished].kind


@some
@given(asked())
def test_one_first_row_has_grounds_and_no_note_of_a_file_is_lost(
    case: tuple[tuple[Entry, ...], RegroupRequest],
) -> None:
    entries, ask = case
    changes = regrouped(entries, ask)
    now = after(entries, changes)
    with_grounds = [e.row.sequence for e in now if e.row.grounds]
    assert sorted(with_grounds, key=str) == sorted({*with_grounds}, key=str)
    assert {*sequences(now)} == {*with_grounds}
    for change in changes:
        gone = set(change.before.row.remarks) - set(change.after.row.remarks)
        assert all(isinstance(note, Related) for note in gone)


@some
@given(asked())
def test_the_same_again_changes_nothing(case: tuple[tuple[Entry, ...], RegroupRequest]) -> None:
    entries, ask = case
    now = after(entries, regrouped(entries, ask))
    assert regrouped(now, ask) == ()


@some
@given(asked())
def test_taken_back_all_is_as_before(case: tuple[tuple[Entry, ...], RegroupRequest]) -> None:
    entries, ask = case
    changes = regrouped(entries, ask)
    now = after(entries, changes)
    assert after(now, taken_back(now, changes)) == entries


@some
@given(asked())
def test_only_touched_sequences_change_but_for_words_of_others(
    case: tuple[tuple[Entry, ...], RegroupRequest],
) -> None:
    entries, ask = case
    frames = touched(entries, ask.regroupings)
    numbers = {e.row.sequence for e in entries if e.row.frame in frames}
    for change in regrouped(entries, ask):
        if change.before.row.sequence not in numbers:
            assert replace(change.after.row, remarks=()) == replace(change.before.row, remarks=())
