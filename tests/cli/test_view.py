from __future__ import annotations

from dataclasses import replace

import pytest

from manifest.accounts import (
    FIRST,
    account_of,
    at,
    bracket,
    file,
    frame,
    grounds,
    rock_pool,
    single,
)
from sorter.cli import phrases, view
from sorter.model.card import CardFile
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import Kind, Role
from sorter.model.relation_kind import RelationKind
from sorter.model.sequence import Account, Relation, Sequence


def noted(**files: str) -> Account:
    """One burst with a note on each of the files."""
    shots = tuple(
        Frame(files=(file(f"{name}.JPG", at(0), notes=(note,)),), facts=at(0))
        for name, note in files.items()
    )
    return account_of(Sequence(kind=Kind.BURST, frames=shots, grounds=grounds()))


def test_plain_singles_in_a_row_share_a_line() -> None:
    *_, last = view.table(rock_pool())
    assert (last.number, last.kind, last.frames) == (f"4{phrases.DASH}6", "3 singles", "3")
    assert last.took == "20 s"


def test_singles_stay_apart_where_that_is_asked_for() -> None:
    lines = view.table(rock_pool(), fold=False)
    assert [line.number for line in lines] == ["1", "2", "3", "4", "5", "6"]


@pytest.mark.parametrize(
    "other",
    [
        replace(single(2, 60), notes=("look",)),
        replace(single(2, 60), relations=(Relation(what=RelationKind.GOES_ON, to=0),)),
        replace(single(2, 60), frames=(frame("B", at(60), notes=("dark",)),)),
        single(2, 86_400),
        replace(single(2, 60), frames=(frame("B", at(60, serial="0418")),)),
        replace(single(2, 60), kind=Kind.MARKER),
    ],
    ids=["note", "relation", "frame note", "another day", "another body", "no single"],
)
def test_a_single_that_differs_has_a_line_of_its_own(other: Sequence) -> None:
    assert [line.number for line in view.table(account_of(single(1, 0), other))] == ["1", "2"]


def test_the_camera_is_named_only_where_there_are_several() -> None:
    assert {line.camera for line in view.table(account_of(single(1, 0), single(2, 9)))} == {""}
    assert {line.camera for line in view.table(rock_pool())} == {"R8", "E-1"}


def test_twins_are_told_apart_by_the_end_of_their_serials() -> None:
    twin = replace(single(2, 60), frames=(frame("B", at(60, serial="990418")),))
    assert [line.camera for line in view.table(account_of(single(1, 0), twin))] == [
        "R8 0417",
        "R8 0418",
    ]


def test_a_bracket_shows_planned_frames_focus_and_what_deserves_a_look() -> None:
    line = view.table(rock_pool())[1]
    assert (line.kind, line.frames, line.focus) == ("focus-bracket", "3 of 5", "0.22 → 0.26 m")
    assert line.notes == (
        "3 of 5 planned frames",
        "may be a retake; of sequence 1",
        "1 result beside it",
    )


def test_a_note_on_one_file_names_it_and_one_on_many_counts_them() -> None:
    assert view.table(noted(A="dark"))[0].notes == ("A.JPG: dark",)
    assert view.table(noted(A="dark", B="dark", C="cut"))[0].notes == (
        "2 frames: dark",
        "C.JPG: cut",
    )


def test_a_frames_note_about_its_file_is_told_once() -> None:
    shot = noted(A="dark").sequences[0].frames[0]
    account = account_of(
        Sequence(
            kind=Kind.SINGLE, frames=(replace(shot, notes=("A.JPG: dark",)),), grounds=grounds()
        )
    )
    assert view.table(account)[0].notes == ("A.JPG: dark",)


def test_text_out_of_files_is_made_safe_everywhere() -> None:
    evil = "\x1b[31m\u202e"
    shot = frame("A", at(0, lens=evil, model=evil, serial="1"), notes=(evil,))
    other = frame("B", at(0, model=evil, serial="2"))
    account = account_of(
        Sequence(kind=Kind.BURST, frames=(shot,), grounds=grounds(evil, evil), notes=(evil,)),
        Sequence(kind=Kind.BURST, frames=(other,), grounds=grounds()),
        loose=((Kind.OTHER, file(evil, notes=(evil,))),),
    )
    account = replace(account, folders_closed=(evil,))
    said = repr(view.table(account)) + repr(view.reasons(account.sequences[0]))
    said = said.replace("\\\\", "") + "".join(view.no_frames(account, ()))
    assert "\x1b" not in said
    assert "\\u202e" not in repr(view.no_frames(account, ())).replace("\\\\u", "")


