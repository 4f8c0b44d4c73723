"""What must hold for every corrections file that fits its card."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from property.made import bodies, few, reading_of, seeds
from sorter.grouping.account import account_for
from sorter.manifest.corrections import corrections_bytes, corrections_of, read_corrections
from sorter.model.correction import Correction
from sorter.model.frame import Frame, ReadFile, Reading
from sorter.model.kinds import SEQUENCE_KINDS, Kind
from sorter.model.sequence import Account, Grounds, Sequence

NO_GROUNDS = Grounds(begins="", kind="")


def _correctable(seed: int, body: str) -> Reading:
    """Frames of which any stretch may be one sequence: of one body, none merged by the camera."""
    frames = reading_of(seed, body).frames
    camera = frames[0].facts.camera
    own = (frame for frame in frames if frame.facts.camera == camera)
    return Reading(frames=tuple(frame for frame in own if not frame.facts.merged))


def _row(sequence: Sequence, kind: str) -> Correction:
    return Correction(first=sequence.frames[0].path, last=sequence.frames[-1].path, kind=kind)


def _bare(account: Account) -> Account:
    """The account without what a repeated correction may change."""
    return replace(
        account,
        sequences=tuple(
            replace(
                each,
                grounds=NO_GROUNDS,
                name="",
                notes=tuple(note for note in each.notes if not note.startswith("unsure")),
            )
            for each in account.sequences
        ),
    )


@few
@given(seed=seeds, body=bodies, open_kinds=st.booleans())
def test_todays_account_row_by_row_changes_nothing_but_grounds_and_names(
    seed: int, body: str, *, open_kinds: bool
) -> None:
    reading = reading_of(seed, body)
    today = account_for(reading)
    rows = [
        replace(_row(each, "" if open_kinds else each.kind), name="limpet")
        for each in today.sequences
    ]
    again = account_for(reading, corrections=rows)
    assert {each.name for each in again.sequences} == {"limpet"}
    assert _bare(again) == _bare(today)


@st.composite
def _asked(draw: st.DrawFn, paths: list[str]) -> list[Correction]:
    """Corrections of frames that do not overlap, in any order."""
    count = draw(st.integers(1, 6)) * 2
    picks = draw(st.lists(st.integers(0, len(paths) - 1), min_size=count, max_size=count, unique=True))  # fmt: skip
    edges = sorted(picks)
    rows = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        kinds = [str(kind) for kind in SEQUENCE_KINDS if kind is not Kind.SINGLE]
        kind = draw(st.sampled_from(["", *kinds]))
        rows.append(Correction(first=paths[first], last=paths[last], kind=kind, name="limpet"))
    return draw(st.permutations(rows))


def _stretches(rows: list[Correction], paths: list[str]) -> list[list[str]]:
    return [paths[paths.index(row.first) : paths.index(row.last) + 1] for row in rows]


@few
@given(seed=seeds, body=bodies, data=st.data())
def test_a_correction_is_one_sequence_and_all_else_stays(
    seed: int, body: str, data: st.DataObject
) -> None:
    reading = _correctable(seed, body)
    today = account_for(reading)
    paths = [frame.path for frame in today.order]
    rows = data.draw(_asked(paths))
    after = account_for(reading, corrections=rows)
    assert after.order == today.order
    found = {each.frames[0].path: each for each in after.sequences}
    for row, stretch in zip(rows, _stretches(rows, paths), strict=True):
        made = found[row.first]
        assert [frame.path for frame in made.frames] == stretch
        assert row.kind in ("", made.kind)
    touched = {path for stretch in _stretches(rows, paths) for path in stretch}
    _whole_sequences_stay(today, found, touched)
    _what_is_left_keeps_its_kind(today, after, touched)


def _whole_sequences_stay(today: Account, found: dict[str, Sequence], touched: set[str]) -> None:
    for each in today.sequences:
        if touched.isdisjoint(frame.path for frame in (*each.frames, *each.results)):
            same = found[each.frames[0].path]
            assert replace(same, relations=()) == replace(each, relations=())


def _what_is_left_keeps_its_kind(today: Account, after: Account, touched: set[str]) -> None:
    had = {
        frame.path: each.kind
        for each in today.sequences
        for frame in (*each.frames, *each.results)  # a result is a single once its sources are gone
    }
    for each in after.sequences:
        if touched.isdisjoint(frame.path for frame in each.frames):
            kinds = {had[frame.path] for frame in each.frames}
            assert kinds == {each.kind} or (len(each.frames), each.kind) == (1, Kind.SINGLE)


@few
@given(seed=seeds, body=bodies, data=st.data())
def test_neither_the_order_of_the_rows_nor_of_the_listing_matters(
    seed: int, body: str, data: st.DataObject
) -> None:
    reading = _correctable(seed, body)
    rows = data.draw(_asked([frame.path for frame in account_for(reading).order]))
    frames = data.draw(st.permutations(reading.frames))
    other = account_for(Reading(frames=tuple(frames)), corrections=rows[::-1])
    assert other == account_for(reading, corrections=rows)


# ---- written and given back -------------------------------------------------------------------


def _given_back(account: Account) -> tuple[Correction, ...]:
    """The account's own corrections, by way of the file that a user is handed."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "corrections.csv"
        file.write_bytes(corrections_bytes(corrections_of(account)))
        return read_corrections(file)


def _moved(file: ReadFile, folder: str) -> ReadFile:
    return replace(file, file=replace(file.file, path=f"{folder}/{file.path}"))


def _of(serial: str, folder: str, frames: Iterable[Frame]) -> list[Frame]:
    """The frames as another body took them, below a folder of its own."""
    return [
        replace(
            frame,
            files=tuple(_moved(file, folder) for file in frame.files),
            facts=replace(frame.facts, serial=serial),
        )
        for frame in frames
    ]


@st.composite
def _two_bodies(draw: st.DrawFn) -> Reading:
    """Two bodies whose frames interleave, some merged in the camera, below folders of odd names."""
    frames: list[Frame] = []
    for serial, folder in (("1", "=low, tide"), ("2", ' "pool\udcff')):
        own = _of(serial, folder, reading_of(draw(seeds), draw(bodies)).frames)
        for place in draw(st.sets(st.integers(0, len(own) - 1), max_size=4)):
            facts = replace(own[place].facts, merged=draw(st.sampled_from(["focus", "other"])))
            own[place] = replace(own[place], facts=facts)
        frames += own
    return Reading(frames=tuple(frames))


def _said(account: Account) -> list[tuple[object, ...]]:
    return [(each.kind, each.name, each.frames, each.results) for each in account.sequences]


@few
@given(reading=_two_bodies(), data=st.data())
def test_an_account_with_its_own_written_corrections_is_the_same(
    reading: Reading, data: st.DataObject
) -> None:
    today = account_for(reading)
    assert _said(account_for(reading, corrections=_given_back(today))) == _said(today)
    whole = [each for each in today.sequences if not each.frames[0].facts.merged]
    some = data.draw(st.lists(st.sampled_from(whole), max_size=3, unique_by=lambda s: s.frames))
    rows = [
        replace(
            _row(each, data.draw(st.sampled_from(["", "burst", "manual-stack"]))),
            last=data.draw(st.sampled_from(each.frames)).path,
            name=data.draw(st.sampled_from(["", "=limpet", 'the "low", pool', "'+5"])),
        )
        for each in some
    ]
    asked = account_for(reading, corrections=rows)
    assert _said(account_for(reading, corrections=_given_back(asked))) == _said(asked)
