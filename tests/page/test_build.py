"""Rows, findings and pictures as the parts of a page."""

from __future__ import annotations

from dataclasses import replace

import pytest

from page.shoots import Tide, complete
from sorter.model.correction import Correction
from sorter.model.finding import Verdict
from sorter.model.kinds import Kind, Role
from sorter.model.note import Related
from sorter.model.relation_kind import RelationKind
from sorter.model.report import Pictured
from sorter.model.row import Row
from sorter.page.attention import reasons, suggestion
from sorter.page.build import make_page
from sorter.page.parts import Figure, Page


def figure(page: Page, label: str) -> Figure:
    return next(each for each in page.figures if each.label == label)


def test_the_head_figures() -> None:
    tide = Tide()
    tide.add(Kind.FOCUS_BRACKET, 12, check=complete())
    tide.add(Kind.FOCUS_BRACKET, 9, check=complete(verdict=Verdict.INCOMPLETE))
    tide.add(Kind.BURST, 4, camera="OM")
    tide.add(Kind.SINGLE)
    page = make_page(tide.material)
    assert figure(page, "frames") == Figure(label="frames", value="26", more="4 sequences")
    assert figure(page, "stacks").value == "2"
    assert figure(page, "stacks").more == "1 complete, 1 incomplete"
    assert figure(page, "deserve a look").value == "1"
    assert figure(page, "taken").value == "2026-05-17"
    assert figure(page, "files").more == "26 kB"
    assert figure(page, "cameras").value == "Tidepool R8, OM"
    assert [(each.label, each.count) for each in page.kinds] == [
        ("focus bracket", 2),
        ("burst", 1),
        ("single", 1),
    ]


def test_singles_and_markers_hang_on_the_wall() -> None:
    tide = Tide()
    tide.add(Kind.SINGLE)
    tide.add(Kind.MARKER)
    tide.add(Kind.BURST, 3)
    page = make_page(tide.material)
    assert [(shot.sequence, shot.kind) for shot in page.wall] == [
        (1, Kind.SINGLE),
        (2, Kind.MARKER),
    ]
    assert [section.number for section in page.sections] == [3]


def test_an_empty_shoot_is_a_page_too() -> None:
    page = make_page(Tide().material)
    assert (page.line, page.sections, page.wall, page.loose) == (None, (), (), ())
    assert figure(page, "frames").value == "0"


def test_a_merge_says_which_slices_were_left_out_and_why() -> None:
    tide = Tide()
    number = tide.add(Kind.FOCUS_BRACKET, 8, check=complete(surplus=(1, 2, 8), dark=(5,)))
    trial = replace(tide.material.trials[number], slices=(3, 4, 6), order=(3, 4, 6))
    page = make_page(replace(tide.material, trials={number: trial}))
    merge = page.sections[0].merge
    assert merge is not None
    assert merge.of == "3 of 8 slices"
    assert merge.left_out == (
        "1, 2, 8 (sharpest nowhere)",
        "5 (dark)",
        "7 (of another size, or cannot be lined up)",
    )
    assert merge.legend == (3, 4, 6)
    states = [(shot.position, shot.state_words) for shot in page.sections[0].shots if shot.state]
    assert states[0] == (1, "sharpest nowhere")
    assert (5, "dark") in states


def test_a_legend_has_the_first_the_last_and_some_between() -> None:
    tide = Tide()
    tide.add(Kind.FOCUS_BRACKET, 48, check=complete())
    merge = make_page(tide.material).sections[0].merge
    assert merge is not None
    assert merge.legend == (1, 9, 17, 25, 32, 40, 48)


def test_best_frames_stand_in_their_order() -> None:
    tide = Tide()
    tide.add(Kind.BURST, 6, check=complete(verdict=None, best_frames=(4, 2, 6)))
    section = make_page(tide.material).sections[0]
    assert [shot.position for shot in section.best] == [4, 2, 6]
    assert section.best[0].state_words == "best frame, number 1"
    assert section.merge is None
    assert section.plot is None


