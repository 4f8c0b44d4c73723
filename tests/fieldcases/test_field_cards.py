"""Whole cards from the field: folders, names, clocks, company (common practice, no source; folders and
numbers follow DCF, CIPA DC-009)."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from fieldcases.cards import (
    ALL,
    CANON,
    COARSE,
    MAKERS,
    OM,
    PLAIN,
    START,
    Body,
    Card,
    file_bytes,
    loose,
    numbers,
    put,
    scanned,
    told,
)
from sorter.model.kinds import Role
from sorter.model.sequence import Account
from writing.cards import contents, hold_whole, ingest

makers = pytest.mark.parametrize("body", MAKERS, ids=lambda body: body.name)
all_bodies = pytest.mark.parametrize("body", ALL, ids=lambda body: body.name)


def files_of(account: Account) -> list[tuple[str, ...]]:
    """The files of every frame in order of capture, each by its path."""
    return [tuple(file.path for file in frame.files) for frame in account.order]


# ---- one exposure in several files -----------------------------------------------------------


def test_one_exposure_under_two_numbers_is_one_frame(tmp_path: Path) -> None:
    """Two aspect ratios of one press: equal time and settings under neighbouring numbers."""
    card = Card(CANON).single(0).single(0).single(30)
    account = card.account(tmp_path)
    assert told(account) == ["single 1", "single 1"]
    assert len(account.sequences[0].frames[0].files) == 2


def test_two_frames_of_a_burst_within_a_hundredth_are_two(tmp_path: Path) -> None:
    card = Card(CANON).burst(
        12, beat=[0.05, 0.0, 0.05, 0.0, 0.05, 0.05, 0.0, 0.05, 0.0, 0.05, 0.05]
    )
    account = card.account(tmp_path)
    assert told(account) == ["burst 12"]
    assert len(account.order) == 12


@pytest.mark.parametrize("body", [OM, COARSE], ids=lambda body: body.name)
def test_two_presses_within_a_whole_second_are_two_frames(body: Body, tmp_path: Path) -> None:
    account = Card(body).single(0).single(30).single(0.4).single(30).account(tmp_path)
    assert len(account.order) == 4


def test_equal_time_with_other_settings_is_another_frame(tmp_path: Path) -> None:
    account = Card(CANON).single(0).single(0, f_number=11.0).account(tmp_path)
    assert len(account.order) == 2


@makers
def test_raw_and_image_in_folders_of_their_own_are_one_frame(body: Body, tmp_path: Path) -> None:
    card = Card(body).bracket(12)
    for press in card.presses:
        (path,) = press.paths
        for folder in ("slot1", "slot2"):
            put(tmp_path / folder / path, file_bytes(press.shot, path))
    account = scanned(tmp_path)
    assert told(account) == ["focus-bracket 12"]
    assert {len(frame.files) for frame in account.order} == {2}


# ---- counters and folders --------------------------------------------------------------------


@all_bodies
def test_a_series_goes_over_9999_into_the_next_folder(body: Body, tmp_path: Path) -> None:
    account = Card(body, number=9990).single(0).burst(25, after=20).account(tmp_path)
    assert told(account) == ["single 1", "burst 25"]
    assert numbers(account.order)[8:12] == ["9998", "9999", "0001", "0002"]
    assert account.sequences[1].frames[-1].path.startswith("DCIM/101")
    assert not any("missing" in note for note in account.sequences[1].notes)


@all_bodies
def test_a_folder_that_is_full_at_another_number_parts_nothing(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0).burst(10, after=20)
    card.new_folder(card.number).series(
        [0.45] * 8, after=0.12, beat=0.12, first=11, drive="continuous"
    )
    assert card.found(tmp_path) == ["single 1", "burst 18"]


@makers
def test_a_new_folder_for_every_bracket_with_numbers_of_its_own(body: Body, tmp_path: Path) -> None:
    card = Card(body, number=1)
    for after in (5.0, 2.5, 20.0):
        card.bracket(12, after=after).new_folder()
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 12"] * 3
    assert numbers(account.order) == [f"{number:04d}" for number in range(1, 13)] * 3
    assert len({frame.path for frame in account.order}) == 36


@makers
def test_a_new_folder_within_a_bracket_parts_nothing(body: Body, tmp_path: Path) -> None:
    card = Card(body, number=9993)
    assert card.bracket(20).found(tmp_path) == ["focus-bracket 20"]


# ---- bodies and clocks -----------------------------------------------------------------------


def test_two_bodies_of_one_name_with_clocks_apart_keep_their_own_series(tmp_path: Path) -> None:
    """Frames of both fall between each other's, under the same names in two folders."""
    one, two = Card(CANON).bracket(20), Card(CANON, serial="083021009999").clock(0.9).bracket(20)
    one.lying(tmp_path / "one")
    two.lying(tmp_path / "two")
    account = scanned(tmp_path)
    assert told(account) == ["focus-bracket 20"] * 2
    assert {each.frames[0].facts.serial for each in account.sequences} == {
        "083021004417", "083021009999",
    }  # fmt: skip


