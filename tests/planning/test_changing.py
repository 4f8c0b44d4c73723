"""What regroupings make of a shoot: numbers, notes, focus; and corrections as regroupings."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from manifest.accounts import SECOND, account_of, at, frame, grounds, rock_pool, single
from planning.carrying import NAMING, carried, plan_of
from sorter.errors import BadCorrections
from sorter.model.change import Regrouping
from sorter.model.correction import Correction
from sorter.model.frame import Frame
from sorter.model.kinds import Kind, Role
from sorter.model.note import Note, Related
from sorter.model.plan import Entry
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.model.sequence import Account, Sequence
from sorter.pipeline.regrouping import regroupings_of
from sorter.planning.changing import RegroupRequest, regrouped, taken_back
from sorter.planning.outline import Outline

POOL = "DCIM/100TIDES/IMG_"
EBB = "DCIM/101EBB_/P517"


def shoot_of(account: Account) -> tuple[Entry, ...]:
    return carried(plan_of(account))


def after(entries: tuple[Entry, ...], *options: Regrouping) -> tuple[Entry, ...]:
    changes = {each.number: each for each in regrouped(entries, ask(*options))}
    return tuple(
        replace(e, placement=changes[e.number].after) if e.number in changes else e for e in entries
    )


def ask(*options: Regrouping) -> RegroupRequest:
    return RegroupRequest(regroupings=options, naming=NAMING)


def request(kind: Kind, *frames: int) -> Regrouping:
    return Regrouping(frames=frames, kind=kind, grounds="told")


def rows(entries: tuple[Entry, ...], sequence: int) -> list[Row]:
    return [entry.row for entry in entries if entry.row.sequence == sequence]


def first(entries: tuple[Entry, ...], sequence: int) -> Row:
    return Outline(entries).first(sequence)


def frames_of(entries: tuple[Entry, ...]) -> dict[int, tuple[int, ...]]:
    return Outline(entries).sequences


def near(entries: tuple[Entry, ...], sequence: int) -> list[int | None]:
    files = Outline(entries).files
    return [files[f][0].placement.from_near for f in frames_of(entries)[sequence]]


def stack(number: int, count: int, after_s: float, *, step: float = 0.02) -> Sequence:
    shots = tuple(
        frame(f"{POOL}{number + k:04d}", at(after_s + 0.2 * k, focus_near_m=0.3 + step * k), "CR3")
        for k in range(count)
    )
    return Sequence(kind=Kind.FOCUS_BRACKET, frames=shots, planned=count, grounds=grounds())


# ---- the demo's rock pool: a single, a bracket of three with a merged result, a burst of another
# body, three singles. Its frames are numbered 1, 2 to 4, 5 (merged), 6 and 7, 8 to 10.


def test_a_result_of_the_camera_keeps_its_sequence_and_its_place() -> None:
    entries = shoot_of(rock_pool())
    assert frames_of(entries) == {1: (1,), 2: (2, 3, 4), 3: (6, 7), 4: (8,), 5: (9,), 6: (10,)}
    now = after(entries, request(Kind.BURST, 2, 3))
    (result,) = [row for row in rows(now, 2) if row.role is Role.RESULT]
    assert (result.kind, result.frames, result.planned) == (Kind.BURST, 2, None)
    assert result.destination == "results/IMG_0013.JPG"
    assert "result of sequence 2" in result.notes


def test_a_result_follows_the_first_frame_where_its_sequence_is_no_more() -> None:
    now = after(shoot_of(rock_pool()), request(Kind.FOCUS_BRACKET, 1, 2, 3, 4))
    (result,) = [entry.row for entry in now if entry.row.role is Role.RESULT]
    assert (result.sequence, result.frames) == (1, 4)
    assert "result of sequence 1" in result.notes
    assert 2 not in frames_of(now)


def test_words_of_others_name_the_sequence_that_goes_on() -> None:
    """The words are those of RelationKind; which numbers they name is counted by hand."""
    entries = shoot_of(rock_pool())
    said: dict[int | None, tuple[Note, ...]] = {
        8: (Related(what=RelationKind.RETAKE, sequence=2), "out of focus"),
        1: (Related(what=RelationKind.SAME_SETUP, sequence=2),),
    }
    entries = tuple(
        replace(e, placement=replace(e.placement, row=replace(e.row, remarks=said[e.row.frame])))
        if e.row.frame in said
        else e
        for e in entries
    )
    now = after(entries, request(Kind.FOCUS_BRACKET, 1, 2, 3, 4))
    notes = {row.frame: row.notes for entry in now if (row := entry.row).frame in said}
    assert notes == {8: "retake of sequence 1; out of focus", 1: ""}


def test_notes_of_the_whole_go_with_the_piece_that_keeps_the_number() -> None:
    now = after(shoot_of(rock_pool()), request(Kind.BURST, 3, 4))
    assert "3 of 5 planned frames" in first(now, 2).notes
    assert not [row for row in rows(now, 7) if "planned" in row.notes]


def test_frames_of_two_bodies_are_never_one_sequence() -> None:
    now = after(shoot_of(rock_pool()), request(Kind.INTERVAL, 6, 7, 8, 9))
    assert frames_of(now)[3] == (6, 7)
    assert frames_of(now)[4] == (8, 9)


def test_bodies_that_shot_by_turns_stay_apart() -> None:
    """A frame of another body between two parts nothing; one of the same body does."""
    ebb = [
        Sequence(
            kind=Kind.SINGLE,
            frames=(frame(f"{EBB}{k:04d}", at(5 + 10 * k, SECOND), "ORF"),),
            grounds=grounds(),
        )
        for k in range(3)
    ]
    mixed = [single(1, 0), ebb[0], single(2, 10), ebb[1], single(3, 20), ebb[2]]
    now = after(shoot_of(account_of(*mixed)), request(Kind.BURST, 1, 3), request(Kind.BURST, 2, 6))
    assert frames_of(now)[1] == (1, 3)
    assert {frames_of(now)[n] for n in (2, 6)} == {(2,), (6,)}


def test_a_clock_that_was_set_back_does_not_change_the_order() -> None:
    now = after(
        shoot_of(account_of(single(1, 7200), single(2, 3600), single(3, 3602))),
        request(Kind.BURST, 1, 2),
    )
    assert frames_of(now) == {1: (1, 2), 3: (3,)}


def test_planned_is_kept_where_the_frames_are_the_same() -> None:
    entries = shoot_of(account_of(stack(1, 4, 0)))
    assert first(after(entries, request(Kind.MANUAL_STACK, 1, 2, 3, 4)), 1).planned == 4
    assert first(after(entries, request(Kind.MANUAL_STACK, 1, 2, 3)), 1).planned is None


def test_places_by_focus_are_counted_anew() -> None:
    entries = shoot_of(account_of(stack(1, 4, 0, step=-0.02)))
    assert near(entries, 1) == [4, 3, 2, 1]
    cut = after(entries, request(Kind.MANUAL_STACK, 3, 4))
    assert (near(cut, 1), near(cut, 2)) == ([2, 1], [2, 1])


def test_places_by_focus_of_two_that_became_one_are_told_by_distance() -> None:
    entries = shoot_of(account_of(stack(1, 3, 0), stack(4, 2, 60, step=0.01)))
    joined = after(entries, request(Kind.FOCUS_BRACKET, 1, 2, 3, 4, 5))
    # 0.30 0.32 0.34 | 0.30 0.31: equal focus keeps the order of capture
    assert near(joined, 1) == [1, 4, 5, 2, 3]


def test_without_distances_there_are_no_places() -> None:
    entries = shoot_of(account_of(stack(1, 2, 0), single(3, 60)))
    assert near(after(entries, request(Kind.MANUAL_STACK, 1, 2, 3)), 1) == [None, None, None]


def test_a_result_whose_number_was_used_again_is_not_restored() -> None:
    """Another file under the number of one that was removed is told by its bytes."""
    entries = shoot_of(rock_pool())
    extra = replace(
        entries[0],
        number=99,
        placement=replace(
            entries[0].placement,
            row=replace(first(entries, 2), source="", frame=None, position=None, role=Role.RESULT)
        ),
    )  # fmt: skip
    changes = regrouped((*entries, extra), ask(request(Kind.FOCUS_BRACKET, 1, 2, 3, 4)))
    (change,) = [each for each in changes if each.number == 99]
    other = replace(change.after, row=replace(change.after.row, sequence=4, sha256="other"))
    back = taken_back((replace(extra, placement=other),), changes)
    assert back == ()


# ---- corrections -------------------------------------------------------------------------------


def corrected(*corrections: Correction) -> tuple[Regrouping, ...]:
    return regroupings_of(shoot_of(rock_pool()), corrections)


def test_a_correction_names_frames_from_first_to_last() -> None:
    one = Correction(
        first=f"{POOL}0014.CR3", last=f"{POOL}0016.CR3", kind="interval", name="tide", line=2
    )
    (made,) = corrected(one)
    assert (made.frames, made.kind, made.name) == ((8, 9, 10), Kind.INTERVAL, "tide")
    assert "these 3 frames are one sequence: interval" in made.grounds


@pytest.mark.parametrize(
    ("first", "last", "kind"),
    [
        ("0010.CR3", "0010.JPG", Kind.SINGLE),
        ("0010.CR3", "0011.CR3", Kind.FOCUS_BRACKET),
        ("0011.CR3", "0014.CR3", Kind.FOCUS_BRACKET),
        ("0014.CR3", "0016.CR3", Kind.BURST),
    ],
)
def test_a_kind_that_is_left_open(first: str, last: str, kind: Kind) -> None:
    (made,) = corrected(Correction(first=POOL + first, last=POOL + last, line=2))
    assert made.kind is kind


@pytest.mark.parametrize(
    ("first", "last", "kind", "said"),
    [
        (f"{POOL}9999.CR3", "", "", "no file of this shoot was 'DCIM/100TIDES/IMG_9999.CR3'"),
        (f"{POOL}0014.CR3", f"{POOL}9999.CR3", "", "no file of this shoot was"),
        (f"{POOL}0015.CR3", f"{POOL}0014.CR3", "", "was taken after"),
        (f"{POOL}0014.CR3", f"{EBB}0001.ORF", "", "are of two bodies"),
        (f"{POOL}0013.JPG", "", "", "the camera merged itself"),
        ("DCIM/100TIDES/MVI_0009.MP4", "", "", "is no frame (clip)"),
        (f"{POOL}0014.CR3", f"{POOL}0015.CR3", "single", "these are 2 frames, and a single is one"),
    ],
)
def test_a_correction_that_does_not_fit(first: str, last: str, kind: str, said: str) -> None:
    with pytest.raises(BadCorrections, match=re.escape(said)) as fault:
        corrected(Correction(first=first, last=last or first, kind=kind, line=7))
    assert str(fault.value).startswith("corrections, line 7: ")


def test_frames_that_two_corrections_name() -> None:
    one = Correction(first=f"{POOL}0014.CR3", last=f"{POOL}0015.CR3", line=2)
    two = Correction(first=f"{POOL}0015.CR3", last=f"{POOL}0016.CR3", line=5)
    with pytest.raises(BadCorrections, match="line 5: line 2 has some of these frames already"):
        corrected(one, two)


def test_a_path_that_several_cards_have_does_not_tell() -> None:
    entries = shoot_of(account_of(single(1, 0), single(2, 100)))
    row = replace(entries[1].row, source=entries[0].row.source)
    twins = (entries[0], replace(entries[1], placement=replace(entries[1].placement, row=row)))
    with pytest.raises(BadCorrections, match="several cards brought a file"):
        regroupings_of(twins, [Correction(first=row.source, last=row.source, line=2)])


def test_a_path_may_be_spelled_as_the_manifest_does_it() -> None:
    shot = Frame(files=frame("crab\udcff", at(0), "CR3").files, facts=at(0))
    account = account_of(Sequence(kind=Kind.SINGLE, frames=(shot,), grounds=grounds()))
    spelled = r"crab\xff.CR3"
    (made,) = regroupings_of(
        shoot_of(account), [Correction(first=spelled, last=spelled, kind="marker", line=2)]
    )
    assert (made.frames, made.kind) == ((1,), Kind.MARKER)
