from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from manifest.accounts import account_of, at, bracket, file, frame, grounds, rock_pool, single
from planning.carrying import NAMING, NOTHING, carried, contents, destinations, plan_of
from sorter.cli.planview import tree
from sorter.manifest.rows import make_rows
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import Kind, Role
from sorter.model.plan import Entry, Plan, State
from sorter.model.sequence import Account, Sequence
from sorter.planning.pattern import parse
from sorter.planning.places import Naming, PathFacts, ShootContents, another_name, make_plan

GOLDEN = Path(__file__).parent / "golden"
FIRST = "DCIM/100TIDES/IMG_0010"


def series(*frames: Frame, name: str = "") -> Sequence:
    return Sequence(kind=Kind.FOCUS_BRACKET, frames=frames, grounds=grounds(), name=name)


def lone(shot: Frame, kind: Kind = Kind.SINGLE) -> Sequence:
    return Sequence(kind=kind, frames=(shot,), grounds=grounds())


def to(account: Account, known: tuple[Entry, ...] = (), *taken: str) -> dict[str, str]:
    return destinations(plan_of(account, contents(account, known, *taken)))


def said(plan: Plan, source: str) -> tuple[str, ...]:
    return next(
        tuple(map(str, each.carrying_notes))
        for each in plan.placements
        if each.row.source == source
    )


# ---- folders --------------------------------------------------------------------------------


def test_the_rock_pool_has_the_folders_of_the_contract() -> None:
    assert {path.rpartition("/")[0] for path in to(rock_pool()).values()} == {
        *("0002_focus-bracket_3", "0003_burst_2", "singles", "results", "clips", "unsorted")
    }


def test_a_marker_stands_with_markers() -> None:
    account = account_of(lone(frame("DCIM/IMG_0001", at(0), "JPG"), Kind.MARKER))
    assert to(account) == {"DCIM/IMG_0001.JPG": "markers/IMG_0001.JPG"}


def test_a_clip_goes_with_clips_though_a_picture_without_a_time_has_its_name() -> None:
    picture, clip = file("DCIM/IMG_0007.JPG"), file("DCIM/IMG_0007.MOV", role=Role.CLIP)
    sidecar = file("DCIM/IMG_0007.xmp")
    account = account_of(loose=((Kind.UNDATED, picture), (Kind.CLIP, clip), (Kind.CLIP, sidecar)))
    assert to(account) == {
        "DCIM/IMG_0007.JPG": "unsorted/IMG_0007.JPG",
        "DCIM/IMG_0007.MOV": "clips/IMG_0007.MOV",
        "DCIM/IMG_0007.xmp": "clips/IMG_0007.xmp",
    }


def test_a_name_that_the_user_gave_to_a_sequence_goes_before_the_one_for_all() -> None:
    account = account_of(series(*bracket(10, 2, 0), name="limpet"), series(*bracket(20, 2, 60)))
    plan = plan_of(account, NOTHING, replace(NAMING, name="west pool"))
    folders = {path.partition("/")[0] for path in destinations(plan).values()}
    assert folders == {"0001_focus-bracket_2_limpet", "0002_focus-bracket_2_west pool"}


@pytest.mark.parametrize(
    ("pattern", "folder"),
    [
        ("Singles", "Singles_2"),
        ("MARKERS", "MARKERS_2"),
        ("clips", "clips_2"),
        ("unsorted", "unsorted_2"),
        ("results", "results_2"),
        ("Report", "Report_2"),
        ("checks.csv", "checks.csv_2"),
        ("Manifest.CSV", "Manifest.CSV_2"),
        ("SHA256SUMS", "SHA256SUMS_2"),
        (".sorter", ".sorter_2"),
        ("limpet", "limpet"),
    ],
)
def test_no_sequence_gets_a_name_that_the_shoot_needs(pattern: str, folder: str) -> None:
    account = account_of(series(*bracket(10, 2, 0)))
    plan = plan_of(account, NOTHING, Naming(pattern=parse(pattern)))
    assert {path.partition("/")[0] for path in destinations(plan).values()} == {folder}


