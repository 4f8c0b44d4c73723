"""A part of a sequence, and what goes along beside it: best frames, the single of a stack's set-up."""

from __future__ import annotations

from pathlib import Path

import pytest

from handoff.pools import changed, entry, lay_out, stack
from sorter.errors import BadChoice
from sorter.handoff.choose import StackFindings, choose
from sorter.handoff.deliver import Delivery
from sorter.manifest.checks import read_best
from sorter.model.kinds import Kind
from sorter.model.note import Note, Related, related
from sorter.model.plan import Entry
from sorter.model.relation_kind import RelationKind
from sorter.model.stack import Handed, SliceOrder, StackRequest


def pool() -> list[Entry]:
    """A stack, a splash of its set-up, a burst of it that lacks a frame, and a stack by itself."""
    first, *rest = stack(3, 2)
    splash = entry("singles/P9170001.JPG", sequence=2, kind=Kind.SINGLE, frames=1)
    torn = [each for each in stack(5, 3, kind=Kind.BURST) if each.row.position != 2]
    notes = (
        "IMG.JPG: odd",
        Related(what=RelationKind.SAME_SETUP, sequence=2),
        Related(what=RelationKind.RETAKE, sequence=7),
        Related(what=RelationKind.SAME_SETUP, sequence=5),
    )
    return [changed(first, remarks=notes), *rest, splash, *torn, *stack(7, 2)]


def test_related_sequences_are_told_by_the_notes() -> None:
    choice = choose(pool(), StackRequest(with_related=True))
    one, two = choice.stacks
    assert [each.name for each in one.related] == ["0003_focus-bracket_2_beside_0002"]
    assert [each.number for each in one.related] == [2]
    assert two.related == ()
    assert [left.number for left in choice.left_out] == [5]
    assert all(each.related == () for each in choose(pool(), StackRequest()).stacks)


@pytest.mark.parametrize(
    ("notes", "numbers"),
    [
        ((Related(what=RelationKind.SAME_SETUP, sequence=12),), (12,)),
        (
            (
                Related(what=RelationKind.SAME_SETUP, sequence=1),
                Related(what=RelationKind.RETAKE, sequence=3),
                Related(what=RelationKind.SAME_SETUP, sequence=2),
            ),
            (1, 2),
        ),
        (("same set-up as sequence 3",), ()),  # a sentence is no fact
        ((), ()),
    ],
)
def test_numbers_in_notes(notes: tuple[Note, ...], numbers: tuple[int, ...]) -> None:
    assert related(notes, RelationKind.SAME_SETUP) == numbers


def test_they_stand_beside_the_stack(tmp_path: Path) -> None:
    entries = [each for each in pool() if each.row.sequence != 5]
    shoot = lay_out(tmp_path / "shoot", entries)
    chosen = choose(entries, StackRequest(with_related=True)).stacks
    stacks = tuple(each for one in chosen for each in (one, *one.related))
    delivery = Delivery(
        shoot=shoot, lists=tmp_path / "lists", folders=tmp_path / "out", progress=lambda *_: None
    )
    assert all(isinstance(each, Handed) for each in delivery.hand_over(stacks))
    beside = tmp_path / "out" / "0003_focus-bracket_2_beside_0002"
    assert [path.name for path in beside.iterdir()] == ["0001_P9170001.JPG"]
    assert len(list((tmp_path / "out" / "0003_focus-bracket_2").iterdir())) == 2
    lists = sorted(path.name for path in (tmp_path / "lists").iterdir())
    assert lists[1] == "0003_focus-bracket_2_beside_0002.txt"


def test_the_best_frames_keep_their_order() -> None:
    request = StackRequest(kinds=frozenset({Kind.BURST}), best=2)
    (burst,) = choose(
        stack(7, 4, kind=Kind.BURST), request, StackFindings(best={7: (4, 1, 2, 3)})
    ).stacks
    assert [each.row.position for each in burst.slices] == [1, 4]
    assert burst.name == "0007_burst_4_best-2"
    far = StackRequest(kinds=frozenset({Kind.BURST}), best=2, order=SliceOrder.FAR_FIRST)
    (burst,) = choose(
        stack(7, 4, kind=Kind.BURST), far, StackFindings(best={7: (4, 1, 2, 3)})
    ).stacks
    assert [each.row.position for each in burst.slices] == [4, 1]


def test_a_sequence_without_best_frames_is_left_out() -> None:
    choice = choose(stack(7, 4), StackRequest(best=2), StackFindings(best={8: (1,)}))
    assert choice.stacks == ()
    assert "checks.csv names no best frames of it" in choice.left_out[0].reason


def test_fewer_best_frames_than_asked_for_are_all_of_them() -> None:
    (one,) = choose(stack(7, 4), StackRequest(best=9), StackFindings(best={7: (3,)})).stacks
    assert [each.row.position for each in one.slices] == [3]


def test_checks_are_read(tmp_path: Path) -> None:
    path = tmp_path / "checks.csv"
    path.write_bytes(
        b"\xef\xbb\xbfsequence,kind,best_frames,says\r\n7,burst,4;2,\r\n8,burst,,dull\r\n"
    )
    assert read_best(path) == {7: (4, 2)}


@pytest.mark.parametrize(
    "text",
    ["", "sequence,x\n1,2\n", "sequence,best_frames\nsix,1\n", "sequence,best_frames\n6,a;b\n"],
)
def test_checks_of_another_form_are_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "checks.csv").write_text(text)
    if not text:
        assert read_best(tmp_path / "checks.csv") == {}
        return
    with pytest.raises(BadChoice, match="is no table of findings"):
        read_best(tmp_path / "checks.csv")
