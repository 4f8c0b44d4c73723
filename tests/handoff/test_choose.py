from __future__ import annotations

from dataclasses import replace

import pytest

from handoff.pools import changed, entry, stack, without
from sorter.errors import BadChoice
from sorter.handoff.choose import choose
from sorter.handoff.numbers import parse_numbers
from sorter.model.kinds import Kind, Role
from sorter.model.plan import Entry, State
from sorter.model.stack import Choice, SliceFiles, SliceOrder, Spans, Stack, StackRequest

POOL = [
    *stack(3, 3, "JPG", "xmp"),
    *stack(4, 2, kind=Kind.MANUAL_STACK, told=False),
    *stack(7, 2, kind=Kind.BURST),
    entry("singles/P9170001.JPG", sequence=9, kind=Kind.SINGLE, frames=1),
    entry("clips/SPLASH.MP4", sequence=None, kind=Kind.CLIP, position=None),
]
OTHERS = [*stack(8, 2, kind=Kind.BURST), *stack(10, 2, kind=Kind.INTERVAL)]
BOTH = stack(3, 3, "ORF", "JPG")
RAW_2 = "0003_focus-bracket_3/P3170002.ORF"
IMAGE_2 = "0003_focus-bracket_3/P3170002.JPG"


def only(text: str) -> Spans:
    return parse_numbers(text)


def the_stack(entries: list[Entry], request: StackRequest | None = None) -> Stack:
    choice = choose(entries, request or StackRequest())
    assert choice.left_out == ()
    [made] = choice.stacks
    return made


def why_left_out(entries: list[Entry], request: StackRequest | None = None) -> str:
    choice = choose(entries, request or StackRequest())
    assert choice.stacks == ()
    [left] = choice.left_out
    assert left.number == 3
    return left.reason


def files(made: Stack) -> list[str]:
    return [each.row.destination.rpartition("/")[2] for each in made.slices]


class TestWhich:
    def test_without_a_wish_all_stacks_and_no_other_sequence(self) -> None:
        choice = choose(POOL, StackRequest())
        assert [each.number for each in choice.stacks] == [3, 4]
        assert choice == Choice(stacks=choice.stacks)

    def test_a_kind_is_chosen_in_place_of_stacks(self) -> None:
        choice = choose(POOL, StackRequest(kinds=frozenset({Kind.BURST, Kind.SINGLE})))
        assert [(each.number, each.kind, each.name) for each in choice.stacks] == [
            (7, Kind.BURST, "0007_burst_2"),
            (9, Kind.SINGLE, "0009_single_1"),
        ]

    def test_singles_that_share_a_folder_have_names_of_their_own(self) -> None:
        more = entry("singles/P9170002.JPG", sequence=10, kind=Kind.SINGLE, frames=1)
        choice = choose([*POOL, more], StackRequest(kinds=frozenset({Kind.SINGLE})))
        assert [each.name for each in choice.stacks] == ["0009_single_1", "0010_single_1"]

    def test_numbers_choose_among_them_and_pass_over_other_kinds(self) -> None:
        choice = choose(POOL, StackRequest(only=only("4,7-7")))
        assert [each.number for each in choice.stacks] == [4]
        assert choice.passed_over == ((7, Kind.BURST),)

    def test_a_number_that_the_shoot_does_not_have_is_refused(self) -> None:
        with pytest.raises(BadChoice, match=r"no sequence 5-6,8,10-999\. It has 3-4,7,9\."):
            choose(POOL, StackRequest(only=only("3-999")))
        with pytest.raises(BadChoice, match="It has no sequences"):
            choose([], StackRequest(only=only("3")))

    def test_numbers_that_leave_nothing_are_refused_with_the_kind_to_ask_for(self) -> None:
        with pytest.raises(BadChoice, match=r"sequence 7 is of kind burst\. Give --kind burst\."):
            choose(POOL, StackRequest(only=only("7")))
        with pytest.raises(BadChoice, match="and 1 more"):
            choose([*POOL, *OTHERS], StackRequest(only=only("7-10")))

    def test_a_shoot_without_stacks_is_no_fault(self) -> None:
        no_stacks = [each for each in POOL if each.row.sequence in (7, 9, None)]
        assert choose(no_stacks, StackRequest()) == Choice()

    def test_two_stacks_that_would_overwrite_each_other_are_refused(self) -> None:
        alike = [
            changed(each, destination=each.row.destination.upper(), sequence=5)
            for each in stack(3, 2)
        ]
        with pytest.raises(BadChoice, match="3 and 5"):
            choose([*stack(3, 2), *alike], StackRequest())