def test_two_sequences_never_share_a_folder() -> None:
    account = account_of(series(*bracket(10, 2, 0)), series(*bracket(20, 2, 60)))
    plan = plan_of(account, NOTHING, Naming(pattern=parse("{kind}")))
    folders = sorted({path.partition("/")[0] for path in destinations(plan).values()})
    assert folders == ["focus-bracket", "focus-bracket_2"]


def test_a_folder_of_someone_else_is_left_to_them() -> None:
    account = account_of(series(*bracket(10, 2, 0)))
    found = to(account, (), "0001_Focus-Bracket_2/notes.txt")
    assert {path.partition("/")[0] for path in found.values()} == {"0001_focus-bracket_2_2"}


# ---- names ----------------------------------------------------------------------------------


def test_equal_names_of_two_folders_get_a_suffix_for_the_whole_frame() -> None:
    one = frame("DCIM/100TIDES/IMG_0001", at(0), "CR3", "JPG")
    two = frame("DCIM/101TIDES/IMG_0001", at(60), "JPG", "xmp", "CR3")
    plan = plan_of(account_of(lone(one), lone(two)))
    assert destinations(plan) == {
        "DCIM/100TIDES/IMG_0001.CR3": "singles/IMG_0001.CR3",
        "DCIM/100TIDES/IMG_0001.JPG": "singles/IMG_0001.JPG",
        "DCIM/101TIDES/IMG_0001.CR3": "singles/IMG_0001_2.CR3",
        "DCIM/101TIDES/IMG_0001.JPG": "singles/IMG_0001_2.JPG",
        "DCIM/101TIDES/IMG_0001.xmp": "singles/IMG_0001_2.xmp",
    }
    assert said(plan, "DCIM/101TIDES/IMG_0001.xmp") == (
        "named IMG_0001_2.xmp here: another file has its name",
    )
    assert said(plan, "DCIM/100TIDES/IMG_0001.JPG") == ()


def test_one_file_that_clashes_takes_its_frame_along() -> None:
    shot = frame("DCIM/IMG_0001", at(0), "CR3", "JPG")
    found = to(account_of(lone(shot)), (), "singles/img_0001.jpg")
    assert set(found.values()) == {"singles/IMG_0001_2.CR3", "singles/IMG_0001_2.JPG"}


def test_twins_by_case_within_a_frame_are_told_apart() -> None:
    files = (file("A.JPG", at(0)), file("a.jpg", at(0), role=Role.IMAGE))
    account = account_of(lone(Frame(files=files, facts=at(0))))
    assert to(account) == {"A.JPG": "singles/A.JPG", "a.jpg": "singles/a_2.jpg"}


def test_a_suffix_that_a_camera_file_has_already_is_passed_over() -> None:
    shots = (frame("A/IMG_0001", at(0)), frame("A/IMG_0001_2", at(9)), frame("B/IMG_0001", at(60)))
    found = to(account_of(*map(lone, shots)))
    assert found["B/IMG_0001.CR3"] == "singles/IMG_0001_3.CR3"


def test_a_name_that_is_not_legal_everywhere_is_changed_and_the_reason_said() -> None:
    plan = plan_of(account_of(loose=((Kind.OTHER, file("MISC/tide?.txt")),)))
    assert destinations(plan) == {"MISC/tide?.txt": "unsorted/tide_.txt"}
    assert said(plan, "MISC/tide?.txt") == (
        "named tide_.txt here: its own name is not legal everywhere",
    )


def _linked(one: ReadFile) -> ReadFile:
    return replace(one, file=replace(one.file, plain=False, obstacle="a link"))


def test_a_link_stays_on_the_card_and_what_is_beside_it_is_carried() -> None:
    shot = frame("DCIM/IMG_0001", at(0), "CR3", "JPG")
    half = replace(shot, files=(shot.files[0], _linked(shot.files[1])))
    plan = plan_of(account_of(lone(half)))
    assert destinations(plan) == {
        "DCIM/IMG_0001.CR3": "singles/IMG_0001.CR3",
        "DCIM/IMG_0001.JPG": "",
    }
    assert said(plan, "DCIM/IMG_0001.JPG") == ("left on the card",)


