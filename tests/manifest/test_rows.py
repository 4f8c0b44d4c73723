from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifest.accounts import (
    FIRST,
    account_of,
    at,
    bracket,
    file,
    frame,
    grounds,
    moment,
    rock_pool,
)
from sorter.manifest.rows import in_order, make_rows
from sorter.model import row
from sorter.model.frame import Facts, Frame
from sorter.model.kinds import Kind, Role
from sorter.model.numbers import Numbers
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.model.sequence import Account, Relation, Sequence

COLUMNS = (
    "source, destination, frame, sequence, kind, position, frames, planned, role, captured, camera, "
    "serial, lens, focal_length_mm, f_number, exposure_time_s, iso, exposure_bias_ev, flash, "
    "focus_mode, drive_mode, focus_near_m, focus_far_m, bytes, sha256, grounds, notes"
)


def rows_by_source(account: Account) -> dict[str, Row]:
    return {row.source: row for row in make_rows(account)}


def one(shot: Frame, kind: Kind = Kind.SINGLE, notes: tuple[str, ...] = ()) -> Account:
    return account_of(Sequence(kind=kind, frames=(shot,), grounds=grounds(), notes=notes))


def test_the_columns_are_those_of_the_contract_in_its_order() -> None:
    assert list(row.COLUMNS) == COLUMNS.split(", ")
    assert all(hasattr(make_rows(rock_pool())[0], name) for name in row.COLUMNS)


def test_rows_stand_by_sequence_position_result_role_and_path() -> None:
    rows = make_rows(rock_pool())
    assert [(row.sequence, row.position, row.source[-12:]) for row in rows[:10]] == [
        (1, 1, "IMG_0001.CR3"),
        (1, 1, "IMG_0001.JPG"),
        (1, 1, "IMG_0001.xmp"),
        (2, 1, "IMG_0010.CR3"),
        (2, 1, "IMG_0010.JPG"),
        (2, 2, "IMG_0011.CR3"),
        (2, 2, "IMG_0011.JPG"),
        (2, 3, "IMG_0012.CR3"),
        (2, 3, "IMG_0012.JPG"),
        (2, None, "IMG_0013.JPG"),
    ]
    loose = [row.source for row in rows if row.sequence is None]
    assert loose == sorted(loose)
    assert [row.source for row in rows[-len(loose) :]] == loose


def test_frames_have_the_numbers_of_the_order_of_capture() -> None:
    account = rock_pool()
    backwards = replace(account, order=account.order[::-1])
    last = len(account.order)
    assert rows_by_source(backwards)["DCIM/100TIDES/IMG_0001.CR3"].frame == last


def _goes_on_in_a_shoot() -> tuple[Account, Numbers]:
    """The rock pool as a second card: two of its sequences were there already."""
    first, second, *rest = rock_pool().sequences
    related = replace(second, notes=(), relations=(Relation(what=RelationKind.GOES_ON, to=0),))
    account = replace(account_of(first, related, *rest), loose=rock_pool().loose)
    frames = range(201, 201 + len(account.order))
    return account, Numbers(sequences=(31, 7, 32, 8, 33, 34), frames=tuple(frames))


def test_othernumbers_stand_in_rows_and_relations() -> None:
    account, numbers = _goes_on_in_a_shoot()
    rows = {row.source: row for row in make_rows(account, numbers)}
    first, second = rows["DCIM/100TIDES/IMG_0001.CR3"], rows["DCIM/100TIDES/IMG_0010.CR3"]
    assert (first.sequence, first.frame) == (31, 201)
    assert (second.sequence, second.frame, second.position) == (7, 202, 1)
    assert second.notes == "goes on from sequence 31"


def test_numbers_change_nothing_but_the_numbers() -> None:
    account, numbers = _goes_on_in_a_shoot()
    for counted, other in zip(make_rows(account), make_rows(account, numbers), strict=True):
        told = replace(other, frame=counted.frame, sequence=counted.sequence)
        assert replace(told, remarks=counted.remarks) == counted


def test_numbers_of_another_account_are_refused() -> None:
    with pytest.raises(ValueError, match="argument"):
        make_rows(rock_pool(), Numbers(sequences=(1, 2), frames=(1, 2, 3)))