def test_another_body_between_a_bracket_and_its_second_half_parts_nothing(tmp_path: Path) -> None:
    flash = Card(CANON, flash="fired").bracket(24, beat=2.0)
    flash.lying(tmp_path)
    Card(OM).single(11).single(9).single(14).lying(tmp_path)
    kinds = sorted(told(scanned(tmp_path)))
    assert kinds == ["focus-bracket 24", "single 1", "single 1", "single 1"]


@makers
def test_the_counter_keeps_the_order_where_the_clock_was_set_back(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).bracket(20).clock(-3600).bracket(15, after=30).single(40)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 20", "focus-bracket 15", "single 1"]
    assert numbers(account.order) == [f"{number:04d}" for number in range(101, 137)]
    assert "the clock was set back" in account.sequences[1].grounds.begins


@makers
def test_a_clock_set_back_within_a_bracket_parts_at_the_most_there(
    body: Body, tmp_path: Path
) -> None:
    """A body that ends summer time by itself; order is by the counter."""
    card = Card(body).bracket(20, after=5)
    for place, press in enumerate(card.presses):
        if place >= 10:
            card.presses[place] = press.moved(timedelta(hours=-1))
    assert numbers(card.account(tmp_path).order) == [f"{number:04d}" for number in range(101, 121)]


@makers
def test_an_hour_forward_is_a_pause_like_any_other(body: Body, tmp_path: Path) -> None:
    card = Card(body).bracket(20).clock(3600).bracket(20, after=30)
    assert card.found(tmp_path) == ["focus-bracket 20"] * 2


# ---- company ---------------------------------------------------------------------------------


def test_what_one_press_left_travels_together_whatever_the_case(tmp_path: Path) -> None:
    card = Card(CANON).single(0, files=("CR3", "jpg")).single(30, files=("cr3", "JPG")).single(30)
    card.lying(tmp_path)
    folder = tmp_path / "DCIM" / "100CANON"
    for name in ("IMG_0101.xmp", "IMG_0101.CR3.xmp", "IMG_0101.WAV", "img_0102.JPG.XMP"):
        put(folder / name, b"<x:xmpmeta>" + name.encode() + b"</x:xmpmeta>")
    account = scanned(tmp_path)
    assert told(account) == ["single 1"] * 3
    names = [sorted(Path(path).name for path in paths) for paths in files_of(account)]
    assert names == [
        ["IMG_0101.CR3", "IMG_0101.CR3.xmp", "IMG_0101.WAV", "IMG_0101.jpg", "IMG_0101.xmp"],
        ["IMG_0102.JPG", "IMG_0102.cr3", "img_0102.JPG.XMP"],
        ["IMG_0103.JPG"],
    ]
    roles = {file.file.name: file.role for file in account.order[0].files}
    assert roles["IMG_0101.WAV"] is Role.SOUND
    assert roles["IMG_0101.CR3"] is Role.RAW
    assert account.loose == ()