@pytest.mark.parametrize(
    ("path", "number", "other"),
    [
        ("singles/IMG_0001.JPG", 2, "singles/IMG_0001_2.JPG"),
        ("0001_burst_2/IMG_0001_2.CR3", 3, "0001_burst_2/IMG_0001_2_3.CR3"),
        ("unsorted/tide", 2, "unsorted/tide_2"),
    ],
)
def test_a_name_that_was_taken_meanwhile_gets_a_number(path: str, number: int, other: str) -> None:
    assert another_name(path, number) == other


# ---- a shoot that holds something -----------------------------------------------------------


def carry(account: Account, *more: Account) -> tuple[Entry, ...]:
    known = carried(plan_of(account))
    for each in more:
        known = carried(plan_of(each, contents(each, known)), known)
    return known


def test_a_card_that_is_all_there_gives_nothing_to_do() -> None:
    known = carry(rock_pool())
    assert plan_of(rock_pool(), contents(rock_pool(), known)) == Plan(placements=())


def test_a_series_that_grew_gets_its_frames_into_the_folder_that_it_has() -> None:
    shots = bracket(10, 5, 20)
    known = carry(account_of(series(shots[0], shots[1], shots[4])))
    grown = account_of(series(*shots))
    plan = plan_of(grown, contents(grown, known))
    assert set(destinations(plan)) == {file.path for shot in shots[2:4] for file in shot.files}
    folders = {path.partition("/")[0] for path in destinations(plan).values()}
    assert folders == {"0001_focus-bracket_3"}  # its name stays what it was


def test_what_is_there_of_a_series_that_grew_is_known_anew_where_it_stays() -> None:
    shots = bracket(10, 5, 20)
    known = carry(account_of(single(1, 0), series(shots[0], shots[1], shots[4])))
    grown = account_of(single(1, 0), series(*shots))
    plan = plan_of(grown, contents(grown, known))
    last = next(each for _, each in plan.updated if each.row.source == f"{FIRST[:-2]}14.JPG")
    assert (last.row.position, last.row.frames, last.from_near) == (5, 5, 5)
    assert last.row.destination == "0002_focus-bracket_3/IMG_0014.JPG"
    assert last.row.sha256
    updated = {number for number, _ in plan.updated}
    assert updated == {entry.number for entry in known if entry.row.sequence == 2}


def test_a_single_that_became_a_series_stays_and_the_rest_gets_a_folder() -> None:
    shots = bracket(10, 3, 20)
    known = carry(account_of(lone(shots[0])))
    grown = account_of(series(*shots))
    found = to(grown, known)
    assert {path.partition("/")[0] for path in found.values()} == {"0001_focus-bracket_3"}
    assert not set(found) & {file.path for file in shots[0].files}


def test_a_sidecar_that_came_later_goes_beside_its_frame_with_its_suffix() -> None:
    one, two = (frame(f"DCIM/{card}/IMG_0001", at(60 * n)) for n, card in enumerate(("A", "B")))
    known = carry(account_of(lone(one), lone(two)))
    edited = frame("DCIM/B/IMG_0001", at(60), "CR3", "xmp")
    found = to(account_of(lone(one), lone(edited)), known)
    assert found == {"DCIM/B/IMG_0001.xmp": "singles/IMG_0001_2.xmp"}


def test_a_sidecar_of_a_frame_in_a_series_goes_into_that_folder() -> None:
    shots = bracket(10, 2, 20)
    known = carry(account_of(series(*shots)))
    edited = replace(shots[0], files=(*shots[0].files, file(f"{FIRST}.xmp")))
    found = to(account_of(series(edited, shots[1])), known)
    assert found == {f"{FIRST}.xmp": "0001_focus-bracket_2/IMG_0010.xmp"}


def test_a_copy_that_was_changed_is_carried_once_more_under_another_name() -> None:
    account = account_of(series(*bracket(10, 2, 20)))
    known = carry(account)
    here = replace(contents(account, known), changed=frozenset({f"{FIRST}.JPG"}))
    plan = plan_of(account, here)
    assert plan.placements == ()
    number, again = next(pair for pair in plan.updated if not pair[1].row.sha256)
    assert known[number - 1].row.source == again.row.source == f"{FIRST}.JPG"
    assert again.row.destination == "0001_focus-bracket_2/IMG_0010_2.JPG"
    assert tuple(map(str, again.carrying_notes)) == (
        "named IMG_0010_2.JPG here: another file has its name",
        "0001_focus-bracket_2/IMG_0010.JPG was changed since it was carried",
    )
    assert all(each.row.sha256 for _, each in plan.updated if each is not again)


