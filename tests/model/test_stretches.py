"""The one reading of a correction, and that a card and a shoot say the same of one that does not fit."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from typing import Any, TypeAlias, cast

import pytest

from manifest.accounts import rock_pool
from planning.carrying import carried, plan_of
from sorter.grouping.amending import Corrected, Remainder, amended
from sorter.grouping.corrections import stretches_of
from sorter.grouping.search import Segment
from sorter.grouping.timeline import timelines
from sorter.model.correction import Correction
from sorter.model.frame import Reading
from sorter.model.kinds import Kind
from sorter.model.quoting import MOST
from sorter.model.stretches import Misfit, Spot, Stretch, stretches
from sorter.planning.correcting import regroupings

MANY = 100_000


def says(first: str, last: str = "", kind: str = "", line: int = 2) -> Correction:
    return Correction(first=first, last=last or first, kind=kind, line=line)


def spot(path: str) -> Spot | str:
    """A card of two bodies, A and B, whose files are called as their frames."""
    return Spot(body="AB".index(path[0]), place=int(path[1:])) if path[0] in "AB" else "no limpet."


def refused(*asked: Correction, find: Callable[[str], Spot | str] = spot) -> str:
    with pytest.raises(Misfit) as caught:
        stretches(asked, find)
    assert caught.value.line == asked[-1].line
    return str(caught.value)


def test_a_correction_is_its_frames_from_first_to_last() -> None:
    one = Correction(first="A3", last="A7", kind="burst", name="wave", why="waves")
    two = Correction(first="B3", last="", kind="")
    assert stretches([one, two], spot) == (
        Stretch(body=0, start=3, stop=8, kind=Kind.BURST, name="wave", why="waves"),
        Stretch(body=1, start=3, stop=4, kind=None, name=""),
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (says("C1"), "no limpet."),
        (says("A1", "C1"), "no limpet."),
        (says("A1", "B1"), "'A1' and 'B1' are of two bodies, and a sequence is of one. Write a line for each body."),
        (says("A2", "A1"), "'A2' was taken after 'A1'. Change the two about."),
        (says("A1", "A3", "single"), "these are 3 frames, and a single is one. Write a line for each frame, or another kind."),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told_in_a_sentence(asked: Correction, said: str) -> None:
    assert refused(asked) == said


@pytest.mark.parametrize(("first", "last"), [("A1", "A2"), ("A2", "A9"), ("A4", "A4"), ("A0", "A9")])  # fmt: skip
def test_frames_that_an_earlier_line_has_name_the_first_such_line(first: str, last: str) -> None:
    before = (says("B0", "B9", line=2), says("A4", "A5", line=3), says("A2", "A3", line=4))
    earlier = 3 if last != "A2" else 4
    assert refused(*before, says(first, last, line=5)) == (
        f"line {earlier} has some of these frames already. Let one of the two end before the other "
        "begins."
    )


def test_a_long_path_is_not_told_whole() -> None:
    assert len(refused(says("A2" + "0" * 60_000, "A1"), find=lambda path: Spot(body=0, place=-len(path)) if path == "A1" else Spot(body=0, place=9))) < 3 * MOST  # fmt: skip


# ---- many of them ------------------------------------------------------------------------------


def seconds(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


def test_as_many_corrections_as_frames_take_a_time_that_grows_with_them() -> None:
    """Held against each other, a hundred thousand of them would take an hour."""
    asked = [says(f"A{n}", kind="single", line=n + 2) for n in range(MANY)]
    assert seconds(lambda: stretches(asked, spot)) < 10


def test_so_does_cutting_them_out_of_the_best_account() -> None:
    pieces = tuple(Segment(start=n, stop=n + 2, kind=Kind.BURST) for n in range(0, 2 * MANY, 2))
    made = tuple(Stretch(body=0, start=n, stop=n + 2, kind=None, name="") for n in range(1, 2 * MANY, 4))  # fmt: skip
    kinds = tuple(Stretch(body=0, start=e.start, stop=e.stop, kind=Kind.BURST, name="") for e in made)  # fmt: skip
    ground = cast("Any", None)  # no kind is open
    begun = time.process_time()
    parts = amended(ground, pieces, kinds)
    assert time.process_time() - begun < 20
    assert sum(isinstance(part, Corrected) for part in parts) == len(made)
    assert {
        part.segment.stop - part.segment.start for part in parts if isinstance(part, Remainder)
    } == {1}


# ---- a card and a shoot ----------------------------------------------------------------------

POOL, EBB = "DCIM/100TIDES/IMG_", "DCIM/101EBB_/P517"
WHERE = (
    "Write the path below the card, with forward slashes, as the manifest's column source has it."
)


def on_a_card(asked: Iterable[Correction]) -> None:
    account = rock_pool()
    merged = (frame for each in account.sequences for frame in each.results)
    reading = Reading(frames=(*account.order, *merged), loose=account.loose)
    stretches_of(asked, timelines(reading.frames), reading)


def in_a_shoot(asked: Iterable[Correction]) -> None:
    regroupings(carried(plan_of(rock_pool())), asked)


By: TypeAlias = Callable[[Iterable[Correction]], None]
NO_FILE: dict[By, str] = {
    on_a_card: "no file of this card is {}",
    in_a_shoot: "no file of this shoot was {} on its card",
}
INSTEAD: dict[By, str] = {
    on_a_card: "Name a picture whose time can be read.",
    in_a_shoot: "Name a picture.",
}


@pytest.mark.parametrize("by", [on_a_card, in_a_shoot])
def test_a_card_and_a_shoot_say_the_same(by: By) -> None:
    """The sentences as the two said them when each had a reading of its own."""
    lone, merged, clip = f"{POOL}0014.CR3", f"{POOL}0013.JPG", "DCIM/100TIDES/MVI_0009.MP4"
    ebb, later = f"{EBB}0001.ORF", f"{POOL}0015.CR3"
    for asked, said in (
        (says("none.JPG"), f"{NO_FILE[by].format(repr('none.JPG'))}. {WHERE}"),
        (says(clip), f"{clip!r} is no frame (clip). {INSTEAD[by]}"),
        (
            says(merged),
            f"{merged!r} is a picture that the camera merged itself. Name the frames it came from.",
        ),
        (
            says(lone, ebb),
            f"{lone!r} and {ebb!r} are of two bodies, and a sequence is of one. Write a line for each body.",
        ),
        (says(later, lone), f"{later!r} was taken after {lone!r}. Change the two about."),
        (
            says(lone, later, "single"),
            "these are 2 frames, and a single is one. Write a line for each frame, or another kind.",
        ),
    ):
        with pytest.raises(Misfit) as caught:
            by([asked])
        assert (caught.value.line, str(caught.value)) == (2, said)
    with pytest.raises(Misfit) as caught:
        by([says(lone, later), says(later, f"{POOL}0016.CR3", line=3)])
    assert (caught.value.line, str(caught.value)) == (
        3,
        "line 2 has some of these frames already. Let one of the two end before the other begins.",
    )