def test_attempts_stand_side_by_side_and_the_best_is_named() -> None:
    tide = Tide()
    for _ in range(2):
        tide.add(Kind.FOCUS_BRACKET, 5, check=complete(attempts=(2, 1)))
    section = make_page(tide.material).sections[0]
    assert [(a.number, a.is_best, a.is_this) for a in section.attempts] == [
        (2, True, False),
        (1, False, True),
    ]
    assert section.attempts[0].picture == tide.material.trials[2].picture


def test_relations_lead_to_their_sequences_and_are_no_notes() -> None:
    tide = Tide()
    tide.add(Kind.BURST, 3)
    tide.add(
        Kind.BURST, 3, remarks=(Related(what=RelationKind.RETAKE, sequence=1), "3 of 9, stopped")
    )
    section = make_page(tide.material).sections[1]
    assert [(each.words, each.number) for each in section.relations] == [("retake of", 1)]
    assert section.notes == ("3 of 9, stopped",)
    assert section.attention == ("3 of 9, stopped",)


def test_files_in_no_sequence_have_a_reason() -> None:
    tide = Tide()
    for kind, notes in ((Kind.CLIP, ""), (Kind.UNDATED, "no Exif"), (Kind.OTHER, "")):
        row = Row(source=f"MISC/{kind}", kind=kind, role=Role.OTHER, bytes=9, remarks=(notes,))
        tide.add_row(replace(row, destination=f"unsorted/{kind}"))
    found = make_page(tide.material).loose
    assert [each.why for each in found] == [
        "video or sound",
        "no Exif",
        "no picture that a camera took",
    ]


def test_a_file_that_was_not_carried_is_named() -> None:
    tide = Tide()
    tide.add(Kind.BURST, 2)
    rows = (tide.material.rows[0], replace(tide.material.rows[1], destination=""))
    page = make_page(replace(tide.material, rows=rows))
    assert [(each.path, each.why) for each in page.loose] == [
        ("DCIM/100TIDES/IMG_0002.JPG", "it is not in the shoot yet")
    ]
    assert [shot.name for shot in page.sections[0].shots] == ["IMG_0001.JPG"]


def test_a_frame_of_which_only_a_sidecar_came_is_no_frame_of_the_page() -> None:
    """Its picture was not looked at: positions would not be those of the findings."""
    tide = Tide()
    tide.add(Kind.BURST, 3)
    lost, side = (
        replace(tide.material.rows[1], destination=""),
        replace(tide.material.rows[1], role=Role.SIDECAR, source="DCIM/100TIDES/IMG_0002.XMP"),
    )
    rows = (tide.material.rows[0], lost, side, tide.material.rows[2])
    section = make_page(replace(tide.material, rows=rows)).sections[0]
    assert [shot.name for shot in section.shots] == ["IMG_0001.JPG", "IMG_0003.JPG"]


def test_a_result_of_a_stack_is_named_and_no_loose_file() -> None:
    tide = Tide()
    number = tide.add(Kind.FOCUS_BRACKET, 4, check=complete())
    first = tide.material.rows[0]
    result = replace(first, source="", role=Role.RESULT, position=None, frame=None)
    tide.add_row(replace(result, destination="results/limpets.tif"))
    page = make_page(tide.material)
    assert page.sections[0].results == ("results/limpets.tif",)
    assert page.sections[0].frames == 4
    assert not page.loose
    assert number == 1


def test_two_files_of_a_frame_are_one_shot() -> None:
    tide = Tide()
    tide.add(Kind.BURST, 2)
    raw = replace(tide.material.rows[0], source="DCIM/100TIDES/IMG_0001.CR3", role=Role.RAW)
    side = replace(tide.material.rows[0], source="DCIM/100TIDES/IMG_0001.XMP", role=Role.SIDECAR)
    page = make_page(replace(tide.material, rows=(side, raw, *tide.material.rows)))
    assert [shot.name for shot in page.sections[0].shots] == ["IMG_0001.CR3", "IMG_0002.JPG"]


def test_a_frame_without_a_picture_says_why() -> None:
    tide = Tide()
    tide.add(Kind.SINGLE)
    page = make_page(replace(tide.material, pictures={1: Pictured(why="is empty")}))
    assert (page.wall[0].small, page.wall[0].why) == ("", "is empty")