def test_a_result_belongs_to_its_sources_and_has_no_position() -> None:
    row = rows_by_source(rock_pool())["DCIM/100TIDES/IMG_0013.JPG"]
    assert (row.role, row.kind, row.sequence, row.frame) == (Role.RESULT, Kind.FOCUS_BRACKET, 2, 5)
    assert (row.position, row.frames, row.planned) == (None, 3, 5)


def test_a_results_sidecar_stays_a_sidecar() -> None:
    merged = frame("DCIM/IMG_0009", at(9), "JPG", "xmp")
    sources = bracket(1, 2, 0)
    whole = Sequence(kind=Kind.FOCUS_BRACKET, frames=sources, results=(merged,), grounds=grounds())
    assert rows_by_source(account_of(whole))["DCIM/IMG_0009.xmp"].role is Role.SIDECAR


def test_grounds_and_the_sequences_notes_stand_on_its_first_row_only() -> None:
    rows = [row for row in make_rows(rock_pool()) if row.sequence == 2]
    assert rows[0].grounds.startswith("3 frames: focus goes one way; begins here:")
    assert rows[0].notes == "3 of 5 planned frames; may be a retake, of sequence 1"
    assert all(not row.grounds for row in rows[1:])
    assert {row.notes for row in rows[1:]} == {"", "result of sequence 2"}
    assert all((row.role is Role.RESULT) == bool(row.notes) for row in rows[1:])


def test_a_relation_stands_behind_the_notes_with_the_other_sequences_number() -> None:
    first, second, *rest = rock_pool().sequences
    related = replace(second, relations=(Relation(what=RelationKind.GOES_ON, to=0),))
    account = account_of(first, related, *rest)
    assert rows_by_source(account)["DCIM/100TIDES/IMG_0010.CR3"].notes.endswith(
        "may be a retake, of sequence 1; goes on from sequence 1"
    )


def test_a_frames_note_that_only_repeats_a_files_own_stands_on_that_files_row_alone() -> None:
    cut = file("IMG_1.JPG", at(0), notes=("ends early",))
    shot = Frame(
        files=(file("IMG_1.CR3", at(0)), cut), facts=at(0), notes=("IMG_1.JPG: ends early",)
    )
    rows = rows_by_source(one(shot))
    assert rows["IMG_1.JPG"].notes == "ends early"
    assert rows["IMG_1.CR3"].notes == ""


def test_a_note_of_the_frame_itself_stands_on_its_first_row() -> None:
    files = (file("IMG_1.CR3", at(0)), file("IMG_1.JPG", at(0)))
    rows = rows_by_source(one(Frame(files=files, facts=at(0), notes=("the flash failed",))))
    assert (rows["IMG_1.CR3"].notes, rows["IMG_1.JPG"].notes) == ("the flash failed", "")


def test_a_file_tells_its_own_values_before_the_frames() -> None:
    raw = file("IMG_1.CR3", at(0, lens="100mm", focus_near_m=0.3, focus_far_m=0.4))
    jpeg = file("IMG_1.JPG", Facts(moment=moment(1), iso=800.0, focus_near_m=0.31))
    rows = rows_by_source(one(Frame(files=(raw, jpeg), facts=raw.facts)))
    row = rows["IMG_1.JPG"]
    assert (row.captured[-11:], row.iso, row.lens) == ("13:02:12.00", 800, "100mm")
    assert (row.focus_near_m, row.focus_far_m) == (0.31, 0.31)  # a pair is never mixed
    assert row.camera == "Tidepool R8"


def test_a_sidecar_tells_what_its_frame_tells() -> None:
    sidecar = file("IMG_1.xmp", Facts(moment=moment(99), iso=1.0))
    shot = Frame(files=(file("IMG_1.CR3", at(0)), sidecar), facts=at(0))
    row = rows_by_source(one(shot))["IMG_1.xmp"]
    assert (row.captured[-11:], row.iso) == ("13:02:11.00", 400)