def test_a_sidecar_without_its_picture_is_listed(tmp_path: Path) -> None:
    Card(CANON).single(0).lying(tmp_path)
    put(tmp_path / "DCIM" / "100CANON" / "IMG_0404.xmp", b"<x:xmpmeta/>")
    assert loose(scanned(tmp_path)) == {"DCIM/100CANON/IMG_0404.xmp": "other"}


def test_the_two_colour_spaces_of_one_counter_are_one_series(tmp_path: Path) -> None:
    """DCF (CIPA DC-009): an underscore before the name says the optional colour space."""
    card = Card(CANON).bracket(12)
    for place in (4, 5, 9):
        card.presses[place] = card.presses[place].renamed("IMG_", "_MG_")
    assert card.found(tmp_path) == ["focus-bracket 12"]


def test_raw_and_image_under_the_two_prefixes_are_one_frame(tmp_path: Path) -> None:
    card = Card(CANON).single(0, files=("CR3",))
    shot = card.presses[0].shot
    card.lying(tmp_path)
    put(tmp_path / "DCIM/100CANON/_MG_0101.JPG", file_bytes(shot, "_MG_0101.JPG"))
    assert [len(frame.files) for frame in scanned(tmp_path).order] == [2]


LITTER = (
    "DCIM/100CANON/._IMG_0101.JPG",
    "FOUND.000/._FILE0000.CHK",
    ".Trashes/501/.DS_Store",
    ".fseventsd/0000000000a1b2c3",
    "System Volume Information/IndexerVolumeGuid",
    "$RECYCLE.BIN/desktop.ini",
)
THROWN = (
    "$RECYCLE.BIN/$R0001.JPG",
    ".Spotlight-V100/Store-V2/a.JPG",
    ".Trash-1000/files/IMG_0001.JPG",
    ".Trashes/501/IMG_0001.JPG",
)
RECOVERED = ("FOUND.000/FILE0000.CHK", "lost+found/#12345")


def test_litter_is_passed_over_and_what_is_a_picture_is_told(tmp_path: Path) -> None:
    Card(CANON).bracket(12).lying(tmp_path)
    whole = (tmp_path / "DCIM" / "100CANON" / "IMG_0103.JPG").read_bytes()
    for path in (*LITTER[:3], *THROWN, *RECOVERED):
        put(tmp_path / path, whole)
    for path in LITTER[3:]:
        put(tmp_path / path, b"\0" * 64)
    account = scanned(tmp_path)
    assert told(account) == ["focus-bracket 12"]
    assert (account.system_files, account.thrown_away) == (len(LITTER), THROWN)
    assert loose(account) == dict.fromkeys(RECOVERED, "other")


def test_folders_of_the_camera_itself_are_listed_as_other(tmp_path: Path) -> None:
    Card(CANON).single(0).lying(tmp_path)
    put(tmp_path / "MISC" / "AUTPRINT.MRK", b"[HDR]\r\n")
    put(tmp_path / "DCIM" / "CANONMSC" / "M0101.CTG", b"\0" * 32)
    account = scanned(tmp_path)
    assert (account.system_files, loose(account)) == (
        0, {"MISC/AUTPRINT.MRK": "other", "DCIM/CANONMSC/M0101.CTG": "other"},
    )  # fmt: skip


def test_links_are_listed_and_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "elsewhere"
    Card(CANON, number=501).bracket(6).lying(outside)
    card = Card(CANON).bracket(12).lying(tmp_path / "card")
    (card / "DCIM" / "101CANON").symlink_to(outside / "DCIM" / "100CANON")
    (card / "DCIM" / "100CANON" / "IMG_0113.JPG").symlink_to(card / "DCIM/100CANON/IMG_0101.JPG")
    account = scanned(card)
    assert told(account) == ["focus-bracket 12"]
    assert sorted(loose(account)) == ["DCIM/100CANON/IMG_0113.JPG", "DCIM/101CANON"]