def test_what_was_never_carried_is_not_told_to_be_carried_when_its_series_grows() -> None:
    shots = bracket(10, 3, 20)
    half = replace(shots[0], files=(shots[0].files[0], _linked(shots[0].files[1])))
    known = carry(account_of(series(half, shots[1])))
    grown = account_of(series(half, *shots[1:]))
    plan = plan_of(grown, contents(grown, known))
    left = next(entry for entry in known if entry.state is State.LEFT)
    assert left.row.source == f"{FIRST}.JPG"
    assert dict(plan.updated)[left.number].row.frames == 3
    assert plan.again == frozenset()


def test_a_twin_on_the_other_slots_card_does_not_rename_where_the_file_came_from() -> None:
    shots = bracket(10, 3, 20)
    known = carry(account_of(series(*shots[:2])))
    other = [replace(each, files=tuple(_at_other_slot(f) for f in each.files)) for each in shots]
    account = account_of(series(*other))
    there = {f"SLOT2/{entry.row.source}": entry for entry in known}
    taken = frozenset(entry.row.destination for entry in known)
    plan = plan_of(account, ShootContents(known=known, there=there, taken=taken))
    assert set(destinations(plan)) == {f"SLOT2/{file.path}" for file in shots[2].files}
    for number, each in plan.updated:
        assert each.row.source == known[number - 1].row.source


def _at_other_slot(one: ReadFile) -> ReadFile:
    return replace(one, file=replace(one.file, path=f"SLOT2/{one.path}"))


def test_a_name_that_the_ledger_knows_is_taken_though_the_file_is_gone() -> None:
    known = carry(account_of(lone(frame("A/IMG_0001", at(0)))))
    other = account_of(lone(frame("B/IMG_0001", at(60))))
    plan = plan_of(other, ShootContents(known=known))
    assert destinations(plan) == {"B/IMG_0001.CR3": "singles/IMG_0001_2.CR3"}


def test_a_second_card_goes_on_with_the_numbers_in_its_folders() -> None:
    known = carry(rock_pool())
    other = account_of(series(*bracket(50, 2, 600)))
    assert {path.partition("/")[0] for path in to(other, known).values()} == {
        "0007_focus-bracket_2"
    }


def test_container_place_by_focus_and_what_is_unread_come_from_what_is_known_beside() -> None:
    shot = file("DCIM/IMG_0001.JPG", at(0), container="jpeg")
    account = account_of(lone(Frame(files=(shot,), facts=at(0))))
    known = PathFacts(
        files={shot.path: shot}, from_near={shot.path: 3}, unread=frozenset({shot.path})
    )
    (found,) = make_plan(make_rows(account), known, NOTHING, NAMING).placements
    assert (found.container, found.from_near, found.unread) == ("jpeg", 3, True)


# ---- golden ---------------------------------------------------------------------------------


def _with_equal_names(account: Account) -> Account:
    """The rock pool, and a folder in which the camera's counter began anew."""
    shots = [frame(f"DCIM/102TIDES/IMG_{n:04d}", at(900 + n), "CR3", "JPG") for n in (1, 14)]
    sequences = (*account.sequences, *map(lone, shots))
    return replace(account_of(*sequences, loose=account.loose), system_files=account.system_files)


def test_the_plan_of_the_rock_pool(golden: Callable[[Path, bytes], None]) -> None:
    plan = plan_of(_with_equal_names(rock_pool()))
    shown = [*tree("west-pool", plan.placements), ""]
    for each in plan.placements:
        shown.append(f"{each.row.source} → {each.row.destination}")
        shown += [f"    {remark}" for remark in each.carrying_notes]
    text = "\n".join(shown) + "\n"
    golden(GOLDEN / "rock-pool.txt", text.encode("utf-8", "backslashreplace"))