def test_what_is_no_frame_is_listed_with_its_reason() -> None:
    assert view.no_frames(rock_pool(), ()) == (
        "clip        DCIM/100TIDES/MVI_0009.MP4: a clip",
        "undated     -crab\\xff.JPG: no Exif",
        "unreadable  DCIM/100TIDES/IMG_0020.CR3: empty",
        "other       MISC/=TIDE().DAT: no picture",
    )


def test_unreadable_files_are_all_named_and_of_others_a_dozen() -> None:
    many = tuple(
        (kind, file(f"{index:02d}.{kind}"))
        for kind in (Kind.UNREADABLE, Kind.OTHER)
        for index in range(20)
    )
    lines = view.no_frames(account_of(loose=many), ())
    assert len(lines) == 20 + 12 + 1
    assert lines[-1] == "other       and 8 more; the manifest names them all"


def test_a_closed_file_within_a_frame_and_a_closed_folder_are_listed() -> None:
    closed = ReadFile(file=CardFile(path="A.JPG", size=1, obstacle="a link"), role=Role.IMAGE)
    account = replace(account_of(single(1, 0)), folders_closed=("DCIM/102",))
    assert view.no_frames(account, (closed,)) == (
        "unreadable  A.JPG: a link",
        "closed      DCIM/102/: a folder that cannot be listed",
    )


def test_the_summary_counts_everything() -> None:
    assert view.summary(rock_pool()) == (
        "9 frames in 6 sequences: 1 focus bracket (3), 1 burst (2), 4 singles; 1 result merged from "
        "them; 4 files are no frames; 6 system files passed over."
    )


def test_what_was_thrown_away_and_shoots_are_named_and_counted() -> None:
    thrown = tuple(f".Trashes/501/{number:02d}.JPG" for number in range(25))
    account = replace(account_of(), thrown_away=thrown, shoots=("2026/\x1blimpets",))
    thrown_lines, shoots = view.left(account)
    assert thrown_lines == (
        view.LEFT,
        *(f"  {path}" for path in thrown[:20]),
        "  and 5 more; --json names them all",
    )
    assert shoots == (view.SHOOTS, "  2026/\\x1blimpets/")
    assert view.summary(account) == (
        "No frames; 25 files are left on the card in a trash or a system folder; 1 shoot not looked "
        "into."
    )
    assert view.left(rock_pool()) == ()


def test_the_summary_of_a_card_without_frames() -> None:
    account = replace(account_of(loose=((Kind.CLIP, file("A.MP4")),)), folders_closed=("B",))
    assert view.summary(account) == "No frames; 1 file is no frame; 1 folder could not be listed."


def test_reasons_tell_both_grounds_and_the_next_best() -> None:
    shots = Sequence(kind=Kind.FOCUS_BRACKET, frames=bracket(1, 3, 0), grounds=grounds())
    assert view.reasons(shots) == (
        ("begins", "18 s after the frame before [margin 9.0]"),
        ("kind", "one frame"),
        ("next best", "burst [margin 4.2]"),
        ("look at", ""),
    )


def test_the_next_best_may_be_singles_or_nothing() -> None:
    shots = Sequence(
        kind=Kind.FOCUS_BRACKET,
        frames=bracket(1, 3, 0),
        grounds=replace(grounds(), runner_up=Kind.SINGLE),
    )
    assert view.reasons(shots)[2] == ("next best", "3 singles [margin 4.2]")
    alone = replace(shots, grounds=replace(grounds(), runner_up=None))
    assert view.reasons(alone)[2] == ("next best", "no other kind comes into question")


def test_a_lens_that_changes_within_a_sequence_is_not_hidden() -> None:
    shots = (frame("A", at(0, lens="50mm")), frame("B", replace(FIRST, moment=at(1).moment)))
    account = account_of(Sequence(kind=Kind.BURST, frames=shots, grounds=grounds()))
    assert view.table(account)[0].lens == "several"