def test_the_folder_of_all_frames_is_told_once() -> None:
    tide = Tide()
    tide.add(Kind.BURST, 3)
    section = make_page(tide.material).sections[0]
    assert section.folder_of == "DCIM/100TIDES/"
    assert section.shots[2].cell == "IMG_0003.JPG"
    rows = list(tide.material.rows)
    rows[1] = replace(rows[1], source="DCIM/101TIDES/IMG_0002.JPG")
    section = make_page(replace(tide.material, rows=tuple(rows))).sections[0]
    assert section.folder_of == ""
    assert section.shots[1].cell == "DCIM/101TIDES/IMG_0002.JPG"


@pytest.mark.parametrize("offsets", [("", ""), ("+01:00", "+01:00"), ("+01:00", "")])
def test_bodies_with_and_without_an_offset_are_on_one_line(offsets: tuple[str, str]) -> None:
    tide = Tide()
    tide.add(Kind.BURST, 3, offset=offsets[0])
    tide.add(Kind.BURST, 3, camera="OM", offset=offsets[1])
    line = make_page(tide.material).line
    assert line is not None
    one, two = (float(lane.marks[0].x) for lane in line.lanes)
    assert one < two


def test_offsets_that_differ_count() -> None:
    """The second body is set to another zone: it took its frames an hour before, not after."""
    tide = Tide()
    tide.add(Kind.BURST, 3, offset="+01:00")
    tide.add(Kind.BURST, 3, camera="OM", offset="+02:00")
    line = make_page(tide.material).line
    assert line is not None
    one, two = (float(lane.marks[0].x) for lane in line.lanes)
    assert two < one


@pytest.mark.parametrize(
    ("more", "wanted"),
    [
        ({}, ()),
        ({"surplus": (1, 2)}, ()),
        ({"verdict": Verdict.USABLE, "dark": (3,)}, ("dark: 3",)),
        ({"verdict": Verdict.BROKEN, "moved": (2, 3)}, ("broken", "movement behind: 2, 3")),
        ({"verdict": None}, ("cannot be judged",)),
        ({"looks_like": Kind.BURST, "verdict": None}, ("looks like a burst",)),
        ({"bright_steps": (4,)}, ("other light behind: 4",)),
    ],
)
def test_what_deserves_a_look(more: dict[str, object], wanted: tuple[str, ...]) -> None:
    assert reasons(complete(**more), (), ()) == wanted


def test_notes_and_suggestions_deserve_a_look() -> None:
    notes = ("unsure: burst or manual-stack",)
    assert reasons(None, notes, ("may be a marker",)) == (
        "may be a marker",
        "unsure: burst or manual-stack",
    )


WHY = "by the pictures: another scene"
EIGHTH = "DCIM/100TIDES/IMG_0008.JPG"


@pytest.mark.parametrize(
    ("kind", "frames", "wanted"),
    [
        (Kind.BURST, (0, 6), f"may be a burst, {WHY}"),
        (Kind.EXPOSURE_BRACKET, (0, 3), f"may be an exposure bracket, {WHY}"),
        (Kind.FOCUS_BRACKET, (0, 3), ""),
        (Kind.FOCUS_BRACKET, (3, 6), f"may be parted before DCIM/100TIDES/IMG_0004.JPG, {WHY}"),
        (
            Kind.FOCUS_BRACKET,
            (0, 8),
            f"may be one focus bracket, DCIM/100TIDES/IMG_0001.JPG to {EIGHTH}, {WHY}",
        ),
    ],
)
def test_what_is_grouped_so_already_is_no_suggestion(
    kind: Kind, frames: tuple[int, int], wanted: str
) -> None:
    """On a focus bracket "may be a focus bracket" says nothing: told is where it is to be parted."""
    tide = Tide()
    tide.add(Kind.FOCUS_BRACKET, 6)
    tide.add(Kind.FOCUS_BRACKET, 4)
    rows = tide.material.rows[slice(*frames)]
    correction = Correction(first=rows[0].source, last=rows[-1].source, kind=kind, why=WHY)
    assert suggestion(correction, rows) == wanted