class TestSlices:
    def test_results_sidecars_thumbnails_and_sounds_are_none(self) -> None:
        beside = [
            entry("0003_focus-bracket_3/R.JPG", position=None, role=Role.RESULT),
            *(
                entry(f"0003_focus-bracket_3/{role}.x", role=role)
                for role in Role
                if role not in (Role.RAW, Role.IMAGE, Role.RESULT)
            ),
        ]
        assert files(the_stack([*stack(3, 3, "JPG", "xmp"), *beside])) == [
            "P3170001.JPG",
            "P3170002.JPG",
            "P3170003.JPG",
        ]

    def test_a_result_without_a_position_is_none_though_it_is_called_an_image(self) -> None:
        odd = entry("0003_focus-bracket_3/R.JPG", position=None, role=Role.IMAGE)
        assert len(the_stack([*stack(3, 3), odd]).slices) == 3

    def test_images_where_every_frame_has_one(self) -> None:
        assert {name[-3:] for name in files(the_stack(BOTH))} == {"JPG"}

    def test_else_raws_where_every_frame_has_one(self) -> None:
        assert {name[-3:] for name in files(the_stack(without(BOTH, IMAGE_2)))} == {"ORF"}

    def test_else_of_each_frame_its_image_or_its_raw(self) -> None:
        mixed = without(without(BOTH, IMAGE_2), "0003_focus-bracket_3/P3170003.ORF")
        assert files(the_stack(mixed)) == ["P3170001.JPG", "P3170002.ORF", "P3170003.JPG"]

    @pytest.mark.parametrize(
        ("chosen", "lost", "lacks"),
        [
            (SliceFiles.IMAGE, IMAGE_2, "image"),
            (SliceFiles.RAW, RAW_2, "raw"),
            (SliceFiles.BOTH, RAW_2, "raw"),
            (SliceFiles.BOTH, IMAGE_2, "image"),
        ],
    )
    def test_half_a_stack_is_never_handed_over(
        self, chosen: SliceFiles, lost: str, lacks: str
    ) -> None:
        reason = why_left_out(without(BOTH, lost), StackRequest(files=chosen))
        assert f"frame 2 (P3170002.{'ORF' if lacks == 'image' else 'JPG'}) has no {lacks}" in reason

    @pytest.mark.parametrize("state", [state for state in State if state is not State.PLACED])
    def test_a_frame_that_never_came_to_the_shoot_keeps_the_stack_back(self, state: State) -> None:
        entries = stack(3, 3)
        entries[1] = replace(entries[1], state=state)
        assert "frame 2 (P3170002.JPG) is not in the shoot" in why_left_out(entries)

    def test_a_frame_that_only_the_length_tells_of_keeps_the_stack_back(self) -> None:
        assert "frame 3 is not in the shoot" in why_left_out(stack(3, 3)[:2])
        assert "frame 1 is not in the shoot" in why_left_out(stack(3, 3)[1:])

    def test_only_the_wished_files_go_along(self) -> None:
        raws = the_stack(BOTH, StackRequest(files=SliceFiles.RAW))
        assert files(raws) == ["P3170001.ORF", "P3170002.ORF", "P3170003.ORF"]
        both = the_stack(BOTH, StackRequest(files=SliceFiles.BOTH))
        assert [each.name for each in both.slices[:3]] == [
            "0001_P3170001.JPG",
            "0001_P3170001.ORF",
            "0002_P3170002.JPG",
        ]
        assert (both.frames, len(both.slices)) == (3, 6)

    def test_of_two_images_of_a_frame_the_first_of_the_manifest_goes(self) -> None:
        entries = [*stack(3, 2), *stack(3, 2, "HIF")]
        assert files(the_stack(entries)) == ["P3170001.HIF", "P3170002.HIF"]
        assert files(the_stack(entries[::-1])) == ["P3170001.HIF", "P3170002.HIF"]


class TestOrder:
    @pytest.mark.parametrize(
        ("order", "far_to_near", "positions"),
        [
            (SliceOrder.CAPTURE, True, [1, 2, 3]),
            (SliceOrder.NEAR_FIRST, True, [3, 2, 1]),
            (SliceOrder.FAR_FIRST, True, [1, 2, 3]),
            (SliceOrder.NEAR_FIRST, False, [1, 2, 3]),
            (SliceOrder.FAR_FIRST, False, [3, 2, 1]),
        ],
    )
    def test_slices_stand_in_the_order_that_was_asked_for(
        self, order: SliceOrder, far_to_near: bool, positions: list[int]
    ) -> None:
        entries = stack(3, 3, far_to_near=far_to_near)[::-1]
        made = the_stack(entries, StackRequest(order=order))
        assert [each.row.position for each in made.slices] == positions
        assert [each.number for each in made.slices] == [1, 2, 3]
        assert made.order is order

    def test_where_one_focus_is_unknown_the_order_is_that_of_capture(self) -> None:
        entries = stack(3, 3, far_to_near=True)
        entries[1] = replace(entries[1], placement=replace(entries[1].placement, from_near=None))
        made = the_stack(entries, StackRequest(order=SliceOrder.NEAR_FIRST))
        assert [each.row.position for each in made.slices] == [1, 2, 3]
        assert made.order is SliceOrder.CAPTURE

    def test_ten_and_more_stand_by_number_and_not_by_letters(self) -> None:
        made = the_stack(stack(3, 12, far_to_near=True), StackRequest(order=SliceOrder.NEAR_FIRST))
        assert [each.row.position for each in made.slices] == list(range(12, 0, -1))

    def test_what_is_missing_is_found_in_any_order(self) -> None:
        lacking = without(stack(3, 3, "ORF", "JPG"), RAW_2)
        request = StackRequest(order=SliceOrder.FAR_FIRST, files=SliceFiles.RAW)
        assert "frame 2" in why_left_out(lacking, request)