def test_what_is_no_frame_has_its_own_time_or_none() -> None:
    clip = file("MVI_1.MP4", Facts(moment=moment(5)), role=Role.CLIP)
    account = account_of(loose=((Kind.CLIP, clip), (Kind.OTHER, file("A.DAT"))))
    rows = rows_by_source(account)
    assert rows["MVI_1.MP4"].captured == "2026-05-17T13:02:16.05"[:19] + ".00"
    assert rows["A.DAT"].captured == ""
    assert {row.frame for row in rows.values()} == {None}


def test_flash_says_fired_off_or_nothing() -> None:
    said = [
        make_rows(one(frame("A", at(0, flash_fired=fired))))[0].flash
        for fired in (True, False, None)
    ]
    assert said == ["fired", "off", ""]


def test_bytes_that_are_no_utf8_are_kept_and_noted() -> None:
    row = next(row for row in make_rows(rock_pool()) if "crab" in row.source)
    assert row.source == "-crab\udcff.JPG"
    assert row.notes == "the name has bytes that are no UTF-8; no Exif"


def test_a_semicolon_within_a_note_does_not_part_it() -> None:
    row = make_rows(one(frame("A", at(0)), notes=("dark; or a cap", "dark; or a cap")))[0]
    assert row.notes == "dark, or a cap"


_stems = st.lists(st.text("ab/=\udcff\n", min_size=1, max_size=4), unique=True, max_size=8)


@given(_stems, st.data())
def test_every_file_has_exactly_one_row(stems: list[str], data: st.DataObject) -> None:
    shots = [frame(stem, at(index), "CR3", "JPG") for index, stem in enumerate(stems)]
    cut = data.draw(st.integers(0, len(shots)))
    sequences = (
        [Sequence(kind=Kind.BURST, frames=tuple(shots[:cut]), grounds=grounds())] if cut else []
    )
    loose = tuple((Kind.UNDATED, each) for shot in shots[cut:] for each in shot.files)
    rows = make_rows(account_of(*sequences, loose=loose))
    assert len(rows) == 2 * len(stems)
    assert len({row.source for row in rows}) == 2 * len(stems)


def test_the_camera_never_has_its_make_twice() -> None:
    row = make_rows(one(frame("A", replace(FIRST, moment=moment(0)))))[0]
    assert row.camera == "Tidepool R8"


# ---- the order of a shoot's rows ------------------------------------------------------------


def _pool_with_a_sidecar_of_its_result() -> Account:
    """The rock pool, its merged result with a raw and a sidecar too."""
    pool = rock_pool()
    stack = pool.sequences[1]
    merged = frame("DCIM/100TIDES/IMG_0013", at(21.5, merged="focus"), "xmp", "ORF", "JPG")
    sequences = (pool.sequences[0], replace(stack, results=(merged,)), *pool.sequences[2:])
    return account_of(*sequences, loose=pool.loose)


@given(st.permutations(make_rows(_pool_with_a_sidecar_of_its_result())))
def test_rows_of_a_shoot_stand_in_the_order_of_those_of_one_card(rows: list[Row]) -> None:
    assert in_order(rows) == make_rows(_pool_with_a_sidecar_of_its_result())


def test_a_results_pictures_stand_before_its_sidecar_by_path() -> None:
    rows = make_rows(_pool_with_a_sidecar_of_its_result())
    names = [row.source[-12:] for row in rows if row.position is None and row.frame is not None]
    assert names == ["IMG_0013.JPG", "IMG_0013.ORF", "IMG_0013.xmp"]


def test_what_came_later_stands_where_its_sequence_is_and_what_is_no_frame_last() -> None:
    first, second = Numbers(sequences=(1,), frames=(1, 4)), Numbers(sequences=(2,), frames=(2, 3))
    early = make_rows(account_of(Sequence(kind=Kind.BURST, frames=bracket(1, 2, 0), grounds=grounds())), first)  # fmt: skip
    late = make_rows(account_of(Sequence(kind=Kind.BURST, frames=bracket(5, 2, 9), grounds=grounds())), second)  # fmt: skip
    loose = make_rows(account_of(loose=rock_pool().loose))
    assert in_order((*loose, *late, *early)) == (*early, *late, *loose)