def test_a_file_that_cannot_be_read_leaves_its_neighbours_together(tmp_path: Path) -> None:
    card = Card(CANON).bracket(20).lying(tmp_path)
    broken = "DCIM/100CANON/IMG_0110.JPG"
    (card / broken).write_bytes(b"")
    account = scanned(card)
    assert told(account) == ["focus-bracket 19"]
    assert loose(account) == {broken: "unreadable"}


# ---- a second run ----------------------------------------------------------------------------


def small_card(root: Path) -> Path:
    card = Card(PLAIN).single(0).burst(5, after=30).single(60).lying(root)
    for number in (102, 103):  # equal bytes beside two pictures
        put(card / "DCIM" / "100TIDES" / f"TIDE0{number}.xmp", b"<x:xmpmeta>limpet</x:xmpmeta>")
    return card


def test_a_second_run_finds_everything_there(tmp_path: Path) -> None:
    card = small_card(tmp_path / "card")
    first = ingest(card, tmp_path / "shoot")
    assert len(first.new) == len(contents(card)) == 9
    assert ingest(card, tmp_path / "shoot").new == ()
    hold_whole(tmp_path / "shoot", contents(card))


def test_a_second_run_finishes_what_is_missing_only(tmp_path: Path) -> None:
    card, shoot = small_card(tmp_path / "card"), tmp_path / "shoot"
    ingest(card, shoot)
    lost = [path for path in shoot.rglob("TIDE010[34].*") if path.is_file()]
    for path in lost:
        path.unlink()
    assert len(ingest(card, shoot).new) == len(lost) == 3
    hold_whole(shoot, contents(card))


def test_a_card_that_grew_carries_what_is_new_only(tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    ingest(Card(PLAIN).single(0).burst(5, after=30).lying(tmp_path / "card"), shoot)
    grown = Card(PLAIN).single(0).burst(5, after=30).single(60).burst(4, after=40)
    assert len(ingest(grown.lying(tmp_path / "card"), shoot).new) == 5
    hold_whole(shoot, contents(tmp_path / "card"))


def test_the_twin_out_of_the_second_slot_is_there_already(tmp_path: Path) -> None:
    """The same DCF name, time and bytes in the folder of the other slot's own number."""
    shoot = tmp_path / "shoot"
    ingest(Card(PLAIN).single(0).burst(5, after=30).lying(tmp_path / "one"), shoot)
    twin = Card(PLAIN).single(0).burst(5, after=30).lying(tmp_path / "two")
    (twin / "DCIM" / "100TIDES").rename(twin / "DCIM" / "104TIDES")
    assert ingest(twin, shoot).new == ()


def test_the_same_name_with_other_bytes_is_another_file(tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    ingest(Card(PLAIN).single(0).burst(5, after=30).lying(tmp_path / "one"), shoot)
    other = Card(PLAIN).single(0).burst(5, after=7200).lying(tmp_path / "two")
    assert len(ingest(other, shoot).new) == 5  # the first frame is the same to the byte


# ---- an archive ------------------------------------------------------------------------------


@makers
def test_an_archive_of_renamed_files_is_sorted_by_what_the_files_say(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).single(0, 0.6).bracket(20, after=30).bracket(20, after=4)
    for place, press in enumerate(card.presses):
        name = f"{START:%Y}/low tide/limpets ({place * 37 % 101}).jpg"
        put(tmp_path / name, file_bytes(press.shot, name))
    account = scanned(tmp_path)
    assert told(account) == ["single 1", "focus-bracket 20", "focus-bracket 20"]


def test_an_archive_split_by_hand_keeps_a_series_over_two_folders(tmp_path: Path) -> None:
    for place, press in enumerate(Card(CANON).bracket(24).presses):
        name = f"{'best' if place % 5 == 0 else 'rest'}/tide-{press.number}.JPG"
        put(tmp_path / name, file_bytes(press.shot, name))
    assert told(scanned(tmp_path)) == ["focus-bracket 24"]
