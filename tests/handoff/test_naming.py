from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handoff.pools import changed, entry, stack
from sorter.errors import BadChoice
from sorter.handoff.naming import in_bytes, numbered, refuse_same_names, stack_names
from sorter.model.kinds import Kind, Role
from sorter.model.plan import Entry
from sorter.model.stack import SliceOrder, Stack

LETTERS = st.characters(exclude_categories=["Cs"], exclude_characters="/\0")
NAMES = st.text(LETTERS, min_size=1, max_size=8) | st.sampled_from(["A.JPG", "a.jpg", "A_2.JPG"])
LONG = [
    "x" * 251 + ".JPG",
    "x" * 250 + "Y.JPG",
    "\u6f6e" * 83 + ".JPG",
    "a." + "x" * 253,
    "y" * 255,
]
NAMES |= st.sampled_from(LONG)
FRAMES = st.lists(st.lists(NAMES, min_size=1, max_size=3), min_size=1, max_size=30)


def named(frames: list[list[str]]) -> list[str]:
    made = numbered([[entry(f"0003_x/{name}") for name in names] for names in frames])
    return [each.name for each in made]


def bare(number: int, name: str) -> Stack:
    return Stack(
        number=number, kind=Kind.BURST, name=name, order=SliceOrder.CAPTURE, slices=numbered([])
    )


@given(FRAMES)
def test_sorted_by_bytes_the_names_stand_in_the_chosen_order(frames: list[list[str]]) -> None:
    slices = numbered([[entry(f"0003_x/{name}") for name in names] for names in frames])
    names = [each.name for each in slices]
    assert names == sorted(names, key=str.encode)
    assert all(len(name.encode()) <= 255 for name in names)  # POSIX, NAME_MAX of the usual systems
    assert [each.number for each in slices] == [
        number for number, files in enumerate(frames, 1) for _ in files
    ]


@given(FRAMES)
def test_no_two_names_are_one_on_any_system(frames: list[list[str]]) -> None:
    names = named(frames)
    assert len({name.casefold() for name in names}) == sum(map(len, frames))


def test_the_number_stands_before_the_name_with_four_digits_or_more() -> None:
    assert named([["IMG_9871.JPG"], ["IMG_0002.JPG"]]) == ["0001_IMG_9871.JPG", "0002_IMG_0002.JPG"]
    many = named([["A.JPG"]] * 10_000)
    assert (many[0], many[-1]) == ("00001_A.JPG", "10000_A.JPG")


def test_files_of_one_frame_share_its_number_in_the_order_of_their_bytes() -> None:
    assert named([["A.ORF", "A.JPG"]]) == ["0001_A.JPG", "0001_A.ORF"]


def test_two_files_of_one_frame_and_one_name_are_both_there() -> None:
    assert named([["A.JPG", "a.jpg"]]) == ["0001_A.JPG", "0001_a_2.jpg"]
    assert named([["A", "A"]]) == ["0001_A", "0001_A_2"]
    assert named([["\u00e9.JPG", "e\u0301.JPG"]]) == ["0001_e\u0301_2.JPG", "0001_\u00e9.JPG"]


def test_a_name_that_is_no_unicode_keeps_its_bytes() -> None:
    [name] = named([["crab\udcff.JPG"]])
    assert in_bytes(name) == b"0001_crab\xff.JPG"


def test_a_stack_is_called_as_its_folder_in_the_shoot() -> None:
    entries = [*stack(3, 2), *stack(7, 2, kind=Kind.BURST)]
    assert stack_names(entries) == {3: "0003_focus-bracket_2", 7: "0007_burst_2"}


def test_a_folder_that_others_share_gives_no_name() -> None:
    one = [entry("singles/A.JPG", sequence=5), entry("0005_burst_2/B.JPG", sequence=5, position=2)]
    other = entry("singles/C.JPG", sequence=6, kind=Kind.SINGLE)
    assert stack_names([*one, other]) == {5: "0005_burst_2"}


def test_a_single_that_is_alone_in_its_folder_is_not_called_after_it() -> None:
    assert stack_names([entry("singles/A.JPG", kind=Kind.SINGLE)]) == {}


def test_a_folder_of_results_gives_no_name() -> None:
    result = entry("results/R.JPG", position=None, role=Role.RESULT)
    assert stack_names([result, *stack(3, 2)]) == {3: "0003_focus-bracket_2"}


@pytest.mark.parametrize("destination", ["", "A.JPG", "../A.JPG", "./A.JPG", "/A.JPG"])
def test_what_is_no_folder_in_the_shoot_gives_no_name(destination: str) -> None:
    odd: Entry = changed(entry("x/A.JPG"), destination=destination)
    assert stack_names([odd]) == {}


def test_two_stacks_of_one_name_are_refused() -> None:
    refuse_same_names([bare(3, "Limpet"), bare(4, "Anemone")])
    with pytest.raises(BadChoice, match="3 and 5 would both be handed over as limpet"):
        refuse_same_names([bare(3, "Limpet"), bare(4, "Anemone"), bare(5, "limpet")])
